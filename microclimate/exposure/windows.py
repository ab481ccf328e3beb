"""Sky windows: for each point of the ground and each azimuth, the elevations that stands and roofs hide.

Exact polygon clipping, no sampling in elevation: a half-plane through the point cuts each triangle in an interval of
elevations, and touching intervals merge. A light slot between stand and roof is a gap between two intervals. One store
answers three questions: is the sun hidden, how much sky is seen, how much of it is low and warm.
Azimuths here are field angles [rad], counter-clockwise from x.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from microclimate.column.jit import kernel, over_threads

Array = NDArray[np.float64]

AZIMUTHS = 720  # 360 leave 8e-5 of (cell, sun) pairs wrong and one field mean off by 0.26 %; 720 a fifth of that
SHIFT = (
    math.sqrt(5.0) - 1.0
) / 2.0 - 0.5  # of the azimuths, in bins: irrational, so none meets a vertex of a regular plan
TOUCH = 1e-7  # [1] intervals whose tangents are nearer than this are one
ZENITH = 1e30  # its tangent
FULL = 65535.0  # store steps from horizon to zenith: 0.0014 degree each
STEP = 0.5 * math.pi / FULL


@register_jitable
def _spanned(angle: Any) -> tuple[float, float, bool]:
    """Azimuths a triangle spans to both sides of its first corner's, and whether it lies overhead.

    `angle` (3,): of its corners about the point. All edges turning one way round means that it lies overhead.
    """
    low, high, whole = 0.0, 0.0, 0.0
    for v in range(3):
        turn = angle[(v + 1) % 3] - angle[v]
        if turn > math.pi:
            turn -= 2.0 * math.pi
        elif turn < -math.pi:
            turn += 2.0 * math.pi
        whole += turn
        if v < 2:
            low, high = min(low, whole), max(high, whole)
    return low, high, abs(whole) > math.pi


@dataclass(frozen=True)
class Windows:
    """Hidden elevation intervals of many points.

    count (point, azimuth) intervals; first (point,) where a point's intervals begin; bounds (interval, 2) in steps.
    """

    count: NDArray[np.uint8]
    first: NDArray[np.int64]
    bounds: NDArray[np.uint16]

    @property
    def points(self) -> int:
        """How many points."""
        return len(self.count)

    def sky_view(self) -> Array:
        """Share of the sky each horizontal point sees (point,) [1]."""
        return self._moments[0]

    def low_sky(self) -> Array:
        """Integral of ln(x) dx over the sky seen, x = sin^2(elevation) (point,) [1]; -1 for the open sky."""
        return self._moments[1]

    @cached_property
    def _moments(self) -> tuple[Array, Array]:
        found = np.empty(self.points), np.empty(self.points)
        over_threads(_moments, self.points, self.count, self.first, self.bounds, *found)
        return found

    def sees(self, azimuth: Array, elevation: Array) -> NDArray[np.bool_]:
        """Whether each sun is seen: angles (time,) [rad] -> (point, time). Below the horizon nothing is."""
        a, e = np.atleast_1d(np.asarray(azimuth, float)), np.atleast_1d(np.asarray(elevation, float))
        begin, ceiling = self._index
        seen = np.zeros((self.points, len(a)), dtype=bool)
        over_threads(_sees, self.points, self.count, begin, ceiling, self.bounds, a, e, seen)
        return seen

    @cached_property
    def _index(self) -> tuple[NDArray[np.int32], NDArray[np.uint16]]:
        """Where the intervals of each azimuth begin (point, azimuth), and the highest edge of each point (point,)."""
        ends = np.cumsum(self.count.ravel(), dtype=np.int32)
        begin = np.concatenate([np.zeros(1, np.int32), ends])[:-1].reshape(self.count.shape)
        edges = np.append(self.bounds[:, 1], np.uint16(0))
        ceiling = np.where(self.count.any(axis=1), np.maximum.reduceat(edges, self.first), 0)
        return begin, ceiling.astype(np.uint16)

    def visible(self, edges: Array, columns: NDArray[np.int64], start: NDArray[np.int64]) -> Array:
        """Cosine-weighted solid angle of each sky patch that is seen (point, patch) [sr].

        edges (row + 1,): elevations between the rows of patches [rad]; columns (row,): patches a row;
        start (row,): number of the row's first patch. The first patch of a row begins at azimuth 0.
        """
        seen = np.zeros((self.points, start[-1] + columns[-1]))
        over_threads(_visible, self.points, self.count, self.first, self.bounds, edges, columns, start, seen)
        return seen

    def azimuth_of(self, point: int) -> Array:
        """Azimuth of each interval of one point [rad]."""
        azimuths = self.count.shape[1]
        return np.repeat((np.arange(azimuths) + 0.5 - SHIFT) * 2.0 * np.pi / azimuths, self.count[point])


def windows(points: Array, triangles: Array, azimuths: int = AZIMUTHS) -> Windows:
    """Windows of points (point, 3) [m] under triangles (triangle, 3, 3) [m].

    The list of intervals of an azimuth has no fixed length: where one runs over, it is made again with twice the room.
    """
    triangles = np.ascontiguousarray(triangles, dtype=float)
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    plane = np.column_stack([normal, np.einsum("ij,ij->i", normal, triangles[:, 0])])
    angles = (np.arange(azimuths) + 0.5 - SHIFT) * 2.0 * np.pi / azimuths
    counts, bounds = [], []
    room, block = 4, 512
    for start in range(0, len(points), block):
        part = np.ascontiguousarray(points[start : start + block], dtype=float)
        while True:
            count = np.zeros((len(part), azimuths), np.int64)
            low, high = (np.zeros((len(part), azimuths, room), np.uint16) for _ in range(2))
            over_threads(_clip, len(part), part, triangles, plane, np.cos(angles), np.sin(angles), count, low, high)
            if count.max(initial=0) <= room:
                break
            room *= 2
        kept = np.arange(room)[None, None, :] < count[:, :, None]
        counts.append(count.astype(np.uint8))
        bounds.append(np.stack([low[kept], high[kept]], axis=1))
    merged = np.concatenate(counts) if counts else np.zeros((0, azimuths), np.uint8)
    size = merged.sum(axis=1, dtype=np.int64)
    return Windows(
        count=merged,
        first=np.concatenate([[0], np.cumsum(size)])[:-1],
        bounds=np.concatenate(bounds) if bounds else np.zeros((0, 2), np.uint16),
    )


@kernel
def _clip(
    first: Any,
    end: Any,
    points: Any,
    triangles: Any,
    plane: Any,
    cosine: Any,
    sine: Any,
    count: Any,
    low: Any,
    high: Any,
) -> None:
    """Merged intervals of each point and azimuth; a count above the room in `low` and `high` says they did not fit."""
    for i in range(first, end):
        _clip_one(points[i], triangles, plane, cosine, sine, count[i], low[i], high[i])


@kernel
def _clip_one(
    point: Any, triangles: Any, plane: Any, cosine: Any, sine: Any, count: Any, low_out: Any, high_out: Any
) -> None:
    """Merged intervals of one point, into its rows of the output."""
    azimuths, room = low_out.shape
    most = 8 * room  # intervals not yet merged
    low, high = np.empty((azimuths, most)), np.empty((azimuths, most))
    used = np.zeros(azimuths, np.int64)
    bin_width = 2.0 * math.pi / azimuths
    px, py, pz = point[0], point[1], point[2]
    x, y, z, angle = np.empty(3), np.empty(3), np.empty(3), np.empty(3)
    for t in range(len(triangles)):
        # a ray that meets a closed body meets a face turned towards it: the others need no look
        if plane[t, 0] * px + plane[t, 1] * py + plane[t, 2] * pz <= plane[t, 3]:
            continue
        above = False
        for v in range(3):
            x[v], y[v], z[v] = triangles[t, v, 0] - px, triangles[t, v, 1] - py, triangles[t, v, 2] - pz
            above = above or z[v] > 0.0
            angle[v] = math.atan2(y[v], x[v])
        if not above:
            continue
        span_low, span_high, overhead = _spanned(angle)
        if overhead:
            k_from, k_to = 0, azimuths - 1
        else:
            k_from = math.ceil((angle[0] + span_low) / bin_width - 0.5 + SHIFT)
            k_to = math.floor((angle[0] + span_high) / bin_width - 0.5 + SHIFT)
        for kk in range(k_from, k_to + 1):
            k = kk % azimuths
            c, s = cosine[k], sine[k]
            bottom, top, ends = 1e30, -1e30, 0
            r_last, z_last = 0.0, 0.0
            for v in range(3):
                w = (v + 1) % 3
                side_v, side_w = x[v] * s - y[v] * c, x[w] * s - y[w] * c
                if (side_v > 0.0) == (side_w > 0.0):
                    continue
                f = side_v / (side_v - side_w)
                r = (x[v] + f * (x[w] - x[v])) * c + (y[v] + f * (y[w] - y[v])) * s
                h = z[v] + f * (z[w] - z[v])
                if ends > 0 and (r > 0.0) != (r_last > 0.0):
                    # the triangle reaches over the point: to the zenith, or to straight below
                    e = math.copysign(ZENITH, (h * r_last - z_last * r) * (r_last - r))
                    bottom, top = min(bottom, e), max(top, e)
                if r > 0.0:
                    e = h / r
                    bottom, top = min(bottom, e), max(top, e)
                ends += 1
                r_last, z_last = r, h
            bottom = max(bottom, 0.0)
            if top <= bottom:
                continue
            if not _add(low[k], high[k], used, k, bottom, top):
                count[k] = room + 1
    for k in range(azimuths):
        if used[k] > room:
            count[k] = room + 1
        if count[k] > room:
            continue
        count[k] = used[k]
        for j in range(used[k]):
            low_out[k, j] = np.uint16(round(math.atan(low[k, j]) / STEP))
            high_out[k, j] = np.uint16(round(math.atan(high[k, j]) / STEP))


@kernel
def _add(low: Any, high: Any, used: Any, k: Any, bottom: Any, top: Any) -> Any:
    """Put one interval into a sorted list, merging what it touches; False when the list is full."""
    n = used[k]
    a = 0
    while a < n and high[a] < bottom - TOUCH:
        a += 1
    b = a
    while b < n and low[b] <= top + TOUCH:
        bottom, top = min(bottom, low[b]), max(top, high[b])
        b += 1
    if b == a:
        if n == len(low):
            return False
        for j in range(n, a, -1):
            low[j], high[j] = low[j - 1], high[j - 1]
        used[k] = n + 1
    elif b > a + 1:
        for j in range(b, n):
            low[a + 1 + j - b], high[a + 1 + j - b] = low[j], high[j]
        used[k] = n - (b - a - 1)
    low[a], high[a] = bottom, top
    return True


@kernel
def _below(x: Any) -> Any:
    """Integral of ln(x) dx from 0 to x."""
    return x * math.log(x) - x if x > 0.0 else 0.0


@kernel
def _moments(first: Any, end: Any, count: Any, begin: Any, bounds: Any, view: Any, low: Any) -> None:
    azimuths = count.shape[1]
    for i in range(first, end):
        hidden, hidden_low = 0.0, 0.0
        p = begin[i]
        for k in range(azimuths):
            for _ in range(count[i, k]):
                bottom, top = math.sin(bounds[p, 0] * STEP) ** 2, math.sin(bounds[p, 1] * STEP) ** 2
                hidden += top - bottom
                hidden_low += _below(top) - _below(bottom)
                p += 1
        view[i] = 1.0 - hidden / azimuths
        low[i] = -1.0 - hidden_low / azimuths


@kernel
def _sees(
    first: Any, end: Any, count: Any, begin: Any, ceiling: Any, bounds: Any, azimuth: Any, elevation: Any, seen: Any
) -> None:
    azimuths, times = count.shape[1], len(azimuth)
    left, right, share = np.empty(times, np.int64), np.empty(times, np.int64), np.empty(times)
    for t in range(times):
        at = azimuth[t] * azimuths / (2.0 * math.pi) - 0.5 + SHIFT
        down = math.floor(at)
        left[t], right[t], share[t] = down % azimuths, (down + 1) % azimuths, at - down
    for i in range(first, end):
        for t in range(times):
            if elevation[t] <= 0.0:
                continue
            e = elevation[t] / STEP
            if e > ceiling[i]:
                seen[i, t] = True
                continue
            a, b, f = left[t], right[t], share[t]
            visible = True
            if count[i, a] == count[i, b]:
                for j in range(count[i, a]):
                    p, q = begin[i, a] + j, begin[i, b] + j
                    bottom = (1.0 - f) * bounds[p, 0] + f * bounds[q, 0]
                    top = (1.0 - f) * bounds[p, 1] + f * bounds[q, 1]
                    if bottom <= e <= top:
                        visible = False
                        break
            else:
                k = a if f < 0.5 else b
                for p in range(begin[i, k], begin[i, k] + count[i, k]):
                    if bounds[p, 0] <= e <= bounds[p, 1]:
                        visible = False
                        break
            seen[i, t] = visible


@kernel
def _visible(
    first: Any, end: Any, count: Any, begin: Any, bounds: Any, edges: Any, columns: Any, start: Any, seen: Any
) -> None:
    azimuths, rows = count.shape[1], len(columns)
    width = 2.0 * math.pi / azimuths
    sine2 = np.sin(edges) ** 2
    open_row = np.empty(rows)
    for i in range(first, end):
        p = begin[i]
        for k in range(azimuths):
            for r in range(rows):
                open_row[r] = sine2[r + 1] - sine2[r]
            for _ in range(count[i, k]):
                bottom, top = bounds[p, 0] * STEP, bounds[p, 1] * STEP
                for r in range(rows):
                    lo, hi = max(bottom, edges[r]), min(top, edges[r + 1])
                    if hi > lo:
                        open_row[r] -= math.sin(hi) ** 2 - math.sin(lo) ** 2
                p += 1
            # the bin reaches half a width to either side of its azimuth and may straddle two patches
            left, right = (k - SHIFT) * width, (k + 1 - SHIFT) * width
            for r in range(rows):
                pace = 2.0 * math.pi / columns[r]
                c_from, c_to = math.floor(left / pace), math.floor(right / pace)
                for c in range(c_from, c_to + 1):
                    part = min(right, (c + 1) * pace) - max(left, c * pace)
                    if part > 0.0:
                        seen[i, start[r] + c % columns[r]] += 0.5 * open_row[r] * part


def crest(points: Array, triangles: Array, azimuths: Array) -> tuple[Array, Array]:
    """Distance and height above each point of what rises highest into its sky, per azimuth, both (point, azimuth) [m].

    azimuths (azimuth,): field angles [rad]. Height 0 where nothing rises.
    """
    order = np.argsort(azimuths % (2.0 * np.pi))
    rising = azimuths[order] % (2.0 * np.pi)
    points, triangles = np.ascontiguousarray(points), np.ascontiguousarray(triangles)
    distance, height = np.full((len(points), len(azimuths)), np.inf), np.zeros((len(points), len(azimuths)))
    over_threads(_crest, len(points), points, triangles, rising, distance, height)
    back = np.argsort(order)
    return distance[:, back], height[:, back]


@kernel
def _crest(first: Any, end: Any, points: Any, triangles: Any, azimuths: Any, distance: Any, height: Any) -> None:
    """Azimuths rise from 0 to below 2 pi; only those that a triangle spans are looked at."""
    many = len(azimuths)
    cosine, sine = np.cos(azimuths), np.sin(azimuths)
    for i in range(first, end):
        steepest = np.zeros(many)
        x, y, angle = np.empty(3), np.empty(3), np.empty(3)
        for t in range(len(triangles)):
            for v in range(3):
                x[v], y[v] = triangles[t, v, 0] - points[i, 0], triangles[t, v, 1] - points[i, 1]
                angle[v] = math.atan2(y[v], x[v])
            low, high, overhead = _spanned(angle)
            begin = (angle[0] + low) % (2.0 * math.pi) - 1e-9
            span = 7.0 if overhead else high - low + 2e-9  # overhead it spans all
            begun, looks = 0, 0
            while begun < many and azimuths[begun] < begin:
                begun += 1
            while looks < many:
                k = begun + looks
                if azimuths[k % many] + 2.0 * math.pi * (k // many) - begin > span:
                    break
                looks += 1
            for look in range(looks):
                k = (begun + look) % many
                c, s = cosine[k], sine[k]
                for v in range(3):
                    w = (v + 1) % 3
                    side_v, side_w = x[v] * s - y[v] * c, x[w] * s - y[w] * c
                    if (side_v > 0.0) == (side_w > 0.0):
                        continue
                    f = side_v / (side_v - side_w)
                    r = (x[v] + f * (x[w] - x[v])) * c + (y[v] + f * (y[w] - y[v])) * s
                    z = triangles[t, v, 2] + f * (triangles[t, w, 2] - triangles[t, v, 2]) - points[i, 2]
                    if r > 0.0 and z > steepest[k] * r:
                        steepest[k], distance[i, k], height[i, k] = z / r, r, z
