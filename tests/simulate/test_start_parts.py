"""The parts of the start state: readings laid over a guess, water from rain, the season, the state file."""

from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from microclimate.column import layers
from microclimate.constants import ZERO_CELSIUS
from microclimate.errors import InputError
from microclimate.fieldlog.readings import Spot
from microclimate.schema import INITIAL_VARIABLES, Site
from microclimate.simulate import start_file, start_readings, start_season, start_water
from microclimate.venue.ground import Base, Layer

WHEN = np.datetime64("2026-12-15T22:00", "ns")
DEPTH = np.array([0.01, 0.05, 0.10, 0.30, 1.0])
GRID = start_readings.Grid(
    np.stack([DEPTH] * 4), np.array(["A", "A", "B", "C"]), np.array([0, 0, 0, 1])
)  # A in two patches, B built like A, C otherwise


def spot(zone: str, depth: float, value: float, error: float = 0.5, hours: float = 0.0) -> Spot:
    time = WHEN - np.timedelta64(round(hours * 3600), "s")
    return Spot(zone, "soil_temperature", depth, value, time, error)


def guess(count: int = 1) -> np.ndarray:
    return np.full((count, 4, 5), 280.0)


SPREAD = np.full((4, 5), 2.0)


def test_a_single_reading_weighs_by_the_two_errors() -> None:
    # one reading, one place: gain = 2^2 / (2^2 + 0.5^2) (scalar analysis equation, Daley 1991)
    found = start_readings.adjusted(guess(), SPREAD, GRID, [spot("A", 0.10, 284.0)], WHEN, 1, {})
    gain = 4.0 / 4.25
    assert found[0, 0, 2] == pytest.approx(280.0 + 4.0 * gain)
    # other depths by (0.05 + 0.1) / (0.1 + 0.1), other zones by 0.6 (like) and 0.3 (not like)
    assert found[0, 0, 1] == pytest.approx(280.0 + 4.0 * gain * 0.75)
    assert found[0, 1, 2] == pytest.approx(found[0, 0, 2])
    assert found[0, 2, 2] == pytest.approx(280.0 + 4.0 * gain * 0.6)
    assert found[0, 3, 2] == pytest.approx(280.0 + 4.0 * gain * 0.3)


def test_two_like_readings_count_more_than_one_and_less_than_their_sum() -> None:
    one = start_readings.adjusted(guess(), SPREAD, GRID, [spot("A", 0.1, 284.0)], WHEN, 1, {})[0, 3, 2]
    two = start_readings.adjusted(guess(), SPREAD, GRID, [spot("A", 0.1, 284.0), spot("B", 0.1, 284.0)], WHEN, 1, {})[
        0, 3, 2
    ]
    assert one < two < 280.0 + 2.0 * (one - 280.0)


def test_an_old_reading_weighs_less_near_the_surface_than_below() -> None:
    fresh = start_readings.adjusted(guess(), SPREAD, GRID, [spot("A", 0.01, 284.0)], WHEN, 1, {})[0, 0, 0]
    aged = start_readings.adjusted(guess(), SPREAD, GRID, [spot("A", 0.01, 284.0, hours=4)], WHEN, 1, {})[0, 0, 0]
    deep = start_readings.adjusted(guess(), SPREAD, GRID, [spot("A", 1.0, 284.0, hours=4)], WHEN, 1, {})[0, 0, 4]
    assert 280.0 < aged < fresh
    assert deep == pytest.approx(280.0 + 4.0 * 4.0 / 4.25, abs=0.01)


def test_the_spread_that_is_left_is_that_of_the_analysis() -> None:
    count = 400
    wide = guess(count) + 2.0 * start_readings.normal_scores(count, 1, 7)[:, :, None]
    found = start_readings.adjusted(wide, SPREAD, GRID, [spot("A", 0.10, 282.0)], WHEN, 1, {})
    # analysis variance of one reading: 1 / (1/B + 1/R) (Daley 1991)
    assert found[:, 0, 2].std() == pytest.approx((1.0 / (1 / 4.0 + 1 / 0.25)) ** 0.5, rel=0.05)
    # far away the gain is small, and the spread left is that of (1 - g) x + g e, x and e independent
    gain = 0.3 * (0.1 + 0.1) / (1.0 + 0.1) * 4.0 / 4.25
    assert found[:, 3, 4].std() == pytest.approx(np.hypot((1.0 - gain) * 2.0, gain * 0.5), rel=0.02)


