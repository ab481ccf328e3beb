"""What a forecast lacks, completed by published formulas and said so; sealed as Weather."""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import GAS_CONSTANT_DRY_AIR, GRAVITY, STANDARD_PRESSURE
from microclimate.errors import InputError, Problem, refuse
from microclimate.physics import rain, vapour
from microclimate.schema import WEATHER, Site, seal
from microclimate.weather import assumed, contradicted, sky
from microclimate.weather.names import RAW
from microclimate.weather.regular import regular

Floats = NDArray[np.float64]

WIND_HEIGHT = 10.0  # [m] WMO-No. 8, standard exposure; taken where the file says nothing
TEMPERATURE_HEIGHT = 2.0  # [m] likewise (1.25 to 2 m)
GUST_FACTOR = 1.66  # [1] gust of 3 s to mean of 10 min, open inland (WMO/TD-No. 1555, Table 1.1; from memory)
CLOUD_UNKNOWN = 0.5  # [1] where nothing tells (ours); members then draw the whole range
_SECOND = np.timedelta64(1, "s")
CALM = 0.1  # [m s-1] below it a vane says nothing
GLOBAL = "surface_downwelling_shortwave_flux_in_air"
DIRECT = "surface_direct_downwelling_shortwave_flux_in_air"
DIFFUSE = "surface_diffuse_downwelling_shortwave_flux_in_air"
LONGWAVE = "surface_downwelling_longwave_flux_in_air"


def weather(raw: xr.Dataset, site: Site) -> xr.Dataset:
    """A raw Dataset of `read.weather` as sealed Weather.

    Parameters
    ----------
    raw : Dataset
        (realization, time), at least air temperature and wind.
    site : Site
        Its `clear_sky` is the formula of the longwave where the file has none.

    Returns
    -------
    Dataset
        Sealed by `schema.WEATHER`, with `time_bnds`; `attrs["assumed"]` tells all that was added.

    Raises
    ------
    InputError
        No air temperature, no wind, or a clear-sky formula not known.
    """
    missing = [name for name in ("air_temperature", "wind_speed") if name not in raw]
    problems = [Problem(str(raw.attrs.get("source", "weather")), f"has no {name}", _asked(name)) for name in missing]
    clear_sky = site.clear_sky or sky.DEFAULT_CLEAR_SKY
    if clear_sky not in sky.CLEAR_SKIES:
        problems.append(Problem("clear-sky longwave", repr(clear_sky), "one of " + ", ".join(sky.CLEAR_SKIES)))
    if problems:
        raise InputError("weather", problems)
    data = regular(raw)
    have = {str(name): data[name].values for name in data.data_vars if name != "time_bnds"}
    codes: list[str] = []
    bounds = data["time_bnds"].values
    seconds = np.asarray((bounds[:, 1] - bounds[:, 0]) / np.timedelta64(1, "s"))
    sun = sky.sun(data["time"].values, seconds, site)
    if wrong := contradicted.problems(have, str(data.attrs.get("source", "weather"))):
        raise InputError("weather", wrong)
    _labels(have, data, sun, codes)
    temperature = have["air_temperature"]
    _humidity(have, data["time"].values, site, codes)
    _pressure(have, site, codes)
    _wind(have, codes)
    _light(have, sun, clear_sky, codes)
    dew = have["dew_point_temperature"]
    if LONGWAVE not in have:
        have[LONGWAVE] = sky.longwave_down(temperature, dew, have["cloud_area_fraction"], clear_sky)
        codes.append(f"longwave={clear_sky}")
    _precipitation(have, codes)
    for key, usual in (("wind_height", WIND_HEIGHT), ("temperature_height", TEMPERATURE_HEIGHT)):
        if key not in data.attrs:
            data.attrs[key] = usual
            codes.append(f"{key}={usual:g}")
    made = xr.Dataset(
        {name: (("realization", "time"), _even(have[name], temperature.shape)) for name in WEATHER},
        coords={"time": data["time"], "realization": np.arange(temperature.shape[0])},
        attrs=data.attrs,
    )
    made["time_bnds"] = data["time_bnds"]
    return seal(assumed.note(made, codes), WEATHER, "weather")


