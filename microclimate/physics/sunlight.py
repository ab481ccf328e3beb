"""The sun above the air and through a clear sky. Angles in radian; the position of the sun itself comes from pvlib."""

import numpy as np

from microclimate.constants import SOLAR_CONSTANT, STANDARD_PRESSURE
from microclimate.physics.elementwise import Value, choose, formula

_FAO_SOLAR_CONSTANT = 0.0820e6 / 60.0  # [W m-2] FAO-56, Eq. 21
_YEAR = 365.0  # [d] of the formulas below
_DAY = 86400.0  # [s]


@formula
def distance_factor(day: Value) -> Value:
    """(mean / actual distance of the sun)^2 [1] on `day` of the year [1 to 366]. Spencer 1971, Search 2:172."""
    b = 2.0 * np.pi * (day - 1.0) / _YEAR
    return (
        1.00011 + 0.034221 * np.cos(b) + 0.00128 * np.sin(b) + 0.000719 * np.cos(2.0 * b) + 0.000077 * np.sin(2.0 * b)
    )


@formula
def extraterrestrial_normal(day: Value) -> Value:
    """Sunlight above the air, square to the beam [W m-2], on `day` of the year."""
    return SOLAR_CONSTANT * distance_factor(day)


@formula
def declination(day: Value) -> Value:
    """Declination of the sun [rad] on `day` of the year. Spencer 1971, Search 2:172."""
    b = 2.0 * np.pi * (day - 1.0) / _YEAR
    return (
        0.006918
        - 0.399912 * np.cos(b)
        + 0.070257 * np.sin(b)
        - 0.006758 * np.cos(2.0 * b)
        + 0.000907 * np.sin(2.0 * b)
        - 0.002697 * np.cos(3.0 * b)
        + 0.00148 * np.sin(3.0 * b)
    )


@formula
def declination_fao(day: Value) -> Value:
    """Declination of the sun [rad] on `day` of the year: 0.409 sin(2 pi J/365 - 1.39). FAO-56, Eq. 24."""
    return 0.409 * np.sin(2.0 * np.pi * day / _YEAR - 1.39)


@formula
def distance_factor_fao(day: Value) -> Value:
    """(mean / actual distance of the sun)^2 [1] on `day` of the year: 1 + 0.033 cos(2 pi J/365). FAO-56, Eq. 23."""
    return 1.0 + 0.033 * np.cos(2.0 * np.pi * day / _YEAR)


@formula
def sunset_hour_angle(latitude: Value, declination: Value) -> Value:
    """Hour angle of sunset [rad]: arccos(-tan(lat) tan(decl)), 0 in polar night, pi in polar day. FAO-56, Eq. 25."""
    return np.arccos(np.minimum(np.maximum(-np.tan(latitude) * np.tan(declination), -1.0), 1.0))


@formula
def daylight(sunset_hour_angle: Value) -> Value:
    """Length of the day [s]: 24 h / pi times the `sunset_hour_angle` [rad]. FAO-56, Eq. 34."""
    return _DAY / np.pi * sunset_hour_angle


@formula
def extraterrestrial_daily(latitude: Value, day: Value) -> Value:
    """Sunlight above the air on level ground in a whole day [J m-2], `latitude` [rad]. FAO-56, Eq. 21."""
    decl = declination_fao(day)
    sunset = sunset_hour_angle(latitude, decl)
    height = sunset * np.sin(latitude) * np.sin(decl) + np.cos(latitude) * np.cos(decl) * np.sin(sunset)
    return _DAY / np.pi * _FAO_SOLAR_CONSTANT * distance_factor_fao(day) * height


@formula
def seasonal_correction(day: Value) -> Value:
    """Solar minus mean time [s]: 0.1645 sin 2b - 0.1255 cos b - 0.025 sin b hours.

    b = 2 pi (J - 81)/364, `day` J of the year. Source: FAO-56, Eq. 32, 33.
    """
    b = 2.0 * np.pi * (day - 81.0) / 364.0
    return 3600.0 * (0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b))


@formula
def extraterrestrial_between(latitude: Value, day: Value, start: Value, end: Value) -> Value:
    """Sunlight above the air on level ground between two hour angles [J m-2]; angles [rad]. FAO-56, Eq. 28.

    Hour angles beyond sunrise and sunset are held there, so that night adds nothing.
    """
    decl = declination_fao(day)
    sunset = sunset_hour_angle(latitude, decl)
    first = np.minimum(np.maximum(start, -sunset), sunset)
    last = np.minimum(np.maximum(end, -sunset), sunset)
    height = (last - first) * np.sin(latitude) * np.sin(decl) + np.cos(latitude) * np.cos(decl) * (
        np.sin(last) - np.sin(first)
    )
    return _DAY / (2.0 * np.pi) * _FAO_SOLAR_CONSTANT * distance_factor_fao(day) * height


@formula
def shortwave_from_sunshine(extraterrestrial: Value, sunshine: Value, daylight: Value) -> Value:
    """Shortwave on level ground: (0.25 + 0.50 n/N) Ra, in the unit of Ra; n and N in one unit. FAO-56, Eq. 35."""
    return (0.25 + 0.50 * sunshine / daylight) * extraterrestrial


@formula
def clear_sky_fao(extraterrestrial: Value, elevation: Value) -> Value:
    """Clear-sky shortwave on level ground: (0.75 + 2e-5 z) Ra, in the unit of Ra; `elevation` z [m]. FAO-56, Eq. 37."""
    return (0.75 + 2e-5 * elevation) * extraterrestrial


@formula
def clear_sky_haurwitz(zenith: Value) -> Value:
    """Clear-sky shortwave on level ground [W m-2]: 1098 cos z exp(-0.059/cos z), `zenith` z [rad]; 0 below the horizon.

    Source: Haurwitz 1945, 1946, J. Meteorol.; the constants as pvlib has them (Reno et al. 2012 print 0.057).
    """
    cosine = np.maximum(np.cos(zenith), 1e-6)
    return choose(np.cos(zenith) > 0.0, 1098.0 * cosine * np.exp(-0.059 / cosine), 0.0 * zenith)


@formula
def air_mass(zenith: Value) -> Value:
    """Air in the path of the beam, relative to the zenith [1]; apparent `zenith` angle [rad], held at the horizon.

    1 / (cos z + 0.50572 (96.07995 - z)^-1.6364), z [degree]. Source: Kasten & Young 1989, Appl. Opt. 28:4735.
    """
    z = np.minimum(zenith, 0.5 * np.pi)
    return 1.0 / (np.cos(z) + 0.50572 * (96.07995 - z * 180.0 / np.pi) ** -1.6364)


@formula
def air_mass_at_pressure(air_mass: Value, pressure: Value) -> Value:
    """Air in the path of the beam [1] at `pressure` [Pa]: air mass times p over the standard pressure."""
    return air_mass * pressure / STANDARD_PRESSURE
