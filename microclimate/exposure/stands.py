"""The stands and the floor as the air in the bowl meets them: a few surfaces, each with one temperature.

Planks, decks and seats are one node; concrete and the floor are stacks of layers under a skin. The layers are linear
(no water in them freezes), so they are eliminated from below and the skin's balance stays one scalar equation.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.exposure import exchange
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.planks import film_emissivity
from microclimate.physics.elementwise import formula
from microclimate.physics.longwave import black_body
from microclimate.venue.bowl import Bowl as Described
from microclimate.venue.field import Turf
from microclimate.venue.materials import STANDS

Array = NDArray[np.float64]

LAYERS = 7  # of concrete and of the floor
FIRST = 0.15  # [1] share of the second layer's thickness that the skin takes; ours
UNDERSIDE = 5.0  # [W m-2 K-1] from a concrete terrace's underside to the air below: inside surface, ISO 6946 (memory)
FLOOR_DEPTH = 0.5  # [m] of the floor's layers; its underside keeps its starting temperature
FLOOR_CONDUCTIVITY, FLOOR_CAPACITY = 1.0, 2.2e6  # [W m-1 K-1], [J m-3 K-1] moist sand (trial on measured soils)
FLOOR_UNDER = 1.0  # [W m-2 K-1] to the ground below; ours

# faces that trade heat with the air in the bowl; backs, undersides and roof tops face the air outside
INNER = frozenset(
    {"tread", "riser", "front", "fascia", "parapet", "concourse", "field", "apron", "wall"}
    | {"plank", "plank edge", "plank rear", "plank under"}
)


class Thermal(Protocol):
    """What the venue says of a stand material's heat."""

    @property
    def thermal(self) -> str: ...  # "plank" or "slab"
    @property
    def heat_capacity(self) -> float: ...  # [J m-2 K-1] of the whole thickness
    @property
    def thickness(self) -> float: ...  # [m]
    @property
    def conductivity(self) -> float: ...  # [W m-1 K-1]


@dataclass(frozen=True)
class Surfaces:
    """Surfaces of one bowl; arrays (surface,) unless said otherwise, per square metre that faces the bowl's air.

    seen (surface, surface): share of each other's black emission in what a surface receives; sky, low_sky and roofs
    the same for the open sky's longwave, the low sky's slope and what is as warm as the air outside.
    """

    names: tuple[str, ...]
    area: Array  # [m2]
    emissivity: Array  # [1]
    seen: Array  # [1]
    sky: Array  # [1]
    low_sky: Array  # [1]
    roofs: Array  # [1]
    capacity: Array  # [J m-2 K-1] of the skin
    bed: Array  # [W m-2 K-1] skin to first layer, 0 without layers
    layer_capacity: Array  # (surface, layer) [J m-2 K-1]
    layer_conductance: Array  # (surface, layer) [W m-2 K-1] to the layer below, the last to what is below
    below_air: Array  # 1: what is below is outside air, 0: ground at its first temperature
    deck: Array  # share of the face that also has an underside in the outside air [1]
    floor: Array  # 1: grass, which exchanges as the field does and transpires
    windless: Array  # [W m-2 K-1] exchange of the grass in a calm, on top of the wind's
    resistance_day: Array  # [s m-1] to evaporation from the dry surface; infinite for stands
    resistance_night: Array


def layers(thickness: float, conductivity: float, capacity: float, under: float) -> tuple[float, float, Array, Array]:
    """Cut a slab: capacity of its skin, conductance to the first layer, then capacities and conductances of the layers.

    Parameters
    ----------
    thickness, conductivity : float
        [m], [W m-1 K-1]
    capacity : float
        [J m-2 K-1] of the whole thickness.
    under : float
        [W m-2 K-1] from the underside to what is below.

    Returns
    -------
    skin capacity, bed conductance, capacities (layer,), conductances (layer,)
        Layers grow by half from the top; the last conductance goes to what is below. Capacities sum to `capacity`.
    """
    growth = 1.5 ** np.arange(LAYERS)
    shares = np.concatenate([[FIRST], growth]) / (growth.sum() + FIRST)
    half = 0.5 * shares * thickness / conductivity
    between = 1.0 / (half[1:-1] + half[2:])
    last = 1.0 / (half[-1] + 1.0 / under)
    return shares[0] * capacity, 1.0 / (half[0] + half[1]), shares[1:] * capacity, np.append(between, last)


