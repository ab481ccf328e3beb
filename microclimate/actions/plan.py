"""Plans: what is done to each zone, and when, as a Dataset the simulation reads."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import PLAN_VARIABLES, seal
from microclimate.venue.load import Venue

# what a plan holds where nothing is done; temperatures are inert while nothing is switched on
_NOTHING = {
    "cover": 0.0,
    "cover_raised": 0.0,
    "warm_air_flow": 0.0,
    "warm_air_temperature": ZERO_CELSIUS + 20.0,
    "heating_allowed": 0.0,
    "set_point": ZERO_CELSIUS + 4.0,
    "supply_temperature": ZERO_CELSIUS + 35.0,
    "skirts_closed": 0.0,
    "snow_removed": 0.0,
}


def nothing(venue: Venue, start: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """The plan that does nothing, from `start` to `end` (UTC).

    Returns
    -------
    Dataset
        Sealed by `schema.PLAN_VARIABLES`, one plan, every zone, one interval; coordinate `time` is its end and
        `time_bnds` its bounds.
    """
    return constant(venue, start, end, "nothing", {})


def constant(
    venue: Venue, start: np.datetime64, end: np.datetime64, name: str, settings: dict[str, NDArray[np.float64] | float]
) -> xr.Dataset:
    """A plan that holds the same settings from `start` to `end` (UTC) in every zone, or one value per zone.

    Parameters
    ----------
    settings : dict
        Values of `schema.PLAN_VARIABLES`, scalar or shape (zone,); what is not named is as in `nothing`.

    Returns
    -------
    Dataset
        Sealed by `schema.PLAN_VARIABLES`: (plan 1, zone, time 1).
    """
    zones = [zone.name for zone in venue.field.zones]
    values = {**_NOTHING, **settings}
    data = {
        key: (("plan", "zone", "time"), np.broadcast_to(np.asarray(value, dtype=float), (len(zones),))[None, :, None])
        for key, value in values.items()
    }
    bounds = np.array([[start, end]], dtype="datetime64[ns]")
    dataset = xr.Dataset(
        {**data, "time_bnds": (("time", "bnds"), bounds)},
        coords={"plan": [name], "zone": zones, "time": bounds[:, 1]},
    )
    return seal(dataset, PLAN_VARIABLES, "plan")
