"""The run: forcing and plans through the column, to what each window saw.

Blocks of realizations come one after the other; what is kept of each does not grow with the number of steps, unless
states are asked for.
"""

from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np
import xarray as xr
from numpy.typing import DTypeLike, NDArray

from microclimate.column import rows
from microclimate.column.jit import over_threads
from microclimate.column.vector import lanes_of
from microclimate.errors import Problem
from microclimate.schema import (
    INITIAL_VARIABLES,
    OUTCOME_VARIABLES,
    Event,
    seal,
)
from microclimate.simulate import accumulate, laid, loop, tell
from microclimate.simulate import columns as col
from microclimate.venue.load import Venue

Array = NDArray[np.float64]


def outcome(
    venue: Venue,
    forcing: Iterable[xr.Dataset],
    initial: xr.Dataset,
    plan: xr.Dataset,
    windows: Sequence[Event],
    *,
    states: Sequence[tuple[int, int]] | Literal["canopy"] | None = None,
    single: bool = False,
    serial: bool = False,
) -> tuple[xr.Dataset, xr.Dataset | None]:
    """Run all plans, realizations and patches, and tell what each window saw.

    Parameters
    ----------
    venue : Venue
        Zones, equipment, limits, calibration.
    forcing : iterable of Forcing Datasets
        Blocks of realizations with the same patches and times. Where a value is missing the run of that realization
        ends; windows it does not span to the end are unknown.
    initial : Dataset
        `schema.INITIAL_VARIABLES`, every realization of the forcing.
    plan : Dataset
        `schema.PLAN_VARIABLES`; times are ends of intervals, each holds back to the one before.
    windows : sequence of Event
        The spans to tell about (UTC).
    states : sequence of (plan, realization) or "canopy", optional
        Numbers of the runs whose states are wanted at every step, or the canopy temperature alone of all runs.
    single : bool
        Run in float32: about twice as fast, for maps and large ensembles.
    serial : bool
        One thread, for schedulers that bring their own threads.

    Returns
    -------
    Outcome, States or None
        Sealed by `schema.OUTCOME_VARIABLES` and `schema.STATES_VARIABLES` (of which "canopy" has the one variable).
    """
    outcomes: list[xr.Dataset] = []
    traced: list[xr.Dataset] = []
    done = 0
    for block in forcing:
        count = block.sizes["realization"]
        if states == "canopy":
            wanted = [(p, r) for p in range(plan.sizes["plan"]) for r in range(count)]
        else:
            wanted = [(p, r - done) for p, r in states or () if done <= r < done + count]
        first = _members(initial, block, done)
        time, result = _run(venue, block, first, plan, windows, wanted, False, single, serial, states == "canopy")
        outcomes.append(tell.outcome(block, plan, windows, time, result))
        if wanted:
            tale = tell.canopy if states == "canopy" else tell.states
            traced.append(tale(block, first, plan, time, result, wanted))
        done += count
    col.check("forcing", [] if outcomes else [Problem("forcing", "no realizations", "at least one")])
    return seal(_joined(outcomes), OUTCOME_VARIABLES, "outcome"), _joined(traced) if traced else None


def final_states(
    venue: Venue, forcing: Iterable[xr.Dataset], initial: xr.Dataset, plan: xr.Dataset | None = None
) -> xr.Dataset:
    """The states at the end of a forcing without gaps, as `schema.INITIAL_VARIABLES`, to start the next run from.

    Parameters
    ----------
    venue, forcing, initial
        As for `outcome`; the forcing may be the past.
    plan : Dataset, optional
        One plan that was carried out; not given: nothing was done.
    """
    ends: list[xr.Dataset] = []
    done = 0
    for block in forcing:
        first = _members(initial, block, done)
        time, result = _run(venue, block, first, plan, (), (), True, False, False)
        last = laid.steps_before_gap(block).min()
        missing = time.ends.size - int(last)
        col.check(
            "forcing", [Problem("forcing", f"{missing} steps at the end miss values", "no gap")] if missing else []
        )
        ends.append(tell.end(block, first, result))
        done += block.sizes["realization"]
    return seal(_joined(ends), INITIAL_VARIABLES, "final states")


def through(venue: Venue, block: xr.Dataset, initial: xr.Dataset, plan: xr.Dataset) -> tuple[xr.Dataset, xr.Dataset]:
    """One plan through one block without gaps: what days are digested from, and the ground at its end.

    Returns
    -------
    Dataset (realization, patch, time)
        `canopy_temperature`, `crown_temperature`, `soil_temperature` at the depths told [K], `surface_state`, water,
        frost and snow, heat and fluxes as in `schema.STATES_VARIABLES`; in single precision.
    Dataset
        `schema.INITIAL_VARIABLES`.
    """
    first = _members(initial, block, 0)
    wanted = [(0, r) for r in range(block.sizes["realization"])]
    time, result = _run(venue, block, first, plan, (), wanted, True, True, False)
    missing = time.ends.size - int(laid.steps_before_gap(block).min())
    col.check("forcing", [Problem("forcing", f"{missing} steps at the end miss values", "no gap")] if missing else [])
    return tell.brief(block, first, time, result), seal(tell.end(block, first, result), INITIAL_VARIABLES, "end")


