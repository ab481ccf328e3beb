"""Telling people when the advice changed: e-mail and webhook, what was sent last, and a rehearsal that sends nothing.

Off unless the venue has [notify]. Secrets come from the environment: MICROCLIMATE_SMTP_USER, MICROCLIMATE_SMTP_PASSWORD
and MICROCLIMATE_WEBHOOK (an address that often holds a key).
"""

import json
import smtplib
import ssl
import urllib.error
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from http.client import HTTPException
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from microclimate import __version__
from microclimate.errors import refuse
from microclimate.report.planned import Planned
from microclimate.venue.notify import Notify
from microclimate.workflow import files

FORMAT = 1
USER, PASSWORD, WEBHOOK = "MICROCLIMATE_SMTP_USER", "MICROCLIMATE_SMTP_PASSWORD", "MICROCLIMATE_WEBHOOK"
TIME_OUT = 20.0  # [s] without an answer
IMPLICIT_TLS = 465  # port on which mail is encrypted from the first byte (RFC 8314)
LOOPBACK = ("localhost", "127.0.0.1", "::1")

Signature = list[list[str]]


@dataclass(frozen=True)
class Letter:
    """What is sent."""

    head: str
    body: str
    document: Mapping[str, Any]
    calendar: Path | None = None


@dataclass(frozen=True)
class Sent:
    """What was sent last."""

    signature: Signature
    day: str  # local date of the last message


def signature(planned: Planned | None, act: bool) -> Signature:
    """What makes two answers the same advice: each action, its kit and its hours; without a plan, whether to act."""
    if planned is None:
        return [["outside" if act else "within"]]
    return [[d.action, d.what, d.start.isoformat(), d.end.isoformat()] for d in planned.best.deeds]


def changed(last: Signature, new: Signature, now: datetime) -> bool:
    """Whether advice differs in anything that is not over yet; what has been done since is no change."""

    moment = now.isoformat()

    def open_still(rows: Signature) -> set[tuple[str, ...]]:
        found = set()
        for row in rows:
            if len(row) < 4:
                found.add(tuple(row))
            elif row[3] > moment:  # of one that has begun, when it began is past and no news
                found.add((row[0], row[1], max(row[2], moment), row[3]))
        return found

    return open_still(last) != open_still(new)


def why(last: Sent | None, new: Signature, notify: Notify, now: datetime, time_zone: str) -> str:
    """Why a message is due: "first", "changed", "daily", or "" where none is."""
    if last is None:
        return "first"
    if changed(last.signature, new, now):
        return "changed"
    local = now.replace(tzinfo=UTC).astimezone(ZoneInfo(time_zone))
    due = notify.heartbeat is not None and local.hour + local.minute / 60.0 >= notify.heartbeat
    return "daily" if due and last.day != local.date().isoformat() else ""


