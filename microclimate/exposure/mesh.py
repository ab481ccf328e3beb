"""Closed bodies of triangles: stands, roofs and walls swept along their plan, and the floor between them.

A body is a cross-section (offset from the path, height) carried along a path in plan. Every step is explicit, because
from the field only the risers are seen; for shade alone the plane through the nosings does as well, so a body may
carry a second, simpler cross-section (`shade`). Every slab has a thickness: no two faces coincide.
Coordinates are the field frame [m]: x along the long axis, y to its left, z up.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

PIECE = 5.0  # [m] longest piece of a stand that is one element: how finely sun and shade on it are told apart
STRETCH = 20.0  # [m] of a stand that is one facet, for the second and later bounces


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

    points (edge, 2): offset from the path and height [m]; parts, finishes: one for each edge.
    bands (edge, 2): edges of one part with like first number are one facet, with like second number too one element.
    """

    points: Array
    parts: tuple[str, ...]
    finishes: tuple[Finish, ...]
    bands: tuple[tuple[int, int], ...]


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
    """Triangles in elements, elements in facets, and the simpler triangles that cast the same shade.

    corners (triangle, 3, 3) [m], wound so that normals point out of the body; element (triangle,); owner (element,) is
    the facet. Sunlight is told apart by elements, later bounces by facets.
    solids, roofs (triangle, 3, 3): opaque; veils: for each transmittance the triangles of translucent roofs.
    """

    corners: Array
    element: Ints
    owner: Ints
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
        return np.asarray(np.array([f.finish.transmittance for f in self.facets])[self.owner[self.element]])


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
    """A section with one part and one finish all round, each edge a facet of its own."""
    n = len(points)
    return Section(np.array(points, float), (part,) * n, (finish,) * n, tuple((k, 0) for k in range(n)))


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


# parts that the field sees: their elements are fine
SEEN = frozenset({"riser", "front", "fascia", "parapet", "wall", "plank edge", "roof under"})
# parts that pass light on to those: facets of one stretch; all other parts are one facet a body
PASSING = frozenset({"tread", "concourse", "plank", "end"})


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
    nothing = np.empty((0, 3, 3))
    corners_all, elements_all, solids, roofs = [nothing], [np.empty(0, np.int64)], [nothing], [nothing]
    veils: dict[float, list[Array]] = {}
    facets: dict[tuple[str, str, str, int, int], int] = {}
    described: list[Facet] = []
    elements: dict[tuple[int, int, int], int] = {}
    for body in bodies:
        base, growth = resample(body.base, body.growth, body.closed)
        finer = replace(body, base=base, growth=growth)
        corners, edge, piece = sweep(finer, body.section)
        stretch = _stretches(finer)
        pairs, inverse = np.unique(np.stack([edge, piece]), axis=1, return_inverse=True)
        index = np.empty(pairs.shape[1], np.int64)
        for k, (e, p) in enumerate(pairs.T):
            part, finish = (
                ("end", body.section.finishes[-1]) if e < 0 else (body.section.parts[e], body.section.finishes[e])
            )
            coarse, fine = (0, 0) if e < 0 else body.section.bands[e]
            along = int(stretch[p]) if part in SEEN or part in PASSING else -1
            facet = facets.setdefault((body.name, part, finish.name, coarse, along), len(facets))
            if facet == len(described):
                described.append(Facet(body.name, part, finish))
            index[k] = elements.setdefault((facet, fine, int(p)) if part in SEEN else (facet, -1, -1), len(elements))
        corners_all.append(corners)
        elements_all.append(index[inverse.ravel()])
        if body.shade is None:
            simple = sweep(body, body.section)[0]
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
    floor_facets = np.arange(len(ground_facets))
    corners_all.append(ground_corners)
    elements_all.append(len(elements) + np.repeat(floor_facets, 2))
    owner = [facet for facet, _, _ in elements]
    return Mesh(
        corners=np.concatenate(corners_all),
        element=np.concatenate(elements_all),
        owner=np.concatenate([np.array(owner, np.int64), len(facets) + floor_facets]),
        facets=(*described, *ground_facets),
        solids=np.concatenate(solids),
        roofs=np.concatenate(roofs),
        veils=tuple((tau, np.concatenate(parts)) for tau, parts in sorted(veils.items())),
    )


def _stretches(body: Body) -> Ints:
    """Number of the stretch each piece of the path belongs to (piece,)."""
    line = body.base + body.growth * np.mean(body.section.points[:, 0])
    if body.closed:
        line = np.concatenate([line, line[:1]])
    length = np.linalg.norm(np.diff(line, axis=0), axis=1)
    middle = np.cumsum(length) - 0.5 * length
    count = max(1, round(length.sum() / STRETCH))
    return np.asarray(np.floor(middle / length.sum() * count), np.int64)
