"""What was forecast and what was read, night by night, from the store: what the local correction learns from."""

from datetime import timedelta

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from pvlib.solarposition import sun_rise_set_transit_spa

from microclimate.fieldlog.store import Store
from microclimate.schema import Site
from microclimate.weather import update

Floats = NDArray[np.float64]

LIKE_LEAD = np.timedelta64(6, "h")  # forecasts whose lead differs from tonight's by less count as alike (ours)
COVERED = 0.8  # of a night's hours that must have a reading, and a forecast (ours)
LONGEST = 400  # nights back
KEPT = ("air_temperature", "cloud_area_fraction", "wind_speed")
HOUR = np.timedelta64(1, "h")


def remember(store: Store, members: xr.Dataset, content: bytes, now: np.datetime64) -> int:
    """Adds a forecast's members to the store, once; gives the count of new rows.

    Parameters
    ----------
    store : Store
    members : Dataset
        Weather before any local correction, with `issued`.
    content : bytes
        The file it came from: the same file is never added twice.
    now : datetime64
        UTC.
    """
    issued = str(members.attrs.get("issued", "")).rstrip("Z")
    if not issued:
        return 0
    source = store.source(str(members.attrs.get("source", "forecast")), content, now, "forecast")
    times = members["time"].values
    return sum(store.add_forecast(np.datetime64(issued), times, name, members[name].values.T, source) for name in KEPT)


def past_nights(
    store: Store, site: Site, sensor: str | None, night: tuple[np.datetime64, np.datetime64], issued: np.datetime64
) -> tuple[update.Nights, timedelta]:
    """Pairs of forecast and read minima of the nights before one, and how old the newest must be.

    Each past night is given the forecast whose lead is nearest to tonight's, within six hours. Nothing issued or read
    after `issued` is used.

    Parameters
    ----------
    store : Store
    site : Site
    sensor : str or None
        Name of the thermometer; None: the mean of all that read air temperature.
    night : pair of datetime64
        UTC, sunset to after sunrise.
    issued : datetime64
        When tonight's forecast was made.
    """
    air = _by_issue(store, "air_temperature", issued)
    cloud, wind = (_by_issue(store, name, issued) for name in KEPT[1:])
    _, stamps, values = store.series("air_temperature", sensor, night[0] - LONGEST * 24 * HOUR, issued)
    lead = night[0] - issued
    rows = []
    for start, end in _spans(site, night):
        if end > issued:
            continue
        alike = [made for made in air if abs((start - made) - lead) <= LIKE_LEAD]
        if not alike:
            continue
        made = min(alike, key=lambda one: abs((start - one) - lead))
        lowest = _lowest(air[made], start, end)
        if lowest is None:
            continue
        read = (stamps >= start) & (stamps <= end)
        hours = len(np.unique(stamps[read].astype("datetime64[h]")))
        observed = float(values[read].min()) if hours >= COVERED * ((end - start) / HOUR) else np.nan
        rows.append((end, lowest, observed, _clear(cloud.get(made), wind.get(made), start, end)))
    width = max((len(row[1]) for row in rows), default=1)
    members = np.full((len(rows), width), np.nan)
    for at, row in enumerate(rows):
        members[at, : len(row[1])] = row[1]
    nights = update.Nights(
        np.array([row[0] for row in rows], dtype="datetime64[ns]"),
        members,
        np.array([row[2] for row in rows], float),
        np.array([row[3] for row in rows], bool),
    )
    return nights, timedelta(seconds=float((night[1] - issued) / np.timedelta64(1, "s")))


def outside(store: Store) -> str:
    """The thermometer outside that was read last, '' when none; one in a zone tells of the bowl's own air instead."""
    known = [s for s in store.sensors() if s.quantity == "air_temperature" and not s.zone]
    return max(known, key=lambda sensor: sensor.last).name if known else ""


def of_log(store: Store, site: Site) -> update.Nights | None:
    """Pairs of the nights before the log's last forecast, for the thermometer outside that was read last.

    None where the log has no such thermometer, or no forecast.
    """
    name = outside(store)
    issues = _by_issue(store, "air_temperature", np.datetime64("2262-01-01"))
    if not name or not issues:
        return None
    issued = max(issues)
    # the night after it, by the sun's own clock: from six in the evening to eight in the morning
    turn = np.timedelta64(round(site.longitude * 240), "s")
    evening = (issued + turn - 18 * HOUR).astype("datetime64[D]") + 42 * HOUR - turn
    pairs, _ = past_nights(store, site, name, (evening, evening + 14 * HOUR), issued)
    return pairs if len(pairs.observed) else None


Issue = tuple[NDArray[np.datetime64], list[Floats]]


def _by_issue(store: Store, quantity: str, known_by: np.datetime64) -> dict[np.datetime64, Issue]:
    """Valid times and members of each forecast by when it was made."""
    grouped: dict[np.datetime64, list[tuple[np.datetime64, Floats]]] = {}
    for made, valid, members in store.forecasts(quantity, known_by):
        grouped.setdefault(made, []).append((valid, members))
    return {made: (np.array([row[0] for row in rows]), [row[1] for row in rows]) for made, rows in grouped.items()}


def _lowest(issue: Issue, start: np.datetime64, end: np.datetime64) -> Floats | None:
    """Each member's lowest in a night; None where the forecast does not cover it."""
    times, members = issue
    inside = np.flatnonzero((times >= start) & (times <= end))
    if len(inside) < COVERED * ((end - start) / HOUR):
        return None
    count = min(len(members[at]) for at in inside)
    return np.asarray(np.array([members[at][:count] for at in inside]).min(axis=0))


def _clear(cloud: Issue | None, wind: Issue | None, start: np.datetime64, end: np.datetime64) -> bool:
    """Whether a night was forecast clear and calm; not, where nothing tells."""
    means = []
    for issue in (cloud, wind):
        if issue is None:
            return False
        inside = np.flatnonzero((issue[0] >= start) & (issue[0] <= end))
        if not len(inside):
            return False
        means.append(float(np.mean([issue[1][at].mean() for at in inside])))
    return means[0] < update.CLEAR and means[1] < update.CALM


def _spans(site: Site, night: tuple[np.datetime64, np.datetime64]) -> list[tuple[np.datetime64, np.datetime64]]:
    """The nights before one, oldest first: sunset to the same time after sunrise as tonight's, or the same hours."""
    noons = pd.DatetimeIndex(night[0] - np.arange(LONGEST, -1, -1) * 24 * HOUR, tz="UTC")
    sun = sun_rise_set_transit_spa(noons, site.latitude, site.longitude)
    sets = sun["sunset"].dt.tz_localize(None).to_numpy().astype("datetime64[s]")
    spans = []
    length = night[1] - night[0]
    for back in range(LONGEST, 0, -1):
        usual = night[0] - back * 24 * HOUR
        near = sets[np.argmin(np.abs(sets - usual))] if np.isfinite(sets.astype(float)).all() else usual
        start = near if abs(near - usual) < 2 * HOUR else usual
        spans.append((start.astype("datetime64[s]"), (start + length).astype("datetime64[s]")))
    return spans
