"""Sun and sky over open ground for a weather series: where the sun stands, and what cloud does to its light.

The published relations stand in `physics`; here they meet times, places and interval means.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

from microclimate.physics import longwave, rain, skylight, sunlight, vapour
from microclimate.schema import Site

Floats = NDArray[np.float64]

FINEST = 600.0  # [s] the sun is followed at least so often
DARK = 0.004  # share of all light that may fall in the dark (ours)
HORIZON = 0.01  # [1] mean sine of elevation below which an interval has no sun worth dividing (ours)


@dataclass(frozen=True)
class Sun:
    """The sun over each interval of a series, (time,)."""

    height: Floats  # [1] mean of the sine of its elevation, 0 below the horizon
    clear: Floats  # [W m-2] clear-sky shortwave on level ground, interval mean
    outside: Floats  # [W m-2] the same above the air
    down: NDArray[np.bool_]  # below the horizon throughout


def sun(ends: NDArray[np.datetime64], seconds: Floats, site: Site) -> Sun:
    """The sun over intervals that end at `ends` (UTC) and last `seconds`.

    Position by the NREL algorithm (`pvlib.solarposition`), clear sky by Ineichen & Perez 2002 with monthly Linke
    turbidity (`pvlib`), each at most ten minutes apart and averaged over the interval.
    """
    parts = max(1, int(np.ceil(float(seconds.max()) / FINEST)))
    middles = (np.arange(parts) + 0.5) / parts
    offsets = seconds[:, None] * (1.0 - middles[None, :])
    moments = (ends[:, None] - (offsets * 1e9).astype("timedelta64[ns]")).ravel()
    index = pd.DatetimeIndex(moments, tz="UTC")
    place = pvlib.location.Location(site.latitude, site.longitude, "UTC", site.elevation)
    position = place.get_solarposition(index)
    clear = place.get_clearsky(index, model="ineichen", solar_position=position)["ghi"].to_numpy()
    height = np.maximum(np.sin(np.deg2rad(position["apparent_elevation"].to_numpy())), 0.0)
    outside = sunlight.extraterrestrial_normal(_day(moments)) * height
    mean = [np.asarray(v.reshape(len(ends), parts).mean(axis=1)) for v in (height, np.nan_to_num(clear), outside)]
    return Sun(mean[0], mean[1], mean[2], mean[0] <= 0.0)


def _day(moments: NDArray[np.datetime64]) -> Floats:
    """Day of the year, 1 to 366."""
    dates = moments.astype("datetime64[D]")
    return np.asarray((dates - moments.astype("datetime64[Y]")) / np.timedelta64(1, "D") + 1.0)


def split(shortwave: Floats, sun: Sun) -> tuple[Floats, Floats]:
    """Global shortwave on level ground as (direct, diffuse) [W m-2], (..., time): Erbs, Klein & Duffie 1982.

    Direct light is held below what a beam outside the air could give; near the horizon all is diffuse.
    """
    up = sun.height > HORIZON
    clearness = np.where(up, shortwave / np.maximum(sun.outside, 1e-6), 0.0)
    share = np.where(up, skylight.diffuse_fraction(np.minimum(clearness, 1.0)), 1.0)
    diffuse = np.maximum(share * shortwave, shortwave - 0.9 * sun.outside)
    return shortwave - diffuse, diffuse


def lag(shortwave: Floats, sun: Sun, seconds: float) -> int:
    """By how many steps a series of shortwave (realization, time) runs ahead of the sun; 0 where nothing speaks of it.

    Only light in intervals that are dark throughout tells (more than `DARK` of all light: twilight gives a tenth of
    that); the lag is then the one at which the series fits the sun's height best, up to twelve hours either way.
    """
    series = np.nan_to_num(shortwave.mean(axis=0))
    light = np.maximum(series, 0.0)
    if len(series) * seconds < 86400.0 or light.sum() <= 0.0 or light[sun.down].sum() <= DARK * light.sum():
        return 0
    most = int(12 * 3600 / seconds)
    every = range(-most, most + 1)
    fits = [float(np.corrcoef(np.roll(series, moved), sun.height)[0, 1]) for moved in every]
    return every[int(np.argmax(fits))]


def shortwave(cloud: Floats, sun: Sun) -> Floats:
    """Shortwave on level ground [W m-2] under cloud: clear sky (Ineichen & Perez) times Kasten & Czeplak 1980."""
    return np.asarray(sun.clear * rain.shortwave_through_cloud(cloud))


CLEAR_SKIES: Mapping[str, Callable[[Floats, Floats], Floats]] = {
    # name -> clear-sky flux [W m-2] of (vapour pressure [Pa], air temperature [K])
    "brutsaert": lambda e, t: longwave.clear_sky_brutsaert(e, t) * longwave.black_body(t),
    "prata": lambda e, t: longwave.clear_sky_prata(e, t) * longwave.black_body(t),
    "dilley_obrien": lambda e, t: longwave.clear_sky_dilley_obrien(e, t),
}
# of the three the least biased in cold air: on the clear nights of three measured winters (a plain, a mountain
# clearing, a high valley) Brutsaert lay too low at each, Dilley & O'Brien within some 12 W m-2 either way; few places,
# and what counts as a clear night decides part of it, so a site's own readings go before this choice
DEFAULT_CLEAR_SKY = "dilley_obrien"


def longwave_down(temperature: Floats, dew_point: Floats, cloud: Floats, clear_sky: str) -> Floats:
    """Longwave of the sky [W m-2]: a clear-sky formula with cloud by Crawford & Duchon 1999. [K], [K], [1]."""
    pressure = vapour.saturation_pressure_water(dew_point)
    black = longwave.black_body(temperature)
    clear = np.minimum(CLEAR_SKIES[clear_sky](pressure, temperature) / black, 1.0)
    return np.asarray(longwave.cloudy_emissivity(clear, cloud) * black)


def cloud_from_longwave(flux: Floats, temperature: Floats, dew_point: Floats, clear_sky: str) -> Floats:
    """Cloud cover [1] that explains a measured or forecast sky longwave [W m-2]."""
    pressure = vapour.saturation_pressure_water(dew_point)
    clear = np.minimum(CLEAR_SKIES[clear_sky](pressure, temperature) / longwave.black_body(temperature), 0.999)
    return np.asarray(longwave.cloud_from_longwave(flux, clear, temperature))


def cloud_from_shortwave(shortwave: Floats, sun: Sun) -> Floats:
    """Cloud cover [1] by day, c = 1 - k (Crawford & Duchon 1999), carried through the night; (time,).

    k is the shortwave over that of a clear sky. Only intervals with the sun well up (mean sine > 0.15) count; before
    the first of them and after the last the nearest is held; the night between is a straight line. 0.5 without any.
    """
    usable = (sun.height > 0.15) & np.isfinite(shortwave)
    if not usable.any():
        return np.full(len(shortwave), 0.5)
    cover = np.clip(1.0 - shortwave[usable] / np.maximum(sun.clear[usable], 1.0), 0.0, 1.0)
    at = np.arange(len(shortwave))
    return np.asarray(np.interp(at, at[usable], cover))
