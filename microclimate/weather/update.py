"""Members brought nearer to what the place itself tells: its evening's readings, its past nights, other sources."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import refuse
from microclimate.schema import WEATHER, Site, seal
from microclimate.weather import assumed, dress, ensemble, sky
from microclimate.weather.calibrated import calibrate

Floats = NDArray[np.float64]

READING = 0.5  # [K] how well one reading of one thermometer stands for the air over the field (ours)
CLEAR, CALM = 0.35, 4.0  # [1], [m s-1] night means below both make a clear, calm night (as the trials had it)
FEWEST = 3  # nights before a local correction is worth applying


def nowcast(
    members: xr.Dataset,
    site: Site,
    when: np.datetime64,
    temperature: float,
    dew_point: float | None = None,
    seed: int = 0,
) -> xr.Dataset:
    """Members after one evening reading, best two hours after sunset.

    The reading pulls each member as its error at that time is correlated with the error at others, by the stated
    error model: T(t) += K(t) (reading + its own error - T(t0)), K(t) = c(t, t0) / (var(t0) + r^2) (a Kalman update with
    perturbed observations). The spread at t0 is the members' own or the stated one, whichever is wider.

    Parameters
    ----------
    members : Dataset
        Weather with several members.
    site : Site
    when : datetime64
        UTC, within the weather.
    temperature, dew_point : float [K]
        Read on the spot, at the weather's height.
    seed : int

    Raises
    ------
    InputError
        The reading lies outside the weather, or farther from it than an error can be.
    """
    times = members["time"].values
    if not times[0] <= when <= times[-1]:
        raise refuse("reading", f"{str(when)[:16]} UTC lies outside the weather", f"{times[0]} to {times[-1]}")
    one = {str(name): members[name].values for name in WEATHER}
    run = dress.latents(*(one[name] for name in _LATENT))
    hours = (times - when) / np.timedelta64(1, "h")
    lead = np.maximum((times - ensemble.begun(members)) / np.timedelta64(1, "h"), 0.0)
    draws = np.random.default_rng([seed, 7]).standard_normal((2, members.sizes["realization"], 1))
    pulled = _pulled(run.temperature, dress.ERRORS["temperature"], hours, lead, temperature, READING, draws[0])
    depression = run.depression
    if dew_point is not None:
        read = float(np.log(max(temperature - dew_point, 0.0) + dress.DEPRESSION))
        width = READING / (max(temperature - dew_point, 0.0) + dress.DEPRESSION)
        depression = _pulled(depression, dress.ERRORS["depression"], hours, lead, read, width, draws[1])
    moved = float(np.nanmean(pulled - run.temperature, axis=0)[np.argmin(np.abs(hours))])
    if abs(moved) > 15.0:
        raise refuse(
            "reading", f"{temperature - 273.15:.1f} degC is {abs(moved):.0f} K from the forecast", "a reading of air"
        )
    made = dress.Latents(pulled, depression, run.wind, run.cloud)
    return _rebuilt(members, one, made, site, [f"nowcast={moved:+.1f}"])


_LATENT = ("air_temperature", "dew_point_temperature", "wind_speed", "cloud_area_fraction")


def _pulled(
    paths: Floats, error: dress.Error, hours: Floats, lead: Floats, reading: float, width: float, draws: Floats
) -> Floats:
    here = np.array([np.interp(0.0, hours, path) for path in paths])[:, None]
    spread = np.maximum(np.nan_to_num(paths.std(axis=0)), error.sigma(np.maximum(lead, 6.0)))
    at_reading = float(np.interp(0.0, hours, spread))
    alike = error.slow + (1.0 - error.slow) * np.exp(-np.abs(hours) / error.tau)
    gain = alike * spread * at_reading / (at_reading**2 + width**2)
    return np.asarray(paths + gain * (reading + width * draws - here))


def _rebuilt(
    members: xr.Dataset, one: dict[str, Floats], made: dress.Latents, site: Site, notes: list[str]
) -> xr.Dataset:
    """Weather with new temperature and dew point, its longwave and snow worked out again."""
    temperature, dew, _, _ = made.weather()
    out = dict(one) | {"air_temperature": temperature, "dew_point_temperature": dew}
    sun = sky.sun(members["time"].values, ensemble.seconds(members), site)
    ensemble.relight(out, one, sun, site)
    data = members.assign({name: (("realization", "time"), values) for name, values in out.items()})
    return seal(assumed.note(data, notes), WEATHER, "weather")


@dataclass(frozen=True)
class Nights:
    """What was forecast and read at a place, night by night, oldest first."""

    valid_time: NDArray[np.datetime64]  # (night,) UTC
    members: Floats  # (night, member) [K] forecast night minima
    observed: Floats  # (night,) [K] NaN where nothing was read
    clear_calm: NDArray[np.bool_]  # (night,) by what was forecast


def clear_calm(members: xr.Dataset, window: NDArray[np.bool_]) -> bool:
    """Whether a night is forecast clear and calm: mean cloud and wind over members and a window."""
    cloud = float(members["cloud_area_fraction"].values[:, window].mean())
    wind = float(members["wind_speed"].values[:, window].mean())
    return cloud < CLEAR and wind < CALM


def local(
    members: xr.Dataset, site: Site, past: Nights, night: tuple[np.datetime64, np.datetime64],
    newest_pair: timedelta = timedelta(hours=24),
) -> xr.Dataset:  # fmt: skip
    """Members with the night's minimum as the place's own past says it should be.

    Tonight's forecast is set behind the past nights and calibrated with them (bias by kind of night, slope, season,
    spread); each member is then moved so that the minima are the quantiles of what comes out.

    Parameters
    ----------
    members : Dataset
        Weather with several members.
    site : Site
    past : Nights
        Only nights before; those newer than `newest_pair` before the end of this one are not used.
    night : pair of datetime64
        UTC.
    """
    times = members["time"].values
    window = (times >= night[0]) & (times <= night[1])
    paths = members["air_temperature"].values
    if window.sum() < 3 or not np.isfinite(paths[:, window]).all():
        return members
    lowest = paths[:, window].min(axis=1)
    count = max(len(lowest), past.members.shape[1])
    stacked = np.full((len(past.observed) + 1, count), np.nan)
    stacked[:-1, : past.members.shape[1]] = past.members
    stacked[-1, : len(lowest)] = lowest
    kinds = np.append(past.clear_calm, clear_calm(members, window))
    made = calibrate(
        xr.DataArray(stacked, dims=("night", "realization")),
        xr.DataArray(np.append(past.observed, np.nan), dims="night"),
        xr.DataArray(np.append(past.valid_time, night[1]), dims="night"),
        site,
        newest_pair=newest_pair,
        clear_calm=xr.DataArray(kinds, dims="night"),
    )
    nights = int(made["nights"].values[-1])
    if nights < FEWEST:
        return members
    centre, scale = float(made["mean"].values[-1]), float(made["scale"].values[-1])
    moved = dress.spread_evenly(paths, window, _ramp(times, night), centre, scale)
    notes = [f"bias={centre - float(lowest.mean()):+.1f}", f"bias_nights={nights}"]
    return _with(members, moved, site, notes)


def shifted(members: xr.Dataset, site: Site, night: tuple[np.datetime64, np.datetime64], by: float) -> xr.Dataset:
    """Members with a night's air temperature moved by a number known beforehand [K]."""
    moved = members["air_temperature"].values + by * _ramp(members["time"].values, night)
    return _with(members, moved, site, [f"bias={by:+.1f}"])


