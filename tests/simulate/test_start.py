"""The start state as a whole: what it is taken from, in which order, and what hangs on it."""

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import xarray as xr

from microclimate.constants import ZERO_CELSIUS
from microclimate.fieldlog.readings import Spot
from microclimate.schema import REPORT_DEPTHS, Site
from microclimate.simulate import run, start, start_file, start_past
from tests.simulate import world

DAYS = 14
WHEN = world.START + np.timedelta64(DAYS, "D")


def venue(*zones: Any) -> Any:
    made = world.venue(*(zones or (world.zone("A"),)))
    made.site = SimpleNamespace(site=Site("", 40.0, -88.0, 200.0, "America/Chicago"))
    return made


def patches(made: Any) -> xr.Dataset:
    names = [zone.name for zone in made.field.zones]
    return xr.Dataset(coords={"zone": ("patch", names), "zone_index": ("patch", np.arange(len(names)))})


def fortnight(air: float, count: int = 1, **given: Any) -> xr.Dataset:
    """Fourteen days of one mean air temperature [K] with days and nights."""
    steps = round(DAYS * 86400 / 600)
    hour = np.arange(steps) / 6.0 + 16.0
    wave = np.cos(2 * np.pi * (hour - 21.0) / 24.0)
    sun = np.maximum(np.cos(2 * np.pi * (hour - 18.0) / 24.0), 0.0)
    values: dict[str, Any] = {
        "air_temperature": air + 3.0 * wave,
        "dew_point": air - 4.0,
        "wind_speed": 2.0,
        "longwave_sky_down": 0.8 * 5.67e-8 * air**4,
        "shortwave_sun_down": 250.0 * sun,
        "under_tray_air_temperature": air,
    }
    return world.forcing(DAYS * 24.0, 600.0, patches=count, zone_index=range(count), **(values | given))


def at_50_mm(states: xr.Dataset) -> np.ndarray:
    """(realization,) of the first patch."""
    depth = states["depth"].values[0]
    return np.array([np.interp(0.05, depth, row) for row in states["soil_temperature"].values[:, 0]])


def test_the_same_forecast_after_a_warm_and_after_a_cold_fortnight_differs_at_50_mm() -> None:
    made = venue()
    tonight = world.forcing(14.0)
    tonight = tonight.assign_coords(time=tonight["time"] + np.timedelta64(DAYS, "D"))
    window = world.window(DAYS * 24.0, DAYS * 24.0 + 14.0)
    lowest, first = [], []
    for air in (ZERO_CELSIUS + 9.0, ZERO_CELSIUS - 4.0):
        initial = start.states(made, patches(made), 1, WHEN, past=[fortnight(air)])
        assert initial.attrs["start_source"] == "past"
        assert initial.attrs["start_days"] == pytest.approx(DAYS)
        outcome, _ = run.outcome(made, [tonight], initial, world.plan(made), (window,))
        lowest.append(float(outcome["soil_temperature_min"].values[0, 0, 0, 0, REPORT_DEPTHS.index(0.05)]))
        first.append(at_50_mm(initial)[0])
    assert first[0] - first[1] > 5.0
    assert lowest[0] - lowest[1] > 1.0  # freezing water holds the colder one near 0 degC
    assert lowest[1] <= ZERO_CELSIUS + 0.05


def test_the_order_readings_saved_past_season(tmp_path: Path) -> None:
    made, where = venue(), patches(venue())
    reading = Spot("A", "soil_temperature", 0.10, 279.15, WHEN, 0.3)
    season = start.states(made, where, 9, WHEN)
    assert season.attrs["start_source"] == "season"
    assert season.attrs["water_source"] == "build"
    assert season.attrs["start_spread"] == pytest.approx(2.0, rel=0.1)  # the stated 2 K, nine quantiles of it
    start_file.save(season, WHEN - np.timedelta64(35, "h"), tmp_path / "young.nc")
    young = start_file.load(tmp_path / "young.nc")
    assert start.states(made, where, 9, WHEN, saved=young).attrs["start_source"] == "saved"
    start_file.save(season, WHEN - np.timedelta64(37, "h"), tmp_path / "old.nc")
    old = start_file.load(tmp_path / "old.nc")
    assert start.states(made, where, 9, WHEN, saved=old).attrs["start_source"] == "season"
    later = start_file.load(tmp_path / "young.nc").assign_coords(time=WHEN + np.timedelta64(1, "h"))
    assert start.states(made, where, 9, WHEN, saved=later).attrs["start_source"] == "season"
    lived = start.states(made, where, 9, WHEN, past=[fortnight(276.0)])
    told = start.states(made, where, 9, WHEN, past=[fortnight(276.0)], readings=[reading])
    assert (lived.attrs["start_source"], lived.attrs["water_source"]) == ("past", "rain")
    assert (told.attrs["start_source"], told.attrs["start_guess"]) == ("readings", "past")
    assert told.attrs["start_count"] == 1
    assert told.attrs["start_spread"] < lived.attrs["start_spread"] < season.attrs["start_spread"]


