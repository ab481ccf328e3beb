"""Tables for people: one row for each zone, every column's unit in its head, numbers in the reader's units.

The same rows serve the screen, the briefing and a CSV file, so that the three can never differ.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from microclimate.report.answer import Answer
from microclimate.report.words import clock, day_clock, depth, local, number, states
from microclimate.units import Shown


@dataclass(frozen=True)
class Table:
    """Heads (with units), rows of text, and what the table is."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


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


def at(answer: Answer, event: int) -> dict[str, xr.Dataset]:
    """The risk of each zone in one window, coldest zone first."""
    risk = answer.risk.isel(event=event)
    where = {zone: i for i, zone in enumerate(answer.zones)}
    return {zone: risk.isel(zone=where[zone]) for zone in answer.coldest_first}


def middle(array: xr.DataArray) -> float:
    """The median of what lies along `quantile`."""
    levels = np.abs(np.asarray(array["quantile"].values, dtype=float) - 0.5)
    return float(array.isel(quantile=int(np.argmin(levels))).values)


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
    for count, (zone, risk) in enumerate(at(answer, event).items(), 1):
        time: np.datetime64 = risk["canopy_temperature_worst_time"].values.reshape(-1)[0]
        soil = [middle(risk["soil_temperature_worst"].isel(depth=i)) for i in range(len(depths))]
        rows.append(
            (
                str(count),
                zone,
                number(middle(risk["canopy_temperature_worst"]), "temperature", shown),
                number(middle(risk["canopy_temperature_median"]), "temperature", shown),
                when(answer, event, time),
                *(number(value, "temperature", shown) for value in soil),
                states(answer, zone, event),
            )
        )
    symbol = shown.symbol("temperature")
    return Table(
        f"Lowest temperatures [{symbol}]: canopy of the worst and of the median patch, root zone of the worst patch",
        ("No.", "Zone", "Worst", "Median", "At", *depths, "Likely state, its chance"),
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
        rows.append((day_clock(times[i], shown), *(number(v, "temperature", shown) for v in values)))
    return Table(
        f"Canopy temperature of the coldest patch, and air [{shown.symbol('temperature')}], median",
        ("Time", *zones, "Air, open ground"),
        tuple(rows),
    )


def section_rows(answer: Answer, step_hours: int = 4) -> Table:
    """Soil temperature of the coldest patch at each depth, every few hours; ice marked by its share."""
    shown = answer.shown
    section = answer.section
    times = section["time"].values
    keep = [i for i, t in enumerate(times) if _full(t, step_hours, shown)]
    soil, ice = section["soil_temperature"].values, section["frozen_fraction"].values
    rows = []
    for k, d in enumerate(section["depth"].values):
        cells = [
            number(soil[k, i], "temperature", shown) + (f", {100 * ice[k, i]:.0f} % ice" if ice[k, i] >= 0.005 else "")
            for i in keep
        ]
        rows.append((_fine_depth(float(d), shown), *cells))
    return Table(
        f"Root zone of {section.attrs['zone']}, coldest patch [{shown.symbol('temperature')}], and share of ice",
        ("Depth", *(day_clock(times[i], shown) for i in keep)),
        tuple(rows),
    )


def _fine_depth(value: float, shown: Shown) -> str:
    digits = 1 if shown.system == "US" else 0
    return shown.text(value, "depth", digits)


def _full(time: np.datetime64, step_hours: int, shown: Shown) -> bool:
    clocked = local(time, shown)
    return clocked.minute == 0 and clocked.hour % step_hours == 0
