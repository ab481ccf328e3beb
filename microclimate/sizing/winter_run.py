"""One winter of one climate: every option of the grid through it, told by night and by event."""

import ctypes
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.exposure import force
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.schema import Event
from microclimate.simulate import season, start
from microclimate.sizing import options as opt
from microclimate.sizing.programme import Kind, Programme, moved, programme
from microclimate.sizing.reduced import Reduced, reduced
from microclimate.sizing.winters import DAY, SETTLING, Climate
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

STEP = 600.0  # [s]
M_ARENA_MAX, M_MMAP_THRESHOLD = -8, -3  # of GNU's malloc.h
LARGE = 1 << 18  # [bytes] of an array that has its memory to itself; ours
# what hangs on stamps and venue alone, and is the same for every winter of a climate
_KEPT = ("steps", "_lit", "shelter")  # what the place alone gives is shared through `Forcing.place`


@dataclass(frozen=True)
class Job:
    """All that one winter needs; small enough to be sent to another machine."""

    venue: Venue
    climate: Climate  # of one winter
    grid: opt.Grid
    events: tuple[Event, ...]  # of the season all winters are laid on, UTC
    shifts: tuple[int, ...]  # [d] by which the events are moved to be tried again

    @property
    def name(self) -> str:
        """Of climate and winter."""
        return f"{self.climate.name} {self.climate.winters[0].name}"


@cache
def lean() -> None:
    """Memory that is done with goes back at once, where the C library is GNU's.

    Left alone it keeps a heap for each thread, and takes ever larger arrays from heaps full of holes: a fifth more.
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None) if sys.platform == "linux" else None
    if mallopt is not None:
        mallopt(M_ARENA_MAX, 1)
        mallopt(M_MMAP_THRESHOLD, LARGE)


_seen: dict[str, tuple[Reduced, force.Forcing]] = {}  # of the climate this process ran last


def site_and_forcing(job: Job) -> tuple[Reduced, xr.Dataset]:
    """The reduced venue, and what reaches its patches in the job's winter; bowl and sun are worked out once."""
    lean()
    stamps = job.climate.weather["time"].values
    key = f"{job.venue.digest()} {job.climate.name} {job.climate.site} {stamps[0]} {stamps.size} {job.climate.deep}"
    if key not in _seen:
        site = reduced(job.venue, build_bowl(job.venue), job.climate)
        forcing = force.forcing(site.venue, job.climate.weather, site.bowl, site.patches, STEP, seed=None)
        _seen.clear()
        _seen[key] = site, forcing
    site, first = _seen[key]
    mine = replace(first, weather=job.climate.weather)
    mine.__dict__.update({name: value for name, value in first.__dict__.items() if name in _KEPT})
    (block,) = mine
    first.__dict__.update({name: value for name, value in mine.__dict__.items() if name in _KEPT})
    return site, block


def nights(climate: Climate) -> list[Event]:
    """From noon to noon, each day of the season."""
    begin = climate.weather["time"].values[0] + (SETTLING * DAY + np.timedelta64(12, "h"))
    stamps = begin + np.arange(climate.season.days) * DAY
    found = []
    for day in stamps[:-1]:
        start, end = (at.astype("datetime64[us]").item() for at in (day, day + DAY))
        found.append(Event(str(day)[:10], start, end, "night"))
    return found


def run(job: Job) -> xr.Dataset:
    """Every option through the winter.

    Returns
    -------
    Dataset
        (option, group, night): `night_state`, `night_canopy` and `night_soil` [K], `energy` [J m-2], `power` [W m-2]
        highest, `heated` [h]; (option, group, event, shift): `event_state`, `event_canopy`, `event_soil`; (option):
        `laid`, `covered_hours`; (night): `air` [K] mean. A group's worst patch decides; energy and power are means by
        area.
    """
    site, block = site_and_forcing(job)
    initial = start.states(site.venue, site.patches, 1, job.climate.weather["time"].values[0])
    return outcomes(job, site, block, initial)