def _asked(name: str) -> str:
    return {"air_temperature": "a column 'air_temperature [degC]'", "wind_speed": "a column 'wind_speed [m/s]'"}[name]


def _labels(have: dict[str, Floats], data: xr.Dataset, sun: sky.Sun, codes: list[str]) -> None:
    """Sunshine in the dark: stamps that name the start of their interval are mended, others are refused."""
    if GLOBAL not in have:
        return
    lag = sky.lag(have[GLOBAL], sun, seconds=float((data["time"].values[1] - data["time"].values[0]) / _SECOND))
    if lag == 0:
        return
    step = (data["time"].values[1] - data["time"].values[0]) / np.timedelta64(1, "h")
    if lag != 1:
        where = str(data.attrs.get("source", "weather"))
        found = f"its sunshine fits the sun only when moved by {lag * step:+g} h"
        raise refuse(where, found, "stamps of the venue's place", "name the time zone of its stamps, or write offsets")
    for name in have:
        if data[name].attrs.get("cell_methods") == "time: mean":
            have[name] = np.concatenate([have[name][:, :1], have[name][:, :-1]], axis=1)
    codes.append("labels=start")


def _even(values: Floats, shape: tuple[int, ...]) -> Floats:
    return np.array(np.broadcast_to(values, shape))


def _humidity(have: dict[str, Floats], times: NDArray[np.datetime64], site: Site, codes: list[str]) -> None:
    temperature = have["air_temperature"]
    if "dew_point_temperature" not in have:
        if "relative_humidity" in have:
            share = np.clip(have["relative_humidity"], 0.01, 1.0)
            have["dew_point_temperature"] = vapour.dew_point(share * vapour.saturation_pressure_water(temperature))
            codes.append("dew_point=relative_humidity")
        else:
            # FAO-56, Eq. 48: without humidity the dew point is near the day's lowest temperature
            days = pd.DatetimeIndex(times, tz="UTC").tz_convert(ZoneInfo(site.time_zone or "UTC")).floor("D")
            lowest = pd.DataFrame(temperature.T).groupby(days.asi8).transform("min").to_numpy().T
            have["dew_point_temperature"] = lowest
            codes.append("dew_point=daily_minimum")
    dew = have["dew_point_temperature"]
    above = int((dew > temperature + 1e-6).sum())
    if above:
        codes.append(f"clipped=dew_point_temperature:{above}")
    have["dew_point_temperature"] = np.minimum(np.maximum(dew, RAW["dew_point_temperature"].low), temperature)


def _pressure(have: dict[str, Floats], site: Site, codes: list[str]) -> None:
    if "surface_air_pressure" in have:
        return
    temperature = have["air_temperature"]
    if "air_pressure_at_mean_sea_level" in have:
        # hydrostatic with the temperature of the place
        fall = np.exp(-GRAVITY * site.elevation / (GAS_CONSTANT_DRY_AIR * np.maximum(temperature, 200.0)))
        have["surface_air_pressure"] = have["air_pressure_at_mean_sea_level"] * fall
        codes.append("pressure=sea_level")
        return
    # ISO 2533: T0 = 288.15 K, lapse 6.5 K/km
    standard = STANDARD_PRESSURE * (1.0 - 0.0065 * site.elevation / 288.15) ** (
        GRAVITY / (GAS_CONSTANT_DRY_AIR * 0.0065)
    )
    have["surface_air_pressure"] = np.full_like(temperature, standard)
    codes.append("pressure=elevation")


def _wind(have: dict[str, Floats], codes: list[str]) -> None:
    wind = have["wind_speed"]
    if "wind_from_direction" not in have:
        have["wind_from_direction"] = np.full_like(wind, np.nan)
        codes.append("direction=unknown")
    else:
        have["wind_from_direction"], calm = _carried(have["wind_from_direction"], wind)
        if calm:
            codes.append(f"calm_direction={calm}")
    if "wind_speed_of_gust" not in have:
        have["wind_speed_of_gust"] = GUST_FACTOR * wind
        codes.append(f"gust={GUST_FACTOR:g}")
    else:
        # services give a gust only where there is one
        gust = have["wind_speed_of_gust"]
        have["wind_speed_of_gust"] = np.maximum(np.where(np.isnan(gust), GUST_FACTOR * wind, gust), wind)


