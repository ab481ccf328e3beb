"""What is done to the field in `zones`: lamps over it, covers on it, heating that stops."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import plan as plans
from microclimate.errors import InputError, Problem
from microclimate.exposure import force
from microclimate.physics import lamps
from microclimate.report.zones import Covered, Lit, Stopped
from microclimate.risk import zonal
from microclimate.schema import PLAN_VARIABLES, seal
from microclimate.simulate import run
from microclimate.venue.load import Venue
from microclimate.workflow import zones_days
from microclimate.workflow.windows import event
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_run import LEAD, STEP, Case, Lived, within

FURTHEST = np.timedelta64(7, "D")  # that is looked ahead when heating stops; ours
CLOSED = ("rain sheet", "insulated")  # sheets that let no air through


@dataclass(frozen=True)
class Spell:
    """One cover from when to when (UTC); number: 1 + its place in the venue."""

    number: int
    start: np.datetime64
    end: np.datetime64


# --- lamps ---------------------------------------------------------------------------------------------------------


def lamplit(venue: Venue) -> Callable[[xr.Dataset], xr.Dataset]:
    """What the venue's lamps add to the forcing: light and warmth that reach the leaf, told as warmth."""

    def added(block: xr.Dataset) -> xr.Dataset:
        local = pd.DatetimeIndex(block["time"].values, tz="UTC").tz_convert(ZoneInfo(venue.site.time_zone))
        hour = (local - pd.Timedelta(seconds=0.5 * STEP)).hour + local.minute / 60.0
        warmth = block["longwave_stands_down"].transpose("realization", "patch", "time").copy(deep=True)
        for lamp in venue.lamps:
            on = (np.asarray(hour, float) - lamp.from_hour) % 24.0 < lamp.hours / 3600.0
            under = np.isin(block["zone"].values, lamp.zones)
            warmth.values[:, under[:, None] & on] += lamp.heat
        return block.assign(longwave_stands_down=warmth)

    return added


def lit(venue: Venue, light: xr.DataArray) -> tuple[Lit, ...]:
    """Each zone's daylight (zone) [mol m-2 d-1], what lamps give, its need, and lamp hours that would close the gap."""
    found = []
    strongest = max((lamp.photon_flux for lamp in venue.lamps), default=float("nan"))
    for zone in venue.field.zones:
        day, need = float(light.sel(zone=zone.name)), venue.species(zone.turf).light_min
        own = [lamp for lamp in venue.lamps if zone.name in lamp.zones]
        given = float(sum(lamps.lamp_light(lamp.photon_flux, lamp.hours) for lamp in own))
        flux = sum(lamp.photon_flux for lamp in own) or strongest
        hours = float(lamps.lamp_time(max(need - day, 0.0), flux)) / 3600.0
        found.append(Lit(zone.name, day, given, need, hours))
    return tuple(found)


# --- covers --------------------------------------------------------------------------------------------------------


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
            problems += error.problems
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


def covered(
    case: Case, laid: Sequence[Spell], bare: Lived, under: Lived, joined: xr.Dataset, weather: xr.Dataset
) -> tuple[Covered, ...]:
    """Each cover's spell: how long it lay, light lost, heat under it, hours wet, and the air above it."""
    venue, found = case.venue, []
    whole = force.forcing(venue, weather, case.bowl, joined, STEP)
    days = bare.days["day"].values
    for spell in laid:
        cover = venue.equipment.covers[spell.number - 1]
        block = within(
            next(iter(whole.again(zones_days.part(weather, spell.start - LEAD, spell.end)))), spell.start, spell.end
        )
        own = np.array([plans.covers(venue, spell.number, str(z)) for z in joined["zone"].values])
        down = block["shortwave_sun_down"] + block["shortwave_sky_down"] + block["shortwave_stands_down"]
        got = down.isel(realization=0).transpose("patch", "time").values[own].sum(axis=1) * STEP
        area = joined["area"].values[own]
        lost = float(np.average(got, weights=area)) * (1.0 - cover.shortwave_transmittance)
        air = block["air_temperature"].isel(realization=0).transpose("patch", "time").values[own].mean(axis=0)
        hot = float((air > venue.limits.cover_hot_air).sum() * STEP)
        first, last = (t.astype("datetime64[D]") for t in (spell.start, spell.end))
        inside = (days.astype("datetime64[D]") >= first) & (days.astype("datetime64[D]") <= last)

        def of(lived: Lived, name: str, own: NDArray[np.bool_] = own, inside: NDArray[np.bool_] = inside) -> np.ndarray:
            return np.asarray(lived.days[name].transpose("patch", "day").values[np.ix_(own, inside)])

        warmer = float((of(under, "canopy_temperature_max") - of(bare, "canopy_temperature_max")).max())
        wetter = float((of(under, "hours_wet") - of(bare, "hours_wet")).sum(axis=1).max())
        mould = float(of(under, "hours_mould").sum(axis=1).max())
        frozen = bool(of(bare, "canopy_temperature_min").min() < 273.15) and bool(of(bare, "hours_wet").max() > 0.0)
        lasts = float((spell.end - spell.start) / np.timedelta64(1, "s"))
        found.append(
            Covered(
                cover.name,
                cover.kind,
                lasts,
                lost,
                warmer,
                wetter,
                mould,
                hot,
                cover.kind in CLOSED,
                frozen,
                cover.shortwave_transmittance < 0.1,
            )
        )
    return tuple(found)


