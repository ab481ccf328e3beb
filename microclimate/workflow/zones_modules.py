"""Each portable module as a column of its own: which are the coldest, which the most shaded."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import refuse
from microclimate.exposure import force
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.report.zones import ModuleRow
from microclimate.risk import turf
from microclimate.simulate import run
from microclimate.venue.field import Point, Zone
from microclimate.venue.modules import Address, address, grid, open_width
from microclimate.workflow import zones_days
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_run import DRAWN, LEAD, STEP, Case, Lived, within

FINER = 1.5  # cells to a module's shorter side: each has one at least; ours


def modules(case: Case, joined: xr.Dataset, weather: xr.Dataset, own: Lived) -> tuple[ModuleRow, ...]:
    """Every module over at most `DRAWN` days up to the span's coldest; none where the venue has no modules.

    Ground and base are those of the zone under its centre, unless [[module]] says otherwise; outer faces of modules
    over air stand in the open. Its history is that of its place up to then, or the temperature it was laid with.
    """
    venue, field = case.venue, case.venue.field
    if venue.modules is None:
        return ()
    outlines = grid(venue.modules, field.length, field.width)
    size = min(venue.modules.length, venue.modules.width) / FINER
    seen = build_bowl(
        venue.model_copy(update={"field": field.model_copy(update={"cell_size": min(size, field.cell_size)})})
    )
    placed = _placed(seen, outlines)
    special = {address(text): module for module in venue.module for text in module.at}
    zones, starts = [], []
    for at, cells in placed.items():
        below = field.zones[int(seen.cell_zone[cells[0]])]
        module = special.get(at)
        base = below.base if module is None or module.base is None else module.base
        if base.over_air != below.base.over_air:
            found = f"module {at[0]}-{at[1]}: base {base.kind!r} does not fit the build of {below.name!r}"
            raise refuse("[[module]]", found, "a base over air where the build is a tray, on ground elsewhere")
        faces = open_width(outlines[at], field.length, field.width) if venue.modules.edge_open else None
        if faces is not None and base.over_air:
            base = base.model_copy(update={"open_side": faces})
        name = f"{at[0]}-{at[1]}"
        zones.append(Zone(**{**dict(below), "name": name, "polygon": outlines[at], "base": base}))
        starts.append(None if module is None else module.start_temperature)
    tiled = venue.model_copy(update={"field": field.model_copy(update={"zones": tuple(zones)})})
    each = _patches(seen, zones, list(placed.values()))
    last = own.days["day"].values[
        int(np.argmin(own.days["canopy_temperature_min"].transpose("day", "patch").values.min(axis=1)))
    ]
    until = last.astype("datetime64[D]").item()
    stretch, ground = next((d, g) for d, g in own.starts if d.first <= until <= d.last)
    days = Days(stretch.first, until, stretch.time_zone)
    first = _ground(ground, joined, each, starts)
    forcing = force.forcing(tiled, zones_days.part(weather, days.edges[0] - LEAD, days.edges[-1]), seen, each, STEP)
    block = within(next(iter(forcing)), *days.edges[[0, -1]])
    states, _ = run.through(tiled, block, first, case.plan(tiled, *days.edges[[0, -1]]))
    species = [tiled.species(zone.turf) for zone in zones]
    day = days.of(block["time"].values)
    told = turf.digest(block, states, day, days.count, species, venue.limits).isel(day=slice(-DRAWN, None))
    canopy = told["canopy_temperature_min"].transpose("patch", "day").values.min(axis=1)
    root = told["soil_temperature_min"].isel(depth=0).transpose("patch", "day").values.min(axis=1)
    light = told["light_integral"].transpose("patch", "day").values.mean(axis=1)
    edge = [zone.base.open_side is not None for zone in zones]
    rows = zip(zones, canopy, root, light, edge, strict=True)
    return tuple(ModuleRow(z.name, float(c), float(r), float(g), bool(e)) for z, c, r, g, e in rows)


def _placed(seen: Bowl, outlines: dict[Address, tuple[Point, ...]]) -> dict[Address, NDArray[np.int64]]:
    """Cells whose centre lies in each module; slivers without one, and modules outside all zones, are left out."""
    found = {}
    for at, ((left, bottom), _, (right, top), _) in outlines.items():
        across = (seen.cell_x >= left) & (seen.cell_x < right)
        inside = np.flatnonzero(across & (seen.cell_y >= bottom) & (seen.cell_y < top))
        if inside.size:
            found[at] = inside
    return found


def _patches(seen: Bowl, zones: list[Zone], cells: list[NDArray[np.int64]]) -> xr.Dataset:
    """One patch for each module, on the cells of a bowl."""
    weights = np.zeros((len(zones), len(seen.cell_x)))
    cell_patch = np.full(len(seen.cell_x), -1)
    for row, own in enumerate(cells):
        weights[row, own] = 1.0 / len(own)
        cell_patch[own] = row
    return xr.Dataset(
        {"cell_patch": ("cell", cell_patch), "weights": (("patch", "cell"), weights)},
        coords={
            "zone": ("patch", np.array([zone.name for zone in zones])),
            "zone_index": ("patch", np.arange(len(zones))),
            "part": ("patch", np.full(len(zones), "module")),
            "area": ("patch", np.array([zone.area for zone in zones])),
            "x": ("patch", weights @ seen.cell_x),
            "y": ("patch", weights @ seen.cell_y),
            "sky_view_factor": ("patch", weights @ seen.sky_view),
        },
    )


def _ground(ground: xr.Dataset, joined: xr.Dataset, each: xr.Dataset, starts: list[float | None]) -> xr.Dataset:
    """The ground of each module's place, with the temperature of those that were laid from elsewhere."""
    away = (each["x"].values[:, None] - joined["cell_x"].values) ** 2
    away += (each["y"].values[:, None] - joined["cell_y"].values) ** 2
    patch = joined["cell_patch"].values.astype(int)[np.argmin(away, axis=1)]
    first = ground.isel(patch=patch).assign_coords(
        {name: ("patch", each[name].values) for name in ("zone", "zone_index", "part")}
    )
    warm = first["soil_temperature"].transpose("realization", "patch", "layer").values.copy()
    ice = first["frozen_fraction"].transpose("realization", "patch", "layer").values.copy()
    for row, kelvin in enumerate(starts):
        if kelvin is not None:
            warm[:, row], ice[:, row] = kelvin, float(kelvin < 273.15)
    dims = ("realization", "patch", "layer")
    return first.assign(soil_temperature=(dims, warm), frozen_fraction=(dims, ice))
