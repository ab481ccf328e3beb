"""The words of a plant that stops: what the field then holds, hour by hour, and how long the fuel lasts."""

import itertools
from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from microclimate.report.answer import Answer
from microclimate.report.planned import Passed, Planned, Stop
from microclimate.report.tables import Table
from microclimate.report.words import chance, clock, day, day_clock, energy

LEVELS = ("leaf limit", "root-zone limit", "frozen layer")
ALREADY = "already"


def table(answer: Answer, planned: Planned) -> Table | None:
    """A row for each run of hours with the same answer; None without heat."""
    rows = _rows(answer, planned)
    if not rows:
        return None
    heads = [level.capitalize() for level in LEVELS]
    if _covered(planned):
        heads = [f"With cover: {level}" for level in LEVELS] + [f"Without: {level}" for level in LEVELS]
    parted = any(circuit for circuit, _, _ in rows)
    return Table(
        caption(planned),
        ("Heat stops", *(["Zones heated by"] if parted else []), *heads),
        tuple((when, *([circuit] if parted else []), *cells) for circuit, when, cells in rows),
    )


def caption(planned: Planned) -> str:
    """What the hours mean, and which zone is first."""
    zones = Counter(one.zone for stop in planned.stops for one in stop.with_cover if one.zone)
    first = f" (first is mostly {zones.most_common(1)[0][0]})" if zones else ""
    return (
        f"If boiler, generator or fans stop: the hour until which no zone is past a limit, 90 % sure{first}, and the "
        "chance that one passes it before the plan ends"
    )


def lines(answer: Answer, planned: Planned) -> list[str]:
    """The same as sentences, for a narrow screen: limits that are not past yet, the bare field's where they differ."""
    found = []
    for circuit, when, cells in _rows(answer, planned):
        covered, bare = cells[: len(LEVELS)], cells[len(LEVELS) :]
        parts = [f"{level} {cell}" for level, cell in zip(LEVELS, covered, strict=True) if cell != ALREADY]
        words = ", ".join(parts) or "past all limits already"
        other = [f"{level} {cell}" for level, cell, one in zip(LEVELS, bare, covered, strict=False) if cell != one]
        words += f"; without the cover: {', '.join(other)}" if other else ""
        found.append(f"{when}{f' ({circuit})' if circuit else ''}: {words}.")
    return found


def fuel(answer: Answer, planned: Planned) -> str:
    """Fuel on hand in hours, at full load and under the plan; "" where it is not known or not burnt."""
    told = planned.fuel
    if told is None:
        return ""
    words = f"Fuel on hand: {energy(told.on_hand)} kWh"
    words += f", {told.full_load:.0f} h at full load" if np.isfinite(told.full_load) else ""
    words += f"; this plan takes about {energy(told.wanted)} kWh"
    if told.until == "holds":
        return f"{words}, the fuel lasts to its end, 90 % sure."
    if told.until == "unknown":
        return f"{words}; there are too few forecasts to say how sure it is that the fuel lasts."
    lasts = (told.until - answer.now).total_seconds() / 3600.0
    return f"{words}, the fuel lasts until {day_clock(told.until, answer.shown)}, {lasts:.0f} h, 90 % sure."


def _covered(planned: Planned) -> bool:
    return any(deed.action == "lay" for deed in planned.best.deeds)


def _rows(answer: Answer, planned: Planned) -> list[tuple[str, str, tuple[str, ...]]]:
    """Circuit, hours, cells."""

    def cells(stop: Stop) -> tuple[str, ...]:
        sides = (stop.with_cover, stop.without) if _covered(planned) else (stop.with_cover,)
        return tuple(_cell(answer, stop.when, one) for side in sides for one in side)

    found = []
    for told, run in itertools.groupby(planned.stops, lambda stop: (stop.circuit, stop.when is None, cells(stop))):
        when = _hours(answer, [stop.when for stop in run if stop.when is not None])
        found.append((told[0], when, told[2]))
    return found


def _hours(answer: Answer, when: Sequence[datetime]) -> str:
    """ "Tue 14:00 to 18:00"; "never" where the heat does not stop."""
    shown = answer.shown
    if not when:
        return "Never"
    first, last = when[0], when[-1]
    if first == last:
        return day_clock(first, shown)
    until = clock(last, shown) if day(first, shown) == day(last, shown) else day_clock(last, shown)
    return f"{day_clock(first, shown)} to {until}"


def _cell(answer: Answer, stopped: datetime | None, one: Passed) -> str:
    if one.after == "holds":
        return f"holds ({chance(one.chance)})"
    if one.after == "unknown":
        return f"too few forecasts ({chance(one.chance)})"
    if one.after <= (stopped or answer.now + timedelta(minutes=30)):
        return ALREADY
    return f"{day_clock(one.after, answer.shown)} ({chance(one.chance)})"
