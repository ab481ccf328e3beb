"""The time loop: blocks of lanes carried through all steps."""

import numpy as np
from numpy.typing import DTypeLike, NDArray

from microclimate.column import ground
from microclimate.column import rows as s
from microclimate.column import step as steps
from microclimate.column.ground import frozen_share
from microclimate.column.jit import kernel
from microclimate.column.lanes import (
    ENTHALPY,
    FREEZING,
    LANES,
    LAYER_GIVEN,
    LAYER_VARIABLES,
    TEMPERATURE,
    at,
    larger,
    on,
)
from microclimate.physics.elementwise import Value, choose, formula
from microclimate.simulate import accumulate

# rows of the states asked for; one of temperature and one of ice for each layer follow
(
    LEAF,
    STATE,
    FILM,
    FROST,
    SNOW,
    SNOW_DEPTH,
    HEAT,
    RADIATION,
    SENSIBLE,
    LATENT,
    GROUND,
    FACE,
    TRACE,
) = range(13)

TINY = 1e-9  # [W m-2 K-1]
SKIRTS_LEAK = 0.2  # of the exchange below trays that closed skirts leave (ours)


def side_by_side(plans: int, pairs: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Plan and patch of each column, plan by plan: lanes side by side have like covers and heat.

    Each plan is filled up to whole tiles with its last patch again where that adds little (a tenth: ours), so that its
    blocks read the forcing tile by tile; the third array tells the columns that count.
    """
    filled = -(-pairs // LANES) * LANES
    width = filled if filled <= 1.1 * pairs else pairs
    number, slot = (array.ravel() for array in np.meshgrid(np.arange(plans), np.arange(width), indexing="ij"))
    return number, np.minimum(slot, pairs - 1), slot < pairs


def tiled(forcing: NDArray[np.float64], kind: DTypeLike) -> NDArray[np.floating]:
    """Forcing (time, row, patch) in tiles of LANES patches, (tile, time, row, LANES); the last is filled up."""
    times, count, patches = forcing.shape
    tiles = -(-patches // LANES)
    found = np.empty((tiles, times, count, LANES), dtype=kind)
    for tile in range(tiles):
        part = forcing[:, :, tile * LANES : (tile + 1) * LANES]
        found[tile, :, :, : part.shape[2]] = part
        found[tile, :, :, part.shape[2] :] = part[:, :, -1:]
    return found


@formula
def _load(
    surface: Value,
    layer: Value,
    places: Value,
    block: Value,
    columns: Value,
    given: Value,
    layers: Value,
    state: Value,
    heat: Value,
    depth_places: Value,
) -> None:
    """Fill the workspaces of a block; lanes past the last column repeat it."""
    count = layers.shape[1]
    for lane in range(LANES):
        column = min(block * LANES + lane, columns.shape[0] - 1)
        patch = columns[column, 0]
        for row in range(s.GIVEN):
            surface[on(row, lane)] = given[patch, row]
        for row in range(s.KEPT):
            surface[on(s.COVER_LYING + row, lane)] = state[column if state.shape[0] == columns.shape[0] else patch, row]
        for row in range(count):
            for variable in range(LAYER_GIVEN):
                layer[at(row + 1, variable, lane)] = layers[patch, row, variable]
            layer[at(row + 1, ENTHALPY, lane)] = heat[patch, row]
        for place in range(2 * accumulate.DEPTHS):
            places[accumulate.slot(place, lane)] = depth_places[patch, place]
        surface[on(s.COVER_CAPACITY, lane)] = max(surface[on(s.COVER_CAPACITY, lane)], 1.0)


@formula
def _whole(block: Value, columns: Value, last: Value) -> Value:
    """Steps for which the block's lanes are one tile of the forcing; 0 where they are not."""
    first, end = block * LANES, (block + 1) * LANES
    if end > columns.shape[0]:
        return 0
    pair = columns[first, 0]
    if pair % LANES != 0 or columns[end - 1, 0] - pair != LANES - 1:
        return 0
    least = last[pair]
    for lane in range(first, end):
        least = min(least, last[columns[lane, 0]])
    return least


@formula
def _force(
    surface: Value, alive: Value, time: Value, block: Value, whole: Value, columns: Value, forcing: Value, last: Value
) -> None:
    """Forcing of a step; a lane whose forcing has ended keeps its last."""
    if time < whole:
        tile = columns[block * LANES, 0] // LANES
        for row in range(s.FORCED):
            for lane in range(LANES):
                surface[on(s.AIR + row, lane)] = forcing[tile, time, row, np.uint64(lane)]
        for lane in range(LANES):
            alive[lane] = 1.0
    else:
        for lane in range(LANES):
            pair = columns[min(block * LANES + lane, columns.shape[0] - 1), 0]
            alive[lane] = 1.0 if time < last[pair] else 0.0
            now = np.uint64(max(min(time, last[pair] - 1), 0))
            tile, place = np.uint64(pair // LANES), np.uint64(pair % LANES)
            for row in range(s.FORCED):
                surface[on(s.AIR + row, lane)] = forcing[tile, now, np.uint64(row), place]


@formula
def _plan(surface: Value, time: Value, block: Value, columns: Value, plans: Value) -> None:
    """Plan of a step."""
    for lane in range(LANES):
        zone = columns[min(block * LANES + lane, columns.shape[0] - 1), 1]
        for row in range(s.PLANNED):
            surface[on(s.COVERED + row, lane)] = plans[time, row, zone]


@formula
def _surroundings(surface: Value) -> Value:
    """What is below; true where water falls, snow is swept or a cover changes in any lane."""
    busy = 0.0 * surface[0]
    for lane in range(LANES):
        closed = surface[on(s.SKIRTS, lane)] > 0.0
        surface[on(s.BELOW_CONDUCTANCE, lane)] = choose(
            closed, surface[on(s.BELOW_CLOSED, lane)], surface[on(s.BELOW_OPEN, lane)]
        )
        # warm air, with no cover to blow it under, goes below the trays
        leak = surface[on(s.BELOW_LEAK, lane)] * choose(closed, SKIRTS_LEAK, 1.0)
        flow = choose((leak > 0.0) & (surface[on(s.COVERED, lane)] == 0.0), surface[on(s.WARM_FLOW, lane)], 0.0)
        below, air = surface[on(s.BELOW, lane)], surface[on(s.WARM_AIR, lane)]
        mixed = (leak * below + flow * air) / larger(leak + flow, TINY)
        surface[on(s.BELOW, lane)] = choose(flow > 0.0, mixed, below)
        change = abs(surface[on(s.COVERED, lane)] - surface[on(s.COVER_LYING, lane)])
        falls = surface[on(s.RAIN, lane)] + surface[on(s.SNOWFALL, lane)]
        busy = larger(busy, falls + change + surface[on(s.SNOW_REMOVED, lane)])
    return busy > 0.0


@formula
def _trace(surface: Value, layer: Value, told: Value, count: Value, lane: Value, out: Value) -> None:
    """States of one lane at the end of a step."""
    out[LEAF] = surface[on(s.LEAF, lane)]
    if out.shape[0] == 1:  # the leaf alone was asked for
        return
    ice = frozen_share(surface[on(s.LEAF_ENTHALPY, lane)], surface[on(s.LEAF_STRETCH, lane)])
    water = surface[on(s.LEAF_FILM, lane)] + surface[on(s.LEAF_FROST, lane)]
    out[STATE] = told[accumulate.slot(accumulate.STATE, lane)]
    out[FILM] = (1.0 - ice) * water
    out[FROST] = ice * water
    out[SNOW] = surface[on(s.SNOW, lane)]
    out[SNOW_DEPTH] = surface[on(s.SNOW_DEPTH, lane)]
    out[HEAT] = surface[on(s.HEAT, lane)]
    out[RADIATION] = surface[on(s.NET_RADIATION, lane)]
    out[SENSIBLE] = surface[on(s.SENSIBLE, lane)]
    out[LATENT] = surface[on(s.LATENT, lane)]
    out[GROUND] = surface[on(s.GROUND, lane)]
    bare = surface[on(s.SKIN, lane)] if surface[on(s.SNOW, lane)] > 0.0 else surface[on(s.LEAF, lane)]
    out[FACE] = surface[on(s.OUTER, lane)] if surface[on(s.COVER_LYING, lane)] > 0.0 else bare
    for row in range(count):
        out[TRACE + row] = layer[at(row + 1, TEMPERATURE, lane)]
        out[TRACE + count + row] = frozen_share(layer[at(row + 1, ENTHALPY, lane)], layer[at(row + 1, FREEZING, lane)])


@kernel
def run(
    first: Value,
    end: Value,
    columns: Value,
    given: Value,
    layers: Value,
    state: Value,
    heat: Value,
    depth_places: Value,
    shallow: Value,
    forcing: Value,
    plans: Value,
    changes: Value,
    last: Value,
    lengths: Value,
    spans: Value,
    parts: Value,
    tables: Value,
    covers: Value,
    thresholds: Value,
    windows: Value,
    accounts: Value,
    end_state: Value,
    end_heat: Value,
    traced: Value,
    traces: Value,
) -> None:
    """Blocks `first` to `end` through all steps; `jit.over_threads` shares them out.

    Parameters
    ----------
    first, end : blocks to do
    columns : (column, 2) number of the patch (of all realizations) and of the zone (of all plans)
    given : (patch, rows.GIVEN) parameters
    layers : (patch, layer, lanes.LAYER_GIVEN) parameters of the layers
    state, heat : (patch or column, rows.KEPT), (patch, layer) the start [J m-2]
    depth_places : (patch, 6) row and share of the report depths
    shallow : layers that the surface state looks at
    forcing : (tile, time, rows.FORCED, LANES): patches in tiles of LANES, each in one piece of memory through time
    plans, changes : (time, rows.PLANNED, zone); (time) whether a plan differs from the step before
    last : (patch) steps before the first gap
    lengths, spans, parts : (time) of the steps [s]; of the shorter steps that each is cut into; how many
    tables, covers, thresholds : exchange tables, cover kinds, borders of the surface states
    windows : (window, time) whether a step counts
    accounts : (block, window, account) filled here
    end_state, end_heat : as `state` and `heat` by column, filled here; no rows: not wanted
    traced, traces : (column) place in `traces` or -1; (place, time, row) filled here; no rows: not wanted
    """
    count = layers.shape[1]
    kind = layers.dtype
    for block in range(first, end):
        surface = np.zeros(s.VARIABLES * LANES, dtype=kind)
        layer = np.zeros((count + 2) * LAYER_VARIABLES * LANES, dtype=kind)
        places = np.zeros(2 * accumulate.DEPTHS * LANES, dtype=kind)
        told = np.zeros((accumulate.REPORT + 2) * LANES, dtype=kind)
        alive = np.zeros(LANES, dtype=kind)
        _load(surface, layer, places, block, columns, given, layers, state, heat, depth_places)
        ground.settle(layer, count)
        whole = _whole(block, columns, last)
        for window in range(windows.shape[0]):
            accumulate.open_account(accounts[block, window])
        for time in range(lengths.shape[0]):
            _force(surface, alive, time, block, whole, columns, forcing, last)
            if changes[time]:
                _plan(surface, time, block, columns, plans)
            weather = _surroundings(surface)
            for _ in range(parts):
                steps.advance(surface, layer, count, tables, covers, spans[time], weather)
            accumulate.report(surface, layer, shallow, places, thresholds, told)
            for window in range(windows.shape[0]):
                if windows[window, time]:
                    accumulate.enter(surface, told, alive, 1.0 * time, lengths[time] / 3600.0, accounts[block, window])
            if traced.shape[0] > 0:
                for lane in range(LANES):
                    column = block * LANES + lane
                    if column < columns.shape[0] and traced[column] >= 0 and alive[lane] > 0.0:
                        _trace(surface, layer, told, count, lane, traces[traced[column], time])
        if end_state.shape[0] > 0:
            for lane in range(LANES):
                column = block * LANES + lane
                if column < columns.shape[0]:
                    for row in range(s.KEPT):
                        end_state[column, row] = surface[on(s.COVER_LYING + row, lane)]
                    for row in range(count):
                        end_heat[column, row] = layer[at(row + 1, ENTHALPY, lane)]
