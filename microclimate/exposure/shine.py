"""Bright patches that a low sun throws on the field off bare metal, at one instant, with their range.

What is mirror-like is in the tables of `glint`, whose lobes are as wide as the steps between their suns; smooth metal
throws mirror images as sharp as the sun. Shares and roughness of real seats are rarely known: what is found here is a
range, not a reading.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.exposure import exchange as ex
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.glint import TOLD
from microclimate.exposure.trace import SENSOR_HEIGHT

Array = NDArray[np.float64]

SMOOTH = 0.02  # [1] roughness below which metal is taken as a mirror; ours


@dataclass(frozen=True)
class Bright:
    """Light off the stands for unit direct normal, matte and mirror-like (cell,) [1]."""

    low: Array
    best: Array
    high: Array


def bright(bowl: Bowl, azimuth: float, elevation: float) -> Bright | None:
    """Light off the stands of one sun with the range of what the seats may be; None where nothing is mirror-like.

    The ends are those of each cell over what seats may be, a sharp mirror image of the sun included where a finish is
    told to be smooth; best is the finishes as they are told.
    """
    ends = bowl.glint_ends(azimuth, elevation) if elevation > 0.0 else None
    if ends is None:
        return None
    low, high = ends[:, 0].min(axis=0), ends[:, 0].max(axis=0)
    return Bright(low, ends[TOLD, 0], np.maximum(high, low + images(bowl, azimuth, elevation)))


def images(bowl: Bowl, azimuth: float, elevation: float) -> Array:
    """Mirror images of the sun in smooth upright faces, as told, for unit direct normal (cell,) [1].

    Exact, one ray for each cell and direction of face; sun in compass degrees.
    """
    mesh = bowl.mesh
    node = mesh.owner[mesh.element]  # of each triangle
    finishes = [facet.finish for facet in mesh.facets]
    mirror = np.array([f.specular for f in finishes]) * bowl.albedo[:-1]
    smooth = (mirror > 0.0) & np.array([f.roughness < SMOOTH for f in finishes])
    found = np.zeros(len(bowl.cell_x))
    if elevation <= 0.0 or not smooth[node].any():
        return found
    scene = ex.Scene(mesh)
    towards = ex.sun_directions(bowl.field_angle(azimuth), np.asarray(np.radians(elevation)))
    points = np.stack([bowl.cell_x, bowl.cell_y, np.full(len(found), SENSOR_HEIGHT)], axis=1)
    for n in np.unique(np.round(scene.normals[smooth[node]], 6), axis=0):
        seen = towards - 2.0 * (towards @ n) * n
        if towards @ n <= 1e-6 or seen[2] <= 0.0:
            continue
        triangle, at = scene.first(points, np.broadcast_to(seen, points.shape))
        hit = (triangle >= 0) & smooth[node[triangle]] & (np.abs(scene.normals[triangle] - n).max(axis=1) < 1e-5)
        origin = at[hit] + ex.OFF * n
        lit = scene.sunlit(origin, np.broadcast_to(towards, origin.shape))
        found[hit] += mirror[node[triangle[hit]]] * seen[2] * lit
    return found
