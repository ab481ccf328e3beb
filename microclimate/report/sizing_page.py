"""The sizing report as one HTML page that needs nothing else."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from matplotlib.axes import Axes

from microclimate.report import canvas, figures_sizing, words_sizing
from microclimate.report.sized import ClimateTold, Sized

_PAGES = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "templates"), undefined=StrictUndefined, autoescape=True
)


@dataclass(frozen=True)
class _Figure:
    svg: Markup
    caption: str


@dataclass(frozen=True)
class _Climate:
    name: str
    answer: list[str]
    source: list[str]
    trials: list[str]
    hangs: list[str]
    figures: list[_Figure]
    table: list[tuple[str, ...]]
    short: list[int]  # options of the short table
    chosen: int


def page(sized: Sized) -> str:
    """The report as text; the same answer gives the same bytes."""
    return _PAGES.get_template("sizing.html").render(
        title=f"{sized.venue}: heating sized",
        asked=words_sizing.asked(sized),
        climates=[_climate(sized, climate, number) for number, climate in enumerate(sized.climates)],
        sections=words_sizing.sections(sized),
    )


def _climate(sized: Sized, climate: ClimateTold, number: int) -> _Climate:
    drawn = [
        _drawn("frontier", number, lambda a: figures_sizing.frontier(a, sized, climate), words_sizing.FRONTIER),
        _drawn("duration", number, lambda a: figures_sizing.duration(a, climate), words_sizing.DURATION),
    ]
    if (climate.told["policy"].values == "event-led").any():
        drawn.append(_drawn("leads", number, lambda a: figures_sizing.leads(a, climate), words_sizing.LEADS))
    drawn.append(_drawn("season", number, lambda a: figures_sizing.calendar(a, climate), words_sizing.SEASON))
    return _Climate(
        climate.name,
        words_sizing.head(sized, climate),
        words_sizing.climate_words(climate, sized.shown),
        words_sizing.trial_words(sized, climate),
        words_sizing.sensitivity_words(sized, climate),
        drawn,
        words_sizing.rows(sized, climate, range(climate.told.sizes["option"])),
        words_sizing.told_of(climate),
        climate.chosen,
    )


def _drawn(name: str, number: int, draw: Callable[[Axes], Axes], caption: str) -> _Figure:
    with canvas.style():
        made, axes = canvas.figure(4.6, 3.2)
        draw(axes)
        return _Figure(Markup(canvas.svg(made, f"{name}{number}", caption, caption)), caption)
