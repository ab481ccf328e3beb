"""Limits: what the venue tolerates, where one surface state ends and the next begins, what a grass bears.

The defaults stand in `thresholds.csv` beside this file, each with its range, source and confidence; the venue file
may set any of them under [limits].
"""

import csv
from dataclasses import dataclass
from importlib.resources import files
from typing import Annotated

from pydantic import Field

from microclimate import units
from microclimate.venue.model import Model, Unit


@dataclass(frozen=True)
class Threshold:
    """One row of the table, in its own unit."""

    name: str
    value: float
    unit: str
    low: float | None
    high: float | None
    source: str
    confidence: str


def _table() -> dict[str, Threshold]:
    text = files("microclimate.venue").joinpath("thresholds.csv").read_text(encoding="utf-8")
    return {
        row["name"]: Threshold(
            row["name"],
            float(row["value"]),
            row["unit"],
            float(row["low"]) if row["low"] else None,
            float(row["high"]) if row["high"] else None,
            row["source"],
            row["confidence"],
        )
        for row in csv.DictReader(text.splitlines())
    }


THRESHOLDS = _table()


def default(name: str) -> float:
    """A threshold's default, SI."""
    row = THRESHOLDS[name]
    return row.value if row.unit == "mol/m2/d" else units.quantity(row.value, row.unit)


@dataclass(frozen=True)
class Species:
    """What a grass bears and wants; temperatures in kelvin."""

    name: str
    warm_season: bool
    lt50_hardened: float  # half the plants die, hardened [K]
    lt50_growing: float  # the same while growing [K]
    root_growth_low: float  # best root growth, at 100 mm [K]
    root_growth_high: float
    rootzone_ceiling: float  # heating should not pass this at 100 mm [K]
    light_min: float  # daily light integral [mol m-2 d-1]


def _species(name: str, warm: bool, row: str) -> Species:
    season = "warm" if warm else "cool"
    return Species(
        name,
        warm,
        default(f"lt50_hardened_{row}"),
        default(f"lt50_growing_{row}"),
        default(f"root_growth_low_{season}"),
        default(f"root_growth_high_{season}"),
        default(f"rootzone_ceiling_{season}"),
        default(f"light_min_{season}"),
    )


SPECIES = {
    "perennial ryegrass": _species("perennial ryegrass", False, "perennial_ryegrass"),
    "Kentucky bluegrass": _species("Kentucky bluegrass", False, "kentucky_bluegrass"),
    "ryegrass and bluegrass": _species("ryegrass and bluegrass", False, "perennial_ryegrass"),
    "tall fescue": _species("tall fescue", False, "tall_fescue"),
    "bermudagrass": _species("bermudagrass", True, "bermudagrass"),
}


def _default(name: str, description: str) -> float:
    """A setting whose default is in the table."""
    value: float = Field(default(name), description=description)
    return value


class Limits(Model):
    """What the venue tolerates, and the borders between surface states."""

    tolerated_chance: Annotated[float, Unit("1", 0.001, 0.9)] = _default(
        "tolerated_chance", "chance of passing a limit that the manager accepts"
    )
    canopy_min: Annotated[float, Unit("degC", -10, 20)] = _default("canopy_min", "leaf temperature to hold at least")
    rootzone_min: Annotated[float, Unit("degC", -5, 25)] = _default(
        "rootzone_min", "root-zone temperature at 25 mm to hold at least"
    )
    snow_amount: Annotated[float, Unit("kg/m2", 0.1, 50)] = _default("snow_amount", "lying snow that counts as snow")
    ice_film_amount: Annotated[float, Unit("kg/m2", 0.01, 5)] = _default(
        "ice_film_amount", "ice on leaf and soil that counts as a film"
    )
    frost_amount: Annotated[float, Unit("kg/m2", 0.0005, 0.5)] = _default(
        "frost_amount", "frost on the leaf that counts as white frost"
    )
    frozen_fraction: Annotated[float, Unit("1", 0.05, 0.95)] = _default(
        "frozen_fraction", "share of a layer's water that is ice when it counts as frozen"
    )
    crust_depth: Annotated[float, Unit("m", 0.002, 0.05)] = _default("crust_depth", "a frozen crust reaches to here")
    frozen_layer_depth: Annotated[float, Unit("m", 0.005, 0.1)] = _default(
        "frozen_layer_depth", "a frozen layer reaches to here"
    )
    thaw_search_depth: Annotated[float, Unit("m", 0.01, 0.2)] = _default(
        "thaw_search_depth", "ice below a thawed top is looked for down to here"
    )
    near_freezing: Annotated[float, Unit("degC", -1, 5)] = _default(
        "near_freezing", "surface or 25 mm at or below this is near freezing"
    )
    about_even: Annotated[float, Unit("delta_K", 0, 3)] = _default(
        "about_even", "within this of a border the words are 'about even'"
    )
    machines_soil_min: Annotated[float, Unit("degC", -2, 10)] = _default(
        "machines_soil_min", "no machines while the soil at 25 mm is at or below this"
    )
    cover_air_lift: Annotated[float, Unit("degC", -5, 30)] = _default(
        "cover_air_lift", "lift a cover in sun when the air is above this"
    )
    cover_on_before_sunset: Annotated[float, Unit("h", 0, 6)] = _default(
        "cover_on_before_sunset", "lay a cover this long before sunset"
    )
