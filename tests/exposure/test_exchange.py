"""View factors, bounces and longwave: closure, reciprocity, energy, closed forms; two ray engines compared."""

from dataclasses import replace

import numpy as np
import pytest
from bowl_scene import NOTHING, points, prism, ring

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.exposure import exchange as ex
from microclimate.exposure import plan, rays, trace
from microclimate.exposure.bowl import Bowl, assemble
from microclimate.exposure.mesh import Array, Finish, Mesh, floor, mesh
from microclimate.venue.bowl import Roof


def seen_from(made: Mesh, where: Array, ground_albedo: float = 0.3, bearing: float = 20.0) -> Bowl:
    """A bowl whose cells are given points."""
    traced = trace.traced(made, where[:, 0], where[:, 1])
    return assemble(made, traced, bearing, np.ones(len(where)), np.zeros(len(where), int), ground_albedo)


@pytest.fixture(scope="module")
def bowl() -> Bowl:
    venue = ring()
    return seen_from(plan.venue_mesh(venue.bowl, venue.field), points())


@pytest.fixture(scope="module")
def veiled() -> Bowl:
    venue = ring(tau=0.4)
    return seen_from(plan.venue_mesh(venue.bowl, venue.field), points())


def test_rows_close_and_flows_are_mutual(bowl: Bowl, veiled: Bowl) -> None:
    """Each row of view factors and sky sums to 1, A_i F_ij = A_j F_ji, both to 1e-6; under a translucent roof too."""
    for e in (bowl.geometry.exchange, veiled.geometry.exchange):
        np.testing.assert_allclose(e.factor_thermal.sum(axis=1) + e.view, 1.0, atol=1e-6)
        np.testing.assert_allclose(e.factor.sum(axis=1) + e.patches.sum(axis=1), 1.0, atol=1e-6)
        for factor in (e.factor, e.factor_thermal):
            flow = e.area[:, None] * factor[:-1, :-1]
            np.testing.assert_allclose(flow, flow.T, atol=1e-6 * flow.max())
    for made in (bowl, veiled):
        seen = np.asarray(made.geometry.thermal.sum(axis=1)).ravel()
        np.testing.assert_allclose(seen, 1.0 - made.sky_view, atol=1e-6)


def test_an_isothermal_world_shines_as_one_black_body(bowl: Bowl, veiled: Bowl) -> None:
    """Sky, air, stands and ground at one temperature: exactly sigma T^4 on every cell, whatever the emissivities."""
    black = STEFAN_BOLTZMANN * 270.0**4
    for made in (bowl, veiled, bowl.with_surfaces(emissivity=np.linspace(0.05, 1.0, len(bowl.emissivity)))):
        from_sky, from_stands = made.longwave(np.array([black]), np.array([270.0]), np.array([270.0]))
        np.testing.assert_allclose(from_sky + from_stands, black, rtol=1e-6)


def test_energy_is_kept(bowl: Bowl) -> None:
    """Light that enters is taken up or leaves to sky and ground outside (closed form from closure and reciprocity)."""
    e = bowl.geometry.exchange
    dark_outside = bowl.with_surfaces(albedo=np.append(bowl.albedo[:-1], 0.0))
    entering = np.random.default_rng(0).random(len(e.view))
    full = dark_outside.gain.light @ entering
    rho, area = bowl.albedo[:-1], e.area
    taken = np.sum(area * (1.0 - rho) * full[:-1])
    away = np.sum(area * rho * full[:-1] * (e.view[:-1] + e.factor[:-1, -1]))
    assert taken + away == pytest.approx(np.sum(area * entering[:-1]), rel=1e-6)


def test_nothing_is_seen_from_behind(bowl: Bowl) -> None:
    """Watertight, no coincident faces: no ray from the open meets the back of a face."""
    scene = ex.Scene(bowl.mesh)
    rng = np.random.default_rng(1)
    origin = np.column_stack(
        [rng.uniform(-54, 54, 60_000), rng.uniform(-29, 29, 60_000), rng.uniform(0.02, 1.0, 60_000)]
    )
    direction = rng.normal(size=(60_000, 3))
    _, behind = scene.hit(origin, direction / np.linalg.norm(direction, axis=1, keepdims=True))
    assert behind.sum() == 0


