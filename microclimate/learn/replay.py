"""A venue under observed weather, held against what was measured there."""

import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import plan
from microclimate.errors import InputError, Problem
from microclimate.exposure import bowl, force, patches
from microclimate.fieldlog import readings as spots
from microclimate.fieldlog import traces
from microclimate.learn import fromlog, held, observed
from microclimate.physics import vapour
from microclimate.schema import INITIAL_VARIABLES, STATES_VARIABLES, Event, Site
from microclimate.simulate import run, start
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

PROBE_ERROR = 0.2  # [K] of a logger's probe in its own place (trade tables: 0.1-0.2)
WATER_ERROR = 0.03  # [m3 m-3] of a water probe (trade tables)
OLD_SNOW, LEAST_SNOW = 250.0, 0.02  # [kg m-3] of snow found lying, and [m] of it that counts (ours)
START_WITHIN = np.timedelta64(3, "h")  # a stretch begins from readings no farther from its start (ours)
SETTLE = 1.0  # [d] at the head of each stretch that is not scored (ours), or a tenth of a short one


# of the states at the end of a stretch, what the next one can begin with
_LEFT = tuple(name for name in INITIAL_VARIABLES if name in STATES_VARIABLES)


@dataclass(frozen=True)
class Replay:
    """What a replay found. Temperatures in K, times UTC at the END of their interval."""

    scores: pd.DataFrame  # variable, depth, zone, subset, zero_checked, n, bias, mae, rmse, corr, rmse_of_air
    nights: pd.DataFrame  # night minima, one row each, see `compare.nights`; with `zero_checked`
    freezes: pd.DataFrame  # yes/no tables: with and without running offset, all nights and outside +-0.5 K
    traces: pd.DataFrame  # time; measured and modelled value of each sensor, air temperature
    notes: dict[str, object]  # counts and what was assumed, for the words of the report


@dataclass(frozen=True)
class Stretch:
    """One span of weather without gaps, ready to be run."""

    weather: xr.Dataset  # schema.WEATHER
    patches: xr.Dataset
    forcing: tuple[xr.Dataset, ...]
    longwave_offset: float = 0.0  # [W m-2] of calibration that is in it

    def under(self, longwave_offset: float) -> tuple[xr.Dataset, ...]:
        """Its forcing with another offset of the sky, each patch by the share of sky it sees."""
        more = longwave_offset - self.longwave_offset
        if more == 0.0:
            return self.forcing
        name = "longwave_sky_down"
        return tuple(block.assign({name: block[name] + more * block["sky_view_factor"]}) for block in self.forcing)

    @property
    def begin(self) -> np.datetime64:
        """First stamp (UTC)."""
        first: np.datetime64 = self.weather["time"].values[0]
        return first

    @property
    def end(self) -> np.datetime64:
        """Last stamp (UTC)."""
        last: np.datetime64 = self.weather["time"].values[-1]
        return last

    @property
    def settled(self) -> np.datetime64:
        """From here on it is scored."""
        days = (self.end - self.begin) / np.timedelta64(1, "D")
        return self.begin + np.timedelta64(round(min(SETTLE, 0.1 * days) * 86400), "s")


