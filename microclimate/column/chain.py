"""The nodes above the layers: leaf, snow and its skin, the two faces of a cover, as a chain from the soil to the air.

From below, each node that is present folds into the conductance (ADMITTANCE) and the heat flow (DOWNWARD, at no
change) that the next one sees; a lane without the node passes both on. The last one is the top (`top`). Once its change
is known the chain unfolds downwards. Where no lane of a block has snow or a cover, the leaf is the whole chain.
"""

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature, on_stretch
from microclimate.column.lanes import (
    ADMITTANCE,
    ANSWER,
    CHANGE,
    CONDUCTANCE,
    INCREMENT,
    LANES,
    MISFIT,
    OPEN_LANE,
    RESPONSE,
    TEMPERATURE,
    at,
    on,
)
from microclimate.column.store import SKIN_CAPACITY
from microclimate.column.surface import longwave_up
from microclimate.physics.elementwise import Value, formula

MELTING = 1e4  # [W m-2 K-1] a melting skin below a cover is held at 0 degC as firmly as this (ours)
UNSOLVED = 1.0  # [K] misfit of a top whose passes did not suffice: the layers are gone through again


@formula
def fold(surface: Value, layer: Value, chained: Value, rate: Value) -> None:
    """From the soil up to the top: each node present folds in; the top starts from where it is."""
    for lane in range(LANES):
        leaf = surface[on(s.LEAF, lane)]
        below = layer[at(1, TEMPERATURE, lane)] + layer[at(1, CHANGE, lane)]
        admittance, downward = layer[at(1, ADMITTANCE, lane)], layer[at(1, CONDUCTANCE, lane)] * (leaf - below)
        surface[on(s.SOIL_ADMITTANCE, lane)] = admittance
        surface[on(s.SOIL_DOWNWARD, lane)] = downward
        surface[on(s.ADMITTANCE, lane)] = admittance
        surface[on(s.DOWNWARD, lane)] = downward
        surface[on(s.TOP, lane)] = leaf
        surface[on(s.TOP_START, lane)] = leaf
        surface[on(s.TOP_LINEAR, lane)] = leaf
        surface[on(s.TOP_ENTHALPY, lane)] = surface[on(s.LEAF_ENTHALPY, lane)]
        surface[on(s.TOP_OLD, lane)] = surface[on(s.LEAF_OLD, lane)]
        surface[on(s.TOP_UNFROZEN, lane)] = surface[on(s.LEAF_UNFROZEN, lane)]
        surface[on(s.TOP_FREEZING, lane)] = surface[on(s.LEAF_FREEZING, lane)]
        surface[on(s.TOP_FROZEN, lane)] = surface[on(s.LEAF_FROZEN, lane)]
        surface[on(s.TOP_STRETCH, lane)] = surface[on(s.LEAF_STRETCH, lane)]
        surface[on(s.ITERATING, lane)] = surface[on(s.OPEN_LANE, lane)]
    if chained:
        for lane in range(LANES):
            snowy, covered = surface[on(s.SNOWY, lane)] > 0.0, surface[on(s.COVER_LYING, lane)] > 0.0
            if snowy or covered:
                _fold_leaf(surface, lane, rate)
            if snowy:
                _fold_snow(surface, lane, rate)
            if covered:
                _fold_sheet(surface, lane, rate)


@formula
def _fold_leaf(surface: Value, lane: Value, rate: Value) -> None:
    """The leaf lies inside the chain, under snow or a cover."""
    snowy = surface[on(s.SNOWY, lane)] > 0.0
    leaf, enthalpy = surface[on(s.LEAF, lane)], surface[on(s.LEAF_ENTHALPY, lane)]
    above = surface[on(s.NODE, lane)] if snowy else surface[on(s.INNER, lane)]
    slope = on_stretch(
        enthalpy,
        surface[on(s.LEAF_UNFROZEN, lane)],
        surface[on(s.LEAF_FREEZING, lane)],
        surface[on(s.LEAF_FROZEN, lane)],
        surface[on(s.LEAF_STRETCH, lane)],
    )
    own = rate / slope + surface[on(s.ADMITTANCE, lane)]
    rest = (surface[on(s.LEAF_OLD, lane)] - enthalpy) * rate - surface[on(s.DOWNWARD, lane)]
    if not snowy:
        _under_cover(surface, lane, leaf)
        own += surface[on(s.UNDER_LOSS, lane)]
        rest += surface[on(s.UNDER_GAIN, lane)]
    _fold_node(surface, lane, (s.LEAF_INVERSE, s.LEAF_SHARE, s.LEAF_CHANGE, s.LINK_LEAF), own, rest, above - leaf)


