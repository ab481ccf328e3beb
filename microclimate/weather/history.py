"""What is usual at a place, from a typical year or a long record: the climate that a forecast is pulled to."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import refuse
from microclimate.weather import dress

Floats = NDArray[np.float64]

SEASON = 15.0  # [d] either side of the date
FEWEST = 5  # hours of a kind below which nothing usual can be told


def climate(past: xr.Dataset, times: NDArray[np.datetime64]) -> dress.Climate:
    """Mean and spread of the weather's latents for each time, by time of day within half a month of its date.

    Parameters
    ----------
    past : Dataset
        Weather of a typical year or of several years, (realization, time).
    times : (time,) datetime64
        For which the climate is wanted; another year than the past's.

    Raises
    ------
    InputError
        Fewer than five such hours for some time of day.
    """
    when = past["time"].values
    one = {name: past[name].values[0] for name in _NAMES}
    known = np.isfinite(list(one.values())).all(axis=0)
    run = dress.latents(*(one[name] for name in _NAMES))
    day, hour = _calendar(when)
    wanted_day, wanted_hour = _calendar(times)
    means: dict[str, Floats] = {name: np.empty(len(times)) for name in dress.ERRORS}
    spreads = {name: np.empty(len(times)) for name in dress.ERRORS}
    for at in range(len(times)):
        near = np.abs((day - wanted_day[at] + 182.625) % 365.25 - 182.625) <= SEASON
        alike = known & near & (np.abs((hour - wanted_hour[at] + 12.0) % 24.0 - 12.0) <= 0.5)
        if alike.sum() < FEWEST:
            source = str(past.attrs.get("source", "past weather"))
            raise refuse(source, f"has {int(alike.sum())} hours of this season and time of day", f"at least {FEWEST}")
        for name in means:
            sample = getattr(run, name)[alike]
            means[name][at], spreads[name][at] = sample.mean(), max(float(sample.std(ddof=1)), 1e-3)
    return dress.Climate(dress.Latents(**means), dress.Latents(**spreads))


_NAMES = ("air_temperature", "dew_point_temperature", "wind_speed", "cloud_area_fraction")


def _calendar(times: NDArray[np.datetime64]) -> tuple[Floats, Floats]:
    """Day of the year and hour of the day, UTC."""
    day = (times.astype("datetime64[D]") - times.astype("datetime64[Y]").astype("datetime64[D]")) / np.timedelta64(
        1, "D"
    )
    hour = (times - times.astype("datetime64[D]")) / np.timedelta64(1, "h")
    return np.asarray(day), np.asarray(hour)
