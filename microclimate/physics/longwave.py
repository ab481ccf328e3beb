"""Thermal radiation of the sky: clear-sky emissivity and cloud."""

import numpy as np

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.physics.elementwise import Value, formula


@formula
def black_body(temperature: Value) -> Value:
    """Radiation of a black surface [W m-2] at `temperature` [K]: sigma T^4."""
    square = temperature * temperature
    return STEFAN_BOLTZMANN * square * square


@formula
def clear_sky_brutsaert(vapour_pressure: Value, air_temperature: Value) -> Value:
    """Clear-sky emissivity [1]: 1.24 (e/T)^(1/7), e [hPa] from [Pa], T [K]. Brutsaert 1975, WRR 11:742."""
    return 1.24 * (vapour_pressure / 100.0 / air_temperature) ** (1.0 / 7.0)


@formula
def clear_sky_prata(vapour_pressure: Value, air_temperature: Value) -> Value:
    """Clear-sky emissivity [1]: 1 - (1 + w) exp(-sqrt(1.2 + 3 w)), w = 46.5 e/T, e [hPa] from [Pa], T [K].

    Source: Prata 1996, Q. J. R. Meteorol. Soc. 122:1127.
    """
    water = 46.5 * vapour_pressure / 100.0 / air_temperature
    return 1.0 - (1.0 + water) * np.exp(-np.sqrt(1.2 + 3.0 * water))


@formula
def clear_sky_idso_jackson(air_temperature: Value) -> Value:
    """Clear-sky emissivity [1] from temperature alone: 1 - 0.261 exp(-7.77e-4 (273 - T)^2), T [K].

    Source: Idso & Jackson 1969, J. Geophys. Res. 74:5397.
    """
    below = 273.0 - air_temperature
    return 1.0 - 0.261 * np.exp(-7.77e-4 * below * below)


@formula
def clear_sky_idso(vapour_pressure: Value, air_temperature: Value) -> Value:
    """Clear-sky emissivity [1]: 0.70 + 5.95e-5 e exp(1500/T), e [hPa] from [Pa], T [K]. Idso 1981, WRR 17:295."""
    return 0.70 + 5.95e-5 * vapour_pressure / 100.0 * np.exp(1500.0 / air_temperature)


@formula
def clear_sky_dilley_obrien(vapour_pressure: Value, air_temperature: Value) -> Value:
    """Longwave down under a clear sky [W m-2]: 59.38 + 113.7 (T/273.16)^6 + 96.96 sqrt(w/25).

    w = 4.65 e/T, water in the air column [kg m-2] (Prata 1996), e [Pa], T [K].
    Source: Dilley & O'Brien 1998, Q. J. R. Meteorol. Soc. 124:1391.
    """
    water = 4.65 * vapour_pressure / air_temperature
    return 59.38 + 113.7 * (air_temperature / 273.16) ** 6 + 96.96 * np.sqrt(water / 25.0)


@formula
def cloudy_emissivity(clear: Value, cloud: Value) -> Value:
    """Emissivity of a sky with `cloud` cover c [1]: c + (1 - c) e_clear. Crawford & Duchon 1999, JAM 38:474."""
    return cloud + (1.0 - cloud) * clear


@formula
def cloudy_emissivity_unsworth_monteith(clear: Value, cloud: Value) -> Value:
    """Emissivity of a sky with `cloud` cover c [1]: (1 - 0.84 c) e_clear + 0.84 c. Unsworth & Monteith 1975."""
    return (1.0 - 0.84 * cloud) * clear + 0.84 * cloud


@formula
def cloud_from_longwave(longwave_down: Value, clear: Value, air_temperature: Value) -> Value:
    """Cloud cover [1, 0 to 1] that explains `longwave_down` [W m-2]: `cloudy_emissivity` turned round; [K]."""
    emissivity = longwave_down / black_body(air_temperature)
    return np.minimum(np.maximum((emissivity - clear) / (1.0 - clear), 0.0), 1.0)


@formula
def net_longwave_fao(warmest: Value, coldest: Value, vapour_pressure: Value, relative_shortwave: Value) -> Value:
    """Daily mean net longwave lost by reference grass [W m-2].

    sigma (Tmax^4 + Tmin^4)/2 (0.34 - 0.14 sqrt(e)) (1.35 Rs/Rso - 0.35), [K], e [kPa] from [Pa]; FAO-56, Eq. 39.
    `relative_shortwave` Rs/Rso [1].
    """
    mean = 0.5 * (black_body(warmest) + black_body(coldest))
    return mean * (0.34 - 0.14 * np.sqrt(vapour_pressure / 1000.0)) * (1.35 * relative_shortwave - 0.35)
