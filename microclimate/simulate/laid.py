"""Forcing, plans and windows as the kernel reads them: plain arrays along the steps of a block."""

from collections.abc import Sequence

import numpy as np
import xarray as xr
from numpy.typing import DTypeLike, NDArray

from microclimate.column import rows
from microclimate.constants import ZERO_CELSIUS
from microclimate.physics import vapour
from microclimate.schema import FORCING, Event
from microclimate.simulate import tell
from microclimate.simulate.columns import HEAT_OF_AIR
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

LONGEST_STEP = 600.0  # [s] longer steps of the forcing are cut (10 min against 1 min: tested)


def parts(time: tell.Time) -> int:
    """Shorter steps that each step is cut into."""
    return int(np.ceil(time.lengths.max() / LONGEST_STEP - 1e-9))


def times(block: xr.Dataset) -> tell.Time:
    ends = block["time"].values.astype("datetime64[ns]")
    if "time_bnds" in block:
        bounds = block["time_bnds"].values
        lengths = (bounds[:, 1] - bounds[:, 0]).astype("timedelta64[ns]").astype(float) / 1e9
    else:
        gaps = np.diff(ends).astype("timedelta64[ns]").astype(float) / 1e9
        lengths = np.concatenate((gaps[:1], gaps))
    return tell.Time(ends, lengths)


def steps_before_gap(block: xr.Dataset) -> NDArray[np.int64]:
    """Steps before the first missing value, one for each (realization, patch)."""
    whole = np.logical_and.reduce(
        [np.isfinite(block[name].variable.transpose("realization", "patch", "time").values) for name in FORCING]
    )
    steps = np.where(whole.all(axis=-1), whole.shape[-1], np.argmin(whole, axis=-1))
    return np.asarray(steps.ravel(), dtype=np.int64)


def forced(
    venue: Venue, block: xr.Dataset, initial: xr.Dataset, zone_index: NDArray[np.int64], kind: DTypeLike = float
) -> NDArray[np.floating]:
    """The kernel's forcing, (time, rows.FORCED, pair)."""
    realizations, patches, steps = block.sizes["realization"], block.sizes["patch"], block.sizes["time"]

    def get(name: str) -> Array:
        return np.asarray(block[name].variable.transpose("time", "realization", "patch").values, dtype=float)

    below = np.empty((steps, realizations, patches))
    under = get("under_tray_air_temperature") - ZERO_CELSIUS
    deepest = initial["soil_temperature"].isel(layer=-1).transpose("realization", "patch").values - ZERO_CELSIUS
    for patch, index in enumerate(zone_index):
        base = venue.field.zones[index].base
        if base.air_temperature is not None and base.air_flow is None:
            below[:, :, patch] = base.air_temperature - ZERO_CELSIUS
        elif base.over_air:
            below[:, :, patch] = under[:, :, patch]
        elif base.deep_temperature is not None:
            below[:, :, patch] = base.deep_temperature - ZERO_CELSIUS
        else:
            below[:, :, patch] = deepest[:, patch]
    air, humidity, pressure = get("air_temperature"), get("specific_humidity"), get("surface_air_pressure")
    snowfall = get("snowfall_flux")
    found = np.empty((steps, rows.FORCED, realizations, patches), dtype=kind)
    for row, values in (
        (rows.AIR, air - ZERO_CELSIUS),
        (rows.HUMIDITY, humidity),
        (rows.WIND, get("wind_speed")),
        (rows.DENSITY, vapour.air_density(air, humidity, pressure)),
        (rows.PRESSURE, pressure),
        (rows.RAIN, np.maximum(get("precipitation_flux") - snowfall, 0.0)),
        (rows.SNOWFALL, snowfall),
        (rows.SUN, get("shortwave_sun_down") + get("shortwave_sky_down") + get("shortwave_stands_down")),
        (rows.LONGWAVE, get("longwave_sky_down") + get("longwave_stands_down")),
        (rows.BELOW, below),
    ):
        found[:, row - rows.AIR] = values
    return found.reshape(steps, rows.FORCED, realizations * patches)


def planned(
    venue: Venue, plan: xr.Dataset | None, time: tell.Time, kind: DTypeLike
) -> tuple[NDArray[np.floating], NDArray[np.bool_]]:
    """The kernel's plans, (time, rows.PLANNED, plan and zone), and at which steps any of them changes."""
    zones = [zone.name for zone in venue.field.zones]
    first = np.arange(time.ends.size) == 0
    if plan is None:
        return np.zeros((time.ends.size, rows.PLANNED, len(zones)), dtype=kind), first
    held = plan["time"].values.astype("datetime64[ns]")
    interval = np.minimum(np.searchsorted(held, time.ends), held.size - 1)
    ordered = plan.sel(zone=zones)

    def get(name: str) -> Array:
        values = np.asarray(ordered[name].variable.transpose("time", "plan", "zone").values, dtype=float)
        return values.reshape(held.size, -1)

    cover, raised = get("cover"), get("cover_raised")
    found = np.empty((held.size, rows.PLANNED, plan.sizes["plan"] * len(zones)))
    for row, values in (
        (rows.COVERED, np.where(cover > 0.5, 1.0 + 2.0 * (np.round(cover) - 1.0) + (raised > 0.5), 0.0)),
        (rows.WARM_FLOW, HEAT_OF_AIR * get("warm_air_flow")),
        (rows.WARM_AIR, get("warm_air_temperature") - ZERO_CELSIUS),
        (rows.HEATING_ALLOWED, get("heating_allowed")),
        (rows.SET_POINT, get("set_point") - ZERO_CELSIUS),
        (rows.SUPPLY, get("supply_temperature") - ZERO_CELSIUS),
        (rows.SKIRTS, get("skirts_closed")),
        (rows.SNOW_REMOVED, get("snow_removed")),
    ):
        found[:, row - rows.COVERED] = values
    differs = np.concatenate(([False], (found[1:] != found[:-1]).any(axis=(1, 2))))
    differs = np.cumsum(differs)[interval]
    return found.astype(kind)[interval], first | (np.diff(differs, prepend=differs[0]) > 0)


def inside(windows: Sequence[Event], time: tell.Time) -> NDArray[np.bool_]:
    """Whether a step ends inside a window, (window, time)."""
    found = [(time.ends > np.datetime64(w.start, "ns")) & (time.ends <= np.datetime64(w.end, "ns")) for w in windows]
    return np.array(found, dtype=bool).reshape(len(windows), time.ends.size)
