"""Light off the stands against Radiance, and what must fail: the smooth rake."""

from dataclasses import replace
from pathlib import Path

import drawn
import numpy as np
import pandas as pd
import pytest
import xarray as xr
from bowl_fakes import weather
from bowl_scene import points, ring
from test_exchange import seen_from

from microclimate.exposure import plan
from microclimate.exposure.bowl import Bowl, assemble
from microclimate.exposure.exchange import NODE_AZIMUTHS, NODE_ELEVATIONS
from microclimate.exposure.force import forcing
from microclimate.exposure.mesh import mesh
from microclimate.venue import load
from microclimate.venue.described import Venue

TRACED = pd.read_csv(Path(__file__).parent.parent / "reference/radiance_bowl.csv", comment="#")


@pytest.fixture(scope="module")
def bright() -> Bowl:
    venue = ring(albedo=0.65)
    return seen_from(plan.venue_mesh(venue.bowl, venue.field), points())


def of(bowl: Bowl, venue: Venue) -> Bowl:
    """The same traced bowl with another finish on its steps."""
    made = plan.venue_mesh(venue.bowl, venue.field)
    return assemble(made, bowl.geometry, bowl.bearing, bowl.cell_area, bowl.cell_zone, venue.bowl.ground_albedo)


@pytest.mark.parametrize("case", range(len(TRACED)))
def test_matte_light_off_the_stands(bright: Bowl, case: int) -> None:
    """Radiance, many bounces, 20 spread points, corners and roof's edge: bias <= 5 %, rms <= 1, worst <= 2 W/m2."""
    row = TRACED.iloc[case]
    wanted = row.iloc[4:].to_numpy(float)
    bowl = of(bright, ring(albedo=row["albedo"]))
    found = row["direct_normal"] * bowl.off_stands(row["azimuth"], row["elevation"])[0]
    assert abs(found.mean() / wanted.mean() - 1.0) <= 0.05
    assert np.sqrt(np.mean((found - wanted) ** 2)) <= 1.0
    assert np.abs(found - wanted).max() <= 2.0


def test_a_smooth_rake_fails_at_summer_noon() -> None:
    """Red line: a plane through the nosings throws about twice the light that steps do when the sun is high."""
    venue = ring(albedo=0.65)
    smooth = [
        b
        if b.shade is None
        else replace(b, section=replace(b.shade, parts=tuple("riser" if p == "tread" else p for p in b.shade.parts)))
        for b in plan.bodies(venue.bowl, venue.field)
    ]
    bowl = seen_from(mesh(smooth, plan.ground(venue.bowl, venue.field)), points())
    row = TRACED[(TRACED["elevation"] == 72) & (TRACED["albedo"] == 0.65)].iloc[0]
    found = row["direct_normal"] * bowl.off_stands(row["azimuth"], row["elevation"])[0]
    assert found.mean() / row.iloc[4:].mean() >= 1.5


def test_one_bounce_is_not_enough(bright: Bowl) -> None:
    """Red line: at summer noon most of the light comes by sun, tread, riser, field."""
    row = TRACED.iloc[2]
    e = bright.geometry.exchange
    i = np.argmin(np.abs(NODE_AZIMUTHS - bright.field_angle(row["azimuth"])))
    j = np.argmin(np.abs(NODE_ELEVATIONS - np.radians(row["elevation"])))
    sun = e.sun[:, i * len(NODE_ELEVATIONS) + j].astype(float)
    once = row["direct_normal"] * (bright.geometry.light @ (bright.albedo[e.owner] * sun))
    assert once.mean() <= 0.4 * row.iloc[4:].mean()


def test_snow_on_the_steps_brightens_the_field(bright: Bowl) -> None:
    """More albedo, more light off the stands, on every cell."""
    snowy = bright.with_surfaces(albedo=np.maximum(bright.albedo, 0.8))
    sun = (np.array([180.0]), np.array([25.0]), np.array([700.0]), np.array([70.0]))
    assert (snowy.reflected(*sun) > bright.reflected(*sun)).all()


