"""What the model is known to miss of a night's lowest canopy, laid on the outcomes before chances are counted.

Only canopy temperatures and the states that they alone draw are moved (open to white frost); ice, frozen ground and
snow stay as the run has them.
"""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import ndtri

from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import SurfaceState
from microclimate.venue.calibration import Calibration, LearnedResidual

Array = NDArray[np.float64]

_SEED = 17
_COLD = (SurfaceState.COLD_AND_DRY, SurfaceState.WHITE_FROST)


@dataclass(frozen=True)
class Missed:
    """What to lay on: a correction and a spread, for the windows that are nights."""

    residual: LearnedResidual | None
    offset: float  # [K]
    spread: float  # [K] of what is still missed; 0: not known
    air: Array  # (realization, event) lowest air [K]; NaN where the window is no night
    wind: Array  # (realization, event) mean wind at 2 m in the open [m s-1]
    cloud: Array  # (realization, event) mean cloud [1]


def of(calibration: Calibration, air: Array, wind: Array, cloud: Array) -> Missed | None:
    """What was learned for these nights; None where nothing was."""
    if calibration.residual is None and calibration.canopy_offset == 0.0 and calibration.canopy_spread is None:
        return None
    return Missed(calibration.residual, calibration.canopy_offset, calibration.canopy_spread or 0.0, air, wind, cloud)


def correction(learned: LearnedResidual, features: Array) -> Array:
    """What to add [K] to minima with features (..., 4): modelled, air [K], wind [m s-1], cloud [1].

    Beyond what was seen it is held at the edge of that.
    """
    centre, reach = np.array(learned.centre), np.array(learned.reach)
    slopes = np.array([learned.modelled, learned.air, learned.wind, learned.cloud])
    return np.asarray(learned.constant + np.clip(features - centre, -reach, reach) @ slopes)


def shift(missed: Missed, lowest: Array) -> Array:
    """What to add [K] to `lowest` (realization, patch, event) [K]; 0 in windows that are no night."""
    night = np.isfinite(missed.air)[:, None, :]
    added = np.full(lowest.shape, missed.offset)
    if missed.residual is not None:
        around = (np.broadcast_to(v[:, None, :], lowest.shape) for v in (missed.air, missed.wind, missed.cloud))
        added = added + correction(missed.residual, np.stack([lowest, *around], axis=-1))
    if missed.spread > 0.0:
        count = lowest.shape[0]
        scores = ndtri((np.arange(count) + 0.5) / count)
        order = np.random.default_rng(_SEED).permutation(count)
        added = added + missed.spread * scores[order][:, None, None]
    return np.where(night & np.isfinite(added), added, 0.0)


def corrected(outcome: xr.Dataset, missed: Missed) -> xr.Dataset:
    """The outcome of one plan with the correction on it; dimensions (realization, patch, event) among others."""
    dims = ("realization", "patch", "event")
    lowest = outcome["canopy_temperature_min"].transpose(*dims).values
    state = outcome["worst_surface_state"].transpose(*dims).values
    moved = lowest + shift(missed, lowest)
    was, now = lowest < ZERO_CELSIUS, moved < ZERO_CELSIUS
    mild = state < int(SurfaceState.COLD_AND_DRY)
    cold = np.isin(state, [int(s) for s in _COLD])
    # dew or none: as the colder realizations of the same patch and window have it, frost where none is cold
    dry = (
        (state == int(SurfaceState.COLD_AND_DRY)).sum(axis=0) > (state == int(SurfaceState.WHITE_FROST)).sum(axis=0)
    )[None]
    frozen = np.where(dry, float(SurfaceState.COLD_AND_DRY), float(SurfaceState.WHITE_FROST))
    new = np.where(mild & now & ~was, frozen, state)
    new = np.where(cold & ~now & was, float(SurfaceState.NEAR_FREEZING), new)
    return outcome.assign(canopy_temperature_min=(dims, moved), worst_surface_state=(dims, new))
