"""Whether what readings in a bowl teach is taken: visits and nights that a fit never saw decide."""

import numpy as np
from numpy.typing import NDArray

from microclimate.exposure import air
from microclimate.learn import air_fit, wind_fit

Array = NDArray[np.float64]

FEWEST_VISITS, FEWEST_NIGHTS = 2, 4  # (ours)
SCATTER = 5.0  # [1] mean square of standard residuals beyond which readings go with no exchange at all (ours)
FOLDS = 8  # parts that are held out in turn, at most


def wind(data: wind_fit.WindData, rose: list[tuple[Array, Array]], angles: Array, current: Array) -> str:
    """Code of what speaks against a fit of the wind: "", few or worse.

    Parameters
    ----------
    data : WindData
    rose, angles
        As for `wind_fit.fit`.
    current : array (zone, angle)
        Logarithm of the factor as it is believed now.
    """
    visits = np.unique(data.visit)
    if visits.size < FEWEST_VISITS:
        return "few"
    then = now = 0.0
    for out in _folds(data.visit, visits):
        rest = data.take(out)
        column = np.round(np.nan_to_num(rest.direction) / 360.0 * len(angles)).astype(int) % len(angles)
        known = np.isfinite(rest.direction)
        weight = 1.0 / (rest.noise**2 + wind_fit.VISIT**2)
        for told in (current, wind_fit.fit(data.take(~out), rose, angles).mean):
            at = np.where(known, told[rest.zone, column], told[rest.zone].mean(axis=1))
            loss = float(weight @ _far((np.log(rest.ratio) - at) ** 2 * weight) / weight.sum())
            then, now = (then + loss, now) if told is current else (then, now + loss)
    return "" if now < then else "worse"


def bowl_air(data: air_fit.AirData, model: air_fit.Model, nights: int, current: air.Air) -> str:
    """The same for the exchange of the bowl's air, or unlike; `current` as it is believed now."""
    read = np.unique(data.night)
    if read.size < FEWEST_NIGHTS:
        return "few"
    best = model(air.table(nights, air_fit.fit(data, model, nights).air))
    missed = data.difference - best[data.night, data.at]
    if float(_standard(data, best).mean()) > SCATTER or missed.var() >= data.difference.var():
        return "unlike"  # they scatter beyond their errors, or no less about the model than about their own mean
    then = now = 0.0
    before = model(air.table(nights, current))
    for out in _folds(data.night, read):
        learned = air_fit.fit(_take(data, ~out), model, nights).air
        rest, after = _take(data, out), model(air.table(nights, learned))
        for told in (before, after):
            loss = float(_far(_standard(rest, told)).mean())
            then, now = (then + loss, now) if told is before else (then, now + loss)
    return "" if now < then else "worse"


def _standard(data: air_fit.AirData, told: Array) -> Array:
    """Squares of what is missed, in units of its error."""
    return np.asarray((data.difference - told[data.night, data.at]) ** 2 / (data.error**2 + air_fit.NIGHT**2))


def _folds(group: NDArray[np.int64], groups: NDArray[np.int64]) -> list[NDArray[np.bool_]]:
    """Rows held out together, a visit or a night never parted."""
    place = np.searchsorted(groups, group) % min(FOLDS, groups.size)
    return [place == part for part in np.unique(place)]


def _take(data: air_fit.AirData, rows: NDArray[np.bool_]) -> air_fit.AirData:
    return air_fit.AirData(data.night[rows], data.at[rows], data.difference[rows], data.error[rows])


def _far(square: Array) -> Array:
    """Squares that grow no further where a reading lies far out: one bad reading decides nothing."""
    return np.minimum(square, 16.0)
