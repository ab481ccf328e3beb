"""A day on the field: open ground against an independent sum, shade only takes, zones hold their cells."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from bowl_fakes import weather
from bowl_scene import points, ring
from pvlib.location import Location
from test_exchange import seen_from

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.exposure import daylight, plan
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.force import forcing
from microclimate.schema import Site
from microclimate.venue import bowl as described

SITE = Site("", 41.0, -96.0, 300.0, "America/Chicago")
BEGIN, END = pd.Timestamp("2025-12-20 06:00", tz="UTC"), pd.Timestamp("2025-12-21 06:00", tz="UTC")


@pytest.fixture(scope="module")
def bowls() -> list[Bowl]:
    venue = ring()
    return [seen_from(plan.venue_mesh(b, venue.field), points(6)) for b in (venue.bowl, described.Bowl())]


def test_open_ground_gets_the_clear_day(bowls: list[Bowl]) -> None:
    """Sum of pvlib's own clear-sky global light (same model and turbidity), and the almanac's length of day."""
    found = daylight.span(bowls[1], daylight.clear(SITE, BEGIN, END))
    times = pd.date_range(BEGIN, END, freq="1min")
    place = Location(41.0, -96.0, altitude=300.0)
    open_light = place.get_clearsky(times, linke_turbidity=daylight.TURBIDITY)["ghi"].sum() * 60.0
    whole = found["energy_sun"] + found["energy_sky"] + found["energy_stands"]
    np.testing.assert_allclose(whole, open_light, rtol=0.01)
    # shortest day at 41 N: 9 h 11 min of sun's centre above the refracted horizon, less than the 9 h 14 of its rim
    assert found["sunlit_hours"].values == pytest.approx(9.2, abs=0.17)
    assert 1.8e-6 * open_light < found["light_integral"].values[0] < 2.3e-6 * open_light


def test_a_bowl_takes_sun_and_sky_and_gives_back_less(bowls: list[Bowl]) -> None:
    inside, outside = (daylight.span(b, daylight.clear(SITE, BEGIN, END)) for b in bowls)
    assert (inside["sunlit_hours"] < outside["sunlit_hours"]).all()
    taken = sum(outside[f"energy_{part}"] - inside[f"energy_{part}"] for part in ("sun", "sky"))
    assert (inside["energy_stands"] < taken).all()
    assert (inside["energy_stands"] > 0.0).all()


def test_given_light_is_used(bowls: list[Bowl]) -> None:
    day = daylight.clear(SITE, BEGIN, END)
    steps = len(day.air)
    dull = daylight.span(bowls[1], replace(day, direct_normal=np.zeros(steps), diffuse=np.full(steps, 50.0)))
    np.testing.assert_allclose(dull["energy_sky"], steps * 600.0 * 50.0)
    assert not dull["energy_sun"].any()


def test_longwave_of_one_warmth_is_that_of_a_black_body(bowls: list[Bowl]) -> None:
    """Sky, air and stands at one temperature: sky and stands together give sigma T^4 (closed form), the sky its view.

    A colder sky hides its own low warm part behind the stands, so that it gives less than its share.
    """
    day = daylight.clear(SITE, BEGIN, END, 270.0)
    black = STEFAN_BOLTZMANN * 270.0**4
    even = daylight.span(bowls[0], replace(day, longwave=np.full(len(day.air), black)))
    np.testing.assert_allclose(even["longwave_sky"] + even["longwave_stands"], black, rtol=1e-6)
    np.testing.assert_allclose(even["longwave_sky"], black * even["sky_view_factor"], rtol=1e-9)
    cold = daylight.span(bowls[0], day)
    assert (cold["longwave_sky"] < cold.attrs["open_longwave"] * cold["sky_view_factor"]).all()
    bare = daylight.span(bowls[1], day)
    np.testing.assert_allclose(bare["longwave_sky"], bare.attrs["open_longwave"])
    assert not bare["longwave_stands"].any()


def test_a_gap_in_the_weather_is_left_out(bowls: list[Bowl]) -> None:
    day = daylight.clear(SITE, BEGIN, END)
    holed = day.longwave.copy()
    holed[60:90] = np.nan
    found = daylight.span(bowls[0], replace(day, longwave=holed))
    assert found.attrs["hours"] == pytest.approx(19.0)
    assert all(np.isfinite(found[name]).all() for name in found)


def test_a_span_under_a_forecast_adds_up_to_the_forcing() -> None:
    """Patch means of the cells are what `force` gives the patches, step for step, stands at their own temperature."""
    venue = ring(cell=8.0)
    made = forcing(venue, weather(hours=24))
    block = next(iter(made))
    times = pd.DatetimeIndex(block["time"].values, tz="UTC")
    day = daylight.under(made, times[0] - pd.Timedelta("1h"), times[-1])
    weights = made.patches["weights"].values
    found = daylight.span(made.bowl, day)
    for mine, theirs in (("longwave_sky", "longwave_sky_down"), ("longwave_stands", "longwave_stands_down")):
        wanted = block[theirs].isel(realization=0).mean("time").values
        np.testing.assert_allclose(weights @ found[mine].values, wanted, rtol=1e-6)
    for part in ("sun", "sky", "stands"):
        wanted = block[f"shortwave_{part}_down"].isel(realization=0).sum("time").values * made.step
        np.testing.assert_allclose(weights @ found[f"energy_{part}"].values, wanted, rtol=1e-6)


def test_shade_at_an_instant(bowls: list[Bowl]) -> None:
    noon, night = pd.Timestamp("2025-12-20 18:20", tz="UTC"), pd.Timestamp("2025-12-21 05:00", tz="UTC")
    at = daylight.shade(bowls[1], SITE, noon)
    assert (at["sun_factor"] == 1.0).all()
    assert at.attrs["sun_elevation"] == pytest.approx(25.6, abs=0.3)  # 90 - 41 - 23.4
    assert not daylight.shade(bowls[0], SITE, night)["sun_factor"].any()


def test_zones_hold_their_cells(bowls: list[Bowl]) -> None:
    cells = daylight.span(bowls[0], daylight.clear(SITE, BEGIN, END)).assign_coords(zone=("cell", np.arange(14) % 2))
    zones = daylight.by_zone(cells, ("odd", "even"))
    hours = zones["sunlit_hours"]
    assert (hours.sel(which="lowest") <= hours.sel(which="mean")).all()
    assert (hours.sel(which="mean") <= hours.sel(which="highest")).all()
    assert float(hours.sel(which="highest").max()) == float(cells["sunlit_hours"].max())


def test_bare_metal_is_told_with_its_range() -> None:
    """An instant holds light off metal stands in W/m2 under the clear sky; matte stands hold the sun alone."""
    noon = pd.Timestamp("2025-12-20 20:30", tz="UTC")
    shiny, dull = (
        daylight.shade(seen_from(plan.venue_mesh(v.bowl, v.field), points(6)), SITE, noon)
        for v in (ring(specular=0.5, roughness=0.2), ring())
    )
    assert set(dull) == {"sun_factor"}
    assert (shiny["stands_low"] <= shiny["stands_best"]).all()
    assert (shiny["stands_best"] <= shiny["stands_high"]).all()
    # a trial against a ray tracer at 15 degrees and 600 W/m2: mean 8 matte, 10.5 with share .5 and roughness .2
    assert 4.0 < float(shiny["stands_best"].mean()) < 20.0
    assert float(shiny["stands_best"].max()) > 1.3 * float(shiny["stands_matte"].max())
