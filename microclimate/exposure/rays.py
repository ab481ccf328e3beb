"""Rays against triangles: the ray engine where it has a wheel, else a bounding-volume tree of our own.

Both answer the same two questions, and each is the other's cross-check. Origins and directions are (ray, 3) arrays.
"""

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from microclimate.column.jit import kernel, over_threads

try:
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene
except ImportError:  # no wheel for this machine: the slower route
    TriangleMesh = EmbreeScene = None

Array = NDArray[np.float64]
LEAF = 4  # triangles in a leaf of the tree
NEAR = 1e-9  # [m] hits nearer than this are the origin itself


class Caster(Protocol):
    """What both engines can do."""

    def closest(self, origins: Array, directions: Array) -> NDArray[np.int32]:
        """Index of the first triangle each ray meets, -1 for none."""

    def blocked(self, origins: Array, directions: Array) -> NDArray[np.bool_]:
        """Whether each ray meets any triangle."""


def caster(corners: Array) -> Caster:
    """The fastest engine at hand for triangles (triangle, 3, 3)."""
    return Engine(corners) if EmbreeScene is not None and len(corners) else Tree.grow(corners)


class Engine:
    """The ray engine; single precision inside."""

    def __init__(self, corners: Array) -> None:
        self._scene = EmbreeScene(robust=True)
        self._mesh = TriangleMesh(self._scene, np.ascontiguousarray(corners, dtype=np.float32))

    def closest(self, origins: Array, directions: Array) -> NDArray[np.int32]:
        """Index of the first triangle each ray meets, -1 for none."""
        return np.asarray(self._scene.run(_single(origins), _single(directions)), np.int32)

    def blocked(self, origins: Array, directions: Array) -> NDArray[np.bool_]:
        """Whether each ray meets any triangle."""
        hit = np.asarray(self._scene.run(_single(origins), _single(directions), query="OCCLUDED"), np.int32)
        return np.asarray(hit != -1)


def _single(a: Array) -> NDArray[np.float32]:
    return np.ascontiguousarray(a, dtype=np.float32)


@dataclass(frozen=True)
class Tree:
    """A tree of boxes, median split on the longest side; leaves hold up to LEAF triangles.

    low, high (node, 3): boxes; child (node,): index of the left child (the right one follows), or -1 - first triangle;
    size (node,): triangles of a leaf; order: the caller's index of each stored triangle.
    """

    low: Array
    high: Array
    child: NDArray[np.int64]
    size: NDArray[np.int64]
    corners: Array
    order: NDArray[np.int64]

    @classmethod
    def grow(cls, corners: Array) -> "Tree":
        """The tree over triangles (triangle, 3, 3)."""
        corners = np.asarray(corners, float).reshape(-1, 3, 3)
        order = np.arange(len(corners))
        low_t, high_t, centre = corners.min(axis=1), corners.max(axis=1), corners.mean(axis=1)
        low, high, child, size = [], [], [], []
        todo = [(0, len(order))]
        nodes = [(0, len(order))]
        while todo:
            following = []
            for begin, end in todo:
                part = order[begin:end]
                low.append(low_t[part].min(axis=0, initial=np.inf))
                high.append(high_t[part].max(axis=0, initial=-np.inf))
                if end - begin <= LEAF:
                    child.append(-1 - begin)
                    size.append(end - begin)
                    continue
                axis = int(np.argmax(np.ptp(centre[part], axis=0)))
                middle = (begin + end) // 2
                order[begin:end] = part[np.argpartition(centre[part, axis], middle - begin)]
                child.append(len(nodes))
                size.append(0)
                nodes += [(begin, middle), (middle, end)]
                following += [(begin, middle), (middle, end)]
            todo = following
        return cls(np.array(low), np.array(high), np.array(child), np.array(size), corners[order], order)

    def closest(self, origins: Array, directions: Array) -> NDArray[np.int32]:
        """Index of the first triangle each ray meets, -1 for none."""
        hit = self._cast(origins, directions, False)
        return np.where(hit >= 0, self.order[hit], -1).astype(np.int32) if len(self.order) else hit.astype(np.int32)

    def blocked(self, origins: Array, directions: Array) -> NDArray[np.bool_]:
        """Whether each ray meets any triangle."""
        return np.asarray(self._cast(origins, directions, True) >= 0)

    def _cast(self, origins: Array, directions: Array, any_hit: bool) -> NDArray[np.int64]:
        o, d = np.ascontiguousarray(origins, dtype=float), np.ascontiguousarray(directions, dtype=float)
        hit = np.full(len(o), -1, np.int64)
        tree = self.low, self.high, self.child, self.size, self.corners
        over_threads(_cast, len(o), *tree, o, d, any_hit, hit)
        return hit