@formula
def eliminate(temperature, capacity, conductance, bed, below, step, share, change):  # type: ignore[no-untyped-def]
    """Backward Euler of the layers from below: T_1 = change[0] + share[0] T_skin at the end of the step.

    temperature, capacity, conductance (layer,) as in `Surfaces`; fills share and change so that every layer answers the
    one above it. Linear conduction; the same elimination as the column's, without freezing.
    """
    count = len(capacity)
    under = conductance[count - 1]
    source = under * below
    for i in range(count - 1, -1, -1):
        above = bed if i == 0 else conductance[i - 1]
        store = capacity[i] / step
        pivot = store + above + under
        share[i] = above / pivot
        change[i] = (store * temperature[i] + source) / pivot
        under = above * (1.0 - share[i])
        source = above * change[i]


def assemble(
    names: Sequence[str],
    area: Array,
    plan: Array,
    emissivity: Array,
    materials: Sequence[Thermal | None],
    seen: Array,
    sky: Array,
    low_sky: Array,
    roofs: Array,
    *,
    deck: Array,
    leaf_capacity: float = 3000.0,
    leaf_bed: float = 5.0,
    windless: float = 3.0,
    resistance: tuple[float, float] = (70.0, 200.0),
) -> Surfaces:
    """Surfaces from areas, view shares and materials.

    Parameters
    ----------
    names, area, emissivity, seen, sky, low_sky, roofs, deck
        As in `Surfaces`.
    plan : array (surface,)
        [m2] of plate that carries the material's heat capacity (a plank has more faces than plan).
    materials : sequence
        None for the grass floor.
    leaf_capacity, leaf_bed, windless, resistance
        Of the grass [J m-2 K-1], [W m-2 K-1], [W m-2 K-1], by day and night [s m-1].
    """
    count = len(names)
    capacity, bed = np.zeros(count), np.zeros(count)
    layer_capacity, layer_conductance = np.ones((count, LAYERS)), np.zeros((count, LAYERS))
    below_air, floor = np.ones(count), np.zeros(count)
    for k, material in enumerate(materials):
        if material is None:
            skin, _, under, through = layers(FLOOR_DEPTH, FLOOR_CONDUCTIVITY, FLOOR_CAPACITY * FLOOR_DEPTH, FLOOR_UNDER)
            capacity[k], bed[k] = leaf_capacity, leaf_bed
            layer_capacity[k] = under + np.append(skin, np.zeros(LAYERS - 1))
            layer_conductance[k] = through
            below_air[k], floor[k] = 0.0, 1.0
        elif material.thermal == "plank":
            capacity[k] = material.heat_capacity * plan[k] / area[k]
        else:
            capacity[k], bed[k], layer_capacity[k], layer_conductance[k] = layers(
                material.thickness, material.conductivity, material.heat_capacity, UNDERSIDE
            )
    day, night = (np.where(floor > 0.0, r, np.inf) for r in resistance)
    return Surfaces(
        names=tuple(names),
        area=area,
        emissivity=emissivity,
        seen=seen,
        sky=sky,
        low_sky=low_sky,
        roofs=roofs,
        capacity=capacity,
        bed=bed,
        layer_capacity=layer_capacity,
        layer_conductance=layer_conductance,
        below_air=below_air,
        deck=deck,
        floor=floor,
        windless=np.where(floor > 0.0, windless, 0.0),
        resistance_day=day,
        resistance_night=night,
    )


# of these faces a sheet has its underside in the open air below
SHEET = frozenset({"tread", "riser", "front", "fascia", "parapet", "concourse", "wall"})
CARRIERS = SHEET | {"plank"}  # faces whose area carries the material's mass


