"""Tables for people: one row for each zone, every column's unit in its head, numbers in the reader's units.

The same rows serve the screen, the briefing and a CSV file, so that the three can never differ.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.path import Path as Outline
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.report.answer import Answer
from microclimate.report.words import UNKNOWN, clock, day_clock, depth, local, number, states
from microclimate.units import Shown

FROZEN_SHARE = 0.3  # share of ice from which a layer counts as frozen, as in the ladder of states


@dataclass(frozen=True)
class Table:
    """Heads (with units), rows of text, and what the table is."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def brief(text: str) -> str:
    """A cell of a narrow column: "?" for what is unknown."""
    return "?" if text == UNKNOWN else text


def head(name: str, kind: str, shown: Shown) -> str:
    """A column head with its unit, for example 'lowest canopy [°F]'; for a CSV file use `plain_head`."""
    return f"{name} [{shown.symbol(kind)}]"


def plain_head(name: str, kind: str, shown: Shown) -> str:
    """A column head that the package's own readers understand: 'lowest canopy [degF]'."""
    return f"{name} [{shown.unit(kind)}]"


def time_head(name: str, shown: Shown) -> str:
    """A head for a column of clock times, with the time zone."""
    return f"{name} [{shown.time_zone}]"


def csv_text(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Comma-separated text with one head line, lines ended by a line feed."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows(rows)
    return out.getvalue()


def when(answer: Answer, event: int, time: np.datetime64) -> str:
    """A time inside a window: the day is named only where the window is longer than a day."""
    window = answer.windows[event]
    long = (window.end - window.start).total_seconds() > 24 * 3600
    return (day_clock if long else clock)(time, answer.shown)


def lowest(answer: Answer, event: int) -> Table:
    """Lowest canopy (worst patch and median patch), when, lowest root zone by depth, likely states."""
    shown = answer.shown
    depths = [depth(float(d), shown) for d in answer.risk["depth"].values]
    rows = []
    for count, zone in enumerate(answer.coldest_first, 1):
        time: np.datetime64 = answer.told("canopy_temperature_worst_time", zone, event).reshape(-1)[0]
        worst, median, soil = (
            answer.told(f"{name}_temperature_{patch}", zone, event)[..., answer.middle]
            for name, patch in (("canopy", "worst"), ("canopy", "median"), ("soil", "worst"))
        )
        rows.append(
            (
                str(count),
                zone,
                brief(number(float(worst), "temperature", shown)),
                brief(number(float(median), "temperature", shown)),
                brief(when(answer, event, time)),
                *(brief(number(float(value), "temperature", shown)) for value in soil),
                states(answer, zone, event),
            )
        )
    symbol = shown.symbol("temperature")
    return Table(
        f"Lowest temperatures [{symbol}]: canopy of the worst and of the median patch, root zone of the worst patch; "
        "behind a chance its range [%]",
        ("No.", "Zone", "Worst", "Median", "At", *depths, "Likely state, its chance (range)"),
        tuple(rows),
    )


def curve_rows(answer: Answer, zones: Sequence[str], step_hours: int = 2) -> Table:
    """Median canopy temperature of some zones and the air, every few hours on the local clock."""
    shown = answer.shown
    times = answer.curves["time"].values
    keep = [i for i, t in enumerate(times) if _full(t, step_hours, shown)]
    series = [answer.curves["canopy_temperature"].sel(zone=zone) for zone in zones] + [answer.sky["air_temperature"]]
    level = [int(np.argmin(np.abs(np.asarray(s["quantile"].values, dtype=float) - 0.5))) for s in series]
    air_at = np.searchsorted(answer.sky["time"].values, times).clip(0, answer.sky.sizes["time"] - 1)
    rows = []
    for i in keep:
        values = [float(s.values[q, i]) for s, q in zip(series[:-1], level[:-1], strict=True)]
        values.append(float(series[-1].values[level[-1], air_at[i]]))
        rows.append((day_clock(times[i], shown), *(brief(number(v, "temperature", shown)) for v in values)))
    return Table(
        f"Canopy temperature of the coldest patch, and air [{shown.symbol('temperature')}], median",
        ("Time", *zones, "Air, open ground"),
        tuple(rows),
    )


def section_rows(answer: Answer, step_hours: int = 3) -> Table:
    """Root-zone temperature of the coldest patch at the depths told, and how deep it is frozen, every few hours."""
    shown, section = answer.shown, answer.section
    times, deep = section["time"].values, section["depth"].values
    soil, ice = section["soil_temperature"].values, section["frozen_fraction"].values
    depths = [float(d) for d in answer.risk["depth"].values]
    rows = []
    for i in (i for i, t in enumerate(times) if _full(t, step_hours, shown)):
        at_depths = np.interp(depths, deep, soil[:, i])
        frozen = deep[ice[:, i] >= FROZEN_SHARE]
        reach = depth(float(frozen.max()), shown) if frozen.size else "not frozen"
        cells = (brief(number(float(v), "temperature", shown)) for v in at_depths)
        rows.append((day_clock(times[i], shown), *cells, reach))
    return Table(
        f"Root zone of {section.attrs['zone']}, coldest patch [{shown.symbol('temperature')}], median",
        ("Time", *(depth(d, shown) for d in depths), "Frozen down to"),
        tuple(rows),
    )


def map_rows(answer: Answer) -> Table:
    """Coldest and mildest cell of each zone, and the share of it that falls below freezing, median."""
    shown, values = answer.shown, answer.cells["canopy_temperature_min"].values
    rows = []
    for count, zone in enumerate(answer.coldest_first, 1):
        inside = values[in_zone(answer.cells, answer.outlines[zone])]
        inside = inside[np.isfinite(inside)]
        low, high = (float(inside.min()), float(inside.max())) if inside.size else (np.nan, np.nan)
        share = f"{100 * (inside < ZERO_CELSIUS).mean():.0f} %" if inside.size else "?"
        rows.append((str(count), zone, *(brief(number(v, "temperature", shown)) for v in (low, high)), share))
    return Table(
        f"Lowest canopy tonight [{shown.symbol('temperature')}], coldest and mildest spot of each zone, median",
        ("No.", "Zone", "Coldest", "Mildest", "Share below freezing"),
        tuple(rows),
    )


def in_zone(cells: xr.Dataset, corners: Sequence[tuple[float, float]]) -> NDArray[np.bool_]:
    """Which cells have their centre in a zone."""
    points = np.column_stack([cells["x"].values, cells["y"].values])
    return np.asarray(Outline(np.asarray(corners)).contains_points(points))


def _full(time: np.datetime64, step_hours: int, shown: Shown) -> bool:
    clocked = local(time, shown)
    return clocked.minute == 0 and clocked.hour % step_hours == 0
