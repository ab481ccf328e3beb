"""View factors by rays, and the radiosity between floor, treads, risers, walls and roofs.

Facets are grouped faces (all risers of one tier and piece are one), so a bowl has some hundreds. Rays are a fixed
low-discrepancy sequence: the same venue gives the same numbers. A ray that starts inside a body (where bodies run into
each other) meets a face from behind; it is left out, and with it that share of the facet's area.
The last node of every matrix is the ground outside, which sees the open sky only.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from microclimate.exposure import rays, sky
from microclimate.exposure.mesh import Mesh
from microclimate.exposure.windows import STEP, Windows

Array = NDArray[np.float64]
Single = NDArray[np.float32]

FACET_RAYS = 512  # of each facet; 64 to 1024 change the field by less than Radiance's own noise
CELL_RAYS = 512  # of each cell, all into what hides the sky
SUN_POINTS = 16  # of each element at which the sun is looked for
NODE_AZIMUTHS = np.radians(np.arange(0.0, 360.0, 5.0))
NODE_ELEVATIONS = np.radians(np.concatenate([np.arange(0.0, 30.0, 2.5), np.arange(30.0, 91.0, 5.0)]))
OFF = 1e-3  # [m] rays start this far off their face
BLOCK = 400_000  # rays in one call of the engine


@dataclass(frozen=True)
class Exchange:
    """Geometry of radiation between facets, without any material but translucent roofs.

    A node is a facet or, last, the ground outside. area (facet,) [m2] in the open; factor, factor_thermal (node, node):
    share of what leaves row i that meets column j, for light (roofs may let it through) and for longwave; view, low_sky
    (node,): sky seen and its integral of ln x; patches (node, 145): share of a node's hemisphere (cosine) that is each
    sky patch; sun (element + 1, sun node): sunlight on each element, the ground outside last, for unit direct normal;
    share (element + 1,): of its node's open area; owner (element + 1,): its node.
    """

    area: Array
    factor: Array
    factor_thermal: Array
    view: Array
    low_sky: Array
    patches: Array
    sun: NDArray[np.float16]
    share: Array
    owner: NDArray[np.int64]

    def to_nodes(self, elements: Array) -> Array:
        """Means over each node of values on elements (element + 1, ...) -> (node, ...)."""
        return np.asarray(self.spread.T @ elements)

    @cached_property
    def members(self) -> sparse.csr_array:
        """1 where an element belongs to a node (element + 1, node)."""
        rows = np.arange(len(self.owner))
        return sparse.csr_array((np.ones(len(rows)), (rows, self.owner)), shape=(len(rows), len(self.view)))

    @cached_property
    def spread(self) -> sparse.csr_array:
        """Share of each element in its node (element + 1, node)."""
        rows = np.arange(len(self.owner))
        return sparse.csr_array((self.share, (rows, self.owner)), shape=(len(rows), len(self.view)))


def sequence(count: int, dimensions: int) -> Array:
    """The first points of the additive recurrence of Roberts (R-sequence) in the unit cube (count, dimensions)."""
    phi = 2.0
    for _ in range(60):
        phi = (1.0 + phi) ** (1.0 / (dimensions + 1))
    return np.asarray((0.5 + np.arange(1, count + 1)[:, None] * phi ** -np.arange(1.0, dimensions + 1)) % 1.0)


def frames(normals: Array) -> tuple[Array, Array]:
    """Two tangents to each normal (n, 3)."""
    helper = np.where(np.abs(normals[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    first = np.cross(helper, normals)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return first, np.cross(normals, first)


def sample(mesh: Mesh, group: NDArray[np.int64], count: int, seed: int = 0) -> tuple[Array, Array, Array]:
    """Points and cosine-spread directions on every group of triangles: origins, normals, directions (group, count, 3).

    group (triangle,): facet or element. Points are even in area over a group, a little off the face.
    """
    facets = int(group.max(initial=-1)) + 1
    areas, normals = mesh.areas, mesh.normals
    order = np.argsort(group, kind="stable")
    edges = np.concatenate([[0.0], np.cumsum(areas[order])])
    borders = np.searchsorted(group[order], np.arange(facets + 1))
    low, high = edges[borders[:-1]], edges[borders[1:]]
    u = sequence(count, 4)
    shift = np.random.default_rng(seed).random((facets, 4))
    p = (u[None] + shift[:, None]) % 1.0
    along = low[:, None] + p[..., 0] * (high - low)[:, None]
    slot = np.clip(np.searchsorted(edges, along, side="right") - 1, borders[:-1, None], borders[1:, None] - 1)
    inside = ((along - edges[slot]) / np.maximum(edges[slot + 1] - edges[slot], 1e-300)).clip(0.0, 1.0)
    triangle = order[slot].ravel()
    root = np.sqrt(inside).ravel()[:, None]
    v = p[..., 1].ravel()[:, None]
    a, b, c = (mesh.corners[triangle, k] for k in range(3))
    n = normals[triangle]
    origin = (1.0 - root) * a + root * (1.0 - v) * b + root * v * c + OFF * n
    first, second = frames(n)
    angle, radius = 2.0 * np.pi * p[..., 2].ravel()[:, None], np.sqrt(p[..., 3]).ravel()[:, None]
    direction = radius * (np.cos(angle) * first + np.sin(angle) * second) + np.sqrt(1.0 - radius**2) * n
    shape = (facets, count, 3)
    return origin.reshape(shape), n.reshape(shape), direction.reshape(shape)


class Scene:
    """The mesh as the ray engine sees it, with and without translucent roofs."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.normals = mesh.normals
        self.transmittance = mesh.transmittance
        self.whole = rays.caster(mesh.corners)
        self.opaque = np.flatnonzero(self.transmittance == 0.0)
        self.without_veils = rays.caster(mesh.corners[self.opaque]) if mesh.veils else self.whole
        self.outside = len(mesh.owner)
        self.owner = np.append(mesh.owner, len(mesh.facets))

    def hit(self, origins: Array, directions: Array, veils: bool = True) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Element each ray meets (-1 the sky, `outside` the ground beyond the mesh), and whether from behind."""
        element, behind = np.empty(len(origins), np.int64), np.empty(len(origins), bool)
        engine = self.whole if veils else self.without_veils
        for start in range(0, len(origins), BLOCK):
            part = slice(start, start + BLOCK)
            o, d = origins[part], directions[part]
            triangle = engine.closest(o, d).astype(np.int64)
            met = triangle >= 0
            if not veils and self.mesh.veils:
                triangle = np.where(met, self.opaque[triangle], -1)
            element[part] = np.where(met, self.mesh.element[triangle], np.where(d[:, 2] < 0.0, self.outside, -1))
            behind[part] = met & (np.einsum("ij,ij->i", d, self.normals[triangle]) > 0.0)
        return element, behind

    def first(self, origins: Array, directions: Array) -> tuple[NDArray[np.int64], Array]:
        """Triangle each ray meets (-1 none), and where (ray, 3)."""
        triangle = self.whole.closest(origins, directions).astype(np.int64)
        n = self.normals[triangle]
        to_plane = np.einsum("ij,ij->i", self.mesh.corners[triangle, 0] - origins, n)
        across = np.einsum("ij,ij->i", directions, n)
        far = np.divide(to_plane, across, out=np.zeros(len(n)), where=np.abs(across) > 1e-12)
        return triangle, origins + far[:, None] * directions

    def sunlit(self, origins: Array, directions: Array) -> Array:
        """Share of the sun's beam that arrives along each ray."""
        share = np.empty(len(origins))
        for start in range(0, len(origins), BLOCK):
            part = slice(start, start + BLOCK)
            o, d = origins[part], directions[part]
            share[part] = ~self.without_veils.blocked(o, d)
            if self.mesh.veils:
                triangle = self.whole.closest(o, d)
                through = np.where(triangle >= 0, self.transmittance[triangle], 1.0)
                share[part] *= through
        return share


