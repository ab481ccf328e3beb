"""The nodes above the layers: leaf, snow and its skin, the two faces of a cover, as a chain from the soil to the air.

From below, each node that is present folds into the conductance (ADMITTANCE) and the heat flow (DOWNWARD, at no
change) that the next one sees; a lane without the node passes both on. The last one is the top (`top`). Once its change
is known the chain unfolds downwards. Where no lane of a block has snow or a cover, the leaf is the whole chain.
"""

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature, on_stretch
from microclimate.column.lanes import TEMPERATURE, at, larger, put, smaller
from microclimate.column.sheet import under
from microclimate.column.store import SKIN_CAPACITY
from microclimate.physics.elementwise import Value, choose, formula

MELTING = 1e4  # [W m-2 K-1] a melting skin below a cover is held at 0 degC as firmly as this (ours)
UNSOLVED = 1.0  # [K] misfit of a top whose passes did not suffice: the layers are gone through again


@formula
def fold(surface: Value, admittance: Value, downward: Value, snowing: Value, sheeted: Value, rate: Value) -> None:
    """From the soil up to the top: each node present folds in; the top starts from where it is.

    `admittance` and `downward`: what the layers are to the leaf (`ground.eliminate`).
    """
    leaf = surface[s.LEAF]
    surface[s.SOIL_ADMITTANCE] = admittance
    surface[s.SOIL_DOWNWARD] = downward
    surface[s.ADMITTANCE] = admittance
    surface[s.DOWNWARD] = downward
    surface[s.TOP] = leaf
    surface[s.TOP_START] = leaf
    surface[s.TOP_LINEAR] = leaf
    surface[s.TOP_ENTHALPY] = surface[s.LEAF_ENTHALPY]
    surface[s.TOP_OLD] = surface[s.LEAF_OLD]
    surface[s.TOP_UNFROZEN] = surface[s.LEAF_UNFROZEN]
    surface[s.TOP_FREEZING] = surface[s.LEAF_FREEZING]
    surface[s.TOP_FROZEN] = surface[s.LEAF_FROZEN]
    surface[s.TOP_STRETCH] = surface[s.LEAF_STRETCH]
    if sheeted:
        under(surface, rate)
    if snowing or sheeted:
        _fold_leaf(surface, rate)
    if snowing:
        _fold_snow(surface, rate)
    if snowing and sheeted:
        _fold_skin(surface, rate)
    if sheeted:
        _fold_sheet(surface, rate)


@formula
def _fold_leaf(surface: Value, rate: Value) -> None:
    """The leaf lies inside the chain, under snow or a cover."""
    snowy, covered = surface[s.SNOWY] > 0.0, surface[s.COVER_LYING] > 0.0
    leaf, enthalpy = surface[s.LEAF], surface[s.LEAF_ENTHALPY]
    above = choose(snowy, surface[s.NODE], surface[s.INNER])
    slope = on_stretch(
        enthalpy, surface[s.LEAF_UNFROZEN], surface[s.LEAF_FREEZING], surface[s.LEAF_FROZEN], surface[s.LEAF_STRETCH]
    )
    bare = covered & ~snowy
    own = rate / slope + surface[s.ADMITTANCE] + choose(bare, surface[s.UNDER_LOSS], 0.0)
    rest = (surface[s.LEAF_OLD] - enthalpy) * rate - surface[s.DOWNWARD] + choose(bare, surface[s.UNDER_GAIN], 0.0)
    _fold_node(
        surface, snowy | covered, (s.LEAF_INVERSE, s.LEAF_SHARE, s.LEAF_CHANGE, s.LINK_LEAF), own, rest, above - leaf
    )


