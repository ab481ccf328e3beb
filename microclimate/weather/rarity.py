"""Design nights: how cold a night comes once in so many years at a place, from its own record, with its range."""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import refuse

Floats = NDArray[np.float64]

EULER = 0.5772156649015329
LONG_RECORD = 10  # winters from which each winter's coldest night is fitted by itself (ours)
BLOCK = 10  # [d] of the coldest stretches fitted where the record is shorter
BLOCKS = 9  # such stretches in the three coldest months
DRAWS = 2000  # of the bootstrap
RANGE = (0.1, 0.9)
DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class DesignNight:
    """A night of chosen rarity."""

    years: float  # once in so many
    lowest: float  # [K] air
    low: float  # [K] 80 % range of it
    high: float  # [K]
    winters: int  # in the record
    short: bool  # fitted to ten-day stretches, for want of winters
    like: np.datetime64  # the night of the record nearest to it: its coldest hour, UTC


def night_minima(past: xr.Dataset) -> tuple[NDArray[np.datetime64], Floats]:
    """The lowest air temperature [K] of each night, with the hour it came; nights with gaps are left out.

    A night is cut at noon by the longitude-blind UTC day: `past` must reach over whole days.
    """
    times, air = past["time"].values, past["air_temperature"].values[0]
    start = (times - np.timedelta64(12, "h")).astype("datetime64[D]")
    step = np.median(np.diff(times)) if len(times) > 1 else np.timedelta64(1, "h")
    _, first, count = np.unique(start, return_index=True, return_counts=True)
    whole = count >= 0.95 * int(DAY / step)
    hours, lowest = [], []
    for begin, rows in zip(first[whole], count[whole], strict=True):
        night = air[begin : begin + rows]
        if np.isfinite(night).all():
            at = int(np.argmin(night))
            hours.append(times[begin + at])
            lowest.append(night[at])
    return np.array(hours, dtype="datetime64[ns]"), np.array(lowest, float)


def design_night(past: xr.Dataset, latitude: float, years: float, seed: int = 0) -> DesignNight:
    """How cold a night comes once in `years` years, by a Gumbel law for minima fitted by L-moments.

    Each winter's coldest night is one value; where the record has fewer than ten winters, the coldest of each ten days
    of the three coldest months are fitted instead and joined to a winter (which takes them as independent: a little too
    cold). The range is that of a parametric bootstrap; a typical year tells of ordinary winters only.

    Parameters
    ----------
    past : Dataset
        Weather of a record or a typical year, (realization, time); the first realization counts.
    latitude : float [degree north]
        Tells the winter's side of the year.
    years : float
        More than 1.

    Raises
    ------
    InputError
        Less than one whole winter.
    """
    hours, lowest = night_minima(past)
    month = hours.astype("datetime64[M]").astype(int) % 12 + 1
    winter_months = (12, 1, 2) if latitude >= 0 else (6, 7, 8)
    cold = np.isin(month, winter_months)
    source = str(past.attrs.get("source", "record"))
    if years <= 1.0:
        raise refuse("rarity", f"once in {years:g} years", "more than 1")
    if cold.sum() < 60:
        raise refuse(source, f"has {int(cold.sum())} whole nights of the coldest three months", "a winter (60 or more)")
    year = hours.astype("datetime64[Y]").astype(int) + 1970 + ((month == 12) & (latitude >= 0))
    winters = [int(one) for one in np.unique(year[cold]) if (cold & (year == one)).sum() >= 60]
    if len(winters) >= LONG_RECORD:
        sample = np.array([lowest[cold & (year == one)].min() for one in winters])
        each = 1
    else:
        stretch = ((hours[cold] - hours[cold][0]) / DAY // BLOCK).astype(int)
        sample = np.array([lowest[cold][stretch == one].min() for one in np.unique(stretch)])
        each = BLOCKS
    level = _level(*_gumbel(sample), years, each)
    draws = np.random.default_rng(seed)
    place, width = _gumbel(sample)
    made = place + width * np.log(-np.log1p(-draws.uniform(size=(DRAWS, len(sample)))))
    again = np.array([_level(*_gumbel(row), years, each) for row in made])
    low, high = np.quantile(again, RANGE)
    like = hours[cold][int(np.argmin(np.abs(lowest[cold] - level)))]
    return DesignNight(years, level, float(low), float(high), max(len(winters), 1), each > 1, like)


def _gumbel(sample: Floats) -> tuple[float, float]:
    """Place and width of F(x) = 1 - exp(-exp((x - place)/width)) by L-moments (Hosking 1990, for minima)."""
    ordered = np.sort(sample)
    count = len(ordered)
    mean = float(ordered.mean())
    second = float((np.arange(count) * ordered).sum() / (count * (count - 1)))
    width = max((2.0 * second - mean) / np.log(2.0), 1e-6)
    return mean + EULER * width, width


def _level(place: float, width: float, years: float, each: int) -> float:
    """The value that the lowest of `each` draws falls below once in `years`."""
    below = 1.0 - (1.0 - 1.0 / years) ** (1.0 / each)
    return float(place + width * np.log(-np.log1p(-below)))
