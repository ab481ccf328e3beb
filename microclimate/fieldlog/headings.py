"""What a column is: told with `--sensor` or in its heading, else guessed from plain words, and said."""

import difflib
import re
from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from microclimate import units
from microclimate.errors import Problem
from microclimate.fieldlog.kinds import KINDS, named

DEPTHS = (0.0, 10.0)  # [m] of a buried sensor
_AT = re.compile(r"@\s*([^@\[\]]+)")
_UNIT = re.compile(r"\[([^\]]*)\]|\(([^)]*)\)")
_LENGTH = re.compile(
    r"(?<![\w.,])(\d+(?:[.,]\d+)?)\s*[-_]?\s*(mm|cm|m|in|inch|inches|ft|\"|”)(?![A-Za-z0-9²2/])", re.IGNORECASE
)
_WARM = re.compile(r"(?<![a-z])(?:t|temp|temperature|tsoil|thermistor)(?![a-z])", re.IGNORECASE)
TIMES = {
    "time", "timestamp", "datetime", "date time", "date", "stamp", "time utc", "valid time", "utc", "clock", "hour",
    "date/time", "local time", "datum", "zeit", "uhrzeit",
}  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column of readings, ready to be read."""

    column: str  # heading, as the file has it
    name: str  # of the sensor
    quantity: str
    depth: float = 0.0  # [m] below the surface, above it negative
    zone: str = ""
    unit: str = ""  # of bare numbers; "" not known yet
    meter: bool = False  # it counts up: what came since the row before is what is kept


def spec(text: str, headings: Collection[str], zones: Collection[str]) -> tuple[Column | None, list[Problem]]:
    """A column as told: "T1 = soil @ 25 mm @ North goal [degF]"; T1 is a heading or the number of a column.

    Raises nothing: what is wrong comes back.
    """
    where = f"--sensor {text!r}"
    left, equals, right = text.partition("=")
    wanted = '"HEADING = soil_temperature @ 25 mm @ ZONE [degF]"'
    if not equals:
        return None, [Problem(where, "no equals sign", wanted)]
    column, problems = _heading(left.strip(), list(headings), where)
    what = replace(read(right), quantity=named(right.split("@")[0].split("[")[0]))
    if not what.quantity:
        close = difflib.get_close_matches(right.split("@")[0].strip().lower(), KINDS, n=1, cutoff=0.5)
        cure = f"did you mean {close[0]}?" if close else ""
        problems.append(Problem(where, f"{right.split('@')[0].strip()!r} is no quantity", ", ".join(KINDS), cure))
    problems += checked(what, zones, where)
    depth = 0.0 if np.isnan(what.depth) else what.depth
    return Column(column, plain(left), what.quantity, depth, what.zone, what.unit or read(column).unit), problems


def _heading(text: str, headings: list[str], where: str) -> tuple[str, list[Problem]]:
    if text in headings:
        return text, []
    alike = [h for h in headings if plain(h).lower() == plain(text).lower()]
    if len(alike) == 1:
        return alike[0], []
    if text.isdigit() and 1 <= int(text) <= len(headings):
        return headings[int(text) - 1], []
    close = difflib.get_close_matches(text, headings, n=1, cutoff=0.4)
    cure = f"did you mean {close[0]!r}?" if close else ""
    return "", [Problem(where, f"no column {text!r}", f"one of {', '.join(headings)}", cure)]


def plain(heading: str) -> str:
    """A heading without its unit, as a sensor's name."""
    return re.sub(r"\s+", " ", _UNIT.sub("", heading)).strip(" ,;:") or heading.strip()


@dataclass(frozen=True)
class Heading:
    """What a heading says; "" and NaN where it says nothing."""

    quantity: str
    depth: float
    zone: str
    unit: str
    told: bool  # in the exact form "quantity @ place [unit]"


