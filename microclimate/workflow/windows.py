"""The windows a run answers for: the night, and the events in reach."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from pvlib.solarposition import sun_rise_set_transit_spa

from microclimate.errors import InputError, Problem
from microclimate.schema import Event, Site
from microclimate.venue.events import utc
from microclimate.venue.rules import apart

AFTER_SUNRISE = timedelta(hours=3)  # the shade of the stands keeps the morning cold; ours, no source
_PAST = "name the evening with --night to look back at it"
EARLY = 9  # [h] local: before it, "the coming night" is the one that is ending; ours


def coming_night(now: datetime, time_zone: str) -> date:
    """The evening's date of the night that `now` (naive UTC) is in or comes before."""
    local = now.replace(tzinfo=ZoneInfo("UTC")).astimezone(ZoneInfo(time_zone))
    return local.date() - timedelta(days=1) if local.hour < EARLY else local.date()


def evening(text: str) -> date:
    """The date of `--night`.

    Raises
    ------
    InputError
        When the text is no date.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            "--night", [Problem("--night", repr(text), "the evening's date, such as 2026-01-21")]
        ) from None


def local_day(moment: datetime, time_zone: str) -> date:
    """The venue's date at a moment in UTC."""
    return moment.replace(tzinfo=ZoneInfo("UTC")).astimezone(ZoneInfo(time_zone)).date()


def midnight(day: date, time_zone: str) -> datetime:
    """At which a local day begins."""
    return _utc(datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(time_zone)))


def night(site: Site, day: date, name: str = "tonight") -> Event:
    """From sunset on `day` to three hours after the next sunrise (18:00 to 09:00 local where the sun does neither)."""
    zone = ZoneInfo(site.time_zone)
    noon = pd.DatetimeIndex(
        [pd.Timestamp(day, tz=zone) + pd.Timedelta("12h"), pd.Timestamp(day, tz=zone) + pd.Timedelta("36h")]
    )
    sun = sun_rise_set_transit_spa(noon, site.latitude, site.longitude)
    sunset, sunrise = sun["sunset"].iloc[0], sun["sunrise"].iloc[1]
    if pd.isna(sunset) or pd.isna(sunrise):
        start = datetime(day.year, day.month, day.day, 18, tzinfo=zone)
        return Event(name, _utc(start), _utc(start + timedelta(hours=15)), "night")
    return Event(name, _utc(sunset.floor("min")), _utc(sunrise.floor("min") + AFTER_SUNRISE), "night")


def event(text: str, time_zone: str, number: int) -> Event:
    """An event from "2026-12-16T19:30/21:30" (local clock; the end may carry a date of its own).

    Raises
    ------
    InputError
        When the text holds no two times, or the end is not after the start.
    """
    where, wanted = f"--event {text!r}", "START/END, for example 2026-01-21T19:30/21:30"
    first, slash, last = text.strip().partition("/")
    if not slash:
        raise InputError(where, [Problem(where, "one time", wanted)])
    try:
        start = datetime.fromisoformat(first.strip())
        last = last.strip()
        end = datetime.fromisoformat(
            last if "T" in last or " " in last else f"{start.date().isoformat()}T{last.zfill(5)}"
        )
        if end <= start and "T" not in last:
            end += timedelta(days=1)  # a game that ends after midnight
        begins, ends = utc(start, time_zone), utc(end, time_zone)
    except ValueError as error:
        raise InputError(where, [Problem(where, str(error), wanted)]) from None
    if ends <= begins:
        raise InputError(where, [Problem(where, "ends before it begins", wanted)])
    return Event("event" if number == 0 else f"event {number + 1}", begins, ends)


def one_at_a_time(asked: Sequence[Event], listed: Sequence[Event], since: datetime) -> tuple[Event, ...]:
    """Events asked for in the call and those that venue and calendar list, each once, in order of time.

    Raises
    ------
    InputError
        One asked for is over at `since`, or two overlap.
    """
    over = [e for e in asked if e.end <= since]
    problems = [
        Problem(f"--event {e.name!r}", f"ended {e.end:%Y-%m-%d %H:%M} UTC, before this run", "an event to come", _PAST)
        for e in over
    ]
    found: list[Event] = []
    for e in sorted((*listed, *asked), key=lambda e: (e.start, e.end)):
        if not any((e.start, e.end) == (other.start, other.end) for other in found):
            found.append(e)

    def report(where: str, words: str, cure: str) -> None:
        problems.append(Problem(where, words, cure=cure))

    apart([e for e in found if e.end > since], report)
    if problems:
        raise InputError("events", problems)
    return tuple(found)


def in_reach(events: Sequence[Event], begin: datetime, end: datetime, since: datetime) -> list[Event]:
    """Events that lie wholly between `begin` and `end` and are not over at `since`, in order."""
    return sorted((e for e in events if e.start >= begin and e.end <= end and e.end > since), key=lambda e: e.start)


def _utc(moment: datetime) -> datetime:
    return pd.Timestamp(moment).tz_convert("UTC").tz_localize(None).to_pydatetime()


def stamp(moment: datetime) -> np.datetime64:
    """Naive UTC as numpy has it."""
    return np.datetime64(moment, "ns")
