"""What every part of a venue file has in common: frozen, no unknown keys, numbers with their unit and range.

A number in the file is in the documented unit of its field, or a text that names another one ("250 mm", "40 degF").
Validation turns it into SI, so every attribute of a loaded model is SI (kelvin, metres, seconds, W/m2, angles in
degrees as compass readings are). `model_copy(update=...)` therefore takes SI, a new model takes documented units.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from microclimate import units


class Model(BaseModel):
    """A part of the venue file."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


@dataclass(frozen=True)
class Unit:
    """Annotation of a number: its documented unit, and its range in that unit."""

    unit: str
    low: float = -math.inf
    high: float = math.inf
    kept: bool = False  # the attribute stays in the documented unit (minutes of work, hours of the clock)

    @property
    def words(self) -> str:
        """The range as a person reads it, for example '5..45 degree'."""
        low, high = (f"{bound:g}" if math.isfinite(bound) else "" for bound in (self.low, self.high))
        span = f"{low}..{high}" if low and high else (f"at least {low}" if low else f"at most {high}" if high else "")
        return f"{span} {'' if self.unit == '1' else self.unit.removeprefix('delta_')}".strip()

    def convert(self, value: Any) -> float:
        """A number or text as SI, or a fault in plain words."""
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise PydanticCustomError("unit", "must be a number of {wanted}", {"wanted": self.unit})
        try:
            number = units.quantity(value, self.unit)
        except ValueError as error:
            wanted = "a number" if self.unit == "1" else f"a number of {self.unit.removeprefix('delta_')}"
            if isinstance(value, str) and any(letter.isdigit() for letter in value) and self.unit != "1":
                wanted += f", or text with a unit ({error})"
            raise PydanticCustomError("unit", "must be {wanted}", {"wanted": wanted}) from None
        shown = float(units.from_si(number, self.unit))
        slack = 1e-9 * max(1.0, abs(shown))
        if not (math.isfinite(shown) and self.low - slack <= shown <= self.high + slack):
            percent = self.unit == "1" and self.high <= 1.0 < shown <= 100.0
            wanted = self.words + (f', or text such as "{shown:g} %"' if percent else "")
            raise PydanticCustomError("range", "must be {wanted}", {"wanted": wanted})
        return shown if self.kept else number

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Pydantic asks here how the number is read."""
        return core_schema.no_info_plain_validator_function(self.convert)


def unknown(key: str, found: object, choices: Iterable[str]) -> PydanticCustomError:
    """A name that is in no table, as an error to raise."""
    names = list(choices)
    context: dict[str, Any] = {"key": key, "wanted": ", ".join(map(repr, names)), "found": repr(found)}
    context |= {"value": str(found), "choices": names}
    return PydanticCustomError("table", "{key} must be one of {wanted}, got {found}", context)
