"""From a venue file to a `Venue`: every fault of the file at once, or none."""

import re
import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import FORMAT
from microclimate.venue import faults
from microclimate.venue.assemble import assembled
from microclimate.venue.calibration import Calibration
from microclimate.venue.described import Venue, VenueFile

__all__ = ["Venue", "text", "venue"]

T = TypeVar("T", bound=BaseModel)


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
        Every fault of the files, each with its table, number and setting.
    """
    path = Path(path)
    learned = Calibration.model_validate({}) if calibration is None else _checked(Path(calibration), Calibration)
    described = _checked(path, VenueFile)
    return assembled(described, path.name, path.resolve().parent, learned)


def text(content: str, name: str = "venue.toml", directory: Path | None = None) -> Venue:
    """The same from text in hand."""
    described = _validated(_parsed(content, name), VenueFile, name)
    return assembled(described, name, directory or Path.cwd(), Calibration.model_validate({}))


def _checked(path: Path, model: type[T]) -> T:
    return _validated(_parsed(_read(path), path.name), model, path.name)


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
        return tomllib.loads(content)
    except tomllib.TOMLDecodeError as error:
        raise refuse(name, *_syntax(str(error), content)) from None


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


def _validated(raw: dict[str, Any], model: type[T], name: str) -> T:
    number = raw.get("format", FORMAT)
    if isinstance(number, int) and not isinstance(number, bool) and number > FORMAT:
        raise refuse(name, f"has format {number}, newer than this program reads ({FORMAT})", cure="update the program")
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        found: list[Problem] = faults.problems(error, model, name)
        raise InputError(name, found) from None
