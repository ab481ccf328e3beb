"""Two trials of each design in the coldest spell of a climate: from cold to warm, and without its plant.

Warm-up: the field lies unheated until the spell, then heats with all it has. Failure: the field is held free of frost,
the plant stops for some hours as the coldest of them nears, and comes back. Told are the hours until every patch is
back, or the first is lost, at 25 mm.
"""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import PLAN_VARIABLES, Event, seal
from microclimate.simulate import run, start
from microclimate.sizing import options as opt
from microclimate.sizing.programme import SUPPLY, covered
from microclimate.sizing.reduced import Reduced
from microclimate.sizing.winter_run import Job, site_and_forcing
from microclimate.sizing.winters import HOUR

Array = NDArray[np.float64]

AHEAD, AFTER = 15 * 24, 5 * 24  # [h] run before the trial begins, and told after it; ours
STOPS_BEFORE = 12  # [h] the plant fails, or the warm-up begins, before the coldest hour; ours
OUTAGE = 24  # [h] without the plant; ours
PROBE = 0.025  # [m] depth of the limit


@dataclass(frozen=True)
class Trials:
    """Hours of each design and cover, (design, cover); infinite: not within five days, 0: never outside."""

    coldest: np.datetime64  # hour, on the season's days
    lowest: float  # [K] air then
    warm_up: Array  # [h] from cold until every patch is at the limit
    holds: Array  # [h] after the plant stopped until the first patch is below it
    recovers: Array  # [h] after it came back until every patch is at the limit again


def trials(job: Job) -> Trials:
    """Both trials of every design, with and without each cover, in the job's winter."""
    site, block = site_and_forcing(job)
    weather = job.climate.weather
    air = weather["air_temperature"].values[0]
    inside = slice(AHEAD + STOPS_BEFORE, air.size - AFTER)
    at = inside.start + int(np.argmin(air[inside]))
    begin = weather["time"].values[at - STOPS_BEFORE]
    cut = block.sel(time=slice(begin - AHEAD * HOUR + HOUR / 6, begin + AFTER * HOUR))
    initial = start.states(site.venue, site.patches, 1, begin - AHEAD * HOUR)
    plan = _plans(site, job, weather, begin)
    covers = len(job.grid.covers)
    shape = (len(job.grid.designs), covers)
    warm, holds, recovers = (np.zeros(shape) for _ in range(3))
    heated = np.flatnonzero([str(zone) in site.heated for zone in site.patches["zone"].values])
    limit = site.venue.limits.rootzone_min
    for number, design in enumerate(job.grid.designs):
        supplied = plan if design.supply is None else _supplied(plan, site, design.supply)
        shallow, hours = _shallow(opt.built(job.grid, design, site.venue), cut, initial, supplied, begin)
        lowest = shallow[:, heated].min(axis=1)  # (plan, time)
        for cover in range(covers):
            warm[number, cover] = _back(lowest[cover], hours, limit, 0.0)
            failed = lowest[covers + cover]
            holds[number, cover] = _lost(failed, hours, limit)
            recovers[number, cover] = _back(failed, hours, limit, float(OUTAGE))
    return Trials(weather["time"].values[at], float(air[at]), warm, holds, recovers)


