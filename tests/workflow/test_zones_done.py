"""Lamps, and heating that stops: what is added, how long it holds; variants change what they say."""

from datetime import date
from pathlib import Path

import demo_days
import numpy as np
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.physics import lamps
from microclimate.report import words_done
from microclimate.venue import load
from microclimate.workflow import zones_cases, zones_done, zones_run

DEMO = Path(__file__).parents[2] / "data_demo"
LAMP = """
[[lamp]]
name = "rig"
zones = ["West flank 3", "West flank 4"]
photon_flux = 400
heat = 180
hours = 8
from_hour = 20

[[grass]]
species = "ryegrass and bluegrass"
light_min = 20
"""


@pytest.fixture(scope="module")
def venue() -> load.Venue:
    return load.text((DEMO / "venue.toml").read_text(encoding="utf-8") + LAMP)


@pytest.fixture(scope="module")
def world(venue: load.Venue):
    return demo_days.lived(venue, date(2026, 1, 15), date(2026, 1, 18), with_cells=False)


def test_lamp_light_is_flux_times_time() -> None:
    """400 umol/m2s for 8 h are 11.52 mol/m2 (arithmetic); the hours that close a gap give just that gap."""
    assert lamps.lamp_light(400.0, 8 * 3600.0) == pytest.approx(11.52)
    assert lamps.lamp_light(400.0, lamps.lamp_time(5.0, 400.0)) == pytest.approx(5.0)


def test_lamps_shine_in_their_hours_over_their_zones(venue: load.Venue) -> None:
    """20:00 to 4:00 local time, 1:00 to 9:00 UTC; steps end at their stamps."""
    time = np.datetime64("2026-01-16T00:10", "ns") + np.arange(144) * np.timedelta64(600, "s")
    zone = ["West flank 3", "East middle 2"]
    block = xr.Dataset(
        {"longwave_stands_down": (("realization", "patch", "time"), np.full((1, 2, 144), 10.0))},
        coords={"time": time, "zone": ("patch", zone)},
    )
    found = zones_done.lamplit(venue)(block)["longwave_stands_down"].values[0]
    hours = (time - np.datetime64("2026-01-16T00:00")) / np.timedelta64(1, "h")
    np.testing.assert_allclose(found[0], np.where((hours > 1.0) & (hours <= 9.0), 190.0, 10.0))
    np.testing.assert_allclose(found[1], 10.0)
    assert (block["longwave_stands_down"] == 10.0).all()  # what was given stays


def test_the_gap_and_the_hours_that_close_it(venue: load.Venue) -> None:
    light = xr.DataArray([15.0] * 24, coords={"zone": [z.name for z in venue.field.zones]}, dims="zone")
    found = {row.zone: row for row in zones_done.lit(venue, light)}
    assert found["West flank 3"].lamps == pytest.approx(11.52)
    assert found["East middle 2"].lamps == 0.0
    assert found["East middle 2"].need == 20.0  # as the venue has it, not the table's 10
    assert found["East middle 2"].hours == pytest.approx(5.0 / (400e-6 * 3600.0))


def test_after_heating_stops_trays_go_first(venue: load.Venue, world) -> None:
    """Air beneath is a second cold face (trade paper, section 4); play is reached before frost, frost before kill."""
    case, joined, weather, days, _ = world
    heat = zones_run.Case(venue, case.bowl, plan=zones_done.heating)
    heated = zones_run.lived(heat, joined, weather, days, with_cells=False)
    off = np.datetime64("2026-01-16T22:00", "ns")
    found = {row.zone: row for row in zones_done.stopped(heat, joined, weather, heated, off)}
    ground, tray = found["East middle 2"], found["South goal right"]
    assert tray.play <= ground.play
    for row in found.values():
        ordered = [v for v in (row.play, row.frost, row.growing, row.hardened) if np.isfinite(v)]
        assert ordered == sorted(ordered)


def test_no_more_is_said_of_what_follows_than_the_weather_holds(venue: load.Venue, world) -> None:
    """Weather for 26 h after heating stops: what has not come by then is "over 26" hours away, not over a week."""
    case, joined, weather, days, _ = world
    heat = zones_run.Case(venue, case.bowl, plan=zones_done.heating)
    heated = zones_run.lived(heat, joined, weather, days, with_cells=False)
    off = np.datetime64("2026-01-16T22:00", "ns")
    short = weather.sel(time=weather["time"] <= off + np.timedelta64(26, "h"))
    found = zones_done.stopped(heat, joined, short, heated, off)
    assert {row.ahead for row in found} == {26.0}
    ground = next(row for row in found if row.zone == "East middle 2")
    assert np.isnan(ground.hardened)
    assert words_done._hours(ground.hardened, ground.ahead) == "over 26"
    long = {row.zone: row for row in zones_done.stopped(heat, joined, weather, heated, off)}
    assert long["East middle 2"].ahead == 168.0


def test_variants_change_what_they_say_and_no_more(venue: load.Venue) -> None:
    bare, concrete, sheet = (f(venue) for f in zones_cases.VARIANTS.values())
    assert not bare.bowl.stands
    used = {m for stand in concrete.bowl.stands for tier in stand.tiers for m in (tier.material, tier.seats) if m}
    assert not any("aluminium" in name for name in used)
    assert "wood" in used  # what is no aluminium stays
    covered = {tier.material for stand in sheet.bowl.stands for tier in stand.tiers}
    assert covered == {zones_cases.COVERED}
    assert sheet.bowl.surface(zones_cases.COVERED).emissivity == 0.9
    for other in (bare, concrete, sheet):
        assert other.field == venue.field
        assert other.limits == venue.limits


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ('[[grass]]\nspecies = "moss"\n', "species"),
        ('[[grass]]\nspecies = "tall fescue"\nlight_min = 30\n', "light_min"),
        ('[[lamp]]\nname = "a"\nzones = ["Moon"]\nphoton_flux = 300\nheat = 100\nhours = 8\n', "Moon"),
        ('[[lamp]]\nname = "a"\nzones = ["West flank 3"]\nphoton_flux = -3\nheat = 100\nhours = 8\n', "photon_flux"),
    ],
)
def test_grass_and_lamps_that_cannot_be(text: str, wrong: str) -> None:
    with pytest.raises(InputError, match=wrong):
        load.text((DEMO / "venue.toml").read_text(encoding="utf-8") + "\n" + text)
