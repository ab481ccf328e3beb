"""A span of days run through the ground, stretch by stretch: what each patch lived through, and each cell got."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd
import xarray as xr

from microclimate.actions import plan as plans
from microclimate.exposure import daylight, force
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.daylight import Open
from microclimate.risk import turf
from microclimate.simulate import run, start
from microclimate.venue.load import Venue
from microclimate.workflow import zones_days
from microclimate.workflow.zones_days import Days

STEP = 600.0  # [s] of the model here: 10 min against 1 min moves a night's lowest canopy by hundredths of a kelvin
LEAD = np.timedelta64(12, "h")  # before a stretch, for the bowl's air to forget how it began; ours
PAST = np.timedelta64(20, "D")  # of weather before the span that the ground is run through, where the file has it
SHORTEST_PAST = np.timedelta64(2, "D")
HARDENING_PAST = np.timedelta64(150, "D")  # of air before the span, from which the grass's hardening is told
LONGWAVE = ("longwave_sky", "longwave_stands")
DRAWS, DRAWN = 8, 5  # draws of what is not known of wind and air in the bowl, and days they are told of; ours

PlanOf = Callable[[Venue, np.datetime64, np.datetime64], xr.Dataset]


def _same(block: xr.Dataset) -> xr.Dataset:
    return block


@dataclass(frozen=True)
class Case:
    """What is run: a venue as it is or as it might be, what is done to it, and what is added to its sky."""

    venue: Venue
    bowl: Bowl
    plan: PlanOf = plans.nothing
    added: Callable[[xr.Dataset], xr.Dataset] = _same


@dataclass(frozen=True)
class Lived:
    """days (patch, day): `schema.DAYS`; cells: the mean day; starts: the ground at the start of each stretch; skies:
    of each stretch, without what wets or warms the stands."""

    days: xr.Dataset
    cells: xr.Dataset
    starts: tuple[tuple[Days, xr.Dataset], ...]
    skies: tuple[Open, ...] = ()

    def looked(self, among: tuple[date, date] | None = None) -> tuple[date, date]:
        """The coldest and the warmest day, by the canopy; among the days from one to another where that is given."""
        dates = self.days["day"].values.astype("datetime64[D]")
        inside = np.ones(len(dates), dtype=bool)
        if among is not None:
            first, last = (np.datetime64(day) for day in among)
            inside = (dates >= first) & (dates <= last)
        low, high = (self.days[f"canopy_temperature_{end}"].transpose("day", "patch").values for end in ("min", "max"))
        coldest = np.argmin(np.where(inside, low.min(axis=1), np.inf))
        warmest = np.argmax(np.where(inside, high.max(axis=1), -np.inf))
        return dates[coldest].item(), dates[warmest].item()


def lived(case: Case, joined: xr.Dataset, weather: xr.Dataset, days: Days, *, with_cells: bool = True) -> Lived:
    """Run one case through the days.

    Parameters
    ----------
    case : Case
    joined : Dataset
        `exposure.patches.patches`, of the venue as it is: all cases share it.
    weather : Dataset
        One realization that covers the days (`zones_days.covering`).
    days : Days
    with_cells : bool
        Add up light and longwave of every cell too.
    """
    venue, bowl = case.venue, case.bowl
    species = [venue.species(venue.field.zones[k].turf) for k in joined["zone_index"].values.astype(int)]
    whole = force.forcing(venue, weather, bowl, joined, STEP)
    ground = _start(whole, weather, joined, days)
    digests, cells, starts, skies = [], [], [], []
    for stretch in days.stretches():
        begin, end = stretch.edges[[0, -1]]
        forcing = whole.again(zones_days.part(weather, begin - LEAD, end))
        block = case.added(within(next(iter(forcing)), begin, end))
        starts.append((stretch, ground))
        states, ground = run.through(venue, block, ground, case.plan(venue, begin, end))
        day = stretch.of(block["time"].values)
        digests.append(turf.digest(block, states, day, stretch.count, species, venue.limits))
        if with_cells:
            sky = daylight.under(forcing, pd.Timestamp(begin, tz="UTC"), pd.Timestamp(end, tz="UTC"))
            cells.append(daylight.span(bowl, sky))
            skies.append(replace(sky, stands=sky.air, cover=None))
    told = xr.concat(digests, "day", data_vars="minimal", coords="minimal", compat="override")
    told = told.assign_coords(day=np.array([np.datetime64(d.isoformat(), "ns") for d in days.dates]))
    lived_before = air_before(weather, days)
    return Lived(
        turf.hardened(told, species, lived_before, north=venue.site.latitude >= 0.0),
        mean_day(cells, days) if cells else xr.Dataset(),
        tuple(starts),
        tuple(skies),
    )


def within(block: xr.Dataset, begin: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """The steps that end after `begin` and not after `end`."""
    time = block["time"].values
    return block.isel(time=np.flatnonzero((time > begin) & (time <= end)))


def _start(whole: force.Forcing, weather: xr.Dataset, joined: xr.Dataset, days: Days) -> xr.Dataset:
    """The ground at the first midnight: run through the weather before it, else as the season has it."""
    begin = days.edges[0]
    before = zones_days.part(weather, max(weather["time"].values[0], begin - PAST), begin)
    reach = before["time"].values[-1] - before["time"].values[0]
    past = whole.again(before) if reach >= SHORTEST_PAST else None
    return start.states(whole.venue, joined, 1, begin, past=past)


def air_before(weather: xr.Dataset, days: Days) -> np.ndarray:
    """Mean air of the days before the span, the oldest first [K]."""
    time = weather["time"].values
    inside = (time <= days.edges[0]) & (time > days.edges[0] - HARDENING_PAST)
    air = weather["air_temperature"].values[0, inside]
    age = ((days.edges[0] - time[inside]) // np.timedelta64(1, "D")).astype(int)
    age = np.where(time[inside] == days.edges[0], 0, age)
    known = np.isfinite(air)
    return np.array([air[known & (age == k)].mean() for k in sorted(set(age[known]), reverse=True)])


def mean_day(parts: list[xr.Dataset], days: Days) -> xr.Dataset:
    """Stretches of cells one after the other as their mean day: sums by the day, longwave by the hour."""
    first, hours = parts[0], [part.attrs["hours"] for part in parts]
    mean = {}
    for name in set(first.data_vars) - {"sky_view_factor"}:
        weights = np.asarray(hours) / sum(hours) if name in LONGWAVE else np.full(len(parts), 1.0 / days.count)
        mean[name] = sum(weight * part[name] for weight, part in zip(weights, parts, strict=True))
    return first.assign(mean)


def drawn(
    case: Case, joined: xr.Dataset, weather: xr.Dataset, own: Lived, last: date, draws: int = DRAWS
) -> xr.Dataset:
    """What is not known of the bowl's wind and air, laid over the days up to `last`; the same draws for all cases.

    Returns
    -------
    Dataset (draw, patch)
        `night_canopy`, `canopy_mean` and `root_mean` [K] of at most `DRAWN` days; attribute `days`, how many
        those were.
    """
    venue = case.venue
    species = [venue.species(venue.field.zones[k].turf) for k in joined["zone_index"].values.astype(int)]
    stretch, ground = next((days, ground) for days, ground in own.starts if days.first <= last <= days.last)
    until = Days(stretch.first, last, stretch.time_zone)
    begin, end = until.edges[[0, -1]]
    part = zones_days.part(weather, begin - LEAD, end)
    many = part.isel(realization=np.zeros(draws, dtype=int)).assign_coords(realization=np.arange(draws))
    rows: list[list[np.ndarray]] = []
    for whole in force.forcing(venue, many, case.bowl, joined, STEP):
        block = case.added(within(whole, begin, end))
        states, _ = run.through(venue, block, ground, case.plan(venue, begin, end))
        day = until.of(block["time"].values)
        for k in range(block.sizes["realization"]):
            one, told = block.isel(realization=[k]), states.isel(realization=[k])
            digest = turf.digest(one, told, day, until.count, species, venue.limits).isel(day=slice(-DRAWN, None))
            night, mean = digest["canopy_temperature_min"], digest["canopy_temperature"]
            root = digest["soil_temperature"].isel(depth=2)
            rows.append([part.transpose("day", "patch").values.mean(axis=0) for part in (night, mean, root)])
    names = ("night_canopy", "canopy_mean", "root_mean")
    found = {name: (("draw", "patch"), np.stack([row[k] for row in rows])) for k, name in enumerate(names)}
    return xr.Dataset(found, attrs={"days": min(DRAWN, until.count)})
