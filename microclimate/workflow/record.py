"""What a run leaves in the field log for later scores, and what the log says of the nights before."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.fieldlog.store import Store
from microclimate.learn import told
from microclimate.physics import turbulence
from microclimate.report import words_verify
from microclimate.report.answer import Answer
from microclimate.risk import missed as missing
from microclimate.risk.missed import Missed
from microclimate.schema import Event
from microclimate.venue.load import Venue
from microclimate.workflow import windows

Array = NDArray[np.float64]

OPEN = 0.03  # [m] roughness of open country, as calibration takes it (WMO-No. 8, class 3)
QUANTILES = 11  # of the members' values are kept of each window, evenly spread in rank


def conditions(weather: xr.Dataset, spans: Sequence[Event]) -> tuple[Array, Array, Array]:
    """Lowest air [K], mean wind at 2 m in the open [m s-1] and mean cloud [1] of each window (realization, event)."""
    time = weather["time"].values
    found = []
    for span in spans:
        inside = (time >= windows.stamp(span.start)) & (time <= windows.stamp(span.end))
        part = weather.isel(time=np.flatnonzero(inside) if inside.any() else [0])
        wind = turbulence.wind_at_height(part["wind_speed"].values, float(weather.attrs["wind_height"]), 2.0, OPEN)
        found.append(
            (
                part["air_temperature"].values.min(axis=1),
                wind.mean(axis=1),
                part["cloud_area_fraction"].values.mean(axis=1),
            )
        )
    air, wind_mean, cloud = (np.stack(column, axis=1) for column in zip(*found, strict=True))
    return air, wind_mean, cloud


def missed(venue: Venue, weather: xr.Dataset, spans: Sequence[Event]) -> Missed | None:
    """What was learned that the model misses, for the night alone: the first window."""
    air, wind, cloud = conditions(weather, spans)
    night = np.arange(len(spans)) == 0
    return missing.of(venue.calibration, np.where(night, air, np.nan), wind, cloud)


def keep(path: Path, outcome: xr.Dataset, weather: xr.Dataset, spans: Sequence[Event], now: datetime) -> None:
    """Keep what a run told of each window: quantiles of the coldest patch of each zone, and of the weather.

    Parameters
    ----------
    path : Path
        The field log.
    outcome : Dataset
        Of one plan, corrected.
    """
    issued = str(weather.attrs.get("issued", "")).rstrip("Z")
    made = np.datetime64(now, "s")
    canopy = outcome["canopy_temperature_min"].transpose("realization", "patch", "event").values
    soil = outcome["soil_temperature_min"].sel(depth=told.SOIL_DEPTH, method="nearest")
    ground = soil.transpose("realization", "patch", "event").values
    zones = np.array([str(zone) for zone in outcome["zone"].values])
    air, wind, cloud = conditions(weather, spans)
    with Store(path) as store:
        content = f"{made} {issued} {weather.attrs.get('source', '')}".encode()
        source = store.source("what a run told", content, made, str(weather.attrs.get("source", "")))
        for k, span in enumerate(spans):
            by_zone = {
                zone: {
                    told.CANOPY: _quantiles(canopy[:, zones == zone, k].min(axis=1)),
                    told.SOIL: _quantiles(ground[:, zones == zone, k].min(axis=1)),
                }
                for zone in dict.fromkeys(zones)
            }
            around = {told.AIR: air[:, k], told.WIND: wind[:, k], told.CLOUD: cloud[:, k]}
            rows = told.kept(by_zone, {name: _quantiles(values) for name, values in around.items()})
            window = (span.name, windows.stamp(span.start), windows.stamp(span.end))
            store.add_told(made, np.datetime64(issued, "s") if issued else made, window, rows, source)


def _quantiles(values: Array) -> Array:
    """Members by even ranks: few numbers that scores take for members."""
    known = values[np.isfinite(values)]
    if known.size <= QUANTILES:
        return known
    return np.asarray(np.quantile(known, (np.arange(QUANTILES) + 0.5) / QUANTILES))


def lines(venue: Venue, answer: Answer, laid: Missed | None, lowest: Array, path: Path | None) -> tuple[str, ...]:
    """What the briefing says of the nights before and of what was learned.

    Parameters
    ----------
    laid : Missed or None
        What was laid on tonight's lowest canopy.
    lowest : array (realization, patch, event)
        As the run itself has it [K].
    path : Path or None
        The field log, where there is one.
    """
    found = []
    if path is not None and path.exists():
        with Store(path) as store:
            record = told.record(told.pairs(store, np.datetime64(answer.now, "s"), last=True))
        if record is not None:
            facts = (record.nights, record.quantity, record.error, record.inside)
            found.append(words_verify.last_nights(*facts, venue.shown))
    learned = venue.calibration
    if learned.made or found:
        found.append(words_verify.calibration_age(learned.made, learned.nights, answer.now))
    if laid is not None and (laid.residual is not None or laid.offset):
        size = float(np.median(missing.shift(laid, lowest)[..., 0]))
        found.append(words_verify.corrected("residual" if laid.residual is not None else "offset", size, venue.shown))
    return tuple(found)
