"""Where portable modules lay before: run through the weather there, then here, with what hardened them on the way."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import plan as plans
from microclimate.errors import refuse
from microclimate.exposure import force
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.risk import turf
from microclimate.simulate import run, start
from microclimate.venue.field import Zone
from microclimate.venue.load import Venue
from microclimate.venue.modules import Before
from microclimate.workflow import zones_days
from microclimate.workflow.zones_cases import without_stands
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_run import LEAD, STEP, PlanOf, air_before, within

THERE = 20  # days that modules are run where they lay before, where the weather has them: ours
_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Laid:
    """Modules that are run together: their zones, cells and patches, first temperatures [K], and a common past."""

    zones: tuple[Zone, ...]
    cells: tuple[NDArray[np.int64], ...]
    starts: tuple[float | None, ...]
    before: Before | None

    def tiled(self, venue: Venue) -> Venue:
        """The venue with these modules for zones."""
        return venue.model_copy(update={"field": venue.field.model_copy(update={"zones": self.zones})})


def through_days(
    tiled: Venue,
    seen: Bowl,
    each: xr.Dataset,
    weather: xr.Dataset,
    first: xr.Dataset,
    days: Days,
    *,
    plan: PlanOf,
    added: Callable[[xr.Dataset], xr.Dataset] = lambda block: block,
) -> tuple[xr.Dataset, xr.Dataset]:
    """Days of modules from their first state: the digest (patch, day) of `turf.digest`, and the ground at their end."""
    species = [tiled.species(zone.turf) for zone in tiled.field.zones]
    digests, ground = [], first
    for part in days.stretches():
        begin, end = part.edges[[0, -1]]
        forcing = force.forcing(tiled, zones_days.part(weather, begin - LEAD, end), seen, each, STEP)
        block = added(within(next(iter(forcing)), begin, end))
        states, ground = run.through(tiled, block, ground, plan(tiled, begin, end))
        digests.append(turf.digest(block, states, part.of(block["time"].values), part.count, species, tiled.limits))
    told = xr.concat(digests, "day", data_vars="minimal", coords="minimal", compat="override")
    return told.assign_coords(day=np.array([np.datetime64(d.isoformat(), "ns") for d in days.dates])), ground


def lived(
    venue: Venue,
    group: Laid,
    each: xr.Dataset,
    seen: Bowl,
    weather: xr.Dataset,
    last: date,
    plan: PlanOf,
) -> tuple[xr.Dataset, NDArray[np.float64]]:
    """Modules with a past: up to `THERE` days where they lay, then here from the day they were laid to `last`.

    Returns
    -------
    Dataset (patch, day)
        `turf.digest` of the days here.
    array (patch,)
        LT50 at the end, tender end [K], hardened by the air before, the days there and the days here.

    Raises
    ------
    InputError
        Where the weather holds no day before the modules were laid.
    """
    before, zone = group.before, venue.site.site.time_zone
    assert before is not None
    oldest = pd.Timestamp(weather["time"].values[0], tz="UTC").tz_convert(zone).date() + _DAY
    if before.until <= oldest:
        raise refuse("[module.before]", f"the weather begins on {oldest}", f"a day before until = {before.until}")
    there = Days(max(before.until - THERE * _DAY, oldest), before.until - _DAY, zone)
    here = Days(before.until, last, zone)
    away = without_stands(venue)
    zones = tuple(_moved(z, before) for z in group.zones)
    moved = Laid(zones, group.cells, group.starts, None)
    field = build_bowl(away)
    patches = patches_of(field, moved)
    away = moved.tiled(away)
    cover = 0.0 if before.cover is None else 1.0 + [c.name for c in venue.equipment.covers].index(before.cover)

    def under(venue: Venue, begin: np.datetime64, end: np.datetime64) -> xr.Dataset:
        return plans.constant(venue, begin, end, "before", {"cover": cover})

    def dimmed(block: xr.Dataset) -> xr.Dataset:
        names = [f"shortwave_{part}_down" for part in ("sun", "sky", "stands")]
        return block.assign({name: before.light * block[name] for name in names})

    first = start.states(away, patches, 1, there.edges[0])
    past, ground = through_days(away, field, patches, weather, first, there, plan=under, added=dimmed)
    told, _ = through_days(group.tiled(venue), seen, each, weather, ground, here, plan=plan)
    both = xr.concat([past, told], "day", data_vars="minimal", coords="minimal", compat="override")
    species = [venue.species(z.turf) for z in group.zones]
    north = venue.site.latitude >= 0.0
    hardened = turf.hardened(both, species, air_before(weather, there), north=north)
    return told, hardened["lt50"].transpose("day", "patch").values[-1]


def _moved(zone: Zone, before: Before) -> Zone:
    """A module as it lay there."""
    base = zone.base if before.base is None else before.base
    return Zone(**{**dict(zone), "base": base.model_copy(update={"open_side": None})})


def patches_of(seen: Bowl, group: Laid) -> xr.Dataset:
    """One patch for each module, on the cells of a bowl."""
    zones, cells = group.zones, group.cells
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
