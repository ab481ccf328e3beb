"""What forecasts of a place miss, by kind of night: forecast less read lowest air, shrunk towards none.

Two kinds, clear and calm or not by what was forecast. The pooled bias has a prior of none; each kind's own departs from
it by a little. Closed form; nights held out decide, and readings that do not go with the forecasts are refused.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.learn.fit import Z90

Array = NDArray[np.float64]

POOLED, APART = 2.0, 1.2  # [K] prior of the bias, and of how each kind departs from it (trials: 2 K between kinds)
MISS, MISS_WEIGHT = 2.0, 3.0  # [K] of a night's forecast about its bias before any night, and what that is worth (ours)
FEWEST = 6  # nights (ours)
FOLDS = 8  # parts held out in turn


@dataclass(frozen=True)
class BiasFit:
    """Bias of other nights and of clear calm ones [K], with standard deviations."""

    value: tuple[float, float]
    spread: tuple[float, float]
    nights: tuple[int, int]
    taken: bool
    why: str  # code: "", few, unlike, worse
    before: float  # [K] rms of nights held out, as corrected before
    after: float

    def interval(self, kind: int) -> tuple[float, float]:
        """Range that holds the bias nine times in ten [K]."""
        return self.value[kind] - Z90 * self.spread[kind], self.value[kind] + Z90 * self.spread[kind]


PRIOR = float(np.hypot(POOLED, APART))  # [K]


def fit(forecast: Array, read: Array, clear: NDArray[np.bool_], current: tuple[float, float] = (0.0, 0.0)) -> BiasFit:
    """Fit both kinds.

    Parameters
    ----------
    forecast, read : array (night,)
        Lowest air of each night [K], oldest first.
    clear : array of bool (night,)
        Clear and calm, by what was forecast.
    current : pair of float
        What is taken off now [K]: of other nights, of clear calm ones.
    """
    good = np.isfinite(forecast) & np.isfinite(read)
    error, kind, seen = (forecast - read)[good], clear[good].astype(int), read[good]
    counts = (int((kind == 0).sum()), int((kind == 1).sum()))

    def none(why: str) -> BiasFit:
        return BiasFit(current, (PRIOR, PRIOR), counts, False, why, np.nan, np.nan)

    if error.size < FEWEST:
        return none("few")
    if float(np.var(error)) >= float(np.var(seen)):
        return none("unlike")
    fold = np.arange(error.size) % min(FOLDS, error.size)
    now = np.empty_like(error)
    for part in np.unique(fold):
        out = fold == part
        mean, _ = _posterior(error[~out], kind[~out])
        now[out] = error[out] - mean[kind[out]]
    before, after = _rms(error - np.array(current)[kind]), _rms(now)
    mean, covariance = _posterior(error, kind)
    if not after < before:
        return BiasFit(current, (PRIOR, PRIOR), counts, False, "worse", before, after)
    spread = np.sqrt(np.diag(covariance))
    return BiasFit((mean[0], mean[1]), (spread[0], spread[1]), counts, True, "", before, after)


def _posterior(error: Array, kind: NDArray[np.int64]) -> tuple[Array, Array]:
    """Mean and covariance of the bias of both kinds (normal prior, normal errors)."""
    prior = np.full((2, 2), POOLED**2) + np.diag([APART**2] * 2)
    counts = np.bincount(kind, minlength=2)
    means = np.bincount(kind, error, minlength=2) / np.maximum(counts, 1)
    free = max(float(error.size - (counts > 0).sum()), 0.0)
    square = float(((error - means[kind]) ** 2).sum()) + MISS_WEIGHT * MISS**2
    precision = counts * (free + MISS_WEIGHT) / square
    covariance = np.linalg.inv(np.linalg.inv(prior) + np.diag(precision))
    return covariance @ (precision * means), covariance


def _rms(error: Array) -> float:
    return float(np.sqrt(np.mean(error**2)))
