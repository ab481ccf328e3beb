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
    larger,
    on,
)
from microclimate.column.store import SKIN_CAPACITY
from microclimate.column.surface import longwave_up
from microclimate.physics.elementwise import Value, choose, formula

MELTING = 1e4  # [W m-2 K-1] a melting skin below a cover is held at 0 degC as firmly as this (ours)
UNSOLVED = 1.0  # [K] misfit of a top whose passes did not suffice: the layers are gone through again


@formula
def fold(surface: Value, layer: Value, snowing: Value, sheeted: Value, rate: Value) -> None:
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
        surface[on(s.TOP_OVER, lane)] = 0.0 * leaf
        surface[on(s.TOP_ENTHALPY, lane)] = surface[on(s.LEAF_ENTHALPY, lane)]
        surface[on(s.TOP_OLD, lane)] = surface[on(s.LEAF_OLD, lane)]
        surface[on(s.TOP_UNFROZEN, lane)] = surface[on(s.LEAF_UNFROZEN, lane)]
        surface[on(s.TOP_FREEZING, lane)] = surface[on(s.LEAF_FREEZING, lane)]
        surface[on(s.TOP_FROZEN, lane)] = surface[on(s.LEAF_FROZEN, lane)]
        surface[on(s.TOP_STRETCH, lane)] = surface[on(s.LEAF_STRETCH, lane)]
        surface[on(s.ITERATING, lane)] = surface[on(s.OPEN_LANE, lane)]
    if snowing or sheeted:
        _fold_leaf(surface, rate)
    if snowing:
        for lane in range(LANES):
            if surface[on(s.SNOWY, lane)] > 0.0:
                _fold_snow(surface, lane, rate)
                if surface[on(s.COVER_LYING, lane)] > 0.0:
                    _fold_skin(surface, lane, rate)
    if sheeted:
        _fold_sheet(surface, rate)


@formula
def _fold_leaf(surface: Value, rate: Value) -> None:
    """The leaf lies inside the chain, under snow or a cover."""
    for lane in range(LANES):
        snowy, covered = surface[on(s.SNOWY, lane)] > 0.0, surface[on(s.COVER_LYING, lane)] > 0.0
        leaf, enthalpy = surface[on(s.LEAF, lane)], surface[on(s.LEAF_ENTHALPY, lane)]
        above = choose(snowy, surface[on(s.NODE, lane)], surface[on(s.INNER, lane)])
        slope = on_stretch(
            enthalpy,
            surface[on(s.LEAF_UNFROZEN, lane)],
            surface[on(s.LEAF_FREEZING, lane)],
            surface[on(s.LEAF_FROZEN, lane)],
            surface[on(s.LEAF_STRETCH, lane)],
        )
        gain, loss = _under_cover(surface, lane, leaf)
        bare = covered & (not snowy)
        surface[on(s.UNDER_GAIN, lane)] = gain
        surface[on(s.UNDER_LOSS, lane)] = loss
        admittance, downward = surface[on(s.ADMITTANCE, lane)], surface[on(s.DOWNWARD, lane)]
        own = rate / slope + admittance + choose(bare, loss, 0.0)
        rest = (surface[on(s.LEAF_OLD, lane)] - enthalpy) * rate - downward + choose(bare, gain, 0.0)
        names = s.LEAF_INVERSE, s.LEAF_SHARE, s.LEAF_CHANGE, s.LINK_LEAF
        admitted, passed = _fold_node(surface, lane, names, own, rest, above - leaf)
        surface[on(s.ADMITTANCE, lane)] = choose(snowy | covered, admitted, admittance)
        surface[on(s.DOWNWARD, lane)] = choose(snowy | covered, passed, downward)


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
    names = s.NODE_INVERSE, s.NODE_SHARE, s.NODE_CHANGE, s.LINK_SKIN
    admitted, passed = _fold_node(surface, lane, names, own, rest, skin - node)
    surface[on(s.ADMITTANCE, lane)], surface[on(s.DOWNWARD, lane)] = admitted, passed
    # a melting skin stays at 0 degC: what it gains beyond goes to the layer after the step
    _top_is(surface, lane, skin, surface[on(s.SKIN_ENTHALPY, lane)], surface[on(s.SKIN_OLD, lane)])
    surface[on(s.TOP_UNFROZEN, lane)] = 0.0
    surface[on(s.TOP_FREEZING, lane)] = 0.0
    surface[on(s.TOP_FROZEN, lane)] = 1.0 / SKIN_CAPACITY
    surface[on(s.TOP_STRETCH, lane)] = 0.0


