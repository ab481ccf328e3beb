"""Invented bowls and nights for checks: a 25 m bowl, half its stand plan planks, a clear night of 13 h."""

from types import SimpleNamespace

import numpy as np
import xarray as xr

from microclimate import schema
from microclimate.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS
from microclimate.exposure import air, stands
from microclimate.physics import vapour

STAND_PLAN, FLOOR = 20000.0, 11000.0  # [m2]
BOX = air.Box(volume=475e3, top=25650.0, height=25.0, gap_width=0.0, gap_area=np.zeros(72))
FLUSHED = air.Air(top=50.0, calm=50.0)  # the box follows the air outside


def surfaces(emissivity: float = 0.9, share: float = 0.5, slab: float = 0.15, floor: float = FLOOR) -> stands.Surfaces:
    """Planks (`share` of the stand plan, of one emissivity), concrete of a thickness [m], and the grass floor."""
    plan = max(share, 1e-9) * STAND_PLAN
    area = np.array([2.0 * plan, (1.0 - 0.6 * share) * 1.3 * STAND_PLAN, floor])
    sky = np.array([0.36, 0.55, 0.86])
    seen = np.array([[0.05, 0.55, 0.04], [0.25, 0.15, 0.05], [0.05, 0.09, 0.0]])
    seen *= ((1.0 - sky) / seen.sum(axis=1))[:, None]
    plank = SimpleNamespace(thermal="plank", heat_capacity=9700.0, thickness=0.004, conductivity=100.0)
    concrete = SimpleNamespace(thermal="slab", heat_capacity=2e6 * slab, thickness=slab, conductivity=1.6)
    return stands.assemble(
        ["planks", "concrete", "floor"],
        area,
        np.array([plan, STAND_PLAN, floor]),
        np.array([emissivity, 0.94, 0.97]),
        [plank, concrete, None],
        seen,
        sky,
        np.zeros(3),
        np.zeros(3),
        deck=np.zeros(3),
    )


def night(
    wind,
    step: float = 300.0,
    hours: float = 13.0,
    sky: float = 0.72,
    inversion: float = 2.0,
    first: float = 281.15,
    last: float = 273.15,
    dew_point: float = 270.15,
    sun: float = 0.0,
    floor_share: float = 0.24,
) -> air.Outside:
    """Clear night, air from `first` to `last` [K]; one realization a wind [m s-1]; `sun` [W m-2] on all."""
    count = round(hours * 3600.0 / step)
    time = (np.arange(count) + 0.5) * step
    speed = np.repeat(np.atleast_1d(np.asarray(wind, float))[:, None], count, axis=1)
    fall = (1.0 - np.exp(-time / 14400.0)) / (1.0 - np.exp(-hours / 4.0))
    outside = np.tile(first + (last - first) * fall, (len(speed), 1))
    pressure = np.full_like(outside, 1e5)
    humidity = vapour.specific_humidity(vapour.saturation_pressure_water(np.full_like(outside, dew_point)), pressure)
    down = sky * STEFAN_BOLTZMANN * outside**4
    over = air.rim_excess(speed, STEFAN_BOLTZMANN * outside**4 - down, time + 0.0 * outside)
    nothing = np.zeros_like(outside)
    return air.Outside(
        temperature=outside,
        rim_excess=over * inversion / air.Air().inversion,
        humidity=humidity,
        pressure=pressure,
        wind=speed,
        floor_wind=np.maximum(floor_share * 0.767 * speed, 0.2),
        gap_area=nothing,
        sky=down,
        low_sky=nothing,
        absorbed=np.full((len(speed), 3, count), sun),
        field_heat=nothing,
        field_vapour=nothing,
    )


def excess(inside: air.Inside, outside: air.Outside) -> np.ndarray:
    """Bowl air less air outside at the end [K]."""
    return inside.temperature[:, -1] - outside.temperature[:, -1]


def clear_night(wind: float, emissivity: float = 0.72, members: int = 1) -> xr.Dataset:
    """Weather of 20 h from the afternoon of 15 January: 8 to 0 degC, dew point -3 degC, steady west wind, no sun."""
    hours = np.arange(21.0)
    outside = ZERO_CELSIUS + 8.0 * np.exp(-hours / 4.0) - 0.05 * hours
    values = dict.fromkeys(schema.WEATHER, 0.0 * hours) | {
        "air_temperature": outside,
        "dew_point_temperature": 270.15 + 0.0 * hours,
        "wind_speed": wind + 0.0 * hours,
        "wind_speed_of_gust": 1.5 * wind + 0.0 * hours,
        "wind_from_direction": 270.0 + 0.0 * hours,
        "surface_air_pressure": 99000.0 + 0.0 * hours,
        "surface_downwelling_longwave_flux_in_air": emissivity * STEFAN_BOLTZMANN * outside**4,
    }
    series = xr.Dataset(
        {name: (("realization", "time"), np.tile(value, (members, 1))) for name, value in values.items()},
        coords={
            "time": np.datetime64("2025-01-15T21:00", "ns") + hours.astype("timedelta64[h]"),
            "realization": np.arange(members),
        },
        attrs={"wind_height": 10.0, "temperature_height": 2.0, "source": "made up", "issued": "", "assumed": ""},
    )
    return schema.seal(series, schema.WEATHER, "Weather")
