"""A logger's file to series of readings: what it must be is proposed and said, the good rows are taken."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem
from microclimate.fieldlog import headings, moments, values
from microclimate.fieldlog.headings import Column
from microclimate.fieldlog.kinds import KINDS
from microclimate.fieldlog.mapping import Mapping, Stamp
from microclimate.fieldlog.sheet import Sheet


@dataclass(frozen=True)
class Proposal:
    """How a file would be read, and what of that was not in the file."""

    mapping: Mapping
    codes: tuple[str, ...]
    left: tuple[tuple[str, str], ...]  # headings that are left alone, and why


@dataclass(frozen=True)
class Series:
    """One sensor's readings, in order of time."""

    column: Column
    times: NDArray[np.datetime64]  # UTC, END of the interval
    values: NDArray[np.float64]  # SI
    lines: NDArray[np.int64]


@dataclass(frozen=True)
class Taken:
    """What a file gave."""

    series: tuple[Series, ...]
    rows: int  # of the file, torn ones too
    rejected: tuple[tuple[int, str], ...]  # line, why
    codes: tuple[str, ...]
    interval: float = field(default=np.nan)  # [s]


def propose(
    sheet: Sheet,
    name: str,
    *,
    sensors: Sequence[str] = (),
    zones: Collection[str] = (),
    us: bool = False,
    time_zone: str = "",
    stamp: Stamp = "end",
) -> Proposal:
    """How a file is to be read.

    Parameters
    ----------
    sheet : Sheet
    name : str
        Of the file.
    sensors : sequence of str
        Columns as told, see `headings.spec`; with any of them no other column is guessed.
    zones : collection of str
        The venue's; columns must name one of them or none.
    us : bool
        The reader's habit, where a file leaves degF or degC, month or day first open.
    time_zone : str
        Of stamps without an offset.
    stamp : {"start", "end", "centre"}

    Raises
    ------
    InputError
        Everything that keeps the file from being read at all.
    """
    problems: list[Problem] = []
    codes = list(sheet.codes)
    time = _time_columns(sheet, codes)
    if not time:
        raise InputError(name, [Problem(name, f"no column of times among {', '.join(sheet.headings[:8])}", "time")])
    told: list[Column] = []
    left: list[tuple[str, str]] = []
    others = [h for h in sheet.headings if h not in time]
    for text in sensors:
        column, found = headings.spec(text, sheet.headings, zones)
        problems += found
        if column is not None and not found:
            told.append(column)
    if not sensors:
        for heading in others:
            _guess(sheet, heading, zones, told, left, codes, problems, name)
    else:
        left += [(h, "not asked for") for h in others if h not in {c.column for c in told}]
    if problems:
        raise InputError(name, problems)
    if not told:
        cure = 'say what they are: --sensor "HEADING = soil_temperature @ 25 mm @ ZONE [degF]"'
        raise InputError(name, [Problem(name, f"no column is known: {', '.join(others[:8])}", "", cure)])
    told = _scaled(sheet, told, us, codes, problems, name)
    if problems:
        raise InputError(name, problems)
    stamps = _stamps(sheet, time)
    zone = next((z for z in map(headings.zone_in, time) if z), "")
    if zone:
        codes.append(f"zone_in_heading={zone}")
    found_clock = moments.settle(stamps, zone or time_zone, month_first=us, where=f"{name}: {' and '.join(time)}")
    codes += found_clock.codes
    mapping = Mapping(tuple(told), time, replace(found_clock, codes=()), stamp, sheet.delimiter, sheet.decimal)
    return Proposal(mapping, tuple(codes), tuple(left))