def read(path: Path) -> dict[str, Sent]:
    """What was sent last by each way; nothing where the file is not there or not whole."""
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
        ways = raw["ways"] if raw.get("format") == FORMAT else {}
        return {
            name: Sent([[str(c) for c in row] for row in one["signature"]], str(one["day"]))
            for name, one in ways.items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def write(path: Path, sent: Mapping[str, Sent]) -> None:
    """Note what was sent."""
    ways = {name: {"signature": one.signature, "day": one.day} for name, one in sent.items()}
    files.write_text(json.dumps({"format": FORMAT, "ways": ways}, indent=1), path)


def local_day(now: datetime, time_zone: str) -> str:
    """The venue's date."""
    return now.replace(tzinfo=UTC).astimezone(ZoneInfo(time_zone)).date().isoformat()


def ways(notify: Notify | None) -> tuple[str, ...]:
    """How people are told, as the venue has it."""
    if notify is None:
        return ()
    return (*(["email"] if notify.email else []), *(["webhook"] if notify.webhook else []))


def rehearsed(way: str, notify: Notify, letter: Letter, environment: Mapping[str, str]) -> str:
    """What would be sent, and to whom; secrets are not shown."""
    if way == "email":
        text = _mail(notify, letter)
        lines = [f"Would send by {notify.server}:", f"  From: {text['From']}", f"  To: {text['To']}"]
        return "\n".join([*lines, f"  Subject: {letter.head}", "", *(f"  {line}" for line in letter.body.splitlines())])
    where = urlsplit(environment.get(WEBHOOK, "")).hostname or f"nowhere: {WEBHOOK} is not set"
    return f"Would post to {where}:\n{json.dumps(letter.document, indent=1, ensure_ascii=False)}"


def send(way: str, notify: Notify, letter: Letter, environment: Mapping[str, str]) -> str:
    """Send by "email" or "webhook", and say to whom.

    Raises
    ------
    InputError
        The message was not taken, or must not be sent so.
    """
    return (_by_mail if way == "email" else _by_post)(notify, letter, environment)


def _mail(notify: Notify, letter: Letter) -> EmailMessage:
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Subject"] = notify.sender, ", ".join(notify.email), letter.head
    mail["Date"] = format_datetime(datetime.now(UTC))
    mail["Message-ID"] = make_msgid(domain=notify.sender.rpartition("@")[2])
    mail.set_content(letter.body)
    if letter.calendar is not None and letter.calendar.exists():
        mail.add_attachment(
            letter.calendar.read_text(encoding="utf-8"),
            subtype="calendar",
            params={"method": "PUBLISH"},
            filename=letter.calendar.name,
        )
    return mail


def _by_mail(notify: Notify, letter: Letter, environment: Mapping[str, str]) -> str:
    host, _, port = notify.server.rpartition(":")
    where, user = f"[notify] server {notify.server}", environment.get(USER, "")
    try:
        kind = smtplib.SMTP_SSL if int(port) == IMPLICIT_TLS else smtplib.SMTP
        with kind(host, int(port), timeout=TIME_OUT) as server:
            server.ehlo()
            hidden = int(port) == IMPLICIT_TLS
            if not hidden and server.has_extn("starttls"):
                server.starttls(context=ssl.create_default_context())
                server.ehlo()
                hidden = True
            if user and not hidden and host not in LOOPBACK:
                raise refuse(where, "does not encrypt", "a server that does", "the password is not sent in the clear")
            if user:
                server.login(user, environment.get(PASSWORD, ""))
            server.send_message(_mail(notify, letter))
    except (OSError, smtplib.SMTPException) as error:
        raise refuse(
            where, f"the message was not taken ({_plain(error)})", cure="it is tried again next time"
        ) from error
    return f"e-mail to {', '.join(notify.email)}"


def _by_post(notify: Notify, letter: Letter, environment: Mapping[str, str]) -> str:
    address = environment.get(WEBHOOK, "")
    parts = urlsplit(address)
    if not address:
        raise refuse("[notify] webhook", f"{WEBHOOK} is not set", "its address in the environment")
    if parts.scheme != "https" and not (parts.scheme == "http" and parts.hostname in LOOPBACK):
        raise refuse(WEBHOOK, "does not begin with https://", "an encrypted address")
    headers = {"Content-Type": "application/json; charset=utf-8", "User-Agent": f"microclimate/{__version__}"}
    request = urllib.request.Request(address, json.dumps(letter.document).encode(), headers, method="POST")
    try:
        with urllib.request.urlopen(request, timeout=TIME_OUT) as reply:
            reply.read()
    except (OSError, HTTPException) as error:
        found = f"the message was not taken ({_plain(error)})"
        raise refuse(f"webhook at {parts.hostname}", found, cure="it is tried again next time") from None
    return f"webhook at {parts.hostname}"


def _plain(error: Exception) -> str:
    """An error without what a server may have said back of a password or a key."""
    if isinstance(error, urllib.error.HTTPError):
        return f"answered {error.code}"
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return "user or password refused"
    if isinstance(error, smtplib.SMTPResponseException):
        return f"answered {error.smtp_code}"
    return type(error).__name__
