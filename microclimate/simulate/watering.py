"""Water put on the field at one moment, as something to try: it fills the top of the root zone and wets the leaf.

The heat of water and ground is mixed exactly (enthalpy); the water then stays where it was put, as all water does here.
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.column import layers
from microclimate.constants import DENSITY_WATER, HEAT_CAPACITY_WATER, ZERO_CELSIUS
from microclimate.schema import INITIAL_VARIABLES, seal
from microclimate.simulate.columns import FILM_FULL
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

SINKS = 0.05  # [m] to which it is spread, deeper only where pores there are full; ours, no source


def watered(venue: Venue, state: xr.Dataset, amount: float, temperature: float | None) -> xr.Dataset:
    """The ground after water was put on it.

    Parameters
    ----------
    venue : Venue
    state : Dataset
        `schema.INITIAL_VARIABLES` with `zone_index`, at that moment.
    amount : float
        [m] of water; what no pore takes runs off.
    temperature : float or None
        Of the water [K]; None: as each layer is.
    """
    dims = ("realization", "patch", "layer")
    names = "soil_temperature", "frozen_fraction", "water_content"
    degrees, frozen, water = (state[name].transpose(*dims).values.copy() for name in names)
    degrees -= ZERO_CELSIUS
    for patch, index in enumerate(state["zone_index"].values.astype(int)):
        cut = layers.grid(venue.field.zones[index].layers, state.sizes["layer"])
        old = layers.kernel_parameters(layers.properties(cut, water[:, patch]))
        heat = layers.enthalpy(old, degrees[:, patch], frozen[:, patch])
        added = taken(cut, water[:, patch], amount)
        warmth = degrees[:, patch] if temperature is None else temperature - ZERO_CELSIUS
        heat = heat + DENSITY_WATER * HEAT_CAPACITY_WATER * added * cut.thickness * np.maximum(warmth, 0.0)
        water[:, patch] += added
        new = layers.kernel_parameters(layers.properties(cut, water[:, patch]))
        degrees[:, patch], frozen[:, patch] = layers.temperature(new, heat)
    leaf = np.maximum(state["leaf_water"].values, np.minimum(FILM_FULL, DENSITY_WATER * amount))
    told = state.assign(
        soil_temperature=(dims, degrees + ZERO_CELSIUS),
        frozen_fraction=(dims, frozen),
        water_content=(dims, water),
        leaf_water=(state["leaf_water"].dims, leaf),
    )
    return seal(told, INITIAL_VARIABLES, "watered")


def taken(cut: layers.Grid, water: Array, amount: float) -> Array:
    """Water content that each layer gains, (realization, layer) [m3 m-3]: the top first as one, then the next pores."""
    room = np.maximum(cut.porosity - water, 0.0) * np.isnan(cut.fixed_conductivity)
    gained = np.zeros_like(water)
    left = np.full(water.shape[0], amount)
    top = cut.faces[1:] <= SINKS + 1e-9
    for part in (top, *np.eye(top.size, dtype=bool)[~top]):
        space = (room * cut.thickness)[:, part].sum(axis=1)
        share = np.minimum(np.divide(left, space, out=np.zeros_like(left), where=space > 0.0), 1.0)
        gained[:, part] = share[:, None] * room[:, part]
        left = left - share * space
    return gained
