"""A field held against itself as it might be, or as it is with something done to it: zone by zone and cell by cell."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.exposure import daylight
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.exposure.daylight import Open
from microclimate.physics.light import PHOTON_SHARE, PHOTON_SHARE_RANGE, photon_flux
from microclimate.report.zones import Variant
from microclimate.risk import zonal
from microclimate.venue.load import Venue
from microclimate.workflow import zones_cells, zones_covers, zones_done, zones_light
from microclimate.workflow.zones_cases import VARIANTS
from microclimate.workflow.zones_covers import Spell
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_run import LONGWAVE, Case, Lived, drawn, lived, mean_day

SHARE_UNSURE = 0.5 * (PHOTON_SHARE_RANGE[1] - PHOTON_SHARE_RANGE[0]) / PHOTON_SHARE


@dataclass(frozen=True)
class Field:
    """The field over the days, as told: joined: its patches; weather: None where light alone is told."""

    base: Case
    joined: xr.Dataset
    weather: xr.Dataset | None
    days: Days


@dataclass(frozen=True)
class Held:
    """One case: cells (cell) with the light of its mean day and, with weather, `zones_cells.extremes`; draws (draw,
    patch): `zones_run.drawn`; light (unknown, cell): `zones_light.unsure`."""

    cells: xr.Dataset
    draws: xr.Dataset | None = None
    light: xr.Dataset | None = None


def apart(one: Held, other: Held, joined: xr.Dataset, share: float = SHARE_UNSURE) -> xr.Dataset:
    """One case less another by cell, with where what is not known leaves the sign open.

    Parameters
    ----------
    one, other : Held
        Of the same days, draws and unknowns.
    joined : Dataset
        `exposure.patches.patches`.
    share : float
        Half the range of what is not known of the photons in daylight, as a share of them.

    Returns
    -------
    Dataset (cell)
        `light_integral` [mol m-2] and `light_unsure` [mol m-2], half its range: unknowns of the stands and of the share
        of light that feeds, as if they did not hang together; where both cases have weather `coldest` [K] and
        `unsure` [K], half the range of the latter over the draws.
    """
    light = one.cells["light_integral"].values - other.cells["light_integral"].values
    moved = _by_unknown(one) - _by_unknown(other)
    half = np.hypot(np.sqrt((moved**2).sum(axis=0)), share * light)
    found = {"light_integral": light, "light_unsure": half}
    if one.draws is not None and other.draws is not None:
        nights = [held.draws["night_canopy"].transpose("draw", "patch").values for held in (one, other) if held.draws]
        found["coldest"] = one.cells["coldest"].values - other.cells["coldest"].values
        found["unsure"] = zonal.painted(0.5 * np.ptp(nights[0] - nights[1], axis=0), joined)
    cells = one.cells
    place = {name: cells[name] for name in ("x", "y", "zone")}
    return xr.Dataset({name: ("cell", values) for name, values in found.items()}, place, cells.attrs)


def _by_unknown(held: Held) -> NDArray[np.float64]:
    """What each unknown moves light by (unknown, cell), 0 for those that a case has not."""
    if held.light is None or not held.light.sizes["unknown"]:
        return np.zeros((len(zones_light.UNKNOWN), held.cells.sizes["cell"]))
    told = held.light["light_integral"].reindex(unknown=list(zones_light.UNKNOWN), fill_value=0.0)
    return np.asarray(told.transpose("unknown", "cell").values)


def clear_skies(venue: Venue, days: Days) -> tuple[Open, ...]:
    """A clear sky over the days."""
    begin, end = (pd.Timestamp(edge, tz="UTC") for edge in days.edges[[0, -1]])
    return (daylight.clear(venue.site.site, begin, end),)


def clear(bowl: Bowl, venue: Venue, days: Days) -> xr.Dataset:
    """Light of each cell on a mean day of the span under a clear sky."""
    found = [daylight.span(bowl, sky).drop_vars(LONGWAVE) for sky in clear_skies(venue, days)]
    return mean_day(found, days)


def by_zone(cells: xr.Dataset, venue: Venue) -> xr.Dataset:
    """Each zone's mean of its cells."""
    return daylight.by_zone(cells, tuple(zone.name for zone in venue.field.zones)).sel(which="mean")


