"""Wind and air in the bowl from the field manager's readings: what they say, what they leave open, what to read next.

Writes nothing but numbers into `calibration.toml`; without readings the prior stays. A reading that should not be
trusted is laid aside or given a wide error, and named.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem
from microclimate.exposure import air, shelter
from microclimate.exposure.force import Forcing
from microclimate.exposure.learned import air_known
from microclimate.fieldlog.bowl_readings import MOST_RATIO, BowlReading, visits
from microclimate.learn import air_fit, bowl_held, wind_fit
from microclimate.learn.fit import Z90
from microclimate.physics.turbulence import wind_at_height
from microclimate.venue.calibration import Calibration, Fitted, LearnedAir, LearnedWind

Array = NDArray[np.float64]

ANGLES = np.arange(0.0, 360.0, 30.0)  # [degree] at which the wind's misfit is kept
CENSORED_SPREAD = 0.5  # [1] log error of a reading that says only "below 0.15 m/s"; ours
LEAD = np.timedelta64(18, "h")  # of weather before a night's last reading; shorter is used, with a warning
UNKNOWN_HEIGHT = 0.2  # [1] log error of the log profile where the sheet has no height; ours


@dataclass(frozen=True)
class Calibrated:
    """What the readings taught: the file's content, numbers to tell, and what was laid aside."""

    calibration: Calibration
    told: xr.Dataset  # wind_factor, prior_wind_factor (zone, direction, quantile); air_difference (quantile, source)
    flagged: tuple[tuple[str, str], ...]  # where, why
    next_directions: tuple[tuple[float, float], ...]  # [degree], mean log error after a visit to all zones
    more_visits: int | None  # until the wind is known to a fifth; None: more than can be counted ahead
    more_nights: int | None  # calm ones, until half of what was not known of the air is left; None: the same
    declined: tuple[tuple[str, str, int], ...] = ()  # "wind" or "air", code (few, worse), visits or nights


def bowl_air(forcing: Forcing, readings: tuple[BowlReading, ...], today: str = "") -> Calibrated:
    """Fit shelter and exchange of a bowl; each is taken where visits or nights that it never saw are told better.

    Parameters
    ----------
    forcing : Forcing
        Of the venue under the weather of the days of the readings, one realization; best values (no seed).
    readings : tuple of BowlReading
    today : str
        ISO date, for the file.

    Raises
    ------
    InputError
        When the weather does not reach a reading that needs it.
    """
    flagged = [(reading.where, flag) for reading in readings for flag in reading.flags]
    zones = [zone.name for zone in forcing.venue.field.zones]
    rose = _zone_rose(forcing, len(zones))
    data, rows = _wind_data(forcing, tuple(r for r in readings if r.is_wind), zones, flagged)
    wind = wind_fit.fit(data, rose, ANGLES)
    flagged += [(rows[k].where, "far from all others") for k in wind.outliers]
    night_data, model, nights, outside = _air_data(forcing, tuple(r for r in readings if r.is_air), flagged)
    exchange = air_fit.fit(night_data, model, nights)

    known, declined = forcing.venue.calibration, []
    update: dict[str, object] = {}
    if len(data.ratio):
        why = bowl_held.wind(data, rose, ANGLES, _believed(forcing, wind, zones))
        if why:
            declined.append(("wind", why, len(np.unique(data.visit))))
        else:
            update["wind"] = _wind_table(wind, zones, data).model_copy(update=_when(rows, today))
    if exchange.nights:
        why = bowl_held.bowl_air(night_data, model, nights, air_known(forcing.venue, None)[0])
        if why:
            declined.append(("air", why, exchange.nights))
        else:
            table, read = _air_table(exchange, len(night_data.at)), [r for r in readings if r.is_air]
            update["air"] = table.model_copy(update=_when(read, today))
            update["fitted"] = {**known.fitted, **_ranges(exchange)}
    learned = known.model_copy(update=update)
    told = _told(forcing, wind, zones) | _air_told(exchange, model, nights, outside)
    return Calibrated(
        calibration=learned,
        told=xr.Dataset(told, coords={"zone": zones, "direction": ANGLES, "quantile": [0.05, 0.5, 0.95]}),
        flagged=tuple(dict.fromkeys(flagged)),
        next_directions=tuple(wind_fit.next_visits(wind)),
        more_visits=wind_fit.visits_until(wind),
        more_nights=0 if forcing.basin is None else air_fit.nights_until(exchange),
        declined=tuple(declined),
    )


def _when(readings: Sequence[BowlReading], today: str) -> dict[str, str]:
    days = [str(reading.time.astype("datetime64[D]")) for reading in readings]
    return {"made": today, "first": min(days), "last": max(days)}


