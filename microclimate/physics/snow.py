"""Snow lying on the field: density, conductivity, albedo, melt."""

import numpy as np

from microclimate.constants import HEAT_CAPACITY_WATER, LATENT_FUSION, ZERO_CELSIUS
from microclimate.physics.elementwise import Value, choose, formula

_DAY = 86400.0  # [s]


@formula
def conductivity(density: Value) -> Value:
    """Conductivity of snow [W m-1 K-1] of `density` [kg m-3, 50 to 917]: 2.22362 (rho/1000)^1.885.

    Source: Yen 1981, CRREL Report 81-10, Eq. (35).
    """
    return 2.22362 * (density / 1000.0) ** 1.885


@formula
def conductivity_quadratic(density: Value) -> Value:
    """Conductivity of dry snow [W m-1 K-1] of `density` [kg m-3, to 600]. Source: Sturm et al. 1997, J. Glaciol. 43:26.

    0.138 - 1.01 r + 3.233 r^2 from 0.156 g cm-3 on, 0.023 + 0.234 r below; r [g cm-3].
    """
    r = density / 1000.0
    return choose(r < 0.156, 0.023 + 0.234 * r, 0.138 - 1.01 * r + 3.233 * r * r)


@formula
def fresh_density(air_temperature: Value) -> Value:
    """Density of new snow [kg m-3]: 67.92 + 51.25 exp(t/2.59), t [degC <= 0].

    Source: Hedstrom & Pomeroy 1998, Hydrol. Process. 12:1611.
    """
    return 67.92 + 51.25 * np.exp(np.minimum(air_temperature - ZERO_CELSIUS, 0.0) / 2.59)


@formula
def fresh_density_wet(air_temperature: Value) -> Value:
    """Density of new snow [kg m-3]: 50 + 1.7 (t + 15)^1.5, t [degC], 50 below -15. Anderson 1976, NOAA NWS 19."""
    above = np.maximum(air_temperature - ZERO_CELSIUS + 15.0, 0.0)
    return 50.0 + 1.7 * above * np.sqrt(above)


@formula
def settled_density(density: Value, duration: Value) -> Value:
    """Density [kg m-3] after `duration` [s]: towards 300 at 0.24 a day.

    Source: Douville et al. 1995, Clim. Dyn. 12:21 (ISBA); numbers as public land-surface codes carry them.
    """
    return density + np.maximum(300.0 - density, 0.0) * (1.0 - np.exp(-0.24 * duration / _DAY))


@formula
def aged_albedo(albedo: Value, duration: Value, melting: Value) -> Value:
    """Albedo [1] of snow after `duration` [s] without new snow; `melting` 1 or 0.

    Cold: loses 0.008 a day. Melting: exponential towards 0.5 at 0.24 a day. Never below 0.5.
    Source: Douville et al. 1995, Clim. Dyn. 12:21 (ISBA); numbers as public land-surface codes carry them.
    """
    cold = albedo - 0.008 * duration / _DAY
    wet = 0.5 + (albedo - 0.5) * np.exp(-0.24 * duration / _DAY)
    return np.maximum(choose(melting > 0.5, wet, cold), 0.5)


@formula
def aged_albedo_class(albedo: Value, duration: Value, melting: Value) -> Value:
    """Albedo [1] of snow after `duration` [s]: exponential at 0.01 an hour towards 0.70 cold, 0.50 `melting`.

    Source: Verseghy 1991, Int. J. Climatol. 11:111 (from memory).
    """
    floor = choose(melting > 0.5, 0.5, 0.7)
    return floor + (albedo - floor) * np.exp(-0.01 * duration / 3600.0)


@formula
def melt(energy: Value) -> Value:
    """Snow melted [kg m-2] by `energy` [J m-2, > 0] at 0 degC."""
    return np.maximum(energy, 0.0) / LATENT_FUSION


@formula
def rain_heat(rain: Value, air_temperature: Value) -> Value:
    """Heat [J m-2] that `rain` [kg m-2] at `air_temperature` [K] gives up in cooling to 0 degC; 0 below it."""
    return rain * HEAT_CAPACITY_WATER * np.maximum(air_temperature - ZERO_CELSIUS, 0.0)
