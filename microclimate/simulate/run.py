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
from microclimate.column.jit import PARALLEL
from microclimate.column.lanes import LANES
from microclimate.constants import ZERO_CELSIUS
from microclimate.errors import Problem
from microclimate.physics import vapour
from microclimate.schema import (
    FORCING,
    INITIAL_VARIABLES,
    OUTCOME_VARIABLES,
    Event,
    seal,
)
from microclimate.simulate import accumulate, loop, tell
from microclimate.simulate import columns as col
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

LONGEST_STEP = 600.0  # [s] longer steps of the forcing are cut (10 min against 1 min: tested)
_HEAT_OF_AIR = 1.2 * 1005.0  # [J m-3 K-1] of blown air near 20 degC


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
        One thread and no lock, for schedulers that bring their own threads.

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
        last = _steps_before_gap(block).min()
        missing = time.ends.size - int(last)
        col.check(
            "forcing", [Problem("forcing", f"{missing} steps at the end miss values", "no gap")] if missing else []
        )
        ends.append(tell.end(block, first, result))
        done += block.sizes["realization"]
    return seal(_joined(ends), INITIAL_VARIABLES, "final states")


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
    time = _time(block)
    zone_index = block["zone_index"].values.astype(np.int64)
    heights = float(block.attrs.get("wind_height", 10.0)), float(block.attrs.get("temperature_height", 2.0))
    fixed = col.columns(venue, zone_index, initial, *heights)
    kind: DTypeLike = np.float32 if single else np.float64
    realizations, patches = block.sizes["realization"], zone_index.size
    pairs, plans = realizations * patches, 1 if plan is None else plan.sizes["plan"]
    zones = len(venue.field.zones)
    number, pair, counts = loop.side_by_side(plans, pairs)
    table = np.stack([pair, number * zones + zone_index[pair % patches]], axis=1)
    blocks = -(-table.shape[0] // LANES)
    accounts = np.zeros((blocks, len(windows), accumulate.ACCOUNT * LANES))
    end_state = np.zeros((table.shape[0] if ends else 0, rows.KEPT), dtype=kind)
    end_heat = np.zeros((table.shape[0] if ends else 0, count), dtype=kind)
    traced = np.full(table.shape[0] if wanted else 0, -1, dtype=np.int64)
    for place, (which, realization) in enumerate(wanted):
        chosen = counts & (number == which) & (pair // patches == realization)
        traced[chosen] = place * patches + np.arange(patches)
    told = 1 if leaf_alone else loop.TRACE + 2 * count
    traces = np.full((len(wanted) * patches, time.ends.size, told), np.nan, dtype=kind)
    limits = venue.limits
    thresholds = (
        limits.snow_amount,
        limits.ice_film_amount,
        limits.frozen_fraction,
        limits.frost_amount,
        limits.near_freezing - ZERO_CELSIUS,
    )
    planned = _planned(venue, plan, time)
    arguments = (
        table,
        fixed.given.astype(kind),
        fixed.layers.astype(kind),
        fixed.state.astype(kind),
        fixed.heat.astype(kind),
        fixed.depth_places.astype(kind),
        fixed.shallow,
        loop.tiled(_forced(venue, block, initial, zone_index), kind),
        planned.astype(kind),
        np.concatenate(([True], (planned[1:] != planned[:-1]).any(axis=(1, 2)))),
        _steps_before_gap(block),
        time.lengths,
        (time.lengths / _parts(time)).astype(kind),
        _parts(time),
        fixed.tables.astype(kind),
        col.cover_kinds(venue.equipment.covers).astype(kind),
        tuple(np.asarray(thresholds, dtype=kind)),
        _inside(windows, time),
        accounts,
        end_state,
        end_heat,
        traced,
        traces,
    )
    if serial:
        loop.run_serial(*arguments)
    else:
        with PARALLEL:
            loop.run_parallel(*arguments)
    by_lane = accounts.reshape(blocks, len(windows), accumulate.ACCOUNT, LANES).transpose(0, 3, 1, 2)
    by_column = by_lane.reshape(blocks * LANES, len(windows), accumulate.ACCOUNT)[: table.shape[0]]

    def by_plan(array: Array) -> Array:
        return array[counts].reshape(plans, realizations, patches, *array.shape[1:])

    none = np.empty(0)
    return time, tell.Result(
        by_plan(by_column),
        by_plan(end_state) if ends else none,
        by_plan(end_heat) if ends else none,
        traces,
        fixed.layers.reshape(realizations, patches, *fixed.layers.shape[1:]),
        fixed.given.reshape(realizations, patches, -1),
    )


def _parts(time: tell.Time) -> int:
    """Shorter steps that each step is cut into."""
    return int(np.ceil(time.lengths.max() / LONGEST_STEP - 1e-9))


def _time(block: xr.Dataset) -> tell.Time:
    ends = block["time"].values.astype("datetime64[ns]")
    if "time_bnds" in block:
        bounds = block["time_bnds"].values
        lengths = (bounds[:, 1] - bounds[:, 0]).astype("timedelta64[ns]").astype(float) / 1e9
    else:
        gaps = np.diff(ends).astype("timedelta64[ns]").astype(float) / 1e9
        lengths = np.concatenate((gaps[:1], gaps))
    return tell.Time(ends, lengths)


def _steps_before_gap(block: xr.Dataset) -> NDArray[np.int64]:
    """Steps before the first missing value, one for each (realization, patch)."""
    whole = np.logical_and.reduce(
        [np.isfinite(block[name].transpose("realization", "patch", "time").values) for name in FORCING]
    )
    steps = np.where(whole.all(axis=-1), whole.shape[-1], np.argmin(whole, axis=-1))
    return np.asarray(steps.ravel(), dtype=np.int64)


def _forced(venue: Venue, block: xr.Dataset, initial: xr.Dataset, zone_index: NDArray[np.int64]) -> Array:
    """The kernel's forcing, (time, rows.FORCED, pair)."""
    realizations, patches, steps = block.sizes["realization"], block.sizes["patch"], block.sizes["time"]

    def get(name: str) -> Array:
        return np.asarray(block[name].transpose("time", "realization", "patch").values, dtype=float)

    below = np.empty((steps, realizations, patches))
    under = get("under_tray_air_temperature") - ZERO_CELSIUS
    deepest = initial["soil_temperature"].isel(layer=-1).transpose("realization", "patch").values - ZERO_CELSIUS
    for patch, index in enumerate(zone_index):
        base = venue.field.zones[index].base
        if base.air_temperature is not None:
            below[:, :, patch] = base.air_temperature - ZERO_CELSIUS
        elif base.over_air:
            below[:, :, patch] = under[:, :, patch]
        elif base.deep_temperature is not None:
            below[:, :, patch] = base.deep_temperature - ZERO_CELSIUS
        else:
            below[:, :, patch] = deepest[:, patch]
    air, humidity, pressure = get("air_temperature"), get("specific_humidity"), get("surface_air_pressure")
    snowfall = get("snowfall_flux")
    found = np.empty((steps, rows.FORCED, realizations, patches))
    for row, values in (
        (rows.AIR, air - ZERO_CELSIUS),
        (rows.HUMIDITY, humidity),
        (rows.WIND, get("wind_speed")),
        (rows.DENSITY, vapour.air_density(air, humidity, pressure)),
        (rows.PRESSURE, pressure),
        (rows.RAIN, np.maximum(get("precipitation_flux") - snowfall, 0.0)),
        (rows.SNOWFALL, snowfall),
        (rows.SUN, get("shortwave_sun_down") + get("shortwave_sky_down") + get("shortwave_stands_down")),
        (rows.LONGWAVE, get("longwave_sky_down") + get("longwave_stands_down")),
        (rows.BELOW, below),
    ):
        found[:, row - rows.AIR] = values
    return found.reshape(steps, rows.FORCED, realizations * patches)


def _planned(venue: Venue, plan: xr.Dataset | None, time: tell.Time) -> Array:
    """The kernel's plans, (time, rows.PLANNED, plan and zone)."""
    zones = [zone.name for zone in venue.field.zones]
    if plan is None:
        return np.zeros((time.ends.size, rows.PLANNED, len(zones)))
    held = plan["time"].values.astype("datetime64[ns]")
    interval = np.minimum(np.searchsorted(held, time.ends), held.size - 1)
    ordered = plan.sel(zone=zones).isel(time=interval)

    def get(name: str) -> Array:
        values = np.asarray(ordered[name].transpose("time", "plan", "zone").values, dtype=float)
        return values.reshape(time.ends.size, -1)

    cover, raised = get("cover"), get("cover_raised")
    found = np.empty((time.ends.size, rows.PLANNED, plan.sizes["plan"] * len(zones)))
    for row, values in (
        (rows.COVERED, np.where(cover > 0.5, 1.0 + 2.0 * (np.round(cover) - 1.0) + (raised > 0.5), 0.0)),
        (rows.WARM_FLOW, _HEAT_OF_AIR * get("warm_air_flow")),
        (rows.WARM_AIR, get("warm_air_temperature") - ZERO_CELSIUS),
        (rows.HEATING_ALLOWED, get("heating_allowed")),
        (rows.SET_POINT, get("set_point") - ZERO_CELSIUS),
        (rows.SUPPLY, get("supply_temperature") - ZERO_CELSIUS),
        (rows.SKIRTS, get("skirts_closed")),
        (rows.SNOW_REMOVED, get("snow_removed")),
    ):
        found[:, row - rows.COVERED] = values
    return found


def _inside(windows: Sequence[Event], time: tell.Time) -> NDArray[np.bool_]:
    """Whether a step ends inside a window, (window, time)."""
    inside = [(time.ends > np.datetime64(w.start, "ns")) & (time.ends <= np.datetime64(w.end, "ns")) for w in windows]
    return np.array(inside, dtype=bool).reshape(len(windows), time.ends.size)
