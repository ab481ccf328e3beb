"""From what a forecast says to tonight's members: sources pooled, the place's own past and this evening's readings."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

from microclimate.exposure.bowl import Bowl
from microclimate.exposure.force import forcing
from microclimate.exposure.told import told
from microclimate.fieldlog.readings import Spot
from microclimate.fieldlog.store import Store
from microclimate.learn import past_nights
from microclimate.schema import Site
from microclimate.venue.load import Venue
from microclimate.weather import ensemble, update

SAME = np.timedelta64(30, "m")  # a dew point read this near to an air temperature belongs to it; ours


@dataclass(frozen=True)
class Night:
    """The night that members are made for."""

    start: np.datetime64  # UTC
    end: np.datetime64
    now: np.datetime64


def members(weathers: Sequence[xr.Dataset], venue: Venue, count: int, seed: int) -> xr.Dataset:
    """Members of one source or of several, which count alike."""
    site = venue.site.site
    made = [ensemble.members(weather, site, count, seed) for weather in weathers]
    return made[0] if len(made) == 1 else update.pool(made)


def corrected(members: xr.Dataset, venue: Venue, log: Path | None, files: Sequence[Path], night: Night) -> xr.Dataset:
    """Members after what the place's past nights tell of its forecasts, where the field log holds enough of them.

    The forecast is added to the log first, as it was. Without a log, or with too few nights of a thermometer outside in
    it, the correction in `calibration.toml` serves.

    Parameters
    ----------
    log : Path or None
        The field log; one that does not exist is not made.
    files : sequence of Path
        The forecast's own files: what the log knows it by.
    """
    site = venue.site.site
    if log is not None and log.exists() and members.attrs.get("issued"):
        with Store(log) as store:
            past_nights.remember(store, members, b"".join(path.read_bytes() for path in files), night.now)
            local = _learned(members, site, store, (night.start, night.end))
        if local is not members:
            return local
    learned = venue.calibration
    window = (members["time"].values >= night.start) & (members["time"].values <= night.end)
    clear = bool(window.any()) and update.clear_calm(members, window)
    by = learned.forecast_bias_clear_calm if clear else learned.forecast_bias
    return update.shifted(members, site, (night.start, night.end), -by) if by else members


def _learned(members: xr.Dataset, site: Site, store: Store, span: tuple[np.datetime64, np.datetime64]) -> xr.Dataset:
    """Members after the thermometer outside that was read last; one in a zone tells of the bowl's own air instead."""
    name = past_nights.outside(store)
    if not name:
        return members
    pairs, newest = past_nights.past_nights(store, site, name, span, ensemble.begun(members))
    return update.local(members, site, pairs, span, newest) if len(pairs.observed) else members


def pulled(members: xr.Dataset, venue: Venue, bowl: Bowl, patches: xr.Dataset, spoken: Sequence[Spot]) -> xr.Dataset:
    """Members after air temperatures read on the spot this evening, the latest last.

    A thermometer over the grass stands in the bowl's own air: what that differs from the air outside, by the best
    values, is taken off before the forecast is pulled.
    """
    air = sorted((s for s in spoken if s.kind == "air_temperature"), key=lambda spot: spot.time)
    if not air or members.sizes["realization"] < 2:
        return members
    inside = forcing(venue, members.isel(realization=slice(0, 1)), bowl, patches)
    for number, spot in enumerate(air):
        own = float(told(inside, spot.time)["air_difference"].sel(quantile=0.5))
        own = own if np.isfinite(own) else 0.0
        dew = [s for s in spoken if s.kind == "dew_point_temperature" and abs(s.time - spot.time) <= SAME]
        point = min(dew[-1].value, spot.value) if dew else None
        members = update.nowcast(members, venue.site.site, spot.time, spot.value - own, point, seed=number)
    return members
