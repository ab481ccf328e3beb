"""From the weather's own times to the model's steps, each kind of number by its own rule.

Point values (temperature, wind) are joined by straight lines and averaged over each step. Means and amounts of an
interval are spread so that the interval's sum is kept. Sunlight is spread within its interval with the sun's height,
so that the beam fits the geometry and the interval's mean is still kept. A gap stays a gap.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from pvlib import atmosphere, solarposition
from scipy.sparse import csr_array

from microclimate.constants import SOLAR_CONSTANT

Array = NDArray[np.float64]

LONGEST_LOOK = 600.0  # [s] between two looks at the sun


@dataclass(frozen=True)
class Steps:
    """The model's steps over one weather series, and how the weather's numbers are laid on them."""

    time: NDArray[np.datetime64]  # (step,) end of each
    seconds: float
    point: csr_array  # (step, stamp)
    mean: csr_array  # (step, interval)
    # looks at the sun: parts of a step no longer than LONGEST_LOOK, each within one weather interval
    look_share: csr_array  # (step, look) rows sum to 1
    look_interval: NDArray[np.int64]  # (look,)
    look_seconds: Array
    azimuth: Array  # (look,) [degree]
    elevation: Array  # (look,) [degree] with refraction


def _pieces(edges: Array, cuts: Array) -> tuple[Array, Array, NDArray[np.int64]]:
    """Pieces between all edges and cuts: their middle, length, and which step they lie in."""
    inside = cuts[(cuts > edges[0]) & (cuts < edges[-1])]
    all_edges = np.union1d(edges, inside)
    middle, length = 0.5 * (all_edges[1:] + all_edges[:-1]), np.diff(all_edges)
    return middle, length, np.searchsorted(edges, middle) - 1


def interval_edges(weather: xr.Dataset) -> NDArray[np.datetime64]:
    """Start and end of each weather interval (interval, 2); without `time_bnds` from stamp to stamp."""
    time = weather["time"].values
    if "time_bnds" in weather:
        return np.asarray(weather["time_bnds"].transpose("time", "bnds").values)
    start = np.concatenate([time[:1] - (time[1] - time[0]), time[:-1]])
    return np.stack([start, time], axis=1)


def lay(weather: xr.Dataset, step: float, latitude: float, longitude: float, elevation: float = 0.0) -> Steps:
    """Lay model steps of `step` seconds over a weather series, from its first stamp to its last.

    Parameters
    ----------
    weather : Dataset
        At least two stamps; the stamp is the END of an interval.
    step : float
        [s], above 0.
    latitude, longitude, elevation : float
        Of the site [degree, degree, m].
    """
    origin = weather["time"].values[0]
    stamps = (weather["time"].values - origin) / np.timedelta64(1, "s")
    bounds = (interval_edges(weather) - origin) / np.timedelta64(1, "s")
    count = round((stamps[-1] - stamps[0]) // step)
    edges = np.arange(count + 1) * step
    shape = (count, len(stamps))

    middle, length, row = _pieces(edges, stamps)
    after = np.clip(np.searchsorted(stamps, middle), 1, len(stamps) - 1)
    share = (middle - stamps[after - 1]) / (stamps[after] - stamps[after - 1])
    weight = length / step
    point = csr_array(
        (np.r_[weight * (1.0 - share), weight * share], (np.r_[row, row], np.r_[after - 1, after])), shape=shape
    )

    middle, length, row = _pieces(edges, bounds.ravel())
    interval = np.clip(np.searchsorted(bounds[:, 1], middle), 0, len(stamps) - 1)
    mean = csr_array((length / step, (row, interval)), shape=shape)

    fine = np.round(np.linspace(0.0, edges[-1], count * int(np.ceil(step / LONGEST_LOOK)) + 1), 6)
    middle, length, row = _pieces(edges, np.union1d(fine, bounds.ravel()))
    sun = solarposition.get_solarposition(
        pd.DatetimeIndex(origin + (middle * 1e9).astype("timedelta64[ns]"), tz="UTC"), latitude, longitude, elevation
    )
    return Steps(
        time=origin + (edges[1:] * 1e9).astype("timedelta64[ns]"),
        seconds=step,
        point=point,
        mean=mean,
        look_share=csr_array((length / step, (row, np.arange(len(middle)))), shape=(count, len(middle))),
        look_interval=np.clip(np.searchsorted(bounds[:, 1], middle), 0, len(stamps) - 1),
        look_seconds=length,
        azimuth=sun["azimuth"].to_numpy(),
        elevation=sun["apparent_elevation"].to_numpy(),
    )


def spread(weights: csr_array, values: Array) -> Array:
    """Lay values (realization, stamp) on steps (realization, step); a step that touches a gap is a gap."""
    gap = ~np.isfinite(values)
    if not gap.any():
        return np.ascontiguousarray((weights @ values.T).T)
    laid = (weights @ np.where(gap, 0.0, values).T).T
    return np.where((weights @ gap.T.astype(float)).T > 0.0, np.nan, laid)


def sunlight(steps: Steps, direct: Array, diffuse: Array) -> tuple[Array, Array]:
    """Spread the means of direct and diffuse shortwave over the looks at the sun.

    Within its interval the beam follows the sun's height and the clear air it passes, 0.7^(m^0.678), the diffuse part
    the sun's height. Light that falls while the sun is never up is spread evenly and counts as diffuse; so does a beam
    stronger than outside the atmosphere.

    Parameters
    ----------
    direct, diffuse : array (realization, interval)
        On a horizontal surface [W m-2].

    Returns
    -------
    direct normal, diffuse : arrays (realization, look)
        [W m-2]; the sum over an interval of direct normal times sine of the height, and diffuse, is kept.
    """
    sine = np.clip(np.sin(np.radians(steps.elevation)), 0.0, None)
    air_mass = atmosphere.get_relative_airmass(90.0 - steps.elevation)
    clear = np.where(sine > 0.0, 0.7 ** (np.nan_to_num(air_mass, nan=40.0) ** 0.678), 0.0)
    intervals = direct.shape[1]

    def per_interval(shape: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Shape of mean 1 in each interval, 0 where it has none; and which intervals have one."""
        sums = np.bincount(steps.look_interval, shape * steps.look_seconds, intervals)
        time = np.bincount(steps.look_interval, steps.look_seconds, intervals)
        mean = np.divide(sums, time, out=np.zeros(intervals), where=time > 0.0)
        own = mean[steps.look_interval]
        return np.divide(shape, own, out=np.zeros_like(shape), where=own > 0.0), own > 0.0

    beam_shape, _ = per_interval(sine * clear)
    sky_shape, lit = per_interval(sine)
    beam = direct[:, steps.look_interval] * beam_shape
    sky = diffuse[:, steps.look_interval] * np.where(lit, sky_shape, 1.0)
    sky = sky + direct[:, steps.look_interval] * ~lit
    normal = np.divide(beam, sine, out=np.zeros_like(beam), where=sine > 0.0)
    strongest = np.minimum(normal, SOLAR_CONSTANT)
    return strongest, sky + (normal - strongest) * sine
