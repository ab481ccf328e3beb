"""Night minima of an ensemble made honest from a place's own readings: bias, slope, season, memory and spread.

The reading is taken as

    y = u + bias + slope (x - u) + season + slow + fast + noise

x the ensemble mean, u the first forecast moved along the usual course of the year at that latitude (so that a slope
below one takes nothing from the season), `season` what two annual harmonics and an annual change of slope add to it,
`slow` and `fast` errors that last for weeks and for days (Ornstein-Uhlenbeck: gaps and lags are honoured). Every
part starts from a stated prior and is learned night by night by a Kalman filter whose variance is learned with it: one
night is worth something, and years do no harm. Two priors run side by side and are weighed by how well each foretold
what was read: one of a place much as the forecast has it, one of a place it does not know (a valley, a hollow), whose
bias may be large and which follows the forecast less. The ensemble's own spread told nothing about its error on two
real sets and is not used. The spread is that of the place's own errors, wider where errors at like temperatures were
wider.

Priors and memories were chosen on one real set's years before those it is judged on, together with a made-up set of
another kind; the skill hardly depends on them.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from microclimate.schema import Site

Floats = NDArray[np.float64]

# standard deviations of the priors, in units of the error scale (about 1 K) unless they say otherwise; all ours
BIASES = (2.0, 10.0)  # of a place much as the forecast has it, and of one it does not know
SLOPES, SLOPE_SPREAD = (0.8, 0.4), 0.2  # [1] of the two; forecasts of extremes overshoot
OUTWEIGHED = 8.0  # log weight below which the lesser of the two does not fall, so that it can come back
SEASON = 1.5  # at 45 degrees of latitude
SEASON_TWICE = 1.0
SEASON_SLOPE = 0.15  # [1]
KIND = 2.0  # clear, calm nights against others: 2 K apart in one trial
SLOW, SLOW_MEMORY = 1.6, 15.0  # and [d]
FAST, FAST_MEMORY = 1.6, 2.5  # and [d]
NOISE = 1.6
SCALE, SCALE_NIGHTS = 1.0, 6.0  # [K], and how many nights the prior of the scale is worth
REMEMBERED = 150.0  # nights over which the scale is remembered
ALIKE = 3.0  # [K] how near in temperature nights count as alike
ALIKE_NIGHTS = 25.0  # nights of the whole that the alike ones are weighed against
FARTHEST = 4.0  # an error beyond so many standard deviations counts as this: a broken reading teaches little
POSSIBLE = (180.0, 340.0)  # [K] readings beyond are marks of missing ones
YEAR = 365.25  # [d]
COURSE, COLDEST = 8.0, 20.0  # [K] half the year's course at 45 degrees, [d] after New Year, north (from memory)


@dataclass
class _Belief:
    """What is believed of the parameters after some nights."""

    mean: Floats  # (parameter,)
    covariance: Floats  # (parameter, parameter), in units of the error scale squared
    day: float
    squares: float  # sum of squared normalised errors, prior included [K^2]
    nights: float  # how many they are

    def at(self, day: float) -> "_Belief":
        """The same belief some days on: what does not last has faded, and its uncertainty has grown back."""
        fade = np.ones(len(self.mean))
        gap = max(day - self.day, 0.0)
        fade[-2:] = np.exp(-gap / np.array([SLOW_MEMORY, FAST_MEMORY]))
        covariance = self.covariance * fade[:, None] * fade[None, :]
        covariance[[-2, -1], [-2, -1]] += np.array([SLOW, FAST]) ** 2 * (1.0 - fade[-2:] ** 2)
        return _Belief(self.mean * fade, covariance, day, self.squares, self.nights)

    def foretold(self, features: Floats, reading: float) -> float:
        """Log density of a reading before it is learned from, by Student's t of the scale's own nights."""
        square = (float(features @ self.covariance @ features) + NOISE**2) * self.squares / self.nights
        error = reading - float(features @ self.mean)
        return float(-0.5 * np.log(square) - 0.5 * (self.nights + 1.0) * np.log1p(error**2 / square / self.nights))

    def says(self, features: Floats) -> tuple[float, float]:
        """Mean and variance of a night's reading; Student's t as the normal of its variance."""
        wide = float(features @ self.covariance @ features) + NOISE**2
        return float(features @ self.mean), wide * self.squares / (self.nights - 2.0)

    def told(self, features: Floats, reading: float) -> "_Belief":
        """The belief after one more pair; the features are those of its night, the belief that of its day."""
        wide = float(features @ self.covariance @ features) + NOISE**2
        error = reading - float(features @ self.mean)
        limit = FARTHEST * np.sqrt(wide * self.squares / self.nights)
        error = float(np.clip(error, -limit, limit))
        gain = self.covariance @ features / wide
        keep, prior = np.exp(-1.0 / REMEMBERED), SCALE_NIGHTS * SCALE**2
        return _Belief(
            self.mean + gain * error,
            self.covariance - np.outer(gain, gain) * wide,
            self.day,
            keep * (self.squares - prior) + prior + error**2 / wide,
            keep * (self.nights - SCALE_NIGHTS) + SCALE_NIGHTS + 1.0,
        )


def calibrate(
    members: xr.DataArray,
    observed: xr.DataArray,
    valid_time: xr.DataArray,
    site: Site,
    *,
    newest_pair: timedelta = timedelta(hours=24),
    clear_calm: xr.DataArray | None = None,
) -> xr.Dataset:
    """Predictive distributions of a series of night minima (or of any temperature at one time of day).

    Parameters
    ----------
    members : (night, realization) [K]
        NaN where a member is missing.
    observed : (night) [K]
        NaN where nothing was read.
    valid_time : (night) datetime64, UTC, sorted
    site : Site
        Its latitude says how much season there is.
    newest_pair : timedelta
        Row i learns from rows with valid_time <= valid_time[i] - newest_pair, and from nothing else.
    clear_calm : (night) bool, optional
        Whether each night was forecast clear and calm: such nights get a bias of their own.

    Returns
    -------
    Dataset
        `mean` and `scale` [K] (valid_time) of a normal distribution, `members` [K] (valid_time, realization): the
        members in their order, moved to its quantiles at (i - 1/2)/m; `nights`, how many pairs each row knew.
    """
    values = np.asarray(members, float)
    readings = np.asarray(observed, float)
    times = np.asarray(valid_time).astype("datetime64[ns]")
    readings = np.where((readings > POSSIBLE[0]) & (readings < POSSIBLE[1]), readings, np.nan)
    count = np.isfinite(values).sum(axis=1)
    forecast = np.where(count > 0, np.nansum(values, axis=1) / np.maximum(count, 1), np.nan)
    day = (times - np.datetime64("1970-01-01", "ns")) / np.timedelta64(1, "D")
    known = np.searchsorted(times, times - np.timedelta64(newest_pair), side="right")
    usual = _usual(forecast, day, site)
    kind = np.zeros(len(times)) if clear_calm is None else np.asarray(clear_calm, float) - 0.5
    features = _features(forecast - usual, day, kind)
    beliefs = _priors(site, float(day[0]) if len(day) else 0.0)
    weight = np.zeros(len(beliefs))  # logarithms
    mean, scale, nights = np.full(len(times), np.nan), np.full(len(times), np.nan), np.zeros(len(times), int)
    taught = learned = 0
    for row in range(len(times)):
        for pair in range(taught, known[row]):
            if np.isfinite(readings[pair]) and np.isfinite(forecast[pair]):
                reading = float(readings[pair] - usual[pair])
                beliefs = [belief.at(float(day[pair])) for belief in beliefs]
                weight = weight + [belief.foretold(features[pair], reading) for belief in beliefs]
                weight = np.maximum(weight - weight.max(), -OUTWEIGHED)
                beliefs = [belief.told(features[pair], reading) for belief in beliefs]
                learned += 1
        taught = max(taught, int(known[row]))
        nights[row] = learned
        if np.isfinite(forecast[row]):
            said = np.array([belief.at(float(day[row])).says(features[row]) for belief in beliefs])
            share = np.exp(weight) / np.exp(weight).sum()
            middle = float(share @ said[:, 0])
            mean[row] = usual[row] + middle
            scale[row] = np.sqrt(share @ (said[:, 1] + (said[:, 0] - middle) ** 2))
    scale = scale * _alike(mean, scale, readings, known)
    return xr.Dataset(
        {
            "mean": ("valid_time", mean, {"units": "K"}),
            "scale": ("valid_time", scale, {"units": "K"}),
            "members": (("valid_time", "realization"), _moved(values, mean, scale), {"units": "K"}),
            "nights": ("valid_time", nights),
        },
        coords={"valid_time": times},
    )


def probability_below(dataset: xr.Dataset, limit_K: float) -> xr.DataArray:
    """Chance (valid_time) of a minimum below a limit [K], by the distribution of `calibrate`."""
    chance = ndtr((limit_K - dataset["mean"].values) / dataset["scale"].values)
    return xr.DataArray(chance, dims="valid_time", coords={"valid_time": dataset["valid_time"]})


def _usual(forecast: Floats, day: Floats, site: Site) -> Floats:
    """The first forecast moved along the year's usual course [K], (night,)."""
    known = np.flatnonzero(np.isfinite(forecast))
    if not known.size:
        return np.zeros(len(forecast))
    course = -COURSE * site.latitude / 45.0 * np.cos(2.0 * np.pi * (day - COLDEST) / YEAR)
    return np.asarray(forecast[known[0]] + course - course[known[0]])


