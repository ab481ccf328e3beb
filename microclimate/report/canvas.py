"""What all figures share: colours, clock and temperature axes, and a figure as inline SVG.

Temperatures are coloured from blue through pale to brown, pale at 0 degC, chances in one hue; every colour is also
told by a line, a dash or a number.
"""

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap
from matplotlib.figure import Figure
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.report.words import Time, local
from microclimate.schema import Event
from microclimate.units import Shown

INK, PALE, GRID = "#1c2430", "#f4f1e8", "#c9ced6"
TEMPERATURE = LinearSegmentedColormap.from_list(
    "about_freezing", ["#1d4a7c", "#5b90bf", "#b9d3e6", PALE, "#ecd5b0", "#d3ab74", "#a9763c"]
)
CHANCE = LinearSegmentedColormap.from_list("chance", ["#f3f5f2", "#a9c3b4", "#4f8069", "#1d4634"])
SHARE = LinearSegmentedColormap.from_list("share", ["#2c2a3d", "#7a6f95", "#c9b8c4", "#faf3e3"])

_STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "microclimate",
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.titlesize": 9,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.45,
    "path.simplify": True,
    "path.simplify_threshold": 0.3,
}


@contextmanager
def style() -> Iterator[None]:
    """The look of all figures, for the time of a `with` block."""
    with mpl.rc_context(_STYLE):
        yield


def figure(width: float, height: float) -> tuple[Figure, Axes]:
    """A figure without a screen. [inch]"""
    made = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasSVG(made)
    return made, made.add_subplot()


def svg(drawn: Figure, name: str, title: str, description: str) -> str:
    """A figure as an `<svg>` element: same figure, same bytes; its identifiers begin with `name`.

    It has no size of its own (it fills its box), a title and a description that screen readers find, and no date.
    """
    out = io.StringIO()
    drawn.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"<style type=\"text/css\">.*?</style>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', text)
    text = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", text)
    text = re.sub(r'xlink:href="#([^"]+)"', rf'xlink:href="#{name}-\1"', text)
    text = re.sub(r' d="[^"]*"', lambda path: _short(path[0]), text)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    box = re.search(r'viewBox="[^"]+"', text)
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'{box.group(0) if box else ""} role="img" aria-labelledby="{name}-title {name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>'
    )
    return re.sub(r"<svg[^>]*>", lambda _: opening, text, count=1)


def _short(path: str) -> str:
    """A path in tenths of a point, which is finer than any screen, without the spaces it does not need."""
    text = re.sub(r"\d+\.\d+", lambda found: f"{float(found[0]):.1f}".removesuffix(".0"), path)
    return re.sub(r"\s*([A-Za-z])\s+(?=[-\d])", r"\1", text.replace("\n", " ")).replace(" z", "z")


def levels(values: NDArray[np.float64], shown: Shown, most: int = 10) -> NDArray[np.float64]:
    """Rising class borders in the reader's temperature unit that hold the values, whole steps from freezing."""
    freezing = float(shown.number(ZERO_CELSIUS, "temperature"))
    finite = values[np.isfinite(values)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (freezing - 1, freezing + 1)
    for step in (0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0):
        first, last = int(np.floor((low - freezing) / step)), int(np.ceil((high - freezing) / step))
        if last - first <= most:
            break
    return np.asarray(freezing + step * np.arange(first, max(last, first + 1) + 1), dtype=float)


def about_freezing(borders: NDArray[np.float64], shown: Shown) -> BoundaryNorm:
    """Colours for the classes, pale where freezing lies however lopsided the classes are."""
    return about(borders, float(shown.number(ZERO_CELSIUS, "temperature")))


def about(borders: NDArray[np.float64], middle: float) -> BoundaryNorm:
    """Colours for the classes, pale at `middle` however lopsided the classes are."""
    step = float(borders[1] - borders[0])
    reach = max(round(float(np.abs(borders - middle).max()) / step), 2)  # two classes at least on either side
    whole = middle + step * np.arange(-reach, reach + 1)
    return BoundaryNorm(whole, TEMPERATURE.N)


def hours(times: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Times as hours since 1970, the x axis of every series."""
    return np.asarray(times.astype("datetime64[s]").astype(np.int64) / 3600.0)


def hour(time: Time) -> float:
    """One time as hours since 1970."""
    return float(pd.Timestamp(time).value / 3.6e12)


def size_of(axes: Axes) -> NDArray[np.float64]:
    """Width and height of the figure an axis stands in. [pt]"""
    drawn = axes.get_figure(root=True)
    return np.asarray(drawn.get_size_inches() if drawn is not None else (6.4, 4.8)) * 72.0


def clock_axis(axes: Axes, start: Time, end: Time, shown: Shown, most: int = 9) -> Axes:
    """Label the x axis (hours since 1970) with the clock at the field, the day under its first tick."""
    first, last = hour(start), hour(end)
    axes.set_xlim(first, last)
    step = next(s for s in (1, 2, 3, 6, 12, 24) if (last - first) / s <= most or s == 24)
    ticks, names, day = [], [], None
    for whole in np.arange(np.ceil(first), np.floor(last) + 1):
        at = local(np.datetime64(int(whole * 3600), "s"), shown)
        if at.minute or at.hour % step:
            continue
        ticks.append(float(whole))
        name = _hour(at.hour, shown)
        if at.date() != day:
            day = at.date()
            name += f"\n{_DAYS[at.weekday()]}"
        names.append(name)
    axes.set_xticks(ticks, names)
    return axes


_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def _hour(hour: int, shown: Shown) -> str:
    if shown.clock == 24:
        return f"{hour:02d}:00"
    return {0: "midn.", 12: "noon"}.get(hour, f"{hour % 12} {'am' if hour < 12 else 'pm'}")


def mark_windows(axes: Axes, windows: Sequence[Event], *, shaded: bool = True) -> Axes:
    """Mark each event on an axis in hours and name it at its top; the night, the first window, is left open."""
    low, high = axes.get_xlim()
    for window in windows[1:]:
        start, end = hour(window.start), hour(window.end)
        if end < low or start > high:
            continue
        if shaded:
            axes.axvspan(start, end, facecolor="#8a93a0", alpha=0.22, hatch="///", edgecolor="#8a93a0", linewidth=0)
        else:
            axes.vlines(
                [start, end], 0, 1, transform=axes.get_xaxis_transform(), color=INK, linewidth=1, linestyle="--"
            )
        middle = (max(start, low) + min(end, high)) / 2
        right = middle > (low + high) / 2
        axes.annotate(
            window.name,
            (end if right else start, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 2),
            textcoords="offset points",
            ha="right" if right else "left",
            va="bottom",
            fontsize=8,
        )
    return axes


def freezing_line(axes: Axes, shown: Shown) -> Axes:
    """A line at 0 degC on a temperature axis."""
    axes.axhline(float(shown.number(ZERO_CELSIUS, "temperature")), color=INK, linewidth=1.2, zorder=2)
    return axes
