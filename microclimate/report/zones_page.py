"""`zones` as text for the terminal and as one page of HTML; both from the same parts."""

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import xarray as xr
from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup

from microclimate.report import (
    canvas,
    figures_zones,
    words_beside,
    words_done,
    words_limits,
    words_places,
    words_reasons,
    words_zones,
)
from microclimate.report.tables import Table
from microclimate.report.words import glued
from microclimate.report.zones import (
    CANOPY,
    CANOPY_HIGH,
    CANOPY_LOW,
    COLDEST,
    DONE,
    FROST,
    GROW,
    HEAT,
    HOT,
    HOTTEST,
    LIGHT,
    LONG_SKY,
    LONG_STANDS,
    NIGHT,
    PLAY,
    ROOT,
    ROOT_HOT,
    SKY,
    STANDS,
    SUN,
    SUNLIT,
    SURVIVAL,
    TEMPERATURE,
    TROUBLE,
    VIEW,
    WARMTH,
    WATER,
    Column,
    Variant,
    Zones,
    by_zone,
)

WIDTH = 80
MAPS = (LIGHT, SUNLIT, SUN, SKY, STANDS, VIEW, LONG_SKY, LONG_STANDS)
CANOPY_MAPS = (COLDEST, HOTTEST)
DIFFERENCES = ("light_integral", "coldest")
LEAST = 0.005  # [K, h] of a difference that shows
LEAST_MAP = 0.2  # [K, mol m-2 d-1] of a difference somewhere that is worth a map; ours
_TEMPLATES = Path(__file__).parent / "templates"
_PAGES = Environment(loader=FileSystemLoader(_TEMPLATES), autoescape=True, trim_blocks=False, lstrip_blocks=False)
_PAGES.finalize = lambda value: glued(value) if type(value) is str else value
_SIZE, _TALL = (4.0, 2.75), (4.0, 4.0)  # [inch] about what a phone shows


@dataclass(frozen=True)
class Part:
    """A heading with sentences and tables under it."""

    title: str
    lines: Sequence[str] = ()
    tables: Sequence[Table] = ()


@dataclass(frozen=True)
class _Figure:
    name: str
    title: str
    svg: Markup
    note: str
    table: Table | None


def parts(told: Zones) -> list[Part]:
    """All that is told, in order."""
    mean = told.zones.sel(which="mean")
    light = by_zone(
        mean, told.names, (SUNLIT, SUN, SKY, STANDS, LIGHT, VIEW), told.shown, words_zones.light_caption(told)
    )
    found = [Part("Light", (), [light])]
    if "longwave_sky" in mean:
        warm = by_zone(mean, told.names, (LONG_SKY, LONG_STANDS), told.shown, words_zones.longwave_caption())
        found.append(Part("Longwave", (), [warm]))
    if told.spans is not None:
        found += _grass(told, told.spans)
    found += [_variant(told, variant) for variant in told.variants]
    if told.lamps:
        found.append(Part("Lamps", words_done.lamp_lines(told), [words_done.lamp_table(told)]))
    if told.covers:
        found.append(Part("Covers", words_done.cover_lines(told), [words_done.cover_table(told)]))
    if told.stopped:
        found.append(Part(words_done.stop_title(told), words_done.stop_lines(told), [words_done.stop_table(told)]))
    if told.modules:
        found.append(Part("Which modules first", words_done.module_lines(told), words_done.module_tables(told)))
    if told.compare is not None:
        found.append(Part("Two zones", words_places.compared_lines(told), [words_places.compared(told)]))
    if told.beside is not None:
        found.append(Part(words_beside.title(), words_beside.lines(told.beside, told.shown)))
    if told.ranked is not None:
        found.append(Part("Which is colder", words_places.order_lines(told), [words_places.order(told)]))
    found.append(
        Part("Where readings and probes belong", words_places.edge_lines(told) + words_places.probe_lines(told))
    )
    if told.shade is not None:
        found.append(Part(words_zones.shade_title(told), [words_zones.shade_words(told)]))
    if told.spans is not None:
        found.append(Part("Limits, and where they come from", words_limits.lines(told.limits, told.grass, told.shown)))
    found.append(Part("From what", words_zones.sources(told)))
    assumed = words_reasons.assumed(told.assumed, told.shown)
    return [*found, Part("Assumed of the weather", assumed)] if assumed else found


