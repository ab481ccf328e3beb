"""Water vapour: saturation over water and ice, humidity in its several measures, latent heats, moist air."""

import numpy as np

from microclimate.constants import (
    GAS_CONSTANT_DRY_AIR,
    GAS_CONSTANT_VAPOUR,
    HEAT_CAPACITY_AIR,
    LATENT_SUBLIMATION,
    LATENT_VAPORISATION,
    MASS_RATIO,
    P_TRIPLE,
    T_TRIPLE,
    ZERO_CELSIUS,
)
from microclimate.physics.elementwise import Value, choose, formula

# WMO-No. 8 (CIMO Guide), Annex 4.B: e = E0 exp(A t / (B + t)), t in degC
_MAGNUS = 611.2  # [Pa] at 0 degC
_WATER_A, _WATER_B = 17.62, 243.12  # [1], [degC]; -45 to 60 degC
_ICE_A, _ICE_B = 22.46, 272.62  # [1], [degC]; -65 to 0 degC


@formula
def saturation_pressure_water(temperature: Value) -> Value:
    """Vapour pressure [Pa] in equilibrium with flat water, also supercooled; the form the kernel runs.

    e = 611.2 exp(17.62 t / (243.12 + t)), t [degC] from `temperature` [K]. Range 228-333 K.
    Source: WMO-No. 8, Annex 4.B.
    """
    t = temperature - ZERO_CELSIUS
    return _MAGNUS * np.exp(_WATER_A * t / (_WATER_B + t))


@formula
def saturation_pressure_ice(temperature: Value) -> Value:
    """Vapour pressure [Pa] in equilibrium with flat ice; the form the kernel runs.

    e = 611.2 exp(22.46 t / (272.62 + t)), t [degC] from `temperature` [K]. Range 208-273.15 K; above, no ice exists.
    Source: WMO-No. 8, Annex 4.B.
    """
    t = temperature - ZERO_CELSIUS
    return _MAGNUS * np.exp(_ICE_A * t / (_ICE_B + t))


@formula
def saturation_pressure(temperature: Value) -> Value:
    """Vapour pressure [Pa] over a surface: ice below 0 degC, water from there on. `temperature` [K], 208-333 K."""
    return choose(
        temperature < ZERO_CELSIUS, saturation_pressure_ice(temperature), saturation_pressure_water(temperature)
    )


@formula
def slope_water(temperature: Value) -> Value:
    """d(saturation pressure over water)/dT [Pa K-1], the derivative of the WMO form. `temperature` [K]."""
    below = _WATER_B + temperature - ZERO_CELSIUS
    return saturation_pressure_water(temperature) * _WATER_A * _WATER_B / (below * below)


@formula
def slope_ice(temperature: Value) -> Value:
    """d(saturation pressure over ice)/dT [Pa K-1], the derivative of the WMO form. `temperature` [K]."""
    below = _ICE_B + temperature - ZERO_CELSIUS
    return saturation_pressure_ice(temperature) * _ICE_A * _ICE_B / (below * below)


@formula
def slope(temperature: Value) -> Value:
    """d(saturation pressure over a surface)/dT [Pa K-1]: ice below 0 degC, water from there on. `temperature` [K]."""
    return choose(temperature < ZERO_CELSIUS, slope_ice(temperature), slope_water(temperature))


# fourth roots of the two WMO forms as polynomials of t [degC], constant first (least squares in relative error, ours)
_FAST_WATER = (4.972165598, 0.09008889264, 0.0004456149925, -2.603855968e-07, -3.372554216e-09, 1.216419772e-11)
_FAST_ICE = (4.972165123, 0.1024057451, 0.0006784605942, 8.493901161e-07, -5.77569632e-09, -9.734173735e-12)


@formula
def fast_saturation_pressure_water(temperature: Value) -> Value:
    """`saturation_pressure_water` [Pa] without the exponential: a polynomial to the fourth power.

    Largest error 1e-5 of the value between 223 and 323 K (tested); not meant outside. `temperature` [K].
    """
    t = temperature - ZERO_CELSIUS
    root = _FAST_WATER[0] + t * (
        _FAST_WATER[1] + t * (_FAST_WATER[2] + t * (_FAST_WATER[3] + t * (_FAST_WATER[4] + t * _FAST_WATER[5])))
    )
    square = root * root
    return square * square


