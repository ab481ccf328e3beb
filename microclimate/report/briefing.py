"""The answer as one page of HTML that holds everything it shows: no script, no outside file, prints on one sheet."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup

from microclimate.report import (
    canvas,
    figures,
    strip,
    tables,
    timeline,
    words_cautions,
    words_figures,
    words_head,
    words_plan,
    words_reasons,
    words_stops,
    words_watered,
    words_whom,
    words_work,
)
from microclimate.report.answer import Answer
from microclimate.report.sheet import fitted
from microclimate.report.tables import Table
from microclimate.report.words import FROST, FROZEN, glued, number, sentence, span, states
from microclimate.schema import SurfaceState

_TEMPLATES = Path(__file__).parent / "templates"
_PAGES = Environment(loader=FileSystemLoader(_TEMPLATES), autoescape=True, trim_blocks=False, lstrip_blocks=False)
_PAGES.finalize = lambda value: glued(value) if type(value) is str else value
_SIZES = {
    "map": (4.0, 2.75),
    "curves": (4.0, 2.5),
    "section": (4.0, 2.45),
    "timeline": (4.0, 2.9),
    "strip": (4.0, 2.6),
}  # [inch] about what a phone shows
MAIN_WINDOWS = 2  # windows in the table of zones; further ones have a table of their own


@dataclass(frozen=True)
class _Figure:
    name: str
    title: str
    svg: Markup
    table: Table
    note: str = ""


@dataclass(frozen=True)
class _Plan:
    todo: list[tuple[str, str, str]]
    effect: str
    basis: str
    summary: list[str]
    figure: _Figure
    tables: list[Table]
    stops: Table | None
    whom: list[str]


@dataclass(frozen=True)
class _Work:
    title: str
    figure: _Figure
    missing: list[str]
    table: Table
    zones: Table
    limits: list[str]
    pipes: list[str]


@dataclass(frozen=True)
class _Head:
    text: str
    kind: str = ""  # n: a number, s: a state, wide: not on a phone


@dataclass(frozen=True)
class _Zones:
    caption: str
    heads: tuple[_Head, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class _Cell:
    text: str
    zone: str = ""
    bar: tuple[int, int, int] | None = None


@dataclass(frozen=True)
class _Chances:
    name: str
    span: str
    cells: tuple[_Cell, ...]


def write(answer: Answer, path: Path) -> Path:
    """Write the briefing, all of it or nothing.

    Parameters
    ----------
    answer : Answer
        A finished run.
    path : Path
        The file; its folder must be there.

    Returns
    -------
    Path
        The same path. The same answer gives the same bytes.
    """
    partial = path.with_name(f".{path.name}.part")
    partial.write_text(page(answer), encoding="utf-8", newline="\n")
    partial.replace(path)
    return path


def page(answer: Answer) -> str:
    """The briefing as text."""
    cautions = words_cautions.cautions(answer)
    assumed = words_reasons.assumed(answer.assumed, answer.shown)
    reasons = words_reasons.reasons(answer)
    sources = [words_head.forecast_words(answer), words_head.start_words(answer), *words_head.not_covered(answer)]
    sources += answer.record
    advice = words_head.advice_words(answer)
    sheet = fitted(answer, cautions, [*reasons, *sources], assumed, advice)
    css = (_TEMPLATES / "briefing.css").read_text(encoding="utf-8")
    limits = (words_head.against_limit(answer, event) for event in range(len(answer.windows)))
    named = zip(answer.windows, limits, strict=True)
    chances = [_chances(answer, event) for event in range(len(answer.windows))]
    shared = {cell.zone for row in chances for cell in row.cells if cell.zone}
    return _PAGES.get_template("briefing.html").render(
        title=f"{answer.venue}: {words_head.title(answer, 0)}",
        css=Markup(css),
        sheet=sheet,
        venue=answer.venue,
        made=words_head.made(answer),
        age=words_head.forecast_age(answer),
        tonight=words_head.title(answer, 0),
        cold=words_head.coldest(answer),
        lines=[sentence(f"{w.name}: {text}") for w, text in named if text],
        worst=words_head.worst_zone(answer),
        groups=[sentence(words_head.GROUPS[state])[:-1] for state in (FROST, FROZEN)],
        chances=chances,
        shared=shared.pop() if len(shared) == 1 else "",
        advice=advice,
        plan=_plan(answer),
        work=_work(answer),
        watered=None if answer.watered is None else words_watered.title(answer.watered, answer.shown),
        watered_lines=[] if answer.watered is None else words_watered.lines(answer.watered, answer.shown),
        figures=_figures(answer),
        reasons=reasons,
        sources=sources,
        assumed=assumed,
        zones=_zones(answer),
        more=_more(answer),
        cautions=cautions,
        disclaimer=words_head.DISCLAIMER,
        table=_table,
    )


def _table(table: Table) -> Markup:
    row_head = 1 if table.heads[0] == "No." else 0
    text = _PAGES.get_template("table.html").render(
        caption=table.caption, heads=table.heads, rows=table.rows, row_head=row_head
    )
    return Markup(text)


def _chances(answer: Answer, event: int) -> _Chances:
    name = answer.windows[event].name
    cells = tuple(_cell(answer, event, state) for state in (FROST, FROZEN))
    return _Chances(name[:1].upper() + name[1:], span(answer.windows[event], answer.shown), cells)


def _cell(answer: Answer, event: int, state: SurfaceState) -> _Cell:
    if not words_head.known(answer, event):
        return _Cell("unknown, the forecast ends before")
    zone, text = words_head.at_most(answer, event, state)
    low, middle, high = (
        int(np.clip(round(20 * float(answer.told(f"probability_reached{end}", zone, event)[state])) * 5, 3, 97))
        for end in ("_low", "", "_high")
    )
    return _Cell(text, zone, (low, middle, high))


def _figures(answer: Answer) -> list[_Figure]:
    order = answer.coldest_first
    known = [zone for zone in order if np.isfinite(answer.curves["canopy_temperature"].sel(zone=zone).values).any()]
    known = known or list(order)
    chosen = tuple(dict.fromkeys((known[0], known[len(known) // 2], known[-1])))
    shown, windows = answer.shown, answer.windows

    with canvas.style():
        return [
            _Figure(
                "map",
                words_figures.map_title(answer),
                _drawn(
                    "map",
                    words_figures.map_title(answer),
                    words_figures.map_description(answer),
                    lambda axes: figures.field_map(axes, answer.cells, answer.outlines, order, shown, halo=False),
                ),
                tables.map_rows(answer),
            ),
            _Figure(
                "curves",
                words_figures.curves_title(answer),
                _drawn(
                    "curves",
                    words_figures.curves_title(answer),
                    words_figures.curves_description(answer, chosen),
                    lambda axes: figures.zone_curves(axes, answer.curves, answer.sky, chosen, windows, shown),
                ),
                tables.curve_rows(answer, chosen),
                words_figures.curves_note(answer),
            ),
            _Figure(
                "section",
                words_figures.section_title(answer),
                _drawn(
                    "section",
                    words_figures.section_title(answer),
                    words_figures.section_description(answer),
                    lambda axes: figures.depth_section(axes, answer.section, windows, shown),
                ),
                tables.section_rows(answer),
            ),
        ]


def _drawn(name: str, title: str, told: str, draw: Callable[[Any], Any]) -> Markup:
    made, axes = canvas.figure(*_SIZES[name])
    draw(axes)
    return Markup(canvas.svg(made, name, title, told))


def _plan(answer: Answer) -> _Plan | None:
    """The plan on the page: what it brings, the timeline, and its tables."""
    planned = answer.plan
    if planned is None:
        return None
    title, told = timeline.title(answer), timeline.description(answer, planned)
    with canvas.style():
        svg = _drawn("timeline", title, told, lambda axes: timeline.draw(axes, answer, planned))
    figure = _Figure("timeline", title, svg, timeline.table(answer, planned), timeline.note())
    found = [words_plan.actions(answer, planned)] if planned.best.deeds else []
    found.append(words_plan.options(answer, planned))
    summary = words_plan.summary(answer, planned)
    head = words_plan.todo(answer, planned), summary[0], words_plan.basis(planned)
    return _Plan(
        *head, summary[1:], figure, found, words_stops.table(answer, planned), words_whom.told_whom(answer, planned)
    )


def _work(answer: Answer) -> _Work | None:
    """Hours of work on the page."""
    told, shown = answer.work, answer.shown
    if told is None:
        return None
    tables_of = words_work.table(told, shown), words_work.by_zone(told, shown)
    lists = words_work.limits(told, shown), words_work.pipes(told, shown)
    name, said = strip.title(shown), strip.description(told, shown)
    with canvas.style():
        svg = _drawn("strip", name, said, lambda axes: strip.draw(axes, told, shown))
    figure = _Figure("strip", name, svg, tables_of[0], strip.note())
    return _Work(words_work.title(told, shown), figure, words_work.missing(told, shown), *tables_of, *lists)


def _zones(answer: Answer) -> _Zones:
    """The table of zones: tonight in full, the first event with its lowest canopy and likely state."""
    tonight = tables.lowest(answer, 0)
    depths = tonight.heads[5:-1]
    kinds = ("n", "", "n", "n wide", "n wide", *["n wide"] * len(depths))
    heads = [_Head(text, kind) for text, kind in zip(tonight.heads[:-1], kinds, strict=True)]
    heads.append(_Head(f"{_named(answer, 0)}: likely state", "s"))
    rows = [list(row) for row in tonight.rows]
    for event in range(1, min(MAIN_WINDOWS, len(answer.windows))):
        heads += [
            _Head(f"{_named(answer, event)}: worst", "n wide long"),
            _Head(f"{_named(answer, event)}: likely state", "s"),
        ]
        for row, zone in zip(rows, answer.coldest_first, strict=True):
            worst = float(answer.told("canopy_temperature_worst", zone, event)[answer.middle])
            row += [tables.brief(number(worst, "temperature", answer.shown)), states(answer, zone, event)]
    return _Zones(tonight.caption, tuple(heads), tuple(tuple(row) for row in rows))


def _named(answer: Answer, event: int) -> str:
    name = answer.windows[event].name
    return name[:1].upper() + name[1:]


def _more(answer: Answer) -> list[Mapping[str, Any]]:
    """Each window's full table, closed on screen; the phone's table of zones leaves columns out."""
    return [
        {"title": f"All numbers: {words_head.title(answer, event)}", "table": tables.lowest(answer, event)}
        for event in range(len(answer.windows))
        if words_head.known(answer, event)
    ]
