"""The long run: many variants of a venue's equipment and many plans through one season, in one thread.

Variants differ in circuits alone (power, depth, pitch, supply), so all of them share the forcing; plans are shared by
all variants. What is kept does not grow with the number of steps. One thread and no lock: whoever calls brings the
threads or processes.
"""

from collections.abc import Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.column import rows
from microclimate.column.vector import lanes_of
from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import REPORT_DEPTHS, Event
from microclimate.simulate import accumulate, laid, loop
from microclimate.simulate import columns as col
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

_KIND = np.float32  # 0.02 K of a night's minimum against float64 (tested); twice as fast
_PLANS = 24  # laid out for the kernel at a time, for the sake of memory
_TOLD = {
    "worst_surface_state": (accumulate.WORST, 0.0),
    "canopy_temperature_min": (accumulate.CANOPY, ZERO_CELSIUS),
    "heating_energy": (accumulate.ENERGY, 0.0),
    "heating_power_max": (accumulate.POWER, 0.0),
    "heating_hours": (accumulate.HEATED, 0.0),
    "hours": (accumulate.STEPS, 0.0),
}


def outcomes(
    variants: Sequence[Venue],
    block: xr.Dataset,
    initial: xr.Dataset,
    plan: xr.Dataset,
    options: Sequence[tuple[int, int]],
    windows: Sequence[Event],
) -> xr.Dataset:
    """What each window saw of each option.

    Parameters
    ----------
    variants : sequence of Venue
        Alike but for their circuits.
    block : Dataset
        `schema.FORCING`, one realization.
    initial : Dataset
        `schema.INITIAL_VARIABLES`, one realization.
    plan : Dataset
        `schema.PLAN_VARIABLES`.
    options : sequence of (variant, plan)
        Numbers of what is to be run.
    windows : sequence of Event

    Returns
    -------
    Dataset
        (option, patch, window): `worst_surface_state`, `canopy_temperature_min` [K], `soil_temperature_min` [K] at
        25 mm, `heating_energy` [J m-2], `heating_power_max` [W m-2], `heating_hours` [h], `hours` simulated.

    Raises
    ------
    InputError
        What a variant or a plan cannot do, all of it.
    """
    first, zones = variants[0], [zone.name for zone in variants[0].field.zones]
    problems = col.layer_problems(first, initial.sizes["layer"]) + col.state_problems(initial)
    problems += col.plan_problems(first, plan)
    col.check("season", problems)
    for variant in variants:
        problems += [new for new in col.heating_problems(variant, plan.sel(zone=zones)) if new not in problems]
    col.check("season", problems)
    time, zone_index = laid.times(block), block["zone_index"].values.astype(np.int64)
    heights = float(block.attrs.get("wind_height", 10.0)), float(block.attrs.get("temperature_height", 2.0))
    fixed = [col.columns(variant, zone_index, initial, *heights) for variant in variants]

    def of_all(name: str) -> NDArray[np.float32]:
        return np.concatenate([getattr(one, name) for one in fixed]).astype(_KIND)

    patches, plans = zone_index.size, np.unique([number for _, number in options])
    shared = (of_all("given"), of_all("layers"), of_all("state"), of_all("heat"), of_all("depth_places"))
    tiles = loop.tiled(laid.forced(first, block, initial, zone_index, _KIND), _KIND, len(variants))
    last, inside = np.tile(laid.steps_before_gap(block), len(variants)), laid.inside(windows, time)
    book = np.empty((len(options), patches, len(windows), accumulate.ACCOUNT))
    for part in range(0, plans.size, _PLANS):
        now = plans[part : part + _PLANS]
        mine = np.flatnonzero([number in now for _, number in options])
        number, patch = (a.ravel() for a in np.meshgrid(mine, np.arange(patches), indexing="ij"))
        variant, kind = np.array(options)[number].T
        table = np.stack(
            [variant * patches + patch, np.searchsorted(now, kind) * len(zones) + zone_index[patch]], axis=1
        )
        planned, changes = laid.planned(first, plan.isel(plan=now), time, _KIND)
        lanes = lanes_of(_KIND)
        accounts = np.zeros((-(-table.shape[0] // lanes), len(windows), accumulate.ACCOUNT, lanes))
        job = loop.Job(
            table.astype(np.int64),
            *shared,
            fixed[0].shallow,
            tiles,
            planned,
            changes,
            last,
            time.lengths,
            (time.lengths / laid.parts(time)).astype(_KIND),
            laid.parts(time),
            fixed[0].tables.astype(_KIND),
            col.cover_kinds(first).astype(_KIND),
            np.asarray(col.thresholds(first), dtype=_KIND),
            inside,
            accounts,
            np.zeros((0, rows.KEPT), dtype=_KIND),
            np.zeros((0, initial.sizes["layer"]), dtype=_KIND),
            np.zeros(0, dtype=np.int64),
            np.zeros((0, time.ends.size, 1), dtype=_KIND),
        )
        loop.run(0, accounts.shape[0], job)
        book[mine] = accumulate.by_column(accounts, table.shape[0]).reshape(mine.size, patches, len(windows), -1)
    dims = ("option", "patch", "window")
    told = {name: (dims, book[..., row] + offset) for name, (row, offset) in _TOLD.items()}
    shallow = accumulate.SOIL + REPORT_DEPTHS.index(0.025)
    told["soil_temperature_min"] = (dims, book[..., shallow] + ZERO_CELSIUS)
    return xr.Dataset(told, coords={name: block[name] for name in ("zone", "part", "area") if name in block.coords})
