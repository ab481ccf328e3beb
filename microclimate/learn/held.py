"""Readings and a run side by side: sensors, the model at their place and interval, and the tables of scores."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.learn import compare
from microclimate.learn.observed import Observed
from microclimate.physics import longwave, turbulence, vapour
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

SNOW_FREE = 0.5  # [kg m-2] of modelled snow, or
SNOW_FREE_DEPTH = 0.005  # [m] of measured snow, below which the ground counts as free of it (ours)
SURFACES = ("surface_temperature", "canopy_temperature")
SHALLOW = 0.06  # [m] a probe no deeper says whether the root zone froze at night (ours)
WATER = "volume_fraction_of_condensed_water_in_soil"  # held through a run: a start, not a score
_NIGHT_MINIMUM = "surface_temperature_night_minimum"

# model variable of each kind of reading that is no temperature
_TRACES = {
    "surface_upward_sensible_heat_flux": "sensible_heat_up",
    "surface_upward_latent_heat_flux": "latent_heat_up",
    "downward_heat_flux_in_soil": "ground_heat_down",
    "surface_snow_thickness": "snow_depth",
}


@dataclass(frozen=True)
class Sensor:
    """One measured series, SI, UTC at the END of the interval."""

    label: str  # its heading
    kind: str  # CF name; upwelling longwave has become surface_temperature
    depth: float  # [m], NaN where it has none
    zone: str
    values: pd.Series
    interval: float  # [s]


def sensors(log: xr.Dataset, venue: Venue, weather: xr.Dataset) -> list[Sensor]:
    """The series of a log that the model has too; upwelling longwave becomes surface temperature.

    L_up = e sigma T^4 + (1 - e) L_down, e the turf's emissivity.
    """
    times = pd.DatetimeIndex(log["time"].values)
    found = []
    for number in range(log.sizes["sensor"]):
        kind, zone = str(log["kind"].values[number]), str(log["zone"].values[number])
        if kind == WATER:
            continue
        label, values = str(log["sensor"].values[number]), pd.Series(log["value"].values[number], index=times)
        if kind == "surface_upwelling_longwave_flux_in_air":
            name = zone or venue.field.zones[0].name
            emissivity = venue.field.zone(name).turf.emissivity
            down = _at(weather, "surface_downwelling_longwave_flux_in_air", times)
            values = ((values - (1.0 - emissivity) * down) / (emissivity * STEFAN_BOLTZMANN)) ** 0.25
            kind, label = "surface_temperature", f"surface_temperature from {label}"
        depth = float(log["depth"].values[number])
        interval = float(log["interval"].values[number] if "interval" in log.coords else log.attrs["interval"])
        found.append(Sensor(label, kind, depth, zone, values, interval))
    return found


def modelled(states: xr.Dataset, sensors: list[Sensor], settled: np.datetime64) -> pd.DataFrame:
    """What the model has for each sensor over each of its intervals, from `settled` on; column "snow" [kg m-2] beside.

    Parameters
    ----------
    states : Dataset
        `schema.STATES_VARIABLES` of one plan and realization.
    settled : datetime64
        UTC; earlier intervals are left out.
    """
    time = states["time"].values
    columns = {}
    for sensor in sensors:
        patch = _patch(states, sensor.zone)
        one = states.isel(patch=patch)
        if sensor.kind == "soil_temperature":
            depth = one["depth"].values
            right = int(np.clip(np.searchsorted(depth, sensor.depth), 1, depth.size - 1))
            share = float(np.clip((sensor.depth - depth[right - 1]) / (depth[right] - depth[right - 1]), 0.0, 1.0))
            layers = one["soil_temperature"].transpose("time", "layer").values
            series = (1.0 - share) * layers[:, right - 1] + share * layers[:, right]
        else:
            name = sensor.kind if sensor.kind in SURFACES else _TRACES[sensor.kind]
            if name not in one:
                name = "canopy_temperature"
            series = one[name].values
        columns[sensor.label] = over(time, series, sensor, settled)
    first = sensors[0]
    every = pd.Series(0.0, index=first.values.index)  # on the stamps of all sensors
    snow = states.isel(patch=_patch(states, first.zone))["snow_amount"].values
    columns["snow"] = over(time, snow, replace(first, values=every), settled)
    return pd.DataFrame(columns)


def over(time: NDArray[np.datetime64], series: Array, sensor: Sensor, settled: np.datetime64) -> pd.Series:
    """Means of a series (time = END of step) over the intervals a sensor has read; between steps a straight line."""
    stamps = sensor.values.dropna().index
    stamps = stamps[(stamps > settled) & (stamps <= time[-1])]
    interval = np.timedelta64(round(sensor.interval * 1e9), "ns")
    step = time[1] - time[0]
    if interval <= step:
        at = np.interp(stamps.to_numpy().astype("int64"), time.astype("int64"), series)
        return pd.Series(at, index=stamps)
    place = np.searchsorted(stamps.to_numpy(), time, side="left")
    inside = place < len(stamps)
    inside[inside] &= stamps.to_numpy()[place[inside]] - time[inside] < interval
    sums = np.bincount(place[inside], series[inside], minlength=len(stamps))
    counts = np.bincount(place[inside], minlength=len(stamps))
    enough = counts >= 0.5 * (interval / step)
    return pd.Series(np.where(enough, sums / np.maximum(counts, 1), np.nan), index=stamps)


def together(
    venue: Venue, station: Observed, sensors: list[Sensor], model: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Scores, night minima, freeze tables and the pairs themselves."""
    site, weather = venue.site.site, station.weather
    zone = site.time_zone
    air = surroundings(weather, pd.DatetimeIndex(model.index))
    snow = next((s.values for s in sensors if s.kind == "surface_snow_thickness"), None)
    bare = (model["snow"] < SNOW_FREE) if snow is None else (snow.reindex(model.index) < SNOW_FREE_DEPTH)
    times = pd.DatetimeIndex(model.index)
    night_of = pd.Series(compare.night_of(times, zone), index=model.index)
    clear = night_of.map(compare.night_kinds(night_of, air["cloud"], air["wind_2m"]))
    hour = compare.local_standard(times - pd.Timedelta(nanoseconds=1), zone).hour  # the stamp ends its interval
    subsets = {
        "all": pd.Series(True, index=model.index),
        "night": night_of.notna(),
        "clear calm night": (clear == True),  # noqa: E712 (absent by day)
        "other night": (clear == False),  # noqa: E712
        "snow-free": bare,
        **{f"hour {h:02d}": pd.Series(hour == h, index=model.index) for h in range(24)},
    }
    rows: list[dict[str, object]] = []
    nights = pd.DataFrame()
    freezes = pd.DataFrame()
    pairs = pd.DataFrame({"air_temperature": air["air"]})
    for sensor in sensors:
        seen, told = sensor.values.reindex(model.index), model[sensor.label]
        pairs[f"{sensor.label} measured"], pairs[f"{sensor.label} modelled"] = seen, told
        labels = {"variable": sensor.kind, "depth": sensor.depth, "zone": sensor.zone, "zero_checked": "no"}
        rows += compare.table(seen, told, subsets, labels)
        if sensor.kind == "soil_temperature" and sensor.depth <= SHALLOW:
            freezes = pd.concat([freezes, _soil_freezes(seen, told, night_of, sensor)], ignore_index=True)
        if sensor.kind not in SURFACES:
            continue
        offset, count = compare.zero_check(
            seen, air["air"], air["cloud"], air["wind_10m"], air["shortwave"], site.latitude
        )
        checks = [("no", 0.0)] + ([("yes", offset)] if count >= compare.ZERO_COUNT else [])
        for checked, taken in checks:
            if checked == "yes":
                rows += compare.table(seen - taken, told, subsets, {**labels, "zero_checked": "yes"})
            found = compare.nights(seen - taken, told, air["air"], air["cloud"], air["wind_2m"], zone)
            rows += _minimum_rows(
                found, {**labels, "variable": _NIGHT_MINIMUM, "zero_checked": checked}, bare, night_of
            )
            marks = {"sensor": sensor.label, "zero_checked": checked}
            nights = pd.concat([nights, found.assign(**marks)])
            freezes = pd.concat([freezes, _freeze_rows(found, marks)], ignore_index=True)
        nights.attrs = {"zero_offset": offset, "zero_intervals": count}
    nights.attrs.setdefault("zero_offset", 0.0)
    nights.attrs.setdefault("zero_intervals", 0)
    order = ["variable", "depth", "zone", "subset", "zero_checked", "n", "bias", "mae", "rmse", "corr", "rmse_of_air"]
    return pd.DataFrame(rows).reindex(columns=order), nights, freezes, pairs