@formula
def _fold_snow(surface: Value, lane: Value, rate: Value) -> None:
    """The snow layer folds in; its skin is the top."""
    node, skin = surface[on(s.NODE, lane)], surface[on(s.SKIN, lane)]
    enthalpy = surface[on(s.NODE_ENTHALPY, lane)]
    slope = on_stretch(
        enthalpy,
        surface[on(s.NODE_UNFROZEN, lane)],
        surface[on(s.NODE_FREEZING, lane)],
        surface[on(s.NODE_FROZEN, lane)],
        surface[on(s.NODE_STRETCH, lane)],
    )
    own = rate / slope + surface[on(s.ADMITTANCE, lane)]
    rest = (surface[on(s.NODE_OLD, lane)] - enthalpy) * rate - surface[on(s.DOWNWARD, lane)]
    _fold_node(surface, lane, (s.NODE_INVERSE, s.NODE_SHARE, s.NODE_CHANGE, s.LINK_SKIN), own, rest, skin - node)
    # a melting skin stays at 0 degC: what it gains beyond goes to the layer after the step
    _top_is(surface, lane, skin, surface[on(s.SKIN_ENTHALPY, lane)], surface[on(s.SKIN_OLD, lane)])
    surface[on(s.TOP_UNFROZEN, lane)] = 0.0
    surface[on(s.TOP_FREEZING, lane)] = 0.0
    surface[on(s.TOP_FROZEN, lane)] = 1.0 / SKIN_CAPACITY
    surface[on(s.TOP_STRETCH, lane)] = 0.0


@formula
def _fold_sheet(surface: Value, lane: Value, rate: Value) -> None:
    """The snow's skin, if any, and the inner face fold in; the outer face is the top."""
    inner, outer = surface[on(s.INNER, lane)], surface[on(s.OUTER, lane)]
    if surface[on(s.SNOWY, lane)] > 0.0:
        skin, enthalpy = surface[on(s.SKIN, lane)], surface[on(s.SKIN_ENTHALPY, lane)]
        _under_cover(surface, lane, skin)
        own = rate * SKIN_CAPACITY if enthalpy <= 0.0 else MELTING
        own += surface[on(s.ADMITTANCE, lane)] + surface[on(s.UNDER_LOSS, lane)]
        rest = (surface[on(s.SKIN_OLD, lane)] - enthalpy) * rate - surface[on(s.DOWNWARD, lane)]
        rest += surface[on(s.UNDER_GAIN, lane)]
        _fold_node(surface, lane, (s.SKIN_INVERSE, s.SKIN_SHARE, s.SKIN_CHANGE, s.LINK_GAP), own, rest, inner - skin)
    warm = surface[on(s.LINK_WARM, lane)]
    own = rate * surface[on(s.COVER_CAPACITY, lane)] + surface[on(s.ADMITTANCE, lane)] + warm
    rest = (surface[on(s.INNER_OLD, lane)] - surface[on(s.INNER_ENTHALPY, lane)]) * rate
    rest += warm * (surface[on(s.WARM_AIR, lane)] - inner) - surface[on(s.DOWNWARD, lane)]
    _fold_node(surface, lane, (s.INNER_INVERSE, s.INNER_SHARE, s.INNER_CHANGE, s.LINK_SHEET), own, rest, outer - inner)
    _top_is(surface, lane, outer, surface[on(s.OUTER_ENTHALPY, lane)], surface[on(s.OUTER_OLD, lane)])
    surface[on(s.TOP_UNFROZEN, lane)] = surface[on(s.OUTER_UNFROZEN, lane)]
    surface[on(s.TOP_FREEZING, lane)] = surface[on(s.OUTER_FREEZING, lane)]
    surface[on(s.TOP_FROZEN, lane)] = surface[on(s.OUTER_FROZEN, lane)]
    surface[on(s.TOP_STRETCH, lane)] = surface[on(s.OUTER_STRETCH, lane)]


