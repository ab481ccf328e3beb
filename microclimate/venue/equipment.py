"""Covers, heating, plant, crew and prices."""

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from microclimate.venue.kit import Clearing, Floor, Skirts
from microclimate.venue.limits import default
from microclimate.venue.model import Model, Unit
from microclimate.venue.tariff import Price

CoverKind = Literal["permeable", "insulated", "rain sheet", "raised"]
CircuitKind = Literal["hydronic", "cable", "warm air"]

# By class of cover. Resistance [m2K/W]: fabric .01 and insulated blanket .7 (.35-1.4, web page of R-values), from
# memory otherwise; air space under it: trapped canopy air .05-.10 (from memory), held here as a gap. Transmittance of
# light: growth cover .5 (.3-.7, practice); longwave: thin polyethylene passes much unless wet, woven or coated .9
# opaque (from memory). Mass: frost sheet .13 kg/m2 (maker's text), rain sheet .54 (trade magazine), blanket 1.0 from
# memory. People and minutes: rolled sheets 2 people 20 min (club news), one piece by hand 10 people 75 min (guide).
_COVERS: dict[str, dict[str, float]] = {
    "permeable": {
        "resistance": 0.01,
        "air_gap": 0.01,
        "shortwave_transmittance": 0.5,
        "longwave_transmittance": 0.2,
        "emissivity": 0.75,
        "albedo": 0.30,
        "mass": 0.13,
        "rain_through": 0.8,
        "edge_gap": 0.01,
        "flaps_from": 4.0,
        "air_permeability": 100,
        "vapour_resistance": 200,
        "people": 4,
        "minutes": 40,
    },
    "insulated": {
        "resistance": 0.35,
        "air_gap": 0.01,
        "shortwave_transmittance": 0.0,
        "longwave_transmittance": 0.0,
        "emissivity": 0.90,
        "albedo": 0.40,
        "mass": 1.0,
        "rain_through": 0.0,
        "edge_gap": 0.01,
        "flaps_from": 10.0,
        "people": 10,
        "minutes": 75,
    },
    "rain sheet": {
        "resistance": 0.005,
        "air_gap": 0.01,
        "shortwave_transmittance": 0.05,
        "longwave_transmittance": 0.05,
        "emissivity": 0.90,
        "albedo": 0.40,
        "mass": 0.54,
        "rain_through": 0.0,
        "edge_gap": 0.01,
        "flaps_from": 6.0,
        "people": 12,
        "minutes": 30,
    },
    "raised": {
        "resistance": 0.01,
        "air_gap": 1.0,
        "shortwave_transmittance": 0.3,
        "longwave_transmittance": 0.1,
        "emissivity": 0.85,
        "albedo": 0.30,
        "mass": 0.4,
        "rain_through": 0.0,
        "edge_gap": 0.02,
        "flaps_from": 10.0,
        "people": 10,
        "minutes": 120,
    },
}