def _grass(told: Zones, spans: xr.Dataset) -> list[Part]:
    """Warmth, play, survival, growth and heat, each with its own limits; what did not come up is left out."""

    def table(caption: str, columns: Sequence[Column]) -> list[Table]:
        return [by_zone(spans, told.names, columns, told.shown, caption)]

    found = [Part("Warmth", (), table(words_zones.warmth_caption(), WARMTH))]
    cold = any(float(spans[column.name].max()) > 0.0 for column in PLAY)
    if cold:
        found.append(Part("Frost and play", words_zones.play_lines(told), table("Hours over the span", PLAY)))
        found.append(Part("Winter survival", words_zones.survival_lines(told), table("Over the span", SURVIVAL)))
    found.append(Part("Growth", words_zones.growth_lines(told), table("Over the span", GROW)))
    if any(float(spans[column.name].max()) > 0.0 for column in (HOT, TROUBLE, ROOT_HOT)):
        found.append(Part("Heat", words_zones.heat_lines(told), table("Over the span", HEAT)))
    return found


def _variant(told: Zones, variant: Variant) -> Part:
    """As it is, less the variant; where something is done, the done less as it is, in the zones that it changes."""
    mean, done = told.zones.sel(which="mean"), variant.key in DONE
    sign = -1.0 if done else 1.0
    columns: list[Column] = [SUNLIT, LIGHT, replace(LONG_STANDS, digits=1)]
    if done:
        columns = [LIGHT] if variant.key != "heated" else []
    columns = [column for column in columns if column.name in mean]
    differ = {c.name: sign * (mean[c.name] - variant.light[c.name]) for c in columns}
    if told.spans is not None and variant.spans is not None:
        for column in (NIGHT, CANOPY, ROOT, FROST) if done else (NIGHT, CANOPY, ROOT, FROST, WATER):
            differ[column.name] = sign * (told.spans[column.name] - variant.spans[column.name])
            finer = replace(column, kind="temperature difference", fine=(2, 1))
            columns.append(finer if column.kind == TEMPERATURE else column)
    found = xr.Dataset(differ)
    moved = [z for z in told.names if not done or any(abs(float(v)) > LEAST for v in found.sel(zone=z).values())]
    table = by_zone(found, moved or told.names, columns, told.shown, "Difference, zone by zone")
    return Part(words_zones.variant_title(variant.key), (), [table])


def text(told: Zones) -> str:
    """For the terminal, 80 columns wide."""
    lines = [told.venue, "=" * min(len(told.venue), WIDTH), *_wrapped(words_zones.title(told))]
    for line in words_zones.headline(told):
        lines += _wrapped(line)
    for part in parts(told):
        lines += ["", part.title]
        for line in part.lines:
            lines += _wrapped(line, "- ", "  ")
        for table in part.tables:
            lines += ["", *_table(table)]
    return "\n".join(line.rstrip() for line in lines).replace("\u00a0", " ") + "\n"


