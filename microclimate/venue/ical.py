"""Events from an iCalendar file (RFC 5545), as the tables a TOML calendar has."""

import re
from datetime import datetime
from typing import Any

import icalendar

from microclimate.venue.faults import Findings

# "Gates: 18:00", a line of its own in a description: what comes before the start has no name in the standard
_MARK = re.compile(
    r"^\s*(gates|warm[ -]?up|walk[ -]?through)\s*[:=]?\s*(\d{4}-\d\d-\d\d[T ])?(\d{1,2}:\d\d)\s*$", re.I | re.M
)
_KEYS = {"gat": "gates", "war": "warm_up", "wal": "walk_through"}
_REPEATS = ("RRULE", "RDATE")


def is_ical(content: str) -> bool:
    """Whether a text is a calendar of this kind."""
    return content.lstrip("\ufeff \r\n\t").upper().startswith("BEGIN:VCALENDAR")


def tables(content: str, report: Findings) -> list[dict[str, Any]]:
    """A table for each event that is not cancelled; what cannot be one is reported.

    DTEND or DURATION ends it, the first of CATEGORIES is its kind, and lines such as "Gates: 18:00" in its description
    are its gates, warm-up and walk-through. A time without a zone is the venue's clock.
    """
    try:
        calendar = icalendar.Calendar.from_ical(content)
    except ValueError as error:
        report("", f"is no calendar ({error})", "export it again as iCalendar, or write [[event]] tables")
        return []
    found = []
    for number, event in enumerate(calendar.walk("VEVENT"), start=1):
        if str(event.get("STATUS", "")).upper() == "CANCELLED":
            continue
        name = str(event.get("SUMMARY", "")).strip() or "event"
        place = f"event {number} ({name})"
        if any(key in event for key in _REPEATS):
            report(place, "repeats by a rule", "give each game an event of its own")
            continue
        start, end = _ends(event)
        if not isinstance(start, datetime) or not isinstance(end, datetime):
            report(place, "has no time of day at which it starts and ends", "give it DTSTART and DTEND with a time")
            continue
        found.append(
            {"name": name, "start": start, "end": end} | _kind(event) | _marks(str(event.get("DESCRIPTION", "")))
        )
    return found


def _ends(event: Any) -> tuple[Any, Any]:
    """Start and end as the file has them; None where it has none."""
    start = event.decoded("DTSTART") if "DTSTART" in event else None
    if "DTEND" in event:
        return start, event.decoded("DTEND")
    return start, start + event.decoded("DURATION") if start is not None and "DURATION" in event else None


def _kind(event: Any) -> dict[str, str]:
    categories = event.get("CATEGORIES")
    if categories is None:
        return {}
    first = categories[0] if isinstance(categories, list) else categories
    names = [str(name) for name in getattr(first, "cats", [])]
    return {"kind": names[0].lower()} if names else {}


def _marks(description: str) -> dict[str, str]:
    found = {}
    for mark in _MARK.finditer(description):
        key = _KEYS[mark[1][:3].lower()]
        day, hour = mark[2], mark[3].zfill(5)
        found[key] = f"{day[:10]}T{hour}" if day else hour
    return found
