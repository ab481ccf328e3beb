"""The figure of `verify`: for each quantity reliability, ROC and rank histogram."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from microclimate.report import canvas

_LINE = "#1d4a7c"


def reliability(axes: Axes, rows: pd.DataFrame) -> Axes:
    """How often it froze where a chance was told; bars: what so few nights leave open (90 %)."""
    axes.plot([0, 1], [0, 1], color=canvas.INK, linewidth=0.8)
    came = rows["came"].to_numpy(dtype=float)
    ends = np.stack([came - rows["came_low"], rows["came_high"] - came]).clip(min=0.0)
    axes.errorbar(rows["told"], came, ends, fmt="o", color=_LINE, markersize=4, capsize=2, linewidth=1.0)
    for row in rows.to_dict("records"):
        axes.annotate(str(int(row["n"])), (row["told"], row["came"]), (4, -9), textcoords="offset points", fontsize=7)
    axes.set_title("Chance told, share that froze (count beside)", loc="left")
    axes.set_xlabel("chance of freezing told")
    axes.set_ylabel("share of windows that froze")
    axes.set(xlim=(0, 1), ylim=(0, 1))
    return axes


def roc(axes: Axes, rows: pd.DataFrame) -> Axes:
    """Hits over false alarms as the chance acted on falls; empty where it always or never froze."""
    curve = rows[rows["threshold"].notna()].sort_values("false_alarm_rate", kind="stable")
    axes.plot([0, 1], [0, 1], color=canvas.GRID, linewidth=0.8)
    if curve.empty:
        axes.text(0.5, 0.5, "it always froze, or never:\nnothing to tell apart", ha="center", va="center")
        axes.set_title("Told apart", loc="left")
    else:
        area = float(rows.loc[rows["threshold"].isna(), "hit_rate"].iloc[0])
        ordered = curve.sort_values("threshold", ascending=False, kind="stable")
        axes.plot(ordered["false_alarm_rate"], ordered["hit_rate"], "o-", color=_LINE, markersize=3.5, linewidth=1.2)
        for row in ordered[ordered["threshold"].isin([0.1, 0.3, 0.5])].to_dict("records"):
            place = (row["false_alarm_rate"], row["hit_rate"])
            axes.annotate(f"{100 * row['threshold']:.0f} %", place, (5, -9), textcoords="offset points", fontsize=7)
        axes.set_title(f"Told apart (area {area:.2f}; 0.5: not at all, 1: always)", loc="left")
    axes.set_xlabel("false alarms, share of windows that did not freeze")
    axes.set_ylabel("hits, share of windows that froze")
    axes.set(xlim=(0, 1), ylim=(0, 1.02))
    return axes


def ranks(axes: Axes, rows: pd.DataFrame) -> Axes:
    """Where readings fall among the members: even where the spread is right, a U where it is too narrow."""
    axes.bar(rows["rank"], rows["share"], width=0.9, color="#b9d3e6", edgecolor=_LINE, linewidth=0.6)
    axes.axhline(1.0 / max(len(rows), 1), color=canvas.INK, linewidth=0.8)
    axes.set_title("Rank of the reading among members (line: even)", loc="left")
    axes.set_xlabel("rank of the reading, coldest member first")
    axes.set_ylabel("share of windows")
    return axes


def verify(quantities: dict[str, str], reliable: pd.DataFrame, rocs: pd.DataFrame, ranked: pd.DataFrame) -> Figure:
    """A row of three for each quantity (its key and its name for the reader) that has enough pairs."""
    with canvas.style():
        drawn = Figure(figsize=(11.0, 3.4 * len(quantities)), layout="constrained")
        FigureCanvasSVG(drawn)
        parts = drawn.subfigures(len(quantities), 1, squeeze=False)
        for part, (key, name) in zip(parts[:, 0], quantities.items(), strict=True):
            part.suptitle(name, x=0.01, ha="left", fontsize=10)
            left, middle, right = part.subplots(1, 3)
            reliability(left, reliable[reliable["quantity"] == key])
            roc(middle, rocs[rocs["quantity"] == key])
            ranks(right, ranked[ranked["quantity"] == key])
            for axes in (left, middle, right):
                axes.spines[["top", "right"]].set_visible(False)
    return drawn
