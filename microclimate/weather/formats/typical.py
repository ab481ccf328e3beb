"""Typical-year files (TMY3, EPW) through pvlib, whose two readers label hours in opposite ways.

pvlib 0.16.1: `read_tmy3` labels hours by their END, `read_epw` by their BEGINNING (told by the correlation of global
radiation with the sun half an hour before and after the label; tests repeat that). Both leave here as the END.
"""

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pvlib

from microclimate.errors import refuse
from microclimate.schema import Site
from microclimate.weather.place import SAME_PLACE, distance
from microclimate.weather.table import Column, Table

MOST_RAIN = 150.0  # [mm] in an hour; more is a fault of the file (world record about 300; ours)
YEAR = 2025  # months of different years are set into one; the last label falls on 1 January after it


def tmy3(data: bytes, path: Path, site: Site) -> Table:
    """A TMY3 file, hour-ending."""
    frame, meta = from_file(
        pvlib.iotools.read_tmy3, data, path, "TMY3 as published", coerce_year=YEAR, map_variables=True
    )
    picks = [
        ("air_temperature", "degC", "temp_air"),
        ("dew_point_temperature", "degC", "temp_dew"),
        ("relative_humidity", "%", "relative_humidity"),
        ("wind_speed", "m/s", "wind_speed"),
        ("wind_from_direction", "degree", "wind_direction"),
        ("surface_air_pressure", "hPa", "pressure"),
        ("cloud_area_fraction", "tenths", "TotCld (tenths)"),
        ("surface_downwelling_shortwave_flux_in_air", "W/m2", "ghi"),
        ("direct_normal_irradiance", "W/m2", "dni"),
        ("surface_diffuse_downwelling_shortwave_flux_in_air", "W/m2", "dhi"),
        ("precipitation_flux", "mm", "Lprecip depth (mm)"),
    ]
    source = f"typical year {meta.get('Name', '').strip(chr(34))} ({path.name})"
    made = _table(frame, picks, pd.Timedelta(0), source, path)
    made.codes += _away(meta, site)
    made.place = _place(meta)
    for column in made.columns:
        if column.name == "precipitation_flux":
            wet = column.values[column.values > 0]
            # hundredths of an inch in tenths of a millimetre are 3, 5, 8, 10 ...: whole millimetres would show 1 and 2
            if wet.size >= 20 and np.isin(wet, (1.0, 2.0)).mean() < 0.01:
                column.values = column.values * 0.1
                made.codes.append("precipitation_unit=tenths of mm")
            # published files hold such depths without any rain about (703165: 232 to 753 mm in an hour)
            column.values = np.where(column.values > MOST_RAIN, np.nan, column.values)
    return made


def epw(data: bytes, path: Path, site: Site) -> Table:
    """An EPW file, hour-beginning after pvlib: moved by its hour."""
    frame, meta = from_file(pvlib.iotools.read_epw, data, path, "EPW as published", coerce_year=YEAR)
    picks = [
        ("air_temperature", "degC", "temp_air"),
        ("dew_point_temperature", "degC", "temp_dew"),
        ("relative_humidity", "%", "relative_humidity"),
        ("wind_speed", "m/s", "wind_speed"),
        ("wind_from_direction", "degree", "wind_direction"),
        ("surface_air_pressure", "Pa", "atmospheric_pressure"),
        ("cloud_area_fraction", "tenths", "total_sky_cover"),
        ("surface_downwelling_shortwave_flux_in_air", "W/m2", "ghi"),
        ("direct_normal_irradiance", "W/m2", "dni"),
        ("surface_diffuse_downwelling_shortwave_flux_in_air", "W/m2", "dhi"),
        ("surface_downwelling_longwave_flux_in_air", "W/m2", "ghi_infrared"),
        ("precipitation_flux", "mm", "liquid_precipitation_depth"),
    ]
    source = f"typical year {str(meta.get('city', '')).strip()} ({path.name})"
    made = _table(frame, picks, pd.Timedelta(hours=1), source, path)
    made.codes += _away(meta, site)
    made.place = _place(meta)
    return made


def from_file(reader: Any, data: bytes, path: Path, wanted: str, **options: Any) -> tuple[pd.DataFrame, dict[str, Any]]:
    """A reader of pvlib, which wants a file, on bytes; what it raises becomes words."""
    handle, name = tempfile.mkstemp(suffix=path.suffix)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        frame, meta = reader(name, **options)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, OSError) as error:
        told = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise refuse(path.name, f"cannot be read to its end ({told})", wanted, "fetch it again") from error
    finally:
        Path(name).unlink(missing_ok=True)
    return frame, meta


def _place(meta: Mapping[str, Any]) -> dict[str, float]:
    names = {"latitude": "latitude", "longitude": "longitude", "altitude": "elevation", "TZ": "utc_offset"}
    return {name: float(meta[key]) for key, name in names.items()}


def _away(meta: Mapping[str, Any], site: Site) -> list[str]:
    """A typical year serves from afar too, but it is said how far."""
    away = float(distance(np.array(float(meta["latitude"])), np.array(float(meta["longitude"])), site))
    return [f"grid_point={away:.1f} km"] if away > SAME_PLACE else []


def _table(
    frame: pd.DataFrame, picks: list[tuple[str, str, str]], shift: pd.Timedelta, source: str, path: Path
) -> Table:
    if len(frame) < 24:
        raise refuse(path.name, f"holds {len(frame)} hours", "a typical year")
    index = pd.DatetimeIndex(frame.index).tz_convert("UTC").tz_localize(None) + shift
    times = index.to_numpy().astype("datetime64[ns]")
    columns = []
    for name, unit, key in picks:
        if key in frame:
            values = pd.to_numeric(frame[key], errors="coerce").to_numpy(dtype=float)
            if name == "cloud_area_fraction":
                values = np.where((values > 10) | (values < 0), np.nan, values)  # 99: not observed
            elif name == "precipitation_flux":
                values = np.where((values < 0) | (values >= 999), np.nan, values)
            elif "flux" in name or "irradiance" in name:
                values = np.where((values < 0) | (values >= 9999), np.nan, values)
            if np.isfinite(values).any():
                columns.append(Column(name, unit, values, f"{path.name}: {key}"))
    order = np.argsort(times, kind="stable")
    for column in columns:
        column.values = column.values[order]
    return Table(
        times[order], columns, source, wind_height=10.0, temperature_height=2.0, codes=[f"typical_year={YEAR}"]
    )
