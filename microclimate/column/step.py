"""One implicit step of a block of columns: what comes, the passes of Newton's rule, what settles."""

from microclimate.column import chain, ground, heat, links, rows, sheet, store, top
from microclimate.column.lanes import HEATED, PROBED, TEMPERATURE, at
from microclimate.column.vector import anywhere
from microclimate.physics.elementwise import Value, formula

PASSES = 12  # most passes over the layers; 1.05 to 1.3 are usual
TOLERANCE = 0.05  # [K] of a layer's temperature against its straight line: 0.01 changes no front by 1e-4
HEAT_TOLERANCE = 0.05  # [K] that a pass's change of heating moves the top


@formula
def lowest_heated(layer: Value, count: Value) -> Value:
    """The lowest layer that pipes or probes touch in any lane; 0: none."""
    found = 0
    for place in range(1, count + 1):
        if anywhere((layer[at(place, HEATED)] > 0.0) | (layer[at(place, PROBED)] > 0.0)):
            found = place
    return found


@formula
def advance(
    surface: Value,
    layer: Value,
    count: Value,
    lowest: Value,
    tables: Value,
    covers: Value,
    step: Value,
    weather: Value,
) -> None:
    """Carry the block over `step` [s].

    Parameters
    ----------
    surface, layer : workspaces; forcing and plan of the step are in `surface` already
    count, lowest : layers; the lowest one that pipes or probes touch (`lowest_heated`)
    tables : exchange tables, shape (table, place)
    covers : what each cover is, shape (cover, store.COVER_NUMBERS)
    weather : true where it rains or snows, snow is swept or a cover changes in any lane
    """
    rate = 1.0 / step
    surface[rows.ADVECTED] = 0.0 * surface[rows.AIR]
    if weather:
        store.change_cover(surface, covers)
        store.receive(surface, step)
    snowing, sheeted = anywhere(surface[rows.SNOW] > 0.0), anywhere(surface[rows.COVER_LYING] > 0.0)
    links.leaf(surface, layer)
    if snowing:
        links.snow_layer(surface)
    if sheeted:
        sheet.faces(surface)
    top.begin(surface, tables, snowing, sheeted)
    layer[at(count + 1, TEMPERATURE)] = surface[rows.BELOW]
    ground.begin(layer, count, 1.0 / surface[rows.LEAF_BED], 1.0 / surface[rows.BELOW_CONDUCTANCE])
    heating = anywhere(heat.may_heat(surface))
    if heating:
        heat.begin(surface, layer, lowest, step)
    else:
        heat.rest(surface)
        lowest = 0
    sided = anywhere(surface[rows.SIDED] > 0.0)

    going = surface[rows.AIR] == surface[rows.AIR]
    for _ in range(PASSES):
        soil, warmth = ground.eliminate(layer, count, lowest, sided, surface[rows.AIR], surface[rows.HEAT], rate)
        chain.fold(surface, soil[0], soil[1], snowing, sheeted, rate)
        top.solve(surface, tables, going, rate)
        leaf_step = chain.unfold(surface, snowing, sheeted)
        change = 0.0 * leaf_step
        if heating:
            answer = chain.reply(surface, warmth[0], snowing, sheeted, rate)
            change = heat.decide(surface, going, warmth, leaf_step, answer)
            leaf_step = chain.heated(surface, change, snowing, sheeted)
            top.heated(surface, change)
        misfit = chain.update(surface, layer, going, snowing, sheeted, rate)
        misfit = ground.update(layer, count, lowest, leaf_step, change, going, misfit)
        more = misfit > TOLERANCE
        if heating:
            more = more | (abs(change * surface[rows.OUTER_REPLY]) > HEAT_TOLERANCE)
        going = going & more
        if not anywhere(going):
            break
    if snowing:
        store.settle_snow(surface, step)
    store.settle_leaf(surface, step)
    if heating or anywhere(surface[rows.HEAT_CROWDED] > 0.0):
        heat.settle(surface, step)
    if sheeted:
        store.settle_sheet(surface, step)
