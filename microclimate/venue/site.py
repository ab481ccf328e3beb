"""Where the field lies: position, clock and what stands round the venue."""

import re
from datetime import datetime
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from microclimate import schema
from microclimate.venue.model import Model, Unit

# Roughness length of the surroundings [m]. Davenport et al. 2000, 12th Conf. Applied Climatology, classes 3-7
# (from memory: open .03, roughly open .10, rough .25, very rough .5, closed/town 1.0).
SURROUNDINGS = {"open country": 0.03, "farmland": 0.10, "suburb": 0.5, "town": 1.0}


_SERVICES = {  # what is asked by default: form, and in words
    "forecast": (r"nws|metno|mosmix:[A-Za-z0-9]{3,6}", "nws, metno or mosmix:ID, or several joined with +"),
    "observed": (r"nws|metar:[A-Za-z0-9]{3,6}", "nws or metar:ID"),
}

ClearSky = Literal["", "brutsaert", "prata", "dilley_obrien"]  # "": not told; the rest are weather.sky's

_WINTER = datetime(2025, 1, 15)


class Site(Model):
    """Position and surroundings."""

    name: str = Field("", description="place name for the page's head")
    latitude: Annotated[float, Unit("degree", -90, 90)] = Field(description="degrees north, south is negative")
    longitude: Annotated[float, Unit("degree", -180, 180)] = Field(description="degrees east, west is negative")
    elevation: Annotated[float, Unit("m", -430, 5000)] = Field(description="height of the ground above sea level")
    time_zone: str = Field(description="name of the time zone, for example America/Chicago or Europe/Oslo")
    surroundings: str | float = Field(
        "suburb", description="open country, farmland, suburb or town; or a roughness length in metres"
    )
    forecast: str = Field(
        "", description="service asked when no weather is given: nws, metno, mosmix:ID, or several joined with +"
    )
    observed: str = Field("", description="whose observations begin the run then: nws, or metar:ID of an airport")
    clear_sky: ClearSky = Field(
        "", description="formula of the clear sky's longwave; else the one learned, or the usual"
    )

    @field_validator("time_zone")
    @classmethod
    def _zone(cls, value: str) -> str:
        names = available_timezones()
        if value not in names:
            raise PydanticCustomError(
                "choice",
                "must be the name of a time zone, such as America/Chicago",
                {"value": value, "choices": sorted(names)},
            )
        if "/" not in value or value.startswith("Etc/"):
            raise PydanticCustomError(
                "fixed_zone",
                "must be a place name such as America/Chicago: a fixed offset does not know summer time",
            )
        return value

    @field_validator("surroundings", mode="before")
    @classmethod
    def _surroundings(cls, value: Any) -> str | float:
        if isinstance(value, str) and value in SURROUNDINGS:
            return value
        if isinstance(value, str) and not any(letter.isdigit() for letter in value):
            raise PydanticCustomError(
                "choice",
                "must be one of {wanted}, or metres",
                {"wanted": _quoted(), "value": value, "choices": list(SURROUNDINGS)},
            )
        return Unit("m", 1e-4, 3).convert(value)

    @field_validator("forecast", "observed")
    @classmethod
    def _service(cls, value: str, info: ValidationInfo) -> str:
        one, wanted = _SERVICES[str(info.field_name)]
        parts = [part.strip() for part in value.split("+")] if info.field_name == "forecast" else [value]
        if value and not all(re.fullmatch(one, part) for part in parts):
            raise PydanticCustomError("choice", "must be {wanted}", {"wanted": wanted, "value": value, "choices": []})
        return value

    @model_validator(mode="after")
    def _clock_agrees(self) -> Self:
        """Swapped or unsigned coordinates show in the clock: local mean time is within 3.5 h of the zone's."""
        if abs(_hours_off(self.longitude, self.time_zone)) <= 3.5:
            return self
        cure = "check the sign (west is negative)"
        if abs(_hours_off(self.latitude, self.time_zone)) <= 3.5 and abs(self.longitude) <= 90:
            cure = "latitude and longitude look swapped"
        elif abs(_hours_off(-self.longitude, self.time_zone)) <= 3.5:
            cure = f"west is negative: longitude = {-self.longitude:g}?"
        raise PydanticCustomError(
            "site",
            "longitude {longitude} does not lie in the time zone {zone}: {cure}",
            {"longitude": f"{self.longitude:g}", "zone": self.time_zone, "cure": cure},
        )

    @property
    def roughness_length(self) -> float:
        """Of the surroundings [m]."""
        return SURROUNDINGS[self.surroundings] if isinstance(self.surroundings, str) else self.surroundings

    @property
    def site(self) -> schema.Site:
        """The small type that weather and report speak of."""
        place = (self.latitude, self.longitude, self.elevation, self.time_zone, self.clear_sky)
        return schema.Site(self.name, *place)


def _quoted() -> str:
    return ", ".join(repr(name) for name in SURROUNDINGS)


def _hours_off(longitude: float, time_zone: str) -> float:
    offset = ZoneInfo(time_zone).utcoffset(_WINTER)
    hours = (offset.total_seconds() / 3600.0 if offset else 0.0) - longitude / 15.0
    return (hours + 12.0) % 24.0 - 12.0