def read(heading: str, zones: Collection[str] = ()) -> Heading:
    """A heading, exact or in plain words.

    Parameters
    ----------
    zones : collection of str
        A zone's name in the heading is its place.
    """
    unit = next((k for m in _UNIT.finditer(heading) if (k := _known(m[1] or m[2] or ""))), "")
    body = _UNIT.sub(lambda m: " " if _known(m[1] or m[2] or "") or ":" in m[0] else f" {m[1] or m[2] or ''} ", heading)
    depth, zone = np.nan, ""
    for part in _AT.findall(body):
        try:
            depth = units.quantity(part.strip(), "m")
        except units.UnknownUnit:
            zone = part.strip()
    exact = body.split("@")[0].strip()
    quantity = named(exact)
    told = exact.lower().replace(" ", "_") in KINDS
    if not zone:
        zone = max((z for z in zones if z.lower() in body.lower()), key=len, default="")
    rest = re.sub(re.escape(zone), " ", body, flags=re.IGNORECASE) if zone else body
    if not unit:
        last = re.split(r"[,\s_]+", rest.strip())
        unit = next((k for k in map(_scale, reversed(last)) if k), "")
    if np.isnan(depth):
        found = _LENGTH.search(rest.replace("_", " "))
        depth = units.quantity(f"{found[1]} {found[2].replace('”', 'in')}", "m") if found else np.nan
    if (
        not told
        and _WARM.search(rest.replace("_", " "))
        and not np.isnan(depth)
        and (not quantity or KINDS[quantity].buried)
    ):
        quantity = quantity or "soil_temperature"
    if not quantity and unit in ("degC", "degF", "K") and not np.isnan(depth):
        quantity = "soil_temperature"
    if quantity and not KINDS[quantity].buried and not np.isnan(depth):
        depth = -abs(depth)
    elif quantity:
        depth = abs(depth)
    return Heading(quantity, depth, zone, unit, told)


def _known(text: str) -> str:
    """A unit as the table spells it, '' when it is none; "LGR S/N: 1" is none."""
    try:
        return units.known(text.strip()) if text.strip() else ""
    except units.UnknownUnit:
        return ""


def _scale(word: str) -> str:
    """A scale of temperature that stands free in a heading."""
    return {"°c": "degC", "°f": "degF", "degc": "degC", "degf": "degF", "celsius": "degC", "fahrenheit": "degF",
            "c": "degC", "f": "degF", "w/m2": "W/m2", "kwh": "kWh", "mph": "mph", "m/s": "m/s", "%": "%"}.get(
        word.strip(".:;").lower(), ""
    )  # fmt: skip


def checked(what: Heading, zones: Collection[str], where: str) -> list[Problem]:
    """What cannot be of a told column."""
    problems = []
    if zones and what.zone and what.zone not in zones:
        close = difflib.get_close_matches(what.zone, list(zones), n=1)
        cure = f"did you mean {close[0]!r}?" if close else f"zones are {', '.join(zones)}"
        problems.append(Problem(where, f"no zone {what.zone!r} in the venue", cure=cure))
    if not what.quantity:
        return problems
    kind = KINDS[what.quantity]
    if kind.buried and not DEPTHS[0] < what.depth <= DEPTHS[1]:
        problems.append(Problem(where, "no depth", f"{what.quantity} @ 25 mm"))
    if what.unit and units.dimension(what.unit) != kind.dimension:
        problems.append(Problem(where, f"[{what.unit}] is no {kind.dimension}", f"a unit of {kind.dimension}"))
    return problems


def is_time(heading: str) -> bool:
    """A heading of stamps."""
    words = plain(re.sub(r",?\s*(?:GMT|UTC)\s*[+-]\s*\d{1,2}:?\d{0,2}", "", heading, flags=re.IGNORECASE)).lower()
    words = re.sub(r"[\s_]+", " ", words).strip(" ,")
    return words in TIMES or words.startswith(("date time", "timestamp", "time stamp"))


def zone_in(heading: str) -> str:
    """An offset that a heading of stamps names: "Date Time, GMT-05:00" is "UTC-05:00"; '' when it names none."""
    found = re.search(r"(?:GMT|UTC)\s*([+-])\s*(\d{1,2}):?(\d{2})?", heading, re.IGNORECASE)
    if found:
        return f"UTC{found[1]}{int(found[2]):02d}:{found[3] or '00'}"
    return "UTC" if re.search(r"(?<![A-Za-z])(?:UTC|GMT)(?![A-Za-z])", heading.replace("_", " "), re.IGNORECASE) else ""