@formula
def _fold_snow(surface: Value, rate: Value) -> None:
    """The snow layer folds in; its skin is the top."""
    snowy = surface[s.SNOWY] > 0.0
    node, skin = surface[s.NODE], surface[s.SKIN]
    enthalpy = surface[s.NODE_ENTHALPY]
    slope = on_stretch(
        enthalpy, surface[s.NODE_UNFROZEN], surface[s.NODE_FREEZING], surface[s.NODE_FROZEN], surface[s.NODE_STRETCH]
    )
    own = rate / slope + surface[s.ADMITTANCE]
    rest = (surface[s.NODE_OLD] - enthalpy) * rate - surface[s.DOWNWARD]
    _fold_node(surface, snowy, (s.NODE_INVERSE, s.NODE_SHARE, s.NODE_CHANGE, s.LINK_SKIN), own, rest, skin - node)
    # a melting skin stays at 0 degC: what it gains beyond goes to the layer after the step
    put(surface, s.TOP, snowy, skin)
    put(surface, s.TOP_START, snowy, skin)
    put(surface, s.TOP_LINEAR, snowy, skin)
    put(surface, s.TOP_ENTHALPY, snowy, surface[s.SKIN_ENTHALPY])
    put(surface, s.TOP_OLD, snowy, surface[s.SKIN_OLD])
    put(surface, s.TOP_UNFROZEN, snowy, 0.0)
    put(surface, s.TOP_FREEZING, snowy, 0.0)
    put(surface, s.TOP_FROZEN, snowy, 1.0 / SKIN_CAPACITY)
    put(surface, s.TOP_STRETCH, snowy, 0.0)


@formula
def _fold_skin(surface: Value, rate: Value) -> None:
    """The snow's skin lies under a cover."""
    inside = (surface[s.SNOWY] > 0.0) & (surface[s.COVER_LYING] > 0.0)
    skin, enthalpy = surface[s.SKIN], surface[s.SKIN_ENTHALPY]
    own = choose(enthalpy <= 0.0, rate * SKIN_CAPACITY, MELTING) + surface[s.ADMITTANCE] + surface[s.UNDER_LOSS]
    rest = (surface[s.SKIN_OLD] - enthalpy) * rate - surface[s.DOWNWARD] + surface[s.UNDER_GAIN]
    names = s.SKIN_INVERSE, s.SKIN_SHARE, s.SKIN_CHANGE, s.LINK_GAP
    _fold_node(surface, inside, names, own, rest, surface[s.INNER] - skin)


@formula
def _fold_sheet(surface: Value, rate: Value) -> None:
    """The inner face of a cover folds in; its outer face is the top."""
    covered = surface[s.COVER_LYING] > 0.0
    inner, outer = surface[s.INNER], surface[s.OUTER]
    own = rate * surface[s.COVER_CAPACITY] + surface[s.ADMITTANCE] + surface[s.INNER_LOSS]
    rest = (surface[s.INNER_OLD] - surface[s.INNER_ENTHALPY]) * rate + surface[s.INNER_GAIN] - surface[s.DOWNWARD]
    names = s.INNER_INVERSE, s.INNER_SHARE, s.INNER_CHANGE, s.LINK_SHEET
    _fold_node(surface, covered, names, own, rest, outer - inner)
    put(surface, s.TOP, covered, outer)
    put(surface, s.TOP_START, covered, outer)
    put(surface, s.TOP_LINEAR, covered, outer)
    put(surface, s.TOP_ENTHALPY, covered, surface[s.OUTER_ENTHALPY])
    put(surface, s.TOP_OLD, covered, surface[s.OUTER_OLD])
    put(surface, s.TOP_UNFROZEN, covered, surface[s.OUTER_UNFROZEN])
    put(surface, s.TOP_FREEZING, covered, surface[s.OUTER_FREEZING])
    put(surface, s.TOP_FROZEN, covered, surface[s.OUTER_FROZEN])
    put(surface, s.TOP_STRETCH, covered, surface[s.OUTER_STRETCH])


@formula
def _fold_node(surface: Value, present: Value, names: Value, own: Value, rest: Value, difference: Value) -> None:
    """One node into what the next sees: the admittance and the flow down into it, in lanes where it is present.

    `names` are the rows of its inverse pivot, share, change and link; `own` and `rest` its pivot without the link and
    its right-hand side; `difference` the next node's temperature less its own.
    """
    inverse, share, change, across = names
    link = surface[across]
    pivot = 1.0 / (own + link)
    alone = (rest + link * difference) * pivot
    surface[inverse] = pivot
    surface[share] = link * pivot
    surface[change] = alone
    put(surface, s.ADMITTANCE, present, own * link * pivot)
    put(surface, s.DOWNWARD, present, link * (difference - alone))