def _believed(forcing: Forcing, found: wind_fit.WindFit, zones: list[str]) -> Array:
    """Logarithm of the wind's factor as it is believed before these readings (zone, angle)."""
    known = forcing.venue.calibration.wind
    if known is None:
        return found.prior_mean
    position = shelter.position(shelter.Wind(known.least, known.reach, known.dead_end))
    offset = np.array([known.offset.get(zone, (0.0,) * len(ANGLES)) for zone in zones])
    return np.asarray(wind_fit.grid(position, _zone_rose(forcing, len(zones)), ANGLES) + offset)


def _ranges(found: air_fit.AirFit) -> dict[str, Fitted]:
    """Each number of the exchange with its range, now and before any reading."""
    out = {}
    for k, name in enumerate(air.FITTED):
        value, usual = float(getattr(found.air, name)), float(getattr(air.Air(), name))
        now, before = (Z90 * float(np.sqrt(c[k, k])) for c in (found.covariance, found.prior_covariance))
        ends = (value * np.exp(-now), value * np.exp(now), usual * np.exp(-before), usual * np.exp(before))
        keys = ("value", "low", "high", "before_low", "before_high")
        numbers = dict(zip(keys, (float(f"{v:.4g}") for v in (value, *ends)), strict=True))
        out[f"air {name}"] = Fitted.model_validate(numbers)
    return out


def _zone_rose(forcing: Forcing, zones: int) -> list[tuple[Array, Array]]:
    """The crest from some cells of each zone."""
    distance, height, patch = forcing.place.crest
    zone = forcing.patches["zone_index"].values[patch]
    return [(distance[zone == z], height[zone == z]) for z in range(zones)]


def _wind_data(
    forcing: Forcing, readings: tuple[BowlReading, ...], zones: list[str], flagged: list[tuple[str, str]]
) -> tuple[wind_fit.WindData, list[BowlReading]]:
    """Readings as ratios to open ground; laid aside are wet wires and ratios that cannot be."""
    cells = np.stack([forcing.bowl.cell_x, forcing.bowl.cell_y], axis=1)
    distance, height = forcing.place.crest_by_cell
    kept, columns = [], []
    for reading, visit in zip(readings, visits(readings), strict=True):
        mast = np.isfinite(reading.reference_wind)
        at_ten, direction = _reference(forcing, reading)
        if "wet wire" in reading.flags:
            continue
        below = "below 0.15 m/s" in reading.flags
        speed = max(reading.wind, 0.1) if not below else 0.1
        open_wind = wind_at_height(at_ten, 10.0, max(reading.height, 0.05), shelter.SURFACE_ROUGHNESS)
        ratio = speed / max(open_wind, 1e-3)
        if ratio > MOST_RATIO:
            flagged.append((reading.where, "faster than open ground: a jet, or the reference stands in the lee"))
            continue
        error = float(wind_fit.noise(np.array(speed), np.array(reading.seconds / 60.0), mast=bool(mast)))
        error = float(np.hypot(error, CENSORED_SPREAD)) if below else error
        error = float(np.hypot(error, UNKNOWN_HEIGHT)) if "height missing" in reading.flags else error
        zone = zones.index(reading.zone)
        place = np.array([reading.x, reading.y])
        own = np.flatnonzero(forcing.bowl.cell_zone == zone)
        if not np.isfinite(place).all():
            place = cells[own].mean(axis=0)
        cell = own[np.argmin(((cells[own] - place) ** 2).sum(axis=1))]
        kept.append(reading)
        columns.append((ratio, error, zone, direction, visit, distance[cell], height[cell]))
    if not columns:
        empty = np.zeros((0, distance.shape[1]))
        whole = np.zeros(0, np.int64)
        return wind_fit.WindData(np.zeros(0), np.zeros(0), whole, np.zeros(0), whole, empty, empty), kept
    return wind_fit.WindData(*(np.array(column) for column in zip(*columns, strict=True))), kept


def _reference(forcing: Forcing, reading: BowlReading) -> tuple[float, float]:
    """Wind at 10 m over the site [m s-1] and its direction [degree], from the mast, else from the forecast."""
    roughness = forcing.venue.site.roughness_length
    if np.isfinite(reading.reference_wind):
        speed = wind_at_height(reading.reference_wind, reading.reference_height, 10.0, roughness)
        return float(speed), reading.reference_direction
    at = _step(forcing, reading)
    laid = forcing.laid(slice(0, 1))
    return float(forcing.site_wind(laid.point["wind_speed"])[0, at]), float(laid.point["direction"][0, at])


def _step(forcing: Forcing, reading: BowlReading) -> int:
    time = forcing.steps.time
    if not time[0] <= reading.time <= time[-1]:
        found = f"the weather runs from {time[0]} to {time[-1]} and does not reach this reading at {reading.time} (UTC)"
        raise InputError(reading.where, [Problem(reading.where, found, "", "give weather of that day")])
    return int(np.searchsorted(time, reading.time))