def _minimum_rows(
    nights: pd.DataFrame, labels: dict[str, object], bare: pd.Series, night_of: pd.Series
) -> list[dict[str, object]]:
    """Scores of night minima; `rmse_of_air` is what taking the air temperature would have cost."""
    counted = nights[nights["screened"] == ""]
    free = bare.groupby(night_of).all()
    subsets = {
        "night": pd.Series(True, index=counted.index),
        "clear calm night": counted["clear_calm"].astype(bool),
        "other night": ~counted["clear_calm"].astype(bool),
        "snow-free": free.reindex(counted.index).fillna(False).astype(bool),
    }
    rows = []
    for name, inside in subsets.items():
        part = counted[inside]
        row = {**labels, "subset": name, **compare.scores(part["observed"], part["modelled"])}
        row["rmse_of_air"] = compare.scores(part["observed"], part["air"])["rmse"]
        rows.append(row)
    return rows


def _soil_freezes(seen: pd.Series, told: pd.Series, night_of: pd.Series, sensor: Sensor) -> pd.DataFrame:
    """Yes/no table of the lowest temperature of each night in the root zone."""
    both = pd.DataFrame({"seen": seen, "told": told, "night": night_of}).dropna()
    lowest = both.groupby("night")[["seen", "told"]].min()
    marks = {"sensor": sensor.label, "zero_checked": "no", "forecast": "model"}
    rows = [
        {**marks, "nights": name, **compare.freezes(lowest["seen"], lowest["told"], outside=outside)}
        for name, outside in (("all", False), ("outside 0.5 K", True))
    ]
    return pd.DataFrame(rows)


