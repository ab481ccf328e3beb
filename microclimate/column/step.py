"""One implicit step of a block of columns: what comes, the passes of Newton's rule, what settles."""

from microclimate.column import chain, ground, heat, links, rows, store, top
from microclimate.column.lanes import (
    HALF,
    LANES,
    MISFIT,
    TEMPERATURE,
    at,
    larger,
    on,
)
from microclimate.physics.elementwise import Value, formula

PASSES = 12  # most passes over the layers; 1.05 to 1.3 are usual
TOP_PASSES = 6  # most passes over the top in each
TOLERANCE = 0.05  # [K] of a layer's temperature against its straight line: 0.01 changes no front by 1e-4
HEAT_TOLERANCE = 0.05  # [K] that a pass's change of heating moves the top


@formula
def advance(
    surface: Value, layer: Value, count: Value, tables: Value, covers: Value, step: Value, weather: Value
) -> None:
    """Carry the block over `step` [s].

    Parameters
    ----------
    surface, layer : workspaces; forcing and plan of the step are in `surface` already
    count : layers
    tables : exchange tables, shape (table, place)
    covers : what each cover is, shape (cover, 9)
    weather : true where it rains or snows, snow is swept or a cover changes in any lane
    """
    rate = 1.0 / step
    for lane in range(LANES):
        surface[on(rows.ADVECTED, lane)] = 0.0
        surface[on(rows.OPEN_LANE, lane)] = 1.0
        surface[on(rows.HEAT_CHANGE, lane)] = 0.0
        layer[at(count + 1, HALF, lane)] = 1.0 / surface[on(rows.BELOW_CONDUCTANCE, lane)]
        layer[at(count + 1, TEMPERATURE, lane)] = surface[on(rows.BELOW, lane)]
    if weather:
        for lane in range(LANES):
            store.change_cover(surface, lane, covers)
        store.receive(surface, step)
    snowing, sheeted = any_above(surface, rows.SNOW), any_above(surface, rows.COVER_LYING)
    links.leaf(surface, layer)
    if snowing:
        links.snow_layer(surface)
    if sheeted:
        links.sheet(surface)
    top.begin(surface, tables, snowing, sheeted)
    ground.begin(layer, count)
    heating = heat.wanted_anywhere(surface)
    deepest = heat.deepest(surface) if heating else 0
    if heating:
        heat.begin(surface, layer, step)
    else:
        heat.rest(surface, layer)
    sided = any_above(surface, rows.SIDED)
    if heating or sided or surface[on(rows.SOURCED, 0)] > 0.0:
        heat.sources(surface, layer, count if sided else heat.deepest(surface))
        surface[on(rows.SOURCED, 0)] = 1.0 if heating else 0.0 * surface[on(rows.SOURCED, 0)]

    for _ in range(PASSES):
        ground.eliminate(layer, count, rate)
        chain.fold(surface, layer, snowing, sheeted, rate)
        for _ in range(TOP_PASSES):
            top.look_up(surface, tables)
            if top.newton(surface, rate) <= top.LAST_STEP:
                break
        chain.unfold(surface, layer)
        if heating:
            ground.respond(layer, deepest)
            chain.reply(surface, layer, rate)
            ground.foresee(layer, deepest)
            heat.decide(surface, layer)
            ground.heated(layer, deepest)
            chain.heated(surface, layer)
            top.heated(surface)
        chain.update(surface, layer, snowing, sheeted, rate)
        ground.update(layer, count)
        if not _open_lanes(surface, layer, count):
            break
    if snowing:
        store.settle_snow(surface, step)
    store.settle_leaf(surface, step)
    if sheeted:
        store.settle_sheet(surface, step)


@formula
def _open_lanes(surface: Value, layer: Value, count: Value) -> Value:
    """Close the lanes that are done; true while any is not."""
    left = 0.0 * surface[on(rows.OPEN_LANE, 0)]
    for lane in range(LANES):
        was = surface[on(rows.OPEN_LANE, lane)]
        change = abs(surface[on(rows.HEAT_CHANGE, lane)] * surface[on(rows.OUTER_REPLY, lane)])
        going = layer[at(count, MISFIT, lane)] > TOLERANCE or change > HEAT_TOLERANCE
        still = was if going else 0.0 * was
        surface[on(rows.OPEN_LANE, lane)] = still
        left += still
    return left > 0.0


@formula
def any_above(surface: Value, row: Value) -> Value:
    """Whether a row is above 0 in any lane."""
    most = surface[on(row, 0)]
    for lane in range(1, LANES):
        most = larger(most, surface[on(row, lane)])
    return most > 0.0