def _joined(blocks: Sequence[xr.Dataset]) -> xr.Dataset:
    """Blocks of realizations side by side."""
    if len(blocks) == 1:
        return blocks[0]
    return xr.concat(blocks, "realization", data_vars="minimal", coords="minimal", compat="override", join="override")


def _members(initial: xr.Dataset, block: xr.Dataset, done: int) -> xr.Dataset:
    """The first states of a block's realizations; one alone serves all."""
    wanted = block.sizes["realization"]
    if initial.sizes["realization"] == 1:
        return initial.isel(realization=np.zeros(wanted, dtype=int))
    have = initial.sizes["realization"]
    col.check(
        "first states",
        [Problem("first states", f"{have} realizations", f"1 or at least {done + wanted}")]
        if have < done + wanted
        else [],
    )
    return initial.isel(realization=slice(done, done + wanted))


def _run(
    venue: Venue,
    block: xr.Dataset,
    initial: xr.Dataset,
    plan: xr.Dataset | None,
    windows: Sequence[Event],
    wanted: Sequence[tuple[int, int]],
    ends: bool,
    single: bool,
    serial: bool,
    leaf_alone: bool = False,
) -> tuple[tell.Time, tell.Result]:
    """One block of realizations through the kernel."""
    count = initial.sizes["layer"]
    problems = col.layer_problems(venue, count) + col.state_problems(initial)
    if plan is not None:
        problems += col.plan_problems(venue, plan)
        col.check("plan", problems)
        problems += col.heating_problems(venue, plan.sel(zone=[zone.name for zone in venue.field.zones]))
    col.check("run", problems)
    time = laid.times(block)
    zone_index = block["zone_index"].values.astype(np.int64)
    heights = float(block.attrs.get("wind_height", 10.0)), float(block.attrs.get("temperature_height", 2.0))
    fixed = col.columns(venue, zone_index, initial, *heights)
    kind: DTypeLike = np.float32 if single else np.float64
    realizations, patches = block.sizes["realization"], zone_index.size
    pairs, plans = realizations * patches, 1 if plan is None else plan.sizes["plan"]
    zones = len(venue.field.zones)
    lanes = lanes_of(kind)
    number, pair, counts = loop.side_by_side(plans, pairs, kind)
    table = np.stack([pair, number * zones + zone_index[pair % patches]], axis=1)
    blocks = -(-table.shape[0] // lanes)
    accounts = np.zeros((blocks, len(windows), accumulate.ACCOUNT, lanes))
    end_state = np.zeros((table.shape[0] if ends else 0, rows.KEPT), dtype=kind)
    end_heat = np.zeros((table.shape[0] if ends else 0, count), dtype=kind)
    traced = np.full(table.shape[0] if wanted else 0, -1, dtype=np.int64)
    for place, (which, realization) in enumerate(wanted):
        chosen = counts & (number == which) & (pair // patches == realization)
        traced[chosen] = place * patches + np.arange(patches)
    told = 1 if leaf_alone else loop.TRACE + 2 * count
    traces = np.full((len(wanted) * patches, time.ends.size, told), np.nan, dtype=kind)
    planned, changes = laid.planned(venue, plan, time, kind)
    job = loop.Job(
        table,
        fixed.given.astype(kind),
        fixed.layers.astype(kind),
        fixed.state.astype(kind),
        fixed.heat.astype(kind),
        fixed.depth_places.astype(kind),
        fixed.shallow,
        loop.tiled(laid.forced(venue, block, initial, zone_index), kind),
        planned,
        changes,
        laid.steps_before_gap(block),
        time.lengths,
        (time.lengths / laid.parts(time)).astype(kind),
        laid.parts(time),
        fixed.tables.astype(kind),
        col.cover_kinds(venue).astype(kind),
        np.asarray(col.thresholds(venue), dtype=kind),
        laid.inside(windows, time),
        accounts,
        end_state,
        end_heat,
        traced,
        traces,
    )
    over_threads(loop.run, blocks, job, threads=1 if serial else None)
    book = accumulate.by_column(accounts, table.shape[0])

    def by_plan(array: Array) -> Array:
        return array[counts].reshape(plans, realizations, patches, *array.shape[1:])

    none = np.empty(0)
    return time, tell.Result(
        by_plan(book),
        by_plan(end_state) if ends else none,
        by_plan(end_heat) if ends else none,
        traces,
        fixed.layers.reshape(realizations, patches, *fixed.layers.shape[1:]),
        fixed.given.reshape(realizations, patches, -1),
    )
