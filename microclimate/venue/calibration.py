"""What was learned from the venue's own readings, as plain numbers. All optional; none changes the description."""

import json
import re
from typing import Annotated, Any

from pydantic import Field

from microclimate.venue.model import Model, Unit
from microclimate.venue.site import ClearSky


class LearnedWind(Model):
    """Shelter of the bowl, from anemometer readings."""

    least: Annotated[float, Unit("1", 0.02, 1)] = Field(description="of the wind, left in full shelter")
    reach: Annotated[float, Unit("1", 1, 60)] = Field(description="heights behind a crest at which the wind is back")
    dead_end: Annotated[float, Unit("1", 0.02, 0.98)] = Field(description="of the wind into a bowl closed behind")
    covariance: tuple[float, ...] = Field(
        min_length=9, max_length=9, description="of their logarithms (dead_end: logit), row by row"
    )
    offset: dict[str, tuple[float, ...]] = Field(
        {}, description="by zone: logarithm left over, at even directions from north"
    )
    spread: dict[str, tuple[float, ...]] = Field({}, description="by zone: standard deviation of that")
    readings: int = Field(0, ge=0, description="it was learned from")
    visits: int = Field(0, ge=0, description="they were taken on")
    made: str = Field("", description="date on which it was learned")
    first: str = Field("", description="date of the first reading")
    last: str = Field("", description="date of the last one")
    directions_missing: tuple[float, ...] = Field((), description="in which a visit would help most, degree")


class LearnedAir(Model):
    """Exchange of the bowl's air, from thermometers inside and outside."""

    top: Annotated[float, Unit("1", 1e-4, 0.5)] = Field(description="entrainment per wind")
    shut: Annotated[float, Unit("1", 1e-3, 1)] = Field(description="share that passes under a cold pool")
    calm: Annotated[float, Unit("1", 1e-5, 0.1)] = Field(description="exchange without wind, m/s")
    plume: Annotated[float, Unit("1", 1e-3, 0.5)] = Field(description="rise of warm air through the opening")
    seats: Annotated[float, Unit("1", 0.1, 10)] = Field(description="on the heat exchange of the stands")
    covariance: tuple[float, ...] = Field(
        min_length=16, max_length=16, description="of the logarithms of top, shut, plume, seats, row by row"
    )
    readings: int = Field(0, ge=0, description="it was learned from")
    nights: int = Field(0, ge=0, description="they were taken in")
    made: str = Field("", description="date on which it was learned")
    first: str = Field("", description="date of the first reading")
    last: str = Field("", description="date of the last one")


class LearnedResidual(Model):
    """What the model still misses of a night's lowest canopy, by kind of night; learned from 60 nights on."""

    constant: float = Field(description="K, added at the centre")
    modelled: float = Field(description="K per K of the modelled minimum")
    air: float = Field(description="K per K of the lowest air temperature")
    wind: float = Field(description="K per m/s of the mean wind at 2 m in the open")
    cloud: float = Field(description="K per 1 of the mean cloud")
    centre: tuple[float, ...] = Field(
        min_length=4, max_length=4, description="modelled, air [K], wind [m/s], cloud [1]"
    )
    reach: tuple[float, ...] = Field(min_length=4, max_length=4, description="farthest from the centre that was seen")
    nights: int = Field(ge=1, description="it was learned from")


class Fitted(Model):
    """One number as fitted: its range holds it nine times in ten. Names that are no key say what it is of."""

    value: float = Field(description="the best value, as applied")
    low: float = Field(description="its range")
    high: float = Field(description="its range")
    before_low: float = Field(description="range before any reading")
    before_high: float = Field(description="range before any reading")
    readings: int = Field(0, ge=0, description="it was learned from, where the file's count is another")
    visits: int = Field(0, ge=0, description="or nights, they were taken on")
    made: str = Field("", description="date on which it was learned")
    first: str = Field("", description="date of the first reading")
    last: str = Field("", description="date of the last one")


