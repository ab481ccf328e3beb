"""A first venue file: a commented one to fill in, or one made from the answers to a few plain questions.

An answer that is left open, or reads "don't know", takes the default told with the question. The file then lists its
key under `guessed`, and `unknowns` gives that part a wider range.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.resources import files
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from microclimate import units
from microclimate.errors import InputError, Problem
from microclimate.venue import load
from microclimate.venue.limits import SPECIES
from microclimate.venue.materials import STANDS
from microclimate.venue.site import SURROUNDINGS

DO_NOT_KNOW = ("", "?", "-", "don't know", "dont know", "unknown")


@dataclass(frozen=True)
class Question:
    """One plain question; `default` is what "don't know" takes, `wider` what that costs."""

    key: str
    text: str
    example: str
    default: str
    wider: str
    choices: tuple[str, ...] = ()


# key, default: what is printed when nothing is known. Defaults without a source are common practice.
_BUILDS = {
    "sand over gravel": ('build = "sand over gravel"', ""),
    "sand on soil": ('build = "sand on soil"', ""),
    "native soil": ('build = "native soil"', ""),
    "trays, closed below": ('build = "tray"', 'base = "tray over still air"'),
    "trays, open below": ('build = "tray"', 'base = "tray over draughty air"'),
}
_HEATING = {
    "none": "",
    "water pipes": 'kind = "hydronic"\nsupply_temperature = "35 degC"',
    "electric cable": 'kind = "cable"',
}
_COVERS = {
    "none": "",
    "thin sheet": 'name = "thin sheet"\nkind = "permeable"',
    "insulated": 'name = "insulated cover"\nkind = "insulated"',
    "rain sheet": 'name = "rain sheet"\nkind = "rain sheet"',
}
# A zone of the clock near a longitude, for who does not know its name [degree east]; west of Greenwich and Europe first
_ZONES = (
    (-150.0, "America/Anchorage"),
    (-120.0, "America/Los_Angeles"),
    (-106.0, "America/Denver"),
    (-92.0, "America/Chicago"),
    (-77.0, "America/New_York"),
    (-63.0, "America/Halifax"),
    (-3.0, "Europe/London"),
    (10.0, "Europe/Berlin"),
    (26.0, "Europe/Helsinki"),
    (40.0, "Europe/Istanbul"),
    (77.0, "Asia/Kolkata"),
    (116.0, "Asia/Shanghai"),
    (137.0, "Asia/Tokyo"),
    (150.0, "Australia/Sydney"),
    (174.0, "Pacific/Auckland"),
)


def blank() -> str:
    """The commented file; it loads as it is."""
    return files("microclimate.venue").joinpath("starter.toml").read_text(encoding="utf-8")


def questions() -> tuple[Question, ...]:
    """What `microclimate new` asks, in order."""
    return (
        Question("name", "What is the venue called?", "Mill Lane", "My field", ""),
        Question("units", "Metric or US units?", "US", "metric", "", ("metric", "US")),
        Question(
            "position",
            "Where is it: latitude, longitude, and the height above the sea if known (west and south are negative)?",
            "41.2, -96.1, 330 m",
            "45, 0, 100 m",
            "sun and season will be wrong by hours or weeks: look it up on any map",
        ),
        Question(
            "time_zone",
            "Which time zone (name of a place in it)?",
            "America/Chicago",
            "taken from the longitude",
            "clock times may be off by an hour",
        ),
        Question(
            "surroundings",
            "What stands round the venue within a kilometre?",
            "suburb",
            "suburb",
            "wind over the field: a factor of 1.4 either way",
            tuple(SURROUNDINGS),
        ),
        Question(
            "size", "How long and how wide is the field?", "105 x 68 m", "105 x 68 m", "areas and shade move with it"
        ),
        Question(
            "bearing",
            "Standing at one end and looking along the field: which compass direction, in degrees?",
            "20",
            "0",
            "shade may fall on the other side: any direction is tried",
        ),
        Question(
            "zones",
            "Into how many parts shall it be told: rows across, columns along?",
            "4 x 6",
            "3 x 4",
            "",
        ),
        Question(
            "grass",
            "Which grass is it?",
            "perennial ryegrass",
            "perennial ryegrass",
            "growth and winter kill only",
            tuple(SPECIES),
        ),
        Question(
            "height",
            "How high is it cut?",
            "28 mm",
            "28 mm",
            "leaf temperature: some tenths of a degree",
        ),
        Question(
            "build",
            "What is under the grass?",
            "sand over gravel",
            "sand on soil",
            "root-zone temperature: 1 to 3 K on a cold night",
            tuple(_BUILDS),
        ),
        Question("heating", "Is there heating under it?", "water pipes", "none", "", tuple(_HEATING)),
        Question("cover", "Is there a cover?", "thin sheet", "none", "", tuple(_COVERS)),
        Question(
            "stands",
            "Which sides have stands, which of them roofed (left and right as seen in the direction given above)?",
            "left roof, right, head",
            "none",
            "sun, wind and sky: up to 2 K, and hours of shade",
        ),
        Question(
            "stand_shape",
            "Typical stand: distance to the first row, to the top row, height of the top row; and what it is made of?",
            "8 m, 25 m, 12 m, concrete",
            "8 m, 25 m, 10 m, concrete",
            "shade leaves up to an hour earlier or later",
        ),
    )


def from_answers(answers: Mapping[str, str]) -> str:
    """A venue file from the answers, by key of the question; what is missing counts as not known.

    Raises
    ------
    InputError
        Every answer that cannot be used.
    """
    asked = {question.key: question for question in questions()}
    problems = [Problem(key, "is no question", cure=f"keys are {', '.join(asked)}") for key in answers.keys() - asked]
    given = {key: str(value).strip() for key, value in answers.items()}
    guessed = [key for key in asked if given.get(key, "").lower() in DO_NOT_KNOW]
    known = {key: question.default if key in guessed else given[key] for key, question in asked.items()}

    def read(key: str, reader: Callable[[str], str]) -> str:
        try:
            return reader(known[key])
        except ValueError as error:
            problems.append(Problem(asked[key].text, f"{known[key]!r}: {error}", f"for example {asked[key].example}"))
            return ""

    def choice(key: str) -> str:
        def one_of(text: str) -> str:
            found = {name.lower(): name for name in asked[key].choices}.get(text.lower())
            if found is None:
                raise ValueError(f"must be one of {', '.join(asked[key].choices)}")
            return found

        return read(key, one_of)

    if "position" in guessed and "time_zone" not in guessed:
        known["position"] = read("time_zone", _place_in)
    position = read("position", _position) if known["position"] else ""
    if "time_zone" in guessed and position:
        known["time_zone"] = _zone_near(float(position.split("longitude = ")[1].split("\n")[0]))
    heating, cover, build = choice("heating"), choice("cover"), choice("build")
    layers, base = _BUILDS.get(build, ("", ""))
    field = read("size", _size) + read("bearing", _bearing) + read("zones", _zones)
    shape = read("stand_shape", _shape)
    stands = read("stands", lambda text: _stands(text, shape))
    grass, height = (
        choice("grass"),
        read("height", lambda text: f'mowing_height = "{1000 * _length(text, "mm"):g} mm"\n'),
    )
    system = choice("units")
    if problems:
        raise InputError("answers", problems)
    asked_for = [key for key in guessed if asked[key].wider and not (key == "stand_shape" and not stands)]
    heated = ['circuit = "main"'] if _HEATING[heating] else []
    parts = [
        "# Made from answers; every setting can be changed here. `guessed` names what was not known.",
        f'format = 1\nname = {_quoted(known["name"])}\nunits = "{system}"\nclock = {12 if system == "US" else 24}',
        f"guessed = [{', '.join(_quoted(key) for key in asked_for)}]",
        f'\n[site]\n{position}time_zone = {_quoted(known["time_zone"])}\nsurroundings = "{choice("surroundings")}"',
        f"\n[field]\n{field}",
        f'[turf]\nspecies = "{grass}"\n{height}',
        "\n".join(["[[ground]]", layers, *([base] if base else []), *heated]),
    ]
    if _HEATING[heating]:
        parts.append(f'\n[[circuit]]\nname = "main"\n{_circuit_depth(build)}{_HEATING[heating]}')
    if _COVERS[cover]:
        parts.append(f"\n[[cover]]\n{_COVERS[cover]}")
    content = "\n".join([*parts, stands]).rstrip() + "\n"
    load.text(content, "answers")  # what cannot stand together is told here, not when the file is first used
    return content


def _quoted(text: str) -> str:
    """As a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(letter if letter >= " " else " " for letter in escaped) + '"'


