"""Mesh files: read whatever program drew them, or refused with part, place and cure."""

import sys
from collections.abc import Callable
from pathlib import Path

import drawn
import numpy as np
import pytest

from microclimate.errors import InputError
from microclimate.venue import drawing, load

pytest.importorskip("trimesh")
Parts = dict[str, drawn.Array]


def load_mesh(folder: Path, table: str = "", file: str = "bowl.obj") -> load.Venue:
    return load.text(f'{drawn.VENUE}[[mesh]]\nfile = "{file}"\n{table}', directory=folder)


def told(folder: Path, table: str = "", file: str = "bowl.obj") -> str:
    with pytest.raises(InputError) as caught:
        load_mesh(folder, table, file)
    return str(caught.value)


@pytest.mark.parametrize("word", ["o", "g", "usemtl"])
def test_objects_groups_and_materials_are_told_apart(tmp_path: Path, word: str) -> None:
    drawn.obj(tmp_path / "bowl.obj", drawn.bowl(), word)
    parts = '[[mesh.part]]\ngroup = "sheet"\nroof = true\n[[mesh.part]]\ngroup = "left terrace"\nmaterial = "wood"\n'
    made = load_mesh(tmp_path, parts).bowl.meshes[0]
    faces = drawing.placed(made)
    assert set(faces.groups) == set(drawn.bowl())
    for number, name in enumerate(faces.groups):
        wanted = drawn.bowl()[name]
        np.testing.assert_allclose(np.sort(faces.corners[faces.group == number], axis=0), np.sort(wanted, axis=0))
    assert made.part("sheet").roof
    assert made.part("left terrace").material == "wood"
    assert made.part("head terrace").material is None


def test_names_of_several_kinds_add_up(tmp_path: Path) -> None:
    """An object with two materials: a part may name either, the later one holds; the names need no library file."""
    text = drawn.obj(tmp_path / "bowl.obj", drawn.bowl(("head",))).read_text().split("\n")
    half = len(text) // 2 // 4 * 4 + 1
    text = ["mtllib none.mtl", *text[:1], "usemtl grey", *text[1:half], "usemtl blue", *text[half:]]
    (tmp_path / "bowl.obj").write_text("\n".join(text))
    parts = '[[mesh.part]]\ngroup = "head terrace"\nmaterial = "wood"\n'
    made = load_mesh(tmp_path, f'{parts}[[mesh.part]]\ngroup = "blue"\nmaterial = "plastic"\n').bowl.meshes[0]
    assert set(drawing.placed(made).groups) == {"head terrace/grey", "head terrace/blue"}
    assert made.part("head terrace/grey").material == "wood"
    assert made.part("head terrace/blue").material == "plastic"


@pytest.mark.parametrize(("file", "write"), [("bowl.stl", drawn.stl), ("bowl.ply", drawn.ply), ("bowl.OBJ", drawn.obj)])
def test_all_three_kinds_hold_the_same(tmp_path: Path, file: str, write: Callable[[Path, Parts], Path]) -> None:
    write(tmp_path / file, drawn.bowl())
    faces = drawing.placed(load_mesh(tmp_path, file=file).bowl.meshes[0])
    wanted = np.concatenate(list(drawn.bowl().values()))
    assert len(faces.corners) == len(wanted)
    np.testing.assert_allclose(np.sort(faces.corners, axis=0), np.sort(wanted, axis=0), atol=1e-4)


def test_a_site_plan_in_feet_with_y_up_lands_on_the_field(tmp_path: Path) -> None:
    """Drawn with x to the east and y up, z to the south, from an origin of its own: it comes back to the field's frame.

    The field's axis points to 20 degrees: east (90) lies 70 degrees clockwise of it.
    """
    parts = drawn.bowl()
    turn = np.radians(-70.0)
    origin = np.array([12.0, -7.0, 2.0])
    plan = {}
    for name, corners in parts.items():
        x, y, z = np.moveaxis(corners - origin, -1, 0)
        east, north = np.cos(turn) * x + np.sin(turn) * y, -np.sin(turn) * x + np.cos(turn) * y
        plan[name] = np.stack([east, z, -north], axis=-1) / 0.3048
    drawn.obj(tmp_path / "bowl.obj", plan)
    table = 'unit = "ft"\nup = "y"\nbearing = 90\nposition = [12, -7, 2]\n'
    faces = drawing.placed(load_mesh(tmp_path, table).bowl.meshes[0])
    for number, name in enumerate(faces.groups):
        found = np.sort(faces.corners[faces.group == number], axis=0)
        np.testing.assert_allclose(found, np.sort(parts[name], axis=0), atol=1e-5)


def harmed(parts: Parts, name: str, change: Callable[[drawn.Array], drawn.Array]) -> Parts:
    return {key: change(value) if key == name else value for key, value in parts.items()}