@formula
def _fold_skin(surface: Value, lane: Value, rate: Value) -> None:
    """The snow's skin lies under a cover."""
    skin, enthalpy = surface[on(s.SKIN, lane)], surface[on(s.SKIN_ENTHALPY, lane)]
    gain, loss = _under_cover(surface, lane, skin)
    surface[on(s.UNDER_GAIN, lane)] = gain
    surface[on(s.UNDER_LOSS, lane)] = loss
    own = rate * SKIN_CAPACITY if enthalpy <= 0.0 else MELTING
    own += surface[on(s.ADMITTANCE, lane)] + loss
    rest = (surface[on(s.SKIN_OLD, lane)] - enthalpy) * rate - surface[on(s.DOWNWARD, lane)] + gain
    names = s.SKIN_INVERSE, s.SKIN_SHARE, s.SKIN_CHANGE, s.LINK_GAP
    admitted, passed = _fold_node(surface, lane, names, own, rest, surface[on(s.INNER, lane)] - skin)
    surface[on(s.ADMITTANCE, lane)], surface[on(s.DOWNWARD, lane)] = admitted, passed


@formula
def _fold_sheet(surface: Value, rate: Value) -> None:
    """The inner face of a cover folds in; its outer face is the top."""
    for lane in range(LANES):
        covered = surface[on(s.COVER_LYING, lane)] > 0.0
        inner, outer = surface[on(s.INNER, lane)], surface[on(s.OUTER, lane)]
        admittance, downward = surface[on(s.ADMITTANCE, lane)], surface[on(s.DOWNWARD, lane)]
        warm = surface[on(s.LINK_WARM, lane)]
        own = rate * surface[on(s.COVER_CAPACITY, lane)] + admittance + warm
        rest = (surface[on(s.INNER_OLD, lane)] - surface[on(s.INNER_ENTHALPY, lane)]) * rate
        rest = rest + warm * (surface[on(s.WARM_AIR, lane)] - inner) - downward
        names = s.INNER_INVERSE, s.INNER_SHARE, s.INNER_CHANGE, s.LINK_SHEET
        admitted, passed = _fold_node(surface, lane, names, own, rest, outer - inner)
        surface[on(s.ADMITTANCE, lane)] = choose(covered, admitted, admittance)
        surface[on(s.DOWNWARD, lane)] = choose(covered, passed, downward)
        top = choose(covered, outer, surface[on(s.TOP, lane)])
        surface[on(s.TOP, lane)] = top
        surface[on(s.TOP_START, lane)] = top
        surface[on(s.TOP_LINEAR, lane)] = top
        for to, outer_row in (
            (s.TOP_ENTHALPY, s.OUTER_ENTHALPY),
            (s.TOP_OLD, s.OUTER_OLD),
            (s.TOP_UNFROZEN, s.OUTER_UNFROZEN),
            (s.TOP_FREEZING, s.OUTER_FREEZING),
            (s.TOP_FROZEN, s.OUTER_FROZEN),
            (s.TOP_STRETCH, s.OUTER_STRETCH),
        ):
            surface[on(to, lane)] = choose(covered, surface[on(outer_row, lane)], surface[on(to, lane)])


@formula
def _top_is(surface: Value, lane: Value, temperature: Value, enthalpy: Value, old: Value) -> None:
    """The node the top starts from."""
    surface[on(s.TOP, lane)] = temperature
    surface[on(s.TOP_START, lane)] = temperature
    surface[on(s.TOP_LINEAR, lane)] = temperature
    surface[on(s.TOP_ENTHALPY, lane)] = enthalpy
    surface[on(s.TOP_OLD, lane)] = old