def _length(text: str, unit: str = "m") -> float:
    return units.quantity(text.strip(), unit)


def _position(text: str) -> str:
    parts = [part.strip() for part in re.split(r"[,;]", text)]
    if len(parts) not in (2, 3):
        raise ValueError("wanted two or three parts with commas between")
    latitude, longitude = (units.quantity(part, "degree") for part in parts[:2])
    elevation = _length(parts[2]) if len(parts) == 3 else 100.0
    return f"latitude = {latitude!r}\nlongitude = {longitude!r}\nelevation = {round(elevation, 1)!r}   # m\n"


def _zone_near(longitude: float) -> str:
    return min(_ZONES, key=lambda item: abs((item[0] - longitude + 180) % 360 - 180))[1]


def _place_in(time_zone: str) -> str:
    """Somewhere in a zone: its meridian, at 45 degrees on the side of the equator that its summer time tells."""
    try:
        zone = ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise ValueError("is not the name of a time zone") from None
    january, july = (datetime(2025, month, 15, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7))
    latitude = -45 if january > july else 45
    return f"{latitude}, {min(january, july).total_seconds() / 240.0:g}, 100 m"


def _pair(text: str) -> list[str]:
    parts = [part.strip() for part in re.split(r"[x×,;]|\bby\b", text) if part.strip()]
    if len(parts) != 2:
        raise ValueError("wanted two numbers with an x between")
    return parts


