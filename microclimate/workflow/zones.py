"""`microclimate zones`: light, heat and growth over the zones of a field for a day, a week or a season."""

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from microclimate.errors import InputError, Problem, refuse
from microclimate.exposure import daylight, patches
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.report import zones_page
from microclimate.report.zones import (
    COLDEST,
    GROW,
    HEAT,
    HOTTEST,
    LIGHT,
    LONG_SKY,
    LONG_STANDS,
    PLAY,
    SKY,
    STANDS,
    SUN,
    SUNLIT,
    SURVIVAL,
    VIEW,
    WARMTH,
    Bears,
    Covered,
    Stopped,
    Variant,
    Zones,
    cells_csv,
    csv_of,
    days_csv,
    modules_csv,
)
from microclimate.risk import places, zonal
from microclimate.venue.limits import default
from microclimate.venue.load import Venue
from microclimate.weather import complete, read
from microclimate.workflow import files, zones_cells, zones_days, zones_done, zones_modules
from microclimate.workflow.zones_cases import VARIANTS
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_done import Spell
from microclimate.workflow.zones_run import LONGWAVE, Case, Lived, drawn, lived, mean_day

PAGE_FILE, ZONES_FILE, CELLS_FILE = "zones.html", "zones.csv", "cells.csv"
SPANS_FILE, DAYS_FILE, MODULES_FILE = "span.csv", "days.csv", "modules.csv"