def test_readings_far_from_the_start_are_left_out() -> None:
    kept = start_readings.usable(
        [spot("A", 0.1, 284.0, hours=h) for h in (0.0, 11.9, 12.1, -3.0)], WHEN, ["soil_temperature"]
    )
    assert len(kept) == 3


def test_a_water_reading_speaks_for_its_zone_and_its_like() -> None:
    water = np.full((4, 5), 0.20)
    reading = Spot("B", "water_content", 0.05, 0.10, WHEN, 0.04)
    assert start_readings.factor([reading], GRID, water).tolist() == pytest.approx([0.5, 0.5, 0.5, 1.0])


def test_scores_are_those_of_the_normal_distribution_in_their_own_orders() -> None:
    found = start_readings.normal_scores(31, 3, 5)
    np.testing.assert_allclose(found.mean(axis=0), 0.0, atol=1e-12)
    np.testing.assert_allclose(found.std(axis=0), 0.97, atol=0.02)  # evenly laid quantiles of 31, a little narrow
    assert not np.array_equal(found[:, 0], found[:, 1])
    assert start_readings.normal_scores(1, 3, 5).tolist() == [[0.0, 0.0, 0.0]]


def test_evaporation_by_a_published_number() -> None:
    # Makkink at 20 degC and 101.3 kPa: s/(s + gamma) = 0.683 (FAO-56 tables 2.2 and 2.4: 0.145 and 0.0674 kPa/K);
    # 0.65 * 0.683 * 200 W/m2 / 2.501 MJ/kg = 3.55e-5 kg/m2/s = 3.1 mm a day
    found = start_water.evaporation(np.array(200.0), np.array(293.15), np.array(101300.0))
    assert float(found) * 86400.0 == pytest.approx(3.07, rel=0.01)


def test_rain_fills_the_bucket_and_the_sun_empties_it() -> None:
    drained, full, hours = np.array([0.20]), np.array([0.42]), 240
    nothing = np.zeros((1, hours))
    still = start_water.bucket(nothing, nothing, 3600.0, drained, full)
    assert still[0] == pytest.approx(0.20)
    # 3 mm a day from 200 mm of root zone for ten days, slower as it dries: never below 0.3 of the drained content
    dry = start_water.bucket(nothing, nothing + 3.0 / 86400.0, 3600.0, drained, full)
    assert 0.06 < dry[0] < 0.12
    rain = nothing.copy()
    rain[0, -1] = 20.0 / 3600.0  # 20 mm in the last hour: 0.1 by volume, less an hour's drainage
    wet = start_water.bucket(rain, nothing, 3600.0, drained, full)
    assert wet[0] == pytest.approx(0.20 + 0.1 * np.exp(-1 / 24.0))
    flood = start_water.bucket(rain * 100.0, nothing, 3600.0, drained, full)
    assert flood[0] <= 0.42


BONDVILLE = Site("", 40.01, -88.37, 219.0, "America/Chicago")


def test_the_season_inland_agrees_with_a_measured_station() -> None:
    # Champaign, Illinois (40.0 N), 2020, soil at 5 cm, climate reference network (NOAA NCEI): yearly mean 12.7 degC,
    # amplitude 12.6 K, coldest 21 January
    wave = start_season.wave(BONDVILLE)
    assert wave.mean - ZERO_CELSIUS == pytest.approx(12.7, abs=start_season.SPREAD)
    assert wave.amplitude == pytest.approx(12.6, abs=2.5)
    assert wave.coldest_day == pytest.approx(21.0, abs=5.0)


def test_the_season_turns_with_the_hemisphere_and_cools_with_height() -> None:
    south = start_season.wave(Site("", -40.0, 147.0, 0.0, "Australia/Hobart"))
    assert south.coldest_day - start_season.wave(BONDVILLE).coldest_day == pytest.approx(182.6, abs=0.1)
    high = start_season.wave(Site("", 40.0, -105.0, 1600.0, "America/Denver"))
    assert high.mean < start_season.wave(BONDVILLE).mean


