"""The actions as a calendar file (iCalendar, RFC 5545): UTC, one lasting name for each action, rising sequence numbers.

A file that was written before is read first: an action that changed keeps its name and gets the next number, one that
was dropped is sent once more as cancelled, one whose hour has passed is left as it was.
"""

import hashlib
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace
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
    named = _named(answer, planned, old)
    for uid, deed in named.items():
        event, last = _event(answer, uid, deed), old.get(uid)
        if deed.running and last is not None and _same(event, last, ("DTSTART", "DTEND")):
            calendar.add_component(last)  # begun as it was told: no news
            continue
        event.add("sequence", 0 if last is None else int(last.get("SEQUENCE", 0)) + (not _same(event, last)))
        calendar.add_component(event)
    for uid, event in old.items():
        if uid not in named:
            calendar.add_component(event if _over(event, answer.now) else _cancelled(event, answer.now))
    return bytes(calendar.to_ical())


def _event(answer: Answer, uid: str, deed: Deed) -> Any:
    event = icalendar.Event()
    event.add("uid", uid)
    event.add("dtstamp", answer.now.replace(tzinfo=UTC))
    event.add("dtstart", deed.start.replace(tzinfo=UTC))
    event.add("dtend", deed.end.replace(tzinfo=UTC))
    event.add("summary", f"{words_plan.verb(replace(deed, running=False))} ({answer.venue})")
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


def _same(event: Any, old: Any, names: Sequence[str] = _COMPARED) -> bool:
    def told(one: Any, name: str) -> Any:
        return one.decoded(name) if name in one and name.startswith("DT") else str(one.get(name, ""))

    return all(told(event, name) == told(old, name) for name in names)


def _named(answer: Answer, planned: Planned, old: Mapping[str, Any]) -> dict[str, Deed]:
    """Each action under its lasting name: the next one of its kind that no action done before has taken."""
    found: dict[str, Deed] = {}
    for deed in planned.best.deeds:
        for number in itertools.count():
            uid = _name(answer, planned, deed, number)
            done = uid in old and _over(old[uid], answer.now) and deed.end > answer.now
            if uid not in found and not done:
                found[uid] = deed
                break
    return found


def _over(event: Any, now: datetime) -> bool:
    """Whether an action ended before now, as it was told: it was done, or its hour has passed."""
    called_off = str(event.get("STATUS", "")) == "CANCELLED"
    return not called_off and "DTEND" in event and event.decoded("DTEND") <= now.replace(tzinfo=UTC)


def _name(answer: Answer, planned: Planned, deed: Deed, number: int) -> str:
    """Venue, windows that decide, action, kit, and which of its kind; the hour is no part of it."""
    night = answer.windows[0].start.date().isoformat()
    key = "|".join((answer.venue, night, *planned.windows, deed.action, deed.what, str(number)))
    return f"{hashlib.sha256(key.encode()).hexdigest()[:32]}@microclimate.invalid"


def _read(path: Path) -> Any:
    try:
        return icalendar.Calendar.from_ical(path.read_bytes())
    except ValueError as error:
        raise refuse(str(path), f"is no calendar file ({error})", "a file this program wrote", "move it away") from None
