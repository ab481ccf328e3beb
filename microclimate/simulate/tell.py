"""From what the kernel filled to Datasets: Outcome, States and the state a run ends in."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.column import layers, rows
from microclimate.column.ground import frozen_share, layer_temperature
from microclimate.column.store import film_curve
from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import REPORT_DEPTHS, STATE_NAMES, STATES_VARIABLES, Event, seal
from microclimate.simulate import accumulate, loop

Array = NDArray[np.float64]

_NS = 1e9
_PATCH_COORDS = ("zone", "zone_index", "part", "area", "x", "y", "sky_view_factor", "cells")


_PLAIN = {
    "leaf_water": loop.FILM,
    "leaf_frost": loop.FROST,
    "snow_amount": loop.SNOW,
    "snow_depth": loop.SNOW_DEPTH,
    "heating_power": loop.HEAT,
    "net_radiation": loop.RADIATION,
    "sensible_heat_up": loop.SENSIBLE,
    "latent_heat_up": loop.LATENT,
    "ground_heat_down": loop.GROUND,
}


@dataclass(frozen=True)
class Time:
    """Steps of a forcing block."""

    ends: NDArray[np.datetime64]
    lengths: Array  # [s]

    @property
    def begin(self) -> np.datetime64:
        """Of the first step."""
        first: np.datetime64 = self.ends[0] - np.timedelta64(round(self.lengths[0] * _NS), "ns")
        return first


@dataclass(frozen=True)
class Result:
    """What the kernel filled for one block; `state` and `heat` are empty where not wanted."""

    accounts: Array  # (plan, realization, patch, window, account)
    state: Array  # (plan, realization, patch, rows.KEPT)
    heat: Array  # (plan, realization, patch, layer) [J m-2]
    traces: Array  # (place, time, row)
    layers: Array  # (realization, patch, layer, given)
    given: Array  # (realization, patch, rows.GIVEN)


def patch_coords(block: xr.Dataset) -> dict[str, xr.DataArray]:
    """What travels with every patch."""
    return {name: block[name] for name in _PATCH_COORDS if name in block.coords}


def outcome(block: xr.Dataset, plan: xr.Dataset, windows: Sequence[Event], time: Time, result: Result) -> xr.Dataset:
    """Accounts as a Dataset; a window that was not seen to its end is unknown."""
    book = result.accounts
    dims = ("plan", "realization", "patch", "event")
    hours = np.array([_hours_wanted(window, time) for window in windows])
    coverage = np.clip(book[..., accumulate.STEPS] / np.maximum(hours, 1e-9), 0.0, 1.0)
    known = coverage > 1.0 - 1e-6

    def told(row: int, offset: float = 0.0) -> Array:
        return np.where(known, book[..., row] + offset, np.nan)

    def when(row: int) -> NDArray[np.datetime64]:
        step = book[..., row].astype(np.int64)
        return np.where(known & (step >= 0), time.ends[np.maximum(step, 0)], np.datetime64("NaT", "ns"))

    depths = range(len(REPORT_DEPTHS))
    at_depth = (*dims, "depth")
    return xr.Dataset(
        {
            "worst_surface_state": (dims, told(accumulate.WORST)),
            "final_surface_state": (dims, told(accumulate.FINAL)),
            "hours_in_state": (
                (*dims, "state"),
                np.stack([told(accumulate.HOURS + k) for k in range(accumulate.STATES)], axis=-1),
            ),
            "canopy_temperature_min": (dims, told(accumulate.CANOPY, ZERO_CELSIUS)),
            "canopy_temperature_min_time": (dims, when(accumulate.CANOPY_WHEN)),
            "soil_temperature_min": (
                at_depth,
                np.stack([told(accumulate.SOIL + k, ZERO_CELSIUS) for k in depths], axis=-1),
            ),
            "soil_temperature_min_time": (
                at_depth,
                np.stack([when(accumulate.SOIL_WHEN + k) for k in depths], axis=-1),
            ),
            "onset_time": (dims, when(accumulate.ONSET)),
            "heating_energy": (dims, told(accumulate.ENERGY)),
            "heating_power_max": (dims, told(accumulate.POWER)),
            "heating_hours": (dims, told(accumulate.HEATED)),
            "coverage": (dims, coverage),
        },
        coords={
            "plan": plan["plan"] if "plan" in plan.coords else np.arange(plan.sizes["plan"]),
            "event": [w.name for w in windows],
            "event_start": ("event", np.array([w.start for w in windows], dtype="datetime64[ns]")),
            "event_end": ("event", np.array([w.end for w in windows], dtype="datetime64[ns]")),
            "event_kind": ("event", [w.kind for w in windows]),
            "state": list(STATE_NAMES),
            "depth": list(REPORT_DEPTHS),
            **_realization(block),
            **patch_coords(block),
        },
        attrs=block.attrs,
    )


def _hours_wanted(window: Event, time: Time) -> float:
    """Hours of steps that a window asks for [h]: those that end inside it, and what the forcing does not reach."""
    start, end = np.datetime64(window.start, "ns"), np.datetime64(window.end, "ns")
    seconds = time.lengths[(time.ends > start) & (time.ends <= end)].sum()
    beyond = (end - max(time.ends[-1], start)) / np.timedelta64(1, "s")
    return float(seconds + max(beyond, 0.0)) / 3600.0


def _realization(block: xr.Dataset) -> dict[str, xr.DataArray]:
    return {"realization": block["realization"]} if "realization" in block.coords else {}


def states(
    block: xr.Dataset,
    initial: xr.Dataset,
    plan: xr.Dataset,
    time: Time,
    result: Result,
    wanted: Sequence[tuple[int, int]],
) -> xr.Dataset:
    """States of the (plan, realization) pairs asked for; NaN where another pair of the same names was not."""
    plans, members = sorted({p for p, _ in wanted}), sorted({r for _, r in wanted})
    patches, count = block.sizes["patch"], initial.sizes["layer"]
    values = np.full((len(plans), len(members), patches, time.ends.size, loop.TRACE + 2 * count), np.nan)
    for place, (p, r) in enumerate(wanted):
        values[plans.index(p), members.index(r)] = result.traces[place * patches : (place + 1) * patches]
    dims = ("plan", "realization", "patch", "time")
    offsets = {
        "canopy_temperature": (loop.LEAF, ZERO_CELSIUS),
        "surface_temperature": (loop.FACE, ZERO_CELSIUS),
        "surface_state": (loop.STATE, 0.0),
    }
    rows_of = offsets | {name: (row, 0.0) for name, row in _PLAIN.items()}
    names, realization = _names(plan, "plan"), _names(block, "realization")
    dataset = xr.Dataset(
        {
            **{name: (dims, values[..., row] + offset) for name, (row, offset) in rows_of.items()},
            "soil_temperature": ((*dims, "layer"), values[..., loop.TRACE : loop.TRACE + count] + ZERO_CELSIUS),
            "frozen_fraction": ((*dims, "layer"), values[..., loop.TRACE + count :]),
        },
        coords={
            "plan": names[plans],
            "realization": realization[members],
            "time": time.ends,
            **layer_coords(initial),
            **patch_coords(block),
        },
        attrs=block.attrs,
    )
    return seal(dataset, STATES_VARIABLES, "states")


def brief(block: xr.Dataset, initial: xr.Dataset, time: Time, result: Result) -> xr.Dataset:
    """What days are digested from: one plan, every realization, the root zone at the depths told alone."""
    realizations, patches = block.sizes["realization"], block.sizes["patch"]
    told = result.traces.reshape(realizations, patches, time.ends.size, -1)
    depth = initial["depth"].transpose("patch", "layer").values
    soil = np.empty((*told.shape[:3], len(REPORT_DEPTHS)), dtype=told.dtype)
    for patch, layer in enumerate(depth):
        for place, wanted in enumerate(REPORT_DEPTHS):
            k = int(np.clip(np.searchsorted(layer, wanted), 1, len(layer) - 1))
            share = float(np.clip((wanted - layer[k - 1]) / (layer[k] - layer[k - 1]), 0.0, 1.0))
            above, below = (told[:, patch, :, loop.TRACE + row] for row in (k - 1, k))
            soil[:, patch, :, place] = above + share * (below - above)
    dims = ("realization", "patch", "time")
    return xr.Dataset(
        {
            "canopy_temperature": (dims, told[..., loop.LEAF] + ZERO_CELSIUS),
            "crown_temperature": (dims, told[..., loop.TRACE] + ZERO_CELSIUS),
            "soil_temperature": ((*dims, "depth"), soil + ZERO_CELSIUS),
            **{name: (dims, told[..., row]) for name, row in {"surface_state": loop.STATE, **_PLAIN}.items()},
        },
        coords={"time": time.ends, "depth": list(REPORT_DEPTHS), **_realization(block), **patch_coords(block)},
        attrs=block.attrs,
    )


def canopy(
    block: xr.Dataset,
    initial: xr.Dataset,
    plan: xr.Dataset,
    time: Time,
    result: Result,
    wanted: Sequence[tuple[int, int]],
) -> xr.Dataset:
    """Canopy temperature of all runs at every step, in float32: what the curves of the zones are drawn from."""
    shape = (plan.sizes["plan"], block.sizes["realization"], block.sizes["patch"], time.ends.size)
    values = (result.traces[..., loop.LEAF] + ZERO_CELSIUS).astype(np.float32).reshape(shape)
    dataset = xr.Dataset(
        {"canopy_temperature": (("plan", "realization", "patch", "time"), values)},
        coords={
            "plan": _names(plan, "plan"),
            "realization": _names(block, "realization"),
            "time": time.ends,
            **patch_coords(block),
        },
        attrs=block.attrs,
    )
    return seal(dataset, {"canopy_temperature": STATES_VARIABLES["canopy_temperature"]}, "canopy")


def _names(dataset: xr.Dataset, dim: str) -> NDArray[Any]:
    """Labels of a dimension, numbers where it has none."""
    values: NDArray[Any] = dataset[dim].values if dim in dataset.coords else np.arange(dataset.sizes[dim])
    return values


def layer_coords(initial: xr.Dataset) -> dict[str, xr.DataArray]:
    """Depth and thickness of the layers, where the first state brings them."""
    return {name: initial[name] for name in ("depth", "thickness") if name in initial.coords}


def end(block: xr.Dataset, initial: xr.Dataset, result: Result) -> xr.Dataset:
    """The states at the end of the first plan, as `schema.INITIAL_VARIABLES`."""
    degrees, frozen = layers.temperature(result.layers, result.heat[0])

    def kept(row: int) -> Array:
        return result.state[0, ..., row - rows.COVER_LYING]

    film, frost = kept(rows.LEAF_FILM), kept(rows.LEAF_FROST)
    capacity = result.given[..., rows.LEAF_CAPACITY]
    leaf, ice = np.empty_like(film), np.empty_like(film)
    for index in np.ndindex(film.shape):
        curve = film_curve(float(capacity[index]), float(film[index] + frost[index]))
        heat = float(kept(rows.LEAF_ENTHALPY)[index])
        leaf[index] = layer_temperature(heat, *curve)
        ice[index] = frozen_share(heat, curve[-1])
    dims, pair = ("realization", "patch", "layer"), ("realization", "patch")
    return xr.Dataset(
        {
            "soil_temperature": (dims, degrees + ZERO_CELSIUS),
            "frozen_fraction": (dims, frozen),
            "water_content": (dims, initial["water_content"].transpose(*dims).values),
            "canopy_temperature": (pair, leaf + ZERO_CELSIUS),
            "leaf_water": (pair, (1.0 - ice) * (film + frost)),
            "leaf_frost": (pair, ice * (film + frost)),
            "snow_amount": (pair, kept(rows.SNOW)),
            "snow_depth": (pair, kept(rows.SNOW_DEPTH)),
        },
        coords={**_realization(block), **layer_coords(initial), **patch_coords(block)},
        attrs={**initial.attrs, "time": str(block["time"].values[-1])},
    )
