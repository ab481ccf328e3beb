"""What makes a mesh file unfit: holes, faces wound the wrong way or without area, the wrong unit, the wrong place."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from microclimate.venue.drawing import METRES, MOST, Array, Drawing, Faces, MeshTable, digest, placed
from microclimate.venue.faults import Findings, close
from microclimate.venue.field import FieldTable

WELD = 1e-4  # [m] corners nearer than this are one
FEW = 3  # faults of a kind told with their place
CLEAR = 2.0  # [m] below this nothing may stand over the field
FARTHEST = 60.0  # [m] from the field's edge to the nearest face; a running track leaves 40 at most; ours
WIDEST, HIGHEST = 500.0, 120.0  # [m] of a bowl; ours

Fault = tuple[str, str]  # what is found, the cure


def drawing(table: MeshTable, number: int, field: FieldTable, directory: Path, report: Findings) -> Drawing | None:
    """A [[mesh]] table as a drawing that was read and checked; None where it cannot be used, which is reported."""
    place, path = f"[[mesh]] {number}", directory / table.file
    try:
        made = Drawing(
            name=table.name or Path(table.file).stem,
            path=path,
            content=digest(path),
            unit=METRES[table.unit],
            up=table.up,
            position=table.position,
            turn=0.0 if table.bearing is None else (field.bearing - table.bearing) % 360.0,
            material=table.material,
            parts=table.part,
        )
        faces = placed(made)
    except OSError as error:
        report(place, f"{table.file} cannot be read ({error.strerror or error})", f"it is looked for in {directory}")
        return None
    except ModuleNotFoundError:
        report(place, "mesh files need the library trimesh", "pip install trimesh")
        return None
    except ValueError as error:
        report(place, f"{table.file} {error}", "a closed mesh saved as OBJ, STL or PLY")
        return None
    names = list(dict.fromkeys([*faces.groups, *(piece for group in faces.groups for piece in group.split("/"))]))
    for part in table.part:
        if part.group not in names:
            cure = close(part.group, names) or f"it has {', '.join(name for name in names[:8] if name) or 'no names'}"
            report(f"{place}, part {part.group!r}", f"{table.file} has no such object, group or material", cure)
        if part.transmittance > 0.0 and not part.roof:
            report(f"{place}, part {part.group!r}", "transmittance is of a roof", "add roof = true")
    count = len(report.problems)
    for found, cure in faults(faces, field.length, field.width, table.unit):
        report(place, f"{table.file}{found}", cure)
    return made if len(report.problems) == count else None


def faults(faces: Faces, length: float, width: float, unit: str = "m") -> Iterator[Fault]:
    """What is wrong with a mesh round a field of `length` x `width` [m]; nothing when it can be used."""
    if len(faces.corners) > MOST:
        yield f" has {len(faces.corners)} faces; at most {MOST} are read", "draw it more coarsely"
        return
    cross = np.cross(faces.corners[:, 1] - faces.corners[:, 0], faces.corners[:, 2] - faces.corners[:, 0])
    flat = np.linalg.norm(cross, axis=1) <= 2.0 * WELD**2
    if flat.any():
        yield f" has {int(flat.sum())} faces without area ({_where(faces, flat)})", "delete them"
    yield from _closed(faces)
    wrong = _unit(faces, length, width, unit)
    if wrong is not None:
        yield wrong
        return
    over = _over_field(faces, 0.5 * length - 0.01, 0.5 * width - 0.01)
    if over.any():
        text = f" stands on the field with {int(over.sum())} faces ({_where(faces, over)})"
        yield text, "leave field and ground out of the file; else check unit, up, position and bearing"
    elif faces.corners[..., 2].max() < 0.1:
        yield " lies below the field's surface, all of it", "check up and position"


def _where(faces: Faces, some: NDArray[np.bool_]) -> str:
    """Group and place of the first few faces."""
    told = []
    for face in np.flatnonzero(some)[:FEW]:
        x, y, z = faces.corners[face].mean(axis=0)
        name = faces.groups[faces.group[face]]
        told.append((f"{name} " if name else "") + f"near x {x:.1f}, y {y:.1f}, z {z:.1f} m")
    return "; ".join(dict.fromkeys(told)) + (" ..." if some.sum() > FEW else "")


def _closed(faces: Faces) -> Iterator[Fault]:
    """Holes; edges that two faces run along the same way; bodies that are inside out."""
    points, vertex = np.unique(
        np.round(faces.corners.reshape(-1, 3) / WELD).astype(np.int64), axis=0, return_inverse=True
    )
    corner = vertex.reshape(-1, 3)
    some = np.flatnonzero((corner != np.roll(corner, 1, axis=1)).all(axis=1))  # a face of two corners bounds nothing
    corner, size = corner[some], len(points)
    a, b = corner.ravel(), np.roll(corner, -1, axis=1).ravel()
    owner = np.repeat(some, 3)
    ways, count = np.unique(a * size + b, return_counts=True)

    def times(way: NDArray[np.int64]) -> NDArray[np.int64]:
        at = np.searchsorted(ways, way).clip(max=len(ways) - 1)
        return np.where(ways[at] == way, count[at], 0)

    there, back = times(a * size + b), times(b * size + a)
    marked = np.zeros(len(faces.corners), bool)
    wound, lone = there > np.maximum(back, 1), (back == 0) & (there == 1)
    if wound.any():
        marked[owner[wound]] = True
        yield (
            f" has faces wound against their neighbours, or lying on each other, at {int(wound.sum())} edges "
            f"({_where(faces, marked)})",
            "every face counter-clockwise seen from outside: recalculate normals outwards, remove doubled faces",
        )
    elif lone.any():
        marked[owner[lone]] = True
        yield f" is open: {int(lone.sum())} edges belong to one face only ({_where(faces, marked)})", "cap the holes"
    if wound.any() or lone.any() or not len(some):
        return
    # an edge that nothing but the two sides of one face run along bounds a sheet, not a body
    names = np.sort(corner, axis=1)
    first = np.unique(a * size + b, return_index=True)[1]
    other = first[np.searchsorted(ways, b * size + a)] // 3
    sheet = (there == 1) & (names[np.arange(len(a)) // 3] == names[other]).all(axis=1)
    if sheet.any():
        marked[owner[sheet]] = True
        yield f" has sheets without thickness ({_where(faces, marked)})", "give them a thickness, 0.05 m will do"
        return
    body = connected_components(coo_array((np.ones(len(a)), (a, b)), shape=(size, size)), directed=False)[1]
    p, q, r = np.moveaxis(faces.corners[some] - faces.corners[some[0], 0], 1, 0)
    turned = np.bincount(body[corner[:, 0]], np.einsum("ij,ij->i", p, np.cross(q, r)), body.max() + 1) < 0.0
    if turned.any():
        marked[some] = turned[body[corner[:, 0]]]
        yield (
            f" is inside out ({_where(faces, marked)})",
            "every face counter-clockwise seen from outside: flip the normals; leave out rooms inside stands",
        )


def _unit(faces: Faces, length: float, width: float, unit: str) -> Fault | None:
    """A bowl far too large or too far away that another unit would bring near."""
    span, low = np.ptp(faces.corners.reshape(-1, 3), axis=0), faces.corners.min(axis=1)
    high = faces.corners.max(axis=1)
    half = np.array([0.5 * length, 0.5 * width])

    def away(factor: float) -> float:
        gap = np.maximum(np.maximum(low[:, :2] * factor - half, -high[:, :2] * factor - half), 0.0)
        return float(np.hypot(gap[:, 0], gap[:, 1]).min())

    def near(factor: float) -> bool:
        fits = span[:2].max() * factor <= WIDEST and span[2] * factor <= HIGHEST
        return bool(fits and away(factor) <= FARTHEST)

    if near(1.0):
        return None
    size = f" is {span[0]:.0f} x {span[1]:.0f} m wide and {span[2]:.0f} m high, {away(1.0):.0f} m from the field"
    for other, metres in sorted(METRES.items(), key=lambda item: -item[1]):
        factor = metres / METRES[unit]
        if factor < 1.0 and near(factor) and away(factor) > 0.0:
            return f"{size}: drawn in {other}?", f'unit = "{other}", or another position'
    if span[2] > 4.0 * HIGHEST or away(1.0) > 6.0 * FARTHEST:
        return size, "check unit, up, position and bearing"
    return None  # hills and buildings round the place may be drawn too


def _over_field(faces: Faces, half_length: float, half_width: float) -> NDArray[np.bool_]:
    """Faces that reach over the field lower than a person's head."""
    low, high = faces.corners.min(axis=1), faces.corners.max(axis=1)
    half = np.array([half_length, half_width])
    near = np.flatnonzero((low[:, :2] < half).all(axis=1) & (high[:, :2] > -half).all(axis=1) & (low[:, 2] < CLEAR))
    over = np.zeros(len(low), bool)
    over[near] = [_cut_to(faces.corners[face], half_length, half_width) for face in near]
    return over


def _cut_to(triangle: Array, half_length: float, half_width: float) -> bool:
    """Whether anything of a triangle is left when it is cut to the field and to CLEAR above it."""
    sides = (
        (0, 1.0, half_length),
        (0, -1.0, half_length),
        (1, 1.0, half_width),
        (1, -1.0, half_width),
        (2, 1.0, CLEAR),
    )
    polygon = list(triangle)
    for axis, sign, most in sides:
        kept: list[Array] = []
        for here, there in zip(polygon, [*polygon[1:], *polygon[:1]], strict=True):
            a, b = most - sign * here[axis], most - sign * there[axis]
            if a > 0.0:
                kept.append(here)
            if a * b < 0.0:
                kept.append(here + a / (a - b) * (there - here))
        polygon = kept
        if not polygon:
            return False
    return True
