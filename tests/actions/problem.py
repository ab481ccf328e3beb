"""A small planning problem: one zone with pipes and two covers, a clear night, a game the next morning."""

from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np

from microclimate.actions import case
from microclimate.actions.case import Case
from microclimate.schema import Event
from microclimate.venue.equipment import Crew, Plant, Prices
from microclimate.venue.limits import SPECIES
from tests.simulate import world

BEGIN: datetime = world.START.astype("datetime64[us]").item()
HOURS, MEMBERS = 20.0, 8
NIGHT = Event("tonight", BEGIN + timedelta(hours=8), BEGIN + timedelta(hours=13), "night")
GAME = Event("game", BEGIN + timedelta(hours=17), BEGIN + timedelta(hours=19))


def crew(**given: Any) -> Crew:
    """Can come in two hours, day and night, unless told otherwise."""
    return Crew.model_validate({"people": 10, "notice": "2 h", "earliest": 0, "latest": 24} | given)


def venue(plant: dict[str, Any] | None = None, crewed: Crew | None = None, prices: Prices | None = None) -> Any:
    """One zone over pipes at 100 mm, a sheet and a quilt."""
    circuit = {"name": "pipes", "kind": "cable", "depth": 0.1, "pitch": 0.2, "power": 120.0, "probe_depth": 0.05}
    zone = world.zone("A", circuit="pipes")
    quilt = {"name": "quilt", "kind": "insulated", "people": 10, "minutes": 60}
    sheet = {"name": "sheet", "kind": "permeable", "people": 4, "minutes": 30}
    made = world.venue(zone, covers=[sheet, quilt], circuits=[circuit])
    made.species = lambda turf: SPECIES[turf.species]
    made.crew, made.prices, made.site = crewed or crew(), prices, SimpleNamespace(time_zone="UTC")
    boiler = None if plant is None else Plant.model_validate(plant)
    made.equipment = made.equipment.model_copy(update={"plant": boiler})
    return made


def problem(
    air: float = 270.0,
    spread: float = 2.0,
    gust: Any = 2.0,
    now: datetime = BEGIN,
    windows: tuple[Event, ...] = (GAME,),
    made: Any = None,
    water: float = 0.0,
    sun: Any = 0.0,
    sky: float = 230.0,
    members: int = MEMBERS,
    **given: Any,
) -> Case:
    """Members are `spread` [K] apart in all; `gust` broadcasts to (realization, patch, time)."""
    made = made or venue()
    step = np.linspace(-0.5 * spread, 0.5 * spread, members)[:, None, None]
    block = world.forcing(
        HOURS,
        realizations=members,
        air_temperature=air + step,
        dew_point=air - 3.0 + step,
        wind_speed_of_gust=gust,
        shortwave_sun_down=sun,
        longwave_sky_down=sky,
    ).assign_coords(zone=("patch", ["A"]))
    initial = world.initial(made, realizations=members, leaf_water=water)
    return case.case(made, [block], initial, windows, now, **given)
