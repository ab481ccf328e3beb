"""Days of the grass: sums that follow by hand from made-up series, and a run whose budgets close."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from refet import Hourly

from microclimate.exposure import force, patches
from microclimate.exposure.bowl import bowl
from microclimate.risk import turf, zonal
from microclimate.schema import FORCING, REPORT_DEPTHS
from microclimate.simulate import run
from microclimate.venue import load
from microclimate.venue.limits import SPECIES, Limits
from microclimate.weather import complete, read
from microclimate.workflow import zones_days, zones_run

DEMO = Path(__file__).parents[2] / "data_demo"
RYE, LIMITS = SPECIES["perennial ryegrass"], Limits.model_validate({})
ZERO = 273.15


def made(steps: int = 144, **changed: np.ndarray | float) -> tuple[xr.Dataset, xr.Dataset]:
    """One patch, ten-minute steps: an even forcing and even states, some of them changed."""
    dims, shape = ("realization", "patch", "time"), (1, 1, steps)
    time = np.datetime64("2026-01-01T00:00", "ns") + (1 + np.arange(steps)) * np.timedelta64(600, "s")
    even = dict.fromkeys(FORCING, 0.0) | {
        "air_temperature": ZERO + 10.0,
        "specific_humidity": 0.005,
        "wind_speed": 2.0,
        "surface_air_pressure": 1e5,
        "longwave_sky_down": 300.0,
    }
    state = {
        "canopy_temperature": ZERO + 5.0,
        "crown_temperature": ZERO + 6.0,
        "surface_state": 0.0,
        "leaf_water": 0.0,
        "leaf_frost": 0.0,
        "snow_amount": 0.0,
        "snow_depth": 0.0,
        "heating_power": 0.0,
        "net_radiation": 0.0,
        "sensible_heat_up": 0.0,
        "latent_heat_up": 0.0,
        "ground_heat_down": 0.0,
    }

    def laid(values: dict[str, float]) -> dict[str, tuple[tuple[str, ...], np.ndarray]]:
        return {
            n: (dims, np.broadcast_to(np.asarray(changed.get(n, v), float), shape).copy()) for n, v in values.items()
        }

    coords = {"time": time, "zone": ("patch", ["A"]), "zone_index": ("patch", [0]), "area": ("patch", [1.0])}
    soil = np.broadcast_to(changed.get("soil", ZERO + 7.0), (*shape, len(REPORT_DEPTHS))).copy()
    block = xr.Dataset(laid(even), coords=coords)
    states = xr.Dataset(laid(state) | {"soil_temperature": ((*dims, "depth"), soil)}, coords={"time": time})
    return block, states


def digest(block: xr.Dataset, states: xr.Dataset, days: int = 1) -> xr.Dataset:
    day = np.arange(block.sizes["time"]) * days // block.sizes["time"]
    return turf.digest(block, states, day, days, [RYE], LIMITS)


def value(found: xr.Dataset, name: str, day: int = 0) -> float:
    return float(found[name].isel(patch=0, day=day))


def test_light_of_a_day_is_converted_as_published() -> None:
    """100 + 50 + 10 W/m2 for a day are 13.824 MJ; 2.0565 mol/MJ (LIG-02: McCree 1972, Thimijan & Heins 1983)."""
    found = digest(
        *made(shortwave_sun_down=100.0, shortwave_sky_down=50.0, shortwave_stands_down=10.0, sunlit_fraction=0.5)
    )
    assert value(found, "energy_sun") == pytest.approx(8.64e6)
    assert value(found, "light_integral") == pytest.approx(13.824 * 2.0565, rel=1e-6)
    assert value(found, "sunlit_hours") == pytest.approx(12.0)


def test_growth_of_a_mean_day() -> None:
    """C3 index at 10 degC: exp(-(10/5.5)^2 / 2) = 0.1915 (a trade paper: 0.19); degree days from 15 and 5 over 0."""
    swing = ZERO + 10.0 + 5.0 * np.sin(2 * np.pi * np.arange(144) / 144)
    found = digest(*made(air_temperature=swing))
    assert value(found, "growth_index") == pytest.approx(0.1915, abs=1e-4)
    assert value(found, "degree_days") == pytest.approx(10.0, abs=1e-3)


def test_hours_are_counted_against_the_right_limit() -> None:
    """A canopy of 0.5 degC for six hours is no frost, but outside limits of 1 degC for play; and far from survival."""
    canopy = np.where(np.arange(144) < 36, ZERO + 0.5, ZERO + 5.0)
    found = digest(*made(canopy_temperature=canopy))
    assert value(found, "hours_frost") == 0.0
    assert value(found, "hours_outside") == pytest.approx(6.0)
    soil = np.full((1, 1, 144, 3), ZERO + 26.0)
    hot = digest(*made(canopy_temperature=ZERO + 33.0, soil=soil))
    assert value(hot, "hours_root_hot") == value(hot, "hours_shoot_hot") == value(hot, "hours_root_trouble") == 24.0
    assert value(hot, "hours_shoot_cold") == 0.0
    cold = digest(*made(soil=np.full((1, 1, 144, 3), ZERO + 0.5)))
    assert value(cold, "hours_root_cold") == value(cold, "hours_shoot_cold") == 24.0


def test_wet_hours_and_the_band_of_pink_snow_mould() -> None:
    wet = np.where(np.arange(144) < 60, 0.05, 0.0)
    canopy = np.where(np.arange(144) < 30, ZERO + 5.0, ZERO + 15.0)
    found = digest(*made(leaf_water=wet, canopy_temperature=canopy))
    assert value(found, "hours_wet") == pytest.approx(10.0)
    assert value(found, "hours_mould") == pytest.approx(5.0)


def test_water_loss_agrees_with_refet() -> None:
    """One even daytime hour after another against the library `refet` (ASCE-EWRI 2005, hourly, short grass).

    refet works the longwave out by itself; its own net longwave is given to us, so that all else is compared.
    """
    oracle = Hourly(
        tmean=20.0, ea=1.2, rs=1.8, uz=2.5, zw=2.0, elev=0.0, lat=40.0, lon=-100.0, doy=180, time=18.0, method="asce"
    )
    rnl, pressure = float(np.ravel(oracle.rn)[0]), 1000.0 * float(np.ravel(oracle.pair)[0])
    humidity = 0.622 * 1200.0 / (pressure - 0.378 * 1200.0)
    net = rnl * 1e6 / 3600.0  # [W m-2]
    down = 1.8e6 / 3600.0
    longwave = net - 0.77 * down + 5.670374419e-8 * (ZERO + 20.0) ** 4
    block, states = made(
        air_temperature=ZERO + 20.0,
        wind_speed=2.5,
        surface_air_pressure=pressure,
        specific_humidity=humidity,
        shortwave_sun_down=down,
        longwave_sky_down=longwave,
    )
    found = value(digest(block, states), "reference_evaporation") / 24.0
    assert found == pytest.approx(float(np.ravel(oracle.eto())[0]), rel=2e-3)


def test_days_are_folded_by_their_own_steps() -> None:
    canopy = np.where(np.arange(288) < 144, ZERO - 1.0, ZERO + 4.0)
    found = digest(*made(steps=288, canopy_temperature=canopy), days=2)
    assert [value(found, "hours_frost", k) for k in (0, 1)] == [24.0, 0.0]
    assert [value(found, "canopy_temperature_min", k) - ZERO for k in (0, 1)] == [-1.0, 4.0]


@pytest.fixture(scope="module")
def lived() -> tuple[zones_run.Lived, load.Venue, xr.Dataset]:
    """Four days of the demo's past, run as one stretch."""
    venue = load.venue(DEMO / "venue.toml")
    site = venue.site.site
    weather = complete.weather(read.weather(DEMO / "past.csv", site), site)
    days = zones_days.Days(date(2026, 1, 18), date(2026, 1, 21), site.time_zone)
    seen = bowl(venue)
    joined = patches.patches(venue.field.zones, seen, patches.morning_sun(seen, 36.1, -79.95, days.first))
    found = zones_run.lived(zones_run.Case(venue, seen), joined, zones_days.covering(weather, days), days)
    return found, venue, joined