@formula
def _top_is(surface: Value, lane: Value, temperature: Value, enthalpy: Value, old: Value) -> None:
    """The node the top starts from."""
    surface[on(s.TOP, lane)] = temperature
    surface[on(s.TOP_START, lane)] = temperature
    surface[on(s.TOP_LINEAR, lane)] = temperature
    surface[on(s.TOP_ENTHALPY, lane)] = enthalpy
    surface[on(s.TOP_OLD, lane)] = old


@formula
def _fold_node(surface: Value, lane: Value, names: Value, own: Value, rest: Value, difference: Value) -> None:
    """One node into what the next sees.

    `names` are the rows of its inverse pivot, share, change and link; `own` and `rest` its pivot without the link and
    its right-hand side; `difference` the next node's temperature less its own.
    """
    inverse, share, change, across = names
    link = surface[on(across, lane)]
    pivot = 1.0 / (own + link)
    alone = (rest + link * difference) * pivot
    surface[on(inverse, lane)] = pivot
    surface[on(share, lane)] = link * pivot
    surface[on(change, lane)] = alone
    surface[on(s.ADMITTANCE, lane)] = own * link * pivot
    surface[on(s.DOWNWARD, lane)] = link * (difference - alone)


@formula
def _under_cover(surface: Value, lane: Value, temperature: Value) -> None:
    """What the surface under a cover gains from sun, sky and warm air [W m-2], and loses more per kelvin."""
    emissivity, warm = surface[on(s.BELOW_EMISSIVITY, lane)], surface[on(s.LINK_WARM, lane)]
    up, slope = longwave_up(temperature, emissivity)
    gain = surface[on(s.BELOW_SUN, lane)] + emissivity * surface[on(s.LONGWAVE, lane)] - up
    surface[on(s.UNDER_GAIN, lane)] = gain + warm * (surface[on(s.WARM_AIR, lane)] - temperature)
    surface[on(s.UNDER_LOSS, lane)] = slope + warm


@formula
def unfold(surface: Value, layer: Value) -> None:
    """From the top down: the increments of the chain; the canopy's goes to row 0."""
    for lane in range(LANES):
        step = surface[on(s.TOP_LINEAR, lane)] - surface[on(s.TOP_START, lane)]
        if surface[on(s.COVER_LYING, lane)] > 0.0:
            step = surface[on(s.INNER_CHANGE, lane)] + surface[on(s.INNER_SHARE, lane)] * step
            surface[on(s.INNER_STEP, lane)] = step
            if surface[on(s.SNOWY, lane)] > 0.0:
                step = surface[on(s.SKIN_CHANGE, lane)] + surface[on(s.SKIN_SHARE, lane)] * step
                surface[on(s.SKIN_STEP, lane)] = step
        if surface[on(s.SNOWY, lane)] > 0.0:
            step = surface[on(s.NODE_CHANGE, lane)] + surface[on(s.NODE_SHARE, lane)] * step
            surface[on(s.NODE_STEP, lane)] = step
        if surface[on(s.SNOWY, lane)] + surface[on(s.COVER_LYING, lane)] > 0.0:
            step = surface[on(s.LEAF_CHANGE, lane)] + surface[on(s.LEAF_SHARE, lane)] * step
        surface[on(s.LEAF_STEP, lane)] = step
        layer[at(0, INCREMENT, lane)] = step


