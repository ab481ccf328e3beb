"""Odd bowls from mesh files: their faces sorted into elements and facets, and joined to the rest of the venue."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from microclimate.exposure.mesh import PIECE, STRETCH, Array, Facet, Finish, Mesh
from microclimate.venue.bowl import Bowl
from microclimate.venue.drawing import Drawing, placed

MOST_FACETS, MOST_ELEMENTS = 1000, 5000  # beyond these facets and elements grow: tracing and matrices stay small
LONGEST, MOST_PIECES = 10.0, 60_000  # [m] of a face's edge before it is cut, so that elements are of their place
BAND = 3.0  # [m] of height that is one facet: upper rows see more sun than lower ones
LEVEL = 0.7  # [1] upward part of a normal from which a face is a tread
STEEP = 0.3  # [1] downward part below which it is an underside


def joined(mesh: Mesh, bowl: Bowl, half: tuple[float, float]) -> Mesh:
    """A mesh with the drawings of a venue added.

    half: length and width of half the field [m].
    """
    for drawing in bowl.meshes:
        faces = placed(drawing)
        finishes, roofs = zip(*(_finish(bowl, drawing, group) for group in faces.groups), strict=True)
        corners, group = _with_area(faces.corners, faces.group)
        parts = _parts(corners, np.array(roofs)[group], half)
        tau = np.array([finish.transmittance for finish in finishes])[group]
        is_roof = np.array(roofs)[group]
        pieces, of = _pieces(corners)
        facet, described = _facets(drawing.name, pieces, parts[of], group[of], finishes)
        element, owner = _elements(pieces, facet, np.isin(parts, ("riser", "roof under"))[of])
        veils = dict(mesh.veils)
        for through in np.unique(tau[tau > 0.0]).tolist():
            veils[through] = np.concatenate([veils.get(through, np.empty((0, 3, 3))), corners[tau == through]])
        mesh = replace(
            mesh,
            corners=np.concatenate([mesh.corners, pieces]),
            element=np.concatenate([mesh.element, len(mesh.owner) + element]),
            owner=np.concatenate([mesh.owner, len(mesh.facets) + owner]),
            facets=(*mesh.facets, *described),
            solids=np.concatenate([mesh.solids, corners[~is_roof]]),
            roofs=np.concatenate([mesh.roofs, corners[is_roof & (tau == 0.0)]]),
            veils=tuple(sorted(veils.items())),
        )
    return mesh


def clearance(bowl: Bowl, half: tuple[float, float]) -> list[float]:
    """Distance of each drawing's nearest low face from the field's edge [m], at least 0.5."""
    found = []
    for drawing in bowl.meshes:
        corners = placed(drawing).corners
        low = corners[..., 2].min(axis=1) < 2.0
        if low.any():
            near, far = corners[low, :, :2].min(axis=1), corners[low, :, :2].max(axis=1)
            gap = np.maximum(np.maximum(near - np.array(half), -far - np.array(half)), 0.0)
            found.append(max(0.5, float(np.hypot(gap[:, 0], gap[:, 1]).min())))
    return found


def _finish(bowl: Bowl, drawing: Drawing, group: str) -> tuple[Finish, bool]:
    """How a group of the file meets radiation, and whether it is a roof."""
    part = drawing.part(group)
    material = part.material or drawing.material
    s = bowl.surface(material)
    name = "roof" if part.roof else material
    return Finish(name, s.albedo, s.emissivity, s.specular, s.roughness, part.transmittance), part.roof


def _with_area(corners: Array, group: NDArray[np.int64]) -> tuple[Array, NDArray[np.int64]]:
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    keep = np.linalg.norm(cross, axis=1) > 1e-9
    return corners[keep], group[keep]


def _pieces(corners: Array) -> tuple[Array, NDArray[np.int64]]:
    """Triangles cut across their longest edge until no edge is longer than LONGEST, and which each came from."""
    of = np.arange(len(corners))
    while True:
        edges = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        longest = edges.argmax(axis=1)
        cut = edges.max(axis=1) > LONGEST
        if not cut.any() or len(corners) > MOST_PIECES:
            return corners, of
        some, k = corners[cut], longest[cut]
        row = np.arange(len(some))
        a, b, c = some[row, k], some[row, (k + 1) % 3], some[row, (k + 2) % 3]
        middle = 0.5 * (a + b)
        halves = np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])
        corners = np.concatenate([corners[~cut], halves])
        of = np.concatenate([of[~cut], np.tile(of[cut], 2)])


def _normals(corners: Array) -> Array:
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return np.asarray(cross / np.linalg.norm(cross, axis=1, keepdims=True))


def _parts(corners: Array, is_roof: NDArray[np.bool_], half: tuple[float, float]) -> NDArray[np.str_]:
    """What each face is to the bowl: seen from the field or from its air, turned away, or of a roof."""
    n, middle = _normals(corners), corners.mean(axis=1)
    inward = np.clip(middle[:, :2], -np.array(half), np.array(half)) - middle[:, :2]
    facing = np.einsum("ij,ij->i", n[:, :2], inward) > 0.0
    up, down = n[:, 2] > LEVEL, n[:, 2] < -STEEP
    part = np.where(up, "tread", np.where(down, "under", np.where(facing, "riser", "back")))
    of_roof = np.where(down, "roof under", np.where(n[:, 2] > STEEP, "roof top", "roof edge"))
    return np.where(is_roof, of_roof, part)


def _facets(
    name: str,
    corners: Array,
    parts: NDArray[np.str_],
    group: NDArray[np.int64],
    finishes: Sequence[Finish],
) -> tuple[NDArray[np.int64], tuple[Facet, ...]]:
    """Facet of each triangle, by direction, place, part and finish; and the facets."""
    way = np.round(_normals(corners) * 4.0).astype(np.int64)
    kinds = np.unique(parts, return_inverse=True)[1]
    alike = np.array([finishes.index(finish) for finish in finishes])[group]
    stretch = STRETCH
    while True:
        place = np.floor(corners.mean(axis=1) / [stretch, stretch, stretch * BAND / STRETCH]).astype(np.int64)
        keys = np.column_stack([way, place, kinds, alike])
        different, first, facet = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        if len(different) <= MOST_FACETS or (stretch > 1e3 and not way.any()):
            break
        stretch *= 1.5
        if stretch > 1e3:  # very many directions: they are told apart less finely
            way, stretch = np.trunc(way / 2.0).astype(np.int64), STRETCH
    return facet.ravel(), tuple(Facet(name, str(parts[i]), finishes[alike[i]]) for i in first)


def _elements(
    corners: Array, facet: NDArray[np.int64], fine: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Element of each triangle, finer places within its facet; and the facet of each element."""
    piece = PIECE
    while True:
        place = np.floor(corners.mean(axis=1) / piece).astype(np.int64) * fine[:, None]
        different, element = np.unique(np.column_stack([facet, place]), axis=0, return_inverse=True)
        if len(different) <= MOST_ELEMENTS:
            return element.ravel(), different[:, 0]
        piece *= 1.25
