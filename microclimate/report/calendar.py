"""The actions as a calendar file (iCalendar, RFC 5545): UTC, one lasting name for each action, rising sequence numbers.

A file that was written before is read first: an action that changed keeps its name and gets the next number, one that
was dropped is sent once more as cancelled.
"""

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import icalendar

from microclimate.errors import refuse
from microclimate.report import words_plan
from microclimate.report.answer import Answer
from microclimate.report.planned import Deed, Planned

PRODUCT = "-//microclimate//actions//EN"
_COMPARED = ("DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "STATUS")


def write(answer: Answer, planned: Planned, path: Path) -> Path:
    """Write the calendar, all of it or nothing.

    Raises
    ------
    InputError
        When a file of that name is there that is no calendar.
    """
    before = _read(path) if path.exists() else None
    partial = path.with_name(f".{path.name}.part")
    partial.write_bytes(text(answer, planned, before))
    partial.replace(path)
    return path


def text(answer: Answer, planned: Planned, before: Any = None) -> bytes:
    """The calendar's bytes; `before` is the one that was sent last."""
    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    old = {} if before is None else {str(event["UID"]): event for event in before.walk("VEVENT")}
    named = [(_name(answer, planned, deed, planned.best.deeds), deed) for deed in planned.best.deeds]
    for uid, deed in named:
        event = _event(answer, uid, deed)
        last = old.get(uid)
        event.add("sequence", 0 if last is None else int(last.get("SEQUENCE", 0)) + (not _same(event, last)))
        calendar.add_component(event)
    for uid, event in old.items():
        if uid not in dict(named):
            calendar.add_component(_cancelled(event, answer.now))
    return bytes(calendar.to_ical())


def _event(answer: Answer, uid: str, deed: Deed) -> Any:
    event = icalendar.Event()
    event.add("uid", uid)
    event.add("dtstamp", answer.now.replace(tzinfo=UTC))
    event.add("dtstart", deed.start.replace(tzinfo=UTC))
    event.add("dtend", deed.end.replace(tzinfo=UTC))
    event.add("summary", f"{words_plan.verb(deed)} ({answer.venue})")
    event.add("description", words_plan.reason(deed, answer.shown) or "as planned")
    event.add("status", "CONFIRMED")
    return event


def _cancelled(old: Any, now: datetime) -> Any:
    """An action that is no longer in the plan; told once, then left as it is."""
    if str(old.get("STATUS", "")) == "CANCELLED":
        return old
    event = icalendar.Event()
    for name in ("UID", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION"):
        if name in old:
            event.add(name, old.decoded(name) if name.startswith("DT") else str(old[name]))
    event.add("dtstamp", now.replace(tzinfo=UTC))
    event.add("sequence", int(old.get("SEQUENCE", 0)) + 1)
    event.add("status", "CANCELLED")
    return event


def _same(event: Any, old: Any) -> bool:
    def told(one: Any, name: str) -> Any:
        return one.decoded(name) if name in one and name.startswith("DT") else str(one.get(name, ""))

    return all(told(event, name) == told(old, name) for name in _COMPARED)


def _name(answer: Answer, planned: Planned, deed: Deed, deeds: Sequence[Deed]) -> str:
    """One lasting name: venue, windows that decide, action and kit; the hour is no part of it."""
    night = answer.windows[0].start.date().isoformat()
    alike = [d for d in deeds if (d.action, d.what) == (deed.action, deed.what)]
    key = "|".join((answer.venue, night, *planned.windows, deed.action, deed.what, str(alike.index(deed))))
    return f"{hashlib.sha256(key.encode()).hexdigest()[:32]}@microclimate.invalid"


def _read(path: Path) -> Any:
    try:
        return icalendar.Calendar.from_ical(path.read_bytes())
    except ValueError as error:
        raise refuse(str(path), f"is no calendar file ({error})", "a file this program wrote", "move it away") from None
