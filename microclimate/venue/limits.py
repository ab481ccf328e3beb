"""Limits: what the venue tolerates, where one surface state ends and the next begins, what a grass bears.

The defaults stand in `thresholds.csv` beside this file, each with its range, source and confidence; the venue file
may set any of them under [limits].
"""

import csv
from dataclasses import dataclass, fields
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
_PLAIN = ("mol/m2/d", "umol/m2/s")  # of light: in no table of units
_DIFFERENCE = {"K": "delta_K"}


def default(name: str) -> float:
    """A threshold's default, SI."""
    row = THRESHOLDS[name]
    return row.value if row.unit in _PLAIN else units.quantity(row.value, _DIFFERENCE.get(row.unit, row.unit))


@dataclass(frozen=True)
class Species:
    """What a grass bears and wants; temperatures in kelvin."""

    name: str
    warm_season: bool
    lt50_hardened: float  # half the plants die, hardened [K]
    lt50_growing: float  # the same while growing [K]
    kill_soil: float  # soil at which kill is possible [K]
    root_growth_low: float  # best root growth, at 100 mm [K]
    root_growth_high: float
    root_stop_cold: float  # no root growth below this at 100 mm [K]
    root_trouble: float  # roots suffer above this at 100 mm [K]
    root_stop_hot: float  # no root growth above this at 100 mm [K]
    shoot_stop_cold: float  # no shoot growth below this at 100 mm [K]
    shoot_stop_hot: float  # no shoot growth in a canopy above this [K]
    rootzone_ceiling: float  # heating should not pass this at 100 mm [K]
    growth_best: float  # mean air of best growth [K]
    growth_width: float  # of the growth index [K]
    degree_day_base: float  # [K]
    light_min: float  # daily light integral [mol m-2 d-1]
    light_winter: float  # the same while it hardly grows
    light_best: float  # for best quality
    light_fail: float  # at which a field failed


BY_SEASON = tuple(f.name for f in fields(Species) if f.name not in ("name", "warm_season") and "lt50" not in f.name)


_ROWS = {  # warm season, and the rows of what it bears hardened and growing
    "perennial ryegrass": (False, "perennial_ryegrass"),
    "Kentucky bluegrass": (False, "kentucky_bluegrass"),
    "ryegrass and bluegrass": (False, "perennial_ryegrass"),
    "tall fescue": (False, "tall_fescue"),
    "bermudagrass": (True, "bermudagrass"),
}


def row_of(species: str, key: str) -> str:
    """The row of the table in which a species' default stands."""
    warm, row = _ROWS[species]
    return f"{key}_{('warm' if warm else 'cool') if key in BY_SEASON else row}"


def _species(name: str) -> Species:
    keys = ("lt50_hardened", "lt50_growing", *BY_SEASON)
    return Species(name, _ROWS[name][0], **{key: default(row_of(name, key)) for key in keys})


SPECIES = {name: _species(name) for name in _ROWS}


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
    leaf_wet_amount: Annotated[float, Unit("kg/m2", 0.001, 0.5)] = _default(
        "leaf_wet_amount", "water or frost on the leaf from which it counts as wet"
    )
    snow_mould_low: Annotated[float, Unit("degC", -5, 10)] = _default(
        "snow_mould_low", "a wet leaf above this and below snow_mould_high suits pink snow mould"
    )
    snow_mould_high: Annotated[float, Unit("degC", 0, 25)] = _default("snow_mould_high", "see snow_mould_low")
    grey_mould_days: Annotated[float, Unit("d", 1, 200)] = _default(
        "grey_mould_days", "snow lying this long suits grey snow mould"
    )
    cover_hot_air: Annotated[float, Unit("degC", -5, 40)] = _default(
        "cover_hot_air", "a closed sheet lies only a few hours in air above this"
    )
    cover_hot_time: Annotated[float, Unit("h", 0.5, 48)] = _default("cover_hot_time", "how many hours that is")
    cover_lift_time: Annotated[float, Unit("d", 0.25, 60)] = _default(
        "cover_lift_time", "a sheet that breathes is lifted this often"
    )
    cover_event_time: Annotated[float, Unit("d", 0.25, 60)] = _default(
        "cover_event_time", "an opaque floor or quilt lies no longer than this"
    )
