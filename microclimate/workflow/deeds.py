"""From a choice in slots to the actions a reader gets: hands and clock times, energy, people, money."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from microclimate.actions import latest
from microclimate.actions.case import Case
from microclimate.actions.choice import Choice
from microclimate.actions.cost import Figures
from microclimate.report.planned import Action, Deed, Option
from microclimate.risk import outlook
from microclimate.venue.kit import Clearing, Skirts

_SHORT = timedelta(minutes=15)  # of switching off, in a calendar
_Known = Mapping[tuple[str, int], latest.Deadline]


def option(case: Case, figures: Figures, by: Sequence[latest.Deadline] = ()) -> Option:
    """A plan as the reader gets it."""
    return Option(
        deeds(case, figures.choice, figures, by),
        figures.chance,
        figures.severe,
        figures.ending,
        figures.energy,
        figures.crew,
        figures.cost,
        figures.laid,
        outlook.around(figures.chance, case.gust.shape[0]),
    )


def deeds(
    case: Case, choice: Choice, figures: Figures | None = None, by: Sequence[latest.Deadline] = ()
) -> tuple[Deed, ...]:
    """The actions of a plan in order of time."""
    known: _Known = {(d.action, d.number): d for d in by}
    found = [*_covers(case, choice, known), *_heat(case, choice, figures, known), *_others(case, choice)]
    return tuple(sorted(found, key=lambda deed: deed.start))


def _covers(case: Case, choice: Choice, known: _Known) -> list[Deed]:
    clock, found, notice = case.clock, list[Deed](), timedelta(seconds=case.venue.crew.notice)
    for number, spell in enumerate(choice.spells):
        cover = case.venue.equipment.covers[spell.cover - 1]
        work, pay = timedelta(minutes=cover.minutes), _pay(case, cover.people, cover.minutes)
        name = f"{cover.name} with warm air" if spell.blown else cover.name
        lies, lift = clock.begins(spell.on), clock.begins(spell.off)
        if clock.lies(spell):
            began = next(s.on for s in clock.past.spells if s.cover == spell.cover and s.on <= spell.on < s.off)
            found.append(Deed("lay", name, cover.zones, clock.begins(began) - work, lies, running=True))
        else:
            start = lies - work
            lay = Deed("lay", name, cover.zones, start, lies, call=start - notice, people=cover.people, cost=pay)
            found.append(_by(lay, known.get(("lay", number))))
        found.append(Deed("lift", name, cover.zones, lift, lift + work, people=cover.people, cost=pay))
    return found


def _heat(case: Case, choice: Choice, figures: Figures | None, known: _Known) -> list[Deed]:
    """One action for the circuits that start together; the energy of all stands with the first."""
    clock, prices, found = case.clock, case.prices, list[Deed]()
    names = [circuit.name for circuit in case.venue.equipment.circuits]
    stop = clock.begins(case.stop - choice.early)
    energy = None if figures is None else figures.energy
    price = None if prices is None or energy is None or prices.energy is None else prices.energy * energy
    for start in sorted({s for s in choice.heat if s is not None}):
        own = [number for number, s in enumerate(choice.heat) if s == start]
        past = clock.past.heat
        running = start == clock.first and bool(past) and all(past[n] is not None for n in own)
        began = min(s for n in own if (s := past[n]) is not None) if running else start
        what = " and ".join(names[number] for number in own)
        deed = Deed("heat", what, (), clock.begins(began), stop, energy=energy, cost=price, running=running)
        dates = [known[key] for number in own if (key := ("heat", number)) in known]
        found.append(deed if running else _by(deed, _earliest(dates)))
        found.append(Deed("stop", what, (), stop, stop + _SHORT))
        energy = price = None
    return found


def _others(case: Case, choice: Choice) -> list[Deed]:
    """Skirts closed and snow cleared."""
    equipment, clock, found = case.venue.equipment, case.clock, list[Deed]()
    jobs: tuple[tuple[Action, str, int | None, Clearing | Skirts | None], ...] = (
        ("skirts", "skirts", choice.skirts, equipment.skirts),
        ("clear", "snow", choice.snow, equipment.snow),
    )
    for action, what, slot, kit in jobs:
        if slot is None or kit is None:
            continue
        done = clock.begins(slot)
        start, running = done - timedelta(minutes=kit.minutes), slot <= clock.first
        if running:
            found.append(Deed(action, what, (), start, done, running=True))
        else:
            call, pay = start - timedelta(seconds=case.venue.crew.notice), _pay(case, kit.people, kit.minutes)
            found.append(Deed(action, what, (), start, done, call=call, people=kit.people, cost=pay))
    return found


def _pay(case: Case, people: int, minutes: float) -> float | None:
    hour = None if case.prices is None else case.prices.crew_hour
    return None if hour is None else hour * people * minutes / 60.0


def _by(deed: Deed, until: latest.Deadline | None) -> Deed:
    return deed if until is None else replace(deed, by=until.by, holds=until.state)


def _earliest(dates: Sequence[latest.Deadline]) -> latest.Deadline | None:
    """Of circuits that start together the one that can wait least."""

    def rank(by: latest.By) -> float:
        return {"not needed": float("inf"), "not reachable": float("-inf")}[by] if isinstance(by, str) else _seconds(by)

    return min(dates, key=lambda date: [rank(by) for by in reversed(date.by)], default=None)


def _seconds(moment: datetime) -> float:
    return (moment - datetime(1970, 1, 1)).total_seconds()
