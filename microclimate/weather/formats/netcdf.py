"""CF-NetCDF, with or without members, a point or a grid: variables found by `standard_name`, else by name."""

import io
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import xarray as xr
from numpy.typing import NDArray
from xarray.backends import H5netcdfBackendEntrypoint, ScipyBackendEntrypoint

from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import FORMAT, Site
from microclimate.weather import names, stamps
from microclimate.weather.assumed import CODES
from microclimate.weather.place import STATION_REACH, nearest
from microclimate.weather.table import Column, Table, ignored


def table(data: bytes, path: Path, site: Site) -> Table:
    """A NetCDF file before its numbers are judged; of a grid, the point nearest to the site.

    Parameters
    ----------
    data : bytes
        The file.
    path : Path
        Its name, for messages.
    site : Site
        Where the series is wanted.
    """
    where = path.name
    file = _open(data, where)
    if int(file.attrs.get("format", FORMAT)) > FORMAT:
        raise refuse(
            where, f"has format {file.attrs['format']}", f"format {FORMAT} or older", "use a newer microclimate"
        )
    time = _time(file, where)
    file, codes = _point(file, site, where)
    member = _member(file)
    problems: list[Problem] = []
    columns: list[Column] = []
    unused: list[str] = []
    for name, array in file.data_vars.items():
        known = names.canonical(str(array.attrs.get("standard_name", ""))) or names.canonical(str(name))
        if known is None or time not in array.dims or array.dtype.kind not in "fiu":
            if time in array.dims and "bnds" not in array.dims and array.dtype.kind in "fiu":
                unused.append(str(name))
            continue
        if known in [c.name for c in columns]:
            unused.append(str(name))
            continue
        rest = [d for d in array.dims if d not in (time, member)]
        if any(array.sizes[d] > 1 for d in rest):
            problems.append(
                Problem(f"{where}: {name}", f"has dimensions {tuple(map(str, array.dims))}", "time and members")
            )
            continue
        if "units" not in array.attrs:
            problems.append(Problem(f"{where}: {name}", "has no attribute 'units'", "as in units = 'K'"))
            continue
        array = array.isel(dict.fromkeys(rest, 0))
        values = array.transpose(*([member] if member in array.dims else []), time).values.astype(float)
        if np.issubdtype(array.dtype, np.timedelta64):
            continue
        columns.append(Column(known, _unit(str(array.attrs["units"])), values, f"{where}: {name}", _running(array)))
    times, seconds = _ends(file, time)
    made = Table(times, columns, str(file.attrs.get("source", where)), codes=codes + ignored(unused), seconds=seconds)
    made.problems = problems
    made.issued = _issued(file)
    for key in ("wind_height", "temperature_height"):
        if key in file.attrs:
            setattr(made, key, float(file.attrs[key]))
    told = str(file.attrs.get("assumed", "")).split("\n")  # by a file of ours
    made.codes += [line for line in told if line.partition("=")[0] in CODES]
    return made


def _open(data: bytes, where: str) -> xr.Dataset:
    # named by its class: by its text xarray would look through all that is installed for engines first
    engine: Any = ScipyBackendEntrypoint if data[:3] == b"CDF" else H5netcdfBackendEntrypoint
    try:
        if (
            engine is H5netcdfBackendEntrypoint
        ):  # h5netcdf complains on its own when a broken file is let go: h5py looks first
            h5py.File(io.BytesIO(data)).close()
        with xr.open_dataset(io.BytesIO(data), engine=engine, decode_timedelta=False) as file:
            return file.load()
    except (OSError, ValueError, KeyError, TypeError, IndexError, RuntimeError, ImportError) as error:
        text = str(error).splitlines()[0][:140]
        cure = (
            "its calendar must be the standard one"
            if "calendar" in str(error) or "cftime" in str(error)
            else "is it whole?"
        )
        raise refuse(where, f"cannot be read as NetCDF ({text})", "CF-NetCDF", cure) from error


def _unit(text: str) -> str:
    return {"kg m**-2": "kg/m2", "m s**-1": "m/s", "W m**-2": "W/m2", "(0 - 1)": "1", "m of water equivalent": "m"}.get(
        text, text
    )


