"""Observed weather for a replay: a station's file as Weather, with the stretches between its gaps."""

import csv
import gzip
import io
import itertools
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr

from microclimate import units
from microclimate.errors import InputError, Problem, refuse
from microclimate.fieldlog import clock, traces
from microclimate.schema import Site
from microclimate.weather import clear_sky, complete, names, quality, read

# columns a station's file may hold beside the weather; they are told apart by these beginnings, not guessed
_NOT_WEATHER = (
    "surface_upwelling", "surface_upward", "surface_net", "surface_temperature", "surface_albedo", "surface_snow",
    "canopy_", "soil_", "downward_heat", "ground_heat", "volume_fraction", "leaf_", "net_", "friction_velocity",
)  # fmt: skip
_BEST_HEIGHT = {"wind_speed": 10.0, "air_temperature": 2.0}  # [m] of several heights the nearest one is taken
NEEDED = (
    "air_temperature",
    "dew_point_temperature",
    "wind_speed",
    "surface_air_pressure",
    "surface_downwelling_shortwave_flux_in_air",
    "surface_downwelling_longwave_flux_in_air",
    "precipitation_flux",
)
LONGWAVE = "surface_downwelling_longwave_flux_in_air"
MOST_DROPPED = 0.02  # of a column's values: more is no glitch (ours)
_CHECKED = {"temperature", "speed", "pressure", "fraction", "angle", "flux"}
_SLACK = {"flux": quality.OFFSET, "fraction": 0.02}  # [SI] what the weather reader itself sets to the edge of the range
LONGEST = np.timedelta64(400, "D")  # a longer stretch is run in parts, each from where the last one ended: memory
SHORTEST = np.timedelta64(12, "h")  # a stretch between gaps shorter than this is left out (ours)


@dataclass(frozen=True)
class Observed:
    """A station's weather."""

    weather: xr.Dataset  # schema.WEATHER, one realization
    stretches: tuple[slice, ...]  # of its time, without gaps
    bridged: int  # values filled between neighbours
    left_out: int  # steps in stretches too short to use
    longwave_measured: bool
    dropped: tuple[str, ...]  # heading=count of values that cannot be, taken as missing
    filled: tuple[str, ...]  # variable=count of steps that a substitute stands for


def weather(path: Path, site: Site, *, timezone: str | None = None, stamp: traces.Stamp = "end") -> Observed:
    """Read and complete a station's weather; gaps up to 3 h are bridged, longer ones part the series.

    Parameters
    ----------
    path : Path
        Any weather file; CSV headings may carry a height, `wind_speed @ 10 m [m/s]`.
    site : Site
        The station.
    timezone : str, optional
        Zone of stamps without an offset, a name or a fixed one such as "UTC-6"; else the site's.
    stamp : {"start", "end", "centre"}
        Which part of its interval a stamp names.

    Raises
    ------
    InputError
        Everything in the file that cannot be used.
    """
    raw, dropped = _raw(path, site, timezone, stamp)
    done, filled = _filled(complete.weather(raw, site), raw, site)
    stretches, left_out = _stretches(done)
    if not stretches:
        raise refuse(path.name, "no stretch of 12 h without a gap", f"{', '.join(NEEDED)} without gaps")
    bridged = sum(int(c.rpartition(":")[2]) for c in done.attrs["assumed"].split("\n") if c.startswith("bridged="))
    return Observed(done, stretches, bridged, left_out, LONGWAVE in raw, tuple(dropped), tuple(filled))


def sky_formula(
    path: Path, site: Site, *, timezone: str | None = None, stamp: traces.Stamp = "end"
) -> clear_sky.Choice:
    """Which formula of the clear sky a station's measured longwave bears out; arguments as for `weather`."""
    return clear_sky.chosen(_raw(path, site, timezone, stamp)[0], site)


def _raw(path: Path, site: Site, timezone: str | None, stamp: traces.Stamp) -> tuple[xr.Dataset, list[str]]:
    """A station's file as it is, and its values that cannot be, by heading."""
    text = _text(path)
    mapping, heights = _headings(text)
    dropped: list[str] = []
    data = None if text is None else _believed(text, mapping, dropped)
    zone = clock.zone_of(timezone or site.time_zone)
    fixed = not isinstance(zone, ZoneInfo)
    place = replace(site, time_zone="UTC" if fixed else str(zone))
    raw = read.weather(path, place) if data is None else read.weather_of(data, path, place, mapping=mapping)
    raw = raw.assign_attrs({**raw.attrs, **heights})
    move: np.timedelta64 = np.timedelta64(0, "ns")
    if fixed and "naive_times=UTC" in raw.attrs["assumed"].split("\n"):
        offset = zone.utcoffset(None) or timedelta(0)
        move -= np.timedelta64(int(offset.total_seconds()), "s")
        raw.attrs["assumed"] = raw.attrs["assumed"].replace("naive_times=UTC", f"naive_times={timezone}")
    if stamp != "end":
        interval = np.median(np.diff(raw["time"].values)).astype("timedelta64[ns]")
        move += interval if stamp == "start" else interval // 2
    if move:
        raw = raw.assign_coords(time=raw["time"].values + move)
        if "time_bnds" in raw:
            raw["time_bnds"] = raw["time_bnds"] + move
    return raw, dropped


