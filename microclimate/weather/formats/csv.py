"""Comma, semicolon or tab separated text: one header of `name [unit]`, one row a time.

`#` lines before the header may say `# time zone: UTC`, `# issued: 2026-01-27T12:00-05:00`, `# wind height: 10 m`,
`# temperature height: 2 m`, `# source: ...`. A column of members (`member`, `realization`, ...) makes an ensemble.
"""

import io
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import Site
from microclimate.weather import names, stamps
from microclimate.weather.table import Column, Table, height, ignored, unit_in

MISSING = [
    "",
    "NA",
    "N/A",
    "NaN",
    "nan",
    "NAN",
    "null",
    "NULL",
    "None",
    "none",
    "-",
    "--",
    "---",
    "M",
    "m",
    "x",
    "?",
    "*",
]
_KEYS = ("time zone", "zone", "issued", "wind height", "temperature height", "source", "labels")


def table(data: bytes, path: Path, site: Site, mapping: Mapping[str, str] | None = None) -> Table:
    """A CSV file before its numbers are judged.

    Parameters
    ----------
    data : bytes
        The file.
    path : Path
        Its name, for messages.
    site : Site
        Its zone serves stamps without offset; that is then stated.
    mapping : mapping, optional
        Header in the file -> `name [unit]`.
    """
    where = path.name
    comments, body, first_line = _lead(_text(data, where))
    problems: list[Problem] = []
    frame, decimal = _frame(body, where)
    said, more = _said(comments, where)
    problems += more
    headers = [str(mapping.get(h.strip(), h) if mapping else h).strip() for h in frame.columns]
    time_at = [i for i, h in enumerate(headers) if names.is_time(unit_in(h)[0])]
    if not time_at:
        found = "no column of stamps among " + ", ".join(repr(h) for h in headers[:6])
        raise refuse(where, found, "a column 'time'", f"the header must be on line {first_line}")
    if len(time_at) > 1:
        raise refuse(where, f"columns {headers[time_at[0]]!r} and {headers[time_at[1]]!r} both hold stamps", "one")
    in_file = unit_in(headers[time_at[0]])[1] or said.get("time zone", said.get("zone", ""))
    if in_file.lower() in ("local", "venue"):
        in_file = site.time_zone
    zone = in_file or site.time_zone
    column = frame.iloc[:, time_at[0]].astype(str)
    blank = column.str.strip().isin(["", "nan"])
    if blank.any():
        frame, column = frame[~blank], column[~blank]
    times, codes, more = stamps.utc(list(column), zone, f"{where}: {headers[time_at[0]]}")
    problems += more
    if not in_file and not more and len(column) and _naive(str(column.iloc[0])):
        codes.append(f"naive_times={zone}")
    made = Table(times, [], said.get("source", where), codes=codes)
    if said.get("labels", "end").lower() in ("start", "beginning"):
        made.times = times + np.timedelta64(int(np.median(stamps.seconds(times))), "s") if not more else times
    if "issued" in said:
        when, _, more = stamps.utc([said["issued"]], zone, f"{where}: issued")
        problems += more
        made.issued = "" if more else str(when[0])[:19] + "Z"
    for key in ("wind height", "temperature height"):
        if key in said:
            value, more = height(said[key], f"{where}: {key}")
            problems += more
            setattr(made, key.replace(" ", "_"), value)
    made.columns, member, more = _columns(frame, headers, time_at[0], decimal, where, made)
    made.problems = problems + more
    if member is not None and not made.problems:
        _members(made, member)
    return made


def _naive(text: str) -> bool:
    return not re.search(r"(?i)(Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})$", text.strip()[10:])


def _text(data: bytes, where: str) -> str:
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return data.decode(encoding, errors="replace")
    if b"\x00" in data[:4096]:
        raise refuse(where, "is not text", "CSV, or another format that is known", "see the list of formats in --help")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _lead(text: str) -> tuple[list[str], str, int]:
    """The lines before the header, the rest, and the number of the header's line."""
    lines = text.splitlines(keepends=True)
    for at, line in enumerate(lines):
        if line.strip(" ,;\t\r\n") and not line.lstrip().startswith("#"):
            return [c.strip("# \t\r\n") for c in lines[:at]], "".join(lines[at:]), at + 1
    return [line.strip("# \t\r\n") for line in lines], "", 1