@formula
def unfold(surface: Value, snowing: Value, sheeted: Value) -> Value:
    """From the top down: the increments of the chain; the leaf's comes back [K]."""
    step = surface[s.TOP_LINEAR] - surface[s.TOP_START]
    if snowing or sheeted:
        snowy, covered = surface[s.SNOWY] > 0.0, surface[s.COVER_LYING] > 0.0
        inner = surface[s.INNER_CHANGE] + surface[s.INNER_SHARE] * step
        surface[s.INNER_STEP] = inner
        step = choose(covered, inner, step)
        skin = surface[s.SKIN_CHANGE] + surface[s.SKIN_SHARE] * step
        surface[s.SKIN_STEP] = skin
        step = choose(covered & snowy, skin, step)
        node = surface[s.NODE_CHANGE] + surface[s.NODE_SHARE] * step
        surface[s.NODE_STEP] = node
        step = choose(snowy, node, step)
        leaf = surface[s.LEAF_CHANGE] + surface[s.LEAF_SHARE] * step
        step = choose(snowy | covered, leaf, step)
    surface[s.LEAF_STEP] = step
    return step


@formula
def reply(surface: Value, pushed: Value, snowing: Value, sheeted: Value, rate: Value) -> Value:
    """The chain's answer to one more W m-2 of heating, up to the top and down again; the leaf's comes back.

    `pushed`: share of it that comes up to the leaf, nothing changing above the soil.
    """
    surface[s.SOIL_REPLY] = pushed
    node, skin, inner, push = pushed, pushed, pushed, pushed
    snowy, covered = surface[s.SNOWY] > 0.0, surface[s.COVER_LYING] > 0.0
    if snowing or sheeted:
        node = pushed * choose(snowy | covered, surface[s.LEAF_SHARE], 1.0)
        skin = node * choose(snowy, surface[s.NODE_SHARE], 1.0)
        inner = skin * choose(snowy & covered, surface[s.SKIN_SHARE], 1.0)
        push = inner * choose(covered, surface[s.INNER_SHARE], 1.0)
    slope = surface[s.TOP_SLOPE]
    heat = push / (rate + surface[s.STIFFNESS] * slope)
    answer = slope * heat
    surface[s.HEAT_ENTHALPY] = heat
    surface[s.OUTER_REPLY] = answer
    if snowing or sheeted:
        below = inner * surface[s.INNER_INVERSE] + surface[s.INNER_SHARE] * answer
        surface[s.INNER_REPLY] = below
        answer = choose(covered, below, answer)
        below = skin * surface[s.SKIN_INVERSE] + surface[s.SKIN_SHARE] * answer
        surface[s.SKIN_REPLY] = below
        answer = choose(snowy & covered, below, answer)
        below = node * surface[s.NODE_INVERSE] + surface[s.NODE_SHARE] * answer
        surface[s.NODE_REPLY] = below
        answer = choose(snowy, below, answer)
        below = pushed * surface[s.LEAF_INVERSE] + surface[s.LEAF_SHARE] * answer
        answer = choose(snowy | covered, below, answer)
    surface[s.LEAF_REPLY] = answer
    return answer


@formula
def heated(surface: Value, change: Value, snowing: Value, sheeted: Value) -> Value:
    """Add to the chain the answer to this pass's change of heating [W m-2]; the leaf's increment comes back [K]."""
    if snowing or sheeted:
        surface[s.INNER_STEP] = surface[s.INNER_STEP] + change * surface[s.INNER_REPLY]
        surface[s.SKIN_STEP] = surface[s.SKIN_STEP] + change * surface[s.SKIN_REPLY]
        surface[s.NODE_STEP] = surface[s.NODE_STEP] + change * surface[s.NODE_REPLY]
    step = surface[s.LEAF_STEP] + change * surface[s.LEAF_REPLY]
    surface[s.LEAF_STEP] = step
    surface[s.SOIL_DOWNWARD] = surface[s.SOIL_DOWNWARD] - change * surface[s.SOIL_REPLY]
    return step


@formula
def update(surface: Value, layer: Value, going: Value, snowing: Value, sheeted: Value, rate: Value) -> Value:
    """New enthalpies and temperatures of the chain, the flow into the soil; back comes the misfit [K]."""
    top = surface[s.TOP]
    flow = surface[s.SOIL_DOWNWARD] + surface[s.SOIL_ADMITTANCE] * surface[s.LEAF_STEP]
    put(surface, s.GROUND, going, flow)
    bare = going & (surface[s.SNOWY] + surface[s.COVER_LYING] == 0.0)
    leaf = choose(bare, top, surface[s.LEAF])
    surface[s.LEAF] = leaf
    put(surface, s.LEAF_ENTHALPY, bare, surface[s.TOP_ENTHALPY])
    layer[at(0, TEMPERATURE)] = leaf
    misfit = choose(surface[s.ITERATING] > 0.0, UNSOLVED, abs(top - surface[s.TOP_LINEAR]))
    misfit = choose(going, misfit, 0.0)
    if snowing or sheeted:
        misfit = _update_leaf(surface, layer, going, misfit)
    if snowing:
        misfit = _update_snow(surface, going, rate, misfit)
    if sheeted:
        _update_sheet(surface, going)
    return misfit


