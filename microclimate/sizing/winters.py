"""Winters of a climate: a typical year or a long record cut into seasons, each whole or left out by name.

All winters are laid on the days of one season, so that sun and calendar are those of one year; they come as
realizations of one Weather Dataset.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import WEATHER, Site
from microclimate.weather import assumed, complete, rarity, read
from microclimate.weather.place import distance

HOUR, DAY = np.timedelta64(1, "h"), np.timedelta64(1, "D")
SETTLING = 14  # [d] run ahead of a season and not counted: the first state is a guess good to 2 K; ours
WHOLE = 0.95  # [1] of a winter's hours that must be there, as asked
FAR = 50.0  # [km] from here on a climate is that of another place, with that place's sun; ours
MILD = 281.15  # [K] a season that is never colder has no frost on grass: leaf 8 K below air at most (extension
# services, 2 to 8 K on clear calm nights); ours
LEAST_WINTER = 0.5  # [1] of a season's hours from which it counts as one with gaps, not as one that is not there
YEAR = 365  # [d]
# a winter is held against these alone: what else is missing is filled by `complete`
_NEEDED = ("air_temperature", "dew_point_temperature", "wind_speed", "cloud_area_fraction")


@dataclass(frozen=True)
class Season:
    """The days of the year that count, local; it may run over the year's end."""

    first: tuple[int, int]  # month, day
    days: int

    def begin(self, year: int) -> date:
        """Its first day, where its first day lies in `year`."""
        return date(year, *self.first)


def usual(latitude: float) -> Season:
    """120 days from November, south of the equator from May."""
    return Season((11, 1) if latitude >= 0.0 else (5, 1), 120)


@dataclass(frozen=True)
class Winter:
    """One winter of a record."""

    name: str  # "1998/99", or "typical"
    coverage: float  # [1] of its hours
    lowest: float  # [K] air
    mean: float  # [K] air


@dataclass(frozen=True)
class Climate:
    """The winters of one file."""

    name: str
    site: Site  # whose sun it has: the venue's, or the file's own where that is far away
    far: float  # [km] from the venue; 0 where it is the venue's own
    typical: bool
    season: Season
    begin: date  # first day of the season that all winters are laid on
    weather: xr.Dataset  # sealed Weather, one realization for each winter, from SETTLING days ahead
    winters: tuple[Winter, ...]
    left_out: tuple[Winter, ...]  # too many gaps
    deep: float  # [K] yearly mean of the air, NaN where the record is shorter than a year
    filled: int  # hours taken from the day before or after
    night: rarity.DesignNight | None  # of the rarity asked for; None where the record is too short


def climate(path: Path, site: Site, season: Season, year: int, years: float) -> Climate:
    """Read a file and cut it into winters.

    Parameters
    ----------
    path : Path
        Any weather file; only its first realization counts.
    site : Site
        Of the venue.
    season : Season
    year : int
        In which the season begins that all winters are laid on.
    years : float
        Rarity of the design night: once in so many.

    Raises
    ------
    InputError
        A file that cannot be read, holds no whole winter, or none that is cold.
    """
    raw = read.weather(path, site)
    own, far = _place(raw, site)
    whole = complete.weather(raw.isel(realization=slice(0, 1)), own)
    if whole["time"].values[1] - whole["time"].values[0] != HOUR:
        raise refuse(path.name, "is not hourly", "a record of hours", "bring it to hourly values first")
    typical = "typical_year" in assumed.codes(whole)
    span = (whole["time"].values[-1] - whole["time"].values[0]) / DAY
    deep = float(np.nanmean(whole["air_temperature"].values)) if span >= YEAR - 2 else np.nan
    night = _night(whole, own, years)
    sewn = _sewn(whole) if typical else whole
    parts, kept, left_out, filled = _cut(sewn, own, season, typical)
    if not kept:
        raise _without(path, whole, season, left_out)
    lowest = min(winter.lowest for winter in kept)
    if lowest > MILD:
        raise refuse(
            path.name,
            f"has no winter: its coldest hour between {_days(season)} is {lowest - 273.15:.1f} degC",
            f"a season with air below {MILD - 273.15:.0f} degC",
            "nothing freezes there; or give --season the cold months",
        )
    begin = season.begin(year)
    weather = _laid(parts, kept, begin - timedelta(days=SETTLING), own, whole.attrs)
    return Climate(
        path.name, own, far, typical, season, begin, weather, tuple(kept), tuple(left_out), deep, filled, night
    )


def _place(raw: xr.Dataset, site: Site) -> tuple[Site, float]:
    """The file's own place where it is far from the venue, with its clock as a fixed offset; and how far."""
    if "latitude" not in raw.attrs:
        return site, 0.0
    latitude, longitude = float(raw.attrs["latitude"]), float(raw.attrs["longitude"])
    far = float(distance(np.array(latitude), np.array(longitude), site))
    if far <= FAR:
        return site, 0.0
    hours = round(raw.attrs["utc_offset"])
    zone = f"Etc/GMT{-hours:+d}" if hours else "Etc/GMT"  # POSIX counts west positive
    return Site(site.name, latitude, longitude, float(raw.attrs["elevation"]), zone), far


def _night(whole: xr.Dataset, site: Site, years: float) -> rarity.DesignNight | None:
    try:
        return rarity.design_night(whole, site.latitude, years)
    except InputError:
        return None


