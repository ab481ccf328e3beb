"""A field in portable modules: rows from the left side, numbers from the foot end; part modules at the edges."""

import math
from datetime import date
from typing import Annotated

from pydantic import Field

from microclimate.venue.field import Point
from microclimate.venue.ground import Base
from microclimate.venue.model import Model, Unit

Address = tuple[int, int]  # row and number, from 1


class Modules(Model):
    """[modules]: the grid. The last row and the last number of each row may be cut by the field's edge."""

    length: Annotated[float, Unit("m", 0.3, 30)] = Field(description="along the field's long axis")
    width: Annotated[float, Unit("m", 0.3, 30)] = Field(description="across it")
    edge_open: bool = Field(True, description="the outer faces of modules over air stand in the open")


class Before(Model):
    """[module.before]: where modules lay before they were laid here, on open ground but for what is said."""

    until: date = Field(description="local day on which they were laid here")
    light: Annotated[float, Unit("1", 0, 1)] = Field(1.0, description="share of open ground's light there")
    base: Base | None = Field(None, description="what was below them there; not given: as here")
    cover: str | None = Field(None, description="a [[cover]] that lay on them there")


class Module(Model):
    """[[module]]: what some modules have of their own: another base, or another past."""

    at: tuple[str, ...] = Field(min_length=1, description='addresses "row-number", for example "3-12"')
    base: Base | None = Field(None, description="what is below: a kind, or a table")
    start_temperature: Annotated[float, Unit("degC", -30, 45)] | None = Field(
        None, description="of its root zone as it was laid, where it came from elsewhere"
    )
    before: Before | None = Field(None, description="where it lay before: it is run through the weather there too")


def address(text: str) -> Address | None:
    """Row and number of "3-12"; None where the text is none."""
    row, dash, number = text.strip().partition("-")
    return (int(row), int(number)) if dash and row.strip().isdigit() and number.strip().isdigit() else None


def grid(modules: Modules, length: float, width: float) -> dict[Address, tuple[Point, ...]]:
    """Outline of each module [m], counter-clockwise, in the field's frame."""
    rows, numbers = (math.ceil(side / own - 1e-6) for side, own in ((width, modules.width), (length, modules.length)))
    found: dict[Address, tuple[Point, ...]] = {}
    for row in range(rows):
        top = 0.5 * width - row * modules.width
        bottom = max(top - modules.width, -0.5 * width)
        for number in range(numbers):
            left = -0.5 * length + number * modules.length
            right = min(left + modules.length, 0.5 * length)
            found[row + 1, number + 1] = ((left, bottom), (right, bottom), (right, top), (left, top))
    return found


def open_width(outline: tuple[Point, ...], length: float, width: float) -> float | None:
    """Width of the strip that loses heat through its outer faces as this module does [m]; None inside the field.

    A face along one side drains a strip as wide as the module;
    two faces of a corner drain it together: 1/w = 1/a + 1/b.
    """
    (left, bottom), _, (right, top), _ = outline
    shares = []
    if left <= -0.5 * length + 1e-6 or right >= 0.5 * length - 1e-6:
        shares.append(1.0 / (right - left))
    if bottom <= -0.5 * width + 1e-6 or top >= 0.5 * width - 1e-6:
        shares.append(1.0 / (top - bottom))
    return 1.0 / sum(shares) if shares else None
