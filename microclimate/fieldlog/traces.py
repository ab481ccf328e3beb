"""Time series of readings from a CSV, as loggers and station archives write them -> Observations.

Headers are `name [unit]`, with `@` for a height or depth and for a zone:

    time, soil_temperature @ 0.10 m [degC], soil_temperature @ 4 in @ North goal [degF], surface_temperature [degC]

Other columns (weather, notes) may stand in the same file; they are left alone and named in `attrs["ignored"]`.
"""

import difflib
import gzip
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd
import xarray as xr

from microclimate import units
from microclimate.errors import InputError, Problem
from microclimate.fieldlog import clock
from microclimate.schema import OBSERVATIONS, seal

Stamp = Literal["start", "end", "centre"]

# what can be held against the model: SI unit, lowest and highest value believed (ours; others are dropped, counted)
KINDS: dict[str, tuple[str, float, float]] = {
    "soil_temperature": ("K", 230.0, 335.0),
    "surface_temperature": ("K", 200.0, 350.0),
    "canopy_temperature": ("K", 200.0, 350.0),
    "surface_upwelling_longwave_flux_in_air": ("W m-2", 80.0, 850.0),
    "surface_snow_thickness": ("m", 0.0, 10.0),
    "surface_upward_sensible_heat_flux": ("W m-2", -900.0, 900.0),
    "surface_upward_latent_heat_flux": ("W m-2", -900.0, 1200.0),
    "downward_heat_flux_in_soil": ("W m-2", -500.0, 600.0),
    "volume_fraction_of_condensed_water_in_soil": ("1", 0.0, 0.8),
}
_DIMENSIONS = {"K": "temperature", "W m-2": "flux", "m": "length", "1": "fraction"}
_BURIED = ("soil_temperature", "volume_fraction_of_condensed_water_in_soil")
_TIME_NAMES = {"time", "timestamp", "datetime", "date_time", "date", "stamp", "time_utc", "valid_time", "utc"}
_HEADER = re.compile(
    r"^(?P<name>[^@\[]+?)\s*(?P<at>(?:@[^@\[]+)*)\s*(?:\[(?P<unit>[^\]]*)\])?\s*(?P<late>(?:@[^@\[]+)*)$"
)
DROPPED = 1  # flag bit: outside the range of its kind, a sentinel included


@dataclass(frozen=True)
class Header:
    """One column's heading, read."""

    name: str
    level: float  # [m] height or depth, NaN when none is given
    zone: str  # "" when none is given
    unit: str  # as written, "" when none is given


def header(text: str) -> Header:
    """A heading such as `soil_temperature @ 0.10 m @ North goal [degC]`."""
    match = _HEADER.match(text.strip())
    if match is None:
        return Header(text.strip().lower(), np.nan, "", "")
    level, zone = np.nan, ""
    for part in (match["at"] + match["late"]).split("@")[1:]:
        try:
            level = abs(units.quantity(part.strip(), "m"))
        except units.UnknownUnit:
            zone = part.strip()
    return Header(re.sub(r"[\s-]+", "_", match["name"].strip().lower()), level, zone, (match["unit"] or "").strip())


