"""`--work`: the next three days' hours in which each job on the field is within its limits."""

from datetime import timedelta

import numpy as np
import xarray as xr

from microclimate.actions import plan as plans
from microclimate.errors import Problem, WeatherTooOld
from microclimate.exposure.force import Forcing
from microclimate.report.worked import Worked
from microclimate.risk import work
from microclimate.simulate import run
from microclimate.simulate.laid import steps_before_gap
from microclimate.venue.load import Venue

AHEAD = timedelta(days=3)


def worked(venue: Venue, forcing: Forcing, initial: xr.Dataset, since: np.datetime64) -> Worked:
    """Run the bare field through the forecast and hold each hour against the venue's limits.

    Parameters
    ----------
    venue : Venue
    forcing : Forcing
        From the moment of `initial` to at most `AHEAD` after `since`; it is cut where the first member ends.
    initial : Dataset
        `schema.INITIAL_VARIABLES`.
    since : datetime64
        UTC.

    Raises
    ------
    WeatherTooOld
        No whole hour is left.
    """
    blocks = list(forcing)
    reach = min(int(steps_before_gap(block).min()) for block in blocks)
    time = blocks[0]["time"].values[:reach]
    if reach < 2 or not work.hours(time, since)[0].size:
        where = str(forcing.weather.attrs.get("source", "weather"))
        end = str(time[-1])[:16] if reach else "before it begins"
        raise WeatherTooOld(where, [Problem(where, f"ends {end} UTC", f"an hour after {str(since)[:16]} UTC")])
    plan = plans.nothing(venue, time[0] - (time[1] - time[0]), time[-1])
    runs, done = [], 0
    for block in blocks:
        count = block.sizes["realization"]
        first = initial if initial.sizes["realization"] == 1 else initial.isel(realization=slice(done, done + count))
        known = block.isel(time=slice(0, reach))
        runs.append((known, run.through(venue, known, first, plan)[0]))
        done += count
    return work.worked(venue, runs, since)
