"""`microclimate zones`: light, heat and growth over the zones of a field for a day, a week or a season."""

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem, refuse
from microclimate.exposure import daylight, patches
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.report import words_limits, zones_page
from microclimate.report.words_limits import Limit
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
    Zones,
    cells_csv,
    csv_of,
    days_csv,
    modules_csv,
)
from microclimate.risk import places, zonal
from microclimate.venue.limits import THRESHOLDS, default, row_of
from microclimate.venue.load import Venue
from microclimate.weather import complete, read
from microclimate.workflow import (
    files,
    zones_apart,
    zones_beside,
    zones_cells,
    zones_covers,
    zones_days,
    zones_done,
    zones_light,
    zones_modules,
)
from microclimate.workflow.zones_covers import Spell
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_run import Case, air_before, drawn, lived

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
    laid = zones_covers.spells(covers, venue)
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
    names, draws, ranked = [zone.name for zone in field.zones], None, None
    cells = own.cells if own is not None else zones_apart.clear(bowl, venue, days)
    if own is not None and weather is not None:
        say("Trying what is not known of the bowl ...")
        draws = drawn(base, joined, weather, own, own.looked()[0])
        ranked = zonal.ranked(draws, own.days)
        say("Running every cell through the coldest and the warmest day ...")
        there = zones_cells.extremes(base, joined, weather, own, own.looked())
        cells = cells.merge(there, combine_attrs="override").assign_attrs(there.attrs)
    cells = cells.assign_attrs(frame)
    whole = zones_apart.Field(base, joined, weather, days)
    unsure = None
    if pair is not None or variants:
        say("Trying what is not known of the stands (kept for the next run) ...")
        skies = zones_apart.clear_skies(venue, days) if own is None else own.skies
        unsure = zones_light.unsure(venue, skies, days)
    held = zones_apart.Held(cells, draws, unsure)
    others = [zones_apart.might_be(key, whole, held, own) for key in variants]
    least, most = pair or (names[int(k)] for k in _ends(cells, len(names)))
    close = None if own is None else zones_beside.beside(whole, own, (least, most), tuple(others))
    under: tuple[Covered, ...] = ()
    stop: tuple[Stopped, ...] = ()
    if own is not None and weather is not None:
        if venue.lamps:
            lamps = replace(base, added=zones_done.lamplit(venue))
            others.append(zones_apart.lamplit(whole, lamps, own))
        if laid:
            case = replace(base, plan=zones_covers.plan_of(laid))
            variant, ran = zones_apart.covered(whole, case, own, laid)
            others.append(variant)
            under = zones_covers.covered(base, laid, own, ran, joined, weather)
        if off is not None:
            case = replace(base, plan=zones_done.heating)
            variant, ran = zones_apart.done("heated", whole, case, own)
            others.append(variant)
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
        lamps=zones_done.lit(venue, zones_apart.by_zone(cells, venue)["light_integral"]) if venue.lamps else (),
        saturation=default("light_saturation"),
        strongest=max((lamp.photon_flux for lamp in venue.lamps), default=0.0),
        covers=under,
        cover_limits=tuple(
            getattr(venue.limits, f"cover_{n}") for n in ("hot_air", "hot_time", "lift_time", "event_time", "air_lift")
        ),
        stopped=stop,
        modules=() if own is None or weather is None else zones_modules.modules(base, joined, weather, own),
        off=off,
        ranked=ranked,
        light_unsure=None if unsure is None else zones_light.by_zone(unsure, cells, names),
        light_share=zones_apart.SHARE_UNSURE,
        edges=dict(zip(names, places.edge_share(cells, len(names)).tolist(), strict=True)),
        probes=tuple((p.why, p.x, p.y, p.zone) for p in places.probes(cells, names)),
        grass=venue.species().name,
        bears=_bears(venue),
        start="season" if own is None else str(own.starts[0][1].attrs["start_source"]),
        beside=close,
        limits=_limits(venue),
        hardening_days=0 if weather is None else len(air_before(weather, days)),
        assumed=() if weather is None else zones_days.assumptions(weather),
    )
    text = zones_page.text(told)
    if out is not None:
        text += written(told, out)
    return text


def _asked_for(laid: Sequence[Spell], off: np.datetime64 | None, with_weather: bool, days: Days, venue: Venue) -> None:
    """What is done needs weather, and lies within the days."""
    problems = zones_covers.lies_in(laid, days, venue)
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
    if asked[0].lower() == asked[1].lower():
        raise refuse("--compare", "names the same zone twice", "two zones with a comma between")
    return known[asked[0].lower()], known[asked[1].lower()]


def _ends(cells: xr.Dataset, count: int) -> NDArray[np.int64]:
    """The zones of least and of most light."""
    light, zone = cells["light_integral"].values, cells["zone"].values.astype(int)
    return np.argsort([light[zone == k].mean() for k in range(count)])[[0, -1]]


def _bears(venue: Venue) -> Bears:
    species, limits = venue.species(), venue.limits
    names = {field.name for field in fields(Bears)}
    grass = {name: value for name, value in vars(species).items() if name in names}
    own = {name: getattr(limits, name) for name in names if name in type(limits).model_fields}
    return Bears(**(grass | own | {"grey_mould_days": limits.grey_mould_days / 86400.0}))


def _limits(venue: Venue) -> tuple[Limit, ...]:
    """What is told against, with the table's source where the venue has not set its own."""
    species, found = venue.species(), []
    for key in (*words_limits.PLAY, *words_limits.SURVIVAL, *words_limits.GROWTH):
        grass = hasattr(species, key)
        row = row_of(species.name, key) if grass else key
        value = float(getattr(species if grass else venue.limits, key))
        told = ("", "") if value != default(row) else (THRESHOLDS[row].source, THRESHOLDS[row].confidence)
        found.append(Limit(key, value, *told))
    return tuple(found)


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
