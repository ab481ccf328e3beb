"""What stands for what: zones of one kind, circuits within their plant, and the patches that a search can do with."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import plan as plans
from microclimate.venue.field import signed_area
from microclimate.venue.load import Venue

WORST_PATCHES = 3  # of each group of zones with like circuit and covers, in the search; ours


def group(venue: Venue, block: xr.Dataset) -> NDArray[np.int64]:
    """A number for every patch, the same where circuit, covers, floors and ground are alike, (patch,)."""
    keys: dict[object, int] = {}
    found = []
    for index in block["zone_index"].values.astype(int):
        zone = venue.field.zones[index]
        under = tuple(plans.covers(venue, k + 1, zone.name) for k in range(len(venue.equipment.covers)))
        floors = tuple(not floor.zones or zone.name in floor.zones for floor in venue.equipment.floors)
        key = (zone.circuit, under, floors, zone.base, zone.layers)
        found.append(keys.setdefault(key, len(keys)))
    return np.array(found, dtype=np.int64)


def worst_patches(venue: Venue, block: xr.Dataset, outcome: xr.Dataset) -> NDArray[np.int64]:
    """In each group of like zones the patches with the worst state, then the lowest canopy, most often the coldest."""
    state = np.nan_to_num(outcome["worst_surface_state"].isel(plan=0).mean(("realization", "event")).values)
    canopy = np.nan_to_num(outcome["canopy_temperature_min"].isel(plan=0).mean(("realization", "event")).values)
    groups = group(venue, block)
    found = []
    for number in np.unique(groups):
        inside = np.flatnonzero(groups == number)
        ranked = inside[np.lexsort((canopy[inside], -state[inside]))]
        coldest = inside[np.argsort(canopy[inside])]
        found += list(dict.fromkeys([*ranked[: WORST_PATCHES - 1], *coldest[:WORST_PATCHES]]))[:WORST_PATCHES]
    return np.array(sorted(found), dtype=np.int64)


def within_plant(venue: Venue) -> Venue:
    """The venue with circuits that give no more together than the plant does; power is shared alike."""
    plant = venue.equipment.plant
    if plant is None or plant.power is None:
        return venue
    areas = {circuit.name: 0.0 for circuit in venue.equipment.circuits}
    for zone in venue.field.zones:
        if zone.circuit is not None:
            areas[zone.circuit] += abs(signed_area(zone.polygon))
    wanted = sum(circuit.power * areas[circuit.name] for circuit in venue.equipment.circuits)
    share = min(1.0, plant.power / wanted) if wanted > 0 else 1.0
    if share == 1.0:
        return venue
    circuits = tuple(c.model_copy(update={"power": c.power * share}) for c in venue.equipment.circuits)
    equipment = venue.equipment.model_copy(update={"circuits": circuits})
    return venue.model_copy(update={"equipment": equipment})


def areas(venue: Venue, block: xr.Dataset, patches: NDArray[np.int64]) -> NDArray[np.float64]:
    """Area that each of some patches stands for [m2]: its share of its group's."""
    every, kinds = block["area"].values, group(venue, block)
    mine = kinds[patches]
    return np.array([every[kinds == g].sum() / (mine == g).sum() for g in mine])
