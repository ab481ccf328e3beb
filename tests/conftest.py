"""What every test gets: no network but loopback and Unix sockets, and no window for figures."""

import socket
from collections.abc import Iterator
from typing import Any

import matplotlib
import pytest

matplotlib.use("Agg")

_connect = socket.socket.connect
_connect_ex = socket.socket.connect_ex
_LOOPBACK = {"127.0.0.1", "::1", "localhost", "0.0.0.0", ""}


def _refuse_the_world(sock: socket.socket, address: Any) -> None:
    inet = sock.family in (socket.AF_INET, socket.AF_INET6)
    if inet and str(address[0]) not in _LOOPBACK:
        raise OSError(f"a test tried to reach {address[0]}: tests use loopback only")


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    def connect(sock: socket.socket, address: Any) -> None:
        _refuse_the_world(sock, address)
        _connect(sock, address)

    def connect_ex(sock: socket.socket, address: Any) -> int:
        _refuse_the_world(sock, address)
        return _connect_ex(sock, address)

    monkeypatch.setattr(socket.socket, "connect", connect)
    monkeypatch.setattr(socket.socket, "connect_ex", connect_ex)
    return
