"""Odd bowls from a mesh file (OBJ, STL, PLY, through trimesh): read, refused with the reason, or joined to the rest.

The file is in the field's own frame and in metres: x along the long axis, y to its left, z up, origin at the field's
centre on its surface.
"""

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem, refuse
from microclimate.exposure.mesh import PIECE, STRETCH, Facet, Finish, Mesh

try:
    import trimesh as _library
except ImportError:  # an optional library: only mesh files need it
    trimesh: Any = None
else:
    trimesh = _library

Array = NDArray[np.float64]

SUFFIXES = (".obj", ".stl", ".ply")
WELD = 1e-4  # [m] corners nearer than this are one
FEW = 5  # faults of a kind told with their place


def read(path: Path) -> Array:
    """Triangles (triangle, 3, 3) [m] of a mesh file.

    Raises
    ------
    InputError
        When it cannot be read, or its library is not installed.
    """
    if path.suffix.lower() not in SUFFIXES:
        raise refuse(path.name, f"files of kind {path.suffix!r} are not read", "OBJ, STL or PLY")
    if trimesh is None:
        raise refuse(path.name, "mesh files need the library trimesh", "", "pip install trimesh")
    try:
        loaded = trimesh.load(path, force="mesh", process=False)
        corners: Array = np.asarray(loaded.triangles, np.float64)
    except Exception as error:  # the library lets many kinds through
        raise refuse(path.name, f"cannot be read as a mesh ({error})", "OBJ, STL or PLY") from None
    if not len(corners) or not np.isfinite(corners).all():
        raise refuse(path.name, "holds no triangle with finite corners", "a closed mesh in metres")
    return corners


def faults(corners: Array, name: str, length: float, width: float) -> list[Problem]:
    """What is wrong with a mesh round a field of `length` x `width` [m]; empty when it can be used."""
    found: list[Problem] = []
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    flat = np.flatnonzero(np.linalg.norm(cross, axis=1) <= 2.0 * WELD**2)
    if len(flat):
        where = ", ".join(str(i + 1) for i in flat[:FEW])
        found.append(Problem(name, f"{len(flat)} faces without area (first: {where})", "none", "delete them"))
    vertex = np.unique(np.round(corners.reshape(-1, 3) / WELD).astype(np.int64), axis=0, return_inverse=True)[1]
    faces = np.delete(vertex.reshape(-1, 3), flat, axis=0)
    directed = Counter(map(tuple, np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).tolist()))
    lone = sum(1 for (a, b) in directed if (b, a) not in directed)
    doubled = sum(1 for count in directed.values() if count > 1)
    if lone and not doubled:
        found.append(Problem(name, f"is open: {lone} edges belong to one face only", "a closed mesh", "cap the holes"))
    if doubled:
        found.append(
            Problem(
                name,
                f"faces wound against each other, or lying on each other, at {doubled} edges",
                "every face seen counter-clockwise from outside",
                "recalculate normals outwards, remove doubled faces",
            )
        )
    if not lone and not doubled:
        volume = float(np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6.0)
        if volume < 0.0:
            found.append(
                Problem(name, "is inside out", "every face seen counter-clockwise from outside", "flip normals")
            )
    size = np.ptp(corners.reshape(-1, 3), axis=0)
    reach = max(size[0] / length, size[1] / width)
    for unit, factor in (("feet", 0.3048), ("inches", 0.0254), ("millimetres", 0.001)):
        if size[2] > 120.0 or reach > 8.0:
            fits = size[2] * factor <= 90.0 and reach * factor <= 6.0
            if fits:
                text = f"is {size[0]:.0f} x {size[1]:.0f} m wide and {size[2]:.0f} m high; drawn in {unit}?"
                found.append(Problem(name, text, "metres", f"scale it by {factor:g}"))
                break
    low = corners[..., 2].min(axis=1) < 2.0
    centre = corners.mean(axis=1)
    inside = low & (np.abs(centre[:, 0]) < 0.5 * length) & (np.abs(centre[:, 1]) < 0.5 * width)
    if inside.any():
        text = f"stands on the field with {int(inside.sum())} faces"
        found.append(Problem(name, text, "nothing below 2 m over the field", "check origin, axes and unit"))
    return found


def checked(path: Path, length: float, width: float) -> Array:
    """`read`, refused with all its faults at once."""
    corners = read(path)
    problems = faults(corners, path.name, length, width)
    if problems:
        raise InputError(path.name, problems)
    return corners


def joined(mesh: Mesh, corners: Array, name: str, finish: Finish) -> Mesh:
    """A mesh with the triangles of a file added: facets by direction and place, elements by finer place."""
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    way = np.round(cross / np.linalg.norm(cross, axis=1, keepdims=True) * 4.0).astype(np.int64)
    centre = corners.mean(axis=1)
    coarse, fine = (np.floor(centre / size).astype(np.int64) for size in (STRETCH, PIECE))
    facets, facet = np.unique(np.column_stack([way, coarse]), axis=0, return_inverse=True)
    _, first, element = np.unique(
        np.column_stack([facet.ravel(), fine]), axis=0, return_index=True, return_inverse=True
    )
    upward = facets[:, 2] >= 3
    described = tuple(Facet(name, "tread" if up else "riser", finish) for up in upward)
    return replace(
        mesh,
        corners=np.concatenate([mesh.corners, corners]),
        element=np.concatenate([mesh.element, len(mesh.owner) + element.ravel()]),
        owner=np.concatenate([mesh.owner, len(mesh.facets) + facet.ravel()[first]]),
        facets=(*mesh.facets, *described),
        solids=np.concatenate([mesh.solids, corners]),
    )