def exchange(scene: Scene) -> Exchange:
    """Everything about the facets that does not depend on materials."""
    mesh = scene.mesh
    facets, n = len(mesh.facets), FACET_RAYS
    group = mesh.owner[mesh.element]
    origin, _, direction = sample(mesh, group, n)
    element, behind = scene.hit(origin.reshape(-1, 3), direction.reshape(-1, 3))
    facet, open_ray = _nodes(scene, element).reshape(facets, n), ~behind.reshape(facets, n)
    shown = open_ray.mean(axis=1)
    area = np.bincount(group, mesh.areas, facets) * shown
    thermal, view, patches, low = _shares(facet, open_ray.astype(float), direction, facets)
    light = thermal
    if mesh.veils:
        tau = np.array([f.finish.transmittance for f in mesh.facets] + [0.0, 0.0])[facet]
        tau = np.where(facet >= 0, tau, 0.0)
        beyond, _ = scene.hit(origin.reshape(-1, 3), direction.reshape(-1, 3), veils=False)
        through = _shares(_nodes(scene, beyond).reshape(facets, n), open_ray * tau, direction, facets)
        held = _shares(facet, open_ray * (1.0 - tau), direction, facets)
        light, patches = held[0] + through[0], held[2] + through[2]
    rows = np.maximum(shown, 1e-9)
    light, light_scale = _balanced(light / rows[:, None], patches.sum(axis=1) / rows, area)
    thermal, thermal_scale = _balanced(thermal / rows[:, None], view / rows, area)
    view, low = (share / rows * thermal_scale for share in (view, low))
    sun, open_area = _sun(scene)
    owner = scene.owner
    share = np.append(open_area / np.maximum(np.bincount(owner[:-1], open_area, facets), 1e-300)[owner[:-1]], 1.0)
    return Exchange(
        area=area,
        factor=_outside(light),
        factor_thermal=_outside(thermal),
        view=np.append(view, 1.0),
        low_sky=np.append(low, -1.0),
        patches=np.vstack([patches / rows[:, None] * light_scale[:, None], sky.weights() / np.pi]),
        sun=sun,
        share=share,
        owner=owner,
    )


