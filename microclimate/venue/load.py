"""From a venue file to a `Venue`: every fault of the file at once, or none."""

import copy
import re
import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from microclimate import schema
from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import FORMAT
from microclimate.venue import faults, ical, rules
from microclimate.venue.assemble import assembled, events_of, floors_of
from microclimate.venue.calibration import Calibration
from microclimate.venue.described import Venue, VenueFile
from microclimate.venue.events import EventFile
from microclimate.venue.faults import Findings

__all__ = ["Venue", "events", "tables", "text", "venue", "with_calendar"]


def venue(path: str | Path, calibration: str | Path | None = None) -> Venue:
    """Read a venue file, and what was learned about the venue if given.

    Parameters
    ----------
    path : path
        The venue file (TOML).
    calibration : path, optional
        The calibration file (TOML).

    Returns
    -------
    Venue
        Frozen, SI.

    Raises
    ------
    InputError
        Every fault of the file, each with its table, number and setting.
    """
    path = Path(path)
    learned = _NOTHING if calibration is None else _calibration(Path(calibration))
    found = text(_read(path), path.name, path.resolve().parent, learned)
    zones = [zone.name for zone in found.field.zones]
    strange = [name for name in learned.zone_wind_factor if name not in zones]
    if calibration is not None and strange:
        where = f"{Path(calibration).name}: [zone_wind_factor]"
        lines = [Problem(where, f"there is no zone {name!r}", cure=faults.close(name, zones)) for name in strange]
        raise InputError(Path(calibration).name, lines)
    return found if calibration is None else _seated(found, learned, Path(calibration).name)


def _seated(found: Venue, learned: Calibration, name: str) -> Venue:
    """The venue with what readings taught of its seats."""
    change: dict[str, dict[str, float]] = {}
    for key, table in (("emissivity", learned.seat_emissivity), ("albedo", learned.seat_albedo)):
        for material, value in table.items():
            change.setdefault(material, {})[key] = value
    used = found.bowl.materials
    if strange := [material for material in change if material not in used]:
        where = f"{name}: [seat_emissivity] and [seat_albedo]"
        cure = f"the stands are of {', '.join(used)}" if used else "there are no stands"
        raise InputError(name, [Problem(where, f"no stand is of {one!r}", cure=cure) for one in strange])
    if not change:
        return found
    taught = tuple(found.bowl.surface(material).model_copy(update=keys) for material, keys in change.items())
    kept = tuple(surface for surface in found.bowl.surfaces if surface.name not in change)
    return found.model_copy(update={"bowl": found.bowl.model_copy(update={"surfaces": (*taught, *kept)})})


_NOTHING = Calibration.model_validate({})


def text(
    content: str, name: str = "venue.toml", directory: Path | None = None, calibration: Calibration = _NOTHING
) -> Venue:
    """The same from text in hand."""
    return tables(_parsed(content, name), name, directory, calibration)


def tables(
    raw: dict[str, Any],
    name: str = "venue.toml",
    directory: Path | None = None,
    calibration: Calibration = _NOTHING,
) -> Venue:
    """The same from tables in hand, as a parsed file holds them."""
    findings = Findings(name)
    try:
        described = VenueFile.model_validate(raw)
    except ValidationError as error:
        findings.problems.extend(faults.problems(error, VenueFile, name))
        rest = _rest(raw, error, findings)
        try:
            described = VenueFile.model_validate(rest)
        except ValidationError:  # what is left does not stand alone: nothing to fit together
            raise InputError(name, findings.problems) from None
    return assembled(described, findings, directory or Path.cwd(), calibration)


def events(path: str | Path, time_zone: str) -> tuple[schema.Event, ...]:
    """Events of a calendar file (TOML with [[event]] tables, or iCalendar), in order of time.

    Raises
    ------
    InputError
        Every fault of the file, events that overlap among them.
    """
    path = Path(path)
    findings = Findings(path.name)
    return _events(_calendar(path, findings), time_zone, findings)


def with_calendar(found: Venue, path: str | Path) -> Venue:
    """The venue with the events and floors of a calendar file beside its own; an event told twice is one.

    Raises
    ------
    InputError
        Every fault of the file.
    """
    path = Path(path)
    findings = Findings(path.name)
    tables, zone = _calendar(path, findings), found.site.time_zone
    floors = floors_of(tables.floor, zone, [zone.name for zone in found.field.zones], findings)
    own = {(event.start, event.end) for event in found.events}
    further = [event for event in _events(tables, zone, findings) if (event.start, event.end) not in own]
    together = tuple(sorted((*found.events, *further), key=lambda event: event.start))
    equipment = found.equipment.model_copy(update={"floors": (*found.equipment.floors, *floors)})
    return found.model_copy(update={"events": together, "equipment": equipment})


