"""Readings of wind and air in the bowl, as they are taken with a hand-held anemometer and a thermometer.

A CSV, one row a reading; units stand in the headings or in the cells:

    time, zone, height [m], wind [mph], minutes, reference wind [mph], reference height [ft], reference direction, note
    time, zone, air [degF], air outside [degF], aspirated, note

Wind is a mean of some minutes at a height over the grass; the reference is a mast or roof instrument over the same
minutes, or nothing (then the forecast serves, with a wider error). `x [m]` and `y [m]` may say where in the zone.
What can be used but should not be trusted is flagged, never dropped in silence.
"""

import csv
import difflib
import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from microclimate import units
from microclimate.errors import InputError, Problem
from microclimate.fieldlog import clock

LEAST_WIND = 0.15  # [m s-1] below which a hot wire tells only that it is less
MINUTES, HEIGHT = 2.5, 1.0  # [min], [m] where the sheet says nothing: common practice, no source
REFERENCE_HEIGHT = 10.0  # [m]
VISIT_GAP = np.timedelta64(90, "m")  # readings nearer than this belong to one visit; ours
MOST_RATIO = 1.3  # of open ground's wind: more is a jet or a reference in the lee; ours

COLUMNS = {  # heading -> unit of a bare number, lowest, highest (SI)
    "x": ("m", -400.0, 400.0),
    "y": ("m", -400.0, 400.0),
    "height": ("m", 0.02, 12.0),
    "wind": ("m/s", 0.0, 60.0),
    "minutes": ("min", 10.0, 7200.0),
    "reference wind": ("m/s", 0.0, 60.0),
    "reference height": ("m", 1.0, 200.0),
    "reference direction": ("degree", 0.0, 360.0),
    "air": ("degC", 220.0, 330.0),
    "air outside": ("degC", 220.0, 330.0),
}
TEXTS = ("time", "zone", "visit", "aspirated", "note")
_WET = re.compile(r"\b(wet|rain|dew|snow|drops?)\b", re.IGNORECASE)
_YES = {"yes", "y", "true", "1", "x"}


@dataclass(frozen=True)
class BowlReading:
    """One row, SI; NaN where it says nothing."""

    time: np.datetime64  # UTC
    zone: str
    x: float  # [m] field frame
    y: float
    visit: str
    height: float  # [m]
    wind: float  # [m s-1]
    seconds: float
    reference_wind: float  # [m s-1]
    reference_height: float  # [m]
    reference_direction: float  # [degree] from
    air: float  # [K]
    air_outside: float  # [K]
    aspirated: bool
    note: str
    where: str  # file and line
    flags: tuple[str, ...]  # why it is to be trusted less

    @property
    def is_wind(self) -> bool:
        """It tells of wind."""
        return math.isfinite(self.wind)

    @property
    def is_air(self) -> bool:
        """It tells of air temperature, inside against outside."""
        return math.isfinite(self.air)


def table(path: Path, time_zone: str, zones: Collection[str]) -> tuple[BowlReading, ...]:
    """Readings from a CSV, in order of time.

    Parameters
    ----------
    path : Path
    time_zone : str
        Of stamps that name none.
    zones : collection of str
        Names of the venue's zones; every row must name one of them.

    Raises
    ------
    InputError
        Every row that cannot be used, with its line number.
    """
    with path.open(encoding="utf-8-sig", newline="") as file:
        text = file.read()
    delimiter = ";" if text.split("\n", 1)[0].count(";") > text.split("\n", 1)[0].count(",") else ","
    rows = list(csv.reader(text.splitlines(), delimiter=delimiter))
    if not rows:
        raise InputError(path.name, [Problem(path.name, "empty", "columns time, zone, wind or air, ...")])
    names, given, problems = headings(rows[0], path.name)
    found = []
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        cells = {name: cell.strip() for name, cell in zip(names, row, strict=False)}
        where = f"{path.name}: line {line}"
        faults: list[Problem] = []
        reading = one(cells, given, time_zone, zones, where, faults)
        problems.extend(faults)
        if reading is not None and not faults:
            found.append(reading)
    if problems:
        raise InputError(path.name, problems)
    if not found:
        raise InputError(path.name, [Problem(path.name, "holds no reading", "one row for each")])
    return tuple(sorted(found, key=lambda reading: reading.time))