def _sewn(whole: xr.Dataset) -> xr.Dataset:
    """A typical year twice, so that its winter is whole: the end of the year and then its beginning."""
    count = min(whole.sizes["time"], 24 * YEAR)
    first = whole.isel(time=slice(0, count))
    again = first.assign_coords(time=first["time"] + YEAR * DAY)
    return xr.concat([first.drop_vars("time_bnds"), again.drop_vars("time_bnds")], "time", data_vars="all")


def _cut(
    whole: xr.Dataset, site: Site, season: Season, typical: bool
) -> tuple[list[dict[str, NDArray[np.float64]]], list[Winter], list[Winter], int]:
    """Values of each whole winter, hour by hour from SETTLING days ahead; those kept, those left out, hours filled."""
    times = whole["time"].values
    origin, count = times[0], (season.days + SETTLING) * 24 + 1
    values = {name: whole[name].values[0] for name in WEATHER}
    for name in ("precipitation_flux", "snowfall_flux"):  # what was not noted did not fall
        values[name] = np.nan_to_num(values[name])
    known: NDArray[np.bool_] = np.isfinite(np.stack([values[name] for name in _NEEDED])).all(axis=0)
    years = range(int(str(times[0])[:4]) - 1, int(str(times[-1])[:4]) + 1)
    parts: list[dict[str, NDArray[np.float64]]] = []
    kept: list[Winter] = []
    left_out: list[Winter] = []
    filled = 0
    for year in years:
        if typical and kept:
            break
        begin = midnight(season.begin(year), site) - SETTLING * DAY
        at = np.round((begin - origin) / HOUR).astype(int) + np.arange(count)
        inside = (at >= 0) & (at < times.size)
        have: NDArray[np.bool_] = np.logical_and(inside, known[np.clip(at, 0, times.size - 1)])
        counted = have[SETTLING * 24 :]
        name = "typical" if typical else _name(season, year)
        air = values["air_temperature"][at[have]]
        winter = Winter(
            name, float(counted.mean()), *((float(air.min()), float(air.mean())) if air.size else (0.0, 0.0))
        )
        if counted.mean() < WHOLE:
            left_out += [winter] if counted.mean() >= LEAST_WINTER else []
            continue
        part, mended = _mended({key: row[np.clip(at, 0, times.size - 1)] for key, row in values.items()}, have)
        parts.append(part)
        kept.append(winter)
        filled += mended
    return parts, kept, left_out, filled


def midnight(day: date, site: Site) -> np.datetime64:
    """Local midnight of standard time as UTC, to the hour: the season's clock does not change in autumn."""
    stamp = np.datetime64(day, "ns")
    return stamp - np.timedelta64(round(site.longitude / 15.0), "h")


def _mended(
    part: dict[str, NDArray[np.float64]], have: NDArray[np.bool_]
) -> tuple[dict[str, NDArray[np.float64]], int]:
    """Hours that are missing, taken from the same hour of the nearest day that has it."""
    told = [row for row in part.values() if np.isfinite(row).any()]  # a record may know nothing of wind direction
    missing = np.flatnonzero(~have | ~np.isfinite(told).all(axis=0))
    if not missing.size:
        return part, 0
    whole = np.setdiff1d(np.arange(have.size), missing)
    out = {name: values.copy() for name, values in part.items()}
    for hour in missing:
        alike = whole[(whole - hour) % 24 == 0]
        nearest = alike[np.argmin(np.abs(alike - hour))]
        for name in out:
            out[name][hour] = part[name][nearest]
    return out, int(missing.size)


def _laid(
    parts: list[dict[str, NDArray[np.float64]]], kept: list[Winter], day: date, site: Site, attrs: dict[str, object]
) -> xr.Dataset:
    times = midnight(day, site) + np.arange(parts[0]["air_temperature"].size) * HOUR
    data = {name: (("realization", "time"), np.stack([part[name] for part in parts])) for name in WEATHER}
    made = xr.Dataset(data, coords={"time": times, "realization": np.arange(len(parts))}, attrs=attrs)
    made["time_bnds"] = (("time", "bnds"), np.stack([times - HOUR, times], axis=1))
    return made.assign_coords(winter=("realization", [winter.name for winter in kept]))


def _name(season: Season, year: int) -> str:
    begin = season.begin(year)
    end = begin + timedelta(days=season.days)
    return str(year) if begin.year == end.year else f"{year}/{end.year % 100:02d}"


def _days(season: Season) -> str:
    begin = season.begin(2025)
    end = begin + timedelta(days=season.days - 1)
    return f"{begin:%d %B} and {end:%d %B}"


def _without(path: Path, whole: xr.Dataset, season: Season, left_out: list[Winter]) -> InputError:
    first, last = (str(stamp)[:10] for stamp in whole["time"].values[[0, -1]])
    wanted = f"a season, {_days(season)}, with {WHOLE:.0%} of its hours"
    problems = [
        Problem(path.name, f"winter {winter.name} has {winter.coverage:.0%} of its hours", wanted)
        for winter in left_out
    ] or [Problem(path.name, f"runs {first} to {last} and holds no whole winter", wanted)]
    return InputError(path.name, problems)


def of_winter(climate: Climate, number: int) -> Climate:
    """One winter alone."""
    chosen = climate.weather.isel(realization=[number])
    return replace(climate, weather=chosen, winters=(climate.winters[number],))
