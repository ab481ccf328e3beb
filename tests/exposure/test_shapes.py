"""Every kind of bowl that a file can describe: watertight, no face met from behind, no two faces on each other."""

from collections import Counter, defaultdict

import drawn
import numpy as np
import pytest

from microclimate.exposure import exchange, plan
from microclimate.exposure.mesh import Array, Mesh, sweep
from microclimate.venue import load
from microclimate.venue.described import Venue

LOWER = """
[[stand.tier]]
front_height = 1.2
tread = 0.8
riser = 0.35
rows = 8
{more}
"""
UPPER = """
[[stand.tier]]
setback = -1.5
front_height = 7
tread = 0.8
riser = 0.5
rows = 6
material = "bare aluminium"
"""
BENCH, CHAIRS = 'seats = "wood"', 'seats = "plastic"\nseat_backs = true'
ROOF = "[stand.roof]\ndepth = 8\nheight_front = 14\nheight_back = 13.5\n"
ON_WALL = "[stand.roof]\ndepth = 8\nheight_front = 13\nheight_back = 11.8\n"  # comes down to the crest
TALL = "parapet_height = 2.5\n"
VEIL = ROOF + "transmittance = 0.4\n"
SIDES = 'sides = ["left", "north"]\n'


def ring(kind: str, roof: str = "", seats: str = "", more: str = "", setback: int = 9) -> str:
    stand = f'\n[[stand]]\nname = "ring"\nside = "all"\nsetback = {setback}\n{more}'
    return f'\n[bowl]\nkind = "{kind}"\ncorner_radius = 12\n{stand}{LOWER.format(more=seats)}{UPPER}{roof}'


def one(side: str, extra: str = "", seats: str = "", roof: str = "", upper: bool = True, span: int = 28) -> str:
    stand = f'\n[[stand]]\nname = "{side}"\nside = "{side}"\nstart = -{span}\nend = {span}\nsetback = 7\n{extra}'
    return f"{stand}{LOWER.format(more=seats)}{UPPER if upper else ''}{roof}"


BOARD = '\n[[wall]]\nname = "scoreboard"\nstart = [75, -8]\nend = [75, 8]\nbottom = 4\ntop = 14\n'
END_WALL = '\n[[wall]]\nstart = [-66, -20]\nend = [-66, 20]\ntop = 5\nmaterial = "painted metal"\n'
GAPS = '\n[[gap]]\nside = "left"\nwidth = 20\n[[gap]]\nside = "head"\nwidth = 12\ncentre = 5\n'
SUNKEN = "elevation_offset = -5"
FOUR = one("left", roof=ROOF, seats=CHAIRS) + one("right", seats=BENCH) + one("head", roof=VEIL) + one("foot")

SHAPES = {
    "none": ("", ""),
    "walls alone": ("", BOARD + END_WALL),
    "sunken, nothing round it": (SUNKEN, ""),
    "one side, open rake on legs": ("", one("left", "back_wall = false\n", upper=False)),
    "one side, two tiers, the upper open": ("", one("right", "back_wall = false\n")),
    "one side, roof on its wall": ("", one("left", TALL, roof=ON_WALL)),
    "one side, no parapet, one row": (
        "",
        one("foot", "parapet_height = 0\n", upper=False).replace("rows = 8", "rows = 1"),
    ),
    "four separate": ("", FOUR + BOARD),
    "four separate, sunken": (SUNKEN, FOUR),
    "rounded rectangle": ("", ring("rounded rectangle")),
    "rounded rectangle, roof": ("", ring("rounded rectangle", ROOF)),
    "rounded rectangle, roof on its wall": ("", ring("rounded rectangle", ON_WALL, more=TALL)),
    "rounded rectangle, roof on two sides": ("", ring("rounded rectangle", ROOF + SIDES)),
    "rounded rectangle, roof on the wall of two sides": ("", ring("rounded rectangle", ON_WALL + SIDES, more=TALL)),
    "rounded rectangle, translucent roof on two sides": ("", ring("rounded rectangle", VEIL + SIDES)),
    "rounded rectangle, gaps, roof on two sides": ("", ring("rounded rectangle", ROOF + SIDES) + GAPS),
    "rounded rectangle, gaps, scoreboard": ("", ring("rounded rectangle", ROOF, CHAIRS) + GAPS + BOARD),
    "rounded rectangle, sunken": (SUNKEN, ring("rounded rectangle", ROOF, BENCH)),
    "oval": ("", ring("oval", setback=17)),
    "oval, roof on two sides": ("", ring("oval", ROOF + SIDES, CHAIRS, setback=17)),
    "horseshoe": ("", ring("horseshoe") + BOARD),
    "horseshoe, roof on two sides": ("", ring("horseshoe", ROOF + 'sides = ["left", "right"]\n', BENCH) + BOARD),
}


def venue(name: str) -> Venue:
    field, rest = SHAPES[name]
    return load.text(drawn.HEAD.format(field=field) + rest)


@pytest.fixture(scope="module")
def meshes() -> dict[str, Mesh]:
    return {name: plan.venue_mesh((v := venue(name)).bowl, v.field) for name in SHAPES}


def closed(corners: Array) -> bool:
    vertex = np.unique(np.round(corners.reshape(-1, 3), 6), axis=0, return_inverse=True)[1].reshape(-1, 3)
    edges = Counter(map(tuple, np.concatenate([vertex[:, [0, 1]], vertex[:, [1, 2]], vertex[:, [2, 0]]]).tolist()))
    return all(count == edges[(b, a)] for (a, b), count in edges.items())


