"""The answer for a phone: what to do by when, coldest zone and hour, chance, age of the forecast; 300 characters."""

from microclimate.report import words_plan
from microclimate.report.answer import Answer
from microclimate.report.planned import Planned
from microclimate.report.words import FROST, chance, clock, day_clock, measure, reached

MOST = 300


def message(answer: Answer, planned: Planned | None) -> str:
    """At most `MOST` characters on one line; the least weighty parts are left out first, names are cut last."""
    parts = [] if planned is None else _do(answer, planned)  # (weight, text)
    parts += _facts(answer, planned)
    while len(_joined(parts)) > MOST and len(parts) > 1:
        lightest = min(range(len(parts)), key=lambda k: (parts[k][0], -k))
        parts.pop(lightest)
    text = _joined(parts)
    return text if len(text) <= MOST else text[: MOST - 1].rstrip() + "…"


def _joined(parts: list[tuple[int, str]]) -> str:
    return " ".join(f"{text}." for _, text in parts)


def _do(answer: Answer, planned: Planned) -> list[tuple[int, str]]:
    shown, found = answer.shown, []
    for deed in planned.best.deeds:
        if deed.action == "stop":
            continue
        by = words_plan.sure(deed)
        if deed.action == "lift":
            found.append((8, f"{words_plan.verb(deed)} by {day_clock(deed.start, shown)}"))
        elif by is not None:
            found.append((9, f"{words_plan.verb(deed)}: start by {day_clock(by, shown)}, 90 % sure"))
        else:
            found.append((9, f"{words_plan.verb(deed)}: start {day_clock(deed.start, shown)}"))
    return found or [(9, "Nothing to do now")]


def _facts(answer: Answer, planned: Planned | None) -> list[tuple[int, str]]:
    shown, zone = answer.shown, answer.coldest_first[0]
    lowest = float(answer.told("canopy_temperature_worst", zone, 0)[answer.middle])
    when = answer.told("canopy_temperature_worst_time", zone, 0).reshape(-1)[0]
    if planned is None:
        outside = f"Chance of frost, ice or snow {reached(answer, zone, 0, FROST)}"
    else:
        outside = f"Outside your limits: {chance(planned.nothing.chance)}"
        outside += f", with this {chance(planned.best.chance)}" if planned.best.deeds else ""
    found = [
        (7, outside),
        (6, f"Coldest {zone} {measure(lowest, 'temperature', shown)} about {day_clock(when, shown)}"),
    ]
    if answer.issued is not None:
        hours = (answer.now - answer.issued).total_seconds() / 3600.0
        found.append((5, f"Forecast of {clock(answer.issued, shown)}, {hours:.0f} h old"))
    return found
