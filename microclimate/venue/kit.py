"""What else is at hand or in the way: skirts under trays, hands for snow, floors that others lay."""

from datetime import datetime
from typing import Annotated, Any, Self

from pydantic import Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from microclimate.venue.model import Model, Unit


class Skirts(Model):
    """Skirts round the space below trays, that can be closed against the wind."""

    people: int = Field(2, ge=0, le=100, description="needed to close them")
    minutes: Annotated[float, Unit("min", 0, 1440, kept=True)] = Field(30.0, description="to close them all")
    leak: Annotated[float, Unit("1", 0, 1)] = Field(
        0.2, description="share of the exchange of air below the trays that is left once they are closed"
    )


class Clearing(Model):
    """How snow is taken off the field."""

    people: int = Field(8, ge=1, le=500, description="needed to clear the field")
    minutes: Annotated[float, Unit("min", 10, 1440, kept=True)] = Field(120.0, description="to clear all of it")


class Floor(Model):
    """A floor for another use, laid by others on fixed dates: nothing of ours lies there, and no light comes through.

    Ten-millimetre panels of polyethylene on a membrane: 0.45 W/mK gives 0.02 m2K/W, from memory.
    """

    name: str = Field("event floor", min_length=1, description="as it is called")
    start: datetime = Field(description="local date and time from which it lies")
    end: datetime = Field(description="local date and time at which it is off again")
    zones: tuple[str, ...] = Field((), description="zones it covers; none: the whole field")
    resistance: Annotated[float, Unit("m2K/W", 0, 5)] = Field(0.02, description="to heat")
    air_gap: Annotated[float, Unit("m", 0, 0.5)] = Field(0.01, description="between leaf and floor")
    mass: Annotated[float, Unit("kg/m2", 0.1, 200)] = Field(10.0, description="of the floor")
    albedo: Annotated[float, Unit("1", 0, 0.95)] = Field(0.4, description="share of light sent back")

    @field_validator("start", "end", mode="before")
    @classmethod
    def _moment(cls, value: Any) -> Any:
        if isinstance(value, str):
            try:
                return datetime.fromisoformat(value)
            except ValueError:
                value = None
        if not isinstance(value, datetime):
            raise ValueError("must be a date and time such as 2026-01-21T08:00")
        return value

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if (self.start.tzinfo is None) == (self.end.tzinfo is None) and self.end <= self.start:
            raise PydanticCustomError("floor", "end must be later than start", {})
        return self
