"""From patches to zones: the worst patch where harm is told, the area's mean where growth is."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.schema import STATE_WORDS, SurfaceState

Array = NDArray[np.float64]

SUMS = (
    "sunlit_hours",
    "energy_sun",
    "energy_sky",
    "energy_stands",
    "light_integral",
    "degree_days",
    "reference_evaporation",
    "heating_energy",
    "hours_frost",
    "hours_outside",
    "hours_shoot_cold",
    "hours_root_cold",
    "hours_shoot_hot",
    "hours_root_hot",
    "hours_root_trouble",
    "hours_wet",
    "hours_mould",
    "hours_snow",
)
FROZEN = [int(s) for s in (SurfaceState.CRUST, SurfaceState.FROZEN_LAYER, SurfaceState.THAWED_OVER_FROZEN)]
WORST = tuple(name for name in SUMS if name.startswith("hours_"))


def by_day(days: xr.Dataset) -> xr.Dataset:
    """Each zone's days (zone, day, ...): its lowest patch for lowest values, its highest for highest, its worst for
    hours in harm's way, else its area's mean."""
    found = {}
    for name in days.data_vars:
        key = str(name)
        values = days[name].transpose("patch", ...).values
        how = "min" if key.endswith("_min") else "max" if key.endswith("_max") or key in WORST else "mean"
        dims = ("zone", *(d for d in days[name].dims if d != "patch"))
        ordered = days[name].transpose("patch", *dims[1:]).values if dims[1:] else values
        found[key] = (dims, _folded(ordered, days, how))
    hours = days["hours_in_state"].transpose("patch", "day", "state").values
    for name, states in (("hours_frozen", FROZEN), ("hours_thawed_over_frozen", FROZEN[2:])):
        found[name] = (("zone", "day"), _folded(hours[..., states].sum(axis=-1), days, "max"))
    return xr.Dataset(found, coords={"zone": names(days), "day": days["day"], "depth": days["depth"]})


def over_span(days: xr.Dataset) -> xr.Dataset:
    """Each zone's whole span (zone,).

    Returns
    -------
    Dataset
        Lowest, mean and highest of canopy and root zone [K] (`canopy_lowest`, `canopy_mean`, `canopy_highest`,
        `root_lowest` at 25 mm, `root_mean` and `root_highest` at 100 mm); hours in harm's way of the worst patch [h],
        `hours_thawed_over_frozen` and `hours_frozen` [h] with them; `snow_run` [d] longest spell of snow; means of the
        day for light and growth; sums of degree days and evaporation; `night_canopy` mean of the days' lowest [K];
        `lt50`, `lt50_low`, `hardening_index` on the last day; `margin` [K] least distance of crown and LT50.
    """

    def of(name: str, depth: int | None = None) -> Array:
        one = days[name] if depth is None else days[name].isel(depth=depth)
        return np.asarray(one.transpose("patch", "day", ...).values)

    hours = of("hours_in_state")
    snow = of("hours_snow") >= 12.0
    patch = {
        "canopy_lowest": (of("canopy_temperature_min").min(axis=1), "min"),
        "night_canopy": (of("canopy_temperature_min").mean(axis=1), "mean"),
        "canopy_mean": (of("canopy_temperature").mean(axis=1), "mean"),
        "canopy_highest": (of("canopy_temperature_max").max(axis=1), "max"),
        "root_lowest": (of("soil_temperature_min", depth=0).min(axis=1), "min"),
        "root_mean": (of("soil_temperature", depth=2).mean(axis=1), "mean"),
        "root_highest": (of("soil_temperature_max", depth=2).max(axis=1), "max"),
        **{name: (of(name).sum(axis=1), "max") for name in WORST},
        "hours_thawed_over_frozen": (hours[..., int(SurfaceState.THAWED_OVER_FROZEN)].sum(axis=1), "max"),
        "hours_frozen": (hours[..., FROZEN].sum(axis=(1, 2)), "max"),
        "snow_run": (np.array([_longest(row) for row in snow]), "max"),
        "wet_a_day": (of("hours_wet").mean(axis=1), "mean"),
        "light_integral": (of("light_integral").mean(axis=1), "mean"),
        "growth_index": (of("growth_index").mean(axis=1), "mean"),
        "degree_days": (of("degree_days").sum(axis=1), "mean"),
        "reference_evaporation": (of("reference_evaporation").sum(axis=1), "mean"),
        "heating_energy": (of("heating_energy").sum(axis=1), "mean"),
        "lt50": (of("lt50")[:, -1], "max"),
        "lt50_low": (of("lt50_low")[:, -1], "min"),
        "hardening_index": (of("hardening_index")[:, -1], "min"),
        "margin": ((of("crown_temperature_min") - of("lt50")).min(axis=1), "min"),
    }
    found = {name: ("zone", _folded(values, days, how)) for name, (values, how) in patch.items()}
    return xr.Dataset(found, coords={"zone": names(days)})


def names(days: xr.Dataset) -> list[str]:
    """Zones in the venue's order."""
    index = days["zone_index"].values.astype(int)
    return [str(days["zone"].values[np.flatnonzero(index == k)[0]]) for k in np.unique(index)]


