"""Observations of one station as the US National Weather Service sends them (stations/ID/observations), GeoJSON."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from microclimate.errors import refuse
from microclimate.schema import Site
from microclimate.weather.formats.metar import OKTAS
from microclimate.weather.formats.metno import number
from microclimate.weather.formats.nws import UNITS
from microclimate.weather.place import STATION_REACH, nearest
from microclimate.weather.table import Column, Table

NAMES = {
    "temperature": "air_temperature",
    "dewpoint": "dew_point_temperature",
    "windSpeed": "wind_speed",
    "windGust": "wind_speed_of_gust",
    "windDirection": "wind_from_direction",
    "barometricPressure": "surface_air_pressure",
    "precipitationLastHour": "precipitation_flux",
}


def known(document: Any) -> bool:
    """Whether a JSON document is such a list."""
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list) or not features or not isinstance(features[0], dict):
        return False
    properties = features[0].get("properties")
    return isinstance(properties, dict) and "timestamp" in properties


def table(document: dict[str, Any], path: Path, site: Site) -> Table:
    """A list of observations before its numbers are judged."""
    where = path.name
    try:
        rows = [feature["properties"] for feature in document["features"]]
        point = np.array(document["features"][0]["geometry"]["coordinates"][:2], float)
        times = pd.to_datetime([row["timestamp"] for row in rows], utc=True, format="ISO8601").tz_localize(None)
    except (KeyError, TypeError, ValueError) as error:
        raise refuse(where, "has an observation that cannot be read", "the service's list", "fetch it again") from error
    _, code = nearest(point[1:], point[:1], site, where, reach=STATION_REACH)
    columns = []
    for theirs, ours in NAMES.items():
        cells = [cell if isinstance(cell := row.get(theirs), dict) else {} for row in rows]
        values = np.array([number(cell.get("value")) for cell in cells])
        units = {str(cell.get("unitCode", "")).rpartition(":")[2] for cell in cells if cell.get("value") is not None}
        if ours == "precipitation_flux" and np.isfinite(values).any():
            values = np.where(np.isnan(values), 0.0, values)
        if np.isfinite(values).any():
            unit = UNITS.get(next(iter(units)), next(iter(units))) if len(units) == 1 else "several units"
            columns.append(Column(ours, unit, values, f"{where}: {theirs}", running_sum=False))
    cloud = np.array([_cover(row.get("cloudLayers")) for row in rows])
    if np.isfinite(cloud).any():
        columns.append(Column("cloud_area_fraction", "oktas", cloud, f"{where}: cloudLayers"))
    station = str(rows[0].get("station", "")).rpartition("/")[2]
    made = Table(times.to_numpy().astype("datetime64[ns]"), columns, f"observations at {station} ({where})")
    made.wind_height, made.temperature_height, made.codes = 10.0, 2.0, [code] if code else []
    return made


def _cover(layers: Any) -> float:
    if not isinstance(layers, list):
        return np.nan
    return max(
        (OKTAS.get(str(layer.get("amount")), 0.0) for layer in layers if isinstance(layer, dict)), default=np.nan
    )