def _carried(direction: Floats, wind: Floats) -> tuple[Floats, int]:
    """Direction with calm and unknown steps carrying the one before (or the first known)."""
    calm = (wind < CALM) | np.isnan(direction)
    if not calm.any():
        return direction, 0
    at = np.where(calm, 0, np.arange(direction.shape[-1]))
    last = np.maximum.accumulate(at, axis=-1)
    first = np.argmax(~calm, axis=-1)[:, None]
    last = np.where(np.take_along_axis(calm, last, axis=-1), first, last)
    held = np.take_along_axis(direction, last, axis=-1)
    return held, int(calm.sum())


def _light(have: dict[str, Floats], sun: sky.Sun, clear_sky: str, codes: list[str]) -> None:
    """Cloud and shortwave, each from the other where one is missing; direct and diffuse."""
    temperature = have["air_temperature"]
    if DIRECT not in have and "direct_normal_irradiance" in have:
        have[DIRECT] = np.where(sun.height > 0, have["direct_normal_irradiance"] * sun.height, 0.0)
    if GLOBAL not in have and DIRECT in have and DIFFUSE in have:
        have[GLOBAL] = have[DIRECT] + have[DIFFUSE]
        codes.append("shortwave=direct and diffuse")
    if "cloud_area_fraction" not in have:
        if LONGWAVE in have:
            have["cloud_area_fraction"] = sky.cloud_from_longwave(
                have[LONGWAVE], temperature, have["dew_point_temperature"], clear_sky
            )
            codes.append("cloud=longwave")
        elif GLOBAL in have and (sun.height > 0.15).any():
            have["cloud_area_fraction"] = np.array([sky.cloud_from_shortwave(row, sun) for row in have[GLOBAL]])
            codes.append("cloud=shortwave")
        else:
            have["cloud_area_fraction"] = np.full_like(temperature, CLOUD_UNKNOWN)
            codes.append("cloud=unknown")
    if GLOBAL not in have:
        have[GLOBAL] = sky.shortwave(have["cloud_area_fraction"], sun)
        codes.append("shortwave=cloud")
    total = have[GLOBAL] = np.where(sun.down, 0.0, have[GLOBAL])
    if DIFFUSE in have:
        have[DIFFUSE] = np.where(sun.down, 0.0, np.minimum(have[DIFFUSE], total))
        have[DIRECT] = total - have[DIFFUSE]
    elif DIRECT in have:
        have[DIRECT] = np.where(sun.down, 0.0, np.minimum(have[DIRECT], total))
        have[DIFFUSE] = total - have[DIRECT]
    else:
        have[DIRECT], have[DIFFUSE] = sky.split(total, sun)
        codes.append("split=erbs")


def _precipitation(have: dict[str, Floats], codes: list[str]) -> None:
    temperature = have["air_temperature"]
    if "precipitation_flux" not in have:
        have["precipitation_flux"] = np.maximum(have.get("snowfall_flux", np.zeros_like(temperature)), 0.0)
        if "snowfall_flux" not in have:
            codes.append("precipitation=none_given")
    total = have["precipitation_flux"]
    by_wet_bulb = total * snow_share(temperature, have["dew_point_temperature"], have["surface_air_pressure"])
    told = have.get("snowfall_flux", np.full_like(temperature, np.nan))
    untold = np.isnan(told)  # a snow forecast may end before the rain forecast does
    if (untold & (total > 0)).any():
        codes.append("snow=wet_bulb")
    have["snowfall_flux"] = np.minimum(np.where(untold, by_wet_bulb, told), total)


def snow_share(temperature: Floats, dew_point: Floats, pressure: Floats) -> Floats:
    """Share of precipitation that is snow [1], by wet-bulb temperature; [K], [K], [Pa]."""
    wet = vapour.wet_bulb(vapour.saturation_pressure_water(dew_point), temperature, pressure)
    return np.asarray(rain.snow_share(wet))