def _nodes(scene: Scene, element: NDArray[np.int64]) -> NDArray[np.int64]:
    """The node of each element met; -1 stays the sky."""
    return np.where(element < 0, -1, scene.owner[element])


def _shares(
    facet: NDArray[np.int64], weight: Array, direction: Array, facets: int
) -> tuple[Array, Array, Array, Array]:
    """Weighted shares of each facet's rays: by facet met (and outside), by sky, by sky patch, and the mean of ln x."""
    n = facet.shape[1]
    row = np.repeat(np.arange(facets), n).reshape(facet.shape)

    def total(index: NDArray[np.int64], values: Array, columns: int) -> Array:
        summed = np.bincount(index.ravel(), values.ravel(), facets * columns)
        return np.asarray(summed, float).reshape(facets, columns)

    to_sky = facet < 0
    met = np.where(to_sky, 0, facet)
    factor = total(row * (facets + 1) + met, weight * ~to_sky / n, facets + 1)
    sine = np.clip(direction[..., 2], 1e-6, 1.0)
    patch = sky.patch_of(np.arctan2(direction[..., 1], direction[..., 0]), np.arcsin(sine))
    free = weight * to_sky / n
    patches = total(row * sky.PATCHES + patch, free, sky.PATCHES)
    return factor, free.sum(axis=1), patches, (free * 2.0 * np.log(sine)).sum(axis=1)


def _balanced(factor: Array, sky_share: Array, area: Array) -> tuple[Array, Array]:
    """The nearest view factors with A_i F_ij = A_j F_ji and rows that close to 1, and how each row was scaled.

    The symmetric part S of the flows is scaled d_i S_ij d_j, what goes to sky and ground outside d_i; d solves
    d_i (sum_j S_ij d_j + s_i) = A_i, the minimum of a convex function, by Newton steps on ln d.
    """
    flow = area[:, None] * factor[:, :-1]
    flow = 0.5 * (flow + flow.T)
    flow *= (area[:, None] > 0.0) & (area > 0.0)  # a facet all inside another body takes no part
    free = area * (sky_share + factor[:, -1])
    seen = flow.sum(axis=1) + free > 0.0
    wanted = np.where(seen, area, 1.0)
    log_scale = np.zeros(len(area))
    for _ in range(60):
        d = np.exp(log_scale)
        between = d[:, None] * flow * d
        carried = np.where(seen, between.sum(axis=1) + d * free, 1.0)
        miss = wanted - carried
        if np.abs(miss / wanted).max() < 1e-13:
            break
        log_scale += np.clip(np.linalg.solve(np.diag(carried + 1e-12 * wanted) + between, miss), -1.0, 1.0)
    d = np.exp(log_scale)
    inner = np.where(seen[:, None], d[:, None] * flow * d / wanted[:, None], 0.0)
    return np.hstack([inner, (d * factor[:, -1])[:, None]]), d


def _outside(factor: Array) -> Array:
    return np.vstack([factor, np.zeros(factor.shape[1])])


def sun_directions(azimuth: Array, elevation: Array) -> Array:
    """Unit vectors towards suns, field angles [rad] -> (..., 3)."""
    return np.stack([np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth), np.sin(elevation)], -1)


def sunlight(scene: Scene, origin: Array, normal: Array, towards: Array) -> Array:
    """Mean of cosine x share of the beam over points (group, point, 3), for suns (sun, 3) -> (group, sun)."""
    cosine = np.einsum("fpk,sk->fps", normal, towards)
    f, p, s = np.nonzero(cosine > 0.0)
    lit = np.zeros(cosine.shape)
    lit[f, p, s] = cosine[f, p, s] * scene.sunlit(origin[f, p], towards[s])
    return np.asarray(lit.mean(axis=1))


