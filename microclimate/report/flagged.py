"""The page of what was flagged: each finding with its reason, and the readings about it, flagged ones marked."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup
from matplotlib.figure import Figure
from numpy.typing import NDArray

from microclimate.report import canvas, words_fieldlog
from microclimate.report.words import sentence
from microclimate.units import Shown

PAGE = "flagged.html"
MOST = 24  # figures on one page
POINTS = 1500  # of one figure; a longer series is thinned, flagged readings are all kept
_TEMPLATES = Path(__file__).parent / "templates"
_PAGES = Environment(loader=FileSystemLoader(_TEMPLATES), autoescape=True)

Told = tuple[str, str, int, np.datetime64, np.datetime64]
Drawn = tuple[str, tuple[NDArray[np.datetime64], NDArray[np.float64], NDArray[np.bool_], str]]


@dataclass(frozen=True)
class _Row:
    where: str
    why: str
    count: str
    span: str
    svg: Markup


def page(name: str, told: Sequence[Told], drawn: Sequence[Drawn], shown: Shown) -> str:
    """The page as text; the same findings give the same bytes.

    Parameters
    ----------
    name : str
        Of the venue.
    told : sequence
        Place, why, count of readings, first and last (UTC).
    drawn : sequence
        Place, and times, values (SI), flagged or not, quantity of the readings about each finding, in the same order.
    shown : Shown
    """
    rows = []
    for number, ((where, why, count, first, last), (_, (times, values, marked, quantity))) in enumerate(
        zip(told, drawn, strict=True)
    ):
        picture = Markup("")
        if number < MOST:
            figure = _figure(times, values, marked, quantity, shown)
            picture = Markup(canvas.svg(figure, f"finding-{number}", where, f"{why}. Crosses are flagged readings."))
        span = words_fieldlog.when(first, shown)
        if last != first:
            span += f" to {words_fieldlog.when(last, shown)}"
        rows.append(_Row(where, sentence(why), words_fieldlog.counted(count, "reading"), span, picture))
    css = (_TEMPLATES / "briefing.css").read_text(encoding="utf-8")
    return _PAGES.get_template("flagged.html").render(name=name, css=Markup(css), rows=rows)


def _figure(
    times: NDArray[np.datetime64], values: NDArray[np.float64], marked: NDArray[np.bool_], quantity: str, shown: Shown
) -> Figure:
    with canvas.style():
        figure, axes = canvas.figure(6.4, 1.9)
        kind = words_fieldlog.QUANTITIES[quantity][1]
        told = shown.number(values, kind) if kind in ("temperature", "temperature difference", "speed") else values
        thin = np.zeros(len(times), dtype=bool)
        thin[:: max(1, len(times) // POINTS)] = True
        hours = canvas.hours(times)
        axes.plot(hours[thin & ~marked], told[thin & ~marked], ".", color=canvas.INK, markersize=2.5)
        some = marked & (thin | (np.cumsum(marked) <= POINTS))
        axes.plot(hours[some], told[some], "x", color="#a9763c", markersize=5)
        if kind == "temperature":
            canvas.freezing_line(axes, shown)
        axes.set_ylabel(shown.symbol(kind) if kind in ("temperature", "temperature difference", "speed") else kind)
        axes.grid(axis="y", color=canvas.GRID, linewidth=0.5)
        axes.spines[["top", "right"]].set_visible(False)
        canvas.clock_axis(axes, times[0], times[-1], shown)
    return figure
