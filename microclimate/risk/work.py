"""Hours in which work on the field is within its limits: every condition, all over the zone, all hour."""

from collections import Counter
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from pvlib.solarposition import get_solarposition

from microclimate.constants import ZERO_CELSIUS
from microclimate.report.worked import Condition, Job, Kind, Worked
from microclimate.schema import REPORT_DEPTHS
from microclimate.venue import work
from microclimate.venue.limits import THRESHOLDS, Limits, default
from microclimate.venue.load import Venue

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

HOUR = np.timedelta64(1, "h")
HORIZON = -0.833  # [degree] height of the sun's centre at sunrise and sunset, refraction and half its disc
YOURS = "yours"


def jobs(venue: Venue) -> dict[Job, tuple[Condition, ...]]:
    """What each job asks for at this venue, each limit with its basis."""
    limits, asked = venue.limits, venue.work

    def set_by(model: work.Work | Limits, name: str, row: str) -> str:
        given = name in model.model_fields_set and getattr(model, name) != default(row)
        return YOURS if given else THRESHOLDS[row].source

    def own(kind: Kind, name: str) -> list[Condition]:
        value = getattr(asked, name)
        if value is None:
            return []
        return [Condition(kind, value, set_by(asked, name, work.ROWS[name]) if name in work.ROWS else YOURS)]

    dry = Condition("dry", limits.leaf_wet_amount, set_by(limits, "leaf_wet_amount", "leaf_wet_amount"))
    soil = limits.machines_soil_min, set_by(limits, "machines_soil_min", "machines_soil_min")
    vehicles, ground = Condition("vehicles", *soil), Condition("ground", *soil)
    hours = [Condition("light"), Condition("crew")]
    grass = [*own("leaf", "leaf_min"), *hours]
    found: dict[Job, list[Condition]] = {
        "mowing": [dry, vehicles, *own("air", "mowing_air"), *grass],
        "line marking": [dry, vehicles, *own("air", "marking_air"), *own("gust", "marking_gust"), *grass],
        "brushing and rolling": [dry, vehicles, *grass],
        "watering by hand": [ground, *own("air", "watering_air"), *grass],
        "spraying": [dry, vehicles, *own("air", "spraying_air"), *own("gust", "spraying_gust"), *grass],
    }
    if covers := venue.equipment.covers:
        least = min(covers, key=lambda cover: cover.gust_plan)
        given = "gust_plan" in least.model_fields_set
        gust = Condition("gust", least.gust_plan, YOURS if given else THRESHOLDS["cover_gust_plan"].source)
        when = hours if venue.crew.light_needed else hours[1:]
        found |= {"laying covers": [dry, gust, *when], "lifting covers": [gust, *when]}
    found["clearing snow"] = [*own("snow", "snow_depth"), *hours]
    return {job: tuple(conditions) for job, conditions in found.items()}


def flags(condition: Condition, block: xr.Dataset, states: xr.Dataset, venue: Venue) -> Flags:
    """Whether one condition holds, (realization, patch, step) or a shape that stretches to it.

    Parameters
    ----------
    condition : Condition
    block : Dataset
        `schema.FORCING`.
    states : Dataset
        Of the same steps, as `simulate.run.through` gives them.
    """

    def of(dataset: xr.Dataset, name: str) -> Array:
        return np.asarray(dataset[name].transpose("realization", "patch", "time", ...).values)

    limit = np.nan if condition.value is None else condition.value
    kind = condition.kind
    if kind == "dry":
        bare = of(states, "snow_amount") < venue.limits.snow_amount
        return np.asarray((of(states, "leaf_water") + of(states, "leaf_frost") <= limit) & bare)
    if kind == "leaf":
        return np.asarray(of(states, "canopy_temperature") > limit)
    if kind == "air":
        return np.asarray(of(block, "air_temperature") >= limit)
    if kind == "gust":
        return np.asarray(of(block, "wind_speed_of_gust") <= limit)
    if kind == "snow":
        return np.asarray(of(states, "snow_depth") >= limit)
    time, zone = states["time"].values, venue.site.time_zone
    if kind in ("ground", "vehicles"):
        shallow = REPORT_DEPTHS.index(0.025)
        thawed = of(states, "soil_temperature")[..., shallow] > limit
        return thawed if kind == "ground" else ~_since_midnight(~thawed, time, zone)
    if kind == "light":
        sun = get_solarposition(pd.DatetimeIndex(time, tz="UTC"), venue.site.latitude, venue.site.longitude)
        return np.asarray(sun["elevation"].values > HORIZON)
    local = _local(time, zone)
    clock = np.array([t.hour + t.minute / 60.0 for t in local])
    return np.asarray((clock >= venue.crew.earliest) & (clock < venue.crew.latest))


