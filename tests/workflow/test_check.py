"""`microclimate check`: sun against published times, the stated night, and which way the unknowns move it."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from microclimate import cli
from microclimate.exposure.bowl import bowl
from microclimate.report.words_check import Lit, Swing, moved, sun
from microclimate.schema import Site
from microclimate.units import Shown
from microclimate.venue import load, starter
from microclimate.workflow import check, windows

US = Shown("US", 12, "America/New_York")
OPEN = load.text(starter.blank())


def open_field(latitude: float, longitude: float, zone: str) -> load.Venue:
    place = {"latitude": latitude, "longitude": longitude, "time_zone": zone}
    return OPEN.model_copy(update={"site": OPEN.site.model_copy(update=place)})


def test_sun_leaves_and_returns_to_an_open_field_at_the_published_times() -> None:
    """Sunset 17:20:19 and sunrise 6:12:43 at 39.742476 N 105.1786 W (Reda & Andreas 2003, Table A5.1), both of the UT
    day 17 October 2003: the evening of the 16th and the next morning on the local clock (UTC-7).

    They are of the upper rim, the beam counts from the sun's middle: 0.27 degrees at 11.3 degrees an hour, 1.4 min;
    and looks are 2 min apart.
    """
    venue = open_field(39.742476, -105.1786, "America/Denver")
    spots = check.sunlight(venue, bowl(venue), date(2003, 10, 16))
    assert [spot.kind for spot in spots] == ["centre"]  # no spot is darker than another
    assert spots[0].leaves is not None
    assert spots[0].returns is not None
    early = datetime(2003, 10, 17, 0, 20, 19) - spots[0].leaves
    late = spots[0].returns - datetime(2003, 10, 17, 13, 12, 43)
    assert timedelta(0) < early <= timedelta(minutes=3.5)
    assert timedelta(0) < late <= timedelta(minutes=3.5)
    # 17:20:19 less 6:12:43, the sunrise before being about a minute earlier
    assert spots[0].hours == pytest.approx(11.13 + (1.0 - 2 * 1.4) / 60, abs=0.05)


def test_a_stand_takes_the_evening_sun_from_the_side_it_stands_on() -> None:
    """A stand in the west: the spot beside it is the darkest and loses the sun before the centre does."""
    west = starter.from_answers(
        {"position": "41.2, -96.1, 330 m", "time_zone": "America/Chicago", "bearing": "0", "stands": "left"}
    )
    venue = load.text(west)
    centre, darkest = check.sunlight(venue, bowl(venue), date(2026, 3, 20))
    assert (centre.kind, darkest.kind) == ("centre", "darkest")
    assert darkest.leaves is not None
    assert centre.leaves is not None
    assert darkest.leaves < centre.leaves
    assert darkest.hours < centre.hours
    zones = {zone.name: np.mean(zone.polygon, axis=0) for zone in venue.field.zones}
    assert zones[darkest.zone][1] > 0.0  # y counts to the left of the long axis: the west here


def test_the_polar_night_has_no_sun() -> None:
    venue = open_field(78.2, 15.6, "Arctic/Longyearbyen")
    (spot,) = check.sunlight(venue, bowl(venue), date(2026, 12, 21))
    assert (spot.leaves, spot.returns, spot.hours) == (None, None, 0.0)
    assert (
        sun(replace(spot, zone="A1"), US) == "Centre of the field, A1: no sun that day and does not return on the next."
    )


def test_the_stated_night_is_the_one_that_is_told() -> None:
    site = Site("x", 41.2, -96.1, 330.0, "America/Chicago")
    dark = windows.night(site, date(2026, 1, 27))
    weather = check.stated(site, dark)
    time = weather["time"].values
    hours = (time - np.datetime64(dark.start, "ns")) / np.timedelta64(1, "h")
    sunrise = (dark.end - windows.AFTER_SUNRISE - dark.start) / timedelta(hours=1)
    air = weather["air_temperature"].values[0]
    inside = (hours >= 0.0) & (hours <= sunrise)
    line = check.AIR[0] + (check.AIR[1] - check.AIR[0]) * hours[inside] / sunrise
    np.testing.assert_allclose(air[inside], line)
    assert weather["time_bnds"].values[0, 0] <= np.datetime64(dark.start - check.LEAD + timedelta(hours=1), "ns")
    assert time[-1] >= np.datetime64(dark.end, "ns")
    assert float(weather["cloud_area_fraction"].max()) == 0.0


@pytest.fixture(scope="module")
def swings() -> tuple[float, dict[str, Swing]]:
    dark = windows.night(OPEN.site.site, date(2026, 1, 27))
    lowest, found = check.swings(OPEN, bowl(OPEN), check.stated(OPEN.site.site, dark), dark)
    sizes = [swing.size for swing in found]
    assert sizes == sorted(sizes, reverse=True)
    return lowest, {swing.label: swing for swing in found}


def test_unknowns_move_a_clear_night_the_way_physics_has_it(swings: tuple[float, dict[str, Swing]]) -> None:
    """On a clear calm night the leaf is colder than air and soil: whatever couples it to either warms it."""
    lowest, found = swings
    assert lowest < check.AIR[1]
    for label in ("how well the leaf is coupled to the soil (thatch, height of cut)",
                  "heat exchange of the leaf with still air"):  # fmt: skip
        low, high = found[label].moves
        assert low < 0.0 < high
    low, high = found["water in the root zone"].moves  # wetter sand stores and conducts more
    assert low < 0.0 < high


def test_a_difference_is_told_as_a_difference() -> None:
    swing = Swing("height of the stands", ("5 % lower", "5 % higher"), (-1.0, 0.5), True, "ours, no source")
    assert moved(swing, US) == (
        "Height of the stands: 2.7 °F from end to end. 5 % lower: 1.8 °F colder; 5 % higher: 0.9 °F warmer. "
        "You did not know it, so its range is wide. Range: ours, no source."
    )
    assert "1.5 K from end to end" in moved(swing, Shown())
    assert "5 % lower: no change" in moved(replace(swing, moves=(0.01, 0.5)), Shown())


def test_sun_is_told_on_the_readers_clock() -> None:
    spot = Lit("darkest", "B2", datetime(2026, 1, 27, 21, 18), datetime(2026, 1, 28, 13, 4), 7.5)
    assert sun(spot, US) == (
        "Darkest spot of the field, B2: the sun leaves at 4:18 pm (7.5 h of sun that day) and is first back at 8:04 am "
        "on the next."
    )


def test_the_whole_answer(tmp_path: Path) -> None:
    path = tmp_path / "venue.toml"
    path.write_text(starter.blank(), encoding="utf-8")
    done = CliRunner().invoke(cli.app, ["check", str(path), "--night", "2026-01-27"])
    assert done.exit_code == 0
    assert "No weather was given, so a clear calm night is taken, not a forecast" in " ".join(done.output.split())
    assert [line[:2] for line in done.output.splitlines() if line[:2] in ("1.", "2.", "3.", "4.")] == ["1.", "2.", "3."]
    assert max(map(len, done.output.splitlines())) <= 80
    assert [entry.name for entry in tmp_path.iterdir()] == ["venue.toml"]
