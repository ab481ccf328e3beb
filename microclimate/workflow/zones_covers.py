"""Covers that lie on the field in `zones`: what they cost in light, heat, wetness and hardness."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import plan as plans
from microclimate.constants import ZERO_CELSIUS
from microclimate.errors import InputError, Problem
from microclimate.exposure import force
from microclimate.report.zones import Covered
from microclimate.schema import PLAN_VARIABLES, seal
from microclimate.venue.load import Venue
from microclimate.workflow import zones_days
from microclimate.workflow.windows import event
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_run import LEAD, STEP, Case, Lived, within

CLOSED = ("rain sheet", "insulated")  # sheets that let no air through
DENSE = 0.3  # [1] of light let through, at most, by the dense covers of Agronomy Journal 63 (1971): 73 % shade
DARK = 0.1  # [1] of light let through, below which a cover is dark; ours
SUNNY = 120.0  # [W m-2] of direct light in which a cover is in the sun: WMO's limit of sunshine


@dataclass(frozen=True)
class Spell:
    """One cover from when to when (UTC); number: 1 + its place in the venue."""

    number: int
    start: np.datetime64
    end: np.datetime64


def spells(texts: Sequence[str], venue: Venue) -> tuple[Spell, ...]:
    """Covers as typed: "NAME, START/END" in local time.

    Raises
    ------
    InputError
        Every text that names no cover of the venue, or no two times.
    """
    names = [cover.name for cover in venue.equipment.covers]
    found, problems = [], []
    for text in texts:
        name, _, times = text.rpartition(",")
        match = next((k for k, n in enumerate(names) if n.lower() == name.strip().lower()), None)
        if match is None:
            cure = f"covers are {', '.join(names)}" if names else "the venue has no [[cover]]"
            problems.append(Problem(f"--cover {text!r}", "names no cover", "NAME, START/END", cure))
            continue
        try:
            span = event(times, venue.site.time_zone, 0)
        except InputError as error:
            problems += [replace(problem, where=f"--cover {text!r}") for problem in error.problems]
            continue
        start, end = (np.datetime64(t, "ns") for t in (span.start, span.end))
        found.append(Spell(match + 1, start, end))
    if problems:
        raise InputError("--cover", problems)
    return tuple(found)


def plan_of(laid: Sequence[Spell]) -> Callable[[Venue, np.datetime64, np.datetime64], xr.Dataset]:
    """The plan that lays these covers, for any stretch."""

    def plan(venue: Venue, begin: np.datetime64, end: np.datetime64) -> xr.Dataset:
        even = plans.nothing(venue, begin, end)
        ends = plans.slots(begin, end)
        middle = ends - np.timedelta64(900, "s")
        whole = even.drop_vars("time_bnds").isel(time=np.zeros(len(ends), dtype=int)).assign_coords(time=ends)
        cover = np.zeros((1, len(venue.field.zones), len(ends)))
        for spell in laid:
            on = (middle > spell.start) & (middle <= spell.end)
            own = np.array([plans.covers(venue, spell.number, zone.name) for zone in venue.field.zones])
            cover[0][np.ix_(own, on)] = spell.number
        return seal(whole.assign(cover=(("plan", "zone", "time"), cover)), PLAN_VARIABLES, "plan")

    return plan


def lost(case: Case, spell: Spell, joined: xr.Dataset, weather: xr.Dataset) -> tuple[NDArray[np.float64], xr.Dataset]:
    """Shortwave that a spell keeps from each patch [J m-2], and the forcing above it while it lies."""
    venue = case.venue
    whole = force.forcing(venue, zones_days.part(weather, spell.start - LEAD, spell.end), case.bowl, joined, STEP)
    block = within(next(iter(whole)), spell.start, spell.end).isel(realization=0)
    down = block["shortwave_sun_down"] + block["shortwave_sky_down"] + block["shortwave_stands_down"]
    own = np.array([plans.covers(venue, spell.number, str(z)) for z in joined["zone"].values])
    through = venue.equipment.covers[spell.number - 1].shortwave_transmittance
    return own * (1.0 - through) * STEP * down.transpose("patch", "time").values.sum(axis=1), block


def covered(
    case: Case, laid: Sequence[Spell], bare: Lived, under: Lived, joined: xr.Dataset, weather: xr.Dataset
) -> tuple[Covered, ...]:
    """Each cover's spell: how long it lay, light lost, heat and wetness under it, hardness lost, and what is published
    against it.

    Parameters
    ----------
    case : Case
        The field as it is.
    laid : sequence of Spell
    bare, under : Lived
        The field without and with these covers.
    joined, weather : Dataset
    """
    venue, limits, found = case.venue, case.venue.limits, []
    begun, ended = (bare.days["day"].values[k].astype("datetime64[D]").item() for k in (0, -1))
    days = Days(begun, ended, venue.site.time_zone)
    for spell in laid:
        cover = venue.equipment.covers[spell.number - 1]
        gone, block = lost(case, spell, joined, weather)
        own = np.array([plans.covers(venue, spell.number, str(z)) for z in joined["zone"].values])
        first, last = days.of(np.array([spell.start, spell.end]) + np.array([1, 0], dtype="timedelta64[s]"))

        def of(
            lived: Lived, name: str, own: NDArray[np.bool_] = own, first: int = first, last: int = last
        ) -> NDArray[np.float64]:
            return np.asarray(lived.days[name].transpose("patch", "day").values[own, first : last + 1])

        air = block["air_temperature"].transpose("patch", "time").values[own].mean(axis=0)
        sunny = block["shortwave_sun_down"].transpose("patch", "time").values[own].max(axis=0) > SUNNY
        wet = bool(of(bare, "hours_wet")[:, 0].max() > 0.0)
        found.append(
            Covered(
                name=cover.name,
                kind=cover.kind,
                lasts=float((spell.end - spell.start) / np.timedelta64(1, "s")),
                lost=float(np.average(gone[own], weights=joined["area"].values[own])),
                warmest=float(of(under, "canopy_temperature_max").max()),
                warmer=float((of(under, "canopy_temperature_max") - of(bare, "canopy_temperature_max")).max()),
                wetter=float((of(under, "hours_wet") - of(bare, "hours_wet")).sum(axis=1).max()),
                mould=float(of(under, "hours_mould").sum(axis=1).max()),
                softer=float((of(under, "lt50")[:, -1] - of(bare, "lt50")[:, -1]).max()),
                hot=float((air > limits.cover_hot_air).sum() * STEP),
                sunny=float(((air > limits.cover_air_lift) & sunny).sum() * STEP),
                closed=cover.kind in CLOSED,
                wet_frost=wet and float(of(under, "canopy_temperature_min").min()) < ZERO_CELSIUS,
                opaque=cover.shortwave_transmittance < DARK,
                late=cover.shortwave_transmittance <= DENSE and _late(days.dates[last], venue.site.latitude),
            )
        )
    return tuple(found)


def _late(day: date, latitude: float) -> bool:
    """February to May of the northern year: light returns."""
    return 2 <= (day.month if latitude >= 0.0 else (day.month + 5) % 12 + 1) <= 5


def lies_in(laid: Sequence[Spell], days: Days, venue: Venue) -> list[Problem]:
    """Spells that reach out of the span, and covers that lie on the same zones at once."""
    problems = [
        Problem("--cover", "reaches out of the days told", "a spell within --from and --to")
        for spell in laid
        if spell.start < days.edges[0] or spell.end > days.edges[-1]
    ]
    zones = [{z.name for z in venue.field.zones if plans.covers(venue, spell.number, z.name)} for spell in laid]
    pairs = [(a, b) for b in range(len(laid)) for a in range(b)]
    if any(laid[a].start < laid[b].end and laid[b].start < laid[a].end and zones[a] & zones[b] for a, b in pairs):
        problems.append(Problem("--cover", "two lie on the same zones at once", "one after the other"))
    return problems
