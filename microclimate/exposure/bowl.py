"""The bowl as the field sees it: sun, sky light, light off the stands and longwave for every cell or patch.

Angles of the sun are compass degrees, as `pvlib` gives them. Rows are cells, or patches after `grouped`.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from microclimate.column.jit import over_threads
from microclimate.exposure import exchange as ex
from microclimate.exposure import glint as mirrored
from microclimate.exposure import sky
from microclimate.exposure.glint import Glint
from microclimate.exposure.mesh import Finish, Mesh
from microclimate.exposure.plan import venue_mesh
from microclimate.exposure.suntable import around, on_nodes
from microclimate.exposure.trace import SENSOR_HEIGHT, Gain, Geometry, gain, geometry
from microclimate.exposure.weathered import albedos
from microclimate.exposure.windows import crest
from microclimate.physics.longwave import black_body
from microclimate.venue.described import Venue

Array = NDArray[np.float64]
_SUNS = 1024  # looked up at a time, for the sake of memory

AT_ONCE = 500  # suns whose skies are worked out together: what a core's cache holds


@dataclass(frozen=True)
class Surface:
    """Facets of one stand and material, which share a temperature."""

    stand: str
    material: str
    area: float  # [m2]


@dataclass(frozen=True)
class Bowl:
    """The exposure of cells (or patches) of one venue.

    cell_x, cell_y, cell_area, cell_zone (cell,): centre [m], area [m2], number of the zone; sky_view (row,).
    albedo, emissivity (node,): of each facet, the ground outside last; owner (node,): number in `surfaces`.
    """

    bearing: float
    cell_x: Array
    cell_y: Array
    cell_area: Array
    cell_zone: NDArray[np.int64]
    geometry: Geometry
    mesh: Mesh
    albedo: Array
    emissivity: Array
    surfaces: tuple[Surface, ...]
    owner: NDArray[np.int64]
    gain: Gain
    glint: Glint | None = None
    weights: Array | None = None

    @property
    def rows(self) -> int:
        """How many cells, or patches."""
        return len(self.cell_x) if self.weights is None else len(self.weights)

    @cached_property
    def _share(self) -> sparse.csr_array | None:
        """The weights without their zeros."""
        return None if self.weights is None else sparse.csr_array(self.weights)

    def _gather(self, cells: Array | sparse.csr_array) -> Array:
        """Cells (cell, ...) to rows (row, ...)."""
        rows = cells if self._share is None else self._share @ cells
        return rows.toarray() if sparse.issparse(rows) else np.asarray(rows)

    @cached_property
    def sky_view(self) -> Array:
        """Share of the sky each row sees [1]; a translucent roof hides it."""
        return self._gather(self.geometry.sky_view)

    def grouped(self, weights: ArrayLike) -> "Bowl":
        """The same bowl for patches: weights (patch, cell), each row summing to 1."""
        return replace(self, weights=np.asarray(weights, float))

    def with_surfaces(
        self, albedo: Array | None = None, emissivity: Array | None = None, *, mirrors: bool = True
    ) -> "Bowl":
        """The same bowl with other albedos or emissivities (node,): snow on the steps, wet concrete, frost on metal.

        mirrors: what is mirror-like changes the light as before; False: all is thrown back evenly.
        """
        e, glint = self.geometry.exchange, self.glint if mirrors else None
        if emissivity is None:  # states of an hour are not worth the disk
            albedo = self.albedo if albedo is None else np.asarray(albedo, float)
            light = np.asarray(np.linalg.inv(np.eye(len(albedo)) - e.factor * albedo), float)
            return replace(self, albedo=albedo, gain=Gain(light, self.gain.thermal), glint=glint)
        albedo = self.albedo if albedo is None else np.asarray(albedo, float)
        emissivity = np.asarray(emissivity, float)
        return replace(self, albedo=albedo, emissivity=emissivity, gain=gain(e, albedo, emissivity), glint=glint)

    @cached_property
    def weathered(self) -> tuple["Bowl", "Bowl"]:
        """The same bowl with all under the open sky wet, and under deep snow."""
        wet, snow = albedos(self.mesh, self.albedo)
        return self.with_surfaces(albedo=wet), self.with_surfaces(albedo=snow, mirrors=False)

    def field_angle(self, azimuth: ArrayLike) -> Array:
        """Compass azimuth [degree] as an angle counter-clockwise from the field's x axis [rad]."""
        return np.radians((self.bearing - np.asarray(azimuth, float)) % 360.0)

    @cached_property
    def light_operators(self) -> tuple[Array, Array]:
        """Light off the stands per light on each element, and per light on each node: (row, element + 1), (row, node).

        The first bounce is seen element by element, the later ones facet by facet: F_e R + F R ((I - F R)^-1 - I).
        """
        e = self.geometry.exchange
        seen = self._gather(self.geometry.light)
        by_node = _summed(seen, e)
        later = (by_node * self.albedo) @ self.gain.light
        direct = seen * self.albedo[e.owner]
        return direct + (e.spread @ (later - by_node * self.albedo).T).T, later

    @cached_property
    def _sky_matrix(self) -> tuple[Array, Array]:
        """Sky light per radiance of each patch, direct and off the stands, both (145, row)."""
        direct = self._gather(self.geometry.sky_patches)
        bounced = np.pi * self.light_operators[1] @ self.geometry.exchange.patches
        return np.ascontiguousarray(direct.T), np.ascontiguousarray(bounced.T)

    @cached_property
    def _sun_nodes(self) -> ex.Single:
        """Light off the stands for unit direct normal on the sun nodes (azimuth, elevation, row)."""
        found = self.geometry.exchange.sun.T.astype(np.float32) @ self.light_operators[0].T.astype(np.float32)
        return found.reshape(len(ex.NODE_AZIMUTHS), len(ex.NODE_ELEVATIONS), -1)

    @cached_property
    def open_above(self) -> Array:
        """Share of each row with no roof overhead [1]: where rain and snow fall."""
        return self._gather(self.geometry.everything.sees(np.zeros(1), np.full(1, 0.5 * np.pi))[:, 0].astype(float))

    def crest(self, count: int) -> tuple[Array, Array]:
        """Distance and height [m] of the stands' crest at `count` azimuths from north, for cells (cell, azimuth).

        The crest is what rises highest into the sky, roofs left out; height 0 where there is none.
        """
        if count not in self._crests:
            points = np.stack([self.cell_x, self.cell_y, np.full(len(self.cell_x), SENSOR_HEIGHT)], axis=1)
            angles = self.field_angle(np.arange(count) * 360.0 / count)
            self._crests[count] = crest(points, self.mesh.solids, angles)
        return self._crests[count]

    @cached_property
    def _crests(self) -> dict[int, tuple[Array, Array]]:
        """Those asked for before, by their number of azimuths."""
        return {}

    def sun_factor(self, azimuth: ArrayLike, elevation: ArrayLike) -> Array:
        """Share of the sun's beam that arrives (time, row) [1]; azimuth, elevation (time,) in compass degrees."""
        a, h = self._sun(azimuth, elevation)
        g = self.geometry
        seen = g.opaque.sees(a, h)
        if g.veils:
            share = seen.astype(float)
            for tau, veil in g.veils:
                share *= tau + (1.0 - tau) * veil.sees(a, h)
            return self._gather(share).T
        return self._gather(seen.astype(float)).T

    def sky_light(
        self, azimuth: ArrayLike, elevation: ArrayLike, direct_normal: ArrayLike, diffuse: ArrayLike
    ) -> Array:
        """Light straight from the sky (time, row) [W m-2]: all-weather distribution over the windows of each row."""
        return self.diffuse(azimuth, elevation, direct_normal, diffuse)[0]

    def reflected(
        self, azimuth: ArrayLike, elevation: ArrayLike, direct_normal: ArrayLike, diffuse: ArrayLike
    ) -> Array:
        """Light off the stands, sun and sky, all bounces (time, row) [W m-2]."""
        return self.diffuse(azimuth, elevation, direct_normal, diffuse)[1]

    def diffuse(
        self, azimuth: ArrayLike, elevation: ArrayLike, direct_normal: ArrayLike, diffuse: ArrayLike
    ) -> tuple[Array, Array]:
        """`sky_light` and `reflected` in one go."""
        radiance = self.radiance(azimuth, elevation, direct_normal, diffuse)
        return self.sky_light_under(radiance), self.reflected_under(radiance, azimuth, elevation, direct_normal)

    def sky_light_under(self, radiance: Array) -> Array:
        """Light straight from skies of a `radiance` (..., 145), or from their sum (..., row) [W m-2]."""
        return np.asarray(radiance @ self._sky_matrix[0])

    def reflected_under(
        self, radiance: Array, azimuth: ArrayLike, elevation: ArrayLike, direct_normal: ArrayLike
    ) -> Array:
        """`reflected` under skies that `radiance` has told already (time, row) [W m-2]."""
        direct = np.atleast_1d(np.asarray(direct_normal, float))[:, None]
        return np.asarray(radiance @ self._sky_matrix[1] + direct * self.off_stands(azimuth, elevation))

    def off_stands(self, azimuth: ArrayLike, elevation: ArrayLike) -> Array:
        """Sunlight off the stands for unit direct normal, from the table of suns (time, row) [1].

        Bare metal as it is told; `glint_ends` tells how far it may be from that.
        """
        even = self.off_matte_stands(azimuth, elevation)
        return even if self.glint is None else np.maximum(even + self._changes(azimuth, elevation)[mirrored.TOLD], 0.0)

    def off_matte_stands(self, azimuth: ArrayLike, elevation: ArrayLike) -> Array:
        """`off_stands` with all light thrown back evenly (time, row) [1]."""
        table, nodes = self._sun_nodes, around(len(ex.NODE_AZIMUTHS), *self._sun(azimuth, elevation))
        return np.asarray(sum(weight[:, None] * table[place] for place, weight in nodes))

    def glint_ends(self, azimuth: ArrayLike, elevation: ArrayLike) -> Array | None:
        """`off_stands` for seats less, as and more mirror-like than told (3, time, row) [1]; None: nothing is.

        Each end keeps its energy; which is the brightest differs from row to row and sun to sun.
        """
        if self.glint is None:
            return None
        return np.maximum(self.off_matte_stands(azimuth, elevation) + self._changes(azimuth, elevation), 0.0)

    def _changes(self, azimuth: ArrayLike, elevation: ArrayLike) -> Array:
        """What mirror-like light changes (end, time, row) [1]."""
        assert self.glint is not None
        nodes = around(self.glint.azimuths, *self._sun(azimuth, elevation))
        found = np.empty((len(self.glint.change), nodes[0][1].size, self._onto.shape[0]))
        for first in range(0, found.shape[1], _SUNS):
            now = slice(first, first + _SUNS)
            for number, change in enumerate(self.glint.change):
                at_points = sum(weight[now, None] * change[place[0][now], place[1][now]] for place, weight in nodes)
                found[number, now] = (self._onto @ np.asarray(at_points, float).T).T
        return found

    @cached_property
    def _onto(self) -> sparse.csr_array:
        """Share of each point of the glint's tables in each row (row, point)."""
        assert self.glint is not None
        return self.glint.onto if self._share is None else self._share @ self.glint.onto

    def _sun(self, azimuth: ArrayLike, elevation: ArrayLike) -> tuple[Array, Array]:
        """Angle in the field's frame and height of suns given in compass degrees, both (time,) [rad]."""
        return self.field_angle(np.atleast_1d(azimuth)), np.radians(np.atleast_1d(np.asarray(elevation, float)))

    def diffuse_sums(
        self, azimuth: ArrayLike, elevation: ArrayLike, direct_normal: ArrayLike, diffuse: ArrayLike
    ) -> tuple[Array, Array]:
        """`diffuse` summed over time, both (row,): light adds up before it is laid on the rows."""
        radiance = self.radiance(azimuth, elevation, direct_normal, diffuse).sum(axis=0)
        return self.sky_light_under(radiance), self.reflected_sum(radiance, azimuth, elevation, direct_normal)

    def reflected_sum(
        self, radiance: Array, azimuth: ArrayLike, elevation: ArrayLike, direct_normal: ArrayLike
    ) -> Array:
        """`reflected` summed over time (row,), of the skies' `radiance` summed already (145,)."""
        sun = self._sun(azimuth, elevation)
        suns = on_nodes(self._sun_nodes.shape[:2], *sun, direct_normal)
        off_stands = suns.astype(np.float32).ravel() @ self._sun_nodes.reshape(suns.size, -1)
        if self.glint is not None:
            change = self.glint.change[mirrored.TOLD]
            suns = on_nodes(change.shape[:2], *sun, direct_normal)
            off_stands = np.maximum(off_stands + self._onto @ (suns.ravel() @ change.reshape(suns.size, -1)), 0.0)
        return np.asarray(radiance @ self._sky_matrix[1] + off_stands)

    def radiance(self, azimuth: ArrayLike, elevation: ArrayLike, direct_normal: ArrayLike, diffuse: ArrayLike) -> Array:
        """Of the sky's patches under each sun (time, 145) [W m-2 sr-1]; the same whatever state the stands are in."""
        a, h = self._sun(azimuth, elevation)
        direct, spread = (np.broadcast_to(np.asarray(v, float), a.shape) for v in (direct_normal, diffuse))
        lit = np.zeros((len(a), sky.PATCHES))
        bright = np.flatnonzero(spread > 0.0)
        pieces = np.array_split(bright, max(1, len(bright) // AT_ONCE))

        def light(first: int, end: int) -> None:
            for some in pieces[first:end]:
                lit[some] = sky.radiance(a[some], h[some], direct[some], spread[some])

        over_threads(light, len(pieces))
        return lit

    @cached_property
    def _longwave_matrix(self) -> tuple[Array, Array, Array]:
        """Per row: black emission of each surface (row, surface), sky mirrored (row,), its slope part (row,)."""
        e = self.geometry.exchange
        operator = _summed(self._gather(self.geometry.thermal), e) @ self.gain.thermal
        mirror = 1.0 - self.emissivity
        own = operator * self.emissivity
        by_surface = own @ (self.owner[:, None] == np.arange(len(self.surfaces)))
        return by_surface, operator @ (mirror * e.view), operator @ (mirror * (e.view + e.low_sky))

    def longwave(
        self, sky_down: ArrayLike, air_temperature: ArrayLike, stand_temperature: ArrayLike
    ) -> tuple[Array, Array]:
        """Longwave down at each row, from the visible sky and from the stands, both (..., row) [W m-2].

        sky_down: what open ground gets (...,) [W m-2]; air_temperature (...,) [K]; stand_temperature (...,) of all
        stands, or (..., surface) in the order of `surfaces`, of which the last two are the floor and the ground
        outside (they may be left out: then they are as warm as the air) [K].
        """
        down, air = np.broadcast_arrays(np.asarray(sky_down, float), np.asarray(air_temperature, float))
        temperature = self._stands(air, np.asarray(stand_temperature, float))
        return self._warmth(down, sky.low_sky_slope(down, air), black_body(temperature))

    def longwave_mean(
        self, sky_down: ArrayLike, air_temperature: ArrayLike, stand_temperature: ArrayLike
    ) -> tuple[Array, Array]:
        """Means over time of `longwave`, both (row,): warmth adds up before it is laid on the rows.

        sky_down, air_temperature (time,); stand_temperature (time,) or (time, surface) as there.
        """
        down, air = np.asarray(sky_down, float), np.asarray(air_temperature, float)
        black = black_body(self._stands(air, np.asarray(stand_temperature, float)))
        return self._warmth(down.mean(), sky.low_sky_slope(down, air).mean(), black.mean(axis=0))

    def _stands(self, air: Array, stands: Array) -> Array:
        """Temperature of every surface (..., surface) [K], as `longwave` may be told it."""
        count = len(self.surfaces)
        temperature = np.broadcast_to(air[..., None], (*air.shape, count)).copy()
        if stands.ndim == air.ndim + 1:
            temperature[..., : stands.shape[-1]] = stands
        else:
            temperature[..., : count - 2] = np.broadcast_to(stands, air.shape)[..., None]
        return temperature

    def _warmth(self, down: ArrayLike, slope: ArrayLike, emitted: Array) -> tuple[Array, Array]:
        """Longwave from sky and stands: linear in the sky's own, in its slope, and in each surface's black body."""
        by_surface, mirrored, mirrored_low = self._longwave_matrix
        low = self._gather(self.geometry.low_sky)
        down, slope = np.asarray(down)[..., None], np.asarray(slope)[..., None]
        seen = down * self.sky_view - slope * (self.sky_view + low)
        return seen, emitted @ by_surface.T + down * mirrored - slope * mirrored_low


def _summed(seen: Array, exchange: ex.Exchange) -> Array:
    """View factors of elements (row, element + 1) summed to those of nodes (row, node)."""
    return np.asarray(exchange.members.T @ seen.T).T


def bowl(venue: Venue) -> Bowl:
    """The bowl of a venue, with one row for each cell of its zones."""
    x, y, area, zone = cells(venue)
    mesh = venue_mesh(venue.bowl, venue.field)
    return assemble(mesh, geometry(mesh, x, y), venue.field.bearing, area, zone, venue.bowl.ground_albedo)


def assemble(
    mesh: Mesh, traced: Geometry, bearing: float, area: Array, zone: NDArray[np.int64], ground_albedo: float
) -> Bowl:
    """A bowl from its parts."""
    outside = Finish("ground outside", ground_albedo, 0.95)
    finishes = [f.finish for f in mesh.facets] + [outside]
    owners = [("floor", "floor") if f.body == "floor" else (f.body, f.finish.name) for f in mesh.facets]
    names = [*dict.fromkeys(o for o in owners if o[0] != "floor"), ("floor", "floor"), ("outside", "ground outside")]
    owner = np.array([names.index(o) for o in owners] + [len(names) - 1])
    albedo, emissivity = np.array([[f.albedo, f.emissivity] for f in finishes]).T
    size = np.bincount(owner[:-1], traced.exchange.area, len(names))
    return Bowl(
        bearing=bearing,
        cell_x=traced.x,
        cell_y=traced.y,
        cell_area=area,
        cell_zone=zone,
        geometry=traced,
        mesh=mesh,
        albedo=albedo,
        emissivity=emissivity,
        surfaces=tuple(Surface(*name, float(a)) for name, a in zip(names, size, strict=True)),
        owner=owner,
        gain=gain(traced.exchange, albedo, emissivity),
        glint=mirrored.glint(mesh, traced, albedo),
    )


def cells(venue: Venue) -> tuple[Array, Array, Array, NDArray[np.int64]]:
    """Centres, areas and zone of the cells whose centre lies in a zone; each (cell,)."""
    field = venue.field
    columns, rows = (max(1, round(side / field.cell_size)) for side in (field.length, field.width))
    dx, dy = field.length / columns, field.width / rows
    x, y = np.meshgrid(
        (np.arange(columns) + 0.5) * dx - 0.5 * field.length, (np.arange(rows) + 0.5) * dy - 0.5 * field.width
    )
    x, y = x.ravel(), y.ravel()
    zone = np.full(len(x), -1)
    for number, described in enumerate(field.zones):
        zone[(zone < 0) & inside(np.array(described.polygon), x, y)] = number
    kept = zone >= 0
    return x[kept], y[kept], np.full(int(kept.sum()), dx * dy), zone[kept]


def inside(polygon: Array, x: Array, y: Array) -> NDArray[np.bool_]:
    """Whether points lie in a polygon (corner, 2); even-odd rule."""
    a, b = polygon, np.roll(polygon, -1, axis=0)
    crosses = (a[:, 1] > y[:, None]) != (b[:, 1] > y[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = a[:, 0] + (y[:, None] - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])
    return np.asarray(np.sum(crosses & (x[:, None] < at), axis=1) % 2 == 1)
