"""View factors in closed form: what rays and windows must give back.

Source: Howell, A Catalogue of Radiation Configuration Factors (numbers named below); Incropera Table 13.2. All [1];
lengths in one unit. Numbers and arrays alike.
"""

import numpy as np

from microclimate.physics.elementwise import Value, formula


@formula
def point_to_parallel(a: Value, b: Value, c: Value) -> Value:
    """Small surface to a parallel rectangle a by b at distance c, the normal through one corner. Howell B-3."""
    x, y = a / c, b / c
    p, q = np.sqrt(1.0 + x * x), np.sqrt(1.0 + y * y)
    return (x / p * np.arctan(y / p) + y / q * np.arctan(x / q)) / (2.0 * np.pi)


@formula
def point_to_upright(height: Value, width: Value, distance: Value) -> Value:
    """Level small surface to an upright rectangle that faces it, one lower corner straight ahead. Howell B-4."""
    far = np.sqrt(height * height + distance * distance)
    return (np.arctan(width / distance) - distance / far * np.arctan(width / far)) / (2.0 * np.pi)


@formula
def parallel_rectangles(a: Value, b: Value, c: Value) -> Value:
    """Rectangle a by b to its like straight opposite at distance c. Howell C-11."""
    x, y = a / c, b / c
    p, q = np.sqrt(1.0 + x * x), np.sqrt(1.0 + y * y)
    return (
        2.0
        / (np.pi * x * y)
        * (
            np.log(p * q / np.sqrt(1.0 + x * x + y * y))
            + x * q * np.arctan(x / q)
            + y * p * np.arctan(y / p)
            - x * np.arctan(x)
            - y * np.arctan(y)
        )
    )


@formula
def perpendicular_rectangles(height: Value, width: Value, length: Value) -> Value:
    """Floor of `width` to a wall of `height` along their common edge of `length`. Howell C-14."""
    h, w = height / length, width / length
    hh, ww = h * h, w * w
    both = hh + ww
    root = np.sqrt(both)
    logs = (
        np.log((1.0 + ww) * (1.0 + hh) / (1.0 + both))
        + ww * np.log(ww * (1.0 + both) / ((1.0 + ww) * both))
        + hh * np.log(hh * (1.0 + both) / ((1.0 + hh) * both))
    )
    angles = w * np.arctan(1.0 / w) + h * np.arctan(1.0 / h) - root * np.arctan(1.0 / root)
    return (angles + 0.25 * logs) / (np.pi * w)


@formula
def coaxial_disks(first: Value, second: Value, distance: Value) -> Value:
    """Disk of radius `first` to a coaxial parallel disk of radius `second`. Howell C-41."""
    x, y = first / distance, second / distance
    s = 1.0 + (1.0 + y * y) / (x * x)
    ratio = y / x
    return 0.5 * (s - np.sqrt(s * s - 4.0 * ratio * ratio))


@formula
def point_to_disk(radius: Value, distance: Value, offset: Value) -> Value:
    """Small surface to a parallel disk whose axis lies `offset` aside. Howell B-13."""
    h, r = distance / offset, radius / offset
    z = 1.0 + h * h + r * r
    return 0.5 * (1.0 - (1.0 + h * h - r * r) / np.sqrt(z * z - 4.0 * r * r))


@formula
def canyon_floor_centre(aspect: Value) -> Value:
    """Sky seen from the middle of an endless canyon's floor; `aspect` height to width: cos(atan(2 H/W)). Oke 1981."""
    return 1.0 / np.sqrt(1.0 + 4.0 * aspect * aspect)


@formula
def canyon_floor_mean(aspect: Value) -> Value:
    """Sky seen by the whole floor of an endless canyon: sqrt(1 + (H/W)^2) - H/W. Noilhan 1981; crossed strings."""
    return np.sqrt(1.0 + aspect * aspect) - aspect


@formula
def canyon_wall_mean(aspect: Value) -> Value:
    """Sky seen by a wall of an endless canyon: (H/W + 1 - sqrt(1 + (H/W)^2)) / (2 H/W). Noilhan 1981."""
    return 0.5 * (aspect + 1.0 - np.sqrt(1.0 + aspect * aspect)) / aspect


@formula
def basin(horizon: Value) -> Value:
    """Sky seen from within an even horizon of that angle [rad]: cos^2. Oke 1987."""
    return np.cos(horizon) * np.cos(horizon)


@formula
def slope_sky(tilt: Value) -> Value:
    """Sky seen by a plane of `tilt` [rad] in the open: (1 + cos t)/2."""
    return 0.5 * (1.0 + np.cos(tilt))


@formula
def point_to_endless_wall(height: Value, distance: Value) -> Value:
    """Level small surface to an endless upright wall: (1 - d / sqrt(d^2 + h^2))/2."""
    return 0.5 * (1.0 - distance / np.sqrt(distance * distance + height * height))


@formula
def cavity_emissivity(emissivity: Value, opening: Value) -> Value:
    """Emissivity of the mouth of an even grey cavity; `opening` = mouth area / wall area: e / (e + f (1 - e))."""
    return emissivity / (emissivity + opening * (1.0 - emissivity))


@formula
def reflection_gain(reflectance: Value, opening: Value) -> Value:
    """Reflected over first incident light in a sphere with an `opening` share f: r / (1 - r (1 - f)). Goebel 1967."""
    return reflectance / (1.0 - reflectance * (1.0 - opening))