@formula
def _update_leaf(surface: Value, layer: Value, going: Value, misfit: Value) -> Value:
    """The leaf inside the chain."""
    inside = going & (surface[s.SNOWY] + surface[s.COVER_LYING] > 0.0)
    heat, leaf, miss = _advance(
        surface[s.LEAF_ENTHALPY],
        surface[s.LEAF],
        surface[s.LEAF_STEP],
        surface[s.LEAF_UNFROZEN],
        surface[s.LEAF_FREEZING],
        surface[s.LEAF_FROZEN],
        surface[s.LEAF_STRETCH],
    )
    leaf = choose(inside, leaf, surface[s.LEAF])
    put(surface, s.LEAF_ENTHALPY, inside, heat)
    surface[s.LEAF] = leaf
    layer[at(0, TEMPERATURE)] = leaf
    return choose(inside, larger(misfit, miss), misfit)


@formula
def _update_snow(surface: Value, going: Value, rate: Value, misfit: Value) -> Value:
    """Snow layer and skin."""
    snowy = going & (surface[s.SNOWY] > 0.0)
    heat, node, miss = _advance(
        surface[s.NODE_ENTHALPY],
        surface[s.NODE],
        surface[s.NODE_STEP],
        surface[s.NODE_UNFROZEN],
        surface[s.NODE_FREEZING],
        surface[s.NODE_FROZEN],
        surface[s.NODE_STRETCH],
    )
    put(surface, s.NODE_ENTHALPY, snowy, heat)
    put(surface, s.NODE, snowy, node)
    misfit = choose(snowy, larger(misfit, miss), misfit)
    covered = surface[s.COVER_LYING] > 0.0
    held, step = surface[s.SKIN_ENTHALPY], surface[s.SKIN_STEP]
    line = surface[s.SKIN] + step
    held = held + step * choose(held <= 0.0, SKIN_CAPACITY, MELTING / rate)
    skin = smaller(held, 0.0) / SKIN_CAPACITY
    misfit = choose(snowy & covered, larger(misfit, abs(skin - line)), misfit)
    put(surface, s.SKIN_ENTHALPY, snowy, choose(covered, held, surface[s.TOP_ENTHALPY]))
    put(surface, s.SKIN, snowy, choose(covered, skin, surface[s.TOP]))
    return misfit


@formula
def _update_sheet(surface: Value, going: Value) -> None:
    """Both faces of the cover, and what came in below it."""
    inside = going & (surface[s.COVER_LYING] > 0.0)
    below = choose(surface[s.SNOWY] > 0.0, surface[s.SKIN_STEP], surface[s.LEAF_STEP])
    inner, step = surface[s.INNER], surface[s.INNER_STEP]
    gained = surface[s.INNER_GAIN] - surface[s.INNER_LOSS] * step
    put(surface, s.UNDER, inside, surface[s.UNDER_GAIN] - surface[s.UNDER_LOSS] * below + gained)
    put(surface, s.FILM_VAPOUR, inside, surface[s.UNDER_VAPOUR] + surface[s.UNDER_VAPOUR_SLOPE] * below)
    put(surface, s.DEW, inside, surface[s.INNER_DEW] - surface[s.INNER_DEW_SLOPE] * step)
    put(surface, s.INNER_ENTHALPY, inside, surface[s.INNER_ENTHALPY] + surface[s.COVER_CAPACITY] * step)
    put(surface, s.INNER, inside, inner + step)
    put(surface, s.OUTER_ENTHALPY, inside, surface[s.TOP_ENTHALPY])
    put(surface, s.OUTER, inside, surface[s.TOP])


@formula
def _advance(
    enthalpy: Value, temperature: Value, step: Value, unfrozen: Value, freezing: Value, frozen: Value, stretch: Value
) -> Value:
    """Enthalpy after a step of temperature along the present line, the true temperature there, and the misfit [K]."""
    line = temperature + step
    enthalpy = enthalpy + step / on_stretch(enthalpy, unfrozen, freezing, frozen, stretch)
    now = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    return enthalpy, now, abs(now - line)
