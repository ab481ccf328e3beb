"""A sheet of what was read by hand, one row a visit to a place: probes, infrared, wind, air, studs, hardness, states.

Known columns; units in the heading or in the cell, a cell may be empty:

    time, zone, depth, value                         a probe, or water by volume (%)
    infrared, emissivity set, sky, cloud, body       an infrared thermometer (corrected, see `infrared`)
    wind, height, minutes, reference wind, ...       a hot-wire anemometer (see `bowl_readings`)
    air, air outside, aspirated                      one thermometer inside and outside
    seats, seat infrared, seat contact, sky          which material, what it shows, as it is, and what it mirrors
    seats, light on, light off                       a light meter on the seat, and turned to it; any one unit
    takes a stud                                     yes or no
    hardness, device, drop, age                      peak deceleration [g], which device, number of the drop, how old
    state                                            open, white frost, frozen layer, ...
    who, note
"""

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from microclimate.errors import InputError, Problem
from microclimate.fieldlog import bowl_readings, clock, infrared, readings
from microclimate.fieldlog.bowl_readings import BowlReading
from microclimate.fieldlog.sheet import Sheet
from microclimate.fieldlog.store import Reading, Store
from microclimate.schema import STATE_WORDS, SurfaceState

# heading -> unit of a bare number ("" for text), lowest, highest (SI)
COLUMNS: dict[str, tuple[str, float, float]] = {
    **bowl_readings.COLUMNS,
    "infrared": ("degC", 200.0, 350.0),
    "emissivity set": ("1", 0.1, 1.0),
    "sky": ("degC", 150.0, 320.0),
    "cloud": ("1", 0.0, 1.0),
    "body": ("degC", 230.0, 330.0),
    "seat infrared": ("degC", 150.0, 380.0),
    "seat contact": ("degC", 200.0, 370.0),
    "light on": ("1", 1.0, 2e5),
    "light off": ("1", 0.0, 2e5),
    "hardness": ("1", 0.0, 600.0),
    "drop": ("1", 1.0, 20.0),
    "age": ("h", 0.0, 3.2e7),
}
TEXTS = (*bowl_readings.TEXTS, "depth", "value", "seats", "takes a stud", "device", "state", "who")
_ANY = ("value", "infrared", "wind", "air", "seats", "takes a stud", "hardness", "state")
_NO = {"no", "n", "false", "0"}
_YES = {"yes", "y", "true", "1", "x"}
_STATES = {words: state for state, words in STATE_WORDS.items()}


@dataclass(frozen=True)
class Read:
    """What a sheet holds."""

    readings: tuple[Reading, ...]
    states: tuple[tuple[np.datetime64, str, SurfaceState, str, str], ...]  # time, zone, state, who, note
    rejected: tuple[tuple[int, str], ...]  # line, why
    codes: tuple[str, ...]
    rows: int


def names(headings: Collection[str]) -> dict[str, tuple[str, str]]:
    """Known columns among headings: heading -> (column, unit in the heading)."""
    found = {}
    for heading in headings:
        match = re.match(r"^\s*([^\[(]*?)\s*(?:[\[(]([^\])]*)[\])])?\s*$", heading)
        plain = re.sub(r"[\s_]+", " ", match[1] if match else heading).strip().lower()
        if plain in COLUMNS or plain in TEXTS:
            found[heading] = (plain, (match[2] or "").strip() if match else "")
    return found


def recognises(headings: Collection[str]) -> bool:
    """A sheet of readings by hand: a time, a zone (or what seats are made of) and one of what can be read."""
    plain = {name for name, _ in names(headings).values()}
    return "time" in plain and bool(plain & {"zone", "seats"}) and bool(plain & set(_ANY))


def read(sheet: Sheet, time_zone: str, zones: Collection[str], name: str) -> Read:
    """The readings of a sheet, row by row as far as they are good."""
    known = names(sheet.headings)
    codes = [f"ignored={h}" for h in sheet.headings if h not in known]
    given = {column: unit for column, unit in known.values() if unit and column in COLUMNS}
    at = {column: sheet.headings.index(heading) for heading, (column, _) in known.items()}
    value_unit = next((unit for column, unit in known.values() if column in ("value", "depth") and unit), "")
    found: list[Reading] = []
    states = []
    rejected = list(sheet.torn)
    for row, line in zip(sheet.frame.itertuples(index=False, name=None), sheet.lines.tolist(), strict=True):
        cells = {column: _text(row[k]) for column, k in at.items()}
        if value_unit and re.fullmatch(r"[-+\u2212\d.,]+", cells.get("value", "")):
            cells["value"] = f"{cells['value']} {known_unit(known, 'value')}".strip()
        if re.fullmatch(r"[\d.,]+", cells.get("depth", "")):
            cells["depth"] = f"{cells['depth']} {known_unit(known, 'depth')}".strip()
        faults: list[Problem] = []
        try:
            got, state = _row(cells, given, time_zone, zones, line, faults)
        except InputError as error:
            faults += error.problems
            got, state = [], None
        found += got
        states += [state] if state else []
        if faults or not (got or state):
            words = "; ".join(_plain(fault) for fault in faults) or "nothing was read"
            rejected.append((line, words))
    if not found and not states:
        why = [Problem(f"{name}: line {line}", words) for line, words in rejected[:5]]
        raise InputError(name, why or [Problem(name, "holds no reading", "one row for each")])
    return Read(_apart(found), tuple(states), tuple(sorted(rejected)), tuple(codes), len(sheet.lines) + len(sheet.torn))