def painted(patch: Array, joined: xr.Dataset) -> Array:
    """Values of patches laid on their cells (cell,)."""
    return np.asarray(patch[joined["cell_patch"].values.astype(int)])


def _folded(values: Array, days: xr.Dataset, how: str) -> Array:
    """Patches (patch, ...) to zones (zone, ...)."""
    index, area = days["zone_index"].values.astype(int), days["area"].values
    rows = []
    for zone in np.unique(index):
        own = index == zone
        if how == "mean":
            rows.append(np.average(values[own], axis=0, weights=area[own]))
        else:
            rows.append(getattr(values[own], how)(axis=0))
    return np.stack(rows)


def _longest(days: NDArray[np.bool_]) -> float:
    """Longest unbroken run of days."""
    best = run = 0
    for here in days:
        run = run + 1 if here else 0
        best = max(best, run)
    return float(best)


def state_hours(days: xr.Dataset) -> xr.DataArray:
    """Hours of each surface state over the span (zone, state), worst patch."""
    hours = days["hours_in_state"].transpose("patch", "day", "state").values.sum(axis=1)
    states = [STATE_WORDS[state] for state in SurfaceState]
    return xr.DataArray(
        _folded(hours, days, "max"), coords={"zone": names(days), "state": states}, dims=("zone", "state")
    )


def ranked(draws: xr.Dataset, days: xr.Dataset) -> xr.Dataset:
    """Zones by the canopy of their nights, the coldest first, with what is not known of the bowl.

    Parameters
    ----------
    draws : Dataset (draw, patch)
        `night_canopy`, `canopy_mean`, `root_mean` [K].
    days : Dataset
        For the patches' zones and areas.

    Returns
    -------
    Dataset (zone)
        `rank`, `rank_low`, `rank_high`: 1 is the coldest, in the middle and over the draws; and (draw, zone) the three
        temperatures as area means.
    """
    folded = {
        n: _folded(draws[n].transpose("patch", "draw").values, days, "mean")
        for n in ("night_canopy", "canopy_mean", "root_mean")
    }
    order = np.argsort(np.argsort(folded["night_canopy"], axis=0), axis=0) + 1
    middle = np.argsort(np.argsort(np.median(folded["night_canopy"], axis=1))) + 1
    return xr.Dataset(
        {
            "rank": ("zone", middle),
            "rank_low": ("zone", order.min(axis=1)),
            "rank_high": ("zone", order.max(axis=1)),
            **{name: (("zone", "draw"), values) for name, values in folded.items()},
        },
        coords={"zone": names(days)},
        attrs=draws.attrs,
    )