def _time_columns(sheet: Sheet, codes: list[str]) -> tuple[str, ...]:
    """Heading of the stamps, or of date and clock."""
    named = [h for h in sheet.headings if headings.is_time(h)]
    full = [h for h in named if _dated(sheet, h) and _clocked(sheet, h)]
    if full:
        return (min(full, key=lambda h: not headings.zone_in(h)),)
    dates = [h for h in named if _dated(sheet, h)]
    clocks = [h for h in named if _clocked(sheet, h) and h not in dates]
    if dates:
        return (dates[0], clocks[0]) if clocks else (dates[0],)
    for heading in sheet.headings[:3]:
        if _dated(sheet, heading) and not pd.api.types.is_numeric_dtype(sheet.frame[sheet.headings.index(heading)]):
            codes.append(f"time_column={heading}")
            return (heading,)
    if named and pd.api.types.is_numeric_dtype(sheet.frame[sheet.headings.index(named[0])]):
        return (named[0],)
    first = sheet.frame[0]
    if pd.api.types.is_numeric_dtype(first) and 30000 <= float(first.median()) <= 75000:
        codes.append(f"time_column={sheet.headings[0]}")
        return (sheet.headings[0],)
    return ()


def _some(sheet: Sheet, heading: str) -> pd.Series:
    column = sheet.frame[sheet.headings.index(heading)].dropna()
    return column.iloc[:50].astype(str)


def _dated(sheet: Sheet, heading: str) -> bool:
    texts = _some(sheet, heading)
    pattern = r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}[- ][A-Za-z]{3}[- ]\d{2,4}|^(?:19|20)\d{6}(?:\D|$)"
    return bool(len(texts) and texts.str.contains(pattern, regex=True).mean() > 0.5)


def _clocked(sheet: Sheet, heading: str) -> bool:
    texts = _some(sheet, heading)
    return bool(
        len(texts) and texts.str.contains(r"\d{1,2}:\d{2}|\d{1,2}\s*[ap]\.?m", regex=True, case=False).mean() > 0.5
    )


def _guess(
    sheet: Sheet,
    heading: str,
    zones: Collection[str],
    told: list[Column],
    left: list[tuple[str, str]],
    codes: list[str],
    problems: list[Problem],
    name: str,
) -> None:
    """One column by its heading; exact ones must be right, guessed ones are said, others are left alone."""
    what = headings.read(heading, zones)
    if not what.quantity:
        left.append((heading, "not known"))
        return
    kind = KINDS[what.quantity]
    if what.told:
        found = headings.checked(what, zones, f"{name}: {heading}")
        problems += found
        if found:
            return
    elif kind.buried and not 0.0 < what.depth <= headings.DEPTHS[1]:
        left.append((heading, "no depth"))
        return
    elif what.unit and headings.checked(what, zones, heading):
        left.append((heading, f"[{what.unit}] does not fit {what.quantity.replace('_', ' ')}"))
        return
    else:
        codes.append(f"guessed={heading}|{what.quantity}|{0.0 if np.isnan(what.depth) else what.depth:g}|{what.zone}")
    depth = 0.0 if np.isnan(what.depth) else what.depth
    told.append(Column(heading, headings.plain(heading), what.quantity, depth, what.zone, what.unit))


def _scaled(
    sheet: Sheet, told: list[Column], us: bool, codes: list[str], problems: list[Problem], name: str
) -> list[Column]:
    """Columns with the unit of their bare numbers; temperatures that name none are settled by what they hold."""
    given = {c.unit for c in told if c.unit and KINDS[c.quantity].dimension == "temperature"}
    done = []
    for one in told:
        kind = KINDS[one.quantity]
        bare, own = values.bare(sheet.frame[sheet.headings.index(one.column)], sheet.decimal)
        column = replace(one, meter=True) if kind.counts and values.counts_up(bare) else one
        if column.unit:
            done.append(column)
            continue
        if own and np.isfinite(bare).mean() < 0.5:  # the cells name their own
            done.append(replace(column, unit=own))
        elif kind.dimension == "temperature":
            unit, why = values.scale(bare, kind, us)
            if why == "custom" and len(given) == 1:
                unit, why = next(iter(given)), "others"
            codes.append(f"scale={column.column}|{unit}|{why}")
            done.append(replace(column, unit=unit))
        elif kind.dimension == "fraction":
            most = float(np.nanmax(bare)) if np.isfinite(bare).any() else 0.0
            unit = "%" if most > 1.2 and column.quantity != "surface_hardness" else "1"
            codes.append(f"scale={column.column}|{unit}|range")
            done.append(replace(column, unit=unit))
        else:
            cure = f'"{column.column} [unit]", or --sensor with a unit'
            problems.append(Problem(f"{name}: {column.column}", "no unit", f"a unit of {kind.dimension}", cure))
    return done


