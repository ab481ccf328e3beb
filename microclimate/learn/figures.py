"""Figures of a replay: a freezing week as measured and as modelled, and the night minima against each other."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from microclimate.learn.compare import BAND
from microclimate.report import canvas
from microclimate.units import Shown

_DAYS = 7


def coldest_week(pairs: pd.DataFrame) -> pd.DataFrame:
    """The seven days whose mean air temperature is lowest among those with readings."""
    known = pairs[[c for c in pairs if str(c).endswith(" measured")]].notna().any(axis=1)
    air = pairs["air_temperature"].where(known)
    means = air.rolling(f"{_DAYS}D", min_periods=1).mean()
    counts = air.rolling(f"{_DAYS}D").count()
    full = means[counts >= 0.9 * counts.max()]
    if full.empty:
        return pairs
    end = full.idxmin()
    chosen: pd.DataFrame = pairs.loc[(pairs.index > end - pd.Timedelta(days=_DAYS)) & (pairs.index <= end)]
    return chosen


def week(axes: Axes, pairs: pd.DataFrame, shown: Shown, most: int = 4) -> Axes:
    """Measured (dots) and modelled (lines) temperatures of some sensors over the rows of `pairs`.

    Parameters
    ----------
    axes : Axes
        To draw on.
    pairs : DataFrame
        `Replay.traces` or a part of it.
    shown : Shown
        Units and clock.
    most : int
        How many sensors, in the order of the file.
    """
    at = canvas.hours(pairs.index.to_numpy())
    labels = [
        str(c).removesuffix(" measured") for c in pairs if str(c).endswith(" measured") and "temperature" in str(c)
    ]
    shades = canvas.TEMPERATURE(np.linspace(0.02, 0.95, max(len(labels[:most]), 2)))
    for label, colour, dash in zip(
        labels[:most], shades, ("-", (0, (6, 2)), (0, (3, 1.5)), (0, (8, 2, 1, 2))), strict=False
    ):
        name = label.partition("[")[0].strip().replace("_", " ")
        told = shown.number(pairs[f"{label} modelled"], "temperature")
        seen = shown.number(pairs[f"{label} measured"], "temperature")
        axes.plot(at, told, color=colour, linestyle=dash, linewidth=1.4, label=name, zorder=3)
        every = max(1, len(at) // 120)
        axes.plot(at[::every], seen[::every], ".", color=colour, markersize=3.5, zorder=2.5)
    canvas.freezing_line(axes, shown)
    axes.set_ylabel(shown.symbol("temperature"))
    axes.grid(axis="y", color=canvas.GRID, linewidth=0.5)
    axes.spines[["top", "right"]].set_visible(False)
    canvas.clock_axis(axes, pairs.index[0], pairs.index[-1], shown)
    axes.set_title("lines modelled, dots measured", loc="left", fontsize=8)
    axes.legend(fontsize=7, frameon=False, ncols=2, loc="lower right", bbox_to_anchor=(1.0, 1.0), borderaxespad=0.1)
    return axes


def minima(axes: Axes, nights: pd.DataFrame, shown: Shown) -> Axes:
    """Lowest surface temperature of each night, modelled over measured; within 0.5 K of freezing is "about even"."""
    counted = nights[nights["screened"] == ""]
    seen = shown.number(counted["observed"], "temperature")
    told = shown.number(counted["modelled"], "temperature")
    clear = counted["clear_calm"].to_numpy(dtype=bool)
    axes.plot(seen[~clear], told[~clear], "o", color="#6e4516", markersize=3, alpha=0.7, label="other nights")
    axes.plot(seen[clear], told[clear], "D", color="#173f6b", markersize=3.5, label="clear calm nights")
    ends = [float(min(seen.min(), told.min())), float(max(seen.max(), told.max()))]
    axes.plot(ends, ends, color=canvas.INK, linewidth=0.8)
    freezing = float(shown.number(273.15, "temperature"))
    band = BAND * (1.0 if shown.system == "metric" else 1.8)
    axes.axvline(freezing, color=canvas.INK, linewidth=0.8)
    axes.axhspan(freezing - band, freezing + band, color=canvas.GRID, alpha=0.5, zorder=0)
    axes.set_xlabel(f"measured, {shown.symbol('temperature')}")
    axes.set_ylabel(f"modelled, {shown.symbol('temperature')}")
    axes.set_aspect("equal", adjustable="datalim")
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(fontsize=7, frameon=False)
    return axes


def replay(pairs: pd.DataFrame, nights: pd.DataFrame, shown: Shown) -> Figure:
    """Both in one figure; the second only where there are nights to show."""
    with canvas.style():
        drawn = Figure(figsize=(10.0, 4.0), layout="constrained")
        FigureCanvasSVG(drawn)
        some = not nights.empty and bool((nights["screened"] == "").any())
        grid = drawn.add_gridspec(1, 3)
        week(drawn.add_subplot(grid[0, : 2 if some else 3]), coldest_week(pairs), shown)
        if some:
            checked = nights[nights["zero_checked"] == nights["zero_checked"].iloc[-1]]
            minima(drawn.add_subplot(grid[0, 2]), checked, shown)
    return drawn
