"""Gridpoint forecasts of the US National Weather Service (api.weather.gov/gridpoints/...), JSON.

Every layer has its own ISO 8601 intervals ("2026-01-28T06:00:00+00:00/PT6H"): rates hold over theirs, amounts are
split over theirs and their sum is kept. No radiation, mostly no pressure.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from microclimate.errors import Problem, refuse
from microclimate.schema import Site
from microclimate.weather.formats import layers
from microclimate.weather.place import nearest
from microclimate.weather.table import Column, Table

REACH = 10.0  # [km] a gridpoint covers 2.5 km
HOUR = np.timedelta64(1, "h")

POINTS = {
    "temperature": "air_temperature",
    "dewpoint": "dew_point_temperature",
    "relativeHumidity": "relative_humidity",
    "skyCover": "cloud_area_fraction",
    "windSpeed": "wind_speed",
    "windGust": "wind_speed_of_gust",
    "windDirection": "wind_from_direction",
    "pressure": "surface_air_pressure",
}
AMOUNTS = {"quantitativePrecipitation": "precipitation_flux", "snowfallAmount": "thickness_of_snowfall_amount"}
UNITS = {
    "degC": "degC", "degF": "degF", "K": "K", "percent": "%", "km_h-1": "km/h", "m_s-1": "m/s", "kt": "kt",
    "degree_(angle)": "degree", "degree": "degree", "mm": "mm", "m": "m", "Pa": "Pa", "hPa": "hPa", "in": "in",
}  # fmt: skip


def known(document: Any) -> bool:
    """Whether a JSON document is such a forecast."""
    properties = document.get("properties") if isinstance(document, dict) else None
    return isinstance(properties, dict) and "gridId" in properties


def table(document: dict[str, Any], path: Path, site: Site) -> Table:
    """A gridpoint forecast before its numbers are judged."""
    where = path.name
    properties = document["properties"]
    problems: list[Problem] = []
    spans: dict[str, tuple[Any, Any, Any, str]] = {}
    for layer in (*POINTS, *AMOUNTS):
        found = properties.get(layer)
        if isinstance(found, dict) and found.get("values"):
            spans[layer], more = _layer(found, f"{where}: {layer}")
            problems += more
    if problems or "temperature" not in spans:
        missing = [] if "temperature" in spans else [Problem(where, "has no temperatures", "a gridpoint forecast")]
        return Table(np.empty(0, "datetime64[ns]"), [], where, problems=problems + missing)
    starts, ends = spans["temperature"][0], spans["temperature"][1]
    axis = np.arange(starts.min(), ends.max(), HOUR)
    columns = []
    for layer, (begin, end, values, unit) in spans.items():
        place = f"{where}: {layer}"
        if layer in POINTS:
            series = layers.held(axis, begin, end, values)
            if np.isfinite(series).any():
                columns.append(Column(POINTS[layer], unit, series, place))
        else:
            series = layers.rates(axis, begin, end, values) * 3600.0
            name, unit = AMOUNTS[layer], ("mm/h" if layer != "snowfallAmount" else unit)
            if np.isfinite(series).any():
                columns.append(Column(name, unit, series, place, running_sum=False))
    made = Table(
        axis, columns, f"US National Weather Service gridpoint ({where})", wind_height=10.0, temperature_height=2.0
    )
    made.issued = _issued(properties, where)
    made.codes += _place(document, site, where)
    return made


def _layer(found: dict[str, Any], where: str) -> tuple[tuple[Any, Any, Any, str], list[Problem]]:
    """Starts, ends and values of one layer, and its unit."""
    text = str(found.get("uom", "")).rpartition(":")[2]
    empty = (np.empty(0, "datetime64[ns]"), np.empty(0, "datetime64[ns]"), np.empty(0), "")
    if text not in UNITS:
        return empty, [Problem(where, f"is in [{text}]", "a unit known here")]
    try:
        spans = [str(row["validTime"]).partition("/") for row in found["values"]]
        starts = pd.to_datetime([span[0] for span in spans], utc=True, format="ISO8601").tz_localize(None)
        lengths = pd.to_timedelta([pd.Timedelta(span[2]) for span in spans])
        values = np.array([np.nan if row["value"] is None else float(row["value"]) for row in found["values"]])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        told = f"has a value that cannot be read ({str(error).splitlines()[0][:80]})"
        return empty, [Problem(where, told, "validTime as 2026-01-28T06:00:00+00:00/PT6H and a number")]
    begin = starts.to_numpy().astype("datetime64[ns]")
    return (begin, (starts + lengths).to_numpy().astype("datetime64[ns]"), values, UNITS[text]), []


def _issued(properties: dict[str, Any], where: str) -> str:
    try:
        return f"{pd.Timestamp(properties['updateTime']).tz_convert('UTC'):%Y-%m-%dT%H:%M:%SZ}"
    except (KeyError, ValueError, TypeError) as error:
        raise refuse(where, "has no updateTime that can be read", "when the forecast was made") from error


def _place(document: dict[str, Any], site: Site, where: str) -> list[str]:
    try:
        corners = np.array(document["geometry"]["coordinates"][0], float)
        centre = corners[:-1].mean(axis=0)
    except (KeyError, TypeError, ValueError, IndexError):
        return []
    _, code = nearest(centre[1:2], centre[:1], site, where, reach=REACH)
    return [code] if code else []