def _since_midnight(frozen: Flags, time: NDArray[np.datetime64], zone: str) -> Flags:
    """Whether it has been frozen at any step of the same local day up to now."""
    day = np.array([t.toordinal() for t in _local(time, zone)])
    found = np.empty_like(frozen)
    for number in np.unique(day):
        of_day = day == number
        found[..., of_day] = np.logical_or.accumulate(frozen[..., of_day], axis=-1)
    return found


def _local(ends: NDArray[np.datetime64], zone: str) -> list[pd.Timestamp]:
    """Local times just before the ends of steps: the one that ends at 22:00 is still before 22."""
    return list((pd.DatetimeIndex(ends, tz="UTC") - pd.Timedelta(1, "ns")).tz_convert(ZoneInfo(zone)))


def hours(time: NDArray[np.datetime64], since: np.datetime64) -> tuple[NDArray[np.datetime64], NDArray[np.int64]]:
    """Whole hours that the steps fill, from `since` on: their beginnings, and the hour of each step (-1 for none)."""
    step = time[1] - time[0] if time.size > 1 else HOUR
    begins = (time - step).astype("datetime64[ns]")
    first = max(begins[0], since)
    first = first.astype("datetime64[h]") + (HOUR if first > first.astype("datetime64[h]") else np.timedelta64(0, "h"))
    last = time[-1].astype("datetime64[h]")
    count = max(int((last - first) / HOUR), 0)
    number = np.floor((begins - first.astype("datetime64[ns]")) / HOUR)
    number[(number < 0) | (number >= count)] = -1
    return first + np.arange(count) * HOUR, number.astype(int)


def held(whole: Flags, zone: NDArray[np.int64], hour: NDArray[np.int64]) -> Flags:
    """Whether all patches of a zone hold in all steps of an hour, (realization, zone, hour).

    Parameters
    ----------
    whole : array (realization, patch, step)
    zone : array (patch)
    hour : array (step)
        Of each step, rising from 0; -1 for steps that belong to none.
    """
    inside = np.flatnonzero(hour >= 0)
    starts = np.flatnonzero(np.diff(hour[inside], prepend=-1))
    over = np.stack([whole[:, zone == z].all(axis=1) for z in range(int(zone.max()) + 1)], axis=1)
    return np.asarray(np.logical_and.reduceat(over[..., inside], starts, axis=-1))


def worked(venue: Venue, runs: Sequence[tuple[xr.Dataset, xr.Dataset]], since: np.datetime64) -> Worked:
    """All jobs of a venue.

    Parameters
    ----------
    venue : Venue
    runs : sequence of (Forcing, states)
        Blocks of realizations with the same steps.
    since : datetime64
        Hours that begin before it are left out.
    """
    wanted = jobs(venue)
    begins, hour = hours(runs[0][1]["time"].values, since)
    names = tuple(zone.name for zone in venue.field.zones)
    total = {job: np.zeros((len(names), len(begins))) for job in wanted}
    lowest: list[Array] = []
    often: Counter[tuple[Job, Condition]] = Counter()
    for block, states in runs:
        zone = states["zone_index"].values.astype(int)
        shape = states["canopy_temperature"].transpose("realization", "patch", "time").shape
        every = dict.fromkeys(condition for conditions in wanted.values() for condition in conditions)
        known = {condition: np.broadcast_to(flags(condition, block, states, venue), shape) for condition in every}
        for job, conditions in wanted.items():
            whole = np.logical_and.reduce([known[condition] for condition in conditions])
            total[job] += held(whole, zone, hour).sum(axis=0)
            at_hand = np.logical_and.reduce(
                [known[c] for c in conditions if c.kind in ("light", "crew")] or [np.ones(1, dtype=bool)]
            )
            often.update({(job, c): int((known[c] & at_hand)[..., hour >= 0].sum()) for c in conditions})
        air = block["air_temperature"].transpose("realization", "patch", "time").values.min(axis=1)
        lowest.append(np.stack([air[:, hour == h].min(axis=1) for h in range(len(begins))], axis=-1))
    members = sum(states.sizes["realization"] for _, states in runs)
    air = np.concatenate(lowest)
    return Worked(
        begins,
        names,
        wanted,
        np.stack([total[job] / members for job in wanted]),
        venue.work.share,
        (air < ZERO_CELSIUS).mean(axis=0),
        np.median(air, axis=0),
        venue.limits.tolerated_chance,
        {job: min(conditions, key=lambda c: often[job, c]) for job, conditions in wanted.items()},
    )