def _text(path: Path) -> str | None:
    """A CSV's text; None for other formats, and where the weather reader will say what is wrong."""
    if not {s.lower() for s in path.suffixes} & {".csv", ".txt", ".tsv"} or not path.is_file():
        return None
    opener = gzip.open if path.suffix == ".gz" else open
    try:
        with opener(path, "rt", encoding="utf-8-sig") as file:
            text = file.read()
    except UnicodeDecodeError:
        return None
    except (OSError, EOFError) as error:
        raise InputError(path.name, [Problem(path.name, f"cannot be read ({error})")]) from None
    return text if text.strip() else None


def _believed(text: str, mapping: dict[str, str], dropped: list[str]) -> bytes:
    """The file with single values that cannot be taken out; a column that is wrong throughout is left to be refused."""
    lines = text.splitlines(keepends=True)
    start = next((n for n, line in enumerate(lines) if line.strip(" ,;\t\r\n") and not line.startswith("#")), 0)
    delimiter = max(",;\t", key=lines[start].count)
    body = "".join(lines[start:])
    try:
        frame = pd.read_csv(io.StringIO(body), sep=delimiter, dtype=str, keep_default_na=False, skipinitialspace=True)
    except (pd.errors.ParserError, ValueError):
        return text.encode()
    for column in frame.columns:
        head = traces.header(mapping.get(str(column).strip(), str(column)))
        known = names.RAW.get(names.canonical(head.name.replace("_", " ")) or head.name)
        if known is None or not set(known.dimensions) <= _CHECKED:
            continue
        try:
            values = units.to_si(traces.numbers(frame[column]), head.unit)
        except units.UnknownUnit:
            continue
        slack = 0.0 if known is names.RAW[LONGWAVE] else _SLACK.get(known.dimensions[0], 0.0)
        bad = (values < known.low - slack) | (values > known.high + slack)
        if bad.any() and bad.sum() <= MOST_DROPPED * np.isfinite(values).sum():
            frame.loc[bad, column] = ""
            dropped.append(f"{column}={int(bad.sum())}")
    return ("".join(lines[:start]) + frame.to_csv(index=False, sep=delimiter)).encode() if dropped else text.encode()


def _filled(done: xr.Dataset, raw: xr.Dataset, site: Site) -> tuple[xr.Dataset, list[str]]:
    """Gaps closed where there is a fair substitute: longwave by formula, mean pressure, no rain where none is told."""
    known = np.isfinite(done["air_temperature"].values)
    filled = []
    for name in (LONGWAVE, "surface_air_pressure", "precipitation_flux", "snowfall_flux"):
        values = done[name].values
        gaps = known & ~np.isfinite(values)
        if not gaps.any() or not np.isfinite(values).any():
            continue
        if name == LONGWAVE:
            other = complete.weather(raw.drop_vars(LONGWAVE), site)[name].values
        else:
            other = np.full_like(values, np.nanmean(values) if name == "surface_air_pressure" else 0.0)
        done = done.assign({name: done[name].copy(data=np.where(gaps, other, values))})
        filled.append(f"{name}={int(gaps.sum())}")
    return done, filled


def _headings(text: str | None) -> tuple[dict[str, str], dict[str, float]]:
    """Mapping of a CSV's headings to what the weather reader knows, and the heights they carry [m]."""
    if text is None:
        return {}, {}
    first = next((line for line in text.splitlines() if line.strip(" ,;\t\r\n") and not line.startswith("#")), "")
    columns = next(csv.reader([first], delimiter=max(",;\t", key=first.count)), [])
    mapping: dict[str, str] = {}
    heights: dict[str, float] = {}
    taken: dict[str, tuple[float, str]] = {}  # name -> how far from the best height, heading
    for column in (c.strip() for c in columns):
        head = traces.header(column)
        if head.name.startswith(_NOT_WEATHER):
            mapping[column] = f"reading {head.name}"  # without a unit it is left alone, and said
            continue
        known = names.canonical(head.name.replace("_", " ")) or names.canonical(head.name)
        if np.isnan(head.level) or known is None:
            continue
        away = abs(head.level - _BEST_HEIGHT.get(known, 2.0))
        if known in taken and taken[known][0] <= away:
            mapping[column] = f"other height {head.name}"
            continue
        if known in taken:
            mapping[taken[known][1]] = f"other height {head.name}"
        taken[known] = (away, column)
        mapping[column] = f"{known} [{head.unit}]" if head.unit else known
        if known == "wind_speed":
            heights["wind_height"] = head.level
        elif known == "air_temperature":
            heights["temperature_height"] = head.level
    return mapping, heights


def _stretches(weather: xr.Dataset) -> tuple[tuple[slice, ...], int]:
    whole = np.logical_and.reduce([np.isfinite(weather[name].values[0]) for name in NEEDED])
    time = weather["time"].values
    edges = np.flatnonzero(np.diff(np.concatenate([[0], whole.astype(int), [0]])))
    found, left_out = [], 0
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if time[last - 1] - time[first] < SHORTEST:
            left_out += int(last - first)
            continue
        parts = 1 + int((time[last - 1] - time[first]) / LONGEST)
        cuts = np.linspace(first, last, parts + 1).round().astype(int)
        found += [slice(int(a), int(b)) for a, b in itertools.pairwise(cuts)]
    return tuple(found), left_out
