"""Wet and snowy stands: published albedos, the balance of water and snow, and the light they change in a run."""

from dataclasses import replace

import numpy as np
import pvlib
import pytest
from bowl_fakes import weather
from bowl_scene import points, ring
from test_exchange import seen_from

from microclimate.exposure import plan, weathered
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.force import forcing


@pytest.fixture(scope="module")
def concrete() -> Bowl:
    venue = ring(albedo=0.30)
    return replace(seen_from(plan.venue_mesh(venue.bowl, venue.field), points()), cell_zone=np.zeros(28, int))


def test_wet_things_are_darker() -> None:
    """Ends by hand: black sends back the film's own 6.6 %, white all; between, darker than dry.

    The film's diffuse reflectance is that of Fresnel's equations, by quadrature.
    """
    np.testing.assert_allclose(weathered.wet_albedo([0.0, 1.0]), [weathered.WATER_REFLECTS, 1.0], atol=1e-12)
    dry = np.linspace(0.15, 0.9, 20)
    assert (weathered.wet_albedo(dry) < dry).all()
    n, c = weathered.WATER_INDEX, (np.arange(20_000) + 0.5) / 20_000
    inner = np.sqrt(1.0 - (1.0 - c * c) / n**2)
    across, along = ((c - n * inner) / (c + n * inner)) ** 2, ((n * c - inner) / (n * c + inner)) ** 2
    assert np.mean((across + along) * c) == pytest.approx(weathered.WATER_REFLECTS, abs=5e-4)


def test_snow_is_as_bright_as_published() -> None:
    """Deep new snow is that of pvlib's table; a dusting hardly shows, frost of .1 kg/m2 less than a tenth."""
    assert pvlib.albedo.SURFACE_ALBEDOS["fresh snow"] == weathered.FRESH_SNOW
    assert weathered.whiteness(0.0) == 0.0
    assert weathered.whiteness(0.1) < 0.1
    assert weathered.whiteness(1.0 / 0.9) == pytest.approx(0.5, abs=0.01)
    assert 0.9 < weathered.whiteness(20.0) < 1.0


def series(**more: float) -> dict[str, np.ndarray]:
    given = {"rain": 0.0, "snowfall": 0.0, "air": 275.0, "humidity": 0.003, "pressure": 1e5, "wind": 3.0, "film": 0.0}
    given |= {"skin": 275.0} | more
    return {name: np.full((2, 48), value) for name, value in given.items()}


def test_water_comes_goes_and_snow_melts() -> None:
    """Half an hour of rain wets all and dries in sunny air; snow stays in the cold and melts at 4 mm a day and K."""
    shower = series(air=293.0, skin=303.0, humidity=0.006)
    shower["rain"][:, 3:6] = 1e-3
    found = weathered.cover(600.0, **shower)
    assert not found.wet[:, :3].any()
    assert (found.wet[:, 5] == 1.0).all()
    assert not found.wet[:, -1].any()
    assert not found.snow.any()

    fall = series(air=268.0, skin=268.0)
    fall["snowfall"][:, :10] = 5e-4  # 3 kg/m2
    lying = weathered.cover(600.0, **fall)
    np.testing.assert_allclose(lying.snow[:, 9:], weathered.whiteness(3.0))
    assert not lying.wet.any()
    fall["air"][:, 10:], fall["skin"][:, 10:] = 275.15, 275.15  # 2 K: .333 kg/m2 an hour
    thaw = weathered.cover(600.0, **fall)
    np.testing.assert_allclose(thaw.snow[:, 15], weathered.whiteness(3.0 - 1.0 / 3.0), rtol=1e-9)
    assert (thaw.wet[:, 15] > 0.0).all()
    assert (thaw.wet + thaw.snow <= 1.0).all()


def test_dew_darkens_and_frost_whitens() -> None:
    dew = weathered.cover(600.0, **series(film=0.05))
    assert (dew.wet == 0.5).all()
    frost = weathered.cover(600.0, **series(film=0.05, skin=270.0, air=270.0))
    assert not frost.wet.any()
    np.testing.assert_allclose(frost.snow, weathered.whiteness(0.05))


def test_a_gap_in_the_weather_wets_nothing() -> None:
    gap = series()
    for values in gap.values():
        values[:, 20:] = np.nan
    found = weathered.cover(600.0, **gap)
    assert np.isfinite(found.wet + found.snow).all()


def test_only_what_lies_under_the_open_sky_changes(concrete: Bowl) -> None:
    """Treads turn white, risers and what is below the roof do not; all outer steps darken; the floor whitens alone."""
    wet, snow = (state.albedo for state in concrete.weathered)
    facets = concrete.mesh.facets
    part = np.array([f.part for f in facets] + ["ground outside"])
    body = np.array([f.body for f in facets] + ["ground outside"])
    dry = concrete.albedo
    steps = np.isin(part, ("tread", "riser"))
    open_steps = steps & (np.abs(wet - weathered.wet_albedo(dry)) < 1e-9)
    assert open_steps.sum() > 0.5 * steps.sum()
    assert (wet[steps] <= dry[steps]).all()
    assert (wet[steps] == dry[steps]).any()  # below the roof, or below the upper tier
    np.testing.assert_array_equal(wet[body == "floor"], dry[body == "floor"])
    np.testing.assert_array_equal(snow[part == "riser"], dry[part == "riser"])
    np.testing.assert_allclose(snow[open_steps & (part == "tread")], weathered.FRESH_SNOW)
    np.testing.assert_allclose(snow[part == "field"], weathered.FRESH_SNOW)
    assert snow[-1] == weathered.FRESH_SNOW


def test_a_run_sees_wet_and_snowy_stands(concrete: Bowl) -> None:
    """The same sun after rain, after snow, and dry: less light off the stands, and more.

    The field sees risers, on which no snow lies: under a low sun it gains less than the treads do.
    """
    venue, found = ring(albedo=0.30), {}
    for kind, rain, snow in (("dry", 0.0, 0.0), ("wet", 1e-3, 0.0), ("snow", 1e-3, 1e-3)):
        sky = weather(hours=24, members=1)
        sky["precipitation_flux"][:], sky["snowfall_flux"][:] = rain, snow
        sky["air_temperature"][:], sky["dew_point_temperature"][:] = 268.0, 260.0
        block = next(iter(forcing(venue, sky, concrete, bowl_air=False)))
        found[kind] = block.isel(realization=0).sum("time")
    stands = {kind: float(each["shortwave_stands_down"].mean()) for kind, each in found.items()}
    assert stands["wet"] < 0.9 * stands["dry"]
    assert stands["snow"] > 1.15 * stands["dry"]
    for kind in ("wet", "snow"):
        for name in ("shortwave_sun_down", "shortwave_sky_down"):
            np.testing.assert_array_equal(found[kind][name], found["dry"][name])
    by_hand = concrete.with_surfaces(albedo=concrete.weathered[0].albedo)
    sun = (np.array([200.0]), np.array([25.0]), np.array([600.0]), np.array([70.0]))
    np.testing.assert_allclose(concrete.weathered[0].reflected(*sun), by_hand.reflected(*sun))