def zones(
    venue_path: Path,
    weather_path: Path | None = None,
    *,
    first: str | None = None,
    last: str | None = None,
    at: str | None = None,
    variants: Sequence[str] = (),
    compare: str | None = None,
    covers: Sequence[str] = (),
    heat_off: str | None = None,
    out: Path | None = None,
    now: datetime | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> str:
    """What each zone gets over a span of days, as text; with `out` a page and tables too.

    Parameters
    ----------
    venue_path : Path
    weather_path : Path, optional
        Any weather that holds the days; without it a clear sky, and light alone is told.
    first, last : str, optional
        Local days, both included; without them all whole days of the weather, or today.
    at : str, optional
        A local date and time, of which a picture of the shade is told too.
    variants : sequence of str
        Keys of `zones_cases.VARIANTS`: the same field as it might be, held against what is.
    compare : str, optional
        Two names with a comma between, of zones to be held side by side.
    covers : sequence of str
        "NAME, START/END" in local time: a cover of the venue that lies so; needs weather.
    heat_off : str, optional
        Local date and time at which heating, at its set points before, stops; needs weather.
    out : Path, optional
        Folder for zones.html, zones.csv, cells.csv, and with weather span.csv and days.csv.
    now : datetime, optional
        Naive UTC; without it the clock.
    say : callable
        Told of progress.

    Raises
    ------
    InputError
        Everything that has to be mended in the input.
    """
    now = now or datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    venue = files.described(venue_path)
    site = venue.site.site
    weather = None if weather_path is None else complete.weather(read.weather(weather_path, site), site)
    days = zones_days.asked(first, last, site.time_zone, zones_days.today(now, site), weather)
    if weather is not None:
        weather = zones_days.covering(weather, days)
    laid = zones_done.spells(covers, venue)
    off = (
        None
        if heat_off is None
        else np.datetime64(zones_days.moment(heat_off, site.time_zone, "--heat-off").tz_localize(None), "ns")
    )
    _asked_for(laid, off, weather is not None, days, venue)
    pair = _pair(compare, [zone.name for zone in venue.field.zones])
    instant = None if at is None else zones_days.moment(at, site.time_zone)
    say("Working out what the stands hide (kept for the next run) ...")
    bowl = build_bowl(venue)
    field = venue.field
    noon = days.dates[days.count // 2]
    sun = patches.morning_sun(bowl, site.latitude, site.longitude, noon)
    joined = patches.patches(field.zones, bowl, sun)
    say("Running the ground through the days ..." if weather is not None else "Adding up light ...")
    base = Case(venue, bowl)
    own = None if weather is None else lived(base, joined, weather, days)
    frame = {"cell_size": field.cell_size, "length": field.length, "width": field.width, "bearing": field.bearing}
    cells = (own.cells if own is not None else _clear(bowl, venue, days)).assign_attrs(frame)
    names, draws, ranked = [zone.name for zone in field.zones], None, None
    if own is not None and weather is not None:
        say("Trying what is not known of the bowl ...")
        draws = drawn(base, joined, weather, own)
        ranked = zonal.ranked(draws, own.days)
        say("Running every cell through the coldest and the hottest day ...")
        cells = cells.merge(zones_cells.extremes(base, joined, weather, own), combine_attrs="no_conflicts")
    others = [_variant(key, base, joined, weather, days, own, (cells, draws)) for key in variants]
    under: tuple[Covered, ...] = ()
    stop: tuple[Stopped, ...] = ()
    if own is not None and weather is not None:
        done = {
            "with lamps": replace(base, added=zones_done.lamplit(venue)) if venue.lamps else None,
            "covered": replace(base, plan=zones_done.plan_of(laid)) if laid else None,
            "heated": replace(base, plan=zones_done.heating) if off is not None else None,
        }
        for key, case in done.items():
            if case is not None:
                ran = lived(case, joined, weather, days, with_cells=False)
                others.append(Variant(key, _light(cells, venue), zonal.over_span(ran.days)))
                if key == "covered":
                    under = zones_done.covered(base, laid, own, ran, joined, weather)
                if key == "heated" and off is not None:
                    stop = zones_done.stopped(case, joined, weather, ran, off)
    shade = None
    if instant is not None:
        shade = daylight.shade(bowl, site, instant).assign_attrs(frame, when=str(instant.tz_localize(None)))
    told = Zones(
        venue=venue.name,
        shown=venue.shown,
        days=tuple(days.dates),
        source=None if weather_path is None else weather_path.name,
        outlines={zone.name: zone.polygon for zone in field.zones},
        cells=cells,
        zones=daylight.by_zone(cells, tuple(zone.name for zone in field.zones)),
        shade=shade,
        spans=None if own is None else zonal.over_span(own.days),
        daily=None if own is None else zonal.by_day(own.days),
        variants=tuple(others),
        compare=pair,
        lamps=zones_done.lit(venue, _light(cells, venue)["light_integral"]) if venue.lamps else (),
        saturation=default("light_saturation"),
        strongest=max((lamp.photon_flux for lamp in venue.lamps), default=0.0),
        covers=under,
        cover_limits=tuple(
            getattr(venue.limits, f"cover_{n}") for n in ("hot_air", "hot_time", "lift_time", "event_time")
        ),
        stopped=stop,
        modules=() if own is None or weather is None else zones_modules.modules(base, joined, weather, own),
        off=off,
        ranked=ranked,
        edges=dict(zip(names, places.edge_share(cells, len(names)).tolist(), strict=True)),
        probes=tuple((p.why, p.x, p.y, p.zone) for p in places.probes(cells, names)),
        grass=venue.species().name,
        bears=_bears(venue),
        start="season" if own is None else str(own.starts[0][1].attrs["start_source"]),
        assumed=() if weather is None else zones_days.assumptions(weather),
    )
    text = zones_page.text(told)
    if out is not None:
        text += written(told, out)
    return text


def _variant(
    key: str,
    base: Case,
    joined: xr.Dataset,
    weather: xr.Dataset | None,
    days: Days,
    own: Lived | None,
    told: tuple[xr.Dataset, xr.Dataset | None],
) -> Variant:
    """The same field as it might be, and by cell what is, less that; told: what is, its cells and its draws."""
    venue, (cells, draws) = base.venue, told
    changed = VARIANTS[key](venue)
    case = Case(changed, build_bowl(changed))
    if weather is None or own is None or draws is None:
        light = _clear(case.bowl, venue, days)
        less = (cells[["light_integral"]] - light[["light_integral"]]).assign_attrs(cells.attrs)
        return Variant(key, _light(light, venue), None, less)
    ran = lived(case, joined, weather, days)
    there = ran.cells.merge(zones_cells.extremes(case, joined, weather, ran, of=own))
    less = zones_cells.apart((cells, draws), (there, drawn(case, joined, weather, ran, of=own)), joined)
    return Variant(key, _light(ran.cells, venue), zonal.over_span(ran.days), less.assign_attrs(cells.attrs))


def _asked_for(laid: Sequence[Spell], off: np.datetime64 | None, with_weather: bool, days: Days, venue: Venue) -> None:
    """What is done needs weather, and lies within the days."""
    problems = zones_done.lies_in(laid, days)
    if (laid or off is not None) and not with_weather:
        problems.append(Problem("--cover, --heat-off", "there is no weather", "--weather FILE"))
    if off is not None and not days.edges[0] <= off < days.edges[-1]:
        problems.append(Problem("--heat-off", "lies outside the days told", "a time within --from and --to"))
    if off is not None and not venue.equipment.circuits:
        problems.append(Problem("--heat-off", "the venue has no heating", "a [[circuit]] in the venue"))
    if problems:
        raise InputError("zones", problems)


def _pair(compare: str | None, names: Sequence[str]) -> tuple[str, str] | None:
    if compare is None:
        return None
    known = {name.lower(): name for name in names}
    asked = [part.strip() for part in compare.split(",")]
    strange = [part for part in asked if part.lower() not in known]
    if len(asked) != 2 or strange:
        found = f"there is no zone {strange[0]!r}" if strange else f"{len(asked)} names"
        raise refuse("--compare", found, "two zones with a comma between", f"zones are {', '.join(names)}")
    return known[asked[0].lower()], known[asked[1].lower()]


def _light(cells: xr.Dataset, venue: Venue) -> xr.Dataset:
    """Each zone's mean of its cells."""
    return daylight.by_zone(cells, tuple(zone.name for zone in venue.field.zones)).sel(which="mean")


def _bears(venue: Venue) -> Bears:
    species, limits = venue.species(), venue.limits
    names = {field.name for field in fields(Bears)}
    grass = {name: value for name, value in vars(species).items() if name in names}
    own = {name: getattr(limits, name) for name in names if name in type(limits).model_fields}
    return Bears(**(grass | own | {"grey_mould_days": limits.grey_mould_days / 86400.0}))


def _clear(bowl: Bowl, venue: Venue, days: Days) -> xr.Dataset:
    """Light of each cell on a mean day of the span under a clear sky."""
    begin, end = (pd.Timestamp(edge, tz="UTC") for edge in days.edges[[0, -1]])
    found = daylight.span(bowl, daylight.clear(venue.site.site, begin, end))
    return mean_day([found.drop_vars(LONGWAVE)], days)


def written(told: Zones, out: Path) -> str:
    """Write page and tables, each whole or not at all; says which."""
    files.folder(out)
    columns = [SUNLIT, SUN, SKY, STANDS, LIGHT, VIEW]
    columns += [column for column in (LONG_SKY, LONG_STANDS) if column.name in told.zones]
    files.write_text(zones_page.page(told), out / PAGE_FILE)
    files.write_text(csv_of(told.zones, told.names, columns, told.shown), out / ZONES_FILE)
    spots = [*columns, *(column for column in (COLDEST, HOTTEST) if column.name in told.cells)]
    files.write_text(cells_csv(told.cells, list(told.outlines), spots, told.shown), out / CELLS_FILE)
    text = f"\nPage: {out / PAGE_FILE}\nZones: {out / ZONES_FILE}\nCells: {out / CELLS_FILE}\n"
    if told.spans is not None and told.daily is not None:
        whole = tuple(dict.fromkeys((*WARMTH, *PLAY, *SURVIVAL, *GROW, *HEAT)))
        files.write_text(csv_of(told.spans, told.names, whole, told.shown), out / SPANS_FILE)
        files.write_text(days_csv(told.daily, told.names, told.shown), out / DAYS_FILE)
        if told.modules:
            files.write_text(modules_csv(told.modules, told.shown), out / MODULES_FILE)
        text += f"Span: {out / SPANS_FILE}\nDays: {out / DAYS_FILE}\n"
    return text
