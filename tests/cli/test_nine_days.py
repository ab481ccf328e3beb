"""Three evening games in nine days with a floor for a concert between the first two: the demo's calendar, called."""

import re
from datetime import datetime
from pathlib import Path
from typing import Any

import icalendar
import pytest
from command_line import DEMO, called
from small_ground import GROUND

from microclimate.errors import InputError
from microclimate.venue import load
from microclimate.venue.load import Venue
from microclimate.workflow.tonight import tonight

GAME_NIGHT: dict[str, Any] = {
    "events": ["2026-01-28T19:30/21:30"],
    "night": "2026-01-27",
    "past": DEMO / "past.csv",
    "now": datetime(2026, 1, 27, 17),
    "advice": True,
}
CALENDAR = DEMO / "nine_days.toml"
SMALL = (
    GROUND
    + """
[[ground]]
build = "sand over gravel"
circuit = "pipes"
[[circuit]]
name = "pipes"
probe_depth = 0.05
"""
)


def small(folder: Path, text: str = SMALL) -> Path:
    path = folder / "venue.toml"
    path.write_text(text, encoding="utf-8")
    return path


def told(folder: Path, night: str, *more: str | Path) -> str:
    words = ("--weather", DEMO / "past.csv", "--events", CALENDAR, "--night", night)
    done = called("tonight", small(folder), *words, *more)
    assert done.exit_code == 0, done.output
    return " ".join(done.output.split())


def test_the_game_after_the_floor_is_planned_once_the_floor_is_off(tmp_path: Path) -> None:
    """The floor is off at 14:00 on the 19th (19:00 UTC); the second game starts at 19:30 on the 20th."""
    text = told(tmp_path, "2026-01-19", "--advise", "--out", tmp_path / "out")
    assert "First evening" not in text  # it is over
    assert "The concert floor lies Sat 08:00 to Mon 14:00, laid by others." in text
    assert "(Second evening)" in text  # whose limits decide
    assert re.search("Third evening, Sat 24 Jan, 19:30 to 21:30", text)
    calendar = icalendar.Calendar.from_ical((tmp_path / "out" / "actions.ics").read_bytes())
    for event in calendar.walk("VEVENT"):
        if str(event["SUMMARY"]).startswith("Lay"):
            assert event.decoded("DTSTART").isoformat() >= "2026-01-19T19:00"


def test_a_freezing_game_night_with_and_without_heating(tmp_path: Path) -> None:
    """The demo's game night: air near -3 degC at kick-off under a clear sky, a cover has to be off by then."""
    heated = tonight(small(tmp_path), DEMO / "forecast.csv", **GAME_NIGHT).answer
    cold = SMALL.replace('circuit = "pipes"', "").replace('[[circuit]]\nname = "pipes"\nprobe_depth = 0.05\n', "")
    bare = tonight(small(tmp_path, cold), DEMO / "forecast.csv", **GAME_NIGHT)
    assert heated.plan is not None
    assert bare.answer.plan is not None
    assert heated.plan.nothing.severe == bare.answer.plan.nothing.severe
    assert heated.plan.best.ending < bare.answer.plan.best.ending
    assert heated.plan.inside  # within the 10 % that is tolerated where nothing else is set
    assert not bare.answer.plan.inside
    assert "no heat would last through it" in " ".join(bare.text.split())


def test_a_calendar_stands_beside_the_venues_own_events(tmp_path: Path) -> None:
    own = '[[event]]\nname = "Mine"\nstart = 2026-01-20T19:30:00\nend = 21:30:00\n'
    venue = load.with_calendar(load.text(SMALL + own), CALENDAR)
    assert [event.name for event in venue.events] == ["First evening", "Mine", "Third evening"]
    assert [floor.name for floor in venue.equipment.floors] == ["concert floor"]
    assert load.text(SMALL).equipment.floors == ()


@pytest.fixture
def venue() -> Venue:
    return load.text(SMALL)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "concert floor"', 'zones = ["North"]', "there is no zone 'North'"),
        ("end = 2026-01-19T14:00:00", "end = 2026-01-16T14:00:00", "end must be later than start"),
        ("2026-01-20T19:30:00", "2026-01-16T20:30:00", "overlap"),
        ("[[floor]]", "[[flor]]", "did you mean"),
    ],
)
def test_a_calendar_with_a_fault_is_refused(tmp_path: Path, venue: Venue, old: str, new: str, words: str) -> None:
    text = CALENDAR.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "games.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=words):
        load.with_calendar(venue, path)


def test_an_event_that_is_over_is_refused_in_the_call(tmp_path: Path) -> None:
    done = called(
        "tonight",
        small(tmp_path),
        "--low",
        "26 degF",
        "--high",
        "41 degF",
        "--wind",
        "3 mph",
        "--cloud",
        "clear",
        "--event",
        "2026-01-21T19:30/21:30",
    )
    assert done.exit_code == 2
    assert "ended 2026-01-22 02:30 UTC, before this run; wanted an event to come" in done.stderr


def test_watering_is_tried_beside_the_night_without_and_refused_outside_it(tmp_path: Path) -> None:
    words = ("tonight", small(tmp_path), "--weather", DEMO / "forecast.csv", "--past", DEMO / "past.csv")
    done = called(*words, "--night", "2026-01-27", "--water", "6 mm, 15:00, 8 degC")
    assert done.exit_code == 0
    text = " ".join(done.output.split())
    assert "Tried, not advised: 6 mm of water at 8.0 °C, Tue 15:00" in text
    assert "with it" in text
    late = called(*words, "--night", "2026-01-27", "--water", "6 mm, 2026-02-01T15:00", "--out", tmp_path / "out")
    assert late.exit_code == 2
    assert "is not within this run" in late.stderr
    assert "Working out" not in late.output  # before anything runs
    assert "Running the ground" not in late.output
    assert not list((tmp_path / "out").glob("briefing*"))