@formula
def _fold_node(surface: Value, lane: Value, names: Value, own: Value, rest: Value, difference: Value) -> Value:
    """One node into what the next sees: the admittance and the flow down into it.

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
    return own * link * pivot, link * (difference - alone)


@formula
def _under_cover(surface: Value, lane: Value, temperature: Value) -> Value:
    """What the surface under a cover gains from sun, sky and warm air [W m-2], and loses more per kelvin."""
    emissivity, warm = surface[on(s.BELOW_EMISSIVITY, lane)], surface[on(s.LINK_WARM, lane)]
    up, slope = longwave_up(temperature, emissivity)
    gain = surface[on(s.BELOW_SUN, lane)] + emissivity * surface[on(s.LONGWAVE, lane)] - up
    return gain + warm * (surface[on(s.WARM_AIR, lane)] - temperature), slope + warm


@formula
def unfold(surface: Value, layer: Value) -> None:
    """From the top down: the increments of the chain; the canopy's goes to row 0."""
    for lane in range(LANES):
        snowy, covered = surface[on(s.SNOWY, lane)] > 0.0, surface[on(s.COVER_LYING, lane)] > 0.0
        step = surface[on(s.TOP_LINEAR, lane)] - surface[on(s.TOP_START, lane)]
        inner = surface[on(s.INNER_CHANGE, lane)] + surface[on(s.INNER_SHARE, lane)] * step
        surface[on(s.INNER_STEP, lane)] = inner
        step = choose(covered, inner, step)
        skin = surface[on(s.SKIN_CHANGE, lane)] + surface[on(s.SKIN_SHARE, lane)] * step
        surface[on(s.SKIN_STEP, lane)] = skin
        step = choose(covered & snowy, skin, step)
        node = surface[on(s.NODE_CHANGE, lane)] + surface[on(s.NODE_SHARE, lane)] * step
        surface[on(s.NODE_STEP, lane)] = node
        step = choose(snowy, node, step)
        leaf = surface[on(s.LEAF_CHANGE, lane)] + surface[on(s.LEAF_SHARE, lane)] * step
        step = choose(snowy | covered, leaf, step)
        surface[on(s.LEAF_STEP, lane)] = step
        layer[at(0, INCREMENT, lane)] = step


@formula
def reply(surface: Value, layer: Value, rate: Value) -> None:
    """The chain's answer to one more W m-2 of heating, up to the top and down again; the canopy's goes to row 0."""
    for lane in range(LANES):
        snowy, covered = surface[on(s.SNOWY, lane)] > 0.0, surface[on(s.COVER_LYING, lane)] > 0.0
        leaf = layer[at(1, CONDUCTANCE, lane)] * layer[at(1, RESPONSE, lane)]
        surface[on(s.SOIL_REPLY, lane)] = leaf
        node = leaf * choose(snowy | covered, surface[on(s.LEAF_SHARE, lane)], 1.0)
        skin = node * choose(snowy, surface[on(s.NODE_SHARE, lane)], 1.0)
        inner = skin * choose(snowy & covered, surface[on(s.SKIN_SHARE, lane)], 1.0)
        push = inner * choose(covered, surface[on(s.INNER_SHARE, lane)], 1.0)
        slope = surface[on(s.TOP_SLOPE, lane)]
        heat = push / (rate + surface[on(s.STIFFNESS, lane)] * slope)
        surface[on(s.HEAT_ENTHALPY, lane)] = heat
        answer = slope * heat
        surface[on(s.OUTER_REPLY, lane)] = answer
        below = inner * surface[on(s.INNER_INVERSE, lane)] + surface[on(s.INNER_SHARE, lane)] * answer
        surface[on(s.INNER_REPLY, lane)] = below
        answer = choose(covered, below, answer)
        below = skin * surface[on(s.SKIN_INVERSE, lane)] + surface[on(s.SKIN_SHARE, lane)] * answer
        surface[on(s.SKIN_REPLY, lane)] = below
        answer = choose(snowy & covered, below, answer)
        below = node * surface[on(s.NODE_INVERSE, lane)] + surface[on(s.NODE_SHARE, lane)] * answer
        surface[on(s.NODE_REPLY, lane)] = below
        answer = choose(snowy, below, answer)
        below = leaf * surface[on(s.LEAF_INVERSE, lane)] + surface[on(s.LEAF_SHARE, lane)] * answer
        answer = choose(snowy | covered, below, answer)
        surface[on(s.LEAF_REPLY, lane)] = answer
        layer[at(0, ANSWER, lane)] = answer


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
def update(surface: Value, layer: Value, snowing: Value, sheeted: Value, rate: Value) -> None:
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
    if snowing or sheeted:
        _update_leaf(surface, layer)
    if snowing:
        for lane in range(LANES):
            if surface[on(s.OPEN_LANE, lane)] > 0.0 and surface[on(s.SNOWY, lane)] > 0.0:
                misfit = _update_snow(surface, lane, surface[on(s.COVER_LYING, lane)] > 0.0, rate)
                layer[at(0, MISFIT, lane)] = max(layer[at(0, MISFIT, lane)], misfit)
    if sheeted:
        _update_sheet(surface)


