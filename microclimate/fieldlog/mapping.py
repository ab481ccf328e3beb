"""How one logger's files are read: settled once, kept as TOML, used again without a question."""

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from microclimate import units
from microclimate.errors import InputError, Problem, refuse
from microclimate.fieldlog import clock
from microclimate.fieldlog.headings import Column
from microclimate.fieldlog.kinds import KINDS
from microclimate.fieldlog.moments import Clock

FORMAT = 1
Stamp = Literal["start", "end", "centre"]
_KEYS = {"format", "delimiter", "decimal", "time", "layout", "order", "time_zone", "stamp", "sensor"}
_SENSOR_KEYS = {"column", "name", "quantity", "depth", "height", "zone", "unit", "meter"}


@dataclass(frozen=True)
class Mapping:
    """Everything that a reader has to know of a logger's files."""

    columns: tuple[Column, ...]
    time: tuple[str, ...]  # heading of the stamps, or of date and clock
    clock: Clock
    stamp: Stamp = "end"
    delimiter: str = ","
    decimal: str = "."

    def text(self) -> str:
        """As TOML."""
        lines = [
            "# how the files of one logger are read",
            f"format = {FORMAT}",
            f"delimiter = {_quoted(self.delimiter)}",
            f"decimal = {_quoted(self.decimal)}",
            f"time = [{', '.join(map(_quoted, self.time))}]",
            f"layout = {_quoted(self.clock.layout)}",
            f"order = {_quoted(self.clock.order)}",
            f"time_zone = {_quoted(self.clock.zone)}  # of stamps without an offset",
            f"stamp = {_quoted(self.stamp)}  # the part of its interval that a stamp names",
        ]
        for column in self.columns:
            lines += [
                "",
                "[[sensor]]",
                f"column = {_quoted(column.column)}",
                f"name = {_quoted(column.name)}",
                f"quantity = {_quoted(column.quantity)}",
            ]
            if column.depth > 0.0:
                lines.append(f'depth = "{column.depth * 1000.0:.6g} mm"')
            elif column.depth < 0.0:
                lines.append(f'height = "{-column.depth:.6g} m"')
            lines += [f"zone = {_quoted(column.zone)}", f"unit = {_quoted(column.unit)}"]
            lines += ["meter = true  # it counts up"] if column.meter else []
        return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def load(path: Path) -> Mapping:
    """A mapping from its file.

    Raises
    ------
    InputError
        Everything in it that cannot be used.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise refuse(path.name, f"cannot be read ({error})", "a mapping that `fieldlog add` wrote") from None
    found = data.get("format", 1)
    if isinstance(found, int) and found > FORMAT:
        raise refuse(path.name, f"format {found}", f"format {FORMAT} or older", "update the program")
    problems: list[Problem] = []
    for key in sorted(set(data) - _KEYS):
        problems.append(Problem(path.name, f"{key} is no setting", ", ".join(sorted(_KEYS))))
    columns = [
        _column(row, f"{path.name}: sensor {k + 1}", problems)
        for k, row in enumerate(data.get("sensor", []) if isinstance(data.get("sensor", []), list) else [])
    ]
    if not columns:
        problems.append(Problem(path.name, "no [[sensor]]", "at least one"))
    texts = {key: data.get(key, default) for key, default in _DEFAULTS.items()}
    for key, value in texts.items():
        if not isinstance(value, str):
            problems.append(Problem(f"{path.name}: {key}", f"{value!r}", "a text"))
    time = data.get("time", [])
    time = [time] if isinstance(time, str) else time
    if not isinstance(time, list) or not time or not all(isinstance(t, str) for t in time):
        problems.append(Problem(f"{path.name}: time", f"{time!r}", 'a heading or two, such as ["Date", "Time"]'))
    if texts["stamp"] not in ("start", "end", "centre"):
        problems.append(Problem(f"{path.name}: stamp", f"{texts['stamp']!r}", "start, end or centre"))
    if isinstance(texts["delimiter"], str) and len(texts["delimiter"]) != 1:
        problems.append(Problem(f"{path.name}: delimiter", f"{texts['delimiter']!r}", "one mark"))
    if texts["decimal"] not in (".", ","):
        problems.append(Problem(f"{path.name}: decimal", f"{texts['decimal']!r}", "a point or a comma"))
    if isinstance(texts["time_zone"], str) and texts["time_zone"]:
        try:
            clock.zone_of(texts["time_zone"])
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(path.name, problems)
    return Mapping(
        tuple(column for column in columns if column is not None),
        tuple(time),
        Clock(texts["layout"], texts["time_zone"], texts["order"]),
        texts["stamp"],
        texts["delimiter"],
        texts["decimal"],
    )


_DEFAULTS: dict[str, Any] = {
    "delimiter": ",", "decimal": ".", "layout": "ISO8601", "order": "", "time_zone": "", "stamp": "end"
}  # fmt: skip


def _column(row: Any, where: str, problems: list[Problem]) -> Column | None:
    if not isinstance(row, dict):
        problems.append(Problem(where, f"{row!r}", "a table"))
        return None
    before = len(problems)
    for key in sorted(set(row) - _SENSOR_KEYS):
        problems.append(Problem(where, f"{key} is no setting", ", ".join(sorted(_SENSOR_KEYS))))
    texts = {key: row.get(key, "") for key in ("column", "name", "quantity", "zone", "unit")}
    for key, value in texts.items():
        if not isinstance(value, str):
            problems.append(Problem(f"{where}: {key}", f"{value!r}", "a text"))
    quantity = texts["quantity"] if isinstance(texts["quantity"], str) else ""
    if quantity not in KINDS:
        problems.append(Problem(f"{where}: quantity", f"{quantity!r}", ", ".join(KINDS)))
    depth = 0.0
    for key, sign in (("depth", 1.0), ("height", -1.0)):
        if key in row:
            try:
                depth = sign * units.quantity(row[key], "m") if isinstance(row[key], str | int | float) else 0.0
            except units.UnknownUnit as error:
                problems.append(Problem(f"{where}: {key}", str(error), '"25 mm"'))
    try:
        if isinstance(texts["unit"], str) and quantity in KINDS:
            given = units.known(texts["unit"]) if texts["unit"] else ""
            if not given or units.dimension(given) != KINDS[quantity].dimension:
                problems.append(
                    Problem(f"{where}: unit", f"{texts['unit']!r}", f"a unit of {KINDS[quantity].dimension}")
                )
    except units.UnknownUnit as error:
        problems.append(Problem(f"{where}: unit", str(error)))
    meter = row.get("meter", False)
    if not isinstance(meter, bool):
        problems.append(Problem(f"{where}: meter", f"{meter!r}", "true or false"))
    if len(problems) > before:
        return None
    name = texts["name"] or texts["column"]
    return Column(texts["column"], name, quantity, depth, texts["zone"], texts["unit"], meter)
