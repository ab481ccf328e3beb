"""A logger whose clock is wrong: the daily wave of its readings against the sun, or against another series.

The sun finds a clock that is hours off (UTC taken for local time, AM for PM); a modelled series finds one hour.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from pvlib.solarposition import get_solarposition

from microclimate.fieldlog.quality import Finding, Place, label
from microclimate.schema import Site

Times = NDArray[np.datetime64]
Array = NDArray[np.float64]

GRID = 900  # [s]
FEWEST_DAYS = 3.0
MOST = 12.0  # [h] shift looked for against the sun,
MOST_SERIES = 6.0  # [h] and against another series (ours)
LEAST_WAVE = {"sun": 0.5, "series": 0.6}  # [1] correlation at the best shift below which nothing is said
GAIN = 0.03  # [1] the correlation that a shift must bring
DEEPER, LEADS = 0.03, 0.75  # [m], [h] a probe so much deeper that is warm so much earlier (ours)
SURFACE_LAG, AIR_LAG = (-0.5, 3.0), (0.5, 5.5)  # [h] after the sun's height that warmth follows it; ours
LAG_PER_DEPTH = 38.0  # [h/m] a day's wave with a damping depth of 0.1 m: 24 h / (2 pi 0.1 m)
DEPTH_SLACK = 3.0  # [h] soils differ; ours


def against_sun(place: Place, times: Times, values: Array, site: Site) -> float:
    """How many hours a clock seems fast (+) or slow (-) against the sun; NaN where the series does not tell.

    Parameters
    ----------
    place : Place
    times : array of datetime64
        UTC, as believed.
    values : array
    site : Site
    """
    window = _window(place)
    grid, series = gridded(times, values)
    if window is None or len(grid) < FEWEST_DAYS * 86400 / GRID:
        return np.nan
    steps = round(MOST * 3600 / GRID)
    wide = np.concatenate([grid[0] - GRID * np.arange(steps, 0, -1), grid, grid[-1] + GRID * np.arange(1, steps + 1)])
    sun = get_solarposition(wide.astype("datetime64[s]"), site.latitude, site.longitude)["elevation"].to_numpy()
    height = np.sin(np.radians(np.maximum(sun, 0.0)))
    lags, match = correlations(series, height, steps)
    best = int(np.argmax(match))
    if match[best] < LEAST_WAVE["sun"]:
        return np.nan
    lag = float(lags[best])
    return float(np.where(lag < window[0], lag - window[0], np.where(lag > window[1], lag - window[1], 0.0)))


def _window(place: Place) -> tuple[float, float] | None:
    """Hours after the sun's height at which a quantity's wave may come."""
    if place.quantity in ("surface_temperature", "canopy_temperature", "surface_downwelling_shortwave_flux_in_air"):
        return (-0.75, 0.75) if "shortwave" in place.quantity else SURFACE_LAG
    if place.quantity == "air_temperature":
        return AIR_LAG
    if place.quantity == "soil_temperature" and place.depth <= 0.12:
        middle = 1.5 + LAG_PER_DEPTH * place.depth
        return middle - DEPTH_SLACK, middle + DEPTH_SLACK
    return None


def against_series(times: Times, values: Array, other: Array) -> float:
    """How many hours `values` come after `other` (both at `times`); 0 where a shift brings nothing, NaN untold.

    A clock that is an hour fast stamps everything an hour late.
    """
    known = np.isfinite(values) & np.isfinite(other)
    if known.sum() < 10:
        return np.nan
    _, series = gridded(times[known], values[known])
    _, model = gridded(times[known], other[known])
    steps = round(MOST_SERIES * 3600 / GRID)
    if len(series) < FEWEST_DAYS * 86400 / GRID + 2 * steps:
        return np.nan
    lags, match = correlations(series[steps:-steps], model, steps)
    best = int(np.argmax(match))
    if not match[best] >= LEAST_WAVE["series"]:
        return np.nan
    if match[best] - match[steps] < GAIN * (1.0 - match[steps]) or match[best] <= match[steps]:
        return 0.0
    return float(lags[best])


def led(series: Mapping[int, tuple[Place, Times, Array]]) -> list[Finding]:
    """Probes of one zone of which the deeper one is warm first: they look swapped."""
    ground = [(n, *rest) for n, rest in series.items() if rest[0].quantity == "soil_temperature" and rest[1].size > 1]
    found = []
    for a, place_a, times_a, values_a in ground:
        for b, place_b, times_b, values_b in ground:
            if place_a.zone != place_b.zone or place_b.depth - place_a.depth < DEEPER or place_b.depth > 0.3:
                continue
            both, at_a, at_b = np.intersect1d(times_a, times_b, return_indices=True)
            if both.size < 10:
                continue
            behind = against_series(both, values_a[at_a], values_b[at_b])
            if behind >= LEADS:
                found += [
                    Finding(a, "swapped", times_a, label(place_b)),
                    Finding(b, "swapped", times_b, label(place_a)),
                ]
    return found


def gridded(times: Times, values: Array) -> tuple[NDArray[np.int64], Array]:
    """A series on quarters of an hour [s since 1970]; NaN across gaps longer than 3 h."""
    at = times.astype("datetime64[s]").astype(np.int64)
    if at.size < 2:
        return at, np.asarray(values, float)
    grid = np.arange(-(-at[0] // GRID) * GRID, at[-1] + 1, GRID)
    laid = np.interp(grid, at, values)
    place = np.clip(np.searchsorted(at, grid), 1, at.size - 1)
    wide = (at[place] - at[place - 1] > 10800) & (at[place - 1] != grid) & (at[place] != grid)
    return grid, np.where(wide, np.nan, laid)


def correlations(series: Array, wider: Array, steps: int) -> tuple[Array, Array]:
    """Shift of `series` behind the middle of `wider` [h] from -steps to steps, and the correlation of daily waves."""
    own = _wave(series)
    other = _wave(wider)
    lags = np.arange(-steps, steps + 1)
    match = np.empty(lags.size)
    for k, lag in enumerate(lags):
        behind = other[steps - lag : steps - lag + own.size]
        both = np.isfinite(own) & np.isfinite(behind)
        a, b = own[both], behind[both]
        norm = float(np.sqrt((a @ a) * (b @ b)))
        match[k] = float(a @ b) / norm if norm > 0.0 and both.sum() > 0.5 * own.size else -1.0
    return lags * GRID / 3600.0, match


def _wave(series: Array) -> Array:
    """What is left of a series without its running mean of a day."""
    day = 86400 // GRID
    known = np.isfinite(series)
    filled = np.where(known, series, 0.0)
    kernel = np.ones(day)
    count = np.convolve(known.astype(float), kernel, mode="same")
    mean = np.convolve(filled, kernel, mode="same") / np.maximum(count, 1.0)
    return np.where(known & (count > 0.5 * np.minimum(day, series.size)), series - mean, np.nan)
