"""What was learned from the venue's own readings, as plain numbers. All optional; none changes the description."""

from typing import Annotated

from pydantic import Field

from microclimate.venue.model import Model, Unit


class Calibration(Model):
    """calibration.toml."""

    format: int = Field(1, ge=1, description="of this file")
    wind_factor: Annotated[float, Unit("1", 0.1, 5)] = Field(1.0, description="on the sheltered wind over the field")
    zone_wind_factor: dict[str, Annotated[float, Unit("1", 0.1, 5)]] = Field({}, description="the same, by zone")
    air_offset: Annotated[float, Unit("delta_K", -8, 8)] = Field(
        0.0, description="added to the bowl's air on clear calm nights"
    )
    forecast_bias: Annotated[float, Unit("delta_K", -8, 8)] = Field(
        0.0, description="forecast minus measured air temperature, on other nights"
    )
    forecast_bias_clear_calm: Annotated[float, Unit("delta_K", -8, 8)] = Field(
        0.0, description="the same, on clear calm nights"
    )
    canopy_conductance_factor: Annotated[float, Unit("1", 0.2, 5)] = Field(1.0, description="on that of the turf")
    exchange_floor_factor: Annotated[float, Unit("1", 0.1, 10)] = Field(1.0, description="on that of the turf")
    longwave_offset: Annotated[float, Unit("W/m2", -60, 60)] = Field(0.0, description="added to the sky's longwave")
    canopy_offset: Annotated[float, Unit("delta_K", -5, 5)] = Field(
        0.0, description="learned remainder, added to the canopy temperature told"
    )
    canopy_spread: Annotated[float, Unit("delta_K", 0, 5)] | None = Field(
        None, description="standard deviation of what the model still misses"
    )
    nights: int = Field(0, ge=0, description="nights it was learned from")
