"""A mail server and a web server on this machine that keep what they get (RFC 5321; HTTP/1.1)."""

import http.server
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class Kept(list[Any]):
    """What came in, and the port it came to; `refuses` makes the server say no."""

    port = 0
    refuses = False


@contextmanager
def _served(server: socketserver.BaseServer, kept: Kept) -> Iterator[Kept]:
    kept.port = int(server.server_address[1])
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    try:
        yield kept
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def mail_server() -> Any:
    """Each message as (sender, recipients, text)."""
    kept = Kept()

    class Handler(socketserver.StreamRequestHandler):
        def say(self, text: str) -> None:
            self.wfile.write(f"{text}\r\n".encode())

        def handle(self) -> None:
            self.say("220 loopback")
            sender, people = "", list[str]()
            while line := self.rfile.readline().decode().strip():
                word = line.split(":")[0].upper()
                if word.startswith("EHLO"):
                    self.say("250-loopback")
                    self.say("250 8BITMIME")
                elif word == "MAIL FROM":
                    sender = line
                    self.say("451 later" if kept.refuses else "250 ok")
                elif word == "RCPT TO":
                    people.append(line.partition("<")[2].partition(">")[0])
                    self.say("250 ok")
                elif word == "DATA":
                    self.say("354 on")
                    text = b""
                    while (part := self.rfile.readline()) != b".\r\n":
                        text += part
                    kept.append((sender, people, text))
                    self.say("250 taken")
                elif word == "QUIT":
                    self.say("221 bye")
                    return
                else:
                    self.say("250 ok")

    return _served(socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler), kept)


def web_server() -> Any:
    """Each request as (path, headers, body)."""
    kept = Kept()

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            if not kept.refuses:
                kept.append((self.path, dict(self.headers), body))
            self.send_response(503 if kept.refuses else 204)
            self.end_headers()

        def log_message(self, *args: Any) -> None:
            return

    return _served(http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler), kept)
