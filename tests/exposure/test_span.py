"""A stretch of weather on each cell: the same light and longwave as the forcing of the patches has."""

from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from bowl_fakes import weather

from microclimate.exposure import force, patches, span
from microclimate.exposure.bowl import bowl
from microclimate.venue import bowl as described
from microclimate.venue import load
from microclimate.weather import complete, read

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="module")
def demo() -> tuple[force.Forcing, np.datetime64, np.datetime64]:
    """Two days of the demo's past on the demo's bowl, with a lead of half a day."""
    place = load.venue(DEMO / "venue.toml")
    site = place.site.site
    past = complete.weather(read.weather(DEMO / "past.csv", site), site)
    begin, end = np.datetime64("2026-01-20T05:00", "ns"), np.datetime64("2026-01-22T05:00", "ns")
    series = past.sel(time=slice(begin - np.timedelta64(12, "h"), end))
    seen = bowl(place)
    sun = patches.morning_sun(seen, place.site.latitude, place.site.longitude, begin.astype("datetime64[D]").item())
    return force.forcing(place, series, seen, patches.patches(place.field.zones, seen, sun), 600.0), begin, end


@pytest.fixture(scope="module")
def both(demo: tuple[force.Forcing, np.datetime64, np.datetime64]) -> tuple[xr.Dataset, xr.Dataset, force.Forcing]:
    forcing, begin, end = demo
    block = next(iter(forcing)).isel(realization=0)
    return span.cells(forcing, begin, end), block.sel(time=slice(begin + np.timedelta64(1, "s"), end)), forcing


@pytest.mark.parametrize(
    ("cell", "patch"),
    [
        ("energy_sun", "shortwave_sun_down"),
        ("energy_sky", "shortwave_sky_down"),
        ("energy_stands", "shortwave_stands_down"),
        ("longwave_energy_sky", "longwave_sky_down"),
        ("longwave_energy_stands", "longwave_stands_down"),
    ],
)
def test_cells_of_a_patch_get_what_the_patch_gets(both, cell: str, patch: str) -> None:
    """Both lay the same weather on the same bowl. Light adds up to rounding; longwave is laid from means, which bends
    the sky's rim by less than 0.3 W/m2 (the bend is a few W/m2, of which its change over a day moves a tenth).
    """
    cells, block, forcing = both
    seconds = 600.0 * block.sizes["time"]
    laid = forcing.patches["weights"].values @ cells[cell].values
    kernel = block[patch].transpose("time", "patch").values.mean(axis=0) * seconds
    bound = 0.3 * seconds if "longwave" in cell else 1e-5 * np.abs(kernel).max()
    np.testing.assert_allclose(laid, kernel, atol=bound, rtol=0.0)


def test_sunlit_hours_are_those_of_the_patches(both) -> None:
    cells, block, forcing = both
    hours = block["sunlit_fraction"].transpose("time", "patch").values.sum(axis=0) / 6.0
    np.testing.assert_allclose(forcing.patches["weights"].values @ cells["sunlit_hours"].values, hours, atol=1e-9)


def test_stretches_add_up(demo, both) -> None:
    forcing, begin, end = demo
    noon = begin + np.timedelta64(30, "h")
    parts = span.added([span.cells(forcing, begin, noon), span.cells(forcing, noon, end)])
    for name in (*span.LIGHT, "sunlit_hours", "light_integral"):
        np.testing.assert_allclose(parts[name], both[0][name], rtol=1e-9, atol=1e-3)
    np.testing.assert_array_equal(parts["sky_view_factor"], both[0]["sky_view_factor"])


def test_an_open_field_gets_the_weather_as_it_is() -> None:
    """No stand, no bowl: the sums are those of the weather itself, interval by interval."""
    place = load.venue(DEMO / "venue.toml")
    place = place.model_copy(
        update={"bowl": described.Bowl(), "field": place.field.model_copy(update={"cell_size": 8})}
    )
    series, seen = weather(members=1), bowl(place)
    joined = patches.patches(place.field.zones, seen, np.ones(len(seen.cell_x)))
    begin, end = series["time"].values[[0, -1]]
    cells = span.cells(force.forcing(place, series, seen, joined, 600.0), begin, end)
    light = series["surface_downwelling_shortwave_flux_in_air"].values[0, 1:].sum() * 3600.0
    warmth = series["surface_downwelling_longwave_flux_in_air"].values[0, 1:].sum() * 3600.0
    np.testing.assert_allclose(sum(cells[name].values for name in span.LIGHT), light, rtol=1e-6)
    np.testing.assert_allclose(cells["longwave_energy_sky"], warmth, rtol=1e-9)
    assert not cells["longwave_energy_stands"].any()
