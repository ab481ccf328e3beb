"""The grid of layers under a surface, and what the kernel needs to know of each layer."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from microclimate.physics import soil

Array = NDArray[np.float64]

COUNT = 20  # layers of a column; 12 to 32 are supported
FINEST = 0.004  # [m] thickness aimed at under the surface; ours, by trial against closed forms
SAND_ALPHA, SAND_SHAPE = 6.0, 2.5  # [m-1], [1] van Genuchten's numbers of a root-zone sand (from memory: 4-8, 2-3)


class Layer(Protocol):
    """What a layer of the venue file says."""

    @property
    def thickness(self) -> float: ...  # [m]
    @property
    def porosity(self) -> float: ...  # [1]
    @property
    def water_content(self) -> float: ...  # [m3 m-3]
    @property
    def quartz(self) -> float: ...  # [1]
    @property
    def dry_density(self) -> float: ...  # [kg m-3]
    @property
    def solid_heat_capacity(self) -> float: ...  # [J m-3 K-1]
    @property
    def coarse(self) -> bool: ...
    @property
    def conductivity(self) -> float | None: ...  # [W m-1 K-1]
    @property
    def freezing_range(self) -> float: ...  # [K]


@dataclass(frozen=True)
class Grid:
    """Layers of one zone from the top down; every array has the shape (layer,)."""

    thickness: Array  # [m]
    depth: Array  # [m] of the centres
    porosity: Array  # [1]
    water_content: Array  # [m3 m-3]
    quartz: Array  # [1]
    dry_density: Array  # [kg m-3]
    solid_heat_capacity: Array  # [J m-3 K-1]
    coarse: NDArray[np.bool_]
    fixed_conductivity: Array  # [W m-1 K-1], NaN where water and quartz decide
    freezing_range: Array  # [K] below 0 degC over which the water freezes

    @property
    def faces(self) -> Array:
        """Depths of the borders between layers [m], shape (layer + 1,)."""
        return np.concatenate(([0.0], np.cumsum(self.thickness)))


def grid(layers: Sequence[Layer], count: int = COUNT) -> Grid:
    """Cut a zone's layers into `count` thinner ones, fine under the surface, coarse at depth.

    Borders of materials are kept; between them the thickness grows evenly with depth. Sand over drained gravel holds
    its water low, as such a build is meant to. `simulate` and `start` both cut with this function, so an initial state
    and a run always agree.

    Parameters
    ----------
    layers : the zone's layers from the surface down, as `venue.field.zones[i].layers`
    count : how many to make; at least one for each given layer

    Returns
    -------
    Grid
        `thickness`, `depth` of the centres and the material of each, shape (count,).
    """
    bottoms = np.cumsum([layer.thickness for layer in layers])
    growth = _growth(float(bottoms[-1]), count)
    edges = np.concatenate(([0.0], _stretched(bottoms, growth)))
    counts = _shares(np.diff(edges), count)
    faces = [_unstretched(np.linspace(edges[i], edges[i + 1], n + 1)[:-1], growth) for i, n in enumerate(counts)]
    borders = np.append(np.concatenate(faces), bottoms[-1])
    starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
    borders[starts] = np.concatenate(([0.0], bottoms[:-1]))
    thickness = np.diff(borders)

    def spread(name: str) -> Array:
        return np.repeat(np.array([getattr(layer, name) for layer in layers], dtype=float), counts)

    water = spread("water_content")
    for place in range(len(layers) - 1):
        if _breaks(layers[place], layers[place + 1]):
            inside = slice(starts[place], starts[place + 1])
            above = bottoms[place] - 0.5 * (borders[:-1] + borders[1:])[inside]
            water[inside] = _perched(layers[place], above, thickness[inside])
    fixed = [np.nan if layer.conductivity is None else layer.conductivity for layer in layers]
    return Grid(
        thickness,
        borders[:-1] + 0.5 * thickness,
        spread("porosity"),
        water,
        spread("quartz"),
        spread("dry_density"),
        spread("solid_heat_capacity"),
        np.repeat(np.array([layer.coarse for layer in layers], dtype=bool), counts),
        np.repeat(np.array(fixed, dtype=float), counts),
        spread("freezing_range"),
    )


def _breaks(upper: Layer, lower: Layer) -> bool:
    """Whether water hangs above the border: sand over drained gravel."""
    sandy = upper.coarse and upper.conductivity is None and upper.water_content > 2.0 * lower.water_content
    return bool(sandy and lower.coarse and lower.conductivity is None and upper.water_content < 0.9 * upper.porosity)


def _perched(layer: Layer, height: Array, thickness: Array) -> Array:
    """Water [m3 m-3] at heights [m] above drained gravel: more of it low, the layer's own in the mean.

    The retention curve (`soil.retained_water`) from a suction at the border that gives the mean.
    """

    def held(suction: float) -> Array:
        water: Array = soil.retained_water(height + suction, 0.0, layer.porosity, SAND_ALPHA, SAND_SHAPE)
        return water

    low, high = 0.0, 50.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        wet = float(np.average(held(middle), weights=thickness)) > layer.water_content
        low, high = (middle, high) if wet else (low, middle)
    water = held(high)
    return np.asarray(water * layer.water_content / np.average(water, weights=thickness))


def _growth(depth: float, count: int) -> float:
    """Growth b [1] of the thickness a + b z that gives `count` layers down to `depth`, a = FINEST."""
    if depth <= FINEST * count:
        return 0.0
    low, high = 1e-9, 10.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if np.log1p(middle * depth / FINEST) / middle > count else (low, middle)
    return 0.5 * (low + high)


def _stretched(depth: Array, growth: float) -> Array:
    """Depth counted in layers."""
    return depth / FINEST if growth == 0.0 else np.log1p(growth * depth / FINEST) / growth


def _unstretched(place: Array, growth: float) -> Array:
    """Depth [m] of a place counted in layers."""
    return place * FINEST if growth == 0.0 else FINEST * np.expm1(growth * place) / growth


def _shares(spans: Array, count: int) -> NDArray[np.int64]:
    """Whole numbers of layers by span: at least one each, `count` in all, the thickest cut first."""
    counts = np.ones(len(spans), dtype=np.int64)
    for _ in range(count - len(spans)):
        counts[np.argmax(spans / counts)] += 1
    return counts


@dataclass(frozen=True)
class Properties:
    """Heat capacity, conductivity and freezing of layers; arrays of one shape, last axis the layer."""

    thickness: Array  # [m]
    capacity_unfrozen: Array  # [J m-3 K-1]
    capacity_frozen: Array
    latent: Array  # [J m-3]
    freezing_range: Array  # [K]
    conductivity_unfrozen: Array  # [W m-1 K-1]
    conductivity_frozen: Array


def properties(cut: Grid, water_content: Array) -> Properties:
    """What the layers of a `Grid` do with a water content [m3 m-3], shape (..., layer).

    Conductivity by `soil.conductivity_sand` (coarse) or `soil.conductivity_loam`, where the material fixes none.
    """
    shape = np.broadcast_shapes(water_content.shape, cut.thickness.shape)
    water = np.broadcast_to(np.minimum(water_content, cut.porosity), shape)

    def conductivity(frozen: float) -> Array:
        rule = (cut.porosity, cut.quartz, np.maximum(cut.dry_density, 1.0), water, frozen)
        computed = np.where(cut.coarse, soil.conductivity_sand(*rule), soil.conductivity_loam(*rule))
        return np.where(np.isnan(cut.fixed_conductivity), computed, cut.fixed_conductivity)

    return Properties(
        np.broadcast_to(cut.thickness, shape),
        soil.heat_capacity(cut.porosity, cut.solid_heat_capacity, water, 0.0),
        soil.heat_capacity(cut.porosity, cut.solid_heat_capacity, water, 1.0),
        soil.latent_store(water),
        np.broadcast_to(cut.freezing_range, shape),
        conductivity(0.0),
        conductivity(1.0),
    )


# slopes and capacities unfrozen, freezing, frozen; freezing stretch; resistances of half a layer; 1 over the stretch
LAYER_PARAMETERS = 10


def kernel_parameters(known: Properties) -> Array:
    """The numbers the kernel keeps of each layer, shape (..., layer, LAYER_PARAMETERS), per area of field."""
    thickness = known.thickness
    unfrozen, frozen = known.capacity_unfrozen * thickness, known.capacity_frozen * thickness
    stretch = known.latent * thickness + 0.5 * (unfrozen + frozen) * known.freezing_range
    resistance = 0.5 * thickness / known.conductivity_unfrozen
    iced = 0.5 * thickness / known.conductivity_frozen
    freezing = known.freezing_range / stretch
    slopes = [1.0 / unfrozen, freezing, 1.0 / frozen]
    return np.stack([*slopes, unfrozen, 1.0 / freezing, frozen, stretch, resistance, iced, 1.0 / stretch], axis=-1)


def enthalpy(parameters: Array, temperature: Array, frozen_fraction: Array) -> Array:
    """Enthalpy [J m-2] of layers at a temperature [degC] with a frozen share [1]; shapes (..., layer).

    Inside the freezing range the frozen share decides, outside it the temperature.
    """
    unfrozen, freezing, frozen, stretch = (parameters[..., i] for i in (0, 1, 2, 6))
    span = freezing * stretch
    cold = -stretch + (temperature + span) / frozen
    return np.where(
        temperature > 0.0, temperature / unfrozen, np.where(temperature < -span, cold, -stretch * frozen_fraction)
    )


def temperature(parameters: Array, heat: Array) -> tuple[Array, Array]:
    """Temperature [degC] and frozen share [1] of layers from their enthalpy [J m-2]."""
    unfrozen, freezing, frozen, stretch = (parameters[..., i] for i in (0, 1, 2, 6))
    degrees = soil.temperature_of_enthalpy(heat, unfrozen, stretch, freezing, 0.0, 0.0, frozen)
    return degrees, np.clip(-heat / stretch, 0.0, 1.0)