def _apart(found: list[Reading]) -> tuple[Reading, ...]:
    """Readings of one instrument in one zone and minute, a second apart, so that each of several points is kept."""
    seen: dict[tuple[str, str, str, float, np.datetime64], int] = {}
    out = []
    for one in found:
        key = (one.sensor, one.quantity, one.zone, one.depth, one.time)
        seen[key] = seen.get(key, -1) + 1
        out.append(replace(one, time=one.time + np.timedelta64(seen[key], "s")))
    return tuple(out)


def known_unit(known: Mapping[str, tuple[str, str]], column: str) -> str:
    """The unit that a column's heading names, '' when none."""
    return next((unit for name, unit in known.values() if name == column), "")


def _text(cell: Any) -> str:
    if isinstance(cell, float):
        return "" if math.isnan(cell) else f"{cell:.10g}"
    return "" if cell is None else str(cell).strip()


def _plain(fault: Problem) -> str:
    return str(Problem("", fault.found, fault.wanted, fault.cure))


def _row(
    cells: dict[str, str],
    given: Mapping[str, str],
    time_zone: str,
    zones: Collection[str],
    line: int,
    faults: list[Problem],
) -> tuple[list[Reading], tuple[np.datetime64, str, SurfaceState, str, str] | None]:
    """One row; what is wrong with a part of it goes to `faults`, the other parts are taken."""
    zone = cells.get("zone", "")
    time = clock.moment(cells.get("time", ""), time_zone, where="")
    if zones and zone not in zones and not (cells.get("seats") and not zone):  # seats belong to no zone
        faults += _zone(zone, zones)
        return [], None
    own = {"note": cells.get("note", ""), "who": cells.get("who", "")}
    own = {key: text for key, text in own.items() if text}
    number = {
        name: bowl_readings.number(name, cells.get(name, ""), given.get(name), "", faults, COLUMNS) for name in COLUMNS
    }
    got: list[Reading] = []

    def add(sensor: str, quantity: str, value: float, depth: float = 0.0, error: float = 0.0, **detail: Any) -> None:
        kept = {k: v for k, v in detail.items() if not (isinstance(v, float) and math.isnan(v)) and v != ""}
        got.append(Reading(sensor, quantity, time, value, zone, depth, error, line, {**kept, **own}))

    if cells.get("value"):
        spot = readings.checked(zone, cells.get("depth", ""), cells["value"], cells["time"], "", time_zone, None, ())
        kind = {"water_content": "volume_fraction_of_condensed_water_in_soil"}.get(spot.kind, spot.kind)
        add("by hand", kind, spot.value, spot.depth, spot.error)
    if math.isfinite(number["infrared"]):
        setting = number["emissivity set"]
        value, left = infrared.hand_held(
            number["infrared"],
            setting=setting if math.isfinite(setting) else 1.0,
            sky=number["sky"], cloud=number["cloud"], body=number["body"],
        )  # fmt: skip
        error = math.hypot(readings.ERRORS["canopy_temperature"], left)
        extra = {"shown": number["infrared"], "setting": setting, "sky": number["sky"], "cloud": number["cloud"]}
        add(cells.get("device") or "infrared", "canopy_temperature", value, 0.0, error, **extra)
    if math.isfinite(number["wind"]) or math.isfinite(number["air"]):
        before = len(faults)
        bowl = {k: ("" if k in COLUMNS and k not in bowl_readings.COLUMNS else v) for k, v in cells.items()}
        one = bowl_readings.one(bowl, dict(given), time_zone, zones or [zone], "", faults)
        if one is not None and len(faults) == before:
            _bowl(one, add)
    if cells.get("seats") or any(math.isfinite(number[name]) for name in _OF_SEATS):
        _seats(cells.get("seats", ""), number, add, faults)
    if cells.get("takes a stud"):
        answer = cells["takes a stud"].lower()
        if answer in _YES | _NO:
            add(cells.get("device") or "stud", "takes_a_stud", float(answer in _YES))
        else:
            faults.append(Problem("", f"takes a stud: {answer!r}", "yes or no"))
    if math.isfinite(number["hardness"]):
        add(
            cells.get("device") or "dropped mass", "surface_hardness", number["hardness"],
            drop=number["drop"], age=number["age"],
        )  # fmt: skip
    state = None
    if cells.get("state"):
        if cells["state"].lower() in _STATES:
            state = (time, zone, _STATES[cells["state"].lower()], cells.get("who", ""), cells.get("note", ""))
        else:
            faults.append(Problem("", f"state: {cells['state']!r}", ", ".join(_STATES)))
    return got, state


