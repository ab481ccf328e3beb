"""What a plan takes of fuel and current, and what the kit takes at full load."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.simulate.columns import HEAT_OF_AIR
from microclimate.venue.field import signed_area
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

JOULES = 3.6e6  # in a kWh
SECONDS = 1800.0  # in a slot


def blown(venue: Venue, plan: xr.Dataset, air: Array) -> Array:
    """Heat of warm air that is blown, from outside air warmed once, (plan, realization, slot) [kWh].

    Parameters
    ----------
    plan : Dataset
        `schema.PLAN_VARIABLES` in slots.
    air : array, shape (realization, slot)
        Outside [K].
    """
    names, found = [zone.name for zone in venue.field.zones], np.zeros((plan.sizes["plan"], *air.shape))
    if not (plan["warm_air_flow"].values > 0.0).any():
        return found
    for zone in venue.field.zones:
        flow = plan["warm_air_flow"].values[:, names.index(zone.name)]
        warm = plan["warm_air_temperature"].values[:, names.index(zone.name)]
        power = flow[:, None, :] * HEAT_OF_AIR * np.maximum(warm[:, None, :] - air[None], 0.0)
        found += power * SECONDS * abs(signed_area(zone.polygon)) / JOULES
    return found


def burns(venue: Venue, zone: int) -> bool:
    """Whether a zone's circuit takes the plant's fuel: a cable takes current, whatever the plant burns."""
    name, plant = venue.field.zones[zone].circuit, venue.equipment.plant
    if name is None or plant is None:
        return False
    return plant.kind == "electric" or venue.equipment.circuit(name).kind != "cable"


def full_load(venue: Venue) -> float:
    """Heat of all circuits that take the plant's fuel, together [kW]; its own most where that is less."""
    zones = venue.field.zones
    heat = sum(
        venue.equipment.circuit(zone.circuit).power * abs(signed_area(zone.polygon)) / 1000.0
        for number, zone in enumerate(zones)
        if zone.circuit is not None and burns(venue, number)
    )
    plant = venue.equipment.plant
    return heat if plant is None or plant.power is None else min(heat, plant.power / 1000.0)
