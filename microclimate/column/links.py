"""The nodes above the layers at the start of a step: their curves, temperatures and the links between them."""

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature
from microclimate.column.lanes import TEMPERATURE, at, put, smaller
from microclimate.column.store import SKIN_CAPACITY, film_curve, snow_curve
from microclimate.constants import ZERO_CELSIUS
from microclimate.physics import cover, snow
from microclimate.physics.elementwise import Value, choose, formula

TINY = 1e-12  # [W m-2 K-1] keeps a lane without a cover from dividing by nothing


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


@formula
def sheet(surface: Value) -> None:
    """The cover's curve, temperatures and links; idle numbers where none lies."""
    water = surface[s.COVER_FILM] + surface[s.COVER_FROST]
    unfrozen, freezing, frozen, stretch = film_curve(surface[s.COVER_CAPACITY], water)
    enthalpy, held = surface[s.OUTER_ENTHALPY], surface[s.INNER_ENTHALPY]
    inner = held / surface[s.COVER_CAPACITY]
    surface[s.OUTER_UNFROZEN] = unfrozen
    surface[s.OUTER_FREEZING] = freezing
    surface[s.OUTER_FROZEN] = frozen
    surface[s.OUTER_STRETCH] = stretch
    surface[s.OUTER_OLD] = enthalpy
    surface[s.OUTER] = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    surface[s.INNER_OLD] = held
    surface[s.INNER] = inner
    snowy = surface[s.SNOWY] > 0.0
    below = choose(snowy, surface[s.SKIN], surface[s.LEAF])
    covered = surface[s.COVER_LYING] > 0.0
    emissivity = cover.plate_emissivity(choose(covered, surface[s.COVER_EMISSIVITY], 1.0), surface[s.EMISSIVITY])
    mean = 0.5 * (below + inner) + ZERO_CELSIUS
    radiative = (1.0 - surface[s.COVER_LONGWAVE]) * cover.radiation_conductance(mean, emissivity)
    # two faces and blown air as a star: twice the convection from each face to the air of the gap
    face = 2.0 * choose(below > inner, surface[s.GAP_UP], surface[s.GAP_DOWN])
    flow = surface[s.WARM_FLOW]
    both = 2.0 * face + flow + TINY
    gap = radiative + face * face / both
    surface[s.LINK_GAP] = gap
    surface[s.LINK_WARM] = face * flow / both
    surface[s.LINK_SHEET] = surface[s.COVER_CONDUCTANCE]
    put(surface, s.LINK_LEAF, ~snowy, gap)
