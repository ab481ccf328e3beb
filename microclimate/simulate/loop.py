"""The time loop: blocks of lanes carried through all steps."""

from typing import NamedTuple

import numpy as np
from numpy.typing import DTypeLike, NDArray

from microclimate.column import ground
from microclimate.column import rows as s
from microclimate.column import step as steps
from microclimate.column.ground import frozen_share
from microclimate.column.jit import kernel, over_threads
from microclimate.column.lanes import ENTHALPY, FREEZING, LAYER_GIVEN, LAYER_VARIABLES, TEMPERATURE, at, larger
from microclimate.column.vector import BYTES, anywhere, lanes_of, rows_beside
from microclimate.column.vector import rows as rows_of
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


class Job(NamedTuple):
    """All that a run of the kernel reads and fills.

    Numbers of the columns are of the kind (float64, float32) that the run is to have; its lanes are `lanes_of` it.
    """

    columns: NDArray[np.int64]  # (column, 2) number of the patch (of all realizations) and of the zone (of all plans)
    given: NDArray[np.floating]  # (patch, rows.GIVEN) parameters
    layers: NDArray[np.floating]  # (patch, layer, lanes.LAYER_GIVEN) parameters of the layers
    state: NDArray[np.floating]  # (patch or column, rows.KEPT) the start
    heat: NDArray[np.floating]  # (patch, layer) the start [J m-2]
    depth_places: NDArray[np.floating]  # (patch, 6) row and share of the report depths
    shallow: int  # layers that the surface state looks at
    forcing: NDArray[np.floating]  # (tile, time, rows.FORCED, lane), by `tiled`
    plans: NDArray[np.floating]  # (time, rows.PLANNED, zone)
    changes: NDArray[np.bool_]  # (time) whether a plan differs from the step before
    last: NDArray[np.int64]  # (patch) steps before the first gap
    lengths: NDArray[np.float64]  # (time) of the steps [s]
    spans: NDArray[np.floating]  # (time) of the shorter steps that each is cut into [s]
    parts: int  # how many those are
    tables: NDArray[np.floating]  # exchange tables
    covers: NDArray[np.floating]  # (cover, store.COVER_NUMBERS)
    thresholds: NDArray[np.floating]  # (5) borders of the surface states, as `ladder.THRESHOLDS`
    windows: NDArray[np.bool_]  # (window, time) whether a step counts
    accounts: NDArray[np.float64]  # (block, window, account, lane) filled by the run
    end_state: NDArray[np.floating]  # as `state` by column, filled by the run; no rows: not wanted
    end_heat: NDArray[np.floating]  # as `heat` by column
    traced: NDArray[np.int64]  # (column) place in `traces` or -1; none: not wanted
    traces: NDArray[np.floating]  # (place, time, row) filled by the run