@dataclass(frozen=True)
class Station:
    """Weather and readings of one place, read once; `run` may be asked with the venue's numbers changed."""

    site: Site
    observed: observed.Observed
    log: xr.Dataset  # schema.OBSERVATIONS
    sensors: list[held.Sensor]
    stretches: tuple[Stretch, ...]

    def run(self, venue: Venue) -> Replay:
        """The venue under this weather, compared with the readings."""
        scores, nights, freezes, pairs = held.together(venue, self.observed, self.sensors, self.modelled(venue))
        notes: dict[str, object] = {
            "assumed": self.observed.weather.attrs["assumed"],
            "bridged": self.observed.bridged,
            "stretches": len(self.stretches),
            "left_out": self.observed.left_out,
            "longwave_measured": self.observed.longwave_measured,
            "dropped": "\n".join(filter(None, [*self.observed.dropped, self.log.attrs["dropped"]])),
            "filled": "\n".join(self.observed.filled),
            "ignored": self.log.attrs["ignored"],
            "zero_offset": nights.attrs["zero_offset"],
            "zero_intervals": nights.attrs["zero_intervals"],
            "settled_days": SETTLE,
        }
        return Replay(scores, nights, freezes, pairs, notes)

    def modelled(self, venue: Venue) -> pd.DataFrame:
        """What the model has for each sensor over each of its intervals, see `held.modelled`."""
        told = []
        left = None  # the ground as a stretch leaves it is begun with again where the gap is short
        for stretch in self.stretches:
            part, left = self._stretch(venue, stretch, left)
            told.append(part)
        return pd.concat(told)

    def _stretch(self, venue: Venue, stretch: Stretch, before: xr.Dataset | None) -> tuple[pd.DataFrame, xr.Dataset]:
        begin, end = stretch.begin, stretch.end
        then = first_readings(self.sensors, venue, begin) + held_water(self.log, venue, begin, end)
        first = start.states(venue, stretch.patches, 1, begin, readings=then, saved=before)
        initial = _snowed(first, self.sensors, begin)
        window = Event("replay", _utc(stretch.begin), _utc(stretch.end), "replay")
        doing = plan.nothing(venue, stretch.begin, stretch.end)
        worked_out = 0.0 if self.observed.longwave_measured else venue.calibration.longwave_offset
        _, states = run.outcome(venue, stretch.under(worked_out), initial, doing, (window,), states=((0, 0),))
        assert states is not None  # they were asked for
        told = held.modelled(states.isel(plan=0, realization=0), self.sensors, stretch.settled)
        return told, initial.assign(states.isel(plan=0, time=-1, drop=True)[list(_LEFT)]).assign_coords(time=end)


def replay(
    venue: Venue,
    weather_path: Path,
    readings_path: Path,
    *,
    timezone: str | None = None,
    stamp: traces.Stamp = "end",
    step: float = 300.0,
) -> Replay:
    """Run a venue under observed weather and compare; arguments as for `station`."""
    return station(venue, weather_path, readings_path, timezone=timezone, stamp=stamp, step=step).run(venue)


def station(
    venue: Venue,
    weather_path: Path,
    readings_path: Path,
    *,
    timezone: str | None = None,
    stamp: traces.Stamp = "end",
    step: float = 300.0,
    flagged: bool = False,
) -> Station:
    """Read observed weather and readings, and lay the weather over the venue.

    Gaps of the weather up to 3 h are bridged and counted, longer ones part the run.

    Parameters
    ----------
    venue : Venue
        Without stands it is an open lawn or a station plot.
    weather_path, readings_path : Path
        Observed weather and readings; they may be one file, and the readings may be a field log.
    timezone : str, optional
        Zone of stamps without an offset; else the venue's.
    stamp : {"start", "end", "centre"}
        Which part of its interval a stamp names, in both files.
    step : float
        Model step [s].
    flagged : bool
        Of a field log the flagged readings too.

    Raises
    ------
    InputError
        Everything in the files that cannot be used.
    """
    site = venue.site.site
    weather = observed.weather(weather_path, site, timezone=timezone, stamp=stamp)
    if fromlog.is_log(readings_path):
        log = fromlog.observations(readings_path, flagged=flagged)
    else:
        log = traces.traces(readings_path, timezone=timezone or site.time_zone, stamp=stamp)
    _fit_together(venue, weather.weather, log, readings_path.name)
    seen = bowl.bowl(venue)
    stretches, given = [], venue.calibration.longwave_offset
    for part in weather.stretches:
        span = weather.weather.isel(time=part)
        day = pd.Timestamp(span["time"].values[0]).date()
        sun = patches.morning_sun(seen, site.latitude, site.longitude, day)
        where = patches.patches(venue.field.zones, seen, sun)
        reaching = tuple(OverPlot(force.forcing(venue, span, seen, where, step)))
        stretches.append(Stretch(span, where, reaching, 0.0 if weather.longwave_measured else given))
    return Station(site, weather, log, held.sensors(log, venue, weather.weather), tuple(stretches))