class Cover(Model):
    """One cover. Limits for gusts stand with it, since they depend on its anchors."""

    name: str = Field(min_length=1, description="as the crew calls it")
    kind: CoverKind = Field(description="permeable, insulated, rain sheet or raised")
    resistance: Annotated[float, Unit("m2K/W", 0, 5)] = Field(description="of the sheet itself to heat")
    air_gap: Annotated[float, Unit("m", 0, 10)] = Field(description="between leaf and sheet")
    shortwave_transmittance: Annotated[float, Unit("1", 0, 1)] = Field(description="share of light let through")
    longwave_transmittance: Annotated[float, Unit("1", 0, 1)] = Field(description="share of longwave let through, dry")
    emissivity: Annotated[float, Unit("1", 0.02, 1)] = Field(description="longwave, dry")
    albedo: Annotated[float, Unit("1", 0, 0.95)] = Field(description="share of light sent back")
    mass: Annotated[float, Unit("kg/m2", 0.01, 30)] = Field(description="dry")
    people: int = Field(ge=0, le=200, description="needed to lay or lift it")
    minutes: Annotated[float, Unit("min", 0, 1440, kept=True)] = Field(
        description="to lay or lift it over the whole field, in minutes"
    )
    sheets: Literal[1, 2] = Field(1, description="1, or 2 alike, one over the other with air between")
    sheet_gap: Annotated[float, Unit("m", 0.001, 2)] = Field(0.02, description="air between two sheets")
    rain_through: Annotated[float, Unit("1", 0, 1)] = Field(description="share of rain let through")
    edge_gap: Annotated[float, Unit("m", 0, 2)] = Field(
        description="mean height of what stays open below its edges, where wind gets in"
    )
    flaps_from: Annotated[float, Unit("m/s", 0.5, 60)] = Field(
        description="mean wind over the field from which it flaps, which halves the air under it"
    )
    air_permeability: Annotated[float, Unit("mm/s", 0, 20000)] = Field(
        0.0, description="of the fabric at 100 Pa, as ISO 9237 tells it; 0: none"
    )
    vapour_resistance: Annotated[float, Unit("1", 1, 1e6)] | None = Field(
        None, description="of one sheet to water vapour, s/m; left out: none gets through"
    )
    gust_plan: Annotated[float, Unit("m/s", 0, 40)] = Field(
        default("cover_gust_plan"), description="plan the work below this gust"
    )
    gust_stop: Annotated[float, Unit("m/s", 0, 40)] = Field(
        default("cover_gust_stop"), description="no laying or lifting above this gust"
    )
    gust_remove: Annotated[float, Unit("m/s", 0, 60)] = Field(
        default("cover_gust_remove"), description="take it off, or weight it twice, when this gust is forecast"
    )
    zones: tuple[str, ...] = Field((), description="zones it covers; none: the whole field")
    length: Annotated[float, Unit("m", 1, 400)] | None = Field(None, description="of the sheet, if it is one piece")
    width: Annotated[float, Unit("m", 1, 400)] | None = Field(None, description="of the sheet, if it is one piece")
    warm_air_flow: Annotated[float, Unit("m3/s", 0.01, 2000)] | None = Field(
        None, description="of warm air that can be blown under it, in all; speed in the duct times its area"
    )
    warm_air_temperature: Annotated[float, Unit("degC", 0, 90)] = Field(
        293.15, description="of that air where it leaves the duct"
    )
    warm_air_leak: Annotated[float, Unit("1", 0, 0.95)] = Field(
        0.1, description="share of that air that gets away before it has warmed anything"
    )

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, data: Any) -> Any:
        return _COVERS.get(str(data.get("kind")), _COVERS["permeable"]) | data if isinstance(data, dict) else data

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if not self.gust_plan <= self.gust_stop <= self.gust_remove:
            raise PydanticCustomError("cover", "gust_plan, gust_stop and gust_remove must not fall in this order", {})
        for key, needs in (("sheet_gap", self.sheets == 2), ("warm_air_leak", self.warm_air_flow is not None)):
            if key in self.model_fields_set and not needs:
                wanted = "sheets = 2" if key == "sheet_gap" else "warm_air_flow"
                raise PydanticCustomError("cover", "{key} goes with {wanted}", {"key": key, "wanted": wanted})
        for name, shares in (
            ("shortwave", self.shortwave_transmittance + self.albedo),
            ("longwave", self.longwave_transmittance + self.emissivity),
        ):
            if shares > 1.0 + 1e-9:
                raise PydanticCustomError(
                    "cover",
                    "{name}: what is let through and what is {rest} add up to {shares}, more than 1",
                    {
                        "name": name,
                        "rest": "sent back" if name == "shortwave" else "emitted",
                        "shares": f"{shares:.3g}",
                    },
                )
        return self


# Depth, pitch, diameter: German heating guide 100-280 mm, US trade 150-230 mm pitch, European supplier 25 x 2.3 mm.
# Supply 35 degC: 23-40 in press and lexicon. Cable 75 W/m2: handbooks 60-90. Installed 130 W/m2: league licensing
# 900-1200 kW on 7140-8000 m2. Set point 3 degC at the probe: 2-4 reported from one stadium. Ceiling: see thresholds.
_CIRCUITS: dict[str, dict[str, float]] = {
    "hydronic": {"depth": 0.25, "pitch": 0.20, "pipe_outer_diameter": 0.025, "power": 130},
    "cable": {"depth": 0.20, "pitch": 0.25, "pipe_outer_diameter": 0.008, "power": 75},
    "warm air": {"depth": 0.30, "pitch": 5.0, "pipe_outer_diameter": 0.10, "power": 50},
}


