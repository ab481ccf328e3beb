"""Leaf and snow at the start of a step: their curves, temperatures and the links between them."""

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature
from microclimate.column.lanes import TEMPERATURE, at, smaller
from microclimate.column.store import SKIN_CAPACITY, film_curve, snow_curve
from microclimate.physics import snow
from microclimate.physics.elementwise import Value, choose, formula


@formula
def leaf(surface: Value, layer: Value) -> None:
    """The leaf's curve and temperature at the start of a step."""
    water = surface[s.LEAF_FILM] + surface[s.LEAF_FROST]
    unfrozen, freezing, frozen, stretch = film_curve(surface[s.LEAF_CAPACITY], water)
    enthalpy = surface[s.LEAF_ENTHALPY]
    degrees = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    surface[s.LEAF_UNFROZEN] = unfrozen
    surface[s.LEAF_FREEZING] = freezing
    surface[s.LEAF_FROZEN] = frozen
    surface[s.LEAF_STRETCH] = stretch
    surface[s.LEAF_OLD] = enthalpy
    surface[s.LEAF] = degrees
    surface[s.SNOWY] = choose(surface[s.SNOW] > 0.0, 1.0, 0.0)
    layer[at(0, TEMPERATURE)] = degrees


@formula
def snow_layer(surface: Value) -> None:
    """The snow's curve, temperatures and links; idle numbers where none lies."""
    lies = surface[s.SNOW] > 0.0
    amount, depth = choose(lies, surface[s.SNOW], 1.0), choose(lies, surface[s.SNOW_DEPTH], 1.0)
    unfrozen, freezing, frozen, stretch = snow_curve(amount)
    enthalpy, skin = surface[s.NODE_ENTHALPY], surface[s.SKIN_ENTHALPY]
    half = 2.0 * snow.conductivity(amount / depth) / depth
    surface[s.NODE_UNFROZEN] = unfrozen
    surface[s.NODE_FREEZING] = freezing
    surface[s.NODE_FROZEN] = frozen
    surface[s.NODE_STRETCH] = stretch
    surface[s.NODE_OLD] = enthalpy
    surface[s.NODE] = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    surface[s.SKIN_OLD] = skin
    surface[s.SKIN] = smaller(skin, 0.0) / SKIN_CAPACITY
    surface[s.LINK_SKIN] = half
    surface[s.LINK_LEAF] = half