@formula
def _update_leaf(surface: Value, layer: Value) -> None:
    """The leaf inside the chain."""
    for lane in range(LANES):
        chained = surface[on(s.SNOWY, lane)] + surface[on(s.COVER_LYING, lane)] > 0.0
        inside = chained & (surface[on(s.OPEN_LANE, lane)] > 0.0)
        before, old = surface[on(s.LEAF_ENTHALPY, lane)], surface[on(s.LEAF, lane)]
        heat, leaf, misfit = _advance(
            before,
            old,
            surface[on(s.LEAF_STEP, lane)],
            surface[on(s.LEAF_UNFROZEN, lane)],
            surface[on(s.LEAF_FREEZING, lane)],
            surface[on(s.LEAF_FROZEN, lane)],
            surface[on(s.LEAF_STRETCH, lane)],
        )
        leaf = choose(inside, leaf, old)
        surface[on(s.LEAF_ENTHALPY, lane)] = choose(inside, heat, before)
        surface[on(s.LEAF, lane)] = leaf
        layer[at(0, TEMPERATURE, lane)] = leaf
        layer[at(0, MISFIT, lane)] = larger(layer[at(0, MISFIT, lane)], choose(inside, misfit, 0.0))


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
def _update_sheet(surface: Value) -> None:
    """Both faces of the cover, and what came in below it."""
    for lane in range(LANES):
        inside = (surface[on(s.COVER_LYING, lane)] > 0.0) & (surface[on(s.OPEN_LANE, lane)] > 0.0)
        snowy = surface[on(s.SNOWY, lane)] > 0.0
        below = choose(snowy, surface[on(s.SKIN_STEP, lane)], surface[on(s.LEAF_STEP, lane)])
        inner, held = surface[on(s.INNER, lane)], surface[on(s.INNER_ENTHALPY, lane)]
        step = choose(inside, surface[on(s.INNER_STEP, lane)], 0.0)
        warm = surface[on(s.LINK_WARM, lane)] * (surface[on(s.WARM_AIR, lane)] - inner - step)
        under = surface[on(s.UNDER_GAIN, lane)] - surface[on(s.UNDER_LOSS, lane)] * below + warm
        surface[on(s.UNDER, lane)] = choose(inside, under, surface[on(s.UNDER, lane)])
        surface[on(s.INNER_ENTHALPY, lane)] = held + surface[on(s.COVER_CAPACITY, lane)] * step
        surface[on(s.INNER, lane)] = inner + step
        heat, top = surface[on(s.TOP_ENTHALPY, lane)], surface[on(s.TOP, lane)]
        surface[on(s.OUTER_ENTHALPY, lane)] = choose(inside, heat, surface[on(s.OUTER_ENTHALPY, lane)])
        surface[on(s.OUTER, lane)] = choose(inside, top, surface[on(s.OUTER, lane)])


@formula
def _advance(
    enthalpy: Value, temperature: Value, step: Value, unfrozen: Value, freezing: Value, frozen: Value, stretch: Value
) -> Value:
    """Enthalpy after a step of temperature along the present line, the true temperature there, and the misfit [K]."""
    line = temperature + step
    enthalpy = enthalpy + step / on_stretch(enthalpy, unfrozen, freezing, frozen, stretch)
    now = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    return enthalpy, now, abs(now - line)
