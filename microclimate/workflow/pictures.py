"""What the figures show: curves of the zones, the forecast, the map of cells and the section of the coldest patch."""

import numpy as np
import xarray as xr

from microclimate.exposure import force
from microclimate.physics.turbulence import wind_at_height
from microclimate.risk.outlook import QUANTILES
from microclimate.schema import Event
from microclimate.simulate import run
from microclimate.venue.load import Venue

AT_ONCE = 512  # cells run at a time
SECTION_DEPTH = 0.5  # [m] to which the section of the ground is drawn


def curves(traces: xr.Dataset) -> xr.Dataset:
    """Canopy temperature of each zone's coldest patch (zone, quantile, time), quantiles over realizations."""
    canopy = traces["canopy_temperature"].isel(plan=0).transpose("realization", "patch", "time").values
    index = traces["zone_index"].values.astype(int)
    zones = np.unique(index)
    rows = [np.quantile(canopy[:, index == z].min(axis=1), QUANTILES, axis=0) for z in zones]
    names = [str(traces["zone"].values[np.flatnonzero(index == z)[0]]) for z in zones]
    return xr.Dataset(
        {"canopy_temperature": (("zone", "quantile", "time"), np.stack(rows))},
        coords={"zone": names, "quantile": list(QUANTILES), "time": traces["time"].values},
    )


def sky(weather: xr.Dataset, roughness: float) -> xr.Dataset:
    """The forecast on open ground (quantile, time), wind brought to 10 m."""
    factor = float(wind_at_height(1.0, float(weather.attrs["wind_height"]), 10.0, roughness))
    scale = {"air_temperature": 1.0, "wind_speed": factor, "wind_speed_of_gust": factor}
    return xr.Dataset(
        {
            name: (("quantile", "time"), np.nanquantile(weather[name].values * times, QUANTILES, axis=0))
            for name, times in scale.items()
        },
        coords={"quantile": list(QUANTILES), "time": weather["time"].values},
    )


def middle(outcome: xr.Dataset) -> int:
    """The realization nearest the middle in the first window.

    By rank of the field's lowest canopy, of its median patch, and of the root zone at 50 mm under its coldest patch; of
    the three the one that is furthest off counts. By the lowest leaf alone the map could show a colder field, or the
    section a ground frozen through, where most realizations have neither.
    """
    night = outcome.isel(plan=0, event=0)
    canopy = night["canopy_temperature_min"].transpose("realization", "patch").values
    known = np.isfinite(canopy).all(axis=1)
    if not known.any():
        return 0
    patch = int(np.argmin(np.median(canopy[known], axis=0)))
    soil = night["soil_temperature_min"].isel(patch=patch).sel(depth=0.05, method="nearest").values
    off = np.full(known.size, np.inf)
    measures = canopy[known].min(axis=1), np.median(canopy[known], axis=1), soil[known]
    ranks = np.stack([np.argsort(np.argsort(values, kind="stable")) for values in measures])
    away = np.abs(ranks - (int(known.sum()) - 1) // 2)
    off[known] = away.max(axis=0) + 1e-3 * away[0]
    return int(np.argmin(off))


def states(
    forcing: force.Forcing, initial: xr.Dataset, plan: xr.Dataset, spans: tuple[Event, ...], chosen: int
) -> xr.Dataset:
    """States of all patches in one realization, every step."""
    one = forcing.again(forcing.weather.isel(realization=[chosen]))
    told = run.outcome(forcing.venue, one, initial.isel(realization=[chosen]), plan, spans, states=[(0, 0)])[1]
    assert told is not None
    return told


def section(told: xr.Dataset, zone: str) -> xr.Dataset:
    """Root zone under the coldest patch of a zone through time: temperature and ice (depth, time)."""
    of_zone = np.flatnonzero(told["zone"].values == zone)
    canopy = told["canopy_temperature"].isel(plan=0, realization=0, patch=of_zone).min("time").values
    patch = int(of_zone[np.argmin(canopy)])
    one = told.isel(plan=0, realization=0, patch=patch)
    depth = one["depth"].values
    shown = np.flatnonzero(depth <= SECTION_DEPTH)
    return xr.Dataset(
        {
            name: (("depth", "time"), one[name].transpose("layer", "time").values[shown])
            for name in ("soil_temperature", "frozen_fraction")
        },
        coords={"depth": depth[shown], "time": one["time"].values},
        attrs={"zone": zone},
    )


def cells(forcing: force.Forcing, initial: xr.Dataset, plan: xr.Dataset, night: Event, chosen: int) -> xr.Dataset:
    """Lowest canopy of every cell in the night, one realization: the map."""
    venue, joined, weather = forcing.venue, forcing.patches, forcing.weather
    end = int(np.searchsorted(weather["time"].values, np.datetime64(night.end, "ns"))) + 1
    one = weather.isel(realization=[chosen], time=slice(0, end))
    each = _each_cell(venue, joined)
    first = initial.isel(realization=[chosen], patch=joined["cell_patch"].values).assign_coords(
        {name: ("patch", each[name].values) for name in ("zone", "zone_index")}
    )
    forced = force.forcing(venue, one, forcing.bowl, each)
    lowest = []
    for block in forced:  # one, of one realization: cut into parts of the field, so that the map takes little memory
        for begin in range(0, block.sizes["patch"], AT_ONCE):
            part = {"patch": slice(begin, begin + AT_ONCE)}
            outcome, _ = run.outcome(venue, [block.isel(part)], first.isel(part), plan, (night,))
            lowest.append(outcome["canopy_temperature_min"].values.ravel())
    field = venue.field
    return xr.Dataset(
        {
            "canopy_temperature_min": ("cell", np.concatenate(lowest)),
            "x": ("cell", joined["cell_x"].values),
            "y": ("cell", joined["cell_y"].values),
        },
        attrs={"cell_size": field.cell_size, "length": field.length, "width": field.width, "bearing": field.bearing},
    )


def _each_cell(venue: Venue, joined: xr.Dataset) -> xr.Dataset:
    """Every cell as a patch of its own."""
    count = joined.sizes["cell"]
    index = joined["cell_zone"].values.astype(int)
    return xr.Dataset(
        {"cell_patch": ("cell", np.arange(count))},
        coords={
            "zone": ("patch", np.array([venue.field.zones[i].name for i in index])),
            "zone_index": ("patch", index),
            "part": ("patch", np.full(count, "cell")),
            "area": ("patch", joined["cell_area"].values),
            "x": ("patch", joined["cell_x"].values),
            "y": ("patch", joined["cell_y"].values),
            "sky_view_factor": ("patch", joined["cell_sky_view_factor"].values),
        },
    )