class Calibration(Model):
    """calibration.toml."""

    format: int = Field(1, ge=1, description="of this file")
    wind_factor: Annotated[float, Unit("1", 0.1, 5)] = Field(1.0, description="on the sheltered wind over the field")
    zone_wind_factor: dict[str, Annotated[float, Unit("1", 0.1, 5)]] = Field({}, description="the same, by zone")
    air_offset: Annotated[float, Unit("delta_K", -8, 8)] = Field(
        0.0, description="added to the bowl's air on clear calm nights"
    )
    wind: LearnedWind | None = Field(None, description="[wind] shelter of the bowl")
    air: LearnedAir | None = Field(None, description="[air] exchange of the bowl's air")
    forecast_bias: Annotated[float, Unit("delta_K", -8, 8)] = Field(
        0.0, description="forecast minus measured air temperature, on other nights"
    )
    forecast_bias_clear_calm: Annotated[float, Unit("delta_K", -8, 8)] = Field(
        0.0, description="the same, on clear calm nights"
    )
    canopy_conductance_factor: Annotated[float, Unit("1", 0.2, 5)] = Field(1.0, description="on that of the turf")
    exchange_floor_factor: Annotated[float, Unit("1", 0.1, 10)] = Field(1.0, description="on that of the turf")
    water_factor: Annotated[float, Unit("1", 0.2, 4)] = Field(1.0, description="on the water of the root zone as built")
    clear_sky: ClearSky = Field("", description="formula of the clear sky's longwave that readings of it bear out best")
    conductivity_factor: Annotated[float, Unit("1", 0.3, 3)] = Field(
        1.0, description="on the conductivity of sand and soil, as their water gives it"
    )
    longwave_offset: Annotated[float, Unit("W/m2", -60, 60)] = Field(
        0.0, description="added to the sky's longwave where it had to be worked out"
    )
    seat_emissivity: dict[str, Annotated[float, Unit("1", 0.02, 1)]] = Field(
        {}, description="by material of the stands, in place of the venue file's"
    )
    seat_albedo: dict[str, Annotated[float, Unit("1", 0.02, 0.95)]] = Field({}, description="the same, of light")
    canopy_offset: Annotated[float, Unit("delta_K", -5, 5)] = Field(
        0.0, description="learned remainder, added to the canopy temperature told"
    )
    canopy_spread: Annotated[float, Unit("delta_K", 0, 5)] | None = Field(
        None, description="standard deviation of what the model still misses"
    )
    residual: LearnedResidual | None = Field(None, description="[residual] by kind of night, added to the canopy told")
    fitted: dict[str, Fitted] = Field({}, description="[fitted] ranges of what was fitted, by name")
    sensor_offset: dict[str, Annotated[float, Unit("delta_K", -8, 8)]] = Field(
        {}, description="by sensor of the log: what it reads too warm"
    )
    nights: int = Field(0, ge=0, description="nights it was learned from")
    readings: int = Field(0, ge=0, description="readings it was learned from")
    made: str = Field("", description="date on which it was learned")
    first: str = Field("", description="date of the first night it was learned from")
    last: str = Field("", description="date of the last one")


def text(calibration: Calibration) -> str:
    """calibration.toml of what differs from nothing learned; tables last, as TOML wants."""
    plain, tables = [], []
    for name, value in calibration.model_dump(exclude_defaults=True, exclude={"format"}).items():
        if isinstance(value, dict):
            tables += [f"\n[{name}]", *_table(value, name)]
        else:
            plain.append(f"{name} = {_value(value)}")
    return "\n".join([f"format = {calibration.format}", *plain, *tables]) + "\n"


def _table(values: dict[str, Any], name: str) -> list[str]:
    plain = [f"{_key(key)} = {_value(value)}" for key, value in values.items() if not isinstance(value, dict)]
    for key, value in values.items():
        if isinstance(value, dict) and value:
            plain += [f"\n[{name}.{_key(key)}]", *_table(value, f"{name}.{_key(key)}")]
    return plain


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.6g}" if value != int(value) or abs(value) > 1e15 else f"{value:.1f}"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return json.dumps(value, ensure_ascii=False)