def test_light_of_patches_and_of_cells_is_the_same(lived) -> None:
    """The light budget closes: the column's patches and the map's cells share one day's light to rounding."""
    found, _, joined = lived
    for name in ("energy_sun", "energy_sky", "energy_stands", "sunlit_hours", "light_integral"):
        cells = joined["weights"].values @ found.cells[name].values
        np.testing.assert_allclose(found.days[name].transpose("patch", "day").values.mean(axis=1), cells, rtol=2e-5)


def test_the_heat_budget_of_the_leaf_closes(lived) -> None:
    """What radiation, air and ground do not account for is what the leaf and its water store or freeze: 3 kJ/m2K over
    20 K and 0.7 kg/m2 of film and frost at 0.334 MJ/kg, 0.3 MJ/m2 in a day; over the days 3 % of what is turned over.
    """
    days = lived[0].days
    fluxes = [days[name].values for name in ("sensible_heat_up", "latent_heat_up", "ground_heat_down")]
    rest = days["net_radiation"].values - sum(fluxes)
    turned = np.abs(days["net_radiation"].values) + sum(np.abs(flux) for flux in fluxes)
    assert np.abs(rest).max() < 0.3e6
    assert np.abs(rest.sum()) < 0.03 * turned.sum()


def test_stretches_do_not_show(lived, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two stretches of two days each against one of four: the ground is handed over, the bowl's air begins anew."""
    found, venue, joined = lived
    monkeypatch.setattr(zones_days.Days.stretches, "__defaults__", (2,))
    site = venue.site.site
    weather = complete.weather(read.weather(DEMO / "past.csv", site), site)
    days = zones_days.Days(date(2026, 1, 18), date(2026, 1, 21), site.time_zone)
    again = zones_run.lived(zones_run.Case(venue, bowl(venue)), joined, zones_days.covering(weather, days), days)
    assert len(again.starts) == 2
    for name in ("canopy_temperature_min", "canopy_temperature", "soil_temperature"):
        np.testing.assert_allclose(again.days[name], found.days[name], atol=0.1)
    for name in ("energy_sun", "energy_sky", "light_integral"):
        np.testing.assert_allclose(again.days[name], found.days[name], rtol=1e-6, atol=1.0)


def test_zones_tell_their_worst_patch(lived) -> None:
    found, venue, _ = lived
    spans = zonal.over_span(found.days)
    assert list(spans["zone"].values) == [zone.name for zone in venue.field.zones]
    own = found.days["zone"].values == "West flank 4"
    lowest = found.days["canopy_temperature_min"].transpose("patch", "day").values[own].min()
    assert float(spans["canopy_lowest"].sel(zone="West flank 4")) == lowest
    # trays over draughty air lose more than sand on the ground (trade paper, section 4)
    assert float(spans["root_lowest"].sel(zone="South goal right")) < float(
        spans["root_lowest"].sel(zone="East middle 2")
    )
    daily = zonal.by_day(found.days)
    assert daily["canopy_temperature_min"].dims == ("zone", "day")
    assert float(daily["canopy_temperature_min"].sel(zone="West flank 4").min()) == lowest


def test_a_forcing_with_a_gap_is_refused(lived) -> None:
    found, venue, joined = lived
    site = venue.site.site
    weather = complete.weather(read.weather(DEMO / "past.csv", site), site)
    days, ground = found.starts[0]
    part = zones_days.part(weather, *days.edges[[0, -1]]).copy(deep=True)
    part["dew_point_temperature"].values[0, 40:46] = np.nan
    block = next(iter(force.forcing(venue, part, bowl(venue), joined, 600.0)))
    with pytest.raises(Exception, match="miss values"):
        run.through(venue, block, ground, zones_run.plans.nothing(venue, *days.edges[[0, -1]]))
