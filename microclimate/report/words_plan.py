"""The sentences of an advised plan: what to do by when, what it brings, what binds. Facts and hours, no verdict."""

from collections.abc import Sequence
from datetime import datetime

from microclimate.report import words_stops
from microclimate.report.answer import Answer
from microclimate.report.planned import By, Deed, Option, Planned, ending
from microclimate.report.tables import Table
from microclimate.report.words import chance, chance_range, clock, day_clock, energy, sentence
from microclimate.schema import STATE_WORDS, Advice, SurfaceState
from microclimate.units import Shown

_VERBS = {
    "lay": "Lay the {0}",
    "lift": "Lift the {0}",
    "heat": "Heat: {0}",
    "stop": "Heat off: {0}",
    "skirts": "Close the {0}",
    "clear": "Clear the {0}",
}
_RUNNING = {"lay": "Leave the {0} down", "heat": "Keep the heat on: {0}", "skirts": "Leave the {0} closed"}
_BLOCKED = {
    "people": "{0}: needs more people than the crew has.",
    "notice": "{0}: the crew, with its notice, comes too late.",
    "hours": "{0}: no time is left within the crew's hours.",
    "daylight": "{0}: no daylight is left for the work.",
    "event": "{0}: cannot be laid and lifted in time before the event.",
    "warm": "{0}: would heat up in the sun, it cannot lie for so long.",
    "floor": "{0}: a floor lies over the field.",
}
_LIFTED = {
    "ramp": "if set points rose at once",
    "power": "with twice the heating power",
    "wind": "if no gust kept the covers off",
}
HEAT = {"hot water", "cables", "warm air"}  # of what a venue may have, what warms the root zone
_FIVE = 1.0 / 40.0


def verb(deed: Deed) -> str:
    """What is done: 'Lay the quilt'."""
    return (_RUNNING if deed.running else _VERBS)[deed.action].format(deed.what)


def kind(deeds: Sequence[Deed]) -> str:
    """A plan in few words, without hours: 'quilt and heat'."""
    parts = [deed.what for deed in deeds if deed.action == "lay"]
    parts += ["heat"] if any(deed.action == "heat" for deed in deeds) else []
    parts += ["skirts closed"] if any(deed.action == "skirts" for deed in deeds) else []
    parts += ["snow cleared"] if any(deed.action == "clear" for deed in deeds) else []
    parts = list(dict.fromkeys(parts))
    return " and ".join(parts) or "nothing"


def hours(deeds: Sequence[Deed], shown: Shown) -> str:
    """A plan with its hours: 'quilt Tue 21:30 to Wed 10:00, heat from Tue 15:00'."""
    parts = []
    for deed in deeds:
        if deed.action == "lay":
            lift = ending(deed, deeds)
            until = f" to {day_clock(lift.start, shown)}" if lift else ""
            parts.append(f"{deed.what} {day_clock(deed.end, shown)}{until}")
        elif deed.action == "heat":
            parts.append(f"heat ({deed.what}) from {day_clock(deed.start, shown)}")
    return ", ".join(parts) or "nothing"


def advice(answer: Answer, planned: Planned) -> tuple[Advice, ...]:
    """The lines under "Do" of screen and page."""
    shown = answer.shown
    if not planned.best.deeds:
        return (Advice("Nothing to do now", (), None, effect(planned)),)
    lines = []
    for deed in planned.best.deeds:
        if deed.action == "stop":
            continue
        lines.append(Advice(verb(deed), deed.zones, sure(deed), ", ".join(_hands(deed, shown, planned=True))))
    return tuple(lines)


def todo(answer: Answer, planned: Planned) -> list[tuple[str, str, str]]:
    """The actions in the fewest words: by when, what, and who has to be called."""
    shown, found = answer.shown, []
    for deed in planned.best.deeds:
        if deed.action == "stop":
            continue
        limit = deed.start if deed.action == "lift" else sure(deed)
        when = (
            "now"
            if deed.running
            else day_clock(deed.start, shown)
            if limit is None
            else f"by {day_clock(limit, shown)}"
        )
        where = f" ({', '.join(deed.zones)})" if deed.zones else ""
        found.append((when, verb(deed) + where, ", ".join(_hands(deed, shown, planned=False))))
    return found