@formula
def fast_saturation_pressure_ice(temperature: Value) -> Value:
    """`saturation_pressure_ice` [Pa] without the exponential: a polynomial to the fourth power.

    Largest error 1e-5 of the value between 213 and 273.15 K (tested); not meant outside. `temperature` [K].
    """
    t = temperature - ZERO_CELSIUS
    root = _FAST_ICE[0] + t * (
        _FAST_ICE[1] + t * (_FAST_ICE[2] + t * (_FAST_ICE[3] + t * (_FAST_ICE[4] + t * _FAST_ICE[5])))
    )
    square = root * root
    return square * square


@formula
def relative_slope(temperature: Value) -> Value:
    """Rise of the saturation pressure per kelvin, as a share of it [K-1]: of the WMO forms, ice below 0 degC; [K]."""
    ice = temperature < ZERO_CELSIUS
    below = choose(ice, _ICE_B, _WATER_B) + temperature - ZERO_CELSIUS
    return choose(ice, _ICE_A * _ICE_B, _WATER_A * _WATER_B) / (below * below)


@formula
def reference_saturation_pressure_water(temperature: Value) -> Value:
    """Vapour pressure [Pa] over liquid water, for checks and for cold air. `temperature` [K], 123-332 K.

    Source: Murphy & Koop 2005, Q. J. R. Meteorol. Soc. 131:1539, Eq. (10).
    """
    t, logarithm = temperature, np.log(temperature)
    cold = 53.878 - 1331.22 / t - 9.44523 * logarithm + 0.014025 * t
    return np.exp(54.842763 - 6763.22 / t - 4.210 * logarithm + 0.000367 * t + np.tanh(0.0415 * (t - 218.8)) * cold)


@formula
def reference_saturation_pressure_ice(temperature: Value) -> Value:
    """Vapour pressure [Pa] over flat hexagonal ice. `temperature` [K], 50-273.16 K; above it NaN: no ice is so warm.

    ln(e/p_t) = (a1 x^b1 + a2 x^b2 + a3 x^b3) / x, x = T/T_t. Source: IAPWS R14-08(2011), Eq. (6).
    """
    x = choose(temperature <= T_TRIPLE, temperature / T_TRIPLE, np.nan)
    total = -21.2144006 * x**0.00333333333 + 27.3203819 * x**1.20666667 - 6.10598130 * x**1.70333333
    return P_TRIPLE * np.exp(total / x)


@formula
def dew_point(vapour_pressure: Value) -> Value:
    """Temperature [K] at which air of this `vapour_pressure` [Pa, > 0] is saturated over water (WMO form)."""
    x = np.log(vapour_pressure / _MAGNUS)
    return ZERO_CELSIUS + _WATER_B * x / (_WATER_A - x)


@formula
def frost_point(vapour_pressure: Value) -> Value:
    """Temperature [K] at which air of this `vapour_pressure` [Pa, 0 to 611] is saturated over ice (WMO form)."""
    x = np.log(vapour_pressure / _MAGNUS)
    return ZERO_CELSIUS + _ICE_B * x / (_ICE_A - x)


@formula
def specific_humidity(vapour_pressure: Value, pressure: Value) -> Value:
    """Mass of vapour in moist air [kg kg-1] of `vapour_pressure` [Pa] at `pressure` [Pa]: eps e / (p - (1 - eps) e)."""
    return MASS_RATIO * vapour_pressure / (pressure - (1.0 - MASS_RATIO) * vapour_pressure)


@formula
def vapour_pressure(specific_humidity: Value, pressure: Value) -> Value:
    """Vapour pressure [Pa] of air of `specific_humidity` [kg kg-1] at `pressure` [Pa]."""
    return specific_humidity * pressure / (MASS_RATIO + (1.0 - MASS_RATIO) * specific_humidity)


@formula
def humidity_ratio(vapour_pressure: Value, pressure: Value) -> Value:
    """Mass of vapour to dry air [kg kg-1]: eps e / (p - e); `vapour_pressure` and `pressure` [Pa]."""
    return MASS_RATIO * vapour_pressure / (pressure - vapour_pressure)


