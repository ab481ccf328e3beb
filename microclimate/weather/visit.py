"""A polite visit to a web service: who asks is said, broken replies are asked for again, huge ones refused."""

import gzip
import http.client
import json as _json
import socket
import time
import urllib.error
import urllib.request
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from email.message import Message
from http.client import HTTPMessage
from typing import IO, Any
from urllib.parse import urlsplit

from microclimate import __version__
from microclimate.errors import Problem, WeatherTooOld, refuse

MOST_BYTES = 30_000_000  # a point forecast has at most a few
CHUNK = 65536
AGAIN = {408, 425, 429, 500, 502, 503, 504}
LONGEST_PAUSE = 30.0  # [s] a Retry-After beyond is not waited for


@dataclass(frozen=True)
class Visit:
    """How to behave."""

    contact: str = ""  # an address the service can write to; some ask for one
    time_out: float = 15.0  # [s] without a byte
    deadline: float = 60.0  # [s] for one reply
    tries: int = 4
    pause: float = 1.0  # [s] before the second try, doubled for each more
    wait: Callable[[float], None] = time.sleep

    @property
    def agent(self) -> str:
        """The User-Agent."""
        return f"microclimate/{__version__}" + (f" ({self.contact})" if self.contact else "")


class _Elsewhere(Exception):
    """A redirect to another host."""


class _Stay(urllib.request.HTTPRedirectHandler):
    def redirect_request(
        self, req: urllib.request.Request, fp: IO[bytes], code: int, msg: str, headers: HTTPMessage, newurl: str
    ) -> urllib.request.Request | None:
        if host(newurl) != host(req.full_url) or urlsplit(newurl).scheme != urlsplit(req.full_url).scheme:
            raise _Elsewhere(host(newurl))
        return super().redirect_request(req, fp, code, msg, headers, newurl)


def host(address: str) -> str:
    """Host and port of an address."""
    return urlsplit(address).netloc.lower()


def get(address: str, visit: Visit, *, fresh: bool = False) -> bytes:
    """The body of a reply.

    Parameters
    ----------
    address : str
        http or https.
    visit : Visit
    fresh : bool
        Ask caches on the way to stand aside.

    Raises
    ------
    InputError
        The service refuses, sends elsewhere, or sends more than a forecast can be.
    WeatherTooOld
        No whole answer in all tries.
    """
    where = host(address)
    if urlsplit(address).scheme not in ("http", "https"):
        raise refuse(address, "is no web address", "https://...")
    told, pause = "", 0.0
    for attempt in range(visit.tries):
        if attempt:
            visit.wait(pause)
        pause = visit.pause * 2.0**attempt
        try:
            return _once(address, visit, fresh)
        except urllib.error.HTTPError as error:
            with error:
                if error.code not in AGAIN:
                    raise _refusal(where, error.code) from error
                told = f"answered {error.code}"
                pause = max(pause, _retry_after(error.headers))
        except _Elsewhere as error:
            raise refuse(
                where, f"sends on to {error}", "its own host", "not followed: check the service's address"
            ) from error
        except (urllib.error.URLError, http.client.HTTPException, OSError, EOFError, zlib.error) as error:
            told = _why(error)
    found = f"{told} ({visit.tries} tries)"
    raise WeatherTooOld(where, [Problem(where, found, "an answer", "check the network, or try again later")])


def json(address: str, visit: Visit, *, fresh: bool = False) -> dict[str, Any]:
    """A reply that is a JSON object; raises as `get` does, and where it is none."""
    try:
        document = _json.loads(get(address, visit, fresh=fresh))
    except (ValueError, RecursionError) as error:
        raise refuse(host(address), "answers with broken JSON", "JSON", "try again later") from error
    if not isinstance(document, dict):
        raise refuse(host(address), "answers with JSON that is no object", "an object", "try again later")
    return document


def _once(address: str, visit: Visit, fresh: bool) -> bytes:
    headers = {"User-Agent": visit.agent, "Accept": "*/*", "Accept-Encoding": "gzip"}
    if fresh:
        headers["Cache-Control"] = "no-cache"
    request = urllib.request.Request(address, headers=headers)
    begun = time.monotonic()
    with urllib.request.build_opener(_Stay()).open(request, timeout=visit.time_out) as reply:
        stated = int(reply.headers.get("Content-Length") or -1)
        _bounded(address, stated)
        parts, size = [], 0
        while part := reply.read1(CHUNK):
            parts.append(part)
            size += len(part)
            _bounded(address, size)
            if time.monotonic() - begun > visit.deadline:
                raise TimeoutError(f"not whole after {visit.deadline:g} s")
        if stated >= 0 and size != stated:
            raise EOFError(f"cut off after {size} of {stated} bytes")
        packed = reply.headers.get("Content-Encoding", "").lower() == "gzip"
    body = b"".join(parts)
    return _unpacked(address, body) if packed else body


def _bounded(address: str, size: int) -> None:
    if size > MOST_BYTES:
        found = f"sends {size / 1e6:.0f} MB or more"
        raise refuse(host(address), found, f"at most {MOST_BYTES / 1e6:.0f} MB", "a point forecast is smaller")


def _unpacked(address: str, body: bytes) -> bytes:
    unpacker = zlib.decompressobj(wbits=31)
    out = unpacker.decompress(body, MOST_BYTES + 1)
    _bounded(address, len(out))
    if not unpacker.eof:
        raise EOFError("cut off (gzip)")
    return out


def _retry_after(headers: Message) -> float:
    try:
        return min(float(headers.get("Retry-After") or 0.0), LONGEST_PAUSE)
    except ValueError:
        return 0.0


def _refusal(where: str, code: int) -> Exception:
    cure = {
        403: "the service wants to know who asks: set a contact",
        404: "it does not know this place: check latitude and longitude, or use another source",
    }.get(code, "check the source")
    return refuse(where, f"answered {code}", "a forecast", cure)


def _why(error: BaseException) -> str:
    reason = getattr(error, "reason", error)
    if isinstance(reason, TimeoutError | socket.timeout):
        return f"is too slow ({reason})"
    if isinstance(reason, socket.gaierror):
        return "cannot be found: no network"
    if isinstance(error, http.client.IncompleteRead | EOFError | gzip.BadGzipFile | zlib.error):
        return f"reply is {error if str(error) else 'cut off'}"
    return f"cannot be reached ({str(reason)[:80] or type(error).__name__})"
