"""Spot readings: one number taken at one place, depth and time, as it is said on the field.

"North goal, 100 mm, 41 degF, 16:30"      a probe in the root zone
"North goal, surface, -1.5 degC, 4:30 pm" an infrared thermometer
"North goal, 50 mm, 18 %, 16:30"          water by volume
"North goal, air, -1.5 degC, 20:30"       a thermometer in the air over the grass; "dew point" in its place likewise
"""

import csv
import difflib
import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from microclimate import units
from microclimate.errors import InputError, Problem
from microclimate.fieldlog import clock

# one reading stands for its whole zone: instrument and place together, one standard deviation (ours, no source)
ERRORS = {  # [K], [K], [1], [K], [K]
    "soil_temperature": 0.5,
    "canopy_temperature": 1.5,
    "water_content": 0.04,
    "air_temperature": 0.5,
    "dew_point_temperature": 1.0,
}

_RANGES = {  # [SI] what a reading can be, and in words
    "soil_temperature": (230.0, 335.0, "-43 to 62 °C"),
    "canopy_temperature": (220.0, 350.0, "-53 to 77 °C"),
    "water_content": (0.0, 0.8, "0 to 80 %"),
    "air_temperature": (220.0, 330.0, "-53 to 57 °C"),
    "dew_point_temperature": (200.0, 310.0, "-73 to 37 °C"),
}
_SURFACE = {"surface", "canopy", "leaf", "0", "0 mm", "0 cm", "0 m", "0 in"}
AIR = {"air": "air_temperature", "dew point": "dew_point_temperature", "dewpoint": "dew_point_temperature"}
_WORDING = '"ZONE, 100 mm, 41 degF, 16:30"'
_NUMBER = r"[-+\u2212]?\d+(?:[.,]\d+)?"
_SPOT = re.compile(
    rf"^\s*(?P<zone>.+?)\s*[,;]\s*(?P<depth>surface|canopy|leaf|air|dew\s?point|{_NUMBER}\s*[^\d\s,;]*)\s*"
    rf"[,;]\s*(?P<value>{_NUMBER}\s*[^\d\s,;][^,;]*?)\s*[,;]\s*(?P<time>[^,;]+?)\s*$",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Spot:
    """One reading, SI."""

    zone: str
    kind: str  # soil_temperature, canopy_temperature, water_content, air_temperature or dew_point_temperature
    depth: float  # [m] below the surface, 0 on the leaf and in the air
    value: float  # [K] or [1]
    time: np.datetime64  # UTC
    error: float  # [K] or [1] one standard deviation, place and instrument together


def spot(text: str, time_zone: str, *, before: np.datetime64 | None = None, zones: Collection[str] = ()) -> Spot:
    """A reading from its one-line form.

    Parameters
    ----------
    text : str
        Zone, depth (or "surface"), value with unit, time; parted by commas or semicolons.
    time_zone : str
        Zone of the clock time.
    before : datetime64, optional
        UTC; a time without a date is the last one not later than this.
    zones : collection of str, optional
        Names of the venue's zones; when given, the reading must name one of them.

    Raises
    ------
    InputError
        Everything in the text that cannot be used.
    """
    where = f"reading {text!r}"
    parts = _SPOT.match(text)
    if parts is None:
        raise InputError(where, [Problem(where, "not understood", _WORDING)])
    return checked(parts["zone"], parts["depth"], parts["value"], parts["time"], where, time_zone, before, zones)


def table(
    path: Path, time_zone: str, *, before: np.datetime64 | None = None, zones: Collection[str] = ()
) -> tuple[Spot, ...]:
    """Readings from a CSV with the columns zone, depth, value, time; each cell as in the one-line form.

    A unit may stand in the header instead of the cell: `depth [mm]`, `value [degF]`.

    Raises
    ------
    InputError
        Every row that cannot be used, with its line number.
    """
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file, delimiter=_delimiter(path)))
    if not rows:
        raise InputError(path.name, [Problem(path.name, "empty", "columns zone, depth, value, time")])
    header = [re.sub(r"\s*\[.*\]", "", cell).strip().lower() for cell in rows[0]]
    unit = [match[1] if (match := re.search(r"\[(.*)\]", cell)) else "" for cell in rows[0]]
    missing = [name for name in ("zone", "depth", "value", "time") if name not in header]
    if missing:
        found = f"no column {', '.join(missing)}"
        raise InputError(path.name, [Problem(f"{path.name}: line 1", found, "columns zone, depth, value, time")])
    problems: list[Problem] = []
    found_spots: list[Spot] = []
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        where = f"{path.name}: line {line}"
        if len(row) < len(header):
            problems.append(Problem(where, f"{len(row)} cells", f"{len(header)}"))
            continue
        cells = {
            name: f"{cell.strip()} {u}".strip() if re.fullmatch(_NUMBER, cell.strip()) else cell.strip()
            for name, cell, u in zip(header, row, unit, strict=False)
        }
        try:
            found_spots.append(
                checked(cells["zone"], cells["depth"], cells["value"], cells["time"], where, time_zone, before, zones)
            )
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(path.name, problems)
    return tuple(found_spots)