@dataclass(frozen=True)
class Stands:
    """The surfaces of one venue, where they stand in `Bowl.surfaces`, and the sunlight they take up.

    sun (azimuth, elevation, surface): absorbed for unit direct normal; sky (surface,): for unit diffuse of an even sky.
    """

    surfaces: Surfaces
    index: NDArray[np.int64]
    sun: RegularGridInterpolator
    sky: Array

    def absorbed(self, angle: Array, elevation: Array, direct_normal: Array, diffuse: Array) -> Array:
        """Sunlight taken up [W m-2] (realization, surface, time).

        angle, elevation (time,): of the sun in the field's frame [rad]; direct_normal, diffuse (realization, time).
        """
        beam = self.sun(np.stack([angle % (2.0 * np.pi), np.clip(elevation, 0.0, 0.5 * np.pi)], axis=1))
        beam = np.where(elevation[:, None] > 0.0, beam, 0.0).T
        return np.asarray(direct_normal[:, None, :] * beam + diffuse[:, None, :] * self.sky[:, None])


def stands(bowl: Bowl, described: Described, turf: Turf) -> Stands:
    """Gather the traced facets of a bowl that face its air into surfaces, one for each stand and material."""
    e, facets = bowl.geometry.exchange, bowl.mesh.facets
    part = np.array([facet.part for facet in facets])
    inner = np.isin(part, list(INNER)) & np.array([facet.finish.name != "roof" for facet in facets])
    names = [f"{surface.stand}, {surface.material}" for surface in bowl.surfaces]
    owner = bowl.owner[:-1]
    index = np.array([k for k in range(len(names)) if e.area[inner & (owner == k)].sum() > 0.0])

    member = (owner == index[:, None]) & inner
    area = member @ e.area
    share = member * e.area / area[:, None]
    # what falls on a facet: others' emission and the sky, each with all its bounces
    falling = share @ e.factor_thermal[:-1] @ bowl.gain.thermal
    mirror = 1.0 - bowl.emissivity
    emission = falling * bowl.emissivity
    seen = np.stack([emission[:, bowl.owner == k].sum(axis=1) for k in range(len(names))], axis=1)
    sky, low_sky = (share @ v[:-1] + falling @ (mirror * v) for v in (e.view, e.view + e.low_sky))

    taken = (share * (1.0 - bowl.albedo[:-1])) @ bowl.gain.light[:-1]
    nodes = (taken @ e.to_nodes(e.sun.astype(float))).reshape(
        len(index), len(exchange.NODE_AZIMUTHS), len(exchange.NODE_ELEVATIONS)
    )
    nodes = np.concatenate([nodes, nodes[:, :1]], axis=1)
    azimuths = np.append(exchange.NODE_AZIMUTHS, 2.0 * np.pi)

    materials: list[Thermal | None] = []
    for k in index:
        name = bowl.surfaces[k].material
        materials.append(
            None if name == "floor" else described.surface(name if name in _known(described) else "concrete")
        )
    sheet = np.array([material is not None and material.thermal == "plank" for material in materials])
    made = assemble(
        [names[k] for k in index],
        area,
        (member & np.isin(part, list(CARRIERS))) @ e.area,
        share @ bowl.emissivity[:-1],
        materials,
        seen[:, index],
        sky,
        low_sky,
        np.delete(seen, index, axis=1).sum(axis=1),
        deck=np.where(sheet, (member & np.isin(part, list(SHEET))) @ e.area / area, 0.0),
        leaf_capacity=turf.leaf_heat_capacity,
        leaf_bed=turf.canopy_conductance,
        windless=turf.exchange_floor,
        resistance=(turf.resistance_day, turf.resistance_night),
    )
    return Stands(
        made,
        index,
        RegularGridInterpolator((azimuths, exchange.NODE_ELEVATIONS), np.moveaxis(nodes, 0, -1)),
        np.asarray(taken @ e.patches.sum(axis=1)),
    )


def _known(described: Described) -> frozenset[str]:
    return frozenset(STANDS) | {surface.name for surface in described.surfaces}


def apparent_temperature(surfaces: Surfaces, temperature: Array, film: Array, received: Array) -> Array:
    """What each surface would have to be [K] to shine as it does under its frost, with its bare emissivity.

    Frost on bare metal shines more and mirrors less; the traced bowl knows the bare metal. All (..., surface, time).
    """
    bare = surfaces.emissivity[:, None]
    now = film_emissivity(bare, film)
    black = black_body(temperature)
    falling = received + np.diagonal(surfaces.seen)[:, None] * black
    return np.asarray((np.maximum(now * black + (bare - now) * falling, 1.0) / (bare * STEFAN_BOLTZMANN)) ** 0.25)