@formula
def air_density(temperature: Value, specific_humidity: Value, pressure: Value) -> Value:
    """Density [kg m-3] of moist air: p / (R_d T (1 + (R_v/R_d - 1) q)); [K], [kg kg-1], [Pa]. Ideal gas law."""
    return pressure / (
        GAS_CONSTANT_DRY_AIR
        * temperature
        * (1.0 + (GAS_CONSTANT_VAPOUR / GAS_CONSTANT_DRY_AIR - 1.0) * specific_humidity)
    )


@formula
def latent_heat_vaporisation(temperature: Value) -> Value:
    """Heat to evaporate water [J kg-1] at `temperature` [K]: 2.501e6 - 2361 t. FAO-56, Annex 3, Eq. 3-1."""
    return LATENT_VAPORISATION - 2361.0 * (temperature - ZERO_CELSIUS)


@formula
def latent_heat(temperature: Value) -> Value:
    """Heat [J kg-1] that vapour gives up on a surface of `temperature` [K]: ice below 0 degC, else water.

    Sublimation is taken constant: it changes by 0.1 % between 0 and -30 degC (WMO tables, from memory).
    """
    return choose(temperature < ZERO_CELSIUS, LATENT_SUBLIMATION, latent_heat_vaporisation(temperature))


@formula
def psychrometric_constant(pressure: Value, latent: Value) -> Value:
    """c_p p / (eps L) [Pa K-1]: `pressure` [Pa], `latent` heat [J kg-1]. Source: FAO-56, Eq. 8."""
    return HEAT_CAPACITY_AIR * pressure / (MASS_RATIO * latent)


@formula
def vapour_pressure_from_wet_bulb(wet_bulb: Value, temperature: Value, pressure: Value, coefficient: Value) -> Value:
    """Vapour pressure [Pa] from a psychrometer over water: e_s(T_wet) - A p (T - T_wet); [K], [Pa].

    `coefficient` A [K-1]: ventilated 6.62e-4, naturally ventilated 8.0e-4, indoors 1.2e-3. Source: FAO-56, Eq. 15, 16.
    """
    return saturation_pressure_water(wet_bulb) - coefficient * pressure * (temperature - wet_bulb)


@formula
def humidity_ratio_from_wet_bulb(wet_bulb: Value, temperature: Value, pressure: Value) -> Value:
    """Mass of vapour to dry air [kg kg-1] of air at `temperature` [K] that cools to `wet_bulb` [K]; ice below 0 degC.

    Source: ASHRAE Fundamentals, ch. 1, Eq. (33) over water, (35) over ice.
    """
    t, wet = temperature - ZERO_CELSIUS, wet_bulb - ZERO_CELSIUS
    saturated = humidity_ratio(saturation_pressure(wet_bulb), pressure)
    over_water = ((2501.0 - 2.326 * wet) * saturated - 1.006 * (t - wet)) / (2501.0 + 1.86 * t - 4.186 * wet)
    over_ice = ((2830.0 - 0.24 * wet) * saturated - 1.006 * (t - wet)) / (2830.0 + 1.86 * t - 2.1 * wet)
    return choose(wet < 0.0, over_ice, over_water)


@formula
def wet_bulb(vapour_pressure: Value, temperature: Value, pressure: Value) -> Value:
    """Temperature [K] of a ventilated wet, below 0 degC iced, surface: `humidity_ratio_from_wet_bulb` turned round.

    By halving between 40 K below the air and the air itself, to 1e-9 K; `vapour_pressure` and `pressure` [Pa].
    """
    wanted = humidity_ratio(vapour_pressure, pressure)
    low = temperature - 40.0
    high = temperature + 0.0 * wanted  # a missing number stays missing
    for _ in range(36):
        middle = 0.5 * (low + high)
        above = humidity_ratio_from_wet_bulb(middle, temperature, pressure) > wanted
        low, high = choose(above, low, middle), choose(above, middle, high)
    return 0.5 * (low + high)


@formula
def moist_air_enthalpy(temperature: Value, humidity_ratio: Value) -> Value:
    """Enthalpy [J per kg dry air] above dry air at 0 degC: 1006 t + W (2.501e6 + 1860 t). ASHRAE Fundamentals."""
    t = temperature - ZERO_CELSIUS
    return 1006.0 * t + humidity_ratio * (2.501e6 + 1860.0 * t)