@formula
def reply(surface: Value, layer: Value, rate: Value) -> None:
    """The chain's answer to one more W m-2 of heating, up to the top and down again; the canopy's goes to row 0."""
    for lane in range(LANES):
        snowy, covered = surface[on(s.SNOWY, lane)] > 0.0, surface[on(s.COVER_LYING, lane)] > 0.0
        push = layer[at(1, CONDUCTANCE, lane)] * layer[at(1, RESPONSE, lane)]
        surface[on(s.SOIL_REPLY, lane)] = push
        leaf = push
        if snowy or covered:
            push = push * surface[on(s.LEAF_SHARE, lane)]
        node = push
        if snowy:
            push = push * surface[on(s.NODE_SHARE, lane)]
        skin = push
        if snowy and covered:
            push = push * surface[on(s.SKIN_SHARE, lane)]
        inner = push
        if covered:
            push = push * surface[on(s.INNER_SHARE, lane)]
        slope = surface[on(s.TOP_SLOPE, lane)]
        heat = push / (rate + surface[on(s.STIFFNESS, lane)] * slope)
        surface[on(s.HEAT_ENTHALPY, lane)] = heat
        reply = slope * heat
        surface[on(s.OUTER_REPLY, lane)] = reply
        if covered:
            reply = inner * surface[on(s.INNER_INVERSE, lane)] + surface[on(s.INNER_SHARE, lane)] * reply
            surface[on(s.INNER_REPLY, lane)] = reply
        if snowy and covered:
            reply = skin * surface[on(s.SKIN_INVERSE, lane)] + surface[on(s.SKIN_SHARE, lane)] * reply
            surface[on(s.SKIN_REPLY, lane)] = reply
        if snowy:
            reply = node * surface[on(s.NODE_INVERSE, lane)] + surface[on(s.NODE_SHARE, lane)] * reply
            surface[on(s.NODE_REPLY, lane)] = reply
        if snowy or covered:
            reply = leaf * surface[on(s.LEAF_INVERSE, lane)] + surface[on(s.LEAF_SHARE, lane)] * reply
        surface[on(s.LEAF_REPLY, lane)] = reply
        layer[at(0, ANSWER, lane)] = reply


@formula
def heated(surface: Value, layer: Value) -> None:
    """Add to the chain the answer to this pass's change of heating."""
    for lane in range(LANES):
        change = surface[on(s.HEAT_CHANGE, lane)]
        surface[on(s.INNER_STEP, lane)] += change * surface[on(s.INNER_REPLY, lane)]
        surface[on(s.SKIN_STEP, lane)] += change * surface[on(s.SKIN_REPLY, lane)]
        surface[on(s.NODE_STEP, lane)] += change * surface[on(s.NODE_REPLY, lane)]
        step = surface[on(s.LEAF_STEP, lane)] + change * surface[on(s.LEAF_REPLY, lane)]
        surface[on(s.LEAF_STEP, lane)] = step
        surface[on(s.SOIL_DOWNWARD, lane)] -= change * surface[on(s.SOIL_REPLY, lane)]
        layer[at(0, INCREMENT, lane)] = step


@formula
def update(surface: Value, layer: Value, chained: Value, rate: Value) -> None:
    """New enthalpies and temperatures of the chain, the flow into the soil, and the misfit with the straight lines."""
    for lane in range(LANES):
        going = surface[on(s.OPEN_LANE, lane)]
        top, linear = surface[on(s.TOP, lane)], surface[on(s.TOP_LINEAR, lane)]
        flow = (
            surface[on(s.SOIL_DOWNWARD, lane)] + surface[on(s.SOIL_ADMITTANCE, lane)] * surface[on(s.LEAF_STEP, lane)]
        )
        keep = going > 0.0
        surface[on(s.GROUND, lane)] = flow if keep else surface[on(s.GROUND, lane)]
        bare = keep and surface[on(s.SNOWY, lane)] + surface[on(s.COVER_LYING, lane)] == 0.0
        leaf = top if bare else surface[on(s.LEAF, lane)]
        surface[on(s.LEAF, lane)] = leaf
        surface[on(s.LEAF_ENTHALPY, lane)] = (
            surface[on(s.TOP_ENTHALPY, lane)] if bare else surface[on(s.LEAF_ENTHALPY, lane)]
        )
        layer[at(0, TEMPERATURE, lane)] = leaf
        layer[at(0, OPEN_LANE, lane)] = going
        misfit = abs(top - linear) * going
        layer[at(0, MISFIT, lane)] = UNSOLVED if keep and surface[on(s.ITERATING, lane)] > 0.0 else misfit
    if chained:
        for lane in range(LANES):
            if surface[on(s.OPEN_LANE, lane)] > 0.0:
                snowy, covered = surface[on(s.SNOWY, lane)] > 0.0, surface[on(s.COVER_LYING, lane)] > 0.0
                misfit = layer[at(0, MISFIT, lane)]
                if snowy or covered:
                    misfit = max(misfit, _update_leaf(surface, lane))
                    layer[at(0, TEMPERATURE, lane)] = surface[on(s.LEAF, lane)]
                if snowy:
                    misfit = max(misfit, _update_snow(surface, lane, covered, rate))
                if covered:
                    _update_sheet(surface, lane, snowy)
                layer[at(0, MISFIT, lane)] = misfit