def outcomes(job: Job, site: Reduced, block: xr.Dataset, initial: xr.Dataset) -> xr.Dataset:
    """The columns of all options, and what they come to."""
    runs, option_run = _runs(job)
    kinds = list(dict.fromkeys(kind for _, kind in runs))
    made = programme(site, job.climate.weather, kinds, job.events)
    variants = [opt.built(job.grid, design, site.venue) for design in job.grid.designs]
    dark = nights(job.climate)
    tried = [moved(event, shift) for event in job.events for shift in job.shifts]
    pairs = [(design, kinds.index(kind)) for design, kind in runs]
    told = season.outcomes(variants, block, initial, made.plan, pairs, [*dark, *tried])
    return _told(job, site, told, option_run, made, [kinds.index(kind) for _, kind in runs], len(dark))


def _runs(job: Job) -> tuple[list[tuple[int, Kind]], NDArray[np.int64]]:
    """What is run, (design, plan), and which run serves each option and shift."""
    runs: dict[tuple[int, Kind], int] = {}
    table = np.zeros((len(job.grid.options), len(job.shifts)), dtype=np.int64)
    for number, option in enumerate(job.grid.options):
        supply = job.grid.designs[option.design].supply if option.policy.kind != opt.NOTHING else None
        for place, shift in enumerate(job.shifts):
            # a cover is off for events, so it too follows the calendar
            moves = option.policy.led or option.cover > 0
            kind = Kind(option.policy, option.cover, shift if moves else 0, supply)
            table[number, place] = runs.setdefault((option.design, kind), len(runs))
    return list(runs), table


def _told(
    job: Job,
    site: Reduced,
    told: xr.Dataset,
    option_run: NDArray[np.int64],
    made: Programme,
    kind_of_run: Sequence[int],
    dark: int,
) -> xr.Dataset:
    names = [zone.name for zone in site.venue.field.zones]
    groups = [np.flatnonzero(site.patches["zone"].values == name) for name in names]
    weights = [site.patches["area"].values[g] / site.patches["area"].values[g].sum() for g in groups]

    def worst(name: str, sign: float = 1.0) -> Array:
        """The highest of each group's patches (run, group, window), the lowest where `sign` is -1."""
        values = sign * told[name].values
        return sign * np.stack([values[:, g].max(axis=1) for g in groups], axis=1)

    def mean(name: str) -> Array:
        values = told[name].values
        return np.stack([np.einsum("rpw,p->rw", values[:, g], w) for g, w in zip(groups, weights, strict=True)], axis=1)

    seen = told["hours"].values.min(axis=(0, 1))
    windows = [*nights(job.climate), *(moved(e, s) for e in job.events for s in job.shifts)]
    wanted = np.array([(window.end - window.start).total_seconds() / 3600.0 for window in windows])
    known = seen > wanted - STEP / 3600.0 - 1e-6
    by_window = {
        "state": worst("worst_surface_state"),
        "canopy": worst("canopy_temperature_min", -1.0),
        "soil": worst("soil_temperature_min", -1.0),
    }
    at_night = option_run[:, job.shifts.index(0)]
    data: dict[str, tuple[tuple[str, ...], Array]] = {}
    shifts = len(job.shifts)
    for name, values in by_window.items():
        values = np.where(known, values, np.nan)
        data[f"night_{name}"] = (("option", "group", "night"), values[at_night, :, :dark])
        by_event = values[:, :, dark:].reshape(*values.shape[:2], len(job.events), shifts)
        picked = [by_event[option_run[:, s], :, :, s] for s in range(shifts)]
        data[f"event_{name}"] = (("option", "group", "event", "shift"), np.stack(picked, axis=-1))
    for name, source in (("energy", "heating_energy"), ("power", "heating_power_max"), ("heated", "heating_hours")):
        values = worst(source) if name == "heated" else mean(source)
        data[name] = (("option", "group", "night"), values[at_night, :, :dark])
    air = job.climate.weather["air_temperature"].values[0]
    data["air"] = (("night",), air[24 * SETTLING + 12 :][: 24 * dark].reshape(dark, 24).mean(axis=1))
    kind = np.array(kind_of_run)[at_night]
    data["laid"] = (("option",), made.laid[kind].astype(float))
    data["covered_hours"] = (("option",), made.covered_hours[kind].astype(float))
    single = {name: (dims, np.asarray(values, dtype=np.float32)) for name, (dims, values) in data.items()}
    return xr.Dataset(
        single,
        coords={
            "group": names,
            "night": [window.name for window in windows[:dark]],
            "event": [event.name for event in job.events],
            "shift": list(job.shifts),
        },
        attrs={"climate": job.climate.name, "winter": job.climate.winters[0].name},
    )
