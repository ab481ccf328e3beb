"""The sky as 145 patches, and how much warmer it is near the horizon.

Patches: rows of 12 degrees with 30, 30, 24, 24, 18, 12, 6 patches and a cap (Tregenza 1987,
Lighting Res. Technol. 19:13).
Their brightness is the mean of the all-weather distribution over points inside each.
Angles are field angles [rad], counter-clockwise from x.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from microclimate.physics import skydome
from microclimate.physics.longwave import black_body

Array = NDArray[np.float64]

EDGES = np.radians([0.0, 12.0, 24.0, 36.0, 48.0, 60.0, 72.0, 84.0, 90.0])
COLUMNS = np.array([30, 30, 24, 24, 18, 12, 6, 1])
START = np.concatenate([[0], np.cumsum(COLUMNS)[:-1]])
PATCHES = int(COLUMNS.sum())
INSIDE = 2  # points a side within each patch

# Emissivity of a clear sky against zenith distance: eps(z) = a + b ln(u sec z), b = .090 +- .002, hemisphere .70
# typical; Unsworth & Monteith 1975, Quart. J. R. Met. Soc. 101:13
SLOPE = 0.090
CLEAR = 0.70


def weights() -> Array:
    """Cosine-weighted solid angle of each patch (145,) [sr]; they sum to pi."""
    row = np.pi * np.diff(np.sin(EDGES) ** 2) / COLUMNS
    return np.repeat(row, COLUMNS)


def patch_of(azimuth: Array, elevation: Array) -> NDArray[np.int64]:
    """Number of the patch in each direction above the horizon, any shape."""
    row = np.clip(np.searchsorted(EDGES, elevation, side="right") - 1, 0, len(COLUMNS) - 1)
    column = np.floor(azimuth / (2.0 * np.pi) * COLUMNS[row]).astype(np.int64) % COLUMNS[row]
    return np.asarray(START[row] + column)


def _points() -> tuple[Array, Array]:
    """Unit vectors (145, inside, 3) and cosine weights (145, inside) of points within the patches."""
    vectors, cosine = [], []
    share = (np.arange(INSIDE) + 0.5) / INSIDE
    for row, columns in enumerate(COLUMNS):
        low, high = np.sin(EDGES[row]) ** 2, np.sin(EDGES[row + 1]) ** 2
        # equal cosine-weighted solid angles, so a plain mean keeps the flux
        sine = np.sqrt(low + (high - low) * share)
        across = np.arange(4) / 4.0 if columns == 1 else share
        for column in range(columns):
            azimuth = 2.0 * np.pi * (column + across) / columns
            a, s = (v.ravel()[: INSIDE**2] for v in np.meshgrid(azimuth, sine, indexing="ij"))
            if columns == 1:
                a, s = 2.0 * np.pi * (np.arange(INSIDE**2) + 0.5) / INSIDE**2, np.resize(sine, INSIDE**2)
            c = np.sqrt(1.0 - s**2)
            vectors.append(np.stack([c * np.cos(a), c * np.sin(a), s], axis=1))
            cosine.append(s)
    return np.array(vectors), np.array(cosine)


_VECTORS, _SINES = (found.reshape(PATCHES * INSIDE**2, -1) for found in _points())
_LEVELS = [(sine, np.flatnonzero(_SINES[:, 0] == sine)) for sine in np.unique(_SINES)]  # points of one elevation


def radiance(azimuth: ArrayLike, elevation: ArrayLike, direct_normal: ArrayLike, diffuse: ArrayLike) -> Array:
    """Radiance of each patch (time, 145) [W m-2 sr-1]; scaled so that open ground gets exactly `diffuse`.

    azimuth, elevation (time,) of the sun, field angles [rad]; direct_normal, diffuse (time,) [W m-2].
    """
    a, h = np.asarray(azimuth, float), np.maximum(np.asarray(elevation, float), 0.0)
    sun = np.stack([np.cos(h) * np.cos(a), np.cos(h) * np.sin(a), np.sin(h)])
    parameters = skydome.distribution(direct_normal, diffuse, 0.5 * np.pi - h)[:, None]
    bright = _VECTORS @ sun
    for sine, points in _LEVELS:
        bright[points] = skydome.relative_radiance(parameters, sine, bright[points])
    bright = bright.reshape(PATCHES, INSIDE**2, -1).mean(axis=1).T
    flux = bright @ weights()
    # a distribution that vanishes everywhere becomes an even sky
    bright = np.where(flux[:, None] > 1e-9, bright, 1.0)
    flux = np.where(flux > 1e-9, flux, np.pi)
    return np.asarray(bright * (np.maximum(diffuse, 0.0) / flux)[:, None])


def low_sky_slope(sky_down: ArrayLike, air_temperature: ArrayLike) -> Array:
    """Half the emissivity slope times black-body flux [W m-2]: what (sky view + low-sky integral) is multiplied by.

    A sky of emissivity eps(x) = eps_h - b/2 - (b/2) ln x, x = sin^2(elevation), sends to a horizontal point
    sky_down * V - (b/2) sigma T^4 (V + C), V the sky view, C = integral of ln x dx over the sky seen (-1 when open).
    Cloud shrinks the slope as it fills the gap to a black sky (Unsworth & Monteith 1975): b (1 - eps_h) / (1 - 0.70).
    """
    black = black_body(np.asarray(air_temperature, float))
    gap = np.clip((1.0 - np.asarray(sky_down, float) / black) / (1.0 - CLEAR), 0.0, 1.0)
    return np.asarray(0.5 * SLOPE * gap * black)
