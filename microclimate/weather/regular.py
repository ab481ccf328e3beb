"""Rows of a file to even steps of at most an hour; the one rule for gaps.

Point values are straight lines between neighbours, interval means keep their integral. A gap of at most 3 h (ours) is
bridged and counted; a longer one stays NaN. A forecast that goes on in steps of 3 or 6 hours has no gap: that is its
step, and it is said.
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import refuse
from microclimate.weather import assumed, stamps

Floats = NDArray[np.float64]

BRIDGE = 3.0 * 3600.0  # [s] the longest gap that is bridged (ours)
COARSEST = 6.0 * 3600.0  # [s] the longest step a file may keep
HOUR = 3600.0  # [s]
MINUTE = 60.0  # [s]
MOST_STEPS = 600_000  # 68 years of hours, a year of minutes


def regular(raw: xr.Dataset) -> xr.Dataset:
    """A raw Dataset on even steps, gaps bridged or left, `time_bnds` kept.

    Parameters
    ----------
    raw : Dataset
        (realization, time), each variable with `cell_methods` 'time: point' or 'time: mean', and `time_bnds`.

    Returns
    -------
    Dataset
        The same variables at stamps `step` apart, step = the file's shortest usual one, between a minute and an hour.
    """
    ends = _since(raw["time"].values, raw["time"].values[0])
    starts = _since(raw["time_bnds"].values[:, 0], raw["time"].values[0])
    own = ends - starts
    step = _step(own)
    count = round((ends[-1] - ends[0]) / step) + 1
    if count > MOST_STEPS:
        found = f"spans {(ends[-1] - ends[0]) / 86400.0:.0f} days in steps of {step / 60.0:g} min"
        raise refuse(str(raw.attrs.get("source", "weather")), found, f"at most {MOST_STEPS} steps", "a wrong stamp?")
    grid = ends[0] + step * np.arange(count)
    same = count == len(ends) and np.allclose(grid, ends, atol=0.5) and np.allclose(own, step, atol=0.5)
    codes: list[str] = []
    usual = own[own <= COARSEST]
    if usual.size and usual.max() > 1.01 * HOUR and usual.max() > step:
        codes.append(f"coarse_step_h={usual.max() / HOUR:g}")
    variables = {}
    for name, array in raw.data_vars.items():
        if name == "time_bnds":
            continue
        values = array.transpose("realization", "time").values
        mean = array.attrs.get("cell_methods") == "time: mean"
        if not same:
            values = _means(starts, ends, values, grid, step) if mean else _points(ends, own, values, grid, str(name))
        if mean and values.shape[1] > 1:  # the interval before the first stamp, where a sum began, is no gap
            values = values.copy()
            values[:, 0] = np.where(np.isnan(values[:, 0]), values[:, 1], values[:, 0])
        filled, bridged, left = _bridge(values, step, angle=name == "wind_from_direction")
        if not same and not mean:  # steps that a straight line crossed between rows a gap apart
            bridged += _crossed(ends, own, grid, array.values)
        if bridged:
            codes.append(f"bridged={name}:{bridged}")
        if left:
            codes.append(f"gap={name}:{left}")
        variables[name] = (("realization", "time"), filled, {"cell_methods": array.attrs.get("cell_methods", "")})
    origin = raw["time"].values[0]
    times = origin + np.round(grid * 1e9).astype("timedelta64[ns]")
    width = np.timedelta64(round(step * 1e9), "ns")
    data = xr.Dataset(variables, coords={"time": times}, attrs=dict(raw.attrs))
    data["time_bnds"] = (("time", "bnds"), np.stack([times - width, times], axis=-1))
    return assumed.note(data, codes)


def _since(times: stamps.Times, origin: np.datetime64) -> Floats:
    return np.asarray((times - origin) / np.timedelta64(1, "s"))


def _step(own: Floats) -> float:
    """The shortest step that at least a tenth of the rows have, in whole minutes, 1 minute to 1 hour."""
    lengths, rows = np.unique(np.round(own / MINUTE) * MINUTE, return_counts=True)
    common = lengths[rows >= 0.1 * len(own)]
    step = float(np.clip(common.min() if common.size else HOUR, MINUTE, HOUR))
    return step if HOUR % step == 0 else HOUR


def _points(ends: Floats, own: Floats, values: Floats, grid: Floats, name: str) -> Floats:
    """Straight lines between rows at most `BRIDGE`, or the file's own coarse step, apart; NaN elsewhere."""
    out = np.full((len(values), len(grid)), np.nan)
    for row, series in enumerate(values):
        known = np.isfinite(series)
        if known.sum() < 2:
            continue
        at, series, allowed = ends[known], series[known], np.maximum(BRIDGE, np.minimum(own[known], COARSEST))
        right = np.clip(np.searchsorted(at, grid, side="left"), 1, len(at) - 1)
        inside = (grid >= at[0] - 0.5) & (grid <= at[-1] + 0.5)
        near = (at[right] - at[right - 1] <= allowed[right] * 1.001) | (np.abs(at[right] - grid) < 0.5)
        near |= np.abs(at[right - 1] - grid) < 0.5
        out[row] = np.where(inside & near, _line(grid, at, series, name), np.nan)
    return out