# --- heating that stops --------------------------------------------------------------------------------------------


def heating(venue: Venue, begin: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """Every circuit at its own set point."""
    values: dict[str, list[float]] = {"heating_allowed": [], "set_point": [], "supply_temperature": []}
    for zone in venue.field.zones:
        circuit = None if zone.circuit is None else venue.equipment.circuit(zone.circuit)
        values["heating_allowed"].append(0.0 if circuit is None else 1.0)
        values["set_point"].append(277.15 if circuit is None else circuit.set_point)
        warm = None if circuit is None else circuit.supply_temperature
        values["supply_temperature"].append(plans.SUPPLY if warm is None else warm)
    return plans.constant(venue, begin, end, "heated", {name: np.array(row) for name, row in values.items()})


def stopped(
    case: Case, joined: xr.Dataset, weather: xr.Dataset, heated: Lived, off: np.datetime64
) -> tuple[Stopped, ...]:
    """How long each zone holds after heating stops at `off` (UTC): to the limit for play at 25 mm, to frost there, and
    to the crown temperature that kills half of a growing grass; NaN where it does not come within a week."""
    venue = case.venue
    stretch, ground = next((d, g) for d, g in heated.starts if d.edges[0] <= off <= d.edges[-1])
    whole = force.forcing(venue, weather, case.bowl, joined, STEP)
    begin = stretch.edges[0]
    if off > begin:
        before = whole.again(zones_days.part(weather, begin - LEAD, off))
        _, ground = run.through(venue, within(next(iter(before)), begin, off), ground, heating(venue, begin, off))
    end = min(off + FURTHEST, weather["time"].values[-1])
    after = within(next(iter(whole.again(zones_days.part(weather, off - LEAD, end)))), off, end)
    states, _ = run.through(venue, after, ground, plans.nothing(venue, off, end))
    soil = states["soil_temperature"].isel(realization=0, depth=0).transpose("patch", "time").values
    crown = states["crown_temperature"].isel(realization=0).transpose("patch", "time").values
    found = []
    for number, name in enumerate(zonal.names(joined)):
        own = joined["zone_index"].values.astype(int) == number
        zone = venue.field.zones[number]
        species = venue.species(zone.turf)
        hours = [
            _first(values[own].min(axis=0) < limit)
            for values, limit in (
                (soil, venue.limits.rootzone_min),
                (soil, 273.15),
                (crown, species.lt50_growing),
                (crown, species.lt50_hardened),
            )
        ]
        play, frost, growing, hardened = hours
        begun = float(soil[own, 0].min())
        found.append(Stopped(name, begun, play, frost, growing, hardened, zone.circuit is not None))
    return tuple(found)


def _first(reached: NDArray[np.bool_]) -> float:
    """Hours to the first step that is reached."""
    return float((np.argmax(reached) + 1) * STEP / 3600.0) if reached.any() else float("nan")


def lies_in(laid: Sequence[Spell], days: Days) -> list[Problem]:
    """Spells that reach out of the span."""
    return [
        Problem("--cover", "reaches out of the days told", "a spell within --from and --to")
        for spell in laid
        if spell.start < days.edges[0] or spell.end > days.edges[-1]
    ]
