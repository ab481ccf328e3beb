"""Bodies are closed and outward for every kind of bowl; mesh files are read, or refused with the reason."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bowl_scene import NOTHING, basin, prism, ring
from test_exchange import seen_from

from microclimate.errors import InputError
from microclimate.exposure import exchange, plan, sections, solid
from microclimate.exposure.mesh import Array, Body, Finish, ear_clip, mesh, sweep
from microclimate.venue.bowl import Bowl, Gap, Roof, Stand, Tier, Wall

TIERS = (
    Tier(front_height=1.2, tread=0.8, riser=0.35, rows=12, seats="plastic"),
    Tier(front_height=9.0, tread=0.8, riser=0.5, rows=8, setback=-1.5, material="bare aluminium"),
)


def stand(side: str, **changes: object) -> Stand:
    """A stand of two tiers, the upper one overhanging."""
    plain = Stand.model_validate({"name": side, "side": side, "start": -35, "end": 35, "setback": 7, "tiers": TIERS})
    return plain.model_copy(update=changes)


ROOF = Roof(depth=12, height_front=18, height_back=17, thickness=0.5)
LOW_ROOF = Roof(depth=12, height_front=16, height_back=13.2, thickness=0.5)
KINDS = {
    "separate stands": Bowl(
        kind="separate stands",
        stands=(stand("left", roof=ROOF), stand("right"), stand("head", start=-20, end=20, back_wall=False)),
        walls=(Wall(start=(-70, -10), end=(-70, 10), bottom=4, top=12),),
    ),
    "one side, roof on its wall": Bowl(kind="separate stands", stands=(stand("left", roof=LOW_ROOF),)),
    "rounded rectangle": Bowl(kind="rounded rectangle", stands=(stand("all", roof=ROOF),)),
    "two gaps": Bowl(
        kind="rounded rectangle",
        stands=(stand("all"),),
        gaps=(Gap(side="left", width=20), Gap(side="head", width=12, centre=5)),
    ),
    "oval": Bowl(kind="oval", stands=(stand("all", setback=12),)),
    "horseshoe": Bowl(kind="horseshoe", stands=(stand("all"),), open_end="head"),
    "ring of two": Bowl(kind="rounded rectangle", stands=(stand("all"), stand("left", name="roofed", roof=ROOF))),
}


def closed(corners: Array) -> bool:
    """Every directed edge has its opposite, once."""
    vertex = np.unique(np.round(corners.reshape(-1, 3), 6), axis=0, return_inverse=True)[1].reshape(-1, 3)
    edges = Counter(map(tuple, np.concatenate([vertex[:, [0, 1]], vertex[:, [1, 2]], vertex[:, [2, 0]]]).tolist()))
    return all(count == edges[(b, a)] for (a, b), count in edges.items())


def volume(corners: Array) -> float:
    return float(np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6.0)


@pytest.mark.parametrize("kind", KINDS)
def test_every_body_is_closed_and_outward(kind: str) -> None:
    for body in plan.bodies(KINDS[kind], ring().field):
        for section in (body.section, body.shade):
            if section is None or not len(section.points):
                continue
            corners, _, _ = sweep(body, section)
            assert closed(corners), body.name
            assert volume(corners) > 0.0, body.name


@pytest.mark.parametrize("kind", KINDS)
def test_no_face_is_met_from_behind(kind: str) -> None:
    venue = ring()
    scene = exchange.Scene(plan.venue_mesh(KINDS[kind], venue.field))
    rng = np.random.default_rng(4)
    origin = np.column_stack([rng.uniform(-54, 54, 20_000), rng.uniform(-29, 29, 20_000), np.full(20_000, 0.3)])
    direction = rng.normal(size=(20_000, 3))
    _, behind = scene.hit(origin, direction / np.linalg.norm(direction, axis=1, keepdims=True))
    assert behind.sum() == 0


@pytest.mark.parametrize("kind", KINDS)
def test_the_simple_shade_is_that_of_the_steps(kind: str) -> None:
    """The plane over nosings and seats hides what steps, planks and all hide: <= 1e-3 of suns differ."""
    made = plan.venue_mesh(KINDS[kind], ring().field)
    rng = np.random.default_rng(5)
    origin = np.column_stack([rng.uniform(-54, 54, 20_000), rng.uniform(-29, 29, 20_000), np.full(20_000, 0.02)])
    up = exchange.sun_directions(rng.uniform(0, 2 * np.pi, 20_000), rng.uniform(0.02, 1.2, 20_000))
    blocked = [exchange.rays.caster(corners).blocked(origin, up) for corners in (made.corners, made.shade)]
    assert (blocked[0] != blocked[1]).mean() <= 1e-3


def test_a_sunken_field_has_its_bank() -> None:
    venue = ring()
    deep = venue.field.model_copy(update={"elevation_offset": -6.0})
    made = plan.venue_mesh(Bowl(), deep)
    bowl = seen_from(made, np.zeros((1, 3)))
    flat = seen_from(plan.venue_mesh(Bowl(), venue.field), np.zeros((1, 3)))
    assert flat.sky_view[0] == 1.0
    assert 0.9 < bowl.sky_view[0] < 0.999
    assert not bowl.sun_factor(200.0, 3.0).any()


def test_no_stands_at_all() -> None:
    """Open field: sun, sky and longwave are those of open ground, nothing comes off stands."""
    venue = ring()
    bowl = seen_from(plan.venue_mesh(Bowl(), venue.field), np.array([[0.0, 0.0], [40.0, 20.0]]))
    sun = (np.array([180.0]), np.array([30.0]), np.array([700.0]), np.array([80.0]))
    np.testing.assert_allclose(bowl.sky_light(*sun), 80.0, rtol=1e-9)
    assert not bowl.reflected(*sun).any()
    sky, stands = bowl.longwave(np.array([230.0]), np.array([270.0]), np.array([270.0]))
    np.testing.assert_allclose(sky, 230.0)
    assert not stands.any()
    assert bowl.crest(8)[1].max() == 0.0


def test_planks_and_backs_add_their_faces() -> None:
    grey = Finish("grey", 0.3, 0.9)
    rake = sections.Rake(7.0, 1.0, 0.8, 0.4, 5, grey, seats=grey, backs=True)
    assert len(sections.planks(rake, 1)) == 5
    assert rake.seat_height > replace(rake, backs=False).seat_height
    assert sections.planks(replace(rake, seats=None), 1) == []


def test_ears_of_a_comb() -> None:
    """A stepped outline is cut into n - 2 triangles of the same area."""
    outline = sections.stand(
        [sections.Rake(5.0, 1.0, 0.8, 0.4, 9, Finish("a", 0.3, 0.9))], 1.0, Finish("b", 0.3, 0.9)
    ).points
    x, y = outline.T
    area = 0.5 * abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    ears = outline[ear_clip(outline)]
    a, b = ears[:, 1] - ears[:, 0], ears[:, 2] - ears[:, 0]
    assert 0.5 * np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() == pytest.approx(area)


# --- mesh files ---


def write(path: Path, corners: Array) -> Path:
    """As OBJ."""
    lines = [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in corners.reshape(-1, 3)]
    lines += [f"f {3 * t + 1} {3 * t + 2} {3 * t + 3}" for t in range(len(corners))]
    path.write_text("\n".join(lines))
    return path


def wall() -> Array:
    base = [[30.0, 40.0], [-30.0, 40.0]]
    body: Body = prism(base, [[0, 1], [0, 1]], [(0, -0.5), (0, 9), (2, 9), (2, -0.5)], False)
    return sweep(body, body.section)[0]


def test_a_mesh_file_gives_the_same_sky_as_the_same_body(tmp_path: Path) -> None:
    pytest.importorskip("trimesh")
    corners = solid.checked(write(tmp_path / "wall.obj", wall()), 110.0, 60.0)
    made = solid.joined(mesh([], NOTHING), corners, "wall", Finish("grey", 0.3, 0.9))
    spots = np.array([[0.0, 0.0], [20.0, 25.0]])
    ours = mesh(
        [prism([[30.0, 40.0], [-30.0, 40.0]], [[0, 1], [0, 1]], [(0, -0.5), (0, 9), (2, 9), (2, -0.5)], False)], NOTHING
    )
    one, two = seen_from(made, spots), seen_from(ours, spots)
    np.testing.assert_allclose(one.sky_view, two.sky_view, atol=1e-6)
    sun = (np.array([180.0]), np.array([30.0]), np.array([700.0]), np.array([80.0]))
    np.testing.assert_allclose(one.reflected(*sun), two.reflected(*sun), rtol=0.05)


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (lambda c: c[1:], "is open"),
        (lambda c: np.concatenate([c[:1, ::-1], c[1:]]), "wound against each other"),
        (lambda c: c[:, ::-1], "inside out"),
        (lambda c: np.concatenate([c, c[:1, [0, 0, 1]]]), "without area"),
        (lambda c: c / 0.3048 * [1, 6, 5], "drawn in feet"),
        (lambda c: c - [0.0, 30.0, 0.0], "stands on the field"),
    ],
)
def test_a_bad_mesh_is_refused_with_its_reason(tmp_path: Path, harm: object, words: str) -> None:
    pytest.importorskip("trimesh")
    path = write(tmp_path / "wall.obj", harm(wall()))  # type: ignore[operator]
    with pytest.raises(InputError, match=words) as told:
        solid.checked(path, 110.0, 60.0)
    assert "wall.obj" in str(told.value)


@pytest.mark.parametrize(
    ("name", "content"), [("bowl.dxf", ""), ("bowl.obj", ""), ("bowl.stl", "no mesh"), ("none.ply", None)]
)
def test_files_that_are_no_mesh(tmp_path: Path, name: str, content: str | None) -> None:
    if content is not None:
        (tmp_path / name).write_text(content)
    with pytest.raises(InputError) as told:
        solid.read(tmp_path / name)
    assert name in str(told.value)


def test_a_good_mesh_has_no_fault() -> None:
    assert solid.faults(wall(), "wall", 110.0, 60.0) == []
    assert solid.faults(basin(80.0).solids, "basin", 110.0, 60.0) == []