def held(field: Field, case: Case, ran: Lived, looked: tuple[date, date], cells: xr.Dataset | None = None) -> Held:
    """A case that was run, with cells and draws of the days looked at; cells: other than its own."""
    assert field.weather is not None
    there = zones_cells.extremes(case, field.joined, field.weather, ran, looked)
    draws = drawn(case, field.joined, field.weather, ran, looked[0])
    whole = (ran.cells if cells is None else cells).drop_vars(("coldest", "hottest"), errors="ignore")
    return Held(whole.merge(there, combine_attrs="override").assign_attrs(there.attrs), draws)


def might_be(key: str, field: Field, own: Held, ran: Lived | None) -> Variant:
    """The same field as it might be, and by cell what is, less that."""
    base, days = field.base, field.days
    venue = base.venue
    changed = VARIANTS[key](venue)
    case = Case(changed, build_bowl(changed))
    if field.weather is None or ran is None:
        light = zones_light.unsure(changed, clear_skies(venue, days), days)
        other = Held(clear(case.bowl, venue, days), None, light)
        return Variant(key, by_zone(other.cells, venue), None, apart(own, other, field.joined))
    there = lived(case, field.joined, field.weather, days)
    looked = held(field, case, there, ran.looked())
    other = Held(looked.cells, looked.draws, zones_light.unsure(changed, there.skies, days))
    return Variant(key, by_zone(there.cells, venue), zonal.over_span(there.days), apart(own, other, field.joined))


def done(
    key: str,
    field: Field,
    case: Case,
    ran: Lived,
    light: Callable[[xr.Dataset], NDArray[np.float64]] = lambda cells: cells["light_integral"].values,
    *,
    among: tuple[date, date] | None = None,
    share: float = SHARE_UNSURE,
) -> tuple[Variant, Lived]:
    """The field with something done to it, and by cell that, less what is.

    Parameters
    ----------
    key : str
        Of `report.zones_page.DONE`.
    field : Field
    case : Case
        What is done.
    ran : Lived
        The field as it is.
    light : callable, optional
        Light of each cell's mean day with it [mol m-2], from the cells as they are.
    among : tuple of date, optional
        First and last of the days whose coldest is mapped; the span without it.
    share : float
        As for `apart`.
    """
    assert field.weather is not None
    there = lived(case, field.joined, field.weather, field.days, with_cells=False)
    looked = ran.looked(among)
    cells = ran.cells.assign(light_integral=("cell", light(ran.cells)))
    with_it, without = held(field, case, there, looked, cells), held(field, field.base, ran, looked)
    less = apart(with_it, without, field.joined, share)
    return Variant(key, by_zone(cells, field.base.venue), zonal.over_span(there.days), less), there


def lamplit(field: Field, case: Case, ran: Lived) -> Variant:
    """With the venue's lamps; their light is as their maker has it."""
    variant, _ = done("with lamps", field, case, ran, lambda cells: zones_done.lamp_light(case.venue, cells), share=0.0)
    return variant


def covered(field: Field, case: Case, ran: Lived, laid: Sequence[Spell]) -> tuple[Variant, Lived]:
    """With covers, by the coldest of the days on which they lie; light lost is that of each patch."""
    assert field.weather is not None
    gone = sum(zones_covers.lost(field.base, spell, field.joined, field.weather)[0] for spell in laid)
    photons = zonal.painted(np.asarray(photon_flux(gone)) / field.days.count, field.joined)
    first, last = min(spell.start for spell in laid), max(spell.end for spell in laid)
    dates = [field.days.dates[int(k)] for k in field.days.of(np.array([first + np.timedelta64(1, "s"), last]))]
    return done(
        "covered", field, case, ran, lambda cells: cells["light_integral"].values - photons, among=(dates[0], dates[1])
    )