@kernel
def _cast(
    first: Any,
    end: Any,
    low: Any,
    high: Any,
    child: Any,
    size: Any,
    corners: Any,
    origins: Any,
    directions: Any,
    any_hit: Any,
    hit: Any,
) -> None:
    """Index of the stored triangle each ray meets first (or at all), -1 for none, into `hit`."""
    stack = np.empty(64, np.int64)
    for i in range(first, end):
        ox, oy, oz = origins[i, 0], origins[i, 1], origins[i, 2]
        dx, dy, dz = directions[i, 0], directions[i, 1], directions[i, 2]
        ix = 1.0 / dx if dx != 0.0 else 1e30
        iy = 1.0 / dy if dy != 0.0 else 1e30
        iz = 1.0 / dz if dz != 0.0 else 1e30
        nearest = 1e30
        stack[0] = 0
        top = 1
        while top > 0:
            top -= 1
            node = stack[top]
            ax, bx = (low[node, 0] - ox) * ix, (high[node, 0] - ox) * ix
            ay, by = (low[node, 1] - oy) * iy, (high[node, 1] - oy) * iy
            az, bz = (low[node, 2] - oz) * iz, (high[node, 2] - oz) * iz
            enter = max(max(min(ax, bx), min(ay, by)), min(az, bz))
            leave = min(min(max(ax, bx), max(ay, by)), max(az, bz))
            if leave < max(enter - 1e-9 * abs(enter), 0.0) or enter > nearest:
                continue
            if child[node] >= 0:
                stack[top] = child[node]
                stack[top + 1] = child[node] + 1
                top += 2
                continue
            begin = -1 - child[node]
            for t in range(begin, begin + size[node]):
                # Moeller & Trumbore 1997, J. Graphics Tools 2(1):21
                e1x, e1y = corners[t, 1, 0] - corners[t, 0, 0], corners[t, 1, 1] - corners[t, 0, 1]
                e1z = corners[t, 1, 2] - corners[t, 0, 2]
                e2x, e2y = corners[t, 2, 0] - corners[t, 0, 0], corners[t, 2, 1] - corners[t, 0, 1]
                e2z = corners[t, 2, 2] - corners[t, 0, 2]
                px, py, pz = dy * e2z - dz * e2y, dz * e2x - dx * e2z, dx * e2y - dy * e2x
                det = e1x * px + e1y * py + e1z * pz
                if abs(det) < 1e-14:
                    continue
                inv = 1.0 / det
                tx, ty, tz = ox - corners[t, 0, 0], oy - corners[t, 0, 1], oz - corners[t, 0, 2]
                u = (tx * px + ty * py + tz * pz) * inv
                if u < -1e-12 or u > 1.0 + 1e-12:
                    continue
                qx, qy, qz = ty * e1z - tz * e1y, tz * e1x - tx * e1z, tx * e1y - ty * e1x
                v = (dx * qx + dy * qy + dz * qz) * inv
                if v < -1e-12 or u + v > 1.0 + 1e-12:
                    continue
                far = (e2x * qx + e2y * qy + e2z * qz) * inv
                if NEAR < far < nearest:
                    nearest = far
                    hit[i] = t
                    if any_hit:
                        break
            if any_hit and hit[i] >= 0:
                break
