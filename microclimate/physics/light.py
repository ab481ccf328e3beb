"""Light and warmth as the grass counts them."""

import numpy as np

from microclimate.physics.elementwise import Value, formula

PHOTON_SHARE = 0.45  # [1] photosynthetic (400-700 nm) share of shortwave energy
PHOTON_SHARE_RANGE = (0.41, 0.48)  # over skies: Akitsu et al. 2022
PHOTONS_PER_JOULE = 4.57e-6  # [mol J-1] of that light; McCree 1972; Thimijan & Heins 1983 (4.6)


@formula
def photon_flux(shortwave: Value) -> Value:
    """Photons for growth [mol m-2 s-1] in daylight of `shortwave` [W m-2]; summed over a day, the light integral."""
    return PHOTON_SHARE * PHOTONS_PER_JOULE * shortwave


@formula
def degree_days(warmest: Value, coldest: Value, base: Value) -> Value:
    """Growing degree days of one day [K d]: max(0, (Tmax + Tmin)/2 - base), [K].

    Source: McMaster & Wilhelm 1997, Agric. For. Meteorol. 87:291, method 1.
    """
    return np.maximum(0.5 * (warmest + coldest) - base, 0.0)


@formula
def degree_days_clipped(warmest: Value, coldest: Value, base: Value) -> Value:
    """Growing degree days of one day [K d], each of Tmax and Tmin held at `base` first; [K].

    Source: McMaster & Wilhelm 1997, Agric. For. Meteorol. 87:291, method 2.
    """
    return 0.5 * (np.maximum(warmest, base) + np.maximum(coldest, base)) - base


@formula
def growth_index(temperature: Value, best: Value, width: Value) -> Value:
    """Growth that temperature allows [1, 0 to 1]: exp(-((T - T_best)/w)^2 / 2), [K].

    Cool-season grass: best 20 degC, width 5.5 K; warm-season: 31 degC, 7 K. Common practice, numbers from memory.
    """
    x = (temperature - best) / width
    return np.exp(-0.5 * x * x)
