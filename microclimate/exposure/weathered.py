"""What rain, snow, dew and frost do to the light off the stands.

Two further states of a bowl's finishes stand beside the dry one: all wet, and all under deep snow, each where the sky
is open above. How far the stands are in them is followed through time from what falls, from what the air dries, and
from the dew and frost of the bowl's own balance. The floor darkens in neither: wet grass is as bright as dry.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.exposure import exchange as ex
from microclimate.exposure import planks
from microclimate.exposure.mesh import Mesh
from microclimate.physics import vapour

Array = NDArray[np.float64]

WATER_INDEX, WATER_REFLECTS = 1.333, 0.066  # [1] refractive index; diffuse light off a water face (Fresnel's, averaged)
FRESH_SNOW = 0.75  # [1] albedo, the table of pvlib.albedo; new snow of handbooks 0.75-0.95
HOLD = 0.48  # [kg m-2] water that stays on paving after rain (Jarvi et al. 2011, J. Hydrol. 411:219, from memory)
DARK = 0.10  # [kg m-2] water that darkens all of a face; ours, no source
SEAT_WIND = 0.3  # [1] wind at seats over that at 10 m; ours
MELT = 4.0 / 86400.0  # [kg m-2 s-1 K-1] degree-day factor; 2.5 to 5.5 mm a day (Hock 2003, J. Hydrol. 282:104, memory)
ICE, GRAIN, FORWARD = 917.0, 1e-4, 0.89  # [kg m-3]; [m] radius and [1] asymmetry of new snow (Wiscombe & Warren 1980)
UPWARD = 0.7  # [1] upward part of a normal on which snow lies
LOOKS = 16  # points of each facet from which the sky above is looked for


@dataclass(frozen=True)
class Cover:
    """How far the stands under the open sky are wet or white, both (realization, step) [1]; their sum is at most 1."""

    wet: Array
    snow: Array

    def of(self, realization: int, steps: NDArray[np.bool_]) -> "Cover":
        """Some steps of one realization, both (step,)."""
        return Cover(self.wet[realization, steps], self.snow[realization, steps])


def wet_albedo(albedo: ArrayLike) -> Array:
    """Albedo [1] of a matte face under a film of water: light that it throws back is kept in by the film's own face.

    1 - a (1 - R) / (1 - p (1 - a)), a = 1 - albedo, p = 1 - (1 - R) / n^2. Lekner & Dorf 1988, Appl. Opt.
    27:1278, after Angstrom 1925, without their further term for the face's own index; so darkening is rather too small.
    """
    dry = np.asarray(albedo, float)
    kept = 1.0 - (1.0 - WATER_REFLECTS) / WATER_INDEX**2
    return np.asarray(1.0 - (1.0 - dry) * (1.0 - WATER_REFLECTS) / (1.0 - kept * dry))


def whiteness(mass: ArrayLike) -> Array:
    """Share of deep snow's brightness [1] that `mass` [kg m-2] of snow or frost has.

    Layer that scatters and does not absorb: R = t / (2 + t), t = (1 - g) tau, tau = 3 m / (2 rho r) (Bohren 1987,
    Am. J. Phys. 55:524). Half at 1.1 kg m-2.
    """
    scaled = (1.0 - FORWARD) * 1.5 * np.maximum(np.asarray(mass, float), 0.0) / (ICE * GRAIN)
    return np.asarray(scaled / (2.0 + scaled))


def albedos(mesh: Mesh, dry: Array) -> tuple[Array, Array]:
    """Albedo of each node (node,) with all that lies under the open sky wet, and under deep snow."""
    origin, normal, _ = ex.sample(mesh, mesh.owner[mesh.element], LOOKS)
    up = np.broadcast_to([0.0, 0.0, 1.0], (origin.shape[0] * LOOKS, 3))
    above, _ = ex.Scene(mesh).hit(origin.reshape(-1, 3), up)
    bare = np.append((above < 0).reshape(-1, LOOKS).mean(axis=1), 1.0)  # the ground outside last
    lies = np.append(normal[..., 2].mean(axis=1) > UPWARD, True)
    specular = np.array([f.finish.specular for f in mesh.facets] + [0.0])
    stands = np.array([f.body != "floor" for f in mesh.facets] + [False])
    film = specular * dry + (1.0 - specular) * wet_albedo(dry)  # the mirror-like share has nothing to keep in
    wet = np.where(stands, dry + bare * (film - dry), dry)
    return wet, np.where(lies, dry + bare * np.maximum(FRESH_SNOW - dry, 0.0), dry)


def cover(
    seconds: float,
    *,
    rain: Array,
    snowfall: Array,
    air: Array,
    humidity: Array,
    pressure: Array,
    wind: Array,
    skin: Array,
    film: Array,
) -> Cover:
    """Follow water and snow on the stands; dry at the beginning.

    Parameters
    ----------
    seconds : float
        Of a step.
    rain, snowfall : array (realization, step)
        [kg m-2 s-1], rain without the snow.
    air, humidity, pressure, wind : array (realization, step)
        [K], [kg kg-1], [Pa], at 10 m [m s-1].
    skin, film : array (realization, step)
        Mean of the stands [K], and the dew or frost on them [kg m-2].
    """
    heat = planks.forced_conductance(SEAT_WIND * np.maximum(wind, 0.5))
    full = vapour.specific_humidity(vapour.saturation_pressure(skin), pressure)
    dries = np.nan_to_num(planks.vapour_conductance(heat) * np.maximum(full - humidity, 0.0)) * seconds
    melts = np.nan_to_num(MELT * np.maximum(air - ZERO_CELSIUS, 0.0)) * seconds
    falls, flakes = np.nan_to_num(rain) * seconds, np.nan_to_num(snowfall) * seconds
    water, white = np.zeros(air.shape), np.zeros(air.shape)
    held, lying = np.zeros(len(air)), np.zeros(len(air))
    for t in range(air.shape[1]):
        lying = lying + flakes[:, t]
        gone = np.minimum(lying, melts[:, t])
        lying = lying - gone
        held = np.clip(held + falls[:, t] + gone - dries[:, t], 0.0, HOLD)
        water[:, t], white[:, t] = held, lying
    cold = skin < ZERO_CELSIUS
    dew = np.nan_to_num(film)
    snow = whiteness(white + np.where(cold, dew, 0.0))
    wet = np.minimum((water + np.where(cold, 0.0, dew)) / DARK, 1.0) * (1.0 - snow)
    return Cover(wet, snow)