def _size(text: str) -> str:
    first, second = _pair(text)
    unit = re.sub(r"^[\d.,\s]+", "", second) or "m"
    sides = [_length(part if re.search(r"[A-Za-z'\"]", part) else f"{part} {unit}") for part in (first, second)]
    return f"length = {max(sides):.6g}   # m\nwidth = {min(sides):.6g}\n"


def _bearing(text: str) -> str:
    return f"bearing = {units.quantity(text, 'degree') % 360:g}   # degree on the compass\n"


def _zones(text: str) -> str:
    rows, columns = _pair(text)
    if not (rows.isdigit() and columns.isdigit()):
        raise ValueError("wanted whole numbers")
    return f"zone_rows = {int(rows)}   # across, from the left side\nzone_columns = {int(columns)}   # along\n\n"


def _shape(text: str) -> str:
    parts = [part.strip() for part in re.split(r"[,;]", text)]
    if len(parts) not in (3, 4):
        raise ValueError("wanted three lengths, and a material if known")
    seat = parts[3].lower() if len(parts) == 4 else "concrete"
    if seat not in STANDS:
        raise ValueError(f"the material must be one of {', '.join(STANDS)}")
    names = ("first_row_distance", "top_row_distance", "top_row_height")
    lengths = "".join(f"{name} = {_length(part):.6g}   # m\n" for name, part in zip(names, parts[:3], strict=True))
    return f'{lengths}seat = "{seat}"\n'


def _stands(text: str, shape: str) -> str:
    if text.lower() in ("none", "no"):
        return ""
    tables = []
    for part in re.split(r"[,;]", text):
        words = part.strip().lower().split()
        roofed = any(word.startswith("roof") for word in words)
        side = " ".join(word for word in words if not word.startswith(("roof", "with", "open")))
        if not side:
            raise ValueError("wanted sides such as left, right, head, foot, or north, east, ...")
        tables.append(
            f'\n[[stand]]\nname = "{side} stand"\nside = "{side}"\n'
            f"[stand.rough]\n{shape}roof = {'true' if roofed else 'false'}\n"
        )
    return "".join(tables)


def _circuit_depth(build: str) -> str:
    """Trays and thin sand are shallower than the usual depth of pipes."""
    shallow = build.startswith("trays") or build == "sand on soil"
    return 'depth = "150 mm"\n' if shallow else ""
