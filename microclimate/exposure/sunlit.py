"""Shortwave on each patch by origin: the sun's beam, the sky, and what the stands throw back, dry, wet or white."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from microclimate.exposure.basin import stepped
from microclimate.exposure.glint import TOLD, lean
from microclimate.exposure.place import Place
from microclimate.exposure.steps import Steps
from microclimate.exposure.weathered import Cover

Array = NDArray[np.float64]


def shortwave(
    place: Place, steps: Steps, lit: Array, normal: Array, sky: Array, metal: Array | None, cover: Cover | None
) -> dict[str, Array]:
    """Shortwave by origin, and the sunlit share, on each patch (realization, patch, step).

    Parameters
    ----------
    place, steps
        Not an open field.
    lit : array (look, patch)
        Share of the beam that arrives.
    normal, sky : array (realization, look)
        Direct normal and diffuse light [W m-2].
    metal : array (realization,), optional
        Place of bare metal between less and more mirror-like than told (`glint.lean`); as told without it.
    cover : Cover, optional
        Of the stands; dry without it.
    """
    up = steps.elevation > 0.0
    sine = np.where(up, np.sin(np.radians(np.maximum(steps.elevation, 0.0))), 0.0)
    members, looks = normal.shape
    patches = lit.shape[1]
    # light that falls before the sun is up comes from all of the sky
    bright = up | (np.nan_to_num(sky).max(axis=0) > 0.0)
    azimuth, height = steps.azimuth[bright], np.maximum(steps.elevation[bright], 0.0)
    args = (np.tile(azimuth, members), np.tile(height, members), normal[:, bright].ravel(), sky[:, bright].ravel())
    both = np.zeros((2, members, looks, patches))
    straight, bounced = place.sight.diffuse(*args)
    ends = None if metal is None else place.sight.glint_ends(azimuth, height)
    if ends is not None and metal is not None:
        more = np.einsum("er,elp->rlp", lean(metal), ends) - ends[TOLD]
        bounced = bounced + (normal[:, bright, None] * more).reshape(bounced.shape)
    if cover is not None:
        step = np.asarray(steps.look_share.T.argmax(axis=1)).ravel()[bright]
        for share, state in ((cover.wet, 0), (cover.snow, 1)):
            weight = share[:, step].ravel()
            some = np.flatnonzero(weight > 0.0)
            if len(some):
                covered = place.sight.weathered[state].diffuse(*(v[some] for v in args))[1]
                bounced[some] += weight[some, None] * (covered - bounced[some])
    both[:, :, bright] = np.stack([straight, bounced]).reshape(2, members, -1, patches)
    fields = {
        "shortwave_sun_down": (normal * sine)[:, :, None] * lit,
        "shortwave_sky_down": both[0],
        "shortwave_stands_down": both[1],
        "sunlit_fraction": lit[None],
    }
    return {name: stepped(steps, np.moveaxis(values, 1, -1)) for name, values in fields.items()}


def metal(seed: int | None, realizations: Sequence[int]) -> Array | None:
    """Where each realization's bare metal lies between less (-1) and more (1) mirror-like than told (realization,)."""
    if seed is None:
        return None
    return np.array([np.random.default_rng([seed, int(name), 2]).uniform(-1.0, 1.0) for name in realizations])