class Circuit(Model):
    """One heating circuit in the root zone."""

    name: str = Field(min_length=1, description="named by [[ground]] circuit")
    kind: CircuitKind = Field("hydronic", description="hydronic, cable or warm air")
    depth: Annotated[float, Unit("m", 0.03, 2)] = Field(description="of pipe or cable below the surface")
    pitch: Annotated[float, Unit("m", 0.02, 10)] = Field(description="distance between pipes")
    pipe_outer_diameter: Annotated[float, Unit("m", 0.002, 0.5)] = Field(description="outside")
    power: Annotated[float, Unit("W/m2", 1, 1000)] = Field(description="most it gives, per area of field")
    supply_temperature: Annotated[float, Unit("degC", 5, 95)] | None = Field(
        None, description="of the water as it enters (hydronic, warm air); else the power alone decides"
    )
    probe_depth: Annotated[float, Unit("m", 0.005, 1)] = Field(0.10, description="of the probe that switches it")
    set_point: Annotated[float, Unit("degC", -2, 30)] = Field(276.15, description="at the probe")
    ceiling: Annotated[float, Unit("degC", 0, 40)] = Field(
        default("rootzone_ceiling_cool"), description="the probe shall not pass this"
    )
    ramp: Annotated[float, Unit("delta_K", 0.1, 100)] | None = Field(
        None, description="most the set point may rise a day, for the sake of the grass"
    )
    lag: Annotated[float, Unit("h", 0, 48)] = Field(0.0, description="from the call to warm pipes")
    hysteresis: Annotated[float, Unit("delta_K", 0, 10)] = Field(
        0.0, description="of a plant that is on or off: the width of its band; 0 for one that modulates"
    )
    drying: Annotated[float, Unit("1", 0, 0.9)] = Field(
        0.0, description="share of the water that long heating drives from the sand round the pipes"
    )

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        return _CIRCUITS.get(str(data.get("kind", "hydronic")), _CIRCUITS["hydronic"]) | data

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.set_point > self.ceiling:
            raise PydanticCustomError(
                "circuit",
                "set_point {set_point} degC lies above the ceiling {ceiling} degC",
                {"set_point": f"{self.set_point - 273.15:.4g}", "ceiling": f"{self.ceiling - 273.15:.4g}"},
            )
        if self.kind == "cable" and self.supply_temperature is not None:
            raise PydanticCustomError("circuit", "supply_temperature does not belong to a cable", {})
        if self.pipe_outer_diameter >= self.pitch:
            raise PydanticCustomError("circuit", "pipe_outer_diameter must be smaller than the pitch", {})
        return self


# Heat out per energy in where none is given: boilers on gross calorific value .85-.95, oil .85 (from memory); a heat
# pump at its rating point, water at 35 degC from air at 7 or brine at 0 degC (EN 14511): 4 (from memory).
_EFFICIENCY = {"gas": 0.9, "oil": 0.85, "propane": 0.9, "electric": 1.0, "heat pump": 4.0, "district heat": 1.0}


class Plant(Model):
    """What feeds the circuits."""

    kind: Literal["gas", "oil", "propane", "electric", "heat pump", "district heat"] = Field(
        "gas", description="gas, oil, propane, electric, heat pump or district heat"
    )
    power: Annotated[float, Unit("kW", 1, 50000)] | None = Field(None, description="most it gives in all")
    efficiency: Annotated[float, Unit("1", 0.3, 8)] = Field(
        description="heat out per energy in (a heat pump: 2 to 5, with water at 35 degC)"
    )
    heat_source: Literal["outdoor air", "ground"] = Field(
        "outdoor air", description="of a heat pump: outdoor air or ground"
    )
    flow: Annotated[float, Unit("m3/h", 0.1, 5000)] | None = Field(None, description="of the heating water, if read")
    supply_reading: Annotated[float, Unit("degC", -10, 110)] | None = Field(None, description="at full load, if read")
    return_reading: Annotated[float, Unit("degC", -10, 110)] | None = Field(None, description="at full load, if read")
    glycol: Annotated[float, Unit("1", 0, 0.6)] = Field(0.30, description="share of propylene glycol in the water")
    fuel: Annotated[float, Unit("kWh", 0, 1e7)] | None = Field(None, description="on hand, as energy that goes in")
    minimum_run: Annotated[float, Unit("h", 0, 72)] = Field(0.0, description="once started it runs at least this long")

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        return {"efficiency": _EFFICIENCY.get(str(data.get("kind", "gas")), 0.9)} | data

    @model_validator(mode="after")
    def _possible(self) -> Self:
        given = [self.flow, self.supply_reading, self.return_reading]
        if any(value is None for value in given) and any(value is not None for value in given):
            raise PydanticCustomError("plant", "flow, supply_reading and return_reading go together: give all or none")
        warm, cool = self.supply_reading, self.return_reading
        if warm is not None and cool is not None and warm <= cool:
            raise PydanticCustomError("plant", "supply_reading must be above return_reading")
        return self