def _air_data(
    forcing: Forcing, readings: tuple[BowlReading, ...], flagged: list[tuple[str, str]]
) -> tuple[air_fit.AirData, air_fit.Model, int, air.Outside | None]:
    """Differences by night, and the model that tells them."""
    outside = forcing.outside(forcing.laid(slice(0, 1))) if readings else None
    if outside is None or forcing.basin is None:
        flagged += [(reading.where, "nothing holds air back here") for reading in readings]
        whole = np.zeros(0, np.int64)
        return air_fit.AirData(whole, whole, np.zeros(0), np.zeros(0)), lambda table: np.zeros((1, 1)), 1, None
    steps, seconds = [_step(forcing, reading) for reading in readings], forcing.steps.seconds
    half_day = np.timedelta64(12, "h")
    noon = [(r.time + np.timedelta64(round(forcing.venue.site.longitude * 240), "s") - half_day) for r in readings]
    names = [stamp.astype("datetime64[D]") for stamp in noon]
    kept = sorted(set(names))
    last = {name: max(s for s, n in zip(steps, names, strict=True) if n == name) for name in kept}
    length = min(round(LEAD / np.timedelta64(1, "s") / seconds), *(end + 1 for end in last.values()))
    starts = np.array([last[name] + 1 - length for name in kept])
    up = forcing.steps.look_share @ forcing.steps.elevation > 0.0
    rows = []
    for reading, step, name in zip(readings, steps, names, strict=True):
        night = kept.index(name)
        sunny = bool(up[step]) and not reading.aspirated
        if sunny:
            flagged.append((reading.where, "in the sun without a fan"))
        if step < starts[night]:
            flagged.append((reading.where, "too early in its night for the weather given"))
            continue
        difference = reading.air - reading.air_outside
        rows.append((night, step - starts[night], difference, air_fit.SUNLIT if sunny else air_fit.READING))
    cut = _cut(outside, starts, length)
    basin = forcing.basin

    def model(table: Array) -> Array:
        return np.asarray(basin.inside(seconds, cut, table).temperature - cut.temperature)

    data = air_fit.AirData(*(np.array(column) for column in zip(*rows, strict=True)))
    return data, model, len(kept), cut


def _cut(outside: air.Outside, starts: NDArray[np.int64], length: int) -> air.Outside:
    """One long series (1, ..., time) as nights (night, ..., step)."""
    return air.Outside(
        **{
            name: np.stack([getattr(outside, name)[0][..., start : start + length] for start in starts])
            for name in air.Outside.__dataclass_fields__
        }
    )


def _wind_table(found: wind_fit.WindFit, zones: list[str], data: wind_fit.WindData) -> LearnedWind:
    return LearnedWind.model_validate(
        {
            "least": found.wind.least,
            "reach": found.wind.reach,
            "dead_end": found.wind.dead_end,
            "covariance": [float(f"{v:.8g}") for v in found.covariance.ravel()],
            "offset": {z: [round(float(v), 4) for v in row] for z, row in zip(zones, found.offset, strict=True)},
            "spread": {z: [round(float(v), 4) for v in row] for z, row in zip(zones, found.rest, strict=True)},
            "readings": len(data.ratio) - len(found.outliers),
            "visits": len(np.unique(data.visit)),
            "directions_missing": [angle for angle, _ in wind_fit.next_visits(found)],
        }
    )


def _air_table(found: air_fit.AirFit, readings: int) -> LearnedAir:
    values = {name: getattr(found.air, name) for name in ("top", "shut", "calm", "plume", "seats")}
    covariance = [float(f"{v:.8g}") for v in found.covariance.ravel()]
    return LearnedAir.model_validate(values | {"covariance": covariance, "readings": readings, "nights": found.nights})


def _told(forcing: Forcing, found: wind_fit.WindFit, zones: list[str]) -> dict[str, tuple[tuple[str, ...], Array]]:
    """Wind at 2 m over that of a 10 m forecast, now and before the readings (zone, direction, quantile)."""
    ratio = float(forcing.site_wind(np.ones(1))[0]) * shelter.to_patch_height()
    away = np.array([-1.645, 0.0, 1.645])
    dims = ("zone", "direction", "quantile")
    now = ratio * np.exp(found.mean[..., None] + found.spread[..., None] * away)
    before = ratio * np.exp(found.prior_mean[..., None] + found.prior_spread[..., None] * away)
    return {"wind_factor": (dims, now), "prior_wind_factor": (dims, before)}


def _air_told(
    found: air_fit.AirFit, model: air_fit.Model, nights: int, outside: air.Outside | None
) -> dict[str, tuple[tuple[str, ...], Array]]:
    """Bowl air less air outside at the end of each night read, as now believed and before (night, quantile) [K]."""
    if outside is None:
        return {}
    prior = air_fit.AirFit(air.Air(), found.prior_covariance, found.prior_covariance, 0)
    out: dict[str, tuple[tuple[str, ...], Array]] = {}
    for name, known in (("air_difference", found), ("prior_air_difference", prior)):
        mean, spread = air_fit.spread_of(known, model, nights)
        away = mean[:, -1, None] + spread[:, -1, None] * np.array([-1.645, 0.0, 1.645])
        out[name] = (("night", "quantile"), away)
    return out
