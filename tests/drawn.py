"""Mesh files for tests: an invented bowl of plain terraces round a field of 100 x 60 m, as another program draws it."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEPS = [(9.0, -0.5), (9.0, 1.0), (11.0, 1.0), (11.0, 2.0), (13.0, 2.0), (13.0, 3.0), (15.0, 3.0), (15.0, 12.0)]
OUTLINE = np.array([*STEPS, (16.0, 12.0), (16.0, -0.5)])  # offset from the field's edge, height [m]
ROOF = np.array([(10.0, 15.0), (10.0, 15.5), (17.0, 15.5), (17.0, 15.0)])
SIDES = {"left": (0, 1), "right": (0, -1), "head": (1, 0), "foot": (-1, 0)}
HEAD = """
name = "Drawn"
[site]
latitude = 41
longitude = -96
elevation = 300
time_zone = "America/Chicago"
[field]
length = 100
width = 60
bearing = 20
cell_size = 10
{field}
[[ground]]
build = "sand over gravel"
"""
VENUE = HEAD.format(field="zone_rows = 1\nzone_columns = 3")


def prism(outline: Array, side: str, span: float = 40.0) -> Array:
    """Triangles (n, 3, 3) of an outline drawn along one side of the field, closed at both ends."""
    out = np.array(SIDES[side], float)
    along = np.array([-out[1], out[0]])  # counter-clockwise round the field: outward lies to its right
    edge = 50.0 if side in ("head", "foot") else 30.0
    ends = []
    for reach in (-span, span):
        plan = out * (edge + outline[:, :1]) + along * reach
        ends.append(np.column_stack([plan, outline[:, 1]]))
    a, b = ends
    c, d = np.roll(b, -1, axis=0), np.roll(a, -1, axis=0)
    faces = [np.stack([a, d, c], axis=1), np.stack([a, c, b], axis=1)]
    # stairs are cut into a fan from their outer foot, which sees every corner
    for points, order in ((a, (0, 2, 1)), (b, (0, 1, 2))):
        for k in range(len(points) - 2):
            fan = np.stack([points[-1], points[k], points[k + 1]])
            faces.append(fan[list(order)][None])
    whole = np.concatenate(faces)
    return whole[np.linalg.norm(np.cross(whole[:, 1] - whole[:, 0], whole[:, 2] - whole[:, 0]), axis=1) > 1e-9]


def bowl(sides: tuple[str, ...] = ("left", "right", "head", "foot")) -> dict[str, Array]:
    """A terrace on each side, with a roof on the left."""
    found = {f"{side} terrace": prism(OUTLINE, side, 25.0 if side in ("head", "foot") else 40.0) for side in sides}
    if "left" in sides:
        found["sheet"] = prism(ROOF, "left")
    return found


def obj(path: Path, parts: dict[str, Array], word: str = "o") -> Path:
    """As OBJ, each part under its own `word` (o, g or usemtl)."""
    lines, count = [], 0
    for name, corners in parts.items():
        lines.append(f"{word} {name}")
        for triangle in corners:
            lines += [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in triangle]
            lines.append(f"f {count + 1} {count + 2} {count + 3}")
            count += 3
    path.write_text("\n".join(lines))
    return path


def stl(path: Path, parts: dict[str, Array]) -> Path:
    """As STL in text, each part a solid."""
    lines = []
    for name, corners in parts.items():
        lines.append(f"solid {name}")
        for triangle in corners:
            lines += ["facet normal 0 0 0", "outer loop"]
            lines += [f"vertex {x:.9g} {y:.9g} {z:.9g}" for x, y, z in triangle]
            lines += ["endloop", "endfacet"]
        lines.append(f"endsolid {name}")
    path.write_text("\n".join(lines))
    return path


def ply(path: Path, parts: dict[str, Array]) -> Path:
    """As PLY in text."""
    corners = np.concatenate(list(parts.values()))
    head = ["ply", "format ascii 1.0", f"element vertex {3 * len(corners)}"]
    head += [f"property float {axis}" for axis in "xyz"]
    head += [f"element face {len(corners)}", "property list uchar int vertex_indices", "end_header"]
    head += [f"{x:.9g} {y:.9g} {z:.9g}" for x, y, z in corners.reshape(-1, 3)]
    head += [f"3 {3 * k} {3 * k + 1} {3 * k + 2}" for k in range(len(corners))]
    path.write_text("\n".join([*head, ""]))
    return path
