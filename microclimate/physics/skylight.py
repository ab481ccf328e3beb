"""Light of the sky: how shortwave divides into beam and sky, and what a sloping plane gets. Angles in radian.

How bright each part of the sky is stands in `skydome`.
"""

import numpy as np

from microclimate.physics.elementwise import Value, choose, formula


@formula
def diffuse_fraction(clearness: Value) -> Value:
    """Share of the shortwave that comes from the sky [1], by `clearness` index kt [1, shortwave over extraterrestrial].

    1 - 0.09 kt to 0.22; 0.9511 - 0.1604 kt + 4.388 kt^2 - 16.638 kt^3 + 12.336 kt^4 to 0.80; 0.165 above.
    Source: Erbs, Klein & Duffie 1982, Sol. Energy 28:293.
    """
    kt = np.maximum(clearness, 0.0)
    middle = 0.9511 + kt * (-0.1604 + kt * (4.388 + kt * (-16.638 + kt * 12.336)))
    return choose(kt <= 0.22, 1.0 - 0.09 * kt, choose(kt <= 0.80, middle, 0.165 + 0.0 * kt))


@formula
def sky_on_slope(diffuse: Value, tilt: Value) -> Value:
    """Light of an even sky on a slope [W m-2]: D (1 + cos t)/2, `diffuse` D [W m-2]. Liu & Jordan 1963."""
    return diffuse * 0.5 * (1.0 + np.cos(tilt))


@formula
def ground_on_slope(shortwave: Value, albedo: Value, tilt: Value) -> Value:
    """Light that level ground throws on a slope [W m-2]: a G (1 - cos t)/2, G `shortwave`. Liu & Jordan 1963."""
    return shortwave * albedo * 0.5 * (1.0 - np.cos(tilt))


@formula
def sky_on_slope_hay_davies(
    diffuse: Value, direct_normal: Value, extraterrestrial: Value, tilt: Value, cos_incidence: Value, cos_zenith: Value
) -> Value:
    """Light of a sky that is brighter round the sun on a slope [W m-2]; fluxes [W m-2]. Hay & Davies 1980.

    D (A R + (1 - A)(1 + cos t)/2), A = direct normal / extraterrestrial normal, R = cos(incidence)/cos(zenith), both
    at least 0, the lower one at least 0.01745 (sun 1 degree up).
    """
    share = direct_normal / extraterrestrial
    ratio = np.maximum(cos_incidence, 0.0) / np.maximum(cos_zenith, 0.01745)
    return diffuse * (share * ratio + (1.0 - share) * 0.5 * (1.0 + np.cos(tilt)))
