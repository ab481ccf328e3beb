"""The nodes above the layers at the start of a step: their curves, temperatures and the links between them."""

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature
from microclimate.column.lanes import HALF, LANES, TEMPERATURE, at, on
from microclimate.column.store import SKIN_CAPACITY, film_curve, snow_curve
from microclimate.constants import ZERO_CELSIUS
from microclimate.physics import cover, snow
from microclimate.physics.elementwise import Value, choose, formula

TINY = 1e-12  # [W m-2 K-1] keeps a lane without a cover from dividing by nothing


@formula
def leaf(surface: Value, layer: Value) -> None:
    """The leaf's curve and temperature at the start of a step."""
    for lane in range(LANES):
        water = surface[on(s.LEAF_FILM, lane)] + surface[on(s.LEAF_FROST, lane)]
        unfrozen, freezing, frozen, stretch = film_curve(surface[on(s.LEAF_CAPACITY, lane)], water)
        surface[on(s.LEAF_UNFROZEN, lane)] = unfrozen
        surface[on(s.LEAF_FREEZING, lane)] = freezing
        surface[on(s.LEAF_FROZEN, lane)] = frozen
        surface[on(s.LEAF_STRETCH, lane)] = stretch
        enthalpy = surface[on(s.LEAF_ENTHALPY, lane)]
        surface[on(s.LEAF_OLD, lane)] = enthalpy
        degrees = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
        surface[on(s.LEAF, lane)] = degrees
        surface[on(s.SNOWY, lane)] = 1.0 if surface[on(s.SNOW, lane)] > 0.0 else 0.0
        layer[at(0, HALF, lane)] = 1.0 / surface[on(s.LEAF_BED, lane)]
        layer[at(0, TEMPERATURE, lane)] = degrees


@formula
def snow_layer(surface: Value) -> None:
    """The snow's curve, temperatures and links."""
    for lane in range(LANES):
        if surface[on(s.SNOWY, lane)] > 0.0:
            amount, depth = surface[on(s.SNOW, lane)], surface[on(s.SNOW_DEPTH, lane)]
            unfrozen, freezing, frozen, stretch = snow_curve(amount)
            surface[on(s.NODE_UNFROZEN, lane)] = unfrozen
            surface[on(s.NODE_FREEZING, lane)] = freezing
            surface[on(s.NODE_FROZEN, lane)] = frozen
            surface[on(s.NODE_STRETCH, lane)] = stretch
            enthalpy, skin = surface[on(s.NODE_ENTHALPY, lane)], surface[on(s.SKIN_ENTHALPY, lane)]
            surface[on(s.NODE_OLD, lane)] = enthalpy
            surface[on(s.NODE, lane)] = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
            surface[on(s.SKIN_OLD, lane)] = skin
            surface[on(s.SKIN, lane)] = min(skin, 0.0) / SKIN_CAPACITY
            half = 2.0 * snow.conductivity(amount / depth) / depth
            surface[on(s.LINK_SKIN, lane)] = half
            surface[on(s.LINK_LEAF, lane)] = half


@formula
def sheet(surface: Value) -> None:
    """The cover's curve, temperatures and links; idle numbers where none lies."""
    for lane in range(LANES):
        water = surface[on(s.COVER_FILM, lane)] + surface[on(s.COVER_FROST, lane)]
        unfrozen, freezing, frozen, stretch = film_curve(surface[on(s.COVER_CAPACITY, lane)], water)
        surface[on(s.OUTER_UNFROZEN, lane)] = unfrozen
        surface[on(s.OUTER_FREEZING, lane)] = freezing
        surface[on(s.OUTER_FROZEN, lane)] = frozen
        surface[on(s.OUTER_STRETCH, lane)] = stretch
        enthalpy = surface[on(s.OUTER_ENTHALPY, lane)]
        surface[on(s.OUTER_OLD, lane)] = enthalpy
        surface[on(s.OUTER, lane)] = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
        held = surface[on(s.INNER_ENTHALPY, lane)]
        inner = held / surface[on(s.COVER_CAPACITY, lane)]
        surface[on(s.INNER_OLD, lane)] = held
        surface[on(s.INNER, lane)] = inner
        snowy = surface[on(s.SNOWY, lane)] > 0.0
        below = choose(snowy, surface[on(s.SKIN, lane)], surface[on(s.LEAF, lane)])
        emissivity = cover.plate_emissivity(surface[on(s.COVER_EMISSIVITY, lane)], surface[on(s.EMISSIVITY, lane)])
        opaque = 1.0 - surface[on(s.COVER_LONGWAVE, lane)]
        radiative = opaque * cover.radiation_conductance(0.5 * (below + inner) + ZERO_CELSIUS, emissivity)
        # two faces and blown air as a star: twice the convection from each face to the air of the gap
        face = 2.0 * choose(below > inner, surface[on(s.GAP_UP, lane)], surface[on(s.GAP_DOWN, lane)])
        flow = surface[on(s.WARM_FLOW, lane)]
        both = 2.0 * face + flow + TINY
        gap = radiative + face * face / both
        surface[on(s.LINK_GAP, lane)] = gap
        surface[on(s.LINK_WARM, lane)] = face * flow / both
        surface[on(s.LINK_SHEET, lane)] = surface[on(s.COVER_CONDUCTANCE, lane)]
        surface[on(s.LINK_LEAF, lane)] = choose(snowy, surface[on(s.LINK_LEAF, lane)], gap)
