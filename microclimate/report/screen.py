"""The answer as a short text for the terminal, 80 columns wide."""

import textwrap
from collections.abc import Sequence

from microclimate.report import (
    tables,
    words_cautions,
    words_head,
    words_plan,
    words_reasons,
    words_stops,
    words_watered,
    words_work,
)
from microclimate.report.answer import Answer
from microclimate.report.words import glued, loose

WIDTH = 80
ZONE, STATE = 14, 30  # least width of the zone's name and of its state; longer ones run on in the next line


def text(answer: Answer) -> str:
    """Headline, one table for each window, reasons, sources and cautions; lines of at most 80 characters.

    Parameters
    ----------
    answer : Answer
        A finished run.

    Returns
    -------
    str
        Ends with a line feed.
    """
    lines = [answer.venue, "=" * min(len(answer.venue), WIDTH)]
    headline = _headline(answer)
    lines += [*headline, *_wrapped(words_head.worst_zone(answer))]
    lines += _bullets("Do", words_head.advice_words(answer))
    if answer.plan is not None:
        lines += _wrapped(words_plan.basis(answer.plan))
    lines += _plan(answer)
    lines += _work(answer)
    if answer.watered is not None:
        told = answer.watered, answer.shown
        lines += _bullets(words_watered.title(*told), words_watered.lines(*told))
    for event in range(len(answer.windows)):
        lines += ["", *_wrapped(words_head.title(answer, event))]
        if words_head.known(answer, event):
            lines += _table(tables.lowest(answer, event))
        else:
            lines += _wrapped("Unknown: the forecast ends before this window does.", "  ")
    lines += _bullets("Why", words_reasons.reasons(answer))
    lines += ["", *_wrapped(words_head.forecast_words(answer)), *_wrapped(words_head.start_words(answer))]
    for line in (*words_head.not_covered(answer), *answer.record):
        lines += _wrapped(line)
    lines += _bullets("Assumed", words_reasons.assumed(answer.assumed, answer.shown))
    lines += _bullets("Take care", words_cautions.cautions(answer))
    lines += ["", "In short:", *headline]
    lines += ["", *_wrapped(words_head.made(answer)), *_wrapped(words_head.DISCLAIMER)]
    return loose("\n".join(line.rstrip() for line in lines)) + "\n"


def _plan(answer: Answer) -> list[str]:
    """What the plan brings and costs, latest starts, and the other plans."""
    if answer.plan is None:
        return []
    lines = _bullets("With the plan", words_plan.summary(answer, answer.plan))
    for told in words_plan.listed(answer, answer.plan):
        lines += _bullets(told[0], told[1])
    if stops := words_stops.lines(answer, answer.plan):
        lines += [*_bullets("If the heat stops", stops), *_wrapped(words_stops.caption(answer.plan), "  ")]
    return lines


def _work(answer: Answer) -> list[str]:
    """Hours of work, and frost in pipes above ground."""
    told, shown = answer.work, answer.shown
    if told is None:
        return []
    lines = _bullets(words_work.title(told, shown), words_work.lines(told, shown))
    lines += _wrapped(words_work.caption(told), "  ")
    lines += _bullets("Limits of the work", words_work.limits(told, shown))
    return lines + _bullets("Pipes, hydrants, hoses", words_work.pipes(told, shown))


def _headline(answer: Answer) -> list[str]:
    lines = _wrapped(words_head.coldest_words(answer))
    for event, window in enumerate(answer.windows):
        name = window.name[:1].upper() + window.name[1:]
        lines += _wrapped(f"{name}: {words_head.outlook(answer, event)}")
        lines += _wrapped(words_head.against_limit(answer, event), "  ")
    return lines


def _wrapped(sentence: str, indent: str = "") -> list[str]:
    return textwrap.wrap(glued(sentence), WIDTH, initial_indent=indent, subsequent_indent="  ", break_on_hyphens=False)


def _bullets(title: str, sentences: Sequence[str]) -> list[str]:
    if not sentences:
        return []
    lines = ["", f"{title}:"]
    for sentence in sentences:
        lines += textwrap.wrap(
            glued(sentence), WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False
        )
    return lines


def _table(table: tables.Table) -> list[str]:
    heads = ("", *table.heads[1:])
    longest = [max(len(row[k]) for row in table.rows) for k in range(len(heads))]
    words = [max(len(word) for word in glued(head).split(" ") or [""]) for head in heads]
    widths = [max(pair) for pair in zip(longest, words, strict=True)]
    widths[-1] = STATE
    spare = WIDTH - len(widths) + 1
    widths[1] = max(ZONE, min(longest[1], spare - sum(widths) + widths[1]))
    widths[-1] = spare - sum(widths[:-1])
    lines = _wrapped(table.caption, "  ")
    lines += _row(heads, widths)
    lines.append(" ".join("-" * width for width in widths))
    for row in table.rows:
        lines += _row(row, widths)
    return lines


def _cell(text: str, width: int) -> list[str]:
    """The lines of one cell; a second state begins a line of its own where both do not fit in one."""
    pieces = [text] if len(text) <= width else [f"{part}," for part in text.split(", ")]
    pieces[-1] = pieces[-1].removesuffix(",")
    return [line for piece in pieces for line in textwrap.wrap(glued(piece), width, break_on_hyphens=False)]


def _row(cells: Sequence[str], widths: Sequence[int]) -> list[str]:
    """One row, its cells run on in further lines where they are long; numbers stand at the right."""
    parts = [
        textwrap.wrap(glued(cell), width, break_on_hyphens=False) for cell, width in zip(cells, widths, strict=True)
    ]
    lines = []
    for k in range(max(1, *map(len, parts))):
        line = [part[k] if k < len(part) else "" for part in parts]
        right = [cell.rjust(width) for cell, width in zip(line, widths, strict=True)]
        right[1], right[-1] = line[1].ljust(widths[1]), line[-1].ljust(widths[-1])
        lines.append(" ".join(right))
    return lines
