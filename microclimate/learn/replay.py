"""A venue under observed weather, held against what was measured there."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import plan
from microclimate.exposure import bowl, force, patches
from microclimate.fieldlog import readings as spots
from microclimate.fieldlog import traces
from microclimate.learn import held, observed
from microclimate.physics import vapour
from microclimate.schema import Event
from microclimate.simulate import run, start
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

PROBE_ERROR = 0.2  # [K] of a logger's probe in its own place (trade tables: 0.1-0.2)
START_WITHIN = np.timedelta64(3, "h")  # a stretch begins from readings no farther from its start (ours)
SETTLE = 1.0  # [d] at the head of each stretch that is not scored (ours), or a tenth of a short one


@dataclass(frozen=True)
class Replay:
    """What a replay found. Temperatures in K, times UTC at the END of their interval."""

    scores: pd.DataFrame  # variable, depth, subset, zero_checked, n, bias, mae, rmse, corr, rmse_of_air
    nights: pd.DataFrame  # night minima, one row each, see `compare.nights`; with `zero_checked`
    freezes: pd.DataFrame  # yes/no tables: with and without running offset, all nights and outside +-0.5 K
    traces: pd.DataFrame  # time; measured and modelled value of each sensor, air temperature
    notes: dict[str, object]  # counts and what was assumed, for the words of the report


def replay(
    venue: Venue,
    weather_path: Path,
    readings_path: Path,
    *,
    timezone: str | None = None,
    stamp: traces.Stamp = "end",
    gap_hours: float = 3.0,
    step: float = 300.0,
) -> Replay:
    """Run a venue under observed weather and compare.

    Parameters
    ----------
    venue : Venue
        Without stands it is an open lawn or a station plot.
    weather_path, readings_path : Path
        Observed weather and readings; they may be one file.
    timezone : str, optional
        Zone of stamps without an offset; else the venue's.
    stamp : {"start", "end", "centre"}
        Which part of its interval a stamp names, in both files.
    gap_hours : float
        Gaps up to this long are bridged, longer ones part the run.
    step : float
        Model step [s].

    Raises
    ------
    InputError
        Everything in the files that cannot be used.
    """
    site = venue.site.site
    station = observed.weather(weather_path, site, timezone=timezone, stamp=stamp, gap_hours=gap_hours)
    log = traces.traces(readings_path, timezone=timezone or site.time_zone, stamp=stamp)
    sensors = held.sensors(log, venue, station.weather)
    runs = [_stretch(venue, station.weather.isel(time=part), log, step) for part in station.stretches]
    modelled = pd.concat([held.modelled(states, sensors, settled) for states, settled in runs])
    scores, nights, freezes, pairs = held.together(venue, station, sensors, modelled)
    notes: dict[str, object] = {
        "assumed": station.weather.attrs["assumed"],
        "bridged": station.bridged,
        "stretches": len(station.stretches),
        "left_out": station.left_out,
        "longwave_measured": station.longwave_measured,
        "dropped": log.attrs["dropped"],
        "ignored": log.attrs["ignored"],
        "zero_offset": nights.attrs["zero_offset"],
        "zero_intervals": nights.attrs["zero_intervals"],
        "settled_days": SETTLE,
    }
    return Replay(scores, nights, freezes, pairs, notes)


def _stretch(venue: Venue, weather: xr.Dataset, log: xr.Dataset, step: float) -> tuple[xr.Dataset, np.datetime64]:
    """States of one stretch without gaps, and the time from which they are scored."""
    seen = bowl.bowl(venue)
    begin, end = weather["time"].values[[0, -1]]
    sun = patches.morning_sun(seen, venue.site.latitude, venue.site.longitude, pd.Timestamp(begin).date())
    where = patches.patches(venue.field.zones, seen, sun)
    forcing = OverPlot(force.forcing(venue, weather, seen, where, step))
    initial = start.states(venue, where, 1, begin, readings=_first_readings(log, venue, begin))
    window = Event("replay", _utc(begin), _utc(end), "replay")
    doing = plan.nothing(venue, begin, end)
    _, states = run.outcome(venue, forcing, initial, doing, (window,), states=((0, 0),))
    assert states is not None  # they were asked for
    days = (end - begin) / np.timedelta64(1, "D")
    settle = np.timedelta64(round(min(SETTLE, 0.1 * days) * 86400), "s")
    return states.isel(plan=0, realization=0), begin + settle


@dataclass(frozen=True)
class OverPlot:
    """Forcing of an open plot under its own station: the wind at the height it was measured at, and means as means.

    A forecast's temperature and wind are values of a moment; a station's are means over the interval its stamp ends, so
    they belong to the middle of it. With stands the forcing is left as it is.
    """

    forcing: force.Forcing

    def __iter__(self) -> Iterator[xr.Dataset]:
        for block in self.forcing:
            yield self._measured(block) if self.forcing.open_field else block

    def _measured(self, block: xr.Dataset) -> xr.Dataset:
        weather = self.forcing.weather
        times = weather["time"].values
        interval = np.median(np.diff(times))
        middle = (times - interval // 2).astype("int64").astype(float)
        at = (
            (block["time"].values - np.timedelta64(round(0.5e9 * self.forcing.step), "ns"))
            .astype("int64")
            .astype(float)
        )
        laid = {name: np.interp(at, middle, weather[name].values[0]) for name in _POINTS}
        dew = laid.pop("dew_point_temperature")
        laid["specific_humidity"] = vapour.specific_humidity(
            vapour.saturation_pressure_water(dew), laid["surface_air_pressure"]
        )
        return block.assign(
            {name: (block[name].dims, np.broadcast_to(values, block[name].shape)) for name, values in laid.items()}
        ).assign_attrs({**block.attrs, "wind_height": float(weather.attrs["wind_height"])})


_POINTS = (
    "air_temperature",
    "dew_point_temperature",
    "wind_speed",
    "wind_speed_of_gust",
    "surface_air_pressure",
)


def _first_readings(log: xr.Dataset, venue: Venue, begin: np.datetime64) -> list[spots.Spot]:
    """The probes' readings nearest to the beginning of a stretch, as spot readings of their zones."""
    found = []
    time = log["time"].values
    near = np.flatnonzero(np.abs(time - begin) <= START_WITHIN)
    near = near[np.argsort(np.abs(time[near] - begin), kind="stable")]
    for sensor in range(log.sizes["sensor"]):
        if str(log["kind"].values[sensor]) != "soil_temperature":
            continue
        known = near[np.isfinite(log["value"].values[sensor, near])]
        if not known.size:
            continue
        zone = str(log["zone"].values[sensor])
        for name in [zone] if zone else [z.name for z in venue.field.zones]:
            found.append(
                spots.Spot(
                    name,
                    "soil_temperature",
                    float(log["depth"].values[sensor]),
                    float(log["value"].values[sensor, known[0]]),
                    time[known[0]],
                    PROBE_ERROR,
                )
            )
    return found


def _utc(time: np.datetime64) -> datetime:
    moment: datetime = time.astype("datetime64[us]").item()
    return moment
