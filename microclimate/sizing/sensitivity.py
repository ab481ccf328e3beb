"""What the chosen option would be if the ground were wetter or drier, the bowl more or less open, the fuel dearer."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from microclimate.simulate import start
from microclimate.sizing import answers, winter_run
from microclimate.sizing import options as opt
from microclimate.sizing.reduced import Reduced
from microclimate.sizing.winter_run import Job

WINTERS = 3  # looked at, from the coldest on; ours
MOISTURE = 0.05  # [m3 m-3] either way: from dry to wet classes of sand fields, .05-.11 to .20-.27 (journal)
SHELTER = 0.3  # [1] of the wind either way: no published ratios of bowls, prior .2 to .5 (from memory)
PRICE = 0.25  # [1] either way; ours


def variants(jobs: Sequence[Job], chosen: opt.Option, grid: opt.Grid) -> list[tuple[str, xr.Dataset]]:
    """The chosen option in the coldest winters as it is, and with each thing changed: what changed, its answers.

    Parameters
    ----------
    jobs : sequence of Job
        Of one climate.
    chosen : Option
    grid : Grid
        The chosen option's.
    """
    bare = chosen.policy.kind == opt.NOTHING
    policies = () if bare else (chosen.policy,)
    alone = opt.Grid((grid.designs[chosen.design],), policies, (chosen.cover,), grid.only)
    coldest = sorted(jobs, key=lambda job: job.climate.winters[0].lowest)[:WINTERS]
    parts: dict[str, list[xr.Dataset]] = {}
    site = None
    for job in coldest:
        one = replace(job, grid=alone)
        site, block = winter_run.site_and_forcing(one)
        first = start.states(site.venue, site.patches, 1, job.climate.weather["time"].values[0])
        for name, moved_block, moved_first in (
            ("as it is", block, first),
            ("drier ground", block, _wetter(first, -MOISTURE)),
            ("wetter ground", block, _wetter(first, MOISTURE)),
            ("less wind", _windier(block, 1.0 - SHELTER), first),
            ("more wind", _windier(block, 1.0 + SHELTER), first),
        ):
            parts.setdefault(name, []).append(winter_run.outcomes(one, site, moved_block, moved_first))
    assert site is not None
    return [(name, answers.answers(site, alone, told).isel(option=[-1])) for name, told in parts.items()]


def dearer(site: Reduced, grid: opt.Grid, winters: Sequence[xr.Dataset], factor: float) -> xr.Dataset | None:
    """Answers of all options where fuel and current cost `factor` of their prices; None where no price is known."""
    prices = site.venue.prices
    if prices is None or prices.energy is None:
        return None
    moved = {
        name: None if (known := getattr(prices, name)) is None else factor * known
        for name in ("energy", "electricity", "demand")
    }
    venue = site.venue.model_copy(update={"prices": prices.model_copy(update=moved)})
    return answers.answers(replace(site, venue=venue), grid, winters)


def _wetter(first: xr.Dataset, change: float) -> xr.Dataset:
    """The first state with other water in layers that hold some."""
    water = first["water_content"]
    moved = np.clip(water + change, 0.02, 0.40)
    return first.assign(water_content=water.where(water < 0.08, moved).assign_attrs(water.attrs))


def _windier(block: xr.Dataset, factor: float) -> xr.Dataset:
    return block.assign(
        {name: (block[name] * factor).assign_attrs(block[name].attrs) for name in ("wind_speed", "wind_speed_of_gust")}
    )
