"""One day of a US surface-radiation station (SURFRAD), by the minute, through pvlib: measured sky longwave."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

from microclimate.errors import refuse
from microclimate.schema import Site
from microclimate.weather.formats.typical import from_file
from microclimate.weather.place import STATION_REACH, nearest
from microclimate.weather.table import Column, Table

_SECOND = re.compile(rb"^\s*-?\d+\.\d+\s+-?\d+\.\d+\s+\d+\s+m\s+version")

PICKS = [
    ("air_temperature", "degC", "temp"),
    ("relative_humidity", "%", "rh"),
    ("wind_speed", "m/s", "windspd"),
    ("wind_from_direction", "degree", "winddir"),
    ("surface_air_pressure", "hPa", "pressure"),
    ("surface_downwelling_shortwave_flux_in_air", "W/m2", "dw_solar"),
    ("direct_normal_irradiance", "W/m2", "direct_n"),
    ("surface_diffuse_downwelling_shortwave_flux_in_air", "W/m2", "diffuse"),
    ("surface_downwelling_longwave_flux_in_air", "W/m2", "dw_ir"),
]


def known(head: bytes) -> bool:
    """Whether the second line is that of such a file: latitude, longitude, elevation, version."""
    lines = head.split(b"\n", 2)
    return len(lines) > 1 and bool(_SECOND.match(lines[1]))


def table(data: bytes, path: Path, site: Site) -> Table:
    """A day of measurements before its numbers are judged."""
    where = path.name
    frame, meta = from_file(pvlib.iotools.read_surfrad, data, path, "a whole day", map_variables=False)
    if len(frame) < 2:
        raise refuse(where, f"holds {len(frame)} rows", "a day of minutes")
    # older headers count longitude positive to the west; these stations all lie there
    longitude = -abs(float(meta["longitude"]))
    _, code = nearest(np.array([float(meta["latitude"])]), np.array([longitude]), site, where, reach=STATION_REACH)
    times = pd.DatetimeIndex(frame.index).tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[ns]")
    columns = []
    for name, unit, key in PICKS:
        values = pd.to_numeric(frame[key], errors="coerce").to_numpy(dtype=float)
        values = np.where(values < -9000.0, np.nan, values)
        if np.isfinite(values).any():
            columns.append(Column(name, unit, values, f"{where}: {key}", running_sum=False))
    made = Table(times, columns, f"surface radiation station {str(meta.get('name', '')).strip()} ({where})")
    made.wind_height, made.temperature_height, made.codes = 10.0, 2.0, [code] if code else []
    return made
