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
    up, sine = _sun(steps)
    members, looks = normal.shape
    patches = lit.shape[1]
    # light that falls before the sun is up comes from all of the sky
    bright = up | (np.nan_to_num(sky).max(axis=0) > 0.0)
    azimuth, height = steps.azimuth[bright], np.maximum(steps.elevation[bright], 0.0)
    suns, direct = (np.tile(azimuth, members), np.tile(height, members)), normal[:, bright].ravel()
    both = np.zeros((2, members, looks, patches))
    radiance = place.sight.radiance(*suns, direct, sky[:, bright].ravel())
    straight, bounced = place.sight.sky_light_under(radiance), place.sight.reflected_under(radiance, *suns, direct)
    ends = None if metal is None else place.sight.glint_ends(azimuth, height)
    if ends is not None and metal is not None:
        more = np.einsum("er,elp->rlp", lean(metal), ends) - ends[TOLD]
        bounced = bounced + (normal[:, bright, None] * more).reshape(bounced.shape)
    if cover is not None:
        step = np.asarray(steps.look_share.T.argmax(axis=1)).ravel()[bright]
        for state, share in enumerate((cover.wet, cover.snow)):
            weight = share[:, step].ravel()
            some = np.flatnonzero(weight > 0.0)
            if len(some):
                covered = place.sight.weathered[state]
                other = covered.reflected_under(radiance[some], suns[0][some], suns[1][some], direct[some])
                bounced[some] += weight[some, None] * (other - bounced[some])
    both[:, :, bright] = np.stack([straight, bounced]).reshape(2, members, -1, patches)
    fields = {
        "shortwave_sun_down": (normal * sine)[:, :, None] * lit,
        "shortwave_sky_down": both[0],
        "shortwave_stands_down": both[1],
        "sunlit_fraction": lit[None],
    }
    return {name: stepped(steps, np.moveaxis(values, 1, -1)) for name, values in fields.items()}


def open_ground(steps: Steps, normal: Array, sky: Array) -> dict[str, Array]:
    """The same with no stands about: one patch for all."""
    up, sine = _sun(steps)
    fields = {
        "shortwave_sun_down": (normal * sine)[:, :, None],
        "shortwave_sky_down": sky[:, :, None],
        "shortwave_stands_down": np.zeros((1, len(up), 1)),
        "sunlit_fraction": up.astype(float)[None, :, None],
    }
    return {name: stepped(steps, np.moveaxis(values, 1, -1)) for name, values in fields.items()}


def _sun(steps: Steps) -> tuple[NDArray[np.bool_], Array]:
    """Whether the sun is up, and the sine of its height, 0 below the horizon, both (look,)."""
    up = steps.elevation > 0.0
    return up, np.where(up, np.sin(np.radians(np.maximum(steps.elevation, 0.0))), 0.0)


def metal(seed: int | None, realizations: Sequence[int]) -> Array | None:
    """Where each realization's bare metal lies between less (-1) and more (1) mirror-like than told (realization,)."""
    if seed is None:
        return None
    return np.array([np.random.default_rng([seed, int(name), 2]).uniform(-1.0, 1.0) for name in realizations])