def _said(comments: list[str], where: str) -> tuple[dict[str, str], list[Problem]]:
    said: dict[str, str] = {}
    for line in comments:
        key, colon, value = line.partition(":")
        if colon and names.plain(key) in _KEYS:
            said[names.plain(key)] = value.strip()
    if said.get("labels", "end").lower() not in ("end", "ending", "start", "beginning"):
        return said, [Problem(f"{where}: labels", f"{said['labels']!r}", "end or start")]
    return said, []


def _frame(body: str, where: str) -> tuple[pd.DataFrame, str]:
    if not body.strip():
        raise refuse(where, "is empty", "a header and rows of weather")
    header = body.splitlines()[0]
    separator = max(";\t,", key=header.count)
    if header.count(separator) == 0:
        raise refuse(
            where, f"first line {header[:60]!r} has no comma, semicolon or tab", "time,air_temperature [degC],..."
        )
    sample = "\n".join(body.splitlines()[1:50])
    decimal = "," if separator != "," and re.search(r"\d,\d", sample) else "."
    try:
        frame = pd.read_csv(io.StringIO(body), sep=separator, dtype=str, keep_default_na=False, skipinitialspace=True)
    except (pd.errors.ParserError, ValueError) as error:
        text = str(error).splitlines()[0].removeprefix("Error tokenizing data. C error: ")
        raise refuse(where, f"rows do not fit the header: {text}", "as many cells as the header has") from error
    if not isinstance(frame.index, pd.RangeIndex):
        raise refuse(
            where, "rows have more cells than the header", "as many", "a decimal comma wants semicolons between"
        )
    return frame.loc[:, [bool(str(c).strip()) and not str(c).startswith("Unnamed:") for c in frame.columns]], decimal


def _columns(
    frame: pd.DataFrame, headers: list[str], time_at: int, decimal: str, where: str, made: Table
) -> tuple[list[Column], NDArray[np.float64] | None, list[Problem]]:
    columns: list[Column] = []
    problems: list[Problem] = []
    unused: list[str] = []
    member = None
    for at, header in enumerate(headers):
        if at == time_at:
            continue
        name, unit = unit_in(header)
        known = names.canonical(name)
        place = f"{where}: {header}"
        if names.is_member(name):
            member, more = _numbers(frame.iloc[:, at], decimal, place)
            problems += more
            continue
        if known is None:
            hint = names.nearest(name)
            if hint and unit:
                problems.append(Problem(place, "is no name known here", "", hint))
            else:
                unused.append(header)
            continue
        if known == "thickness_of_snowfall_amount" and unit in ("kg/m2", "kg m-2"):
            known = "snowfall_flux"
        if not unit and not re.search(r"[\[(]", header):
            problems.append(Problem(place, "has no unit", f"'{name} [unit]'", "write the unit in square brackets"))
            continue
        values, more = _numbers(frame.iloc[:, at], decimal, place)
        problems += more
        columns.append(Column(known, unit, values, place))
    made.codes += ignored(unused)
    return columns, member, problems


def _numbers(cells: pd.Series, decimal: str, where: str) -> tuple[NDArray[np.float64], list[Problem]]:
    text = cells.astype(str).str.strip()
    text = text.mask(text.isin(MISSING), "nan")
    if decimal == ",":
        text = text.str.replace(",", ".", regex=False)
    values = pd.to_numeric(text.str.replace("\u2212", "-", regex=False), errors="coerce").to_numpy(dtype=float)
    bad = np.isnan(values) & (text != "nan").to_numpy()
    values = np.where(np.isinf(values), np.nan, values)
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        found = f"{int(bad.sum())} cells are no numbers, first {text.iloc[row]!r} in row {row + 1}"
        return values, [Problem(where, found, "numbers, empty where missing")]
    return values, []


def _members(made: Table, member: NDArray[np.float64]) -> None:
    """Rows of (member, time) to arrays (realization, time); a member without a row at a time has a gap there."""
    labels, row = np.unique(member, return_inverse=True)
    times, column = np.unique(made.times, return_inverse=True)
    if len(set(zip(row.tolist(), column.tolist(), strict=True))) < len(row):
        raise InputError(made.source, [Problem(made.source, "a member has two rows for one time", "one")])
    for item in made.columns:
        grid = np.full((len(labels), len(times)), np.nan)
        grid[row, column] = item.values
        item.values = grid
    made.times = times