def test_a_reading_draws_the_profile_to_it() -> None:
    made = venue(world.zone("A"), world.zone("B"), world.zone("C", build="native soil"))
    where = patches(made)
    reading = Spot("A", "soil_temperature", 0.10, 285.0, WHEN, 0.3)
    before = start.states(made, where, 31, WHEN)["soil_temperature"].mean("realization").values
    after = start.states(made, where, 31, WHEN, readings=[reading])["soil_temperature"].mean("realization").values
    depth = start.states(made, where, 1, WHEN)["depth"].values
    moved = np.array([np.interp(0.10, depth[p], after[p] - before[p]) for p in range(3)])
    wanted = 285.0 - np.interp(0.10, depth[0], before[0])
    assert moved[0] == pytest.approx(wanted, rel=0.1)
    assert moved[0] > moved[1] > moved[2] > 0.0


def test_a_surface_reading_moves_the_leaf() -> None:
    made, where = venue(), patches(venue())
    reading = Spot("A", "canopy_temperature", 0.0, 265.0, WHEN, 1.5)
    before = start.states(made, where, 1, WHEN)
    after = start.states(made, where, 1, WHEN, readings=[reading])
    assert float(after["canopy_temperature"][0, 0]) < float(before["canopy_temperature"][0, 0]) - 1.0


def test_water_readings_and_rain_change_the_water() -> None:
    made, where = venue(), patches(venue())
    built = start.states(made, where, 1, WHEN)["water_content"].values[0, 0]
    reading = Spot("A", "water_content", 0.05, 0.10, WHEN, 0.04)
    read = start.states(made, where, 1, WHEN, readings=[reading])
    assert read.attrs["water_source"] == "readings"
    depth = read["depth"].values[0]
    assert np.interp(0.05, depth, read["water_content"].values[0, 0]) == pytest.approx(0.10, abs=0.01)
    dry = start.states(made, where, 1, WHEN, past=[fortnight(278.0)])["water_content"].values[0, 0]
    pouring = fortnight(278.0, precipitation_flux=2e-4)  # 17 mm a day
    wet = start.states(made, where, 1, WHEN, past=[pouring])["water_content"].values[0, 0]
    sand = (depth > 0.02) & (depth < 0.18)
    assert (dry[sand] < built[sand]).all()
    assert (wet[sand] > built[sand]).all()
    np.testing.assert_array_equal(wet[depth > 0.35], built[depth > 0.35])  # the gravel and what is below


def test_past_weather_with_a_gap_counts_from_the_gap_on() -> None:
    block = fortnight(276.0)
    block["air_temperature"][0, 0, 1000] = np.nan
    lived = start_past.trimmed([block], WHEN, None)
    assert lived is not None
    assert lived.days == pytest.approx((2016 - 1001) * 600 / 86400)
    block["air_temperature"][0, 0, -10] = np.nan
    assert start_past.trimmed([block], WHEN, None) is None
    made, where = venue(), patches(venue())
    assert start.states(made, where, 1, WHEN, past=[block]).attrs["start_source"] == "season"
    assert start.states(made, where, 1, WHEN, past=[]).attrs["start_source"] == "season"


def test_past_weather_that_ends_days_before_is_not_used() -> None:
    made, where = venue(), patches(venue())
    late = WHEN + np.timedelta64(3, "D")
    assert start.states(made, where, 1, late, past=[fortnight(276.0)]).attrs["start_source"] == "season"


