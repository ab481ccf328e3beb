"""Sky windows against closed forms, against the ray engine, and with more intervals than any fixed list would hold."""

import numpy as np
import pytest
from bowl_scene import basin, canyon, points, prism, ring

from microclimate.exposure import plan, rays, sky
from microclimate.exposure.exchange import sun_directions
from microclimate.exposure.mesh import Array, Mesh
from microclimate.exposure.windows import AZIMUTHS, STEP, crest, windows

CENTRE = np.zeros((1, 3))


def slab(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Array:
    """Triangles of a box."""
    outline = [(y[0], z[0]), (y[0], z[1]), (y[1], z[1]), (y[1], z[0])]
    body = prism([[x[1], 0.0], [x[0], 0.0]], [[0, 1], [0, 1]], outline, False)
    return plan.mesh([body], (np.zeros((0, 3, 3)), [])).corners


@pytest.mark.parametrize(("distance", "height"), [(20.0, 10.0), (12.0, 15.0)])
def test_the_canyon(distance: float, height: float) -> None:
    """Endless canyon, point in the middle: sky view = cos of the wall's angle (closed form)."""
    seen = windows(CENTRE, canyon(distance, height).shade).sky_view()[0]
    assert seen == pytest.approx(np.cos(np.arctan2(height, distance)), abs=3e-4)


@pytest.mark.parametrize("sides", [360, 72])
def test_the_circular_basin(sides: int) -> None:
    """Circular basin, centre: sky view = cos^2 of the rim's angle (closed form), for any number of sides.

    With sides a divisor of the azimuths a bin centre could fall on every vertex; the irrational shift forbids it.
    """
    mesh = basin(20.0 / np.sqrt(np.cos(np.pi / sides)), 10.0, sides)  # the mean radius of the polygon is 20 m
    assert windows(CENTRE, mesh.shade).sky_view()[0] == pytest.approx(0.8, abs=3e-4)


def test_the_rectangular_bowl() -> None:
    """Four walls: 1 - sum of the view factors of four upright rectangles to a level element (closed form)."""
    a, b, h = 40.0, 25.0, 12.0
    base = np.array([[a, -b], [a, b], [-a, b], [-a, -b]])
    growth = np.array([[1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]])
    outline = [(0.0, -1.0), (0.0, h), (1.0, h), (1.0, -1.0)]
    mesh = plan.mesh([prism(base, growth, outline, True)], (np.zeros((0, 3, 3)), []))
    for x, y in ((0.0, 0.0), (25.0, 10.0), (-38.0, 23.0)):
        exact = 1.0
        for distance, left, right in (
            (a - x, b - y, b + y),
            (a + x, b - y, b + y),
            (b - y, a - x, a + x),
            (b + y, a - x, a + x),
        ):
            exact -= upright(distance, h, left) + upright(distance, h, right)
        assert windows(np.array([[x, y, 0.0]]), mesh.shade).sky_view()[0] == pytest.approx(exact, abs=3e-4)


def upright(distance: float, height: float, width: float) -> float:
    """View factor from a level element to an upright rectangle standing on its level, one end abeam.

    Howell, catalogue of configuration factors, case B-4: (atan(1/Y) - A Y atan(A)) / 2 pi, from memory; the canyon and
    the basin above hold it.
    """
    x, y = width / distance, 0.0
    h = np.hypot(1.0, height / distance)
    return float((np.arctan(x) - np.arctan(x / h) / h + y) / (2.0 * np.pi))


def test_a_wall_of_finite_length() -> None:
    """One wall 25 m long, 20 m away, 8 m high: 1 - two upright rectangles (closed form)."""
    mesh = plan.mesh(
        [prism([[12.5, 20.0], [-12.5, 20.0]], [[0, 1], [0, 1]], [(0, -1), (0, 8), (0.01, 8), (0.01, -1)], False)],
        (np.zeros((0, 3, 3)), []),
    )
    exact = 1.0 - 2.0 * upright(20.0, 8.0, 12.5)
    assert windows(CENTRE, mesh.shade).sky_view()[0] == pytest.approx(exact, abs=3e-4)


def test_a_canopy_overhead() -> None:
    """A thin level slab 10 m up over a corner-to-corner quarter: Howell case B-3, parallel rectangle (closed form).

    F = (1/2 pi) [A/sqrt(1+A^2) atan(B/sqrt(1+A^2)) + B/sqrt(1+B^2) atan(A/sqrt(1+B^2))], from memory.
    """
    a, b, h = 12.0, 8.0, 10.0
    x, y = a / h, b / h
    p, q = np.sqrt(1 + x**2), np.sqrt(1 + y**2)
    quarter = (x / p * np.arctan(y / p) + y / q * np.arctan(x / q)) / (2 * np.pi)
    for x, y in ((0.0, 0.0), (0.3, -0.1)):  # the first lies under the diagonal of the slab's two triangles
        slab_here = slab((x - a, x + a), (y - b, y + b), (h, h + 1e-3))
        assert windows(np.array([[x, y, 0.0]]), slab_here).sky_view()[0] == pytest.approx(1.0 - 4.0 * quarter, abs=3e-4)
    assert not windows(CENTRE, slab((-a, a), (-b, b), (h, h + 1.0))).sees(np.zeros(1), np.full(1, 0.5 * np.pi))[0, 0]


def test_the_open_field_sees_all() -> None:
    seen = windows(points(), np.zeros((0, 3, 3)))
    assert (seen.sky_view() == 1.0).all()
    assert (seen.low_sky() == -1.0).all()
    np.testing.assert_allclose(seen.visible(sky.EDGES, sky.COLUMNS, sky.START)[0], sky.weights(), rtol=1e-12)
    assert seen.sees(np.array([1.0, 1.0]), np.array([0.3, -0.01]))[0].tolist() == [True, False]


@pytest.fixture(scope="module")
def scene() -> Mesh:
    venue = ring()
    return plan.venue_mesh(venue.bowl, venue.field)


def test_the_sun_mask_agrees_with_the_ray_engine(scene: Mesh) -> None:
    """<= 1e-4 of pairs wrong, field mean within 0.2 %: the bars of the full benchmark, here on fewer cells."""
    x, y = np.meshgrid(np.arange(-54.0, 55.0, 3.0), np.arange(-29.0, 30.0, 2.0))
    ground = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, 0.02)])
    suns = np.random.default_rng(3).uniform([0.0, 0.03], [2 * np.pi, 1.25], (120, 2))
    seen = windows(ground, scene.shade).sees(suns[:, 0], suns[:, 1])
    towards = sun_directions(suns[:, 0], suns[:, 1])
    engine = rays.caster(scene.corners)
    traced = np.stack([~engine.blocked(ground, np.broadcast_to(d, ground.shape)) for d in towards], axis=1)
    assert (seen != traced).mean() <= 1e-4
    assert np.abs(seen.mean(axis=0) - traced.mean(axis=0)).max() <= 2e-3


