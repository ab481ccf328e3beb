"""What the winters come to, option by option: chances, nights lost, heat, money; frontier and smallest system."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.schema import SIZING_VARIABLES, SurfaceState, seal
from microclimate.sizing import options as opt
from microclimate.sizing.money import bill
from microclimate.sizing.reduced import Reduced

Array = NDArray[np.float64]

OUTSIDE, FROZEN = SurfaceState.WHITE_FROST, SurfaceState.CRUST
LIMITS = ("canopy", "root zone", "surface")
QUANTILE = 0.10  # of event windows below which the margin is not told; ours
Z80 = 1.2815515594  # normal quantile of a two-sided 80 % range


def answers(site: Reduced, grid: opt.Grid, winters: Sequence[xr.Dataset]) -> xr.Dataset:
    """What each option comes to over the winters of one climate.

    Parameters
    ----------
    site : Reduced
    grid : Grid
    winters : sequence of Dataset
        Of `winter_run.run`, one for each winter.

    Returns
    -------
    Dataset
        Sealed by `schema.SIZING_VARIABLES`; coordinates of the option: `power` [W m-2] installed, `depth`, `pitch` [m],
        `supply` [K] (NaN: the venue's own), `policy`, `lead` [h], `cover` (its name), `label`.
    """
    limits = site.venue.limits
    bills = [bill(site, grid, one) for one in winters]
    names = ["event_canopy", "event_soil", "event_state", "night_canopy", "night_soil", "night_state"]
    parts: dict[str, Array] = {n: np.stack([one[n].values for one in winters], axis=1).astype(float) for n in names}
    canopy, soil = parts["event_canopy"] - limits.canopy_min, parts["event_soil"] - limits.rootzone_min
    above = np.minimum(canopy, soil)
    known = np.isfinite(above).all(axis=2)  # (option, winter, event, shift)
    inside = (above >= 0.0) & (parts["event_state"] < OUTSIDE)  # (option, winter, group, event, shift)
    held, by_event = inside.all(axis=2), known.sum(axis=(1, 3))
    count = known.sum(axis=(1, 2, 3))
    share = _share(held & known, (1, 2, 3), count)
    low, high = wilson(share, count)
    dark = np.minimum(parts["night_canopy"] - limits.canopy_min, parts["night_soil"] - limits.rootzone_min)
    lost = ((dark < 0.0) | (parts["night_state"] >= OUTSIDE)).any(axis=2)
    area = np.array([site.area[str(name)] for name in winters[0]["group"].values])
    heated = np.array([str(name) in site.heated for name in winters[0]["group"].values])
    energy = np.stack([one["energy"].values for one in winters], axis=1).astype(float)  # (option, winter, group, night)
    power = np.stack([one["power"].values for one in winters], axis=1).astype(float)
    per_area = np.einsum("owgn,g->own", energy[:, :, heated], area[heated]) / area[heated].sum()
    highest = np.einsum("owgn,g->own", power[:, :, heated], area[heated]) / area[heated].sum()
    hours = np.stack([one["heated"].values.sum(axis=2).max(axis=1) for one in winters], axis=1)
    seconds = 86400.0 * energy.shape[-1]
    groups = range(area.size)
    unfrozen = (parts["event_state"] < FROZEN).all(axis=2)
    told: dict[str, tuple[tuple[str, ...], Array]] = {
        "held": (("option",), share),
        "held_low": (("option",), low),
        "held_high": (("option",), high),
        "unfrozen": (("option",), _share(unfrozen & known, (1, 2, 3), count)),
        "margin": (("option",), _margin(above, known)),
        "held_by_event": (("option", "event"), _share(held & known, (1, 3), by_event)),
        "held_by_group": (
            ("option", "group"),
            np.stack([_share(inside[:, :, g] & known, (1, 2, 3), count) for g in groups], axis=1),
        ),
        "held_by_limit": (
            ("option", "limit"),
            np.stack(
                [
                    _share(one.all(axis=2) & known, (1, 2, 3), count)
                    for one in (canopy >= 0.0, soil >= 0.0, parts["event_state"] < OUTSIDE)
                ],
                axis=1,
            ),
        ),
        "nights_lost": (("option", "winter"), lost.sum(axis=2)),
        "nights_frozen": (("option", "winter"), (parts["night_state"] >= FROZEN).any(axis=2).sum(axis=2)),
        "run_hours": (("option", "winter"), hours),
        "heat": (("option", "winter"), np.einsum("owgn,g->ow", energy, area)),
        "heat_per_area": (("option", "winter"), per_area.sum(axis=2)),
        "power_mean": (("option", "winter"), per_area.sum(axis=2) / seconds),
        "power_max": (("option", "winter"), highest.max(axis=2)),
        "fuel": (("option", "winter"), np.stack([one.fuel for one in bills], axis=1)),
        "cost": (("option", "winter"), np.stack([one.cost for one in bills], axis=1)),
        "co2": (("option", "winter"), np.stack([one.co2 for one in bills], axis=1)),
        "laid": (("option", "winter"), np.stack([one["laid"].values for one in winters], axis=1)),
        "current": (("option", "winter"), np.stack([one.current for one in bills], axis=1)),
    }
    single = {name: (dims, np.asarray(values, dtype=float)) for name, (dims, values) in told.items()}
    coords = {
        "winter": [str(one.attrs["winter"]) for one in winters],
        "group": winters[0]["group"].values,
        "event": winters[0]["event"].values,
        "limit": list(LIMITS),
        "group_area": ("group", area),
        **_labels(site, grid),
    }
    return seal(xr.Dataset(single, coords=coords), SIZING_VARIABLES, "sizing")


def _share(hits: Any, axes: tuple[int, ...], count: NDArray[np.int64]) -> Array:
    return np.where(count > 0, hits.sum(axis=axes) / np.maximum(count, 1), np.nan)


def wilson(share: Array, count: NDArray[np.int64]) -> tuple[Array, Array]:
    """80 % range of a share seen in `count` trials (Wilson 1927, J. Am. Stat. Assoc. 22:209).

    Trials of one winter hang together, so the true range is wider.
    """
    n = np.maximum(count, 1).astype(float)
    middle = (share + Z80**2 / (2.0 * n)) / (1.0 + Z80**2 / n)
    half = Z80 / (1.0 + Z80**2 / n) * np.sqrt(share * (1.0 - share) / n + Z80**2 / (4.0 * n * n))
    # held round the share: at 0 and 1 rounding would leave dust
    return np.clip(middle - half, 0.0, share), np.clip(middle + half, share, 1.0)


def _margin(above: Array, known: Any) -> Array:
    """What nine of ten event windows keep above their limit in the worst group [K]; negative: they lack it."""
    lowest = np.where(known, above.min(axis=2), np.nan).reshape(above.shape[0], -1)
    if not known.any():
        return np.full(above.shape[0], np.nan)
    return np.asarray(np.nanquantile(lowest, QUANTILE, axis=1))


def _labels(site: Reduced, grid: opt.Grid) -> dict[str, tuple[str, list[object]]]:
    covers = ["", *(cover.name for cover in site.venue.equipment.covers)]
    rows = []
    for option in grid.options:
        bare = option.policy.kind == opt.NOTHING
        design = opt.Design(0.0) if bare else grid.designs[option.design]
        numbers = [np.nan if v is None else float(v) for v in (design.power, design.depth, design.pitch, design.supply)]
        rows.append((*numbers, option.policy.kind, option.policy.lead / 3600.0, covers[option.cover]))
    names = ("power", "depth", "pitch", "supply", "policy", "lead", "cover")
    return {name: ("option", [row[place] for row in rows]) for place, name in enumerate(names)}


def cost_of(told: xr.Dataset) -> tuple[Array, str]:
    """What an option costs in the mean winter: money where prices are known, else heat [J]; and which of the two."""
    money = told["cost"].mean("winter").values
    if np.isfinite(money).all():
        return money, "cost"
    return told["heat"].mean("winter").values, "heat"


def smallest(told: xr.Dataset, target: float, share: str = "held") -> int | None:
    """The option that holds the target with the least installed power, then the least cost, then no cover.

    `share` is what is to reach the target: "held", all limits, or "unfrozen", no crust or worse. None where no option
    of the grid holds it.
    """
    cost, _ = cost_of(told)
    held = np.nan_to_num(told[share].values, nan=0.0)
    inside = np.flatnonzero(held >= target - 1e-9)
    if not inside.size:
        return None
    keys = (-held[inside], told["cover"].values[inside] != "", np.round(cost[inside], 2), told["power"].values[inside])
    return int(inside[np.lexsort(keys)[0]])


def nearest(told: xr.Dataset) -> int:
    """The option with the highest share held; of those the least often frozen, then the cheapest."""
    cost, _ = cost_of(told)
    held, unfrozen = (np.nan_to_num(told[name].values, nan=0.0) for name in ("held", "unfrozen"))
    return int(np.lexsort((told["power"].values, np.round(cost, 2), -np.round(unfrozen, 2), -np.round(held, 6)))[0])


def frontier(told: xr.Dataset) -> NDArray[np.int64]:
    """Options that none other betters in both protection and cost, cheapest first."""
    cost, _ = cost_of(told)
    held = np.nan_to_num(told["held"].values, nan=0.0)
    order = np.lexsort((-held, cost))
    best, found = -np.inf, []
    for place in order:
        if held[place] > best + 1e-9:
            found.append(int(place))
            best = held[place]
    return np.array(found, dtype=np.int64)
