"""One implicit step of a block of columns: what comes, the passes of Newton's rule, what settles."""

from microclimate.column import ground, heat, rows, solve, store
from microclimate.column.lanes import (
    CONDUCTANCE,
    HALF,
    INCREMENT,
    LANES,
    MISFIT,
    TEMPERATURE,
    at,
    on,
)
from microclimate.physics.elementwise import Value, formula

PASSES = 12  # most passes over the layers; 1.05 to 1.3 are usual
TOP_PASSES = 6  # most passes over the top in each
TOLERANCE = 0.01  # [K] of a layer's temperature against its straight line
HEAT_TOLERANCE = 0.05  # [W m-2] of the heating between passes


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
    if weather:
        for lane in range(LANES):
            store.change_cover(surface, lane, covers)
        store.receive(surface, step)
    for lane in range(LANES):
        layer[at(count + 1, HALF, lane)] = 1.0 / surface[on(rows.BELOW_CONDUCTANCE, lane)]
        layer[at(count + 1, TEMPERATURE, lane)] = surface[on(rows.BELOW, lane)]
        surface[on(rows.OPEN_LANE, lane)] = 1.0
    solve.begin(surface, layer)
    for lane in range(LANES):
        layer[at(0, TEMPERATURE, lane)] = surface[on(rows.LEAF, lane)]
    ground.begin(layer, count)
    heating = heat.wanted_anywhere(surface)
    heat.begin(surface, layer, count, step)

    for _ in range(PASSES):
        ground.eliminate(layer, count, rate)
        solve.fold(surface, layer, rate)
        for _ in range(TOP_PASSES):
            solve.exchange(surface, tables)
            if solve.newton(surface, rate) <= solve.TOP_TOLERANCE:
                break
        solve.unfold(surface, layer)
        ground.substitute(layer, count)
        if heating:
            ground.respond(layer, count)
            solve.reply(surface, layer, rate)
            ground.respond_down(layer, count)
            heat.decide(surface, layer, count)
            solve.heat_top(surface)
        solve.update(surface, layer, rate)
        ground.update(layer, count)
        open_lanes = 0.0
        for lane in range(LANES):
            change = abs(surface[on(rows.HEAT_CHANGE, lane)])
            was = surface[on(rows.OPEN_LANE, lane)]
            bottom = layer[at(count + 1, CONDUCTANCE, lane)] * (
                layer[at(count, INCREMENT, lane)] - layer[at(count + 1, TEMPERATURE, lane)]
            )
            surface[on(rows.BOTTOM, lane)] = bottom if was > 0.0 else surface[on(rows.BOTTOM, lane)]
            going = layer[at(count, MISFIT, lane)] > TOLERANCE or change > HEAT_TOLERANCE
            still = was if going else 0.0
            surface[on(rows.OPEN_LANE, lane)] = still
            open_lanes += still
        if open_lanes == 0.0:
            break
    store.settle_snow(surface, step)
    store.settle_leaf(surface, step)