def test_the_sky_and_all_its_bounces_against_radiance(bright: Bowl, tmp_path: Path) -> None:
    """Radiance's own all-weather sky (gendaylit), a few cells: rms <= 1 W/m2."""
    radiance = pytest.importorskip("radiance", reason="no wheel of pyradiance for this machine")
    few = points()[:8]
    azimuth, elevation, direct, diffuse = 180.0, 25.6, 750.0, 70.0
    angle, height = float(bright.field_angle(azimuth)), float(np.radians(elevation))
    sky = radiance.sky(tmp_path, angle, height, direct, diffuse)
    open_sky = radiance.irradiance(tmp_path, [sky], few[:1], "-ab", 1, "-ad", 16384, "-aa", 0, "-as", 0)[0]
    scene = radiance.scene(tmp_path, bright.mesh, 0.3)
    options = ("-ab", 5, "-ad", 4096, "-as", 0, "-lw", 1e-5, "-aa", 0)
    wanted = radiance.irradiance(tmp_path, [scene, sky], few, *options) * diffuse / open_sky
    sun = (np.array([azimuth]), np.array([elevation]), np.array([direct]), np.array([diffuse]))
    found = bright.sky_light(*sun)[0] + (bright.reflected(*sun) - direct * bright.off_stands(azimuth, elevation))[0]
    assert np.sqrt(np.mean((found[:8] - wanted) ** 2)) <= 1.0


def test_light_added_up_before_it_is_laid_is_the_same(bright: Bowl) -> None:
    """Sums over a day of suns against the sum of the single suns: the same table and matrices, linear in light."""
    rng = np.random.default_rng(4)
    azimuth, elevation = rng.uniform(0.0, 360.0, 40), rng.uniform(-5.0, 75.0, 40)
    direct, diffuse = rng.uniform(0.0, 800.0, 40), rng.uniform(20.0, 300.0, 40)
    apart = [part.sum(axis=0) for part in bright.diffuse(azimuth, elevation, direct, diffuse)]
    for found, wanted in zip(bright.diffuse_sums(azimuth, elevation, direct, diffuse), apart, strict=True):
        np.testing.assert_allclose(found, wanted, rtol=1e-5)  # the table of suns is in single precision


@pytest.mark.parametrize("through", [0.0, 0.4])
def test_rain_stays_off_below_a_roof_that_lets_light_through_or_not(through: float) -> None:
    """A roof from x = -30 to 30 whose edge hangs 4.6 m over the field (7 + 8 x .8 - 18 m from its edge at y = 30)."""
    stand = """
[[stand]]
side = "left"
start = -30
end = 30
setback = 7
[[stand.tier]]
front_height = 1.2
tread = 0.8
riser = 0.35
rows = 8
[stand.roof]
depth = 18
height_front = 14
height_back = 13
"""
    venue = load.text(drawn.HEAD.format(field="") + stand + f"transmittance = {through}\n")
    where = np.array([[0.0, 29.0], [0.0, 26.0], [-29.0, 28.0], [0.0, 25.0], [40.0, 29.0], [0.0, 0.0]])
    made = seen_from(plan.venue_mesh(venue.bowl, venue.field), where)
    np.testing.assert_array_equal(made.open_above, [0.0, 0.0, 0.0, 1.0, 1.0, 1.0])
    noon = made.sun_factor(np.array([180.0]), np.array([89.9]))[0]
    np.testing.assert_allclose(noon, [through, through, through, 1.0, 1.0, 1.0])

    patches = xr.Dataset(
        {"cell_patch": ("cell", np.arange(6))},
        coords={
            "zone": ("patch", ["A1"] * 6),
            "zone_index": ("patch", np.zeros(6, int)),
            "part": ("patch", ["whole"] * 6),
        }
        | {name: ("patch", np.ones(6)) for name in ("area", "x", "y", "sky_view_factor")},
    )
    block = next(
        iter(forcing(venue, weather(hours=12, members=1, start="2025-01-16T01:00"), made, patches, bowl_air=False))
    )
    for name in ("precipitation_flux", "snowfall_flux"):
        falls = block[name].values[0].sum(axis=1)
        np.testing.assert_allclose(falls, made.open_above * falls[-1])
    assert block["precipitation_flux"].values[0, -1].sum() > 0.0
