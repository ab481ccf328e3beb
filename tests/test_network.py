"""The guard against network access guards."""

import socket
import urllib.request

import pytest


def test_the_world_is_out_of_reach() -> None:
    with socket.socket() as sock, pytest.raises(OSError, match="loopback only"):
        sock.connect(("192.0.2.1", 80))  # TEST-NET-1, RFC 5737
    with pytest.raises(OSError, match=r"loopback only|resolution|not known"):
        urllib.request.urlopen("http://192.0.2.1/", timeout=2)


def test_loopback_is_within_reach() -> None:
    with socket.socket() as server, socket.socket() as client:
        server.bind(("127.0.0.1", 0))
        server.listen(1)
        client.connect(server.getsockname())
