"""A calendar of games as other programs write it: RFC 5545, read into the same events as [[event]] tables."""

from datetime import UTC, datetime
from pathlib import Path

import icalendar
import pytest

from microclimate.errors import InputError
from microclimate.schema import Event
from microclimate.venue import load

HERE = "America/New_York"
# Two games and a training in nine days, in the three ways RFC 5545 (3.3.5) writes a time: with TZID, in UTC, floating
GAMES = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//someone//fixtures//EN
BEGIN:VTIMEZONE
TZID:America/New_York
BEGIN:STANDARD
DTSTART:20251102T020000
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
END:STANDARD
END:VTIMEZONE
BEGIN:VEVENT
UID:1@x
DTSTART;TZID=America/New_York:20260128T193000
DTEND;TZID=America/New_York:20260128T213000
SUMMARY:Cup evening
CATEGORIES:GAME,HOME
DESCRIPTION:Gates: 18:00\\nwarm-up 18:45\\nwalk through: 2026-01-28 10:00\\nbring flags
END:VEVENT
BEGIN:VEVENT
UID:2@x
DTSTART:20260131T003000Z
DURATION:PT2H15M
SUMMARY:Second game
END:VEVENT
BEGIN:VEVENT
UID:3@x
DTSTART:20260205T100000
DTEND:20260205T113000
SUMMARY:Training
END:VEVENT
BEGIN:VEVENT
UID:4@x
DTSTART:20260205T103000
DTEND:20260205T113000
SUMMARY:called off
STATUS:CANCELLED
END:VEVENT
END:VCALENDAR
"""


def written(folder: Path, text: str, name: str = "games.ics") -> Path:
    path = folder / name
    path.write_bytes(text.replace("\n", "\r\n").encode())
    return path


def test_times_with_a_zone_in_utc_and_floating_are_the_same_clock(tmp_path: Path) -> None:
    cup, second, training = load.events(written(tmp_path, GAMES), HERE)
    assert cup == Event(
        "Cup evening",
        datetime(2026, 1, 29, 0, 30),
        datetime(2026, 1, 29, 2, 30),
        "game",
        (
            ("gates", datetime(2026, 1, 28, 23)),
            ("warm-up", datetime(2026, 1, 28, 23, 45)),
            ("walk-through", datetime(2026, 1, 28, 15)),
        ),
    )
    assert (second.start, second.end) == (datetime(2026, 1, 31, 0, 30), datetime(2026, 1, 31, 2, 45))
    assert training.start == datetime(2026, 2, 5, 15)


def test_what_a_general_library_writes_comes_back(tmp_path: Path) -> None:
    calendar, event = icalendar.Calendar(), icalendar.Event()
    event.add("summary", "Game")
    event.add("dtstart", datetime(2026, 1, 21, 18, tzinfo=UTC))
    event.add("dtend", datetime(2026, 1, 21, 20, tzinfo=UTC))
    calendar.add_component(event)
    path = tmp_path / "whatever.txt"
    path.write_bytes(calendar.to_ical())
    assert load.events(path, HERE) == (Event("Game", datetime(2026, 1, 21, 18), datetime(2026, 1, 21, 20)),)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("DURATION:PT2H15M", "RRULE:FREQ=WEEKLY", r"event 2 \(Second game\): repeats by a rule; give each game"),
        ("DTSTART:20260131T003000Z\nDURATION:PT2H15M", "DTSTART;VALUE=DATE:20260131", "no time of day"),
        ("DURATION:PT2H15M\n", "", "no time of day"),
        ("20260128T213000", "20260128T190000", "end must be later than start"),
        ("20260205T100000", "20260128T210000", "16 h"),
        ("20260205T100000\nDTEND:20260205T113000", "20260128T210000\nDTEND:20260128T220000", "overlap"),
        ("Gates: 18:00", "Gates: 20:00", "gates must lie before start"),
        ("END:VEVENT\nEND:VCALENDAR", "", "is no calendar"),
    ],
)
def test_what_cannot_be_an_event_is_said(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in GAMES
    with pytest.raises(InputError, match=words):
        load.events(written(tmp_path, GAMES.replace(old, new)), HERE)


def test_tables_that_overlap_are_refused_in_toml_too(tmp_path: Path) -> None:
    table = "[[event]]\nname = {!r}\nstart = 2026-01-21T{}:00\nend = 21:00:00\n"
    path = written(tmp_path, table.format("a", "18:00") + table.format("b", "20:00"), "games.toml")
    with pytest.raises(InputError, match="'a' and 'b' overlap; one field carries one use at a time"):
        load.events(path, HERE)