def test_one_horizon_for_each_azimuth_would_miss_the_light_slot(scene: Mesh) -> None:
    """Red line: sun between the stand's crest and the roof's edge reaches the field."""
    ground = np.column_stack([np.zeros(40), np.linspace(-29, 29, 40), np.full(40, 0.02)])
    found = windows(ground, scene.shade)
    azimuth, elevation = np.full(60, 0.5 * np.pi), np.radians(np.linspace(2.0, 60.0, 60))
    seen = found.sees(azimuth, elevation)
    k = int((0.25 * AZIMUTHS) % AZIMUTHS)
    horizon = np.zeros(len(ground))
    for i in range(len(ground)):
        begin = found.first[i] + int(found.count[i, :k].sum())
        horizon[i] = found.bounds[begin : begin + found.count[i, k], 1].max() * STEP
    single = elevation[None, :] > horizon[:, None]
    towards = sun_directions(azimuth, elevation)
    engine = rays.caster(scene.corners)
    traced = np.stack([~engine.blocked(ground, np.broadcast_to(d, ground.shape)) for d in towards], axis=1)
    assert (seen != traced).mean() <= 1e-3
    assert (single != traced).mean() >= 0.05


def test_a_list_that_runs_over_is_widened() -> None:
    """Twenty slats one above the other: each leaves its own slot, none is lost."""
    slats = np.concatenate([slab((-30, 30), (20.0, 20.2), (k + 1.0, k + 1.4)) for k in range(20)])
    found = windows(CENTRE, slats)
    toward = int(0.25 * AZIMUTHS)
    assert found.count[0, toward] == 20
    between = np.arctan2(np.arange(20) + 1.7, 20.0)
    on = np.arctan2(np.arange(20) + 1.2, 20.0)
    ahead = np.full(20, 0.5 * np.pi)
    assert found.sees(ahead, between)[0].all()
    assert not found.sees(ahead, on)[0].any()


def test_patches_and_sky_view_tell_the_same(scene: Mesh) -> None:
    found = windows(points(), scene.shade)
    by_patch = found.visible(sky.EDGES, sky.COLUMNS, sky.START).sum(axis=1) / np.pi
    np.testing.assert_allclose(by_patch, found.sky_view(), atol=1e-6)


def test_the_crest_of_a_wall() -> None:
    """A wall 20 m away and 8 m high: straight ahead and at 45 degree."""
    mesh = plan.mesh(
        [prism([[50.0, 20.0], [-50.0, 20.0]], [[0, 1], [0, 1]], [(0, -1), (0, 8), (1, 8), (1, -1)], False)],
        (np.zeros((0, 3, 3)), []),
    )
    distance, height = crest(CENTRE, mesh.solids, np.array([0.5, 0.25, 1.5]) * np.pi)
    np.testing.assert_allclose(distance[0], [20.0, 20.0 * np.sqrt(2.0), np.inf])
    np.testing.assert_allclose(height[0], [8.0, 8.0, 0.0])
