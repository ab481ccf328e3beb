"""`microclimate check`: the venue told back, when the sun leaves and returns, and which unknowns matter tonight."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from pvlib.solarposition import get_solarposition
from scipy.ndimage import binary_opening

from microclimate.actions import plan as plans
from microclimate.constants import ZERO_CELSIUS
from microclimate.exposure import force, patches
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.report.words_check import Lit, Night, Swing, checked
from microclimate.schema import Event, Site
from microclimate.simulate import run, start
from microclimate.venue import summary, unknowns
from microclimate.venue.load import Venue
from microclimate.weather import complete, ensemble, read
from microclimate.workflow import files, warm, windows

LOOK = 120.0  # [s] between two looks at the sun
LIT = 0.5  # [1] share of the beam from which a spot counts as sunlit
SPELL = 600.0  # [s] shorter spells, such as a gleam below a bench, are not told; ours
TOLD = 3  # unknowns that are named

# the night taken when no weather is given: clear and calm, freezing at sunrise; ours
AIR = (ZERO_CELSIUS + 3.0, ZERO_CELSIUS - 3.0)  # [K] at sunset and at sunrise
AFTERNOON, MORNING = 1.0, 1.5  # [K/h] by which the air falls before sunset and rises after sunrise
DEW_POINT = ZERO_CELSIUS - 6.0  # [K]
WIND, FROM = 1.5, 270.0  # [m s-1] at 10 m, [degree]
STEP = 600.0  # [s] of the model here
LEAD = timedelta(hours=4)  # before sunset, for leaf and thatch to forget how they began


@dataclass(frozen=True)
class _World:
    """What a venue's ground is under in the night: kept for venues that differ below the grass only."""

    venue: Venue
    bowl: Bowl
    joined: xr.Dataset
    blocks: tuple[xr.Dataset, ...]


