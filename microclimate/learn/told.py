"""What runs told of past windows beside what was read there since: the pairs that every score is made of."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from microclimate.fieldlog.store import Sensor, Store, seconds

Array = NDArray[np.float64]
Span = tuple[np.datetime64, np.datetime64]

COVERED = 0.75  # of a window's hours that must have been read (ours)
AROUND = 0.012  # [m] of depth between what is told and what is read
CANOPY, SOIL, AIR = "canopy_temperature_min", "soil_temperature_min_25mm", "air_temperature_min"
WIND, CLOUD = "wind_speed_mean", "cloud_area_fraction_mean"
READ = {CANOPY: ("canopy_temperature", "surface_temperature"), SOIL: ("soil_temperature",), AIR: ("air_temperature",)}
SOIL_DEPTH = 0.025  # [m]
_NONE = np.zeros(0)


@dataclass(frozen=True)
class Pair:
    """One window of one zone: what was told, and what came."""

    quantity: str
    zone: str
    start: np.datetime64
    end: np.datetime64
    lead: float  # [h] from the forecast's issue to the window's start
    members: Array  # [K]
    observed: float  # [K]
    wind: float  # [m s-1] forecast mean over the window, NaN where it was not kept
    cloud: float  # [1]
    raw: Array = field(default_factory=_NONE.copy)  # (member,) [K] lowest air of the forecast as it came


def pairs(store: Store, until: np.datetime64 | None = None, *, last: bool = False, raw: bool = False) -> list[Pair]:
    """Every forecast of a window that has been read since, oldest first.

    Parameters
    ----------
    store : Store
    until : datetime64, optional
        UTC; windows that end later are left out.
    last : bool
        Of several forecasts of one window only the last made before it began.
    raw : bool
        Look up what the forecast itself had, too.
    """
    rows = [
        row for row in store.rows("told") if until is None or row["finish"] <= until.astype("datetime64[s]").astype(int)
    ]
    around: dict[tuple[int, int, int, str], float] = {}
    for row in rows:
        if row["quantity"] in (WIND, CLOUD):
            members = json.loads(row["members"])
            around[row["made"], row["start"], row["finish"], row["quantity"]] = (
                float(np.mean(members)) if members else np.nan
            )
    if last:
        rows = _last(rows)
    forecast = _raw(store, rows) if raw else {}
    sensors = store.sensors()
    seen: dict[tuple[str, str, int, int], float] = {}
    found = []
    for row in sorted(rows, key=lambda r: (r["start"], r["made"], r["zone"], r["quantity"])):
        if row["quantity"] not in READ:
            continue
        place = (row["quantity"], row["zone"], row["start"], row["finish"])
        if place not in seen:
            seen[place] = _observed(store, sensors, *place)
        members = np.array(json.loads(row["members"]), dtype=float)
        if np.isnan(seen[place]) or not members.size:
            continue
        start, end = (np.datetime64(row[name], "s") for name in ("start", "finish"))
        key, issue = ((row[name], row["start"], row["finish"]) for name in ("made", "issued"))
        found.append(
            Pair(
                row["quantity"], row["zone"], start, end, (row["start"] - row["issued"]) / 3600.0, members, seen[place],
                around.get((*key, WIND), np.nan), around.get((*key, CLOUD), np.nan),
                forecast.get(issue, _NONE) if row["quantity"] != SOIL else _NONE,
            )
        )  # fmt: skip
    return found


def _raw(store: Store, rows: list[dict[str, Any]]) -> dict[tuple[int, int, int], Array]:
    """Lowest air of each forecast's members in each window, as it came, by (issued, start, finish)."""
    wanted = {(row["issued"], row["start"], row["finish"]) for row in rows}
    issues: dict[int, list[tuple[int, Array]]] = {issued: [] for issued, *_ in wanted}
    if not wanted:
        return {}
    for issued, valid, members in store.forecasts("air_temperature", np.datetime64(max(issues), "s")):
        if seconds(issued) in issues:
            issues[seconds(issued)].append((seconds(valid), members))
    found = {}
    for issued, start, finish in wanted:
        inside = [members for valid, members in issues[issued] if start <= valid <= finish]
        if len(inside) >= COVERED * (finish - start) / 3600.0:
            width = min(len(members) for members in inside)
            found[issued, start, finish] = np.min([members[:width] for members in inside], axis=0)
    return found


def _last(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    best: dict[tuple[object, ...], dict[str, object]] = {}
    for row in rows:
        key = (row["quantity"], row["zone"], row["start"], row["finish"])
        early = int(str(row["made"])) <= int(str(row["start"]))
        if early and (key not in best or int(str(row["made"])) > int(str(best[key]["made"]))):
            best[key] = row
    return list(best.values())


def _observed(store: Store, sensors: list[Sensor], quantity: str, zone: str, start: int, finish: int) -> float:
    """Lowest reading of a place in a window [K]; of several sensors the coldest, as the coldest patch is told."""
    lowest = np.nan
    span = np.datetime64(start, "s"), np.datetime64(finish, "s")
    for sensor in sensors:
        if sensor.quantity not in READ[quantity] or sensor.last < span[0] or sensor.first > span[1]:
            continue
        if quantity != AIR and sensor.zone not in ("", zone):
            continue
        if quantity == SOIL and abs(sensor.depth - SOIL_DEPTH) > AROUND:
            continue
        times, values = store.values(sensor.number, *span)
        hours = np.unique(times.astype("datetime64[h]")).size
        if hours >= COVERED * (span[1] - span[0]) / np.timedelta64(1, "h"):
            lowest = float(np.fmin(lowest, values.min()))
    return lowest


@dataclass(frozen=True)
class Record:
    """How the last nights were told, in one line."""

    nights: int
    quantity: str
    error: float  # [K] mean absolute, of the median told
    inside: int  # nights whose reading lay in the range told (10 to 90 %), in at least half of the zones read
    bias: float  # [K] told less read


def record(found: list[Pair], nights: int = 7) -> Record | None:
    """The last nights that were read: canopy where a zone's canopy was, else root zone, else air; None without any."""
    for quantity in (CANOPY, SOIL, AIR):
        some = [pair for pair in found if pair.quantity == quantity]
        starts = sorted({pair.start for pair in some})[-nights:]
        some = [pair for pair in some if pair.start in starts]
        if not some:
            continue
        missed = np.array([float(np.median(pair.members)) - pair.observed for pair in some])
        held = np.array(
            [np.quantile(p.members, 0.1) - 1e-9 <= p.observed <= np.quantile(p.members, 0.9) + 1e-9 for p in some]
        )
        by_night = [held[[p.start == start for p in some]].mean() >= 0.5 for start in starts]
        return Record(len(starts), quantity, float(np.abs(missed).mean()), int(sum(by_night)), float(missed.mean()))
    return None


def kept(zones: Mapping[str, Mapping[str, Array]], around: Mapping[str, Array]) -> dict[tuple[str, str], Array]:
    """What a run tells of one window, as the store takes it: by (zone, quantity)."""
    found = {(zone, quantity): values for zone, told in zones.items() for quantity, values in told.items()}
    return found | {("", quantity): values for quantity, values in around.items()}