def collect(
    given: Iterable[str], time_zone: str, *, before: np.datetime64 | None = None, zones: Collection[str] = ()
) -> tuple[Spot, ...]:
    """Readings from the command line: each text is a reading, or the path of a CSV of readings.

    Raises
    ------
    InputError
        Every fault of every reading.
    """
    problems: list[Problem] = []
    found: list[Spot] = []
    for text in given:
        try:
            if text.lower().endswith(".csv") and Path(text).is_file():
                found.extend(table(Path(text), time_zone, before=before, zones=zones))
            else:
                found.append(spot(text, time_zone, before=before, zones=zones))
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError("readings", problems)
    return tuple(found)


def checked(
    zone: str,
    depth: str,
    value: str,
    time: str,
    where: str,
    time_zone: str,
    before: np.datetime64 | None,
    zones: Collection[str],
) -> Spot:
    """A reading from its four texts; what is wrong with any of them is raised at once."""
    problems: list[Problem] = []
    if zones and zone not in zones:
        close = difflib.get_close_matches(zone, zones, n=1)
        cure = f"did you mean {close[0]!r}?" if close else f"zones are {', '.join(zones)}"
        problems.append(Problem(where, f"no zone {zone!r}", cure=cure))
    metres, over = 0.0, AIR.get(" ".join(depth.lower().split()))
    if over is None and depth.lower() not in _SURFACE:
        try:
            metres = units.quantity(depth.replace("\u2212", "-"), "mm")
        except units.UnknownUnit as error:
            problems.append(Problem(where, f"depth: {error}", "such as 100 mm or 4 in"))
        if not 0.0 <= metres <= 3.0:
            problems.append(Problem(where, f"depth {depth}", "0 to 3 m"))
    number, kind = np.nan, "soil_temperature"
    try:
        number, kind = _value(value.replace("\u2212", "-"), metres)
        if over is not None:
            if kind == "water_content":
                raise units.UnknownUnit(f"{value!r} is no temperature")
            kind = over
        low, high, words = _RANGES[kind]
        if not low <= number <= high:
            problems.append(Problem(where, value, words))
    except units.UnknownUnit as error:
        problems.append(Problem(where, str(error), "a number with its unit, such as 41 degF, 5 degC or 18 %"))
    when: np.datetime64 = np.datetime64("NaT", "ns")
    try:
        when = clock.moment(time, time_zone, before=before, where=where)
    except InputError as error:
        problems.extend(error.problems)
    if problems:
        raise InputError(where, problems)
    return Spot(zone, kind, metres, number, when, ERRORS[kind])


def _value(text: str, depth: float) -> tuple[float, str]:
    """SI value and kind; the unit tells water from warmth, and has to be written."""
    unit = re.sub(rf"^\s*{_NUMBER}\s*", "", text)
    if not unit:
        raise units.UnknownUnit(f"{text!r} has no unit")
    if units.dimension(unit) == "fraction":
        return units.quantity(text, "1"), "water_content"
    return units.quantity(text, "K"), "soil_temperature" if depth > 0.0 else "canopy_temperature"


def _delimiter(path: Path) -> str:
    first = path.read_text(encoding="utf-8-sig", errors="replace").split("\n", 1)[0]
    return max(",;\t", key=first.count)