@formula
def _update_leaf(surface: Value, lane: Value) -> Value:
    """The leaf inside the chain; gives back the misfit [K]."""
    heat, leaf, misfit = _advance(
        surface[on(s.LEAF_ENTHALPY, lane)],
        surface[on(s.LEAF, lane)],
        surface[on(s.LEAF_STEP, lane)],
        surface[on(s.LEAF_UNFROZEN, lane)],
        surface[on(s.LEAF_FREEZING, lane)],
        surface[on(s.LEAF_FROZEN, lane)],
        surface[on(s.LEAF_STRETCH, lane)],
    )
    surface[on(s.LEAF_ENTHALPY, lane)], surface[on(s.LEAF, lane)] = heat, leaf
    return misfit


@formula
def _update_snow(surface: Value, lane: Value, covered: Value, rate: Value) -> Value:
    """Snow layer and skin; gives back the misfit [K]."""
    heat, node, misfit = _advance(
        surface[on(s.NODE_ENTHALPY, lane)],
        surface[on(s.NODE, lane)],
        surface[on(s.NODE_STEP, lane)],
        surface[on(s.NODE_UNFROZEN, lane)],
        surface[on(s.NODE_FREEZING, lane)],
        surface[on(s.NODE_FROZEN, lane)],
        surface[on(s.NODE_STRETCH, lane)],
    )
    surface[on(s.NODE_ENTHALPY, lane)], surface[on(s.NODE, lane)] = heat, node
    if covered:
        held, step = surface[on(s.SKIN_ENTHALPY, lane)], surface[on(s.SKIN_STEP, lane)]
        line = surface[on(s.SKIN, lane)] + step
        held += step * (SKIN_CAPACITY if held <= 0.0 else MELTING / rate)
        skin = min(held, 0.0) / SKIN_CAPACITY
        surface[on(s.SKIN_ENTHALPY, lane)], surface[on(s.SKIN, lane)] = held, skin
        return max(misfit, abs(skin - line))
    surface[on(s.SKIN_ENTHALPY, lane)] = surface[on(s.TOP_ENTHALPY, lane)]
    surface[on(s.SKIN, lane)] = surface[on(s.TOP, lane)]
    return misfit


@formula
def _update_sheet(surface: Value, lane: Value, snowy: Value) -> None:
    """Both faces of the cover, and what came in below it."""
    below = surface[on(s.SKIN_STEP, lane)] if snowy else surface[on(s.LEAF_STEP, lane)]
    step, inner = surface[on(s.INNER_STEP, lane)], surface[on(s.INNER, lane)]
    warm = surface[on(s.LINK_WARM, lane)] * (surface[on(s.WARM_AIR, lane)] - inner - step)
    surface[on(s.UNDER, lane)] = surface[on(s.UNDER_GAIN, lane)] - surface[on(s.UNDER_LOSS, lane)] * below + warm
    surface[on(s.INNER_ENTHALPY, lane)] += surface[on(s.COVER_CAPACITY, lane)] * step
    surface[on(s.INNER, lane)] = inner + step
    surface[on(s.OUTER_ENTHALPY, lane)] = surface[on(s.TOP_ENTHALPY, lane)]
    surface[on(s.OUTER, lane)] = surface[on(s.TOP, lane)]


@formula
def _advance(
    enthalpy: Value, temperature: Value, step: Value, unfrozen: Value, freezing: Value, frozen: Value, stretch: Value
) -> Value:
    """Enthalpy after a step of temperature along the present line, the true temperature there, and the misfit [K]."""
    line = temperature + step
    enthalpy = enthalpy + step / on_stretch(enthalpy, unfrozen, freezing, frozen, stretch)
    now = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    return enthalpy, now, abs(now - line)
