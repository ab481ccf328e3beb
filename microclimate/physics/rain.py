"""What falls: wet-bulb temperature, the share that is snow, and the light that cloud lets through."""

import numpy as np

from microclimate.constants import LATENT_VAPORISATION, ZERO_CELSIUS
from microclimate.physics.elementwise import Value, formula
from microclimate.physics.vapour import psychrometric_constant, saturation_pressure_water, slope_water


@formula
def wet_bulb(temperature: Value, vapour_pressure: Value, pressure: Value) -> Value:
    """Temperature [K] of a wet thermometer in moving air: [K], [Pa], [Pa].

    e_s(Tw) - gamma (T - Tw) = e, gamma = c_p p / (eps L) (FAO-56, Eq. 8 and 15 for a ventilated instrument), by eight
    Newton steps from the air temperature, where the curve is steepest: they settle below 1e-6 K from 223 to 323 K.
    """
    gamma = psychrometric_constant(pressure, LATENT_VAPORISATION)
    wet = temperature
    for _ in range(8):
        excess = saturation_pressure_water(wet) - gamma * (temperature - wet) - vapour_pressure
        wet = wet - excess / (slope_water(wet) + gamma)
    return wet


@formula
def snow_share(wet_bulb: Value) -> Value:
    """Share of precipitation that falls as snow [1] at `wet_bulb` temperature [K].

    1 / (1 + 6.99e-5 exp(2.0 (Tw + 3.97))), Tw [degC]; half at +0.81 degC.
    Source: Wang, Broxton, Fang et al. 2019, Geophys. Res. Lett. 46:13825, Eq. 1 (as coded in a public land model).
    """
    return 1.0 / (1.0 + 6.99e-5 * np.exp(np.minimum(2.0 * (wet_bulb - ZERO_CELSIUS + 3.97), 80.0)))


@formula
def shortwave_through_cloud(cloud: Value) -> Value:
    """Share of the clear-sky shortwave that reaches the ground [1] under `cloud` cover c [1]: 1 - 0.75 c^3.4.

    Source: Kasten & Czeplak 1980, Sol. Energy 24:177. Not to be turned round near clear: it is flat there.
    """
    return 1.0 - 0.75 * cloud**3.4