def _wrapped(line: str, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(
        glued(line), WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False, break_long_words=False
    )


def _table(table: Table) -> list[str]:
    """Columns side by side; where they do not fit, the rest in a second block under the same names."""
    first = max(len(table.heads[0]), *(len(row[0]) for row in table.rows))
    lines = _wrapped(table.caption)
    columns = range(1, len(table.heads))
    heads = {k: _split(table.heads[k]) for k in columns}
    widths = {k: max(*map(len, heads[k]), *(len(row[k]) for row in table.rows)) for k in columns}
    block: list[int] = []
    blocks = [block]
    for k in columns:
        if block and first + sum(widths[j] + 2 for j in (*block, k)) > WIDTH:
            block = []
            blocks.append(block)
        block.append(k)
    for block in blocks:
        deep = max(len(heads[k]) for k in block)
        for level in range(deep):
            cells = [([""] * (deep - len(heads[k])) + heads[k])[level] for k in block]
            name = table.heads[0] if level == deep - 1 else ""
            lines.append(name.ljust(first) + "".join(f"  {c:>{widths[k]}}" for c, k in zip(cells, block, strict=True)))
        lines += [row[0].ljust(first) + "".join(f"  {row[k]:>{widths[k]}}" for k in block) for row in table.rows]
        lines.append("")
    return lines[:-1]


def _split(head: str) -> list[str]:
    """A head over lines: its words in at most nine letters, the unit last."""
    name, bracket, unit = head.partition(" [")
    return [*textwrap.wrap(name, 9, break_long_words=False), *([f"[{unit}"] if bracket else [])]


def page(told: Zones) -> str:
    """The whole page as text."""
    css = (_TEMPLATES / "briefing.css").read_text(encoding="utf-8")
    return _PAGES.get_template("zones.html").render(
        venue=told.venue,
        title=words_zones.title(told),
        made=words_zones.span(told),
        css=Markup(css),
        widest="560px",
        lines=words_zones.headline(told),
        figures=figures(told),
        parts=parts(replace(told, shade=None)),
        table=_html,
    )


def _html(table: Table) -> Markup:
    text = _PAGES.get_template("table.html").render(
        caption=table.caption, heads=table.heads, rows=table.rows, row_head=0
    )
    return Markup(text)


def figures(told: Zones) -> list[_Figure]:
    """The maps and strips, drawn."""
    with canvas.style():
        found = [] if told.shade is None else [_shade(told, told.shade)]
        found += [_share(told, column) for column in MAPS if column.name in told.cells]
        if told.spans is not None and told.daily is not None:
            found += [_canopy(told, told.spans, column) for column in CANOPY_MAPS]
            if len(told.days) > 1:
                found += [_strips(told, told.daily, name) for name in ("strips", "light-strips")]
        for variant in told.variants:
            if variant.less is not None:
                shown = [n for n in DIFFERENCES if n in variant.less and abs(variant.less[n].values).max() >= LEAST_MAP]
                found += [_apart(told, variant, variant.less, name) for name in shown]
    return found


def _shade(told: Zones, seen: xr.Dataset) -> _Figure:
    """Sun and shade at one instant."""
    title, words = words_zones.shade_title(told), words_zones.shade_words(told)

    def draw(axes: Any) -> Any:
        return figures_zones.shade_picture(axes, seen, told.outlines, float(seen.attrs["sun_azimuth"]))

    return _Figure("shade", title, _drawn("shade", title, words, draw), words, None)


def _share(told: Zones, column: Column) -> _Figure:
    """A quantity without a sign, in one hue."""
    title, words = words_zones.map_title(column.name), words_zones.map_words(told, column.name)

    def draw(axes: Any) -> Any:
        label = f"{title} [{column.unit}]"
        return figures_zones.share_map(axes, told.cells, column.name, told.outlines, label, scale=column.scale)

    name = column.name.replace("_", "-")
    table = by_zone(told.zones.sel(which="mean"), told.names, (column,), told.shown, title)
    return _Figure(name, title, _drawn(name, title, words, draw), words, table)


def _canopy(told: Zones, spans: xr.Dataset, column: Column) -> _Figure:
    """Canopy of the coldest or the hottest day, pale at 0 degC."""
    title, words = words_zones.canopy_title(told, column.name), words_zones.canopy_words(told, column.name)

    def draw(axes: Any) -> Any:
        return figures_zones.canopy_map(
            axes, told.cells, column.name, told.outlines, column.head.partition(",")[0].capitalize(), told.shown
        )

    table = by_zone(spans, told.names, (CANOPY_LOW, NIGHT, CANOPY, CANOPY_HIGH), told.shown, "Over the span")
    return _Figure(column.name, title, _drawn(column.name, title, words, draw), words, table)


def _strips(told: Zones, daily: xr.Dataset, name: str) -> _Figure:
    """Each zone's days: their lowest canopy, or their light."""
    title, words = words_zones.strips_title(name), words_zones.strips_words(told, name)
    drawn = figures_zones.strips if name == "strips" else figures_zones.light_strips

    def draw(axes: Any) -> Any:
        return drawn(axes, daily, told.names, told.shown)

    return _Figure(name, title, _drawn(name, title, words, draw, tall=True), words, None)


def _apart(told: Zones, variant: Variant, less: xr.Dataset, name: str) -> _Figure:
    """What one variant changes, cell by cell, pale at 0."""
    title = words_zones.apart_title(variant.key, name)
    values, unsure, label = words_zones.apart_values(less, name, told.shown)
    words = words_zones.apart_words(told, variant, less, name)

    def draw(axes: Any) -> Any:
        return figures_zones.difference_map(axes, told.cells, values, told.outlines, label, unsure)

    place = f"{variant.key}-{name}".replace(" ", "-").replace("_", "-")
    return _Figure(place, title, _drawn(place, title, words, draw), words, None)


def _drawn(name: str, title: str, words: str, draw: Callable[[Any], Any], *, tall: bool = False) -> Markup:
    made, axes = canvas.figure(*(_TALL if tall else _SIZE))
    draw(axes)
    return Markup(canvas.svg(made, name, title, words))