def test_a_saved_state_is_carried_on_through_the_past_since() -> None:
    made, where = venue(), patches(venue())
    saved = start.states(made, where, 1, WHEN).assign_coords(time=WHEN - np.timedelta64(30, "h"))
    cold = start.states(made, where, 1, WHEN, saved=saved, past=[fortnight(ZERO_CELSIUS - 6.0)])
    assert cold.attrs["start_source"] == "past"
    assert cold.attrs["start_days"] == pytest.approx(1.25, abs=0.05)
    assert at_50_mm(cold)[0] < at_50_mm(saved)[0]


def test_one_realization_gets_the_middle() -> None:
    made, where = venue(), patches(venue())
    many = start.states(made, where, 31, WHEN, past=[fortnight(278.0)])
    one = start.states(made, where, 1, WHEN, past=[fortnight(278.0)])
    assert at_50_mm(one)[0] == pytest.approx(at_50_mm(many).mean(), abs=0.1)


def test_ground_about_to_freeze_keeps_temperature_and_ice_together() -> None:
    made, where = venue(), patches(venue())
    states = start.states(made, where, 31, WHEN, past=[fortnight(ZERO_CELSIUS - 3.0)])
    temperature, ice = states["soil_temperature"].values, states["frozen_fraction"].values
    assert (ice[temperature > ZERO_CELSIUS] == 0.0).all()
    assert (ice[temperature < ZERO_CELSIUS - 0.31] == 1.0).all()
    assert ((ice > 0.0) & (ice < 1.0)).any()


def test_the_share_that_hangs_on_the_start() -> None:
    made, where = venue(), patches(venue())
    states = start.states(made, where, 31, WHEN)
    anomaly = states["start_anomaly"].values
    noise = np.random.default_rng(3).normal(size=31)
    assert start.share(states, 270.0 + anomaly) == pytest.approx(1.0)
    assert start.share(states, 270.0 + noise) < 0.15
    # equal variances: half of the range
    mixed = anomaly / anomaly.std() + noise / noise.std()
    assert start.share(states, 270.0 + mixed) == pytest.approx(0.5, abs=0.2)
    assert np.isnan(start.share(states, np.full(31, 270.0)))
    assert np.isnan(start.share(states.isel(realization=slice(0, 5)), 270.0 + anomaly[:5]))


@pytest.fixture(autouse=True)
def _no_left_overs(tmp_path: Path) -> Iterator[None]:
    yield
    assert not list(tmp_path.glob("*.part"))


def test_a_reading_after_the_start_is_held_against_where_the_column_is_by_then() -> None:
    made, where = venue(), patches(venue())
    ahead = world.forcing(14.0, air_temperature=265.0, dew_point=262.0, longwave_sky_down=190.0)
    ahead = ahead.assign_coords(time=ahead["time"] + np.timedelta64(DAYS, "D"))
    season = start.states(made, where, 1, WHEN)
    late = WHEN + np.timedelta64(5, "h")
    upto = ahead.isel(time=ahead["time"].values <= late)
    by_then = run.final_states(made, [upto], season)
    told = np.interp(0.05, by_then["depth"].values[0], by_then["soil_temperature"].values[0, 0])
    assert told < at_50_mm(season)[0] - 1.0  # the evening cools the ground
    reading = Spot("A", "soil_temperature", 0.05, float(told), late, 0.3)
    # what the run itself would show says nothing against its start; taken for the start's own it would cool it
    kept = start.states(made, where, 1, WHEN, readings=[reading], ahead=[ahead])
    assert at_50_mm(kept)[0] == pytest.approx(at_50_mm(season)[0], abs=0.02)
    cooled = start.states(made, where, 1, WHEN, readings=[reading])
    assert at_50_mm(cooled)[0] < at_50_mm(season)[0] - 0.1
    # a reading two kelvin warmer warms the start by nearly as much
    warmer = Spot("A", "soil_temperature", 0.05, float(told) + 2.0, late, 0.3)
    found = start.states(made, where, 1, WHEN, readings=[warmer], ahead=[ahead])
    assert at_50_mm(found)[0] - at_50_mm(season)[0] == pytest.approx(1.8, abs=0.2)