def coincident(corners: Array) -> list[tuple[Array, Array]]:
    """Pairs of triangles that lie on each other: in one plane, and parted by none of their six edges."""
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal = cross / np.linalg.norm(cross, axis=1, keepdims=True)
    normal *= np.sign(normal[np.arange(len(normal)), np.abs(normal).argmax(axis=1)])[:, None]
    planes = defaultdict(list)
    for k, key in enumerate(np.round(np.column_stack([normal, np.einsum("ij,ij->i", normal, corners[:, 0])]), 4) + 0.0):
        planes[tuple(key.tolist())].append(k)
    found = []
    for members in planes.values():
        index = np.array(members)
        axis = int(np.abs(normal[index[0]]).argmax())
        flat = np.delete(corners[index], axis, axis=2)
        low, high = flat.min(axis=1), flat.max(axis=1)
        for i in range(len(index) - 1):
            near = (
                i
                + 1
                + np.flatnonzero(
                    (np.minimum(high[i], high[i + 1 :]) - np.maximum(low[i], low[i + 1 :]) > 1e-3).all(axis=1)
                )
            )
            found += [(corners[index[i]], corners[index[j]]) for j in near if overlap(flat[i], flat[j])]
    return found


def overlap(p: Array, q: Array) -> bool:
    for triangle in (p, q):
        for side in np.roll(triangle, -1, axis=0) - triangle:
            across = np.array([-side[1], side[0]]) / np.hypot(*side)
            a, b = p @ across, q @ across
            if min(a.max(), b.max()) - max(a.min(), b.min()) < 1e-3:
                return False
    return True


@pytest.mark.parametrize("name", SHAPES)
def test_bodies_are_closed_and_outward(name: str) -> None:
    described = venue(name)
    for body in plan.bodies(described.bowl, described.field):
        corners = sweep(body, body.section)[0]
        assert closed(corners), body.name
        assert np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() > 0.0, body.name


@pytest.mark.parametrize("name", SHAPES)
def test_no_face_is_met_from_behind(name: str, meshes: dict[str, Mesh]) -> None:
    rng = np.random.default_rng(4)
    count = 40_000
    origin = np.column_stack([rng.uniform(-49, 49, count), rng.uniform(-29, 29, count), np.full(count, 0.3)])
    direction = rng.normal(size=(count, 3))
    direction[:, 2] = np.abs(direction[:, 2])
    _, behind = exchange.Scene(meshes[name]).hit(origin, direction / np.linalg.norm(direction, axis=1, keepdims=True))
    assert behind.sum() == 0


@pytest.mark.parametrize("name", SHAPES)
def test_no_two_faces_lie_on_each_other(name: str, meshes: dict[str, Mesh]) -> None:
    described = venue(name)
    bodies = [sweep(body, body.section)[0] for body in plan.bodies(described.bowl, described.field)]
    ground, _ = plan.ground(described.bowl, described.field)
    pairs = coincident(np.concatenate([*bodies, ground]))
    assert not pairs, f"{len(pairs)} pairs, the first {pairs[0]}"


@pytest.mark.parametrize("name", SHAPES)
def test_the_simple_shade_is_that_of_the_steps(name: str, meshes: dict[str, Mesh]) -> None:
    """The plane over nosings and seats hides what steps, planks and all hide: <= 1e-3 of suns differ."""
    made = meshes[name]
    rng = np.random.default_rng(5)
    origin = np.column_stack([rng.uniform(-49, 49, 20_000), rng.uniform(-29, 29, 20_000), np.full(20_000, 0.02)])
    up = exchange.sun_directions(rng.uniform(0, 2 * np.pi, 20_000), rng.uniform(0.02, 1.2, 20_000))
    corners = [made.corners, np.concatenate([made.shade, *(veil for _, veil in made.veils)])]
    blocked = [exchange.rays.caster(each).blocked(origin, up) for each in corners]
    assert (blocked[0] != blocked[1]).mean() <= 1e-3


def test_two_boxes_on_each_other_are_found() -> None:
    """The check itself: a lid that shares part of its face with the box below."""
    x, y, z = (np.array([0.0, 1.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0, 1.0]), np.zeros(4))
    square = np.stack([x, y, z], axis=1)[[[0, 1, 2], [0, 2, 3]]]
    assert coincident(np.concatenate([square, square[:, ::-1] + np.array([0.5, 0.5, 0.0])]))
    assert not coincident(np.concatenate([square, square + np.array([1.0, 0.0, 0.0])]))


def test_a_roof_over_two_sides_is_over_those_alone(meshes: dict[str, Mesh]) -> None:
    """Left lies at y > 0, north (bearing 20) at the head, x > 0."""
    made = meshes["rounded rectangle, roof on two sides"]
    middle = made.roofs.mean(axis=1)
    assert (middle[:, 1] > 25.0).any()
    assert (middle[:, 0] > 45.0).any()
    assert not ((middle[:, 1] < -25.0) & (middle[:, 0] < 45.0)).any()
    assert not ((middle[:, 0] < -45.0) & (middle[:, 1] < 25.0)).any()


def test_benches_rise_above_the_last_row_and_chairs_above_benches() -> None:
    """Top of an 8-row stand without parapet: last tread 1.2 + 7 * .35 m; bench .43, back .35 m higher (sections)."""
    tops = []
    for seats in ("", BENCH, CHAIRS):
        described = load.text(
            drawn.HEAD.format(field="") + one("left", "parapet_height = 0\n", seats=seats, upper=False)
        )
        made = plan.venue_mesh(described.bowl, described.field)
        assert made.corners[..., 2].max() == pytest.approx(made.solids[..., 2].max())
        tops.append(made.corners[..., 2].max())
    np.testing.assert_allclose(tops, [3.65, 4.08, 4.43])