def basis(planned: Planned) -> str:
    """How sure the hours are, said once; "" where no action has a latest start."""
    deeds = [deed for deed in planned.best.deeds if deed.by is not None and not deed.running]
    by_hour = [deed for deed in deeds if sure(deed) is not None]
    never = [deed for deed in deeds if deed.by is not None and deed.by[1] == "not reachable"]
    parts = []
    if by_hour:
        parts.append(f"Start by: 90 % sure to hold off {_held(by_hour)} or worse.")
    if never:
        who = "" if len(never) == len(deeds) else f" ({', '.join(dict.fromkeys(verb(d).lower() for d in never))})"
        parts.append(f"No start is 90 % sure to hold off {_held(never)} or worse{who}.")
    return " ".join(parts)


def _held(deeds: Sequence[Deed]) -> str:
    return STATE_WORDS[min((deed.holds for deed in deeds if deed.holds is not None), default=SurfaceState.WHITE_FROST)]


def _hands(deed: Deed, shown: Shown, *, planned: bool) -> list[str]:
    """Planned hour where it is not the one told, the crew's call, and how many."""
    parts = []
    if planned:
        if deed.action == "lift":
            parts.append(f"lift by {day_clock(deed.start, shown)}, work ends {clock(deed.end, shown)}")
        else:
            parts.append(f"{'start' if sure(deed) is None else 'planned'} {day_clock(deed.start, shown)}")
    if deed.call is not None and deed.action == "lay":
        parts.append(f"{'call the crew' if planned else 'call'} by {day_clock(deed.call, shown)}")
    return [*parts, f"{deed.people} people"] if deed.people else parts


def sure(deed: Deed) -> datetime | None:
    """The hour an action has to start by, 90 % sure, where there is one."""
    return deed.by[1] if deed.by is not None and isinstance(deed.by[1], datetime) else None


def reason(deed: Deed, shown: Shown) -> str:
    """What stands behind one action told by itself: the planned hour, the crew's call, how sure."""
    parts = []
    if sure(deed) is not None:
        parts.append("90 % sure" + (f" to hold off {STATE_WORDS[deed.holds]} or worse" if deed.holds else ""))
    parts += _hands(deed, shown, planned=True)
    if deed.by is not None and deed.by[1] == "not reachable":
        parts.append(f"no start is 90 % sure to hold off {STATE_WORDS[deed.holds or SurfaceState.WHITE_FROST]}")
    return ", ".join(parts)


def share(option: Option) -> str:
    """A plan's chance, with its range where that is known."""
    return chance(option.chance) if option.around is None else chance_range(option.chance, *option.around)


def effect(planned: Planned) -> str:
    """Chances before and after."""
    before, after = planned.nothing, planned.best
    where = " or ".join(planned.windows)
    words = f"chance of being outside your limits ({where}) {share(before)} with nothing done"
    if after.deeds:
        words += f", {share(after)} with this plan"
    return words


def summary(answer: Answer, planned: Planned) -> list[str]:
    """The paragraphs under the actions: before and after, what binds, waiting, what would change it."""
    shown, best = answer.shown, planned.best
    lines = [sentence(effect(planned))]
    lines.append(
        sentence(
            f"Chance of a frozen layer or worse {chance(planned.nothing.severe)} with nothing done, "
            f"{chance(best.severe)} with this plan"
        )
    )
    if best.deeds:
        ends = f"When {planned.windows[-1]} ends the chance of being outside your limits is {chance(best.ending)}"
        lines.append(f"{ends} with this plan, {chance(planned.nothing.ending)} with nothing done.")
    if not planned.inside:
        nearest = "this one comes nearest" if best.deeds else "doing nothing comes nearest"
        lines.append(
            f"No plan within crew, clock and plant keeps the chance at or below the {chance(planned.tolerated)} that "
            f"you tolerate; {nearest}."
        )
        if planned.binds:
            parts = ", ".join(f"{chance(share)} {_LIFTED[limit]}" for limit, share in planned.binds)
            lines.append(f"What binds: the chance would be {parts}.")
        elif best.deeds:
            lines.append("Neither ramp, power nor gusts alone bind: there is too little time, or too much cold.")
        if answer.windows[0].name not in planned.windows and not answer.equipment & HEAT:
            lines.append("What binds: covers are off while the field is used, and no heat would last through it.")
    for name, start, end in planned.floors:
        lines.append(f"The {name} lies {day_clock(start, shown)} to {day_clock(end, shown)}, laid by others.")
    for block in planned.blocked:
        words = _BLOCKED[block.why].format(block.what)
        lines.append(words + (f" Earliest: {day_clock(block.earliest, shown)}." if block.earliest else ""))
    if best.deeds and best.laid < 1.0 - _FIVE:
        lines.append(f"Wind and leaf let the cover be laid with a chance of {chance(best.laid)}.")
    if planned.waiting is not None and best.deeds:
        wait, share, price = planned.waiting
        words = f"Waiting {wait:.0f} h for the next forecast leaves a chance of {chance(share)}"
        if price is not None and best.cost is not None:
            words += f" and {money(price - best.cost, planned.currency)} more to expect"
        lines.append(f"{words}.")
    if said := words_stops.fuel(answer, planned):
        lines.append(said)
    for level, deeds in planned.turns:
        lines.append(f"At a tolerated chance of {chance(level)} the advice would be: {kind(deeds)}.")
    for half, found in (("milder", planned.milder), ("colder", planned.harder)):
        if found is not None:
            lines.append(f"In the {half} half of the forecasts it would be: {kind(found)}.")
    if best.deeds and not planned.turns and planned.milder is None and planned.harder is None:
        lines.append(
            "No other tolerated chance that was tried, nor the milder or the colder half of the forecasts alone, "
            "would change the kind of plan."
        )
    if planned.kept:
        lines.append("The advice given before stands: another plan is better by less than a change is worth.")
    elif planned.before == "other form":
        lines.append("Advice was given before, in a form of another version: what it told to do is not known here.")
    elif planned.before not in ("", "first", "same"):
        lines.append(f"Changed since the last advice, which was: {planned.before}.")
    return lines