def check(
    venue_path: Path,
    *,
    weather_path: Path | None = None,
    night: str | None = None,
    now: datetime | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> str:
    """Tell a venue back, so that it can be held against the place itself.

    Parameters
    ----------
    venue_path : Path
    weather_path : Path, optional
        Any weather that reaches over the night; without it a stated clear calm night is taken.
    night : str, optional
        Date of the evening; without it the coming night.
    now : datetime, optional
        Naive UTC; without it the clock.
    say : callable
        Told of progress.

    Raises
    ------
    InputError
        Every fault of the venue, or of the weather; WeatherTooOld when it does not reach the night.
    """
    now = now or datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    venue = files.described(venue_path)
    site = venue.site.site
    day = windows.evening(night) if night else windows.coming_night(now, site.time_zone)
    dark = windows.night(site, day)
    weather = stated(site, dark) if weather_path is None else _given(weather_path, site, dark)
    say("Working out what the stands hide (kept for the next run) ...")
    warm.up(venue_path)
    bowl = build_bowl(venue)
    say("Running tonight once for each end of each unknown ...")
    lowest, found = swings(venue, bowl, weather, dark)
    return checked(
        venue.name,
        summary.lines(venue),
        summary.notes(venue),
        sunlight(venue, bowl, day),
        Night(dark, weather_path.name if weather_path else None, lowest, AIR, DEW_POINT, WIND),
        found[:TOLD],
        len(found),
        venue.shown,
    )


def stated(site: Site, dark: Event) -> xr.Dataset:
    """The clear calm night that is taken when no weather is given, as sealed Weather."""
    sunrise = dark.end - windows.AFTER_SUNRISE
    first = (dark.start - LEAD).replace(minute=0, second=0)
    count = int(np.ceil((dark.end - first) / timedelta(hours=1))) + 1
    times = np.datetime64(first, "ns") + np.arange(count) * np.timedelta64(3600, "s")
    hours = [(moment - dark.start) / timedelta(hours=1) for moment in (first, dark.start, sunrise, dark.end)]
    warmth = [AIR[0] - AFTERNOON * hours[0], *AIR, AIR[1] + MORNING * (hours[3] - hours[2])]
    values = {
        "air_temperature": np.interp(hours[0] + np.arange(count), hours, warmth),
        "dew_point_temperature": np.full(count, DEW_POINT),
        "wind_speed": np.full(count, WIND),
        "wind_from_direction": np.full(count, FROM),
        "cloud_area_fraction": np.zeros(count),
    }
    raw = xr.Dataset(
        {name: (("realization", "time"), row[None], {"cell_methods": "time: point"}) for name, row in values.items()},
        coords={"time": times},
        attrs={"source": "stated night", "issued": "", "assumed": "", "wind_height": 10.0, "temperature_height": 2.0},
    )
    raw["time_bnds"] = (("time", "bnds"), np.stack([times - np.timedelta64(3600, "s"), times], axis=-1))
    return complete.weather(raw, site)


def _given(path: Path, site: Site, dark: Event) -> xr.Dataset:
    """The weather of a file up to the end of the night: the member whose lowest air lies in the middle."""
    weather = complete.weather(read.weather(path, site), site)
    begin, end = (windows.stamp(moment) for moment in (dark.start, dark.end))
    ensemble.covers(weather, begin, end)
    time = weather["time"].values
    first = max(0, int(np.searchsorted(time, windows.stamp(dark.start - LEAD))) - 1)
    weather = weather.isel(time=slice(first, int(np.searchsorted(time, end)) + 1))
    lowest = weather["air_temperature"].sel(time=slice(begin, end)).min("time").values
    known = int(np.isfinite(lowest).sum())
    middle = int(np.argsort(np.where(np.isnan(lowest), np.inf, lowest))[max(0, known - 1) // 2])
    return weather.isel(realization=[middle])


def swings(venue: Venue, bowl: Bowl, weather: xr.Dataset, dark: Event) -> tuple[float, tuple[Swing, ...]]:
    """Lowest canopy of the field tonight [K], and how far each unknown moves it, the furthest first.

    One realization, nothing done; a cover's range is told of the field lying under that cover.
    """
    sun = patches.morning_sun(bowl, venue.site.latitude, venue.site.longitude, dark.end.date())
    joined = patches.patches(venue.field.zones, bowl, sun)
    world = _World(venue, bowl, joined, _blocks(venue, weather, bowl, joined))
    base = _lowest(venue, world, dark, covered=False)
    found = []
    for unknown in unknowns.ranges(venue):
        covered = unknown.key == "cover"
        middle = _lowest(venue, world, dark, covered=True) if covered else base
        ends = [
            _lowest(end, _world(end, world, weather, dark), dark, covered=covered) - middle
            for end in (unknown.low, unknown.high)
        ]
        found.append(
            Swing(unknown.label, unknown.ends, (ends[0], ends[1]), unknown.guessed, unknown.basis, covered=covered)
        )
    return base, tuple(sorted(found, key=lambda swing: -swing.size))


def _world(venue: Venue, known: _World, weather: xr.Dataset, dark: Event) -> _World:
    """The world of a venue that differs in one thing from one that is known; nothing is worked out twice."""
    of = known.venue
    bases = [[zone.base for zone in each.field.zones] for each in (venue, of)]
    if venue.bowl == of.bowl and venue.field.bearing == of.field.bearing:
        if venue.site == of.site and bases[0] == bases[1]:
            return replace(known, venue=venue)
        return replace(known, venue=venue, blocks=_blocks(venue, weather, known.bowl, known.joined))
    bowl = build_bowl(venue)
    return _World(venue, bowl, known.joined, _blocks(venue, weather, bowl, known.joined))


def _blocks(venue: Venue, weather: xr.Dataset, bowl: Bowl, joined: xr.Dataset) -> tuple[xr.Dataset, ...]:
    # one realization has the middle of what is not known of the air: two ends differ by their own unknown alone
    return tuple(force.forcing(venue, weather, bowl, joined, STEP))


def _lowest(venue: Venue, world: _World, dark: Event, *, covered: bool) -> float:
    """Lowest canopy anywhere on the field in the night [K]."""
    time = world.blocks[0]["time"].values
    begin, end = time[0] - (time[1] - time[0]), time[-1]
    initial = start.states(venue, world.joined, 1, begin)
    plan = plans.constant(venue, begin, end, "check", {"cover": 1.0 if covered else 0.0})
    outcome, _ = run.outcome(venue, world.blocks, initial, plan, (dark,))
    return float(outcome["canopy_temperature_min"].min())


def sunlight(venue: Venue, bowl: Bowl, day: date) -> tuple[Lit, ...]:
    """When the sun leaves on `day` and returns on the next, at the field's centre and at its darkest spot."""
    midnight = pd.Timestamp(day, tz=ZoneInfo(venue.site.time_zone))
    times = pd.date_range(midnight, midnight + pd.Timedelta("2D"), freq=pd.Timedelta(seconds=LOOK)).tz_convert("UTC")
    sun = get_solarposition(times, venue.site.latitude, venue.site.longitude, venue.site.elevation)
    height = sun["apparent_elevation"].to_numpy()
    up = height > 0.0
    share = np.zeros((len(times), len(bowl.cell_x)))
    if up.any():
        share[up] = bowl.sun_factor(sun["azimuth"].to_numpy()[up], height[up])
    today = np.asarray(times.tz_convert(midnight.tz).date == day)
    beam = np.sin(np.radians(np.maximum(height, 0.0)))
    got = np.round(beam[today] @ share[today], 6)
    centre = int(np.argmin(bowl.cell_x**2 + bowl.cell_y**2))
    darkest = int(np.lexsort((bowl.sky_view, got))[0])
    zones = [venue.field.zones[bowl.cell_zone[cell]].name for cell in (centre, darkest)]
    alike = float(np.ptp(got)) <= 1e-3 * float(got.max())
    spots = ((centre, zones[0], "centre"),) if alike else ((centre, zones[0], "centre"), (darkest, zones[1], "darkest"))
    return tuple(_lit(kind, zone, times, share[:, cell] >= LIT, today) for cell, zone, kind in spots)


def _lit(kind: str, zone: str, times: pd.DatetimeIndex, lit: NDArray[np.bool_], today: NDArray[np.bool_]) -> Lit:
    def moment(index: NDArray[np.intp], which: int) -> datetime | None:
        return times[index[which]].tz_localize(None).to_pydatetime() if index.size else None

    lit = binary_opening(lit, np.ones(round(SPELL / LOOK), dtype=bool))
    before, after = np.flatnonzero(lit & today), np.flatnonzero(lit & ~today)
    hours = float(lit[today].sum() * LOOK / 3600.0)
    return Lit(kind, zone, moment(before, -1), moment(after, 0), hours)
