"""Columns of any weather file to one raw Dataset: canonical names, SI, rows in order of time."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate import units
from microclimate.errors import InputError, Problem
from microclimate.weather import assumed, quality, stamps
from microclimate.weather.names import RAW

FRESH_SNOW_DENSITY = 100.0  # [kg m-3] ten to one, common practice, no source
MOST_VALUES = 50_000_000


@dataclass
class Column:
    """One variable as the file has it."""

    name: str  # canonical
    unit: str
    values: NDArray[np.float64]  # (time,) or (realization, time)
    where: str  # for messages
    running_sum: bool | None = None


@dataclass
class Table:
    """A file before its numbers are judged."""

    times: stamps.Times  # UTC, END of the interval
    columns: list[Column]
    source: str
    issued: str = ""  # ISO, UTC
    wind_height: float | None = None  # [m]
    temperature_height: float | None = None  # [m]
    codes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    seconds: NDArray[np.float64] | None = None  # interval each stamp ends, where the file says so
    place: dict[str, float] = field(default_factory=dict)  # latitude, longitude [degree], elevation [m], utc_offset [h]


def dataset(table: Table) -> xr.Dataset:
    """The raw Dataset of a file: dims (realization, time) with `time_bnds`, canonical names, SI.

    Raises
    ------
    InputError
        Everything that is wrong with the file, at once.
    """
    problems = list(table.problems)
    if not problems:
        problems += _times(table)
    if problems and (not table.columns or len(table.times) < 2 or np.isnat(table.times).any()):
        raise InputError(table.source, problems)
    codes = [*table.codes, *_order(table)]
    seconds = stamps.seconds(table.times) if table.seconds is None else table.seconds
    variables: dict[str, tuple[tuple[str, str], NDArray[np.float64], dict[str, str]]] = {}
    for column in table.columns:
        done = quality.settle(
            column.name, column.values, column.unit, seconds, column.where, running_sum=column.running_sum
        )
        problems += done.problems
        codes += done.codes
        if column.name in variables:
            problems.append(Problem(column.where, f"is a second {column.name}", "one column of each"))
        values = np.atleast_2d(done.values)
        variables[column.name] = (("realization", "time"), values, {"cell_methods": RAW[column.name].cell_methods})
    if problems:
        raise InputError(table.source, problems)
    bounds = np.stack([table.times - (seconds * 1e9).astype("timedelta64[ns]"), table.times], axis=-1)
    data = xr.Dataset(
        variables,
        coords={"time": table.times},
        attrs={"source": table.source, "issued": table.issued, "assumed": ""},
    )
    data["time_bnds"] = (("time", "bnds"), bounds)
    for name, value in (("wind_height", table.wind_height), ("temperature_height", table.temperature_height)):
        if value is not None:
            data.attrs[name] = float(value)
    data.attrs.update(table.place)
    return assumed.note(_members(_derived(data), codes), codes)


def _members(data: xr.Dataset, codes: list[str]) -> xr.Dataset:
    """Members without any value of some variable are left out; those that end early are counted."""
    if data.sizes["realization"] < 2:
        return data
    known = [np.isfinite(data[name].values) for name in data.data_vars if name != "time_bnds"]
    alive = np.logical_and.reduce([k.any(axis=1) if len(k) > 1 else np.ones(len(k), bool) for k in known])
    if alive.any() and not alive.all():
        codes.append(f"dead_members={int((~alive).sum())}")
        data = data.isel(realization=alive)
    if "air_temperature" in data:
        last = np.isfinite(data["air_temperature"].values)
        ends = last.shape[1] - np.argmax(last[:, ::-1], axis=1)
        early = int((ends < ends.max()).sum())
        if early:
            codes.append(f"unequal_members={early}")
    return data


def _times(table: Table) -> list[Problem]:
    if len(table.times) < 2:
        return [Problem(table.source, f"has {len(table.times)} rows of weather", "at least two")]
    if not table.columns:
        return [Problem(table.source, "has no column known here", "air_temperature [degC] and others")]
    if np.isnat(table.times).any():
        return [Problem(table.source, f"{int(np.isnat(table.times).sum())} stamps are empty", "a stamp in each row")]
    if table.times.min() < stamps.EARLIEST or table.times.max() > stamps.LATEST:
        return [Problem(table.source, f"runs {table.times.min()} to {table.times.max()}", "years 1900 to 2100")]
    return []


def _rows(table: Table, take: NDArray[np.int_]) -> None:
    table.times = table.times[take]
    if table.seconds is not None:
        table.seconds = table.seconds[take]
    for column in table.columns:
        column.values = column.values[..., take]


def _order(table: Table) -> list[str]:
    """Sorts the rows, drops those said twice, refuses two values for one time."""
    codes = []
    if (np.diff(table.times) < np.timedelta64(0)).any():
        codes.append("unsorted_rows")
        _rows(table, np.argsort(table.times, kind="stable"))
    twice = np.flatnonzero(np.diff(table.times) == np.timedelta64(0))
    if twice.size:
        for column in table.columns:
            a, b = column.values[..., twice], column.values[..., twice + 1]
            differ = np.isfinite(a) & np.isfinite(b) & (a != b)
            if differ.any():
                when = str(table.times[twice[np.flatnonzero(differ.reshape(-1, twice.size).any(0))[0]]])[:16]
                cure = "one row for each time; mind the hour that clocks repeat in autumn (write offsets)"
                raise InputError(table.source, [Problem(column.where, f"two values for {when} UTC", "one", cure)])
            column.values[..., twice] = np.where(np.isfinite(a), a, b)
        codes.append(f"duplicate_rows={twice.size}")
        _rows(table, np.setdiff1d(np.arange(len(table.times)), twice + 1))
    return codes


def _derived(data: xr.Dataset) -> xr.Dataset:
    """Wind from its components; water of fresh snow from its depth."""
    if {"eastward_wind", "northward_wind"} <= set(data) and "wind_speed" not in data:
        east, north = data["eastward_wind"].values, data["northward_wind"].values
        point = {"cell_methods": "time: point"}
        data["wind_speed"] = (("realization", "time"), np.hypot(east, north), point)
        data["wind_from_direction"] = (("realization", "time"), np.rad2deg(np.arctan2(-east, -north)) % 360.0, point)
    if "thickness_of_snowfall_amount" in data and "snowfall_flux" not in data:
        seconds = (data["time_bnds"][:, 1] - data["time_bnds"][:, 0]) / np.timedelta64(1, "s")
        flux = data["thickness_of_snowfall_amount"] * FRESH_SNOW_DENSITY / seconds
        data = data.assign(snowfall_flux=flux.assign_attrs(cell_methods="time: mean"))
        data = assumed.note(data, [f"snow_density={FRESH_SNOW_DENSITY:g}"])
    return data.drop_vars(["eastward_wind", "northward_wind", "thickness_of_snowfall_amount"], errors="ignore")


def unit_in(header: str) -> tuple[str, str]:
    """'air temperature [degC]' as its name and unit; the unit is '' where none is written."""
    name, bracket, rest = header.strip().partition("[")
    if not bracket:
        name, bracket, rest = header.strip().partition("(")
        return name.strip(), rest.rpartition(")")[0].strip() if bracket else ""
    return name.strip(), rest.rpartition("]")[0].strip()


def height(text: str, where: str) -> tuple[float | None, list[Problem]]:
    """A height such as '10 m' [m]."""
    try:
        value = units.quantity(text, "m")
    except units.UnknownUnit as error:
        return None, [Problem(where, str(error), "a height such as 10 m")]
    if not 0.1 <= value <= 200.0:
        return None, [Problem(where, f"{value:g} m", "0.1 to 200 m")]
    return value, []


def ignored(names: Iterable[str], known: Sequence[str] = ()) -> list[str]:
    """Codes for what the file holds and nothing here uses."""
    return [f"ignored={' '.join(str(name).split())}" for name in names if name not in known]
