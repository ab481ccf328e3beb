"""The night and the events: local clocks, changes of the clock, midnight, and the far north."""

from datetime import date, datetime, timedelta

import pytest

from microclimate.errors import InputError
from microclimate.schema import Event, Site
from microclimate.workflow import windows

HERE = Site("field", 36.0, -80.0, 270.0, "America/New_York")


def test_night_against_a_published_sunrise() -> None:
    """Sunset 17:20:19, 17 October 2003, 39.742476 N 105.1786 W (Reda & Andreas 2003, Table A5.1, worked example)."""
    night = windows.night(Site("x", 39.742476, -105.1786, 1830.0, "America/Denver"), date(2003, 10, 17))
    assert night.start == datetime(2003, 10, 18, 0, 20)  # 17:20 at UTC-7; seconds are dropped


def test_night_ends_after_sunrise_of_the_next_day() -> None:
    night = windows.night(HERE, date(2026, 1, 21))
    assert timedelta(hours=15) < night.end - night.start < timedelta(hours=18)
    assert night.start.hour == 22  # 17:3x in January is 22:3x UTC


def test_no_sunset_in_the_far_north() -> None:
    night = windows.night(Site("north", 78.2, 15.6, 10.0, "Arctic/Longyearbyen"), date(2026, 6, 21))
    assert (night.start, night.end) == (datetime(2026, 6, 21, 16), datetime(2026, 6, 22, 7))


def test_before_nine_the_coming_night_is_the_one_that_ends() -> None:
    assert windows.coming_night(datetime(2026, 1, 22, 11), "America/New_York") == date(2026, 1, 21)
    assert windows.coming_night(datetime(2026, 1, 22, 15), "America/New_York") == date(2026, 1, 22)


def test_event_is_local_and_may_pass_midnight() -> None:
    assert windows.event("2026-01-21T19:30/21:30", "America/New_York", 0) == Event(
        "event", datetime(2026, 1, 22, 0, 30), datetime(2026, 1, 22, 2, 30)
    )
    late = windows.event("2026-01-21T22:30/0:45", "America/New_York", 1)
    assert (late.name, late.end) == ("event 2", datetime(2026, 1, 22, 5, 45))
    whole = windows.event("2026-01-21T22:30/2026-01-22T00:45", "America/New_York", 0)
    assert whole.end == late.end


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tomorrow", "one time; wanted START/END"),
        ("2026-01-21T19:30", "one time; wanted START/END"),
        ("2026-01-21T19:30/later", "wanted START/END"),
        ("2026-01-21T19:30/2026-01-21T18:00", "ends before it begins"),
        ("2026-11-01T01:30/03:30", "comes twice in America/New_York"),
        ("2026-03-08T02:30/04:30", "does not exist in America/New_York"),
    ],
)
def test_what_is_no_event_is_said(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        windows.event(text, "America/New_York", 0)


def test_a_date_is_wanted() -> None:
    with pytest.raises(InputError, match="the evening's date"):
        windows.evening("21/01/2026")
    assert windows.evening(" 2026-01-21 ") == date(2026, 1, 21)


def test_only_whole_events_to_come_are_in_reach() -> None:
    start = datetime(2026, 1, 21)
    events = tuple(Event(str(h), start + timedelta(hours=h), start + timedelta(hours=h + 2)) for h in (40, 5, 1, -1))
    since = start + timedelta(hours=4)
    assert [e.name for e in windows.in_reach(events, start, start + timedelta(hours=41), since)] == ["5"]
    assert [e.name for e in windows.in_reach(events, start, start + timedelta(hours=42), start)] == ["1", "5", "40"]


def _use(name: str, first: int, last: int) -> Event:
    start = datetime(2026, 1, 21)
    return Event(name, start + timedelta(hours=first), start + timedelta(hours=last))


def test_two_uses_at_one_time_and_one_that_is_over_are_refused_together() -> None:
    asked = (_use("event", -5, -3), _use("event 2", 11, 14))
    with pytest.raises(InputError) as caught:
        windows.one_at_a_time(asked, (_use("cup", 10, 12),), datetime(2026, 1, 21))
    text = str(caught.value)
    assert "ended 2026-01-20 21:00 UTC, before this run; wanted an event to come" in text
    assert "--night" in text
    assert "'cup' and 'event 2' overlap" in text


def test_an_event_told_twice_is_one_and_old_ones_of_a_calendar_are_no_fault() -> None:
    listed = (_use("first", -30, -28), _use("also first", -29, -27), _use("cup", 10, 12))
    found = windows.one_at_a_time((_use("event", 10, 12),), listed, datetime(2026, 1, 21))
    assert [e.name for e in found] == ["first", "also first", "cup"]