def _running(array: xr.DataArray) -> bool | None:
    """What the file says: a sum since a start, a sum over each interval, or nothing."""
    if str(array.attrs.get("standard_name", "")).startswith("integral_wrt_time_of"):
        return None  # over the interval or since a start: the numbers tell
    if "sum" in str(array.attrs.get("cell_methods", "")):
        return None
    return None if array.attrs.get("units", "").lower().startswith(("j", "w s", "kj")) else False


def _time(file: xr.Dataset, where: str) -> str:
    for name, coordinate in file.variables.items():
        if coordinate.dtype.kind == "M" and coordinate.ndim == 1:
            plain = names.plain(str(name))
            if plain in names.TIME or coordinate.attrs.get("standard_name") == "time":
                return str(coordinate.dims[0])
    text = [str(n) for n in file.variables if names.plain(str(n)) in names.TIME]
    cure = "'units' must read 'hours since 2026-01-28 00:00' and the calendar be standard" if text else ""
    raise refuse(where, "has no time coordinate that can be read", "a coordinate 'time' with CF units", cure)


def _member(file: xr.Dataset) -> str:
    for name in file.dims:
        if names.is_member(str(name)):
            return str(name)
    for coordinate in file.coords.values():
        if coordinate.attrs.get("standard_name") == "realization" and coordinate.ndim == 1:
            return str(coordinate.dims[0])
    return "realization"


def _ends(file: xr.Dataset, time: str) -> tuple[stamps.Times, NDArray[np.float64] | None]:
    """The END of each interval, by the file's bounds where it has them."""
    coordinate = (
        next(v for v in file.variables.values() if v.dims == (time,) and v.dtype.kind == "M")
        if time not in file.variables
        else file.variables[time]
    )
    times = coordinate.values.astype("datetime64[ns]")
    bounds_name = coordinate.attrs.get("bounds") or coordinate.encoding.get("bounds") or "time_bnds"
    if bounds_name in file.variables:
        bounds = file.variables[bounds_name].values
        if bounds.shape == (len(times), 2) and bounds.dtype.kind == "M":
            ends = bounds.max(axis=1).astype("datetime64[ns]")
            seconds = (bounds.max(axis=1) - bounds.min(axis=1)) / np.timedelta64(1, "s")
            if (seconds > 0).all() and (np.diff(ends) > np.timedelta64(0)).all():
                return ends, seconds
    return times, None


def _issued(file: xr.Dataset) -> str:
    for name, variable in file.variables.items():
        named = "forecast_reference_time" in (variable.attrs.get("standard_name"), name)
        if named and variable.dtype.kind == "M":
            return str(np.ravel(variable.values)[0])[:19] + "Z"
    return str(file.attrs.get("issued", ""))


def _point(file: xr.Dataset, site: Site, where: str) -> tuple[xr.Dataset, list[str]]:
    """The grid point or station nearest to the site."""
    pair = [
        next(
            (
                str(n)
                for n, v in file.variables.items()
                if v.attrs.get("standard_name") == kind or str(n).lower() in short
            ),
            "",
        )
        for kind, short in (("latitude", ("lat", "latitude")), ("longitude", ("lon", "longitude")))
    ]
    if not all(pair):
        return file, []
    latitude, longitude = file[pair[0]], file[pair[1]]
    if latitude.ndim == 0 or longitude.ndim == 0:
        grid_lat, grid_lon = np.ravel(latitude.values), np.ravel(longitude.values)
        if len(grid_lat) != 1 or len(grid_lon) != 1:
            raise InputError(where, [Problem(where, "latitude and longitude do not match", "one of each, or a grid")])
        _, code = nearest(grid_lat, grid_lon, site, where, reach=STATION_REACH)
        return file, [code] if code else []
    if latitude.dims == longitude.dims:
        at, code = nearest(latitude.values.ravel(), longitude.values.ravel(), site, where, reach=STATION_REACH)
        index = dict(zip(latitude.dims, np.unravel_index(at, latitude.shape), strict=True))
    else:
        lat, lon = np.meshgrid(latitude.values, longitude.values, indexing="ij")
        at, code = nearest(lat.ravel(), lon.ravel(), site, where)
        row, column = np.unravel_index(at, lat.shape)
        index = {latitude.dims[0]: row, longitude.dims[0]: column}
    return file.isel(index), [code] if code else []
