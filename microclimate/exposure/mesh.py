"""Closed bodies of triangles: stands, roofs and walls swept along their plan, and the floor between them.

A body is a cross-section (offset from the path, height) carried along a path in plan. Every step is explicit, because
from the field only the risers are seen; for shade alone the plane through the nosings does as well, so a body may
carry a second, simpler cross-section (`shade`). Every slab has a thickness: no two faces coincide.
Coordinates are the field frame [m]: x along the long axis, y to its left, z up.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

PIECE = 14.0  # [m] longest piece of a stand that counts as one facet; ours: finer moves the field mean by < 1 %


@dataclass(frozen=True)
class Finish:
    """How a face meets radiation."""

    name: str
    albedo: float  # [1] solar, all of it (matte and specular)
    emissivity: float  # [1] its own number, never 1 - albedo
    specular: float = 0.0  # [1] share of the albedo that is mirror-like
    roughness: float = 0.0  # [1] rms slope of the specular lobe
    transmittance: float = 0.0  # [1] solar, of a translucent roof


@dataclass(frozen=True)
class Section:
    """A closed cross-section, clockwise when offset runs right and z up; edge j runs from point j to the next.

    points (edge, 2): offset from the path and height [m]; parts, finishes, tiers: one for each edge.
    """

    points: Array
    parts: tuple[str, ...]
    finishes: tuple[Finish, ...]
    tiers: tuple[int, ...]


@dataclass(frozen=True)
class Body:
    """A section carried along a path in plan, outward being to the right of the path's direction.

    base (point, 2) [m]; growth (point, 2): plan step for 1 m of offset, so corners open as a fan.
    """

    name: str
    base: Array
    growth: Array
    closed: bool
    section: Section
    shade: Section | None = None


@dataclass(frozen=True)
class Facet:
    """Faces that share one temperature, one brightness and one finish."""

    body: str
    part: str
    finish: Finish


@dataclass(frozen=True)
class Mesh:
    """Triangles with their facets, and the simpler triangles that cast the same shade.

    corners (triangle, 3, 3) [m], wound so that normals point out of the body; facet (triangle,) index.
    solids, roofs (triangle, 3, 3): opaque; veils: for each transmittance the triangles of translucent roofs.
    """

    corners: Array
    facet: Ints
    facets: tuple[Facet, ...]
    solids: Array
    roofs: Array
    veils: tuple[tuple[float, Array], ...]

    @property
    def shade(self) -> Array:
        """All opaque triangles of the simpler set."""
        return np.concatenate([self.solids, self.roofs])

    @property
    def normals(self) -> Array:
        """Unit normals (triangle, 3)."""
        cross = _cross(self.corners)
        return np.asarray(cross / np.linalg.norm(cross, axis=1, keepdims=True))

    @property
    def areas(self) -> Array:
        """Of the triangles [m2]."""
        return np.asarray(0.5 * np.linalg.norm(_cross(self.corners), axis=1))

    @property
    def transmittance(self) -> Array:
        """Solar, of each triangle (triangle,)."""
        return np.asarray(np.array([f.finish.transmittance for f in self.facets])[self.facet])


def _cross(corners: Array) -> Array:
    return np.asarray(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))


def resample(points: Array, growth: Array, closed: bool, step: float = PIECE) -> tuple[Array, Array]:
    """A path with no piece longer than `step`; new points lie on the old pieces."""
    count = len(points)
    out_points, out_growth = [], []
    for i in range(count if closed else count - 1):
        j = (i + 1) % count
        pieces = max(1, int(np.ceil(np.linalg.norm(points[j] - points[i]) / step)))
        share = np.arange(pieces)[:, None] / pieces
        out_points.append(points[i] + share * (points[j] - points[i]))
        out_growth.append(growth[i] + share * (growth[j] - growth[i]))
    if not closed:
        out_points.append(points[-1:])
        out_growth.append(growth[-1:])
    return np.concatenate(out_points), np.concatenate(out_growth)


def box(points: Sequence[tuple[float, float]], part: str, finish: Finish) -> Section:
    """A section with one part and one finish all round."""
    n = len(points)
    return Section(np.array(points, float), (part,) * n, (finish,) * n, (0,) * n)


def ear_clip(polygon: Array) -> Ints:
    """Triangles (n - 2, 3) of a simple polygon (n, 2), wound as the polygon is."""
    x, y = polygon.T
    sign = 1.0 if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0 else -1.0
    left = list(range(len(polygon)))
    triangles = []
    while len(left) > 3:
        for k in range(len(left)):
            a, b, c = left[k - 1], left[k], left[(k + 1) % len(left)]
            if sign * _turn(polygon, a, b, c) <= 1e-12:
                continue
            rest = polygon[[i for i in left if i not in (a, b, c)]]
            if not _inside(rest, polygon[a], polygon[b], polygon[c], sign).any():
                triangles.append((a, b, c))
                left.pop(k)
                break
        else:
            # only flat corners are left: they bound no area
            flat = min(
                range(len(left)), key=lambda k: abs(_turn(polygon, left[k - 1], left[k], left[(k + 1) % len(left)]))
            )
            left.pop(flat)
    return np.array([*triangles, tuple(left)])


def _turn(p: Array, a: int, b: int, c: int) -> float:
    return float((p[b, 0] - p[a, 0]) * (p[c, 1] - p[a, 1]) - (p[b, 1] - p[a, 1]) * (p[c, 0] - p[a, 0]))


def _inside(points: Array, a: Array, b: Array, c: Array, sign: float) -> NDArray[np.bool_]:
    def side(p: Array, q: Array) -> Array:
        return np.asarray(sign * ((q[0] - p[0]) * (points[:, 1] - p[1]) - (q[1] - p[1]) * (points[:, 0] - p[0])))

    return np.asarray((side(a, b) >= -1e-12) & (side(b, c) >= -1e-12) & (side(c, a) >= -1e-12))


def sweep(body: Body, section: Section) -> tuple[Array, Ints, Ints]:
    """Triangles of a body: corners (n, 3, 3), section edge (n,), piece of the path (n,); end caps have edge -1."""
    offset, z = section.points.T
    plan = body.base[:, None, :] + body.growth[:, None, :] * offset[None, :, None]
    points = np.concatenate([plan, np.broadcast_to(z[None, :, None], (*plan.shape[:2], 1))], axis=2)
    if body.closed:
        points = np.concatenate([points, points[:1]])
    a, b = points[:-1], points[1:]
    d, c = np.roll(a, -1, axis=1), np.roll(b, -1, axis=1)
    quads = np.stack([np.stack([a, d, c], axis=2), np.stack([a, c, b], axis=2)], axis=2)
    pieces, edges = quads.shape[:2]
    corners = quads.reshape(-1, 3, 3)
    edge = np.broadcast_to(np.arange(edges)[None, :, None], (pieces, edges, 2)).ravel()
    piece = np.broadcast_to(np.arange(pieces)[:, None, None], (pieces, edges, 2)).ravel()
    if not body.closed:
        ears = ear_clip(section.points)
        for end, order in ((0, [0, 2, 1]), (-1, [0, 1, 2])):
            corners = np.concatenate([corners, points[end][ears][:, order]])
            edge = np.concatenate([edge, np.full(len(ears), -1)])
            piece = np.concatenate([piece, np.full(len(ears), 0 if end == 0 else pieces - 1)])
    keep = np.linalg.norm(_cross(corners), axis=1) > 1e-9
    return corners[keep], edge[keep], piece[keep]


# parts whose light reaches the field and changes along the stand; all other parts are one facet a body
FINE = frozenset({"tread", "riser", "front", "fascia", "parapet", "concourse", "plank", "plank edge", "roof under"})


def floor(
    length: float, width: float, margin: float, columns: int, rows: int, turf: Finish, apron: Finish
) -> tuple[Array, list[Facet]]:
    """The ground within `margin` of the field as patches of two triangles, field patches by their centre."""
    x = np.linspace(-length / 2 - margin, length / 2 + margin, columns + 1)
    y = np.linspace(-width / 2 - margin, width / 2 + margin, rows + 1)
    corners, facets = [], []
    for i in range(columns):
        for j in range(rows):
            p = np.array([[x[i], y[j], 0.0], [x[i + 1], y[j], 0.0], [x[i + 1], y[j + 1], 0.0], [x[i], y[j + 1], 0.0]])
            corners += [p[[0, 1, 2]], p[[0, 2, 3]]]
            on_field = abs(x[i] + x[i + 1]) / 2 < length / 2 and abs(y[j] + y[j + 1]) / 2 < width / 2
            facets.append(Facet("floor", "field" if on_field else "apron", turf if on_field else apron))
    return np.array(corners), facets


def mesh(bodies: Sequence[Body], ground: tuple[Array, list[Facet]]) -> Mesh:
    """All bodies and the floor as one set of triangles. Floor facets come last, two triangles each."""
    facets: dict[tuple[str, str, str, int, int], int] = {}
    described: list[Facet] = []
    nothing = np.empty((0, 3, 3))
    corners_all, facet_all, solids, roofs = [nothing], [np.empty(0, np.int64)], [nothing], [nothing]
    veils: dict[float, list[Array]] = {}
    for body in bodies:
        corners, edge, piece = sweep(body, body.section)
        index = np.empty(len(corners), np.int64)
        wall = body.section.finishes[-1]
        for t, (e, p) in enumerate(zip(edge, piece, strict=True)):
            part, finish = ("end", wall) if e < 0 else (body.section.parts[e], body.section.finishes[e])
            tier = 0 if e < 0 else body.section.tiers[e]
            key = (body.name, part, finish.name, tier, int(p) if part in FINE or part == "end" else -1)
            if key not in facets:
                facets[key] = len(described)
                described.append(Facet(body.name, part, finish))
            index[t] = facets[key]
        corners_all.append(corners)
        facet_all.append(index)
        if body.shade is None:
            simple = corners
        elif len(body.shade.points):
            simple = sweep(body, body.shade)[0]
        else:
            continue
        tau = max(f.transmittance for f in body.section.finishes)
        if tau > 0:
            veils.setdefault(tau, []).append(simple)
        else:
            (roofs if "roof top" in body.section.parts else solids).append(simple)
    ground_corners, ground_facets = ground
    corners_all.append(ground_corners)
    facet_all.append(len(described) + np.repeat(np.arange(len(ground_facets)), 2))
    return Mesh(
        corners=np.concatenate(corners_all),
        facet=np.concatenate(facet_all),
        facets=(*described, *ground_facets),
        solids=np.concatenate(solids),
        roofs=np.concatenate(roofs),
        veils=tuple((tau, np.concatenate(parts)) for tau, parts in sorted(veils.items())),
    )
