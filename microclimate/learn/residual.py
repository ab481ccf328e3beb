"""What a fitted model still misses of a night's lowest canopy: a running offset, and by kind of night a ridge.

Both are taken only where nights that they never saw are told better with them.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.learn.compare import OFFSET_RATE
from microclimate.risk.missed import correction
from microclimate.venue.calibration import LearnedResidual

Array = NDArray[np.float64]

FEWEST = 60  # nights before a ridge is tried
PENALTY = 30.0  # [nights] that each slope is shrunk by, as if so many had shown none (ours)
BLOCK = 7  # [d] nights of one week are left out together: neighbours are alike


@dataclass(frozen=True)
class Learned:
    """What was taken, and how held-out nights were told before and after [K, rmse]."""

    residual: LearnedResidual | None
    offset: float  # [K] to add tonight
    spread: float  # [K] of what is then left
    before: float
    after: float
    with_residual: float  # NaN where too few nights
    with_offset: float


def learn(nights: NDArray[np.datetime64], observed: Array, modelled: Array, kinds: Array) -> Learned:
    """Learn from past nights, oldest first.

    Parameters
    ----------
    nights : array of datetime64 (night,)
    observed, modelled : array (night,)
        Lowest surface temperature [K].
    kinds : array (night, 3)
        Lowest air [K], mean wind at 2 m [m s-1], mean cloud [1].
    """
    features = np.column_stack([modelled, kinds])
    known = np.isfinite(observed) & np.isfinite(features).all(axis=1)
    order = np.flatnonzero(known)[np.argsort(nights[known], kind="stable")]
    error, features, when = (observed - modelled)[order], features[order], nights[order]
    if not error.size:
        return Learned(None, 0.0, np.nan, np.nan, np.nan, np.nan, np.nan)
    before = _rms(error)
    running = _running(error)
    with_offset, with_residual = _rms(error - running[:-1]), np.nan
    residual, left = None, error
    if error.size >= FEWEST:
        weeks = (when - when[0]).astype("timedelta64[D]").astype(np.int64) // BLOCK
        held_out = np.empty_like(error)
        for week in np.unique(weeks):
            out = weeks == week
            held_out[out] = error[out] - correction(ridge(error[~out], features[~out]), features[out])
        with_residual = _rms(held_out)
        if with_residual < min(before, with_offset):
            residual, left = ridge(error, features), held_out
            return Learned(residual, 0.0, _rms(left), before, with_residual, with_residual, with_offset)
    if with_offset < before:
        return Learned(None, float(running[-1]), with_offset, before, with_offset, with_residual, with_offset)
    return Learned(None, 0.0, before, before, before, with_residual, with_offset)


def ridge(error: Array, features: Array) -> LearnedResidual:
    """Slopes of what the model misses on (modelled, air, wind, cloud), each shrunk towards none."""
    centre, scale = features.mean(axis=0), np.maximum(features.std(axis=0), 1e-6)
    z = (features - centre) / scale
    slopes = np.linalg.solve(z.T @ z + PENALTY * np.eye(4), z.T @ (error - error.mean())) / scale
    names = ("modelled", "air", "wind", "cloud")
    return LearnedResidual.model_validate(
        {
            "constant": float(error.mean() * error.size / (error.size + PENALTY / 10.0)),
            **{name: float(slope) for name, slope in zip(names, slopes, strict=True)},
            "centre": tuple(map(float, centre)),
            "reach": tuple(map(float, np.maximum(np.abs(features - centre).max(axis=0), 1e-6))),
            "nights": error.size,
        }
    )


def _running(error: Array) -> Array:
    """The offset before each night, and after the last: a quarter of each night's error is taken up."""
    out = np.zeros(error.size + 1)
    for k, missed in enumerate(error):
        out[k + 1] = out[k] + OFFSET_RATE * (missed - out[k])
    return out


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