def money(value: float, currency: str) -> str:
    """A sum to three figures."""
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f} {currency}".replace("-", "\u2212")


def actions(answer: Answer, planned: Planned) -> Table:
    """The table of actions."""
    shown = answer.shown
    rows = []
    for deed in planned.best.deeds:
        times = ("", "", "") if deed.by is None else tuple(_by(by, shown) for by in deed.by)
        rows.append(
            (
                verb(deed),
                day_clock(deed.start, shown),
                *times,
                "" if deed.call is None else day_clock(deed.call, shown),
                str(deed.people) if deed.people else "",
                "" if deed.energy is None else energy(deed.energy),
                "" if deed.cost is None else money(deed.cost, planned.currency),
            )
        )
    held = {deed.holds for deed in planned.best.deeds if deed.holds is not None}
    caption = "Actions"
    if held:
        caption += f"; latest start that holds off {STATE_WORDS[SurfaceState(min(held))]} or worse, for three chances"
    heads = ("Action", "Planned", "Start by, 50 %", "90 %", "95 %", "Call crew by", "People", "kWh", "Cost")
    return Table(caption, heads, tuple(rows))


def _by(by: By, shown: Shown) -> str:
    return by if isinstance(by, str) else day_clock(by, shown)


def options(answer: Answer, planned: Planned) -> Table:
    """The advised plan, the others and doing nothing, side by side."""
    priced = planned.best.cost is not None

    def row(name: str, option: Option) -> tuple[str, ...]:
        cells = [name, hours(option.deeds, answer.shown), chance(option.chance), chance(option.severe)]
        cells += [energy(option.energy), f"{option.crew:.0f}"]
        return (*cells, *(["?" if option.cost is None else money(option.cost, planned.currency)] if priced else []))

    rows = [row("Advised", planned.best)]
    rows += [row("Instead", other) for other in planned.others]
    rows += [row("Nothing", planned.nothing)] if planned.best.deeds else []
    heads = ["Which", "Plan", "Outside your limits", "Frozen layer or worse", "kWh", "Person-hours"]
    heads += ["Expected cost, losses included"] if priced else []
    return Table("Plans side by side", tuple(heads), tuple(rows))


def listed(answer: Answer, planned: Planned) -> list[tuple[str, list[str]]]:
    """The tables as lists of lines, for a narrow screen: latest starts and plans side by side."""
    shown, found = answer.shown, []
    starts = []
    for deed in planned.best.deeds:
        if deed.by is not None and deed.holds is not None:
            times = "; ".join(f"{q} %: {_by(by, shown)}" for q, by in zip((50, 90, 95), deed.by, strict=True))
            starts.append(f"{verb(deed)}, to hold off {STATE_WORDS[deed.holds]} or worse: {times}.")
    if starts:
        found.append(("Latest start, and how sure", starts))
    rows = []
    for option in (planned.best, *planned.others, planned.nothing):
        words = f"{hours(option.deeds, shown)}: {chance(option.chance)} outside your limits, "
        words += f"{chance(option.severe)} frozen layer or worse, {energy(option.energy)} kWh, "
        words += f"{option.crew:.0f} person-hours"
        words += "" if option.cost is None else f", {money(option.cost, planned.currency)} to expect, losses included"
        rows.append(sentence(words))
    found.append(("Plans side by side, the advised one first", list(dict.fromkeys(rows))))
    return found