def element_points(scene: Scene, count: int) -> tuple[Array, Array, Array]:
    """Points and normals on each element, none inside another body (element, count, 3), and its open area [m2]."""
    mesh = scene.mesh
    tries = 2 * count
    origin, normal, direction = sample(mesh, mesh.element, tries, seed=2)
    _, behind = scene.hit(origin.reshape(-1, 3), direction.reshape(-1, 3))
    free = ~behind.reshape(-1, tries)
    order = np.argsort(~free, axis=1, kind="stable")
    found = np.maximum(free.sum(axis=1), 1)
    pick = np.take_along_axis(order, np.arange(count)[None] % found[:, None], axis=1)[..., None]
    area = np.bincount(mesh.element, mesh.areas, len(free)) * free.mean(axis=1)
    return np.take_along_axis(origin, pick, axis=1), np.take_along_axis(normal, pick, axis=1), area


def _sun(scene: Scene) -> tuple[NDArray[np.float16], Array]:
    origin, normal, area = element_points(scene, SUN_POINTS)
    azimuth, elevation = np.meshgrid(NODE_AZIMUTHS, NODE_ELEVATIONS, indexing="ij")
    towards = sun_directions(azimuth.ravel(), elevation.ravel())
    parts = [sunlight(scene, origin, normal, block) for block in np.array_split(towards, max(1, len(towards) // 40))]
    return np.vstack([np.concatenate(parts, axis=1), np.sin(elevation.ravel())]).astype(np.float16), area


def cell_factors(scene: Scene, points: Array, hidden: Windows) -> tuple[sparse.csr_array, sparse.csr_array]:
    """Share of each cell's hemisphere (cosine) that is each element, for light and for longwave (cell, element + 1).

    All rays go into what `hidden` (stands and roofs together) hides, evenly in cosine-weighted solid angle; rows sum to
    1 - sky view exactly (where roofs let light through, those for light to less).
    """
    nodes = len(scene.owner)
    light, thermal = [], []
    tau = np.append([f.finish.transmittance for f in scene.mesh.facets], 0.0)[scene.owner]
    u = sequence(CELL_RAYS, 2)
    shift = np.random.default_rng(1).random((len(points), 2))
    for begin in range(0, len(points), 512):
        part = np.arange(begin, min(begin + 512, len(points)))
        share, direction = into_hidden(hidden, part, u, shift)
        origin = np.repeat(points[part], CELL_RAYS, axis=0)
        met, _ = scene.hit(origin, direction.reshape(-1, 3))
        row = np.repeat(np.arange(len(part)), CELL_RAYS)
        some = met >= 0
        # a ray that slips past an edge is made up for by the others of its cell
        scale = (share / np.maximum(np.bincount(row, some, len(part)), 1))[row]
        shape = (len(part), nodes)
        thermal.append(sparse.csr_array((scale[some], (row[some], met[some])), shape=shape))
        if scene.mesh.veils:
            passing = np.where(some, tau[met], 0.0)
            beyond, _ = scene.hit(origin, direction.reshape(-1, 3), veils=False)
            more = (passing > 0.0) & (beyond >= 0)
            weight = np.concatenate([(scale * (1.0 - passing))[some], (scale * passing)[more]])
            where = (np.concatenate([row[some], row[more]]), np.concatenate([met[some], beyond[more]]))
            light.append(sparse.csr_array((weight, where), shape=shape))
    longwave = sparse.csr_array(sparse.vstack(thermal, format="csr"))
    return (sparse.csr_array(sparse.vstack(light, format="csr")) if light else longwave), longwave


def into_hidden(hidden: Windows, part: NDArray[np.int64], u: Array, shift: Array) -> tuple[Array, Array]:
    """Hidden share of the hemisphere (cell,) and directions into it (cell, ray, 3)."""
    azimuths = hidden.count.shape[1]
    share, directions = np.zeros(len(part)), np.zeros((len(part), len(u), 3))
    directions[..., 2] = 1.0
    for i, cell in enumerate(part):
        size = int(hidden.count[cell].sum())
        bounds = np.sin(hidden.bounds[hidden.first[cell] : hidden.first[cell] + size] * STEP) ** 2
        total = np.concatenate([[0.0], np.cumsum(bounds[:, 1] - bounds[:, 0])])
        share[i] = total[-1] / azimuths
        if total[-1] <= 0.0:
            continue
        p = (u + shift[cell]) % 1.0
        at = p[:, 0] * total[-1]
        k = np.clip(np.searchsorted(total, at, side="right") - 1, 0, size - 1)
        sine2 = np.clip(bounds[k, 0] + at - total[k], 0.0, 1.0)
        azimuth = hidden.azimuth_of(cell)[k] + (p[:, 1] - 0.5) * 2.0 * np.pi / azimuths
        cosine = np.sqrt(1.0 - sine2)
        directions[i] = np.stack([cosine * np.cos(azimuth), cosine * np.sin(azimuth), np.sqrt(sine2)], axis=1)
    return share, directions
