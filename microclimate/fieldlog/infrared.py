"""What an infrared thermometer shows to what the surface is: emissivity, and the sky that the surface mirrors."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from microclimate.constants import STEFAN_BOLTZMANN

GRASS = (0.975, 0.005)  # [1] emissivity and its spread: 0.97 to 0.98 for grass (box-method study, as excerpted)
CLEAR_SKY = (1.0, 0.25)  # [K] read too cold under a clear sky: 0.6 to 1.4 (Agronomy J. 58:597, 1966, as excerpted)


def surface(received: ArrayLike, sky: ArrayLike, emissivity: float) -> NDArray[np.float64]:
    """Temperature of a grey surface [K].

    L = e sigma T^4 + (1 - e) L_sky, turned round.

    Parameters
    ----------
    received, sky : array_like
        Longwave that leaves the surface, and that comes down on it. [W m-2]
    emissivity : float
        Of the surface. [1]

    Returns
    -------
    ndarray
        NaN where the sky alone would send more than was received.
    """
    own = (np.asarray(received, float) - (1.0 - emissivity) * np.asarray(sky, float)) / (emissivity * STEFAN_BOLTZMANN)
    return np.where(own > 0.0, np.abs(own), np.nan) ** 0.25


def hand_held(
    shown: float,
    *,
    setting: float = 1.0,
    emissivity: float = GRASS[0],
    sky: float = np.nan,
    cloud: float = np.nan,
    body: float = np.nan,
) -> tuple[float, float]:
    """Temperature of the turf and the error that the correction leaves, from what a hand-held thermometer shows.

    Parameters
    ----------
    shown : float
        [K]
    setting : float
        Emissivity set on the instrument. [1]
    emissivity : float
        Of the turf. [1]
    sky : float
        What the same instrument shows when it looks up, between zenith and 45 degrees; NaN where it was not read. [K]
    cloud : float
        Cover, where the sky was not read. [1]
    body : float
        Temperature of the instrument, which it takes for the surroundings where its setting is below 1. [K]

    Returns
    -------
    tuple
        [K], [K]. Without the sky the published correction of clear nights is added in the share of clear sky. Radiation
        within the instrument's band is taken to grow as of a grey body (ours; it changes the correction by a tenth).
    """
    behind = body if np.isfinite(body) else shown
    received = STEFAN_BOLTZMANN * (setting * shown**4 + (1.0 - setting) * behind**4)
    if np.isfinite(sky):
        found = float(surface(received, STEFAN_BOLTZMANN * sky**4, emissivity))
        other = float(surface(received, STEFAN_BOLTZMANN * sky**4, emissivity - GRASS[1]))
        return found, abs(other - found)
    clear = 1.0 - cloud if np.isfinite(cloud) else 0.5
    bare = (received / STEFAN_BOLTZMANN) ** 0.25
    error = CLEAR_SKY[1] if np.isfinite(cloud) else 0.5 * CLEAR_SKY[0]
    return bare + clear * CLEAR_SKY[0], error