def side_by_side(
    plans: int, pairs: int, kind: DTypeLike
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Plan and patch of each column, plan by plan: lanes side by side have like covers and heat.

    Each plan is filled up to whole tiles with its last patch again where that adds little (a tenth: ours), so that its
    blocks read the forcing tile by tile; the third array tells the columns that count.
    """
    lanes = lanes_of(kind)
    filled = -(-pairs // lanes) * lanes
    width = filled if filled <= 1.1 * pairs else pairs
    number, slot = (array.ravel() for array in np.meshgrid(np.arange(plans), np.arange(width), indexing="ij"))
    return number, np.minimum(slot, pairs - 1), slot < pairs


def tiled(forcing: NDArray[np.floating], kind: DTypeLike, times_over: int = 1) -> NDArray[np.floating]:
    """Forcing (time, row, patch) in tiles of a block's lanes, (tile, time, row, lane); the last is filled up.

    All patches come `times_over` times, one set after the other.
    """
    times, count, patches = forcing.shape
    lanes, last = lanes_of(kind), patches * times_over - 1
    tiles = last // lanes + 1
    found = np.empty((tiles, times, count, lanes), dtype=kind)

    def fill(first: int, end: int) -> None:
        for tile in range(first, end):
            for lane in range(lanes):
                found[tile, :, :, lane] = forcing[:, :, min(tile * lanes + lane, last) % patches]

    over_threads(fill, tiles)
    return found


@formula
def _workspace(count: Value, like: Value) -> Value:
    """Zeros (row, lane) of an array's kind, each row on whole lines of the cache."""
    lanes = BYTES // like.itemsize
    room = np.zeros((count + 1) * lanes, dtype=like.dtype)
    skipped = (-room.ctypes.data) % BYTES // like.itemsize
    return room[skipped : skipped + count * lanes].reshape((count, lanes))


@formula
def _load(surface: Value, layer: Value, places: Value, block: Value, job: Value) -> None:
    """Fill the workspaces of a block; lanes past the last column repeat it."""
    count, lanes = job.layers.shape[1], surface.shape[1]
    for lane in range(lanes):
        column = min(block * lanes + lane, job.columns.shape[0] - 1)
        patch = job.columns[column, 0]
        started = column if job.state.shape[0] == job.columns.shape[0] else patch
        for row in range(s.GIVEN):
            surface[row, lane] = job.given[patch, row]
        for row in range(s.KEPT):
            surface[s.COVER_LYING + row, lane] = job.state[started, row]
        for row in range(count):
            for variable in range(LAYER_GIVEN):
                layer[(row + 1) * LAYER_VARIABLES + variable, lane] = job.layers[patch, row, variable]
            layer[(row + 1) * LAYER_VARIABLES + ENTHALPY, lane] = job.heat[patch, row]
        for place in range(2 * accumulate.DEPTHS):
            places[place, lane] = job.depth_places[patch, place]
        surface[s.COVER_CAPACITY, lane] = max(surface[s.COVER_CAPACITY, lane], 1.0)


@formula
def _whole(block: Value, columns: Value, last: Value, lanes: Value) -> Value:
    """Steps for which the block's lanes are one tile of the forcing; 0 where they are not."""
    first, end = block * lanes, (block + 1) * lanes
    if end > columns.shape[0]:
        return 0
    pair = columns[first, 0]
    if pair % lanes != 0 or columns[end - 1, 0] - pair != lanes - 1:
        return 0
    least = last[pair]
    for lane in range(first, end):
        least = min(least, last[columns[lane, 0]])
    return least


@formula
def _force(surface: Value, alive: Value, time: Value, block: Value, job: Value) -> None:
    """Forcing of a step, lane by lane; one whose forcing has ended keeps its last."""
    lanes = surface.shape[1]
    for lane in range(lanes):
        pair = job.columns[min(block * lanes + lane, job.columns.shape[0] - 1), 0]
        alive[0, lane] = 1.0 if time < job.last[pair] else 0.0
        now = max(min(time, job.last[pair] - 1), 0)
        for row in range(s.FORCED):
            surface[s.AIR + row, lane] = job.forcing[pair // lanes, now, row, pair % lanes]


@formula
def _plan(surface: Value, time: Value, block: Value, job: Value) -> None:
    """Plan of a step."""
    lanes = surface.shape[1]
    for lane in range(lanes):
        zone = job.columns[min(block * lanes + lane, job.columns.shape[0] - 1), 1]
        for row in range(s.PLANNED):
            surface[s.COVERED + row, lane] = job.plans[time, row, zone]


@formula
def _surroundings(surface: Value) -> Value:
    """What is below; true where water falls, snow is swept or a cover changes in any lane."""
    closed = surface[s.SKIRTS] > 0.0
    surface[s.BELOW_CONDUCTANCE] = choose(closed, surface[s.BELOW_CLOSED], surface[s.BELOW_OPEN])
    # warm air, with no cover to blow it under, goes below the trays; it mixes there with what leaks in
    leak = surface[s.BELOW_LEAK] * choose(closed, surface[s.SKIRTS_LEAVE], 1.0)
    own, planned = surface[s.BELOW_FLOW], choose(surface[s.COVERED] == 0.0, surface[s.WARM_FLOW], 0.0)
    blown = (surface[s.BELOW_LEAK] > 0.0) & (own + planned > 0.0)
    if anywhere(blown):
        passing, under = leak + own + planned, surface[s.BELOW_CONDUCTANCE]
        below = leak * surface[s.BELOW] + own * surface[s.BELOW_WARM] + planned * surface[s.WARM_AIR]
        surface[s.BELOW] = choose(blown, below / larger(passing, TINY), surface[s.BELOW])
        surface[s.BELOW_CONDUCTANCE] = choose(blown, under * passing / (under + passing), under)
    change = abs(surface[s.COVERED] - surface[s.COVER_LYING])
    return anywhere(surface[s.RAIN] + surface[s.SNOWFALL] + change + surface[s.SNOW_REMOVED] > 0.0)


@formula
def _trace(surface: Value, layer: Value, state: Value, count: Value, lane: Value, out: Value) -> None:
    """States of one lane at the end of a step."""
    out[LEAF] = surface[s.LEAF, lane]
    if out.shape[0] == 1:  # the leaf alone was asked for
        return
    ice = frozen_share(surface[s.LEAF_ENTHALPY, lane], surface[s.LEAF_STRETCH, lane])
    water = surface[s.LEAF_FILM, lane] + surface[s.LEAF_FROST, lane]
    out[STATE] = state
    out[FILM] = (1.0 - ice) * water
    out[FROST] = ice * water
    out[SNOW] = surface[s.SNOW, lane]
    out[SNOW_DEPTH] = surface[s.SNOW_DEPTH, lane]
    out[HEAT] = surface[s.HEAT, lane]
    out[RADIATION] = surface[s.NET_RADIATION, lane]
    out[SENSIBLE] = surface[s.SENSIBLE, lane]
    out[LATENT] = surface[s.LATENT, lane]
    out[GROUND] = surface[s.GROUND, lane]
    bare = surface[s.SKIN, lane] if surface[s.SNOW, lane] > 0.0 else surface[s.LEAF, lane]
    out[FACE] = surface[s.OUTER, lane] if surface[s.COVER_LYING, lane] > 0.0 else bare
    for row in range(count):
        out[TRACE + row] = layer[at(row + 1, TEMPERATURE), lane]
        out[TRACE + count + row] = frozen_share(layer[at(row + 1, ENTHALPY), lane], layer[at(row + 1, FREEZING), lane])


@formula
def _run_block(block: Value, job: Value) -> None:
    """One block of columns through all steps."""
    count, times, windows = job.layers.shape[1], job.lengths.shape[0], job.windows.shape[0]
    surface_room, layer_room = (
        _workspace(s.VARIABLES, job.layers),
        _workspace((count + 2) * LAYER_VARIABLES, job.layers),
    )
    places_room, told_room = _workspace(2 * accumulate.DEPTHS, job.layers), _workspace(accumulate.REPORT, job.layers)
    alive_room = _workspace(1, job.layers)
    lanes = surface_room.shape[1]
    _load(surface_room, layer_room, places_room, block, job)
    surface, layer, places = rows_of(surface_room), rows_of(layer_room), rows_of(places_room)
    told, alive, forcing = rows_of(told_room), rows_of(alive_room), rows_of(job.forcing)
    accounts, first = rows_beside(job.accounts, surface), block * windows * accumulate.ACCOUNT
    ground.settle(layer, count)
    lowest = steps.lowest_heated(layer, count)
    whole, tile = _whole(block, job.columns, job.last, lanes), job.columns[block * lanes, 0] // lanes
    alive[0] = 0.0 * alive[0] + 1.0
    borders = job.thresholds
    thresholds = borders[0], borders[1], borders[2], borders[3], borders[4]
    for window in range(windows):
        accumulate.open_account(accounts, first + window * accumulate.ACCOUNT)
    for time in range(times):
        if time < whole:
            for row in range(s.FORCED):
                surface[s.AIR + row] = forcing[(tile * times + time) * s.FORCED + row]
        else:
            _force(surface_room, alive_room, time, block, job)
        if job.changes[time]:
            _plan(surface_room, time, block, job)
        weather = _surroundings(surface)
        for _ in range(job.parts):
            steps.advance(surface, layer, count, lowest, job.tables, job.covers, job.spans[time], weather)
        counts = job.traced.shape[0] > 0
        for window in range(windows):
            counts = counts or job.windows[window, time]
        if counts:
            accumulate.report(surface, layer, job.shallow, places, thresholds, told)
        for window in range(windows):
            if job.windows[window, time]:
                row, hours = first + window * accumulate.ACCOUNT, job.lengths[time] / 3600.0
                accumulate.enter(surface, told, alive[0] > 0.0, 1.0 * time, hours, accounts, row)
        if job.traced.shape[0] > 0:
            for lane in range(lanes):
                column = block * lanes + lane
                if column < job.columns.shape[0] and job.traced[column] >= 0 and alive_room[0, lane] > 0.0:
                    state, out = told_room[accumulate.STATE, lane], job.traces[job.traced[column], time]
                    _trace(surface_room, layer_room, state, count, lane, out)
    if job.end_state.shape[0] > 0:
        for lane in range(lanes):
            column = block * lanes + lane
            if column < job.columns.shape[0]:
                for row in range(s.KEPT):
                    job.end_state[column, row] = surface_room[s.COVER_LYING + row, lane]
                for row in range(count):
                    job.end_heat[column, row] = layer_room[at(row + 1, ENTHALPY), lane]
    # the rows taken above live as long as these
    places_room[0, 0], told_room[0, 0], surface_room[0, 0], layer_room[0, 0] = 0.0, 0.0, 0.0, 0.0


@kernel
def run(first: Value, end: Value, job: Value) -> None:
    """Blocks `first` to before `end` of a `Job` in one thread, free of the interpreter's lock (`jit.over_threads`)."""
    for block in range(first, end):
        _run_block(block, job)
