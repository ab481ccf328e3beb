"""How cold wind feels on bare skin."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from microclimate.constants import ZERO_CELSIUS

CALM = 4.8 / 3.6  # [m s-1] below this wind the index is not defined
WARM = ZERO_CELSIUS + 10.0  # [K] above this air temperature likewise


def wind_chill(air_temperature: ArrayLike, wind_speed: ArrayLike) -> NDArray[np.float64]:
    r"""Wind-chill index of the Joint Action Group for Temperature Indices (JAG/TI, 2001).

    .. math:: W = 13.12 + 0.6215 T - 11.37 V^{0.16} + 0.3965 T V^{0.16}, \quad T [degC], V [km/h]

    Parameters
    ----------
    air_temperature : array_like, any shape
        Air temperature at 2 m. [K] Valid up to 283.15; above it the result is NaN.
    wind_speed : array_like, broadcasts with `air_temperature`
        Wind at 10 m. [m s-1] Valid from 1.333 (4.8 km/h); below it the result is NaN.

    Returns
    -------
    ndarray, the broadcast shape
        Air temperature that would feel the same in calm air. [K]

    References
    ----------
    .. [1] Osczevski & Bluestein 2005, Bull. Am. Meteorol. Soc. 86:1453-1458 (the index of 2001 explained); formula
       and range as FCM-R19-2003 and MetPy's `windchill` give them.
    """
    temperature = np.asarray(air_temperature, dtype=float) - ZERO_CELSIUS
    speed = np.asarray(wind_speed, dtype=float)
    power = (np.maximum(speed, CALM) * 3.6) ** 0.16
    index = 13.12 + 0.6215 * temperature - 11.37 * power + 0.3965 * temperature * power + ZERO_CELSIUS
    return np.where((temperature + ZERO_CELSIUS <= WARM) & (speed >= CALM), index, np.nan)