SHEET = np.array([[[-40.0, 60.0, 0.0], [40.0, 60.0, 0.0], [0.0, 60.0, 20.0]]])
HUNG = np.array([[[46.0, 40.0, -0.5], [46.0, 40.0, 12.0], [60.0, 40.0, 12.0]]])  # on an edge of the left terrace
SLIVER = np.array([[[60.0, 45.0, 5.0], [61.0, 45.0, 5.0], [62.0, 45.0, 5.0]]])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: harmed(p, "head terrace", lambda c: c[1:]), ["is open: 3 edges", "head terrace near x"]),
        (
            lambda p: harmed(p, "foot terrace", lambda c: np.concatenate([c[:1, ::-1], c[1:]])),
            ["wound against their neighbours", "foot terrace near x"],
        ),
        (lambda p: harmed(p, "sheet", lambda c: np.concatenate([c, c[:1]])), ["lying on each other", "sheet near x"]),
        (lambda p: harmed(p, "left terrace", lambda c: c[:, ::-1]), ["inside out", "left terrace near x"]),
        (
            lambda p: harmed(p, "sheet", lambda c: np.concatenate([c, c[:1, [0, 1, 1]]])),
            ["1 faces without area", "sheet near x"],
        ),
        (
            lambda p: p | {"screen": np.concatenate([SHEET, SHEET[:, ::-1]])},
            ["sheets without thickness", "screen near x 0.0, y 60.0"],
        ),
        (
            lambda p: p | {"flag": np.concatenate([HUNG, HUNG[:, ::-1]])},
            ["sheets without thickness", "flag near x 50.7, y 40.0"],
        ),
        (lambda p: harmed(p, "sheet", lambda c: np.concatenate([c, SLIVER])), ["faces without area", "is open"]),
        (lambda p: {k: c / 0.3048 for k, c in p.items()}, ["drawn in ft?", 'unit = "ft"']),
        (lambda p: {k: c * 1000.0 for k, c in p.items()}, ["drawn in mm?", 'unit = "mm"']),
        (
            lambda p: {k: c + np.array([0.0, -15.0, 0.0]) for k, c in p.items()},
            ["stands on the field", "left terrace near x"],
        ),
        (lambda p: {k: c - np.array([0.0, 0.0, 40.0]) for k, c in p.items()}, ["below the field's surface"]),
        (lambda p: {k: c + np.array([5000.0, 0.0, 0.0]) for k, c in p.items()}, ["from the field", "position"]),
    ],
)
def test_an_unfit_mesh_is_refused_with_part_and_place(
    tmp_path: Path, change: Callable[[Parts], Parts], words: list[str]
) -> None:
    drawn.obj(tmp_path / "bowl.obj", change(drawn.bowl()))
    text = told(tmp_path)
    assert "[[mesh]] 1: bowl.obj" in text
    for word in words:
        assert word in text


def test_feet_read_as_metres_where_one_stand_is_near(tmp_path: Path) -> None:
    """A file told to be in feet that is in metres: its stands come to lie on the field."""
    drawn.obj(tmp_path / "bowl.obj", drawn.bowl())
    assert "stands on the field" in told(tmp_path, 'unit = "ft"\n')


def test_all_faults_of_file_and_venue_are_told_at_once(tmp_path: Path) -> None:
    drawn.obj(tmp_path / "bowl.obj", harmed(drawn.bowl(), "sheet", lambda c: c[1:]))
    text = told(tmp_path, 'material = "cheese"\n[[mesh.part]]\ngroup = "shet"\n[[stand]]\nside = "up"\nsetback = 1\n')
    for words in ("is open", "'cheese' is not known", "did you mean sheet?", "[[stand]]"):
        assert words in text


@pytest.mark.parametrize(
    ("file", "content", "words"),
    [
        ("bowl.dxf", "", "'.dxf' are not read"),
        ("bowl.obj", "", "bowl.obj"),
        ("bowl.stl", "no mesh", "bowl.stl"),
        ("none.ply", None, "No such file"),
        ("bowl.obj", "v 0 0 nan\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "bowl.obj"),
        ("bowl.obj", "v 0 0 0\nv 1 0 0\nf 1 2 9\n", "bowl.obj"),
    ],
)
def test_files_that_are_no_mesh(tmp_path: Path, file: str, content: str | None, words: str) -> None:
    if content is not None:
        (tmp_path / file).write_text(content)
    text = told(tmp_path, file=file)
    assert "[[mesh]] 1" in text
    assert words in text


def test_without_the_library_it_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn.obj(tmp_path / "bowl.obj", drawn.bowl(("left",)))
    monkeypatch.setitem(sys.modules, "trimesh", None)
    text = told(tmp_path)
    assert "trimesh" in text
    assert "pip install" in text


def test_two_boxes_that_touch_are_fit(tmp_path: Path) -> None:
    """Closed bodies may stand on or in each other; hills far off may be drawn too."""
    parts = drawn.bowl(("left",)) | {
        "box": drawn.prism(np.array([(16.0, 0.0), (16.0, 12.0), (20.0, 12.0), (20.0, 0.0)]), "left"),
        "hill": drawn.prism(np.array([(500.0, -1.0), (600.0, 80.0), (700.0, -1.0)]), "left", 400.0),
    }
    drawn.obj(tmp_path / "bowl.obj", parts)
    assert load_mesh(tmp_path).bowl.meshes[0].faces == sum(map(len, parts.values()))


def test_a_drawing_counts_in_the_digest_by_content(tmp_path: Path) -> None:
    drawn.obj(tmp_path / "bowl.obj", drawn.bowl())
    first = load_mesh(tmp_path)
    (tmp_path / "copy.obj").write_bytes((tmp_path / "bowl.obj").read_bytes())
    copy = load_mesh(tmp_path, file="copy.obj")
    drawn.obj(tmp_path / "bowl.obj", drawn.bowl(("left", "right")))
    assert copy.digest("geometry") == first.digest("geometry") != load_mesh(tmp_path).digest("geometry")
    painted = load_mesh(tmp_path, 'material = "painted metal"\n')
    assert painted.digest("geometry") == load_mesh(tmp_path).digest("geometry")
    assert painted.digest("material") != load_mesh(tmp_path).digest("material")
