"""From heat in the ground to fuel, money and carbon dioxide, through the venue's plant and prices."""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.physics import plant as machine
from microclimate.sizing import options as opt
from microclimate.sizing.reduced import Reduced
from microclimate.venue.tariff import FUELS

Array = NDArray[np.float64]

JOULES = 3.6e6  # in a kWh
SUPPLY = ZERO_CELSIUS + 35.0  # [K] where a circuit names none
BRINE = ZERO_CELSIUS + 3.0  # [K] from the ground in winter; ours
# lift at the rating points of EN 14511: water at 35 degC from air at 7, from brine at 0 degC
_RATED_AIR, _RATED_GROUND = 28.0, 35.0  # [K]


@dataclass(frozen=True)
class Bill:
    """Of one winter, (option,)."""

    fuel: Array  # [J] of the plant's fuel or current
    current: Array  # [J] for cables, where the plant burns something else
    peak: Array  # [kW] sum over the months of the highest electric load
    cost: Array  # NaN where no price tells
    co2: Array  # [kg] NaN where nothing tells


def bill(site: Reduced, grid: opt.Grid, told: xr.Dataset) -> Bill:
    """What a winter's heat costs.

    Parameters
    ----------
    site : Reduced
    grid : Grid
    told : Dataset
        Of `winter_run.run`.

    Returns
    -------
    Bill
        Crew is in the cost where its price is known.
    """
    venue = site.venue
    plant, prices = venue.equipment.plant, venue.prices
    kind = "electric" if plant is None else plant.kind
    area = np.array([site.area[str(name)] for name in told["group"].values])
    wired = np.array([_wired(site, str(name)) for name in told["group"].values])
    heat = told["energy"].values.astype(float) * area[:, None]  # (option, group, night) [J]
    load = told["power"].values.astype(float) * area[:, None]  # [W]
    gain = performance(site, grid, told)  # (option, night)
    by_plant, by_wire = heat[:, ~wired].sum(axis=1), heat[:, wired].sum(axis=1)
    fuel, current = (by_plant / gain).sum(axis=1), by_wire.sum(axis=1)
    electric = load[:, wired].sum(axis=1)
    if kind in ("electric", "heat pump"):
        electric = electric + load[:, ~wired].sum(axis=1) / gain
        if kind == "electric":
            fuel, current = fuel + current, np.zeros_like(current)
    peak = _monthly(electric, told["night"].values) / 1000.0
    cost = np.full(fuel.shape, np.nan)
    co2 = np.full(fuel.shape, np.nan)
    if prices is not None and (prices.energy is not None or not fuel.any()):
        wire = prices.electricity if prices.electricity is not None else prices.energy
        cost = fuel / JOULES * (prices.energy or 0.0) + current / JOULES * (wire or 0.0)
        cost = cost + peak * (prices.demand or 0.0) + crew_hours(site, grid, told) * (prices.crew_hour or 0.0)
    carbon = FUELS[kind].carbon if prices is None or prices.co2 is None else prices.co2
    wire_carbon = None if prices is None else prices.co2_electricity
    if carbon is not None and (wire_carbon is not None or not current.any()):
        co2 = fuel / JOULES * carbon + current / JOULES * (wire_carbon or 0.0)
    return Bill(fuel, current, peak, cost, co2)


def performance(site: Reduced, grid: opt.Grid, told: xr.Dataset) -> Array:
    """Heat out per energy in of the plant, (option, night)."""
    plant = site.venue.equipment.plant
    shape = (told.sizes["option"], told.sizes["night"])
    if plant is None or plant.kind != "heat pump":
        return np.full(shape, 1.0 if plant is None else plant.efficiency)
    own = [c.supply_temperature for c in site.venue.equipment.circuits if c.supply_temperature is not None]
    usual = max(own, default=SUPPLY)
    supply = np.array([grid.designs[option.design].supply or usual for option in grid.options])[:, None]
    if plant.heat_source == "ground":
        shape_of, rated = machine.heat_pump_ground(supply - BRINE), machine.heat_pump_ground(_RATED_GROUND)
    else:
        shape_of = machine.heat_pump_air(supply - told["air"].values[None, :])
        rated = machine.heat_pump_air(_RATED_AIR)
    return np.asarray(np.broadcast_to(plant.efficiency * shape_of / rated, shape), dtype=float)


def crew_hours(site: Reduced, grid: opt.Grid, told: xr.Dataset) -> Array:
    """Person-hours of laying and lifting covers in the winter, (option,)."""
    each: list[float] = [0.0, *(2.0 * cover.people * cover.minutes / 60.0 for cover in site.venue.equipment.covers)]
    return np.asarray(told["laid"].values.astype(float) * np.array([each[option.cover] for option in grid.options]))


def _wired(site: Reduced, group: str) -> bool:
    """Whether a group's circuit takes current itself."""
    circuit = site.venue.field.zone(group).circuit
    return circuit is not None and site.venue.equipment.circuit(circuit).kind == "cable"


def _monthly(load: Array, nights: NDArray[np.str_]) -> Array:
    """Sum over the months of the highest load of each."""
    months = np.array([str(night)[:7] for night in nights])
    highest = np.stack([load[:, months == month].max(axis=1) for month in np.unique(months)])
    return np.asarray(highest.sum(axis=0))
