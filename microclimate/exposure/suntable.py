"""Tables over suns (azimuth in the field's frame, elevation): where a sun lies between their nodes."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from microclimate.exposure import exchange as ex

Array = NDArray[np.float64]


def around(count: int, angle: Array, height: Array) -> list[tuple[tuple[Any, Any], Array]]:
    """The four nodes of a table of suns with `count` azimuths round each sun (time,) [rad], and their weights.

    All are 0 below the horizon.
    """
    at = angle / (2.0 * np.pi) * count
    i, f = np.floor(at).astype(int) % count, at - np.floor(at)
    j = np.clip(np.searchsorted(ex.NODE_ELEVATIONS, height, side="right") - 1, 0, len(ex.NODE_ELEVATIONS) - 2)
    low, high = ex.NODE_ELEVATIONS[j], ex.NODE_ELEVATIONS[j + 1]
    g = np.clip((height - low) / (high - low), 0.0, 1.0)
    k, up = (i + 1) % count, height > 0.0
    return [
        ((m, n), np.where(up, e * d, 0.0)) for m, e in ((i, 1.0 - f), (k, f)) for n, d in ((j, 1.0 - g), (j + 1, g))
    ]


def on_nodes(shape: tuple[int, ...], angle: Array, height: Array, light: ArrayLike) -> Array:
    """Light (time,) summed on the nodes of a table of suns (azimuth, elevation)."""
    suns = np.zeros(shape)
    for place, weight in around(shape[0], angle, height):
        np.add.at(suns, place, weight * np.asarray(light, float))
    return suns
