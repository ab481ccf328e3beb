"""Point forecasts of MET Norway (locationforecast, JSON): values at a time, amounts of the hour or the six hours after.

The hour's amount is taken where the next row is an hour away, the six hours' amount where it is six: never both.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from microclimate.errors import Problem
from microclimate.schema import Site
from microclimate.weather.place import nearest
from microclimate.weather.table import Column, Table

REACH = 10.0  # [km] the service answers for the point asked

NAMES = {
    "air_temperature": "air_temperature",
    "dew_point_temperature": "dew_point_temperature",
    "relative_humidity": "relative_humidity",
    "cloud_area_fraction": "cloud_area_fraction",
    "wind_speed": "wind_speed",
    "wind_speed_of_gust": "wind_speed_of_gust",
    "wind_from_direction": "wind_from_direction",
    "air_pressure_at_sea_level": "air_pressure_at_mean_sea_level",
}
# the service's own spread of single hours, sent for some places: not used, since members need errors joined in time
PERCENTILES = ("air_temperature_percentile", "wind_speed_percentile")


def known(document: Any) -> bool:
    """Whether a JSON document is such a forecast."""
    properties = document.get("properties") if isinstance(document, dict) else None
    return isinstance(properties, dict) and "timeseries" in properties


def table(document: dict[str, Any], path: Path, site: Site) -> Table:
    """A point forecast before its numbers are judged."""
    where = path.name
    source = f"MET Norway locationforecast ({where})"
    try:
        meta = document["properties"]["meta"]
        rows = document["properties"]["timeseries"]
        times = pd.to_datetime([row["time"] for row in rows], utc=True, format="ISO8601").tz_localize(None)
        details = [row["data"]["instant"]["details"] for row in rows]
        units = meta["units"]
    except (KeyError, TypeError, ValueError) as error:
        told = f"has a row that cannot be read ({str(error).splitlines()[0][:80]})"
        return Table(
            np.empty(0, "datetime64[ns]"), [], where, problems=[Problem(where, told, "a whole locationforecast")]
        )
    axis = times.to_numpy().astype("datetime64[ns]")
    made = Table(axis, [], source, str(meta.get("updated_at", "")), wind_height=10.0, temperature_height=2.0)
    for theirs, ours in NAMES.items():
        values = np.array([number(detail.get(theirs)) for detail in details])
        if np.isfinite(values).any():
            made.columns.append(Column(ours, str(units.get(theirs, "")), values, f"{where}: {theirs}"))
    made.codes += [f"ignored={name}" for name in PERCENTILES if any(name + "_10" in detail for detail in details)]
    amounts = np.full(len(axis), np.nan)
    for at in range(len(axis) - 1):
        hours = round(float((axis[at + 1] - axis[at]) / np.timedelta64(1, "h")))
        after = rows[at]["data"].get(f"next_{hours}_hours")
        if isinstance(after, dict):
            amounts[at + 1] = number((after.get("details") or {}).get("precipitation_amount"))
    if np.isfinite(amounts).any():
        made.columns.append(
            Column(
                "precipitation_flux", str(units.get("precipitation_amount", "mm")), amounts, f"{where}: amounts", False
            )
        )
    made.seconds = np.diff(axis, prepend=axis[:1] - np.timedelta64(1, "h")) / np.timedelta64(1, "s")
    try:
        longitude, latitude = document["geometry"]["coordinates"][:2]
        _, code = nearest(np.array([float(latitude)]), np.array([float(longitude)]), site, where, reach=REACH)
        made.codes += [code] if code else []
    except (KeyError, TypeError, ValueError):
        made.problems.append(Problem(where, "says no place", "geometry with longitude and latitude"))
    return made


def number(value: Any) -> float:
    """A number of a JSON document, NaN where it is none."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return np.nan
