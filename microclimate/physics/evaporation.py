"""Water that well-watered short grass loses: the reference of FAO and ASCE, and standard air for a height."""

import numpy as np

from microclimate.constants import ZERO_CELSIUS
from microclimate.physics.elementwise import Value, formula

# FAO-56 keeps its own round numbers; they belong together and are used nowhere else
_KARMAN_FAO = 0.41
_GRASS_HEIGHT = 0.12  # [m]


@formula
def saturation_pressure_fao(temperature: Value) -> Value:
    """Saturation vapour pressure over water [Pa]: 610.8 exp(17.27 t/(t + 237.3)). FAO-56, Eq. 11; `temperature` [K]."""
    t = temperature - ZERO_CELSIUS
    return 610.8 * np.exp(17.27 * t / (t + 237.3))


@formula
def slope_fao(temperature: Value) -> Value:
    """Slope of it [Pa K-1]: 4098 e/(t + 237.3)^2. FAO-56, Eq. 13; `temperature` [K]."""
    return 4098.0 * saturation_pressure_fao(temperature) / (temperature - ZERO_CELSIUS + 237.3) ** 2


@formula
def pressure_at(elevation: Value) -> Value:
    """Air pressure [Pa] at `elevation` [m]: 101300 ((293 - 0.0065 z)/293)^5.26. FAO-56, Eq. 7."""
    return 101300.0 * ((293.0 - 0.0065 * elevation) / 293.0) ** 5.26


@formula
def psychrometric_constant_fao(pressure: Value) -> Value:
    """Psychrometric constant [Pa K-1]: 0.665e-3 p, `pressure` [Pa]. FAO-56, Eq. 8."""
    return 0.665e-3 * pressure


@formula
def grass_resistance(wind: Value) -> Value:
    """Aerodynamic resistance of the reference grass [s m-1], `wind` at 2 m [m s-1]: 208/u. FAO-56, Eq. 4, Box 4.

    ln((z - d)/z0m) ln((z - d)/z0h) / (0.41^2 u), d = 2/3 h, z0m = 0.123 h, z0h = z0m/10, h = 0.12 m.
    """
    above = 2.0 - 2.0 / 3.0 * _GRASS_HEIGHT
    momentum = np.log(above / (0.123 * _GRASS_HEIGHT))
    heat = np.log(above / (0.0123 * _GRASS_HEIGHT))
    return momentum * heat / (_KARMAN_FAO * _KARMAN_FAO * wind)


@formula
def wind_at_two_metres(wind: Value, height: Value) -> Value:
    """Wind over grass at 2 m [m s-1] from `wind` at `height` z [m]: u 4.87 / ln(67.8 z - 5.42). FAO-56, Eq. 47."""
    return wind * 4.87 / np.log(67.8 * height - 5.42)


@formula
def reference_evaporation(
    net_radiation: Value,
    soil_heat: Value,
    temperature: Value,
    wind: Value,
    deficit: Value,
    slope: Value,
    psychrometric: Value,
    numerator: Value,
    denominator: Value,
) -> Value:
    """Water lost by the reference surface [kg m-2], over the day or hour that the energies belong to.

    (0.408 D (Rn - G) + g Cn/T u (es - e)) / (D + g (1 + Cd u)); `net_radiation` Rn and `soil_heat` G [J m-2] of the
    interval, `temperature` [K], `wind` u at 2 m [m s-1], vapour pressure `deficit` es - e [Pa], `slope` D and
    `psychrometric` constant g [Pa K-1]. `numerator` Cn and `denominator` Cd: short grass 900, 0.34 a day and
    37, 0.34 an hour (FAO-56, Eq. 6, 53); 37, 0.24 by day and 0.96 by night; tall 1600, 0.38 a day (ASCE-EWRI 2005).
    """
    kilo = 1e-3  # the formula speaks kPa
    energy = 0.408e-6 * slope * kilo * (net_radiation - soil_heat)
    air = psychrometric * kilo * numerator / (temperature - ZERO_CELSIUS + 273.0) * wind * deficit * kilo
    return (energy + air) / (kilo * (slope + psychrometric * (1.0 + denominator * wind)))