def _zone(zone: str, zones: Collection[str]) -> list[Problem]:
    what = bowl_readings.near(zone, zones)
    return [Problem("", f"no zone is called {zone!r}", "", what)]


_OF_SEATS = ("seat infrared", "seat contact", "light on", "light off")


def _seats(material: str, number: Mapping[str, float], add: Any, faults: list[Problem]) -> None:
    """A reading of a seat: infrared beside a thermometer on it and what it mirrors, or light on it and off it."""
    if not material:
        faults.append(Problem("", "a reading of a seat without seats", "the material they are made of"))
        return
    shown, contact, sky = (number[name] for name in ("seat infrared", "seat contact", "sky"))
    if math.isfinite(shown):
        if math.isfinite(contact) and math.isfinite(sky):
            extra = {"contact": contact, "sky": sky, "setting": number["emissivity set"], "body": number["body"]}
            add(material, "seat_temperature", shown, **extra)
        else:
            cure = "read with a thermometer on the seat, and with the infrared one where the seat mirrors"
            faults.append(Problem("", "seat infrared without seat contact and sky", "all three", cure))
    on, off = number["light on"], number["light off"]
    if math.isfinite(on) and math.isfinite(off):
        if off <= on:
            add(material, "seat_reflectance", off / on, light_on=on, light_off=off)
        else:
            faults.append(Problem("", f"light off {off:g}", f"at most light on, {on:g}"))
    elif math.isfinite(on) or math.isfinite(off):
        faults.append(Problem("", "one of light on and light off", "both, in one unit"))
    elif not math.isfinite(shown):
        faults.append(Problem("", "seats without a reading", "seat infrared, or light on and light off"))


_KEPT = ("x", "y", "height", "seconds", "reference_wind", "reference_height", "reference_direction", "visit")


def _bowl(one: BowlReading, add: Any) -> None:
    """A reading of wind or air in the bowl, so that it can be had back whole."""
    if one.is_wind:
        extra = {name: getattr(one, name) for name in _KEPT}
        add("hot wire", "wind_speed", one.wind, -one.height, 0.0, **extra, flags=list(one.flags))
    if one.is_air:
        extra = {"air": one.air, "air_outside": one.air_outside, "aspirated": one.aspirated, "visit": one.visit}
        add("thermometer", "bowl_air_difference", one.air - one.air_outside, 0.0, 0.4, **extra)


def bowl(store: Store) -> tuple[BowlReading, ...]:
    """Readings of wind and air in the bowl that the store holds, unflagged, in order of time."""
    found = []
    for quantity in ("wind_speed", "bowl_air_difference"):
        for sensor, row, detail in store.detailed(quantity):
            if quantity == "wind_speed" and sensor.name != "hot wire":
                continue
            is_wind = quantity == "wind_speed"
            found.append(
                BowlReading(
                    time=np.datetime64(row["time"], "s").astype("datetime64[ns]"),
                    zone=sensor.zone,
                    wind=row["value"] if is_wind else math.nan,
                    air=detail.get("air", math.nan),
                    air_outside=detail.get("air_outside", math.nan),
                    aspirated=bool(detail.get("aspirated", False)),
                    note=detail.get("note", ""),
                    where=f"{row['source_name']}: line {row['line']}",
                    flags=tuple(detail.get("flags", ())),
                    **{name: detail.get(name, _BLANK.get(name, math.nan)) for name in _KEPT},
                )
            )
    return tuple(sorted(found, key=lambda reading: reading.time))


_BLANK: dict[str, Any] = {"visit": "", "height": bowl_readings.HEIGHT, "seconds": bowl_readings.MINUTES * 60.0,
                          "reference_height": bowl_readings.REFERENCE_HEIGHT}  # fmt: skip
