"""Whether a series can be the air of its place and season: what the size of one number alone cannot tell.

30 to 45 under the label degC may be a hot day, or a winter night in degF; at 52 degrees north in January it is the
latter. The bound is the warmest that half of a series has been anywhere at a latitude and season. A hard frost in degF
(10 to 20) can still look like a mild day in degC: no size can tell that.
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.errors import InputError, Problem
from microclimate.physics.longwave import black_body

Floats = NDArray[np.float64]

# zonal mean of the air near the ground over the year, T0 + T2 P2(sin latitude): North, Cahalan and Coakley 1981,
# Rev. Geophys. 19, 91-121, two-mode fit (from memory)
MEAN, SECOND = 14.9, -28.0  # [degC], [K]
WARMEST = 201  # day of the year, north; half a year later south
# how far above it half of two days has been in midwinter (mild coasts, which the mean knows least far from the equator)
# and in midsummer (inland deserts): ours, by the warmest places known, on the wide side
WINTER, WINTER_SLOPE = 8.0, 0.15  # [K], [K per degree of latitude]
SUMMER, SUMMER_SLOPE = 22.0, 0.35
HOUR = 14.0  # [K] that no single hour is above what half of two days can be (January 36 N: 42 degC; known: 35); ours
# clear polar air comes down to .51: 1.24 (e/T)^(1/7) of Brutsaert 1975, Water Resources Research 11, 742-744, for
# 0.5 hPa at 250 K
LEAST_SKY = 0.5
WARMEST_SNOW = 279.15  # [K] Jennings et al. 2018, Nature Communications 9, 1148: rain is almost certain there
SNOW = ("snowfall_flux", "thickness_of_snowfall_amount")
LABEL = "is it degF? Label it so"
ABOVE_AIR = 2.0  # [K] half of the dew points above the air's temperature by more than this are in another unit (ours)


def warmest(latitude: float, day: Floats) -> Floats:
    """Temperature that half of a series cannot exceed at a latitude [degree north] and day of the year [K]."""
    away = abs(latitude)
    year = ZERO_CELSIUS + MEAN + SECOND * 0.5 * (3.0 * np.sin(np.radians(latitude)) ** 2 - 1.0)
    winter, summer = WINTER + WINTER_SLOPE * away, SUMMER + SUMMER_SLOPE * away
    phase = np.cos(2.0 * np.pi * (day - WARMEST) / 365.25) * (1.0 if latitude >= 0.0 else -1.0)
    return np.asarray(year + 0.5 * (winter + summer) + 0.5 * (summer - winter) * phase)


def judged(weather: xr.Dataset, latitude: float, source: str) -> xr.Dataset:
    """The same raw Dataset, or an InputError where its temperatures cannot be of this place, season, sky or air.

    Parameters
    ----------
    weather : Dataset (realization, time)
        As read: canonical names, SI.
    latitude : float [degree north]
        Of the venue; the file's own goes before it.
    source : str
        Name of the file, for the message.
    """
    if "air_temperature" not in weather:
        return weather
    air = weather["air_temperature"].values
    day = weather["time"].dt.dayofyear.values.astype(float)
    most = warmest(float(weather.attrs.get("latitude", latitude)), day)
    near = f"air_temperature is mostly near {np.nanmedian(air) - ZERO_CELSIUS:.0f} degC"
    problems = []
    if np.nanmedian(air - most) > 0.0:
        wanted = f"below {np.median(most) - ZERO_CELSIUS:.0f} degC at this latitude and season"
        problems.append(Problem(source, near, wanted, f"{LABEL}; else look at the dates and the venue's latitude"))
    elif float(np.nanmax(air - most)) > HOUR:
        found = f"air_temperature comes up to {float(np.nanmax(air)) - ZERO_CELSIUS:.0f} degC"
        wanted = f"below {np.median(most) + HOUR - ZERO_CELSIUS:.0f} degC at this latitude and season"
        problems.append(Problem(source, found, wanted, LABEL))
    elif (share := _sky(weather, air)) is not None and share < LEAST_SKY:
        found = f"{near}, and the longwave from the sky is {share:.2f} of what such air sends as a black body"
        problems.append(Problem(source, found, f"{LEAST_SKY:g} or more", LABEL))
    elif (snow := _snowing(weather, air)) is not None and snow > WARMEST_SNOW:
        found = f"snow falls at {snow - ZERO_CELSIUS:.0f} degC"
        problems.append(Problem(source, found, f"{WARMEST_SNOW - ZERO_CELSIUS:.0f} degC at the most", LABEL))
    elif "dew_point_temperature" in weather:
        above = float(np.nanmedian(weather["dew_point_temperature"].values - air))
        if above > ABOVE_AIR:
            found = f"dew_point_temperature is mostly {above:.0f} K above air_temperature"
            problems.append(Problem(source, found, "at or below it", "is one of the two in degF? Label each by itself"))
    if problems:
        raise InputError(source, problems)
    return weather


def _sky(weather: xr.Dataset, air: Floats) -> float | None:
    """Median of the sky's longwave over a black body at the air's temperature; None without longwave."""
    longwave = weather.get("surface_downwelling_longwave_flux_in_air")
    return None if longwave is None else float(np.nanmedian(longwave.values / black_body(air)))


def _snowing(weather: xr.Dataset, air: Floats) -> float | None:
    """Median air temperature of the steps in which snow falls [K]; None where the file tells of none."""
    falls = [weather[name].values > 0.0 for name in SNOW if name in weather]
    snows = np.broadcast_to(np.logical_or.reduce(falls), air.shape) if falls else np.zeros(air.shape, bool)
    return float(np.nanmedian(air[snows])) if np.isfinite(air[snows]).any() else None
