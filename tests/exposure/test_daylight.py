"""A day on the field: open ground against an independent sum, shade only takes, zones hold their cells."""

import numpy as np
import pandas as pd
import pytest
from bowl_scene import points, ring
from pvlib.location import Location
from test_exchange import seen_from

from microclimate.exposure import daylight, plan
from microclimate.exposure.bowl import Bowl
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
    found = daylight.span(bowls[1], SITE, BEGIN, END)
    times = pd.date_range(BEGIN, END, freq="1min")
    place = Location(41.0, -96.0, altitude=300.0)
    open_light = place.get_clearsky(times, linke_turbidity=daylight.TURBIDITY)["ghi"].sum() * 60.0
    whole = found["energy_sun"] + found["energy_sky"] + found["energy_stands"]
    np.testing.assert_allclose(whole, open_light, rtol=0.01)
    # shortest day at 41 N: 9 h 11 min of sun's centre above the refracted horizon, less than the 9 h 14 of its rim
    assert found["sunlit_hours"].values == pytest.approx(9.2, abs=0.17)
    assert 1.8e-6 * open_light < found["light_integral"].values[0] < 2.3e-6 * open_light


def test_a_bowl_takes_sun_and_sky_and_gives_back_less(bowls: list[Bowl]) -> None:
    inside, outside = (daylight.span(b, SITE, BEGIN, END) for b in bowls)
    assert (inside["sunlit_hours"] < outside["sunlit_hours"]).all()
    taken = sum(outside[f"energy_{part}"] - inside[f"energy_{part}"] for part in ("sun", "sky"))
    assert (inside["energy_stands"] < taken).all()
    assert (inside["energy_stands"] > 0.0).all()


def test_given_light_is_used(bowls: list[Bowl]) -> None:
    steps = int((END - BEGIN) / daylight.STEP)
    dull = daylight.span(bowls[1], SITE, BEGIN, END, np.zeros(steps), np.full(steps, 50.0))
    lit = round(float(dull["sunlit_hours"][0]) * 6)
    np.testing.assert_allclose(dull["energy_sky"], lit * 600.0 * 50.0)
    assert not dull["energy_sun"].any()


def test_shade_at_an_instant(bowls: list[Bowl]) -> None:
    noon, night = pd.Timestamp("2025-12-20 18:20", tz="UTC"), pd.Timestamp("2025-12-21 05:00", tz="UTC")
    at = daylight.shade(bowls[1], SITE, noon)
    assert (at["sun_factor"] == 1.0).all()
    assert at.attrs["sun_elevation"] == pytest.approx(25.6, abs=0.3)  # 90 - 41 - 23.4
    assert not daylight.shade(bowls[0], SITE, night)["sun_factor"].any()


def test_zones_hold_their_cells(bowls: list[Bowl]) -> None:
    cells = daylight.span(bowls[0], SITE, BEGIN, END).assign_coords(zone=("cell", np.arange(14) % 2))
    zones = daylight.by_zone(cells, ("odd", "even"))
    hours = zones["sunlit_hours"]
    assert (hours.sel(which="lowest") <= hours.sel(which="mean")).all()
    assert (hours.sel(which="mean") <= hours.sel(which="highest")).all()
    assert float(hours.sel(which="highest").max()) == float(cells["sunlit_hours"].max())