def _stamps(sheet: Sheet, time: Sequence[str]) -> pd.Series:
    """The cells that make the stamp of each row."""
    parts = [sheet.frame[sheet.headings.index(h)] for h in time]
    if len(parts) == 1 and pd.api.types.is_numeric_dtype(parts[0]):
        return parts[0]
    joined = moments.tidy(_plain(parts[0]))
    for part in parts[1:]:
        joined = moments.tidy(joined + " " + moments.tidy(_plain(part)))
    return joined


def _plain(column: pd.Series) -> pd.Series:
    """Cells as text; a whole number that became a float is whole again."""
    if pd.api.types.is_numeric_dtype(column):
        return column.map(lambda v: "" if pd.isna(v) else f"{v:.10g}")
    return column.fillna("").astype(str)


def take(sheet: Sheet, mapping: Mapping, name: str) -> Taken:
    """The readings of a file, row by row as far as they are good.

    Raises
    ------
    InputError
        The file has not the columns of the mapping, or not one row of it can be used.
    """
    wanted = [*mapping.time, *(c.column for c in mapping.columns)]
    missing = [h for h in wanted if h not in sheet.headings]
    if missing:
        has = ", ".join(sheet.headings[:12])
        raise InputError(
            name, [Problem(name, f"no column {h!r}", f"as the mapping says; it has {has}") for h in missing]
        )
    stamps = _stamps(sheet, mapping.time)
    times, why = moments.utc(stamps, mapping.clock)
    rejected: dict[int, str] = dict(sheet.torn)
    for row in np.flatnonzero((why != "").to_numpy()).tolist():
        rejected[int(sheet.lines[row])] = f"{why.iloc[row]} ({str(stamps.iloc[row])[:30]!r})"
    known = ~np.isnat(times)
    interval = _interval(times[known])
    if mapping.stamp != "end" and np.isfinite(interval):
        share = 1.0 if mapping.stamp == "start" else 0.5
        times = times + np.timedelta64(round(share * interval * 1e9), "ns")
    codes: list[str] = []
    series = []
    for column in mapping.columns:
        cells = sheet.frame[sheet.headings.index(column.column)]
        found = values.numbers(
            cells, column.unit, KINDS[column.quantity], column.column, decimal=sheet.decimal, meter=column.meter
        )
        codes += [_with_line(code, sheet) for code in found.codes]
        for row, reason in found.refused.items():
            line = int(sheet.lines[row])
            rejected[line] = "; ".join(filter(None, [rejected.get(line, ""), f"{column.column}: {reason}"]))
        rows = np.flatnonzero(known & np.isfinite(found.values))
        rows = rows[np.argsort(times[rows], kind="stable")]
        again = np.append(False, times[rows][1:] == times[rows][:-1]) if rows.size else np.zeros(0, bool)
        for row in rows[again].tolist():
            line = int(sheet.lines[row])
            rejected[line] = "; ".join(filter(None, [rejected.get(line, ""), f"{column.column}: a second value"]))
        rows = rows[~again]
        series.append(Series(column, times[rows], found.values[rows], sheet.lines[rows]))
    if not any(s.times.size for s in series):
        reasons = list(dict.fromkeys(rejected.values()))[:3] or ["no cell holds a number"]
        raise InputError(name, [Problem(name, "not one row can be used", "", reason) for reason in reasons])
    return Taken(
        tuple(series), len(sheet.lines) + len(sheet.torn), tuple(sorted(rejected.items())), tuple(codes), interval
    )


def _with_line(code: str, sheet: Sheet) -> str:
    """Row numbers in a code as lines of the file."""
    key, _, rest = code.partition("=")
    if key != "unit_switch":
        return code
    heading, row, unit = rest.rsplit("|", 2)
    return f"{key}={heading}|{int(sheet.lines[int(row)])}|{unit}"


def _interval(times: NDArray[np.datetime64]) -> float:
    if times.size < 2:
        return np.nan
    steps = np.diff(np.unique(times))
    return float(np.median(steps) / np.timedelta64(1, "s")) if steps.size else np.nan