def test_the_two_ray_engines_agree(bowl: Bowl) -> None:
    """0 of 1e5 rays differ but where a ray grazes an edge (single against double precision): <= 1e-5 of them."""
    rng = np.random.default_rng(2)
    origin = np.column_stack([rng.uniform(-54, 54, 100_000), rng.uniform(-29, 29, 100_000), np.full(100_000, 0.5)])
    direction = rng.normal(size=(100_000, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    engine, tree = rays.caster(bowl.mesh.corners), rays.Tree.grow(bowl.mesh.corners)
    one, two = engine.closest(origin, direction), tree.closest(origin, direction)
    element = np.append(bowl.mesh.element, -1)
    assert (element[one] != element[two]).mean() <= 1e-5
    assert (engine.blocked(origin, direction) != (one >= 0)).mean() <= 1e-5
    assert (tree.blocked(origin, direction) == (two >= 0)).all()


def test_the_tree_with_nothing_in_it() -> None:
    empty = rays.caster(np.zeros((0, 3, 3)))
    up = np.array([[0.0, 0.0, 1.0]])
    assert empty.closest(up, up).tolist() == [-1]
    assert not empty.blocked(up, up)[0]


def test_a_step_sees_its_neighbour_as_the_closed_form_says() -> None:
    """Tread h wide before a riser w high, endless: F(riser, tread) = (1 + h/w - sqrt(1 + (h/w)^2)) / 2."""
    tread, riser = 0.8, 0.4
    outline = [(0.0, -0.2), (0.0, 0.0), (tread, 0.0), (tread, riser), (tread + 0.2, riser), (tread + 0.2, -0.2)]
    parts = ("front", "tread", "riser", "parapet top", "back", "under")
    body = prism([[400.0, 0.0], [-400.0, 0.0]], [[0, 1], [0, 1]], outline, False)
    made = mesh([replace(body, section=replace(body.section, parts=parts))], NOTHING)
    e = ex.exchange(ex.Scene(made))
    part = np.array([f.part for f in made.facets])
    to_treads = e.factor[:-1, :-1][part == "riser"][:, part == "tread"].sum(axis=1)
    ratio = tread / riser
    found = np.average(to_treads, weights=e.area[part == "riser"])
    assert found == pytest.approx(0.5 * (1.0 + ratio - np.sqrt(1.0 + ratio**2)), abs=4e-3)


def test_a_canyon_of_even_walls_and_its_longwave() -> None:
    """Black walls at one temperature: stands part = (1 - sky view) sigma T^4, whatever the canyon's shape."""
    outline = [(0.0, -1.0), (0.0, 10.0), (1.0, 10.0), (1.0, -1.0)]
    black = Finish("black", 0.0, 1.0)
    bodies = [
        prism([[300.0, 20.0], [-300.0, 20.0]], [[0, 1], [0, 1]], outline, False, black),
        prism([[-300.0, -20.0], [300.0, -20.0]], [[0, -1], [0, -1]], outline, False, black),
    ]
    made = mesh(bodies, floor(100.0, 30.0, 3.0, 4, 3, black, black))
    bowl = seen_from(made, np.array([[0.0, 0.0], [10.0, 5.0]]))
    _, stands = bowl.longwave(np.array([200.0]), np.array([275.0]), np.array([280.0]))
    np.testing.assert_allclose(stands[0], (1.0 - bowl.sky_view) * STEFAN_BOLTZMANN * 280.0**4, rtol=1e-6)


def test_a_patch_is_the_mean_of_its_cells(bowl: Bowl) -> None:
    weights = np.zeros((2, len(bowl.cell_x)))
    weights[0, :4], weights[1, 4:] = 0.25, 1.0 / (len(bowl.cell_x) - 4)
    few = bowl.grouped(weights)
    sun = (np.array([150.0, 200.0]), np.array([20.0, 40.0]), np.array([600.0, 700.0]), np.array([60.0, 90.0]))
    np.testing.assert_allclose(few.sun_factor(*sun[:2]), bowl.sun_factor(*sun[:2]) @ weights.T)
    np.testing.assert_allclose(few.sky_light(*sun), bowl.sky_light(*sun) @ weights.T, rtol=1e-6)
    np.testing.assert_allclose(few.reflected(*sun), bowl.reflected(*sun) @ weights.T, rtol=1e-5)
    for one, all_cells in zip(few.longwave(250.0, 272.0, 270.0), bowl.longwave(250.0, 272.0, 270.0), strict=True):
        np.testing.assert_allclose(one, all_cells @ weights.T)


def test_the_table_of_suns_stays_near_the_traced_sun(bowl: Bowl) -> None:
    """Interpolated light off the stands against the same sun traced, at 700 W/m2 direct normal.

    Spread over the field rms <= 0.3 W/m2; in corners, where a shadow's edge passes near, within the 10 % told of them.
    """
    scene = ex.Scene(bowl.mesh)
    origin, normal, _ = ex.element_points(scene, ex.SUN_POINTS)
    for azimuth, elevation in ((172.3, 21.1), (233.8, 9.4), (128.6, 52.3)):
        towards = ex.sun_directions(bowl.field_angle([azimuth]), np.radians([elevation]))
        light = np.append(ex.sunlight(scene, origin, normal, towards)[:, 0], towards[0, 2])
        exact = 700.0 * bowl.light_operators[0] @ light
        table = 700.0 * bowl.off_stands(azimuth, elevation)[0]
        assert np.sqrt(np.mean((table - exact)[:20] ** 2)) <= 0.3
        assert np.abs(table / exact - 1.0)[20:].max() <= 0.10


def test_a_translucent_roof_lets_its_share_through(bowl: Bowl, veiled: Bowl) -> None:
    """Where only the roof hides the sun, the factor is its transmittance; the sky it hides counts for longwave."""
    azimuth, elevation = np.full(40, 290.0), np.linspace(25.0, 50.0, 40)
    hard, soft = bowl.sun_factor(azimuth, elevation), veiled.sun_factor(azimuth, elevation)
    assert set(np.round(np.unique(soft), 12)) == {0.0, 0.4, 1.0}
    assert (soft >= hard).all()
    np.testing.assert_allclose(veiled.sky_view, bowl.sky_view, atol=1e-9)
    dull = (np.array([180.0]), np.array([30.0]), np.array([0.0]), np.array([100.0]))
    gain = veiled.sky_light(*dull) - bowl.sky_light(*dull)
    assert (gain >= -1e-9).all()
    assert gain.max() > 1.0


def test_a_roof_of_glass_is_no_roof() -> None:
    """With all light let through, sky light and reflection are those of the bowl without a roof."""
    venue = ring()
    stands = venue.bowl.stands

    def with_roof(roof: Roof | None) -> Bowl:
        changed = tuple(s.model_copy(update={"roof": roof}) if s.roof is not None else s for s in stands)
        return seen_from(plan.venue_mesh(venue.bowl.model_copy(update={"stands": changed}), venue.field), points())

    assert stands[1].roof is not None
    glass, none = with_roof(stands[1].roof.model_copy(update={"transmittance": 1.0 - 1e-9})), with_roof(None)
    dull = (np.array([180.0]), np.array([30.0]), np.array([0.0]), np.array([100.0]))
    np.testing.assert_allclose(glass.sky_light(*dull), none.sky_light(*dull), atol=0.01)
    sun = (np.array([200.0]), np.array([30.0]), np.array([700.0]), np.array([70.0]))
    np.testing.assert_allclose(glass.sun_factor(*sun[:2]), none.sun_factor(*sun[:2]), atol=1e-6)
    np.testing.assert_allclose(glass.reflected(*sun).mean(), none.reflected(*sun).mean(), rtol=0.05)
