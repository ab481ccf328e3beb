"""A small invented venue, forcing and first states for tests: one zone or a few, weather as plain numbers."""

from collections.abc import Sequence
from datetime import datetime
from types import SimpleNamespace
from typing import Any

import numpy as np
import xarray as xr

from microclimate import schema
from microclimate.column import layers
from microclimate.physics import vapour
from microclimate.venue.calibration import Calibration
from microclimate.venue.equipment import Circuit, Cover, Equipment
from microclimate.venue.field import Turf, Zone
from microclimate.venue.ground import Ground
from microclimate.venue.limits import Limits

START = np.datetime64("2026-01-10T16:00", "ns")
OUTLINE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))


def zone(name: str = "A", turf: dict[str, Any] | None = None, **ground: Any) -> Zone:
    """A zone of one kind of build; `ground` as in [[ground]]."""
    built = Ground.model_validate({"build": "sand over gravel", "base": "on ground"} | ground)
    return Zone(
        name=name,
        polygon=OUTLINE,
        layers=built.profile,
        base=built.base,
        circuit=built.circuit,
        turf=Turf.model_validate({"surface": "mown turf"} | (turf or {})),
    )


def venue(*zones: Zone, covers: Sequence[dict[str, Any]] = (), circuits: Sequence[dict[str, Any]] = ()) -> Any:
    """Only what the simulation looks at."""
    return SimpleNamespace(
        field=SimpleNamespace(zones=zones or (zone(),)),
        equipment=Equipment(
            covers=tuple(Cover.model_validate(c) for c in covers),
            circuits=tuple(Circuit.model_validate(c) for c in circuits),
        ),
        limits=Limits.model_validate({}),
        calibration=Calibration.model_validate({}),
    )


def forcing(
    hours: float = 14.0,
    step: float = 300.0,
    patches: int = 1,
    realizations: int = 1,
    zone_index: Sequence[int] | None = None,
    **given: Any,
) -> xr.Dataset:
    """A clear, calm winter night unless told otherwise; values broadcast to (realization, patch, time)."""
    count = round(hours * 3600.0 / step)
    time = START + (np.arange(count) + 1) * np.timedelta64(round(step * 1e9), "ns")
    values: dict[str, Any] = {
        "air_temperature": 271.0,
        "dew_point": 269.0,
        "wind_speed": 1.0,
        "wind_speed_of_gust": 2.0,
        "surface_air_pressure": 1.0e5,
        "precipitation_flux": 0.0,
        "snowfall_flux": 0.0,
        "shortwave_sun_down": 0.0,
        "shortwave_sky_down": 0.0,
        "shortwave_stands_down": 0.0,
        "longwave_sky_down": 230.0,
        "longwave_stands_down": 0.0,
        "sunlit_fraction": 0.0,
        "under_tray_air_temperature": 271.0,
    } | given
    pressure = vapour.saturation_pressure_water(np.asarray(values.pop("dew_point"), dtype=float))
    values.setdefault(
        "specific_humidity", vapour.specific_humidity(pressure, np.asarray(values["surface_air_pressure"]))
    )
    dims, shape = ("realization", "patch", "time"), (realizations, patches, count)
    index = np.zeros(patches, dtype=int) if zone_index is None else np.asarray(zone_index)
    dataset = xr.Dataset(
        {name: (dims, np.broadcast_to(np.asarray(value, dtype=float), shape).copy()) for name, value in values.items()},
        coords={
            "time": time,
            "realization": np.arange(realizations),
            "zone": ("patch", [f"zone {i}" for i in index]),
            "zone_index": ("patch", index),
            "area": ("patch", np.full(patches, 100.0)),
        },
        attrs={"wind_height": 10.0, "temperature_height": 2.0},
    )
    return (
        schema.seal(dataset, {k: schema.FORCING[k] for k in schema.FORCING}, "forcing")
        if np.isfinite(dataset.to_array()).all()
        else dataset
    )


def initial(
    world: Any,
    patches: int = 1,
    realizations: int = 1,
    zone_index: Sequence[int] | None = None,
    count: int = layers.COUNT,
    **given: Any,
) -> xr.Dataset:
    """Ground at 4 degC all through, a dry leaf, unless told otherwise."""
    index = np.zeros(patches, dtype=int) if zone_index is None else np.asarray(zone_index)
    cuts = [layers.grid(world.field.zones[i].layers, count) for i in index]
    layered, plain = (realizations, patches, count), (realizations, patches)
    values: dict[str, Any] = {
        "soil_temperature": 277.15,
        "frozen_fraction": 0.0,
        "water_content": np.array([cut.water_content for cut in cuts]),
        "canopy_temperature": 275.15,
        "leaf_water": 0.0,
        "leaf_frost": 0.0,
        "snow_amount": 0.0,
        "snow_depth": 0.0,
    } | given
    data = {}
    for name, var in schema.INITIAL_VARIABLES.items():
        shape = layered if "layer" in var.dims else plain
        data[name] = (var.dims, np.broadcast_to(np.asarray(values[name], dtype=float), shape).copy())
    dataset = xr.Dataset(
        data,
        coords={
            "realization": np.arange(realizations),
            "depth": (("patch", "layer"), np.array([cut.depth for cut in cuts])),
            "thickness": (("patch", "layer"), np.array([cut.thickness for cut in cuts])),
        },
    )
    return schema.seal(dataset, schema.INITIAL_VARIABLES, "initial")


def plan(world: Any, names: Sequence[str] = ("nothing",), time: Any = None, **given: Any) -> xr.Dataset:
    """Nothing is done unless told otherwise; values broadcast to (plan, zone, time)."""
    ends = np.array([START + np.timedelta64(400, "D")]) if time is None else np.asarray(time)
    zones = [z.name for z in world.field.zones]
    values: dict[str, Any] = {
        "cover": 0.0,
        "cover_raised": 0.0,
        "warm_air_flow": 0.0,
        "warm_air_temperature": 293.15,
        "heating_allowed": 0.0,
        "set_point": 277.15,
        "supply_temperature": 308.15,
        "skirts_closed": 0.0,
        "snow_removed": 0.0,
    } | given
    shape = (len(names), len(zones), len(ends))
    data = {
        name: (("plan", "zone", "time"), np.broadcast_to(np.asarray(value, dtype=float), shape).copy())
        for name, value in values.items()
    }
    dataset = xr.Dataset(data, coords={"plan": list(names), "zone": zones, "time": ends})
    return schema.seal(dataset, schema.PLAN_VARIABLES, "plan")


def window(begin: float = 0.0, end: float = 14.0, name: str = "tonight") -> schema.Event:
    """Hours after START."""

    def at(hours: float) -> datetime:
        moment: datetime = (START + np.timedelta64(round(hours * 3600), "s")).astype("datetime64[us]").astype(datetime)
        return moment

    return schema.Event(name, at(begin), at(end))