def _calendar(path: Path, findings: Findings) -> EventFile:
    content = _read(path)
    raw = {"event": ical.tables(content, findings)} if ical.is_ical(content) else _parsed(content, path.name)
    try:
        return EventFile.model_validate(raw)
    except ValidationError as error:
        raise InputError(path.name, [*findings.problems, *faults.problems(error, EventFile, path.name)]) from None


def _events(tables: EventFile, time_zone: str, findings: Findings) -> tuple[schema.Event, ...]:
    found = events_of(tables.event, time_zone, findings)
    rules.apart(found, findings)
    if findings.problems:
        raise InputError(findings.file, findings.problems)
    return found


def _calibration(path: Path) -> Calibration:
    raw = _parsed(_read(path), path.name)
    try:
        return Calibration.model_validate(raw)
    except ValidationError as error:
        raise InputError(path.name, faults.problems(error, Calibration, path.name)) from None


def _rest(raw: dict[str, Any], error: ValidationError, findings: Findings) -> dict[str, Any]:
    """The file without what is faulty, so that the other parts are still held against each other."""
    rest = copy.deepcopy(raw)
    dropped: dict[str, set[int]] = {}
    details = error.errors(include_url=False, include_context=False)
    details.sort(key=lambda detail: detail["type"] != "extra_forbidden")  # surplus keys first, while tables are whole
    for detail in details:
        loc = detail["loc"]
        table = str(loc[0]) if loc else ""
        if detail["type"] == "extra_forbidden":
            owner: Any = rest
            for part in loc[:-1]:
                owner = owner[part]
            owner.pop(loc[-1], None)
        elif len(loc) > 1 and isinstance(loc[1], int):
            dropped.setdefault(table, set()).add(loc[1])
            findings.broken.add(table)
        else:
            rest.pop(table, None)
            findings.broken.add(table)
    for table, numbers in dropped.items():
        if isinstance(rest.get(table), list):
            findings.numbers[table] = [i + 1 for i in range(len(rest[table])) if i not in numbers]
            rest[table] = [rest[table][number - 1] for number in findings.numbers[table]]
    return rest


def _read(path: Path) -> str:
    """The file's text; a byte-order mark and any line ends are fine."""
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise refuse(str(path), "there is no such file", cure="`microclimate new` writes one to start from") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(str(path), f"cannot be read ({reason})") from None
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise refuse(path.name, "is saved as UTF-16", "UTF-8 text", "save it again as UTF-8")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        found = f"byte {raw[error.start]:#04x} in line {line} is not UTF-8"
        raise refuse(path.name, found, "UTF-8 text", "save it again as UTF-8") from None


def _parsed(content: str, name: str) -> dict[str, Any]:
    content = content.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    try:
        raw = tomllib.loads(content)
    except tomllib.TOMLDecodeError as error:
        raise refuse(name, *_syntax(str(error), content)) from None
    number = raw.get("format", FORMAT)
    if isinstance(number, int) and not isinstance(number, bool) and number > FORMAT:
        raise refuse(name, f"has format {number}, newer than this program reads ({FORMAT})", cure="update the program")
    return raw


def _syntax(message: str, content: str) -> tuple[str, str, str]:
    """What is wrong, what is wanted, the cure; with the line itself."""
    found = re.search(r"^(.*?)\s*\(at line (\d+), column (\d+)\)", message)
    if found is None:
        return f"the file ends too early: {message}", "", "a bracket or quote is probably open"
    line = content.split("\n")[int(found[2]) - 1].strip()
    cure = ""
    if re.match(r"^[\w-]+\s*=\s*[^\"'\[{]*[A-Za-z°%]", line):
        cure = 'text and numbers with a unit stand in quotes: "250 mm"'
    elif re.match(r"^[\w-]+\s*=\s*[-+]?\d+,\d+", line):
        cure = "write numbers with a point: 0.25"
    elif re.match(r"^[\w-]+\s*:", line):
        cure = "write key = value"
    return f"line {found[2]}: {found[1]}, in `{line}`", "", cure
