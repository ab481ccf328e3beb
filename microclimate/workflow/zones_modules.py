"""Each portable module as a column of its own: which are the coldest, which the most shaded."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import refuse
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.report.zones import ModuleRow
from microclimate.venue.field import Point, Zone
from microclimate.venue.load import Venue
from microclimate.venue.modules import Address, Before, address, grid, open_width
from microclimate.workflow import zones_history
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_history import Laid, patches_of, through_days
from microclimate.workflow.zones_run import DRAWN, Case, Lived

FINER = 1.5  # cells to a module's shorter side: each has one at least; ours


def modules(case: Case, joined: xr.Dataset, weather: xr.Dataset, own: Lived) -> tuple[ModuleRow, ...]:
    """Every module over at most `DRAWN` days up to the span's coldest; none where the venue has no modules.

    Ground and base are those of the zone under its centre, unless [[module]] says otherwise; outer faces of modules
    over air stand in the open. Its history is that of its place up to then, the temperature it was laid with, or what
    [module.before] says; of modules laid after the coldest day nothing is known but that.
    """
    venue = case.venue
    if venue.modules is None:
        return ()
    size = min(min(venue.modules.length, venue.modules.width) / FINER, venue.field.cell_size)
    venue = venue.model_copy(update={"field": venue.field.model_copy(update={"cell_size": size})})
    seen = build_bowl(venue)
    lowest = own.days["canopy_temperature_min"].transpose("day", "patch").values.min(axis=1)
    coldest = own.days["day"].values[int(np.argmin(lowest))].astype("datetime64[D]").item()
    found: list[ModuleRow] = []
    for group in _groups(venue, seen):
        each = patches_of(seen, group)
        if group.before is None:
            stretch, ground = next((d, g) for d, g in own.starts if d.first <= coldest <= d.last)
            days = Days(stretch.first, coldest, stretch.time_zone)
            first = _ground(ground, joined, each, list(group.starts))
            told, _ = through_days(group.tiled(venue), seen, each, weather, first, days, plan=case.plan)
            lt50 = own.days["lt50"].transpose("day", "patch").values[int(np.argmin(lowest)), _nearest(each, joined)]
        elif group.before.until <= coldest:
            told, lt50 = zones_history.lived(venue, group, each, seen, weather, coldest, case.plan)
        else:
            gone = float("nan")
            found += [ModuleRow(z.name, gone, gone, gone, False, gone, gone, group.before.until) for z in group.zones]
            continue
        found += _rows(group, told.isel(day=slice(-DRAWN, None)), lt50, _light(group, own.cells))
    return tuple(found)


def _light(group: Laid, cells: xr.Dataset) -> list[float]:
    """Light of the span's mean day on each module [mol m-2]: of the field's cells in it, or of the nearest."""
    found = []
    for zone in group.zones:
        (left, bottom), _, (right, top), _ = zone.polygon
        x, y = cells["x"].values, cells["y"].values
        inside = (x >= left) & (x < right) & (y >= bottom) & (y < top)
        nearest = np.hypot(x - 0.5 * (left + right), y - 0.5 * (bottom + top))
        some = np.flatnonzero(inside) if inside.any() else np.argmin(nearest)
        found.append(float(cells["light_integral"].values[some].mean()))
    return found


def _rows(group: Laid, told: xr.Dataset, lt50: NDArray[np.float64], light: list[float]) -> list[ModuleRow]:
    canopy = told["canopy_temperature_min"].transpose("patch", "day").values.min(axis=1)
    crown = told["crown_temperature_min"].transpose("patch", "day").values[:, -1]
    root = told["soil_temperature_min"].isel(depth=0).transpose("patch", "day").values.min(axis=1)
    until = None if group.before is None else group.before.until
    return [
        ModuleRow(
            zone.name,
            float(canopy[k]),
            float(root[k]),
            light[k],
            zone.base.open_side is not None,
            float(lt50[k]),
            float(crown[k] - lt50[k]),
            until,
        )
        for k, zone in enumerate(group.zones)
    ]


def _groups(venue: Venue, seen: Bowl) -> list[Laid]:
    """Modules by their past: all without one, then each past of its own."""
    assert venue.modules is not None
    field = venue.field
    outlines = grid(venue.modules, field.length, field.width)
    special = {address(text): module for module in venue.module for text in module.at}
    groups: dict[Before | None, list[tuple[Zone, NDArray[np.int64], float | None]]] = {}
    for at, cells in _placed(seen, outlines).items():
        below = field.zones[int(seen.cell_zone[cells[0]])]
        module = special.get(at)
        base = below.base if module is None or module.base is None else module.base
        before = None if module is None else module.before
        for other in (base, None if before is None else before.base):
            if other is not None and other.over_air != below.base.over_air:
                found = f"module {at[0]}-{at[1]}: base {other.kind!r} does not fit the build of {below.name!r}"
                raise refuse("[[module]]", found, "a base over air where the build is a tray, on ground elsewhere")
        faces = open_width(outlines[at], field.length, field.width) if venue.modules.edge_open else None
        if faces is not None and base.over_air:
            base = base.model_copy(update={"open_side": faces})
        zone = Zone(**{**dict(below), "name": f"{at[0]}-{at[1]}", "polygon": outlines[at], "base": base})
        start = None if module is None else module.start_temperature
        groups.setdefault(before, []).append((zone, cells, start))
    return [
        Laid(tuple(z for z, _, _ in rows), tuple(c for _, c, _ in rows), tuple(s for _, _, s in rows), before)
        for before, rows in groups.items()
    ]


def _placed(seen: Bowl, outlines: dict[Address, tuple[Point, ...]]) -> dict[Address, NDArray[np.int64]]:
    """Cells whose centre lies in each module; slivers without one, and modules outside all zones, are left out."""
    found = {}
    for at, ((left, bottom), _, (right, top), _) in outlines.items():
        across = (seen.cell_x >= left) & (seen.cell_x < right)
        inside = np.flatnonzero(across & (seen.cell_y >= bottom) & (seen.cell_y < top))
        if inside.size:
            found[at] = inside
    return found


def _ground(ground: xr.Dataset, joined: xr.Dataset, each: xr.Dataset, starts: list[float | None]) -> xr.Dataset:
    """The ground of each module's place, with the temperature of those that were laid from elsewhere."""
    first = ground.isel(patch=_nearest(each, joined)).assign_coords(
        {name: ("patch", each[name].values) for name in ("zone", "zone_index", "part")}
    )
    warm = first["soil_temperature"].transpose("realization", "patch", "layer").values.copy()
    ice = first["frozen_fraction"].transpose("realization", "patch", "layer").values.copy()
    for row, kelvin in enumerate(starts):
        if kelvin is not None:
            warm[:, row], ice[:, row] = kelvin, float(kelvin < 273.15)
    dims = ("realization", "patch", "layer")
    return first.assign(soil_temperature=(dims, warm), frozen_fraction=(dims, ice))


def _nearest(each: xr.Dataset, joined: xr.Dataset) -> NDArray[np.int64]:
    """The field's patch that each module lies in (module,)."""
    away = (each["x"].values[:, None] - joined["cell_x"].values) ** 2
    away += (each["y"].values[:, None] - joined["cell_y"].values) ** 2
    return np.asarray(joined["cell_patch"].values.astype(int)[np.argmin(away, axis=1)])
