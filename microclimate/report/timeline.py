"""The night on one line of time: actions, events, canopy of two zones with and without the plan."""

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from microclimate.report import words_plan
from microclimate.report.answer import Answer
from microclimate.report.canvas import GRID, INK, clock_axis, freezing_line, hour, hours, mark_windows
from microclimate.report.figures import thinned
from microclimate.report.planned import Planned, ending
from microclimate.report.tables import Table, brief
from microclimate.report.words import day_clock, number

STEP_HOURS = 2  # between the rows of the table


def title(answer: Answer) -> str:
    """Title of the figure."""
    return f"The night with the plan: canopy [{answer.shown.symbol('temperature')}], middle forecast"


def zones(answer: Answer) -> tuple[str, str]:
    """The coldest zone and the one in the middle of the order."""
    order = answer.coldest_first
    return order[0], order[len(order) // 2]


def description(answer: Answer, planned: Planned) -> str:
    """What the figure shows, for a reader who cannot see it."""
    parts = [words_plan.hours(planned.best.deeds, answer.shown)]
    for zone in zones(answer):
        low = [float(np.nanmin(series)) for series in _series(answer, planned, zone)]
        done, with_plan = (number(value, "temperature", answer.shown) for value in low)
        symbol = answer.shown.symbol("temperature")
        parts.append(f"{zone}: lowest canopy {done} {symbol} with nothing done, {with_plan} {symbol} with the plan")
    return "; ".join(parts) + "."


def draw(axes: Axes, answer: Answer, planned: Planned) -> Axes:
    """Curves with the plan in full lines, with nothing done dashed; actions as bars along the top."""
    shown = answer.shown
    for zone, colour in zip(zones(answer), ("#173f6b", "#6e4516"), strict=True):
        for curves, dash, width in ((answer.curves, (0, (3, 1.5)), 1.0), (planned.curves, "-", 1.9)):
            few = thinned(curves.sel(zone=[zone]))
            values = shown.number(few["canopy_temperature"].values[0, _middle(few["quantile"].values)], "temperature")
            axes.plot(hours(few["time"].values), values, color=colour, linestyle=dash, linewidth=width)
        axes.plot([], [], color=colour, label=zone)
    freezing_line(axes, shown)
    start, end = answer.curves["time"].values[[0, -1]]
    low, high = axes.get_ylim()
    step = 0.14 * (high - low)
    bars = _bars(planned)
    rows = list(dict.fromkeys(name for name, _, _ in bars))  # spells of one cover share a line
    for name, first, last in bars:
        height = high + (rows.index(name) + 0.5) * step
        axes.plot([hour(first), hour(last)], [height, height], color=INK, linewidth=3.5, solid_capstyle="butt")
    for row, name in enumerate(rows):
        begin = max(min(hour(first) for bar, first, _ in bars if bar == name), hour(start))
        at = (begin, high + (row + 0.5) * step)
        axes.annotate(name, at, xytext=(0, 3), textcoords="offset points", fontsize=8)
    axes.set_ylim(low, high + (len(rows) + 0.6) * step)
    axes.set_ylabel(shown.symbol("temperature"))
    axes.grid(axis="y", color=GRID, linewidth=0.5)
    axes.spines[["top", "right"]].set_visible(False)
    clock_axis(axes, start, end, shown, most=5 if shown.clock == 24 else 7)
    mark_windows(axes, answer.windows)
    axes.legend(loc="lower center", fontsize=8, frameon=False, ncols=2, bbox_to_anchor=(0.5, -0.36))
    return axes


def note() -> str:
    """How to read the figure."""
    return "Full lines: with the plan. Dashed: nothing done. Bars: covers lying, heat allowed."


def table(answer: Answer, planned: Planned) -> Table:
    """The same as a table, every few hours."""
    shown, times = answer.shown, answer.curves["time"].values
    pairs = [_series(answer, planned, zone) for zone in zones(answer)]
    rows = []
    for k, time in enumerate(times):
        told = day_clock(time, shown)
        stamp = time.astype("datetime64[m]").astype(np.int64)
        if stamp % (60 * STEP_HOURS):
            continue
        values = [brief(number(float(series[k]), "temperature", shown)) for pair in pairs for series in pair]
        running = ", ".join(name for name, first, last in _bars(planned) if _inside(time, first, last))
        rows.append((told, *values, running or "none"))
    heads = [f"{zone}, {what}" for zone in zones(answer) for what in ("nothing done", "with the plan")]
    return Table(title(answer), ("Time", *heads, "Running"), tuple(rows))


def _series(answer: Answer, planned: Planned, zone: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Median canopy of a zone [K], nothing done and with the plan."""
    before, after = (
        np.asarray(curves["canopy_temperature"].sel(zone=zone).values[_middle(curves["quantile"].values)])
        for curves in (answer.curves, planned.curves)
    )
    return before, after


def _middle(levels: NDArray[np.float64]) -> int:
    return int(np.argmin(np.abs(levels - 0.5)))


def _bars(planned: Planned) -> list[tuple[str, np.datetime64, np.datetime64]]:
    """What runs, from when to when: covers from lying to the start of lifting, heat."""
    found: list[tuple[str, np.datetime64, np.datetime64]] = []
    for action in ("lay", "heat"):
        for deed in planned.best.deeds:
            end = ending(deed, planned.best.deeds)
            if deed.action == action and end is not None:
                begin, name = (deed.end, deed.what) if action == "lay" else (deed.start, f"heat: {deed.what}")
                found.append((name, np.datetime64(begin, "ns"), np.datetime64(end.start, "ns")))
    return found


def _inside(time: np.datetime64, first: np.datetime64, last: np.datetime64) -> bool:
    return bool(first < time <= last)