def test_the_wave_is_coldest_in_winter_and_lags_below() -> None:
    base = Base.model_validate("on ground")
    days = np.arange("2026-01-01", "2027-01-01", dtype="datetime64[D]").astype("datetime64[ns]")
    found = np.stack([start_season.profile(BONDVILLE, base, DEPTH, 6e-7, day) for day in days])
    coldest = found.argmin(axis=0)
    assert (np.diff(coldest) > 0).all()
    # lag of z = 1 m: z sqrt(year / (4 pi a)) = 23.7 d... computed here from the closed form (Carslaw & Jaeger 2.6)
    lag = 0.99 * np.sqrt(365 * 86400 / (4 * np.pi * 6e-7)) / 86400
    assert coldest[4] - coldest[0] == pytest.approx(lag, abs=2.0)
    given = Base.model_validate({"kind": "on ground", "deep_temperature": 8.0})
    warm = start_season.profile(BONDVILLE, given, np.array([20.0]), 6e-7, WHEN)
    assert warm[0] == pytest.approx(8.0 + ZERO_CELSIUS, abs=0.1)


def saved_states() -> xr.Dataset:
    three, two = ("realization", "patch", "layer"), ("realization", "patch")
    random = np.random.default_rng(2)
    layer = {
        name: (three, np.full((2, 4, 5), value) + 0.01 * random.random((2, 4, 5)))
        for name, value in (("soil_temperature", 275.0), ("frozen_fraction", 0.1), ("water_content", 0.2))
    }
    patch = {name: (two, np.full((2, 4), 0.0)) for name, var in INITIAL_VARIABLES.items() if "layer" not in var.dims}
    patch["canopy_temperature"] = (two, np.full((2, 4), 274.0))
    return xr.Dataset(
        {**layer, **patch},
        coords={
            "depth": (("patch", "layer"), GRID.depth),
            "thickness": (("patch", "layer"), np.full((4, 5), 0.02)),
            "zone": ("patch", GRID.zone),
            "part": ("patch", ["darkest", "middle", "whole", "whole"]),
        },
    )


def test_a_state_file_comes_back_as_it_went(tmp_path: Path) -> None:
    file = tmp_path / "state.nc"
    start_file.save(saved_states(), WHEN, file)
    assert [p.name for p in tmp_path.iterdir()] == ["state.nc"]
    back = start_file.load(file)
    assert start_file.moment(back) == WHEN
    assert start_file.age(back, WHEN + np.timedelta64(90, "m")) == pytest.approx(1.5)
    np.testing.assert_array_equal(back["soil_temperature"], saved_states()["soil_temperature"])
    assert list(back["zone"].values) == list(GRID.zone)


def test_a_state_file_of_a_newer_version_is_refused_by_name(tmp_path: Path) -> None:
    file = tmp_path / "state.nc"
    start_file.save(saved_states(), WHEN, file)
    newer = xr.load_dataset(file).assign_attrs(format=2)
    newer.to_netcdf(file, engine="h5netcdf")
    with pytest.raises(InputError, match=r"state\.nc: format 2.*newer version"):
        start_file.load(file)


@pytest.mark.parametrize("content", [b"", b"hello", b"\x89HDF\r\n\x1a\n nothing"])
def test_what_is_no_state_file_is_refused(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "state.nc"
    file.write_bytes(content)
    with pytest.raises(InputError, match=r"state\.nc: cannot be read"):
        start_file.load(file)
    with pytest.raises(InputError, match="cannot be read"):
        start_file.load(tmp_path / "nowhere.nc")


def test_a_netcdf_of_another_kind_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "other.nc"
    xr.Dataset({"a": ("x", [1.0])}).to_netcdf(file, engine="h5netcdf")
    with pytest.raises(InputError, match="no state file"):
        start_file.load(file)


def test_saved_states_find_their_patches_and_layers() -> None:
    sand = Layer.model_validate({"material": "sand mix", "thickness": 1.2})
    cut = layers.grid([sand])
    patches = xr.Dataset(coords={"zone": ("patch", ["A", "C"]), "part": ("patch", ["middle", "darkest"])})
    found = start_file.matched(saved_states(), patches, [cut, cut])
    assert found is not None
    assert found["soil_temperature"].shape == (2, 2, len(cut.depth))
    np.testing.assert_allclose(found["soil_temperature"].values[0, 0, -1], saved_states()["soil_temperature"][0, 1, -1])
    elsewhere = xr.Dataset(coords={"zone": ("patch", ["D"])})
    assert start_file.matched(saved_states(), elsewhere, [cut]) is None
