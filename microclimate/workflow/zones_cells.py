"""Single days of a span cell by cell: each cell of the field a column of its own, for maps of canopy temperature."""

from datetime import date

import numpy as np
import xarray as xr

from microclimate.exposure import force
from microclimate.exposure.bowl import Bowl
from microclimate.risk import zonal
from microclimate.simulate import run
from microclimate.venue.field import Zone
from microclimate.workflow import zones_days
from microclimate.workflow.zones_run import LEAD, STEP, Case, Lived, within

MOST = 8000  # cells that are run one by one: memory; ours
BEFORE = np.timedelta64(1, "D")  # that each cell runs by itself before the day looked at; ours


def extremes(case: Case, joined: xr.Dataset, weather: xr.Dataset, own: Lived, looked: tuple[date, date]) -> xr.Dataset:
    """Lowest canopy of one day and highest of another, of each cell.

    Parameters
    ----------
    case, joined, weather
        As for `zones_run.lived`.
    own : Lived
        What the case lived through: the grounds the cells start from.
    looked : tuple of date
        The coldest and the warmest day (`Lived.looked`): the same for cases that are held against each other.

    Returns
    -------
    Dataset (cell)
        `coldest`, `hottest` [K]; attributes `coldest_day`, `hottest_day` (ISO dates) and `each`, 1 where each cell was
        run and 0 where the field has more than `MOST` and the values are its patch's.
    """
    each = len(case.bowl.cell_x) <= MOST
    dates = own.days["day"].values.astype("datetime64[D]")
    found = {}
    for name, end, day in zip(("coldest", "hottest"), ("min", "max"), looked, strict=True):
        if each:
            found[name] = _cells(case, joined, weather, own, day, end)
        else:
            number = int(np.flatnonzero(dates == np.datetime64(day))[0])
            values = own.days[f"canopy_temperature_{end}"].transpose("day", "patch").values[number]
            found[name] = zonal.painted(values, joined)
    told = {"coldest_day": looked[0].isoformat(), "hottest_day": looked[1].isoformat(), "each": int(each)}
    return xr.Dataset({name: ("cell", values) for name, values in found.items()}, attrs=told)


def _cells(case: Case, joined: xr.Dataset, weather: xr.Dataset, own: Lived, day: date, end: str) -> np.ndarray:
    """Lowest (`end` min) or highest (max) canopy of one local day in each cell [K]."""
    stretch, ground = next((d, g) for d, g in own.starts if d.first <= day <= d.last)
    number = (day - stretch.first).days
    first, begin, over = stretch.edges[0], stretch.edges[number], stretch.edges[number + 1]
    alone = max(first, begin - BEFORE)
    venue = case.venue
    if alone > first:
        whole = force.forcing(venue, zones_days.part(weather, first - LEAD, alone), case.bowl, joined, STEP)
        block = case.added(within(next(iter(whole)), first, alone))
        _, ground = run.through(venue, block, ground, case.plan(venue, first, alone))
    cells = as_patches(case.bowl, venue.field.zones)
    forcing = force.forcing(venue, zones_days.part(weather, alone - LEAD, over), case.bowl, cells, STEP)
    block = case.added(within(next(iter(forcing)), alone, over))
    start = on_cells(ground, joined, cells)
    states, _ = run.through(venue, block, start, case.plan(venue, alone, over))
    canopy = states["canopy_temperature"].isel(realization=0)
    looked = canopy.isel(time=np.flatnonzero(canopy["time"].values > begin))
    return np.asarray(getattr(looked, end)("time").transpose("patch").values, dtype=float)


def as_patches(seen: Bowl, zones: tuple[Zone, ...]) -> xr.Dataset:
    """One patch for each cell of a bowl."""
    count, zone = len(seen.cell_x), seen.cell_zone.astype(int)
    return xr.Dataset(
        {"cell_patch": ("cell", np.arange(count)), "weights": (("patch", "cell"), np.eye(count))},
        coords={
            "zone": ("patch", np.array([zones[k].name for k in zone])),
            "zone_index": ("patch", zone),
            "part": ("patch", np.full(count, "cell")),
            "area": ("patch", seen.cell_area),
            "x": ("patch", seen.cell_x),
            "y": ("patch", seen.cell_y),
            "sky_view_factor": ("patch", seen.sky_view),
        },
    )


def on_cells(ground: xr.Dataset, joined: xr.Dataset, cells: xr.Dataset) -> xr.Dataset:
    """Each cell's first state: its patch's."""
    patch = joined["cell_patch"].values.astype(int)
    return ground.isel(patch=patch).assign_coords(
        {name: ("patch", cells[name].values) for name in ("zone", "zone_index", "part")}
    )
