"""How bright each part of the sky is: the all-weather distribution of Perez, Seals & Michalsky.

Source of every formula and number here: Perez, R., Seals, R., Michalsky, J. 1993, "All-weather model for sky luminance
distribution", Solar Energy 50(3):235-245, equations 1 and 6-8 and Table 1. The table was read in the public source of
the Radiance program `gendaymtx`, which names the paper; five other public codes carry the same numbers.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from microclimate.constants import SOLAR_CONSTANT
from microclimate.physics.sunlight import air_mass

Array = NDArray[np.float64]

CLEARNESS_EDGES = np.array([1.065, 1.230, 1.500, 1.950, 2.800, 4.500, 6.200])

# rows: clearness class; columns: a1..a4, b1..b4, c1..c4, d1..d4, e1..e4
_TABLE = np.fromstring(
    """
     1.3525 -0.2576 -0.2690 -1.4366 -0.7670  0.0007  1.2734 -0.1233  2.8000   0.6004
     1.2375  1.0000  1.8734  0.6297  0.9738  0.2809  0.0356 -0.1246 -0.5718   0.9938
    -1.2219 -0.7730  1.4148  1.1016 -0.2054  0.0367 -3.9128  0.9156  6.9750   0.1774
     6.4477 -0.1239 -1.5798 -0.5081 -1.7812  0.1080  0.2624  0.0672 -0.2190  -0.4285
    -1.1000 -0.2515  0.8952  0.0156  0.2782 -0.1812 -4.5000  1.1766 24.7219 -13.0812
   -37.7000 34.8438 -5.0000  1.5218  3.9229 -2.6204 -0.0156  0.1597  0.4199  -0.5562
    -0.5484 -0.6654 -0.2672  0.7117  0.7234 -0.6219 -5.6812  2.6297 33.3389 -18.3000
   -62.2500 52.0781 -3.5000  0.0016  1.1477  0.1062  0.4659 -0.3296 -0.0876  -0.0329
    -0.6000 -0.3566 -2.5000  2.3250  0.2937  0.0496 -5.6812  1.8415 21.0000  -4.7656
   -21.5906  7.2492 -3.5000 -0.1554  1.4062  0.3988  0.0032  0.0766 -0.0656  -0.1294
    -1.0156 -0.3670  1.0078  1.4051  0.2875 -0.5328 -3.8500  3.3750 14.0000  -0.9999
    -7.1406  7.5469 -3.4000 -0.1078 -1.0750  1.5702 -0.0672  0.4016  0.3017  -0.4844
    -1.0000  0.0211  0.5025 -0.5119 -0.3000  0.1922  0.7023 -1.6317 19.0000  -5.0000
     1.2438 -1.9094 -4.0000  0.0250  0.3844  0.2656  1.0468 -0.3788 -2.4517   1.4656
    -1.0500  0.0289  0.4260  0.3590 -0.3250  0.1156  0.7781  0.0025 31.0625 -14.5000
   -46.1148 55.3750 -7.2312  0.4050 13.3500  0.6234  1.5000 -0.6426  1.8564   0.5636
    """,
    sep=" ",
).reshape(8, 5, 4)


def clearness(direct_normal: ArrayLike, diffuse: ArrayLike, zenith: ArrayLike) -> Array:
    """Sky clearness epsilon [1], 1 (overcast) to 12 (clear).

    ((D + I) / D + 1.041 Z^3) / (1 + 1.041 Z^3), D diffuse horizontal and I direct normal [W m-2], Z zenith [rad].
    Without diffuse light it is 12. Perez et al. 1990, Solar Energy 44:271, equation 1.
    """
    i, d, z = (np.asarray(v, float) for v in (direct_normal, diffuse, zenith))
    cube = 1.041 * z**3
    return np.asarray(np.clip((1.0 + i / np.maximum(d, 1e-9) + cube) / (1.0 + cube), 1.0, 12.0))


def brightness(diffuse: ArrayLike, zenith: ArrayLike) -> Array:
    """Sky brightness Delta [1], 0.01 to 0.6: diffuse times air mass over the solar constant.

    Perez et al. 1990, Solar Energy 44:271, equation 2; the year's 3 % in the sun's distance is left out.
    """
    return np.asarray(np.clip(np.asarray(diffuse, float) * air_mass(zenith) / SOLAR_CONSTANT, 0.01, 0.6))


def distribution(direct_normal: ArrayLike, diffuse: ArrayLike, zenith: ArrayLike) -> Array:
    """The five parameters a..e of the sky's brightness, shape (5, ...): equations 6-8.

    direct_normal, diffuse [W m-2], zenith [rad]; below the horizon the sun is held on it.
    """
    z = np.minimum(np.asarray(zenith, float), 0.5 * np.pi)
    epsilon = clearness(direct_normal, diffuse, z)
    delta = brightness(diffuse, z)
    delta = np.where((epsilon > 1.065) & (epsilon < 2.8), np.maximum(delta, 0.2), delta)
    overcast = epsilon < CLEARNESS_EDGES[0]
    x = np.moveaxis(_TABLE[np.searchsorted(CLEARNESS_EDGES, epsilon, side="right")], (-2, -1), (0, 1))
    parameters = x[:, 0] + x[:, 1] * z + delta * (x[:, 2] + x[:, 3] * z)
    base = np.maximum(delta * (x[2, 0] + x[2, 1] * z), 0.0)
    c = np.exp(base ** np.where(overcast, x[2, 2], 1.0)) - x[2, 3]
    d = -np.exp(np.where(overcast, delta * (x[3, 0] + x[3, 1] * z), 0.0)) + x[3, 2] + delta * x[3, 3]
    parameters[2] = np.where(overcast, c, parameters[2])
    parameters[3] = np.where(overcast, d, parameters[3])
    return np.asarray(parameters)


def relative_radiance(parameters: Array, sine: ArrayLike, cosine_to_sun: ArrayLike) -> Array:
    """Brightness against an arbitrary scale [1], never negative (equation 1).

    parameters (5, ...); sine of the elevation of the sky point, > 0; cosine of its angle from the sun.
    """
    a, b, c, d, e = parameters
    cos_gamma = np.clip(cosine_to_sun, -1.0, 1.0)
    gradation = 1.0 + a * np.exp(b / np.asarray(sine, float))
    indicatrix = 1.0 + c * np.exp(d * np.arccos(cos_gamma)) + e * cos_gamma**2
    return np.asarray(np.maximum(gradation * indicatrix, 0.0))
