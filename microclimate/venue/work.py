"""Limits of the work on the field: [work]. What is not given and has no default is not asked for."""

from typing import Annotated

from pydantic import Field

from microclimate.venue.limits import default
from microclimate.venue.model import Model, Unit

Air = Annotated[float, Unit("degC", -20, 30)]
Gust = Annotated[float, Unit("m/s", 0, 40)]

# the row of the table of thresholds behind each setting that has a default
ROWS = {
    "share": "work_share",
    "leaf_min": "work_leaf_min",
    "marking_air": "line_marking_air_min",
    "snow_depth": "snow_clearing_depth",
}


class Work(Model):
    """When work on the grass may be done; leaf wetness, frozen ground and gusts for covers stand elsewhere."""

    share: Annotated[float, Unit("1", 0.05, 1)] = Field(
        default("work_share"), description="share of the forecasts that must be within the limits all hour"
    )
    leaf_min: Air = Field(default("work_leaf_min"), description="no work on a leaf at or below this")
    mowing_air: Air | None = Field(None, description="air for mowing, at least")
    marking_air: Air = Field(default("line_marking_air_min"), description="air for line marking, at least")
    marking_gust: Gust | None = Field(None, description="gust over the grass for line marking, at most")
    watering_air: Air | None = Field(None, description="air for watering by hand, at least")
    spraying_air: Air | None = Field(None, description="air for spraying, at least: see the label")
    spraying_gust: Gust | None = Field(None, description="gust over the grass for spraying, at most: see the label")
    snow_depth: Annotated[float, Unit("mm", 1, 500)] = Field(
        default("snow_clearing_depth"), description="snow lying from which it is cleared"
    )
