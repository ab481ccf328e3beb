"""Days of the demo's past, run as `zones` runs them."""

from datetime import date
from pathlib import Path
from typing import Any

import xarray as xr

from microclimate.exposure import patches
from microclimate.exposure.bowl import bowl
from microclimate.venue.load import Venue
from microclimate.weather import complete, read
from microclimate.workflow import zones_days, zones_run

PAST = Path(__file__).parents[2] / "data_demo" / "past.csv"


def lived(
    venue: Venue, first: date, last: date, **given: bool
) -> tuple[zones_run.Case, Any, xr.Dataset, zones_days.Days, Any]:
    """Case, patches, weather, days and what the field lived through; `given` to `zones_run.lived`."""
    site = venue.site.site
    days = zones_days.Days(first, last, site.time_zone)
    weather = zones_days.covering(complete.weather(read.weather(PAST, site), site), days)
    seen = bowl(venue)
    joined = patches.patches(
        venue.field.zones, seen, patches.morning_sun(seen, site.latitude, site.longitude, days.first)
    )
    case = zones_run.Case(venue, seen)
    return case, joined, weather, days, zones_run.lived(case, joined, weather, days, **given)