def _priors(site: Site, day: float) -> list[_Belief]:
    season = SEASON * abs(site.latitude) / 45.0
    seasons = [season, season, SEASON_SLOPE, SEASON_SLOPE, SEASON_TWICE, SEASON_TWICE]
    made = []
    for bias, slope in zip(BIASES, SLOPES, strict=True):
        spreads = [bias, SLOPE_SPREAD, *seasons, KIND, SLOW, FAST]
        mean = np.zeros(len(spreads))
        mean[1] = slope
        made.append(_Belief(mean, np.diag(np.square(spreads)), day, SCALE_NIGHTS * SCALE**2, SCALE_NIGHTS))
    return made


def _features(forecast: Floats, day: Floats, kind: Floats) -> Floats:
    """(night, parameter): bias, slope, season, its slope, half-yearly season, kind of night, slow, fast."""
    angle = 2.0 * np.pi * day / YEAR
    one = np.ones_like(forecast)
    sine, cosine = np.sin(angle), np.cos(angle)
    twice = np.sin(2.0 * angle), np.cos(2.0 * angle)
    season = [sine, cosine, forecast * sine, forecast * cosine, *twice]
    return np.stack([one, forecast, *season, kind, one, one], axis=-1)


def _alike(mean: Floats, scale: Floats, readings: Floats, known: NDArray[np.int_]) -> Floats:
    """What the errors of nights with like forecasts say of the spread, against 1 for all nights; (night,)."""
    squares = np.minimum(((readings - mean) / scale) ** 2, (FARTHEST + 1.0) ** 2)
    told = np.isfinite(squares)
    squares = np.where(told, squares, 0.0)
    factor = np.ones(len(mean))
    for row in range(len(mean)):
        if known[row] and np.isfinite(mean[row]):
            before = slice(0, int(known[row]))
            near = np.where(told[before], np.exp(-0.5 * ((mean[before] - mean[row]) / ALIKE) ** 2), 0.0)
            near = np.nan_to_num(near)
            factor[row] = np.sqrt((ALIKE_NIGHTS + near @ squares[before]) / (ALIKE_NIGHTS + near.sum()))
    return factor


def _moved(values: Floats, mean: Floats, scale: Floats) -> Floats:
    """Each member at the quantile of its rank; missing members stay missing."""
    there = np.isfinite(values)
    order = np.where(there, values, np.inf).argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")
    count = np.maximum(there.sum(axis=1, keepdims=True), 1)
    level = np.clip((order + 0.5) / count, 0.0, 1.0)
    moved = mean[:, None] + scale[:, None] * ndtri(np.where(there, level, 0.5))
    return np.where(there, moved, np.nan)
