"""`microclimate zones`: light, heat and growth over the zones of a field for a day, a week or a season."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from microclimate.exposure import daylight, force, patches
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.report import zones_page
from microclimate.report.zones import LIGHT, LONG_SKY, LONG_STANDS, SKY, STANDS, SUN, SUNLIT, VIEW, Zones, csv_of
from microclimate.venue.load import Venue
from microclimate.weather import complete, read
from microclimate.workflow import files, zones_days
from microclimate.workflow.zones_days import Days

STEP = 600.0  # [s] of the model here: a tenth of a kelvin against 300 s in a night's lowest canopy, and half the time
LEAD = np.timedelta64(12, "h")  # before a stretch, for the bowl's air to forget how it began; ours
LONGWAVE = ("longwave_sky", "longwave_stands")
PAGE_FILE, ZONES_FILE = "zones.html", "zones.csv"


def zones(
    venue_path: Path,
    weather_path: Path | None = None,
    *,
    first: str | None = None,
    last: str | None = None,
    at: str | None = None,
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
    out : Path, optional
        Folder for zones.html and zones.csv.
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
    instant = None if at is None else zones_days.moment(at, site.time_zone)
    say("Working out what the stands hide (kept for the next run) ...")
    bowl = build_bowl(venue)
    say("Adding up light ...")
    cells = _clear(bowl, venue, days) if weather is None else _lit(bowl, venue, weather, days)
    field = venue.field
    frame = {"cell_size": field.cell_size, "length": field.length, "width": field.width, "bearing": field.bearing}
    shade = None
    if instant is not None:
        shade = daylight.shade(bowl, site, instant).assign_attrs(frame, when=str(instant.tz_localize(None)))
    told = Zones(
        venue=venue.name,
        shown=venue.shown,
        days=tuple(days.dates),
        source=None if weather_path is None else weather_path.name,
        outlines={zone.name: zone.polygon for zone in field.zones},
        cells=cells.assign_attrs(frame),
        zones=daylight.by_zone(cells, tuple(zone.name for zone in field.zones)),
        shade=shade,
        assumed=() if weather is None else tuple(str(weather.attrs.get("assumed", "")).split("\n")),
    )
    text = zones_page.text(told)
    if out is not None:
        text += written(told, out)
    return text


def _clear(bowl: Bowl, venue: Venue, days: Days) -> xr.Dataset:
    """Light of each cell on a mean day of the span under a clear sky."""
    begin, end = (pd.Timestamp(edge, tz="UTC") for edge in days.edges[[0, -1]])
    found = daylight.span(bowl, daylight.clear(venue.site.site, begin, end))
    return _mean_day([found.drop_vars(LONGWAVE)], days)


def _lit(bowl: Bowl, venue: Venue, weather: xr.Dataset, days: Days) -> xr.Dataset:
    """Light and longwave of each cell on a mean day of the span under the weather."""
    site = venue.site
    sun = patches.morning_sun(bowl, site.latitude, site.longitude, days.dates[days.count // 2])
    joined = patches.patches(venue.field.zones, bowl, sun)
    found = []
    for stretch in days.stretches():
        begin, end = stretch.edges[[0, -1]]
        forcing = force.forcing(venue, zones_days.part(weather, begin - LEAD, end), bowl, joined, STEP)
        sky = daylight.under(forcing, pd.Timestamp(begin, tz="UTC"), pd.Timestamp(end, tz="UTC"))
        found.append(daylight.span(bowl, sky))
    return _mean_day(found, days)


def _mean_day(parts: list[xr.Dataset], days: Days) -> xr.Dataset:
    """Stretches one after the other as their mean day: sums by the day, longwave by the hour."""
    first, hours = parts[0], [part.attrs["hours"] for part in parts]
    mean = {}
    for name in set(first.data_vars) - {"sky_view_factor"}:
        weights = np.asarray(hours) / sum(hours) if name in LONGWAVE else np.full(len(parts), 1.0 / days.count)
        mean[name] = sum(weight * part[name] for weight, part in zip(weights, parts, strict=True))
    return first.assign(mean)


def written(told: Zones, out: Path) -> str:
    """Write page and tables, each whole or not at all; says which."""
    files.folder(out)
    columns = [SUNLIT, SUN, SKY, STANDS, LIGHT, VIEW]
    columns += [column for column in (LONG_SKY, LONG_STANDS) if column.name in told.zones]
    files.write_text(zones_page.page(told), out / PAGE_FILE)
    files.write_text(csv_of(told.zones, told.names, columns, told.shown), out / ZONES_FILE)
    return f"\nPage: {out / PAGE_FILE}\nZones: {out / ZONES_FILE}\n"