def traces(path: Path, *, timezone: str | None = None, stamp: Stamp = "end") -> xr.Dataset:
    """Readings of one file.

    Parameters
    ----------
    path : Path
        CSV, comma, semicolon or tab; decimal comma where the delimiter is not the comma; gzip by its suffix.
    timezone : str, optional
        Zone of stamps that carry no offset.
    stamp : {"start", "end", "centre"}
        Which part of its interval a stamp names.

    Returns
    -------
    Dataset
        `schema.OBSERVATIONS` on (sensor, time), time UTC at the END of each interval; coordinates on `sensor`: `kind`
        (CF name), `depth` [m], `zone`, `units`; attrs `interval` [s], `stamp`, `dropped`, `ignored`.

    Raises
    ------
    InputError
        Everything in the file that cannot be used.
    """
    frame = _frame(path)
    if frame.empty:
        raise InputError(path.name, [Problem(path.name, "no rows", "a line of headings and at least two of readings")])
    time_columns = [c for c in frame.columns if header(c).name in _TIME_NAMES]
    if not time_columns:
        found = f"no time column among {', '.join(frame.columns[:6])}"
        raise InputError(path.name, [Problem(f"{path.name}: line 1", found, "a column named time")])
    problems: list[Problem] = []
    sensors = _sensors(path, [c for c in frame.columns if c not in time_columns], problems)
    if problems:
        raise InputError(path.name, problems)
    text = frame[time_columns[0]].astype(str)
    if header(time_columns[0]).name == "date" and len(time_columns) > 1:
        text = text + " " + frame[time_columns[1]].astype(str)
    zone = "UTC" if header(time_columns[0]).name in {"time_utc", "utc"} else timezone
    times = clock.stamps(text, zone, f"{path.name}: column {time_columns[0]}")
    values, flags, dropped = [], [], []
    for column, head in sensors.items():
        unit, low, high = KINDS[head.name]
        told = numbers(frame[column])
        series = units.to_si(told, head.unit)
        bad = np.isfinite(series) & ((series < low) | (series > high))
        if bad.any():
            dropped.append(f"{column}={int(bad.sum())}")
        if bad.sum() > 0.5 * max(np.isfinite(series).sum(), 1):
            found = f"{np.nanmedian(told):g} [{head.unit}] in the middle, half of it outside what {head.name} can be"
            problems.append(Problem(f"{path.name}: {column}", found, f"{low:g} to {high:g} {unit}", "another unit?"))
        values.append(np.where(bad, np.nan, series))
        flags.append(np.where(bad, DROPPED, 0))
    if problems:
        raise InputError(path.name, problems)
    order = np.argsort(times.to_numpy(), kind="stable")
    ordered = times.to_numpy()[order]
    last = np.append(ordered[1:] != ordered[:-1], True)  # of a stamp told twice, the later line counts
    order, ordered = order[last], ordered[last]
    if ordered.size < 2:
        raise InputError(path.name, [Problem(path.name, "fewer than two different stamps", "a time series")])
    interval = np.median(np.diff(ordered)).astype("timedelta64[ns]")
    heads = list(sensors.values())
    dataset = xr.Dataset(
        {
            "value": (("sensor", "time"), np.array(values)[:, order]),
            "flag": (("sensor", "time"), np.array(flags, dtype=np.int32)[:, order]),
        },
        coords={
            "time": ordered + {"end": 0, "start": 2, "centre": 1}[stamp] * interval // 2,
            "sensor": list(sensors),
            "kind": ("sensor", [h.name for h in heads]),
            "depth": ("sensor", [h.level for h in heads], {"units": "m"}),
            "zone": ("sensor", [h.zone for h in heads]),
            "units": ("sensor", [KINDS[h.name][0] for h in heads]),
        },
        attrs={
            "interval": float(interval / np.timedelta64(1, "s")),
            "stamp": stamp,
            "dropped": "\n".join(dropped),
            "ignored": "\n".join(c for c in frame.columns if c not in sensors and c not in time_columns),
        },
    )
    return seal(dataset, OBSERVATIONS, path.name)


def _frame(path: Path) -> pd.DataFrame:
    try:
        opener = gzip.open if path.suffix == ".gz" else open
        with opener(path, "rt", encoding="utf-8-sig") as file:
            first = next((line for line in file if line.strip() and not line.startswith("#")), "")
        delimiter = max(",;\t", key=first.count)
        frame = pd.read_csv(path, sep=delimiter, dtype=str, comment="#", encoding="utf-8-sig", skipinitialspace=True)
    except (OSError, EOFError, UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise InputError(path.name, [Problem(path.name, f"cannot be read ({error})", "a CSV file")]) from None
    return frame.rename(columns=str)


def _sensors(path: Path, columns: list[str], problems: list[Problem]) -> dict[str, Header]:
    sensors: dict[str, Header] = {}
    seen: list[str] = []
    for column in columns:
        head = header(column)
        seen.append(head.name)
        if head.name not in KINDS:
            continue
        where = f"{path.name}: {column}"
        wanted = _DIMENSIONS[KINDS[head.name][0]]
        if head.name in _BURIED and not 0.0 < head.level <= 10.0:
            problems.append(Problem(where, "no depth", f"{head.name} @ 0.10 m [{head.unit or 'unit'}]"))
        try:
            if not head.unit:
                problems.append(Problem(where, "no unit", f"{column} [{KINDS[head.name][0]}]"))
            elif units.dimension(head.unit) != wanted:
                problems.append(Problem(where, f"[{head.unit}] is no {wanted}"))
        except units.UnknownUnit as error:
            problems.append(Problem(where, str(error), f"a unit of {wanted}"))
        sensors[column] = head
    if not sensors and not problems:
        close = [c for name in seen for c in difflib.get_close_matches(name, KINDS, n=1, cutoff=0.75)]
        cure = f"did you mean {close[0]}?" if close else ""
        problems.append(Problem(f"{path.name}: line 1", "no column of readings", f"one of {', '.join(KINDS)}", cure))
    return sensors


def numbers(column: pd.Series) -> np.ndarray:
    """Text to numbers: decimal commas, minus signs of print, and whatever means "missing" becomes NaN."""
    text = column.astype(str).str.strip().str.replace("\u2212", "-", regex=False)
    if text.str.contains(r"^-?\d+,\d+$", regex=True).any():
        text = text.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float)
    return np.where(np.isin(numbers, (-9999.0, -999.0, -99.99, -6999.0, 6999.0, 9999.0)), np.nan, numbers)