def _line(grid: Floats, at: Floats, series: Floats, name: str) -> Floats:
    if name != "wind_from_direction":
        return np.interp(grid, at, series)
    return np.rad2deg(np.interp(grid, at, np.unwrap(np.deg2rad(series)))) % 360.0


def _crossed(ends: Floats, own: Floats, grid: Floats, values: Floats) -> int:
    """How many new steps lie inside a bridged hole between rows (not inside the file's own coarse step)."""
    apart = np.diff(ends)
    hole = (apart > np.maximum(own[1:], own[:-1]) * 1.5) & (apart <= BRIDGE * 1.001)
    right = np.clip(np.searchsorted(ends, grid, side="left"), 1, len(ends) - 1)
    within = hole[right - 1] & (np.abs(ends[right] - grid) > 0.5) & (np.abs(ends[right - 1] - grid) > 0.5)
    return int(within.sum()) * len(np.atleast_2d(values))


def _means(starts: Floats, ends: Floats, values: Floats, grid: Floats, step: float) -> Floats:
    """Interval means carried over so that the integral is kept; NaN where less than all of a step is covered."""
    edges = np.concatenate([grid[:1] - step, grid])
    out = np.full((len(values), len(grid)), np.nan)
    for row, series in enumerate(values):
        known = np.isfinite(series)
        if not known.any():
            continue
        begin, end, level = (
            np.maximum(starts[known], np.concatenate([[-np.inf], ends[known][:-1]])),
            ends[known],
            series[known],
        )
        knots = np.stack([begin, end], axis=-1).ravel()
        content = np.stack([np.zeros_like(level), level * (end - begin)], axis=-1).ravel().cumsum()
        cover = np.stack([np.zeros_like(level), end - begin], axis=-1).ravel().cumsum()
        covered = np.diff(np.interp(edges, knots, cover))
        held = np.diff(np.interp(edges, knots, content))
        out[row] = np.where(covered >= 0.999 * step, held / np.maximum(covered, 1e-9), np.nan)
    return out


def _bridge(values: Floats, step: float, *, angle: bool = False) -> tuple[Floats, int, int]:
    """Runs of NaN of at most `BRIDGE` filled between their neighbours; how many steps, and how many are left."""
    if np.isfinite(values).all():
        return values, 0, 0
    filled = values.copy()
    bridged = 0
    longest = round(BRIDGE / step) - 1 if step < BRIDGE else 0  # neighbours at most BRIDGE apart
    for series in filled:
        holes = np.isnan(series)
        if holes.all() or not holes.any():
            continue
        change = np.flatnonzero(np.diff(np.concatenate([[0], holes.view(np.int8), [0]])))
        for first, after in zip(change[::2], change[1::2], strict=True):
            if first == 0 or after == len(series) or after - first > longest:
                continue
            pair = series[[first - 1, after]]
            if angle:
                pair = np.rad2deg(np.unwrap(np.deg2rad(pair)))
            line = np.linspace(pair[0], pair[1], after - first + 2)[1:-1]
            series[first:after] = line % 360.0 if angle else line
            bridged += after - first
    return filled, bridged, int(np.isnan(filled).sum())