def _fit_together(venue: Venue, weather: xr.Dataset, log: xr.Dataset, name: str) -> None:
    """Refuses readings of other times than the weather's, or of zones the venue does not have."""
    problems = []
    names = [zone.name for zone in venue.field.zones]
    for zone in sorted(set(map(str, log["zone"].values)) - {"", *names}):
        close = difflib.get_close_matches(zone, names, n=1)
        cure = f"did you mean {close[0]!r}?" if close else f"zones are {', '.join(names)}"
        problems.append(Problem(name, f"no zone {zone!r} in the venue", cure=cure))
    seen, told = log["time"].values[[0, -1]], weather["time"].values[[0, -1]]
    if seen[1] <= told[0] or seen[0] >= told[1]:
        found, wanted = (f"{span[0]!s:.16} to {span[1]!s:.16} UTC" for span in (seen, told))
        cure = "check the years and the time zone"
        problems.append(Problem(name, f"readings of {found}", f"some within the weather's {wanted}", cure))
    if problems:
        raise InputError(name, problems)


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


def first_readings(sensors: list[held.Sensor], venue: Venue, begin: np.datetime64) -> list[spots.Spot]:
    """The readings nearest to the beginning of a stretch, as spot readings of their zones."""
    kinds = {sensor.kind for sensor in sensors}
    # a thermometer that looks at the surface helps where nothing is buried
    wanted = "soil_temperature" if "soil_temperature" in kinds else "surface_temperature"
    found = []
    for sensor in sensors:
        known = sensor.values.dropna()
        if sensor.kind != wanted or known.empty:
            continue
        away = np.abs(known.index.to_numpy() - begin)
        nearest = int(away.argmin())
        if away[nearest] > START_WITHIN:
            continue
        buried = wanted == "soil_temperature"
        kind, depth = (wanted, sensor.depth) if buried else ("canopy_temperature", 0.0)
        value, time = float(known.iloc[nearest]), known.index.to_numpy()[nearest]
        for name in [sensor.zone] if sensor.zone else [zone.name for zone in venue.field.zones]:
            found.append(spots.Spot(name, kind, depth, value, time, PROBE_ERROR))
    return found


def held_water(log: xr.Dataset, venue: Venue, begin: np.datetime64, end: np.datetime64) -> list[spots.Spot]:
    """Measured water of the root zone, as the median of a stretch: the model holds it through the run."""
    time = log["time"].values
    inside = (time >= begin) & (time <= end)
    found = []
    for sensor in np.flatnonzero(log["kind"].values == held.WATER):
        values = log["value"].values[sensor, inside]
        if not np.isfinite(values).any():
            continue
        zone, depth = str(log["zone"].values[sensor]), float(log["depth"].values[sensor])
        for name in [zone] if zone else [zone.name for zone in venue.field.zones]:
            found.append(spots.Spot(name, "water_content", depth, float(np.nanmedian(values)), begin, WATER_ERROR))
    return found


def _snowed(initial: xr.Dataset, sensors: list[held.Sensor], begin: np.datetime64) -> xr.Dataset:
    """The start with the snow that a depth sensor saw lying then."""
    for sensor in sensors:
        known = sensor.values.dropna()
        if sensor.kind != "surface_snow_thickness" or known.empty:
            continue
        away = np.abs(known.index.to_numpy() - begin)
        depth = float(known.iloc[int(away.argmin())])
        if away.min() <= START_WITHIN and depth >= LEAST_SNOW:
            none = 0.0 * initial["snow_depth"]
            return initial.assign(snow_depth=none + depth, snow_amount=none + depth * OLD_SNOW)
    return initial


def _utc(time: np.datetime64) -> datetime:
    moment: datetime = time.astype("datetime64[us]").item()
    return moment
