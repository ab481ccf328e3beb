"""Water in the root zone at the start, from the rain of the days before: filled by rain, emptied by the sun."""

import numpy as np
from numpy.typing import NDArray

from microclimate.constants import DENSITY_WATER, LATENT_VAPORISATION
from microclimate.physics import vapour

Array = NDArray[np.float64]

DEPTH = 0.20  # [m] root zone that fills and empties (ours: where the roots of mown turf are)
SPREAD = 0.04  # [m3 m-3] what is not known, one standard deviation (ours; a probe in sand is itself good to 0.03)
_DRAIN_TIME = 86400.0  # [s] what is above the drained content runs off at this pace (common practice, no source)
_LEAST = 0.3  # of the drained content: the sun takes no more (ours)
_MAKKINK = 0.65  # de Bruin 1987, TNO Proceedings 39:5 (from memory)


def evaporation(shortwave: Array, air_temperature: Array, pressure: Array) -> Array:
    """Evaporation of well-watered grass [kg m-2 s-1]: 0.65 s/(s + gamma) K / L.

    `shortwave` K [W m-2], `air_temperature` [K], `pressure` [Pa]. Source: Makkink 1957; de Bruin 1987 (from memory).
    """
    slope = vapour.slope_water(air_temperature)
    gamma = vapour.psychrometric_constant(pressure, LATENT_VAPORISATION)
    found: Array = _MAKKINK * slope / (slope + gamma) * np.maximum(shortwave, 0.0) / LATENT_VAPORISATION
    return found


def bucket(rain: Array, dry: Array, step: float, drained: Array, full: Array) -> Array:
    """Water content [m3 m-3] of root zones (patch,) after some days; it begins at the drained content.

    Parameters
    ----------
    rain, dry : (patch, time)
        Rain and evaporation of well-watered grass [kg m-2 s-1].
    step : float
        [s]
    drained, full : (patch,)
        Water content some days after rain, and porosity [m3 m-3].
    """
    least = _LEAST * drained
    stays = np.exp(-step / _DRAIN_TIME)
    water = drained.copy()
    for fallen, wanted in zip(rain.T, dry.T, strict=True):
        share = np.clip((water - least) / np.maximum(drained - least, 1e-6), 0.0, 1.0)  # drier ground gives less
        water = np.clip(water + (fallen - share * wanted) * step / (DENSITY_WATER * DEPTH), least, full)
        water = np.where(water > drained, drained + (water - drained) * stays, water)
    return water