def headings(row: list[str], name: str) -> tuple[list[str], dict[str, str], list[Problem]]:
    """Names of the columns, units in their headings, and what is wrong with them."""
    known = (*COLUMNS, *TEXTS)
    names, given, problems = [], {}, []
    for cell in row:
        match = re.match(r"^\s*([^\[]*?)\s*(?:\[([^\]]*)\])?\s*$", cell)
        plain = re.sub(r"[\s_]+", " ", match[1] if match else cell).strip().lower()
        if plain not in known:
            near = difflib.get_close_matches(plain, known, 1)
            cure = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(known)}"
            problems.append(Problem(f"{name}: line 1", f"no column is called {cell.strip()!r}", "", cure))
        names.append(plain)
        if match and match[2] and plain in COLUMNS:
            given[plain] = match[2]
    for needed in ("time", "zone"):
        if needed not in names:
            problems.append(Problem(f"{name}: line 1", f"no column {needed}"))
    if "wind" not in names and "air" not in names:
        problems.append(Problem(f"{name}: line 1", "no column wind and no column air", "one of them"))
    return names, given, problems


def one(
    cells: dict[str, str],
    given: dict[str, str],
    time_zone: str,
    zones: Collection[str],
    where: str,
    faults: list[Problem],
) -> BowlReading | None:
    """One row from its cells by column; what is wrong with it goes to `faults`."""
    values = {name: number(name, cells.get(name, ""), given.get(name), where, faults) for name in COLUMNS}
    zone = cells.get("zone", "")
    if zone not in zones:
        faults.append(Problem(where, f"no zone is called {zone!r}", "", near(zone, zones)))
    try:
        time = clock.moment(cells.get("time", ""), time_zone, where=where)
    except InputError as error:
        faults.extend(error.problems)
        return None
    if not math.isfinite(values["wind"]) and not math.isfinite(values["air"]):
        faults.append(Problem(where, "neither wind nor air", "one of them"))
    if math.isfinite(values["air"]) and not math.isfinite(values["air outside"]):
        faults.append(Problem(where, "air without air outside", "both, read with the same thermometer"))
    note = cells.get("note", "")
    flags = []
    if math.isfinite(values["wind"]):
        if values["wind"] < LEAST_WIND:
            flags.append("below 0.15 m/s")
        if _WET.search(note):
            flags.append("wet wire")
        if not math.isfinite(values["height"]):
            flags.append("height missing")
        if not math.isfinite(values["reference wind"]):
            flags.append("no mast")
        elif not math.isfinite(values["reference direction"]):
            flags.append("direction missing")
    return BowlReading(
        time=time,
        zone=zone,
        x=values["x"],
        y=values["y"],
        visit=cells.get("visit", ""),
        height=values["height"] if math.isfinite(values["height"]) else HEIGHT,
        wind=values["wind"],
        seconds=values["minutes"] if math.isfinite(values["minutes"]) else MINUTES * 60.0,
        reference_wind=values["reference wind"],
        reference_height=values["reference height"] if math.isfinite(values["reference height"]) else REFERENCE_HEIGHT,
        reference_direction=values["reference direction"],
        air=values["air"],
        air_outside=values["air outside"],
        aspirated=cells.get("aspirated", "").lower() in _YES,
        note=note,
        where=where,
        flags=tuple(flags),
    )


def near(zone: str, zones: Collection[str]) -> str:
    """The cure for a zone that is none."""
    close = difflib.get_close_matches(zone, list(zones), 1)
    return f"did you mean {close[0]!r}?" if close else f"zones are {', '.join(zones)}"


def number(
    name: str,
    cell: str,
    given: str | None,
    where: str,
    faults: list[Problem],
    columns: Mapping[str, tuple[str, float, float]] = COLUMNS,
) -> float:
    """One cell of `columns` in SI, NaN where it is empty or wrong."""
    if not cell:
        return math.nan
    default, low, high = columns[name]
    text = f"{cell} {given}" if given and re.fullmatch(r"[-+\d.,eE\s]+", cell) else cell
    try:
        value = units.quantity(text, default)
    except ValueError as error:
        faults.append(Problem(where, f"{name}: {error}", f"a number of {default}"))
        return math.nan
    if not low <= value <= high:
        least, most = (float(units.from_si(bound, default)) for bound in (low, high))
        faults.append(Problem(where, f"{name} {cell}", f"{least:g} to {most:g} {default}"))
        return math.nan
    return value


def visits(readings: tuple[BowlReading, ...]) -> list[int]:
    """Number of the visit each reading belongs to: as named, else by gaps of more than 90 min."""
    numbers: list[int] = []
    seen: dict[str, int] = {}
    for k, reading in enumerate(readings):
        if reading.visit:
            numbers.append(seen.setdefault(reading.visit, len(seen)))
        elif k and not readings[k - 1].visit and reading.time - readings[k - 1].time <= VISIT_GAP:
            numbers.append(numbers[-1])
        else:
            numbers.append(seen.setdefault(f"\n{k}", len(seen)))
    return numbers