def _ramp(times: NDArray[np.datetime64], night: tuple[np.datetime64, np.datetime64]) -> Floats:
    """How much of a night's move applies (time,): all of it in the night, none some hours before and after."""
    hours = (times - night[0]) / np.timedelta64(1, "h")
    length = float((night[1] - night[0]) / np.timedelta64(1, "h"))
    inside = np.minimum(hours + ensemble.RAMP, length + ensemble.RAMP - hours)
    return np.asarray(np.clip(inside / ensemble.RAMP, 0.0, 1.0))


def _with(members: xr.Dataset, temperature: Floats, site: Site, notes: list[str]) -> xr.Dataset:
    """Members with another air temperature, their depression of the dew point kept."""
    one = {str(name): members[name].values for name in WEATHER}
    run = dress.latents(*(one[name] for name in _LATENT))
    return _rebuilt(members, one, dress.Latents(temperature, run.depression, run.wind, run.cloud), site, notes)


def pool(weathers: Sequence[xr.Dataset]) -> xr.Dataset:
    """Members of several sources as one ensemble, over the times all of them reach; each member counts alike.

    Raises
    ------
    InputError
        They share less than two stamps, or measure wind or temperature at different heights.
    """
    first = weathers[0]
    for key in ("wind_height", "temperature_height"):
        heights = {float(weather.attrs[key]) for weather in weathers}
        if len(heights) > 1:
            raise refuse("weather", f"{key} differs: {sorted(heights)} m", "one height")
    times = first["time"].values
    for other in weathers[1:]:
        times = np.intersect1d(times, other["time"].values)
    if len(times) < 2:
        raise refuse("weather", "the sources share less than two times", "sources that overlap")
    parts = [weather.sel(time=times) for weather in weathers]
    data = xr.concat([part[list(WEATHER)].drop_vars("realization") for part in parts], dim="realization")
    data = data.assign_coords(realization=np.arange(data.sizes["realization"]))
    data["time_bnds"] = parts[0]["time_bnds"]
    data.attrs = dict(first.attrs)
    data.attrs["source"] = " + ".join(str(weather.attrs.get("source", "")) for weather in weathers)
    notes = [line for weather in weathers for line in str(weather.attrs.get("assumed", "")).split("\n") if line]
    return seal(assumed.note(data, [*notes, f"pooled={len(weathers)}"]), WEATHER, "weather")