def _freeze_rows(nights: pd.DataFrame, marks: dict[str, str]) -> pd.DataFrame:
    counted = nights[nights["screened"] == ""]
    offset = compare.running_offset(counted["observed"], counted["modelled"])
    rows = []
    for forecast, told in (("model", counted["modelled"]), ("running offset", offset), ("air", counted["air"])):
        for outside in (False, True):
            found = compare.freezes(counted["observed"], told, outside=outside)
            nights_of = "outside 0.5 K" if outside else "all"
            rows.append({**marks, "forecast": forecast, "nights": nights_of, **found})
    hours, both = compare.onset_error(counted)
    return pd.DataFrame(rows).assign(onset_mae_hours=hours, onset_nights=both)


def surroundings(weather: xr.Dataset, times: pd.DatetimeIndex) -> pd.DataFrame:
    """Air, cloud from longwave, wind at 2 and 10 m and shortwave at the readings' stamps."""
    air = _at(weather, "air_temperature", times)
    vapour_pressure = vapour.saturation_pressure_water(_at(weather, "dew_point_temperature", times))
    clear = longwave.clear_sky_brutsaert(vapour_pressure, air)
    down = _at(weather, "surface_downwelling_longwave_flux_in_air", times)
    wind, height = _at(weather, "wind_speed", times), float(weather.attrs["wind_height"])
    frame = {
        "air": air,
        "cloud": longwave.cloud_from_longwave(down, clear, air),
        "wind_2m": turbulence.wind_at_height(wind, height, 2.0, OPEN_ROUGHNESS),
        "wind_10m": turbulence.wind_at_height(wind, height, 10.0, OPEN_ROUGHNESS),
        "shortwave": _at(weather, "surface_downwelling_shortwave_flux_in_air", times),
    }
    return pd.DataFrame(frame, index=times)


OPEN_ROUGHNESS = 0.03  # [m] open country with low grass, WMO-No. 8 (class 3)


def _at(weather: xr.Dataset, name: str, times: pd.DatetimeIndex) -> pd.Series:
    """A weather series at other stamps: straight lines, nothing across gaps longer than 3 h."""
    known = pd.Series(weather[name].values[0], index=pd.DatetimeIndex(weather["time"].values)).dropna()
    if known.empty:
        return pd.Series(np.nan, index=times)
    place = np.clip(known.index.searchsorted(times), 1, len(known) - 1)
    wide = known.index[place] - known.index[place - 1] > pd.Timedelta(hours=3)
    laid = np.interp(times.asi8, pd.DatetimeIndex(known.index).as_unit(times.unit).asi8, known.to_numpy())
    outside = (times < known.index[0]) | (times > known.index[-1])
    return pd.Series(np.where(wide | outside, np.nan, laid), index=times)


def _patch(states: xr.Dataset, zone: str) -> int:
    """The largest patch of a zone; of the first zone where the sensor names none."""
    names = states["zone"].values
    rows = np.flatnonzero(names == (zone or names[0]))
    if "area" in states.coords and rows.size > 1:
        return int(rows[np.argmax(states["area"].values[rows])])
    return int(rows[0])