def _plans(site: Reduced, job: Job, weather: xr.Dataset, begin: np.datetime64) -> xr.Dataset:
    """Warm-up with each cover, then failure with each; hourly, (plan, group, hour)."""
    ends = begin + np.arange(1 - AHEAD, AFTER + 1) * HOUR
    zones, covers = site.venue.field.zones, job.grid.covers
    shape = (2 * len(covers), len(zones), ends.size)
    values = {name: np.zeros(shape) for name in PLAN_VARIABLES}
    values["warm_air_temperature"][:] = ZERO_CELSIUS + 20.0
    values["set_point"][:] = opt.FROST_HOLD
    values["supply_temperature"][:] = SUPPLY
    since = (ends - begin) / HOUR
    sets = len(covers)
    for number, cover in enumerate(covers):
        down = np.zeros(ends.size, dtype=bool)
        if cover:
            sheet = site.venue.equipment.covers[cover - 1]
            laid = covered(weather, sheet, (), site.venue.limits.cover_on_before_sunset)
            down = laid[np.searchsorted(weather["time"].values[1:], ends)]
        for place, zone in enumerate(zones):
            if cover and site.covered[zone.name][cover - 1]:
                values["cover"][number, place] = values["cover"][sets + number, place] = np.where(down, cover, 0)
            if zone.circuit is None:
                continue
            circuit = site.venue.equipment.circuit(zone.circuit)
            values["heating_allowed"][number, place] = since > 0
            values["set_point"][number, place] = min(opt.EVENT, circuit.ceiling)
            values["heating_allowed"][sets + number, place] = (since <= 0) | (since > OUTAGE)
            values["set_point"][sets + number, place] = min(opt.FROST_HOLD, circuit.ceiling)
            values["supply_temperature"][:, place] = circuit.supply_temperature or SUPPLY
    data = {name: (("plan", "zone", "time"), array) for name, array in values.items()}
    coords = {"plan": np.arange(shape[0]), "zone": [zone.name for zone in zones], "time": ends}
    return seal(xr.Dataset(data, coords=coords), PLAN_VARIABLES, "plan")


def _supplied(plan: xr.Dataset, site: Reduced, supply: float) -> xr.Dataset:
    """The same with other water, but for cables."""
    out = plan.copy(deep=True)
    for place, zone in enumerate(site.venue.field.zones):
        if zone.circuit is not None and site.venue.equipment.circuit(zone.circuit).kind != "cable":
            out["supply_temperature"][:, place] = supply
    return out


def _shallow(
    venue: object, cut: xr.Dataset, initial: xr.Dataset, plan: xr.Dataset, begin: np.datetime64
) -> tuple[Array, Array]:
    """Temperature at 25 mm (plan, patch, time) [K] from the beginning of the trial on, and the hours since."""
    span = [begin.astype("datetime64[us]").item(), cut["time"].values[-1].astype("datetime64[us]").item()]
    count = plan.sizes["plan"]
    pairs = [(number, 0) for number in range(count)]
    _, told = run.outcome(venue, [cut], initial, plan, [Event("trial", *span)], states=pairs, single=True, serial=True)  # type: ignore[arg-type]
    assert told is not None
    later = told["time"].values > begin
    soil = told["soil_temperature"].isel(realization=0, time=later).transpose("plan", "patch", "time", "layer").values
    depth = told["depth"].transpose("patch", "layer").values
    found = np.empty(soil.shape[:3])
    for patch in range(soil.shape[1]):
        above = int(np.searchsorted(depth[patch], PROBE)) - 1
        share = (PROBE - depth[patch, above]) / (depth[patch, above + 1] - depth[patch, above])
        found[:, patch] = (1.0 - share) * soil[:, patch, :, above] + share * soil[:, patch, :, above + 1]
    return found, (told["time"].values[later] - begin) / HOUR


def _back(lowest: Array, hours: Array, limit: float, after: float) -> float:
    """Hours from `after` until the lowest is at the limit for good (six hours at least); 0 where it never was below."""
    later = hours > after
    below = lowest[later] < limit
    if not below.any():
        return 0.0
    since = hours[later] - after
    span = round(6.0 / (since[1] - since[0]))
    for start_at in range(below.size - span):
        if not below[start_at : start_at + span].any():
            return float(since[start_at])
    return float("inf")


def _lost(lowest: Array, hours: Array, limit: float) -> float:
    """Hours until the first patch is below the limit; 0: it was before, infinite: none while the plant stands still."""
    if lowest[0] < limit:
        return 0.0
    below = np.flatnonzero((lowest < limit) & (hours <= OUTAGE))
    return float(hours[below[0]]) if below.size else float("inf")