class Equipment(Model):
    """Everything the crew can put to work."""

    covers: tuple[Cover, ...] = ()
    circuits: tuple[Circuit, ...] = ()
    plant: Plant | None = None
    skirts: Skirts | None = None
    snow: Clearing | None = None
    floors: tuple[Floor, ...] = ()  # start and end in UTC, naive

    @property
    def sheets(self) -> tuple[Cover, ...]:
        """Everything that may lie on the grass: covers, then floors."""
        return self.covers + tuple(_as_sheet(floor) for floor in self.floors)

    def cover(self, name: str) -> Cover:
        """The cover of that name."""
        return next(cover for cover in self.covers if cover.name == name)

    def circuit(self, name: str) -> Circuit:
        """The circuit of that name."""
        return next(circuit for circuit in self.circuits if circuit.name == name)


def _as_sheet(floor: Floor) -> Cover:
    """A floor as the column knows it: opaque, without a draught below."""
    given = floor.model_dump(include={"name", "zones", "resistance", "air_gap", "mass", "albedo"})
    opaque = {"kind": "rain sheet", "shortwave_transmittance": 0, "longwave_transmittance": 0}
    return Cover.model_validate(opaque | given)


class Crew(Model):
    """Who can come, and how soon."""

    people: int = Field(6, ge=0, le=500, description="who can be on the field at once")
    notice: Annotated[float, Unit("h", 0, 168)] = Field(12 * 3600.0, description="from the call to hands on the field")
    earliest: Annotated[float, Unit("h", 0, 24, kept=True)] = Field(6.0, description="local hour, no work before it")
    latest: Annotated[float, Unit("h", 0, 24, kept=True)] = Field(22.0, description="local hour, no work after it")
    light_needed: bool = Field(False, description="laying and lifting only between sunrise and sunset")
    quiet_from: Annotated[float, Unit("h", 0, 24, kept=True)] | None = Field(
        None, description="local hour from which no blower runs on the field"
    )
    quiet_until: Annotated[float, Unit("h", 0, 24, kept=True)] = Field(7.0, description="local hour it may run again")


class Prices(Model):
    """In the venue's own money; what is not given is not reckoned."""

    currency: str = Field("USD", min_length=1, max_length=8, description="printed beside every sum")
    energy: Annotated[float, Price(0, 100)] | None = Field(
        None, description='of the plant\'s fuel or current, per kWh; or text such as "1.05 per therm"'
    )
    electricity: Annotated[float, Price(0, 100)] | None = Field(
        None, description="of current for cables, per kWh, where the plant burns something else"
    )
    demand: Annotated[float, Unit("1", 0, 1000)] | None = Field(
        None, description="for each kW of the highest electric load in a month"
    )
    co2: Annotated[float, Unit("1", 0, 5)] | None = Field(
        None, description="kg CO2 for each kWh of the plant's fuel or current; else published values of the fuel"
    )
    co2_electricity: Annotated[float, Unit("1", 0, 5)] | None = Field(
        None, description="kg CO2 for each kWh of current for cables"
    )
    crew_hour: Annotated[float, Unit("1", 0, 10000)] | None = Field(None, description="per person and hour")
    event_lost: Annotated[float, Unit("1", 0, 1e10)] | None = Field(None, description="if the event cannot take place")
    poor_surface: Annotated[float, Unit("1", 0, 1e10)] | None = Field(
        None, description="if it takes place outside the limits"
    )
    turf_damage: Annotated[float, Unit("1", 0, 1e8)] | None = Field(None, description="per area of turf killed, m2")
