"""The plan to advise: all candidates of a round side by side in one run, coarse to fine.

From some twenty starting plans the search moves one coordinate at a time (`moves`), in steps of four hours, two, one
and a half, or switches one thing off or on; the best plan of each of the three best kinds is the next centre.
`tests/benchmarks/decide.py` measures what the full grid would have found beyond it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from microclimate.actions import cost, moves
from microclimate.actions.case import Case
from microclimate.actions.choice import NOTHING, Choice, Kind
from microclimate.actions.constraints import Binding, slots_of_work
from microclimate.actions.cost import Figures, Table

BEAM = 3  # kinds of plan that are followed at once
MOST_PLANS = 300
WAIT = timedelta(hours=6)  # until the next forecast is there; common interval of services


@dataclass(frozen=True)
class Waiting:
    """What it would cost to act on the next forecast only."""

    hours: float
    chance: float
    cost: float | None


@dataclass(frozen=True)
class Advised:
    """The advice: a plan, what else was possible, and what binds."""

    best: Figures
    others: tuple[Figures, ...]  # at most two, each of another kind
    nothing: Figures
    inside: bool  # the plan keeps the chance within the tolerated one
    kept: bool  # the advice given before stands although another plan ranks first by a little
    waiting: Waiting | None
    bindings: tuple[Binding, ...]
    turns: tuple[tuple[float, Choice], ...]  # tolerated chances that would change the advice, and to what
    milder: Choice | None  # what would be advised if the night came as in the milder half of the realizations
    harder: Choice | None
    plans_run: int
    table: Table  # all patches: best, others, nothing
    searched: Table


def best(case: Case, before: Choice | None = None, anew: Callable[[Choice], Case] | None = None) -> Advised:
    """Search, then run the chosen few on all patches.

    Parameters
    ----------
    case : Case
    before : Choice, optional
        The plan advised last, in this run's slots: it stands unless another is worth the change.
    anew : callable, optional
        The case under the bowl air that a plan with heat makes itself (`feedback.fed`).
    """
    table = search(case, () if before is None else (before,))
    first, kept = chosen(table, case, before)
    nothing = table.choices.index(NOTHING)
    shown = [first, *_of_other_kinds(table, first, case)]
    few = case.table([table.choices[k] for k in dict.fromkeys([*shown, nothing])], everywhere=True)
    told = [cost.figures(few, k, case.prices) for k in range(len(few))]
    if anew is not None and few.choices[0].heated:
        told[0] = cost.figures(anew(few.choices[0]).table(few.choices[:1], everywhere=True), 0, case.prices)
    share, price = cost.honest(table, case.tolerated, case.prices)
    best = told[0]
    if not kept:  # the winner's own average is too kind
        dear = best.cost if price is None or best.cost is None else max(best.cost, price)
        best = replace(best, chance=max(best.chance, share), cost=dear)
    idle = next(figures for figures in told if figures.choice == NOTHING)
    return Advised(
        best,
        tuple(figures for figures in told[1 : len(shown)]),
        idle,
        bool(best.chance <= case.tolerated),
        kept,
        _waiting(table, case),
        case.allow.bindings,
        _turns(table, case, table.choices[first]),
        *_halves(table, case, nothing, table.choices[first]),
        len(table),
        few,
        table,
    )


def chosen(table: Table, case: Case, before: Choice | None) -> tuple[int, bool]:
    """Number of the plan to advise, and whether it is the one told `before` although another ranks first."""
    first = int(cost.order(table, case.tolerated, case.prices)[0])
    if before is None or before not in table.choices:
        return first, False
    old, nothing = table.choices.index(before), table.choices.index(NOTHING)
    kept = old != first and cost.keeps(table, old, first, case.tolerated, case.prices, nothing)
    return (old if kept else first), kept


def search(case: Case, also: Sequence[Choice] = ()) -> Table:
    """Every plan that was run, on the worst patches."""
    table = case.table(list(dict.fromkeys([NOTHING, *moves.starts(case), *(c for c in also if case.possible(c))])))
    centres = _centres(table, case)
    for step in moves.STEPS:
        while len(table) < MOST_PLANS:
            known = set(table.choices)
            near = dict.fromkeys(choice for centre in centres for choice in moves.neighbours(case, centre, step))
            fresh = [c for c in near if c not in known and moves.worth(case, c) and case.possible(c)]
            if fresh:
                table = table.joined(case.table(fresh[: MOST_PLANS - len(table)]))
            better = _centres(table, case)
            if better == centres:
                break
            centres = better
    return table


def _centres(table: Table, case: Case) -> list[Choice]:
    """The best plan of each of the best kinds: what is second coarsely may be first finely."""
    found: dict[Kind, Choice] = {}
    for plan in cost.order(table, case.tolerated, case.prices):
        choice = table.choices[plan]
        if choice != NOTHING:
            found.setdefault(choice.kind, choice)
    return list(found.values())[:BEAM]


def _first(table: Table, case: Case) -> Choice:
    return table.choices[int(cost.order(table, case.tolerated, case.prices)[0])]


def _of_other_kinds(table: Table, first: int, case: Case) -> list[int]:
    """The two best plans that differ in kind from the chosen one, from each other, and from doing nothing."""
    kinds, found = {table.choices[first].kind, NOTHING.kind}, []
    for plan in cost.order(table, case.tolerated, case.prices):
        if table.choices[plan].kind not in kinds:
            kinds.add(table.choices[plan].kind)
            found.append(int(plan))
    return found[:2]


def first_deed(case: Case, choice: Choice) -> int | None:
    """The slot at which work, or heat, begins; the crew's notice counted in."""
    found = [] if choice.first_heat is None else [choice.first_heat]
    notice = case.venue.crew.notice / 1800.0
    for spell in choice.spells:
        if not case.clock.lies(spell):
            found.append(spell.on - slots_of_work(case.venue.equipment.covers[spell.cover - 1]) - int(np.ceil(notice)))
    equipment = case.venue.equipment
    for done, kit in ((choice.snow, equipment.snow), (choice.skirts, equipment.skirts)):
        if done is not None and kit is not None and done > case.clock.first:
            found.append(done - slots_of_work(kit) - int(np.ceil(notice)))
    return min(found) if found else None


def _waiting(table: Table, case: Case) -> Waiting | None:
    """The best plan that can still be chosen with the next forecast; None where that is the advised one itself."""
    later = case.clock.slot(case.clock.now + WAIT)
    still = [k for k, c in enumerate(table.choices) if (first := first_deed(case, c)) is None or first >= later]
    if not still:
        return None
    rest = table.rows(still)
    told = cost.figures(rest, int(cost.order(rest, case.tolerated, case.prices)[0]), case.prices)
    if told.choice == _first(table, case):
        return None
    return Waiting(WAIT.total_seconds() / 3600.0, told.chance, told.cost)


def _turns(table: Table, case: Case, chosen: Choice) -> tuple[tuple[float, Choice], ...]:
    """Tolerated chances, one to either side, at which another plan would be advised."""
    found = []
    lower = [t for t in (0.5, 0.4, 0.3, 0.25, 0.2, 0.15, 0.1, 0.05) if t < case.tolerated]
    higher = [t for t in (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.75) if t > case.tolerated]
    for levels in (lower, higher):
        for level in levels:
            other = table.choices[int(cost.order(table, level, case.prices)[0])]
            if other.kind != chosen.kind:
                found.append((level, other))
                break
    return tuple(found)


def _halves(table: Table, case: Case, nothing: int, chosen: Choice) -> tuple[Choice | None, Choice | None]:
    """What would be advised in the milder and in the harder half of the realizations, where it differs in kind."""
    ranked = np.argsort(table.lowest[nothing].min(axis=1, initial=400.0))
    half, found = ranked.size // 2, []
    for drop in (ranked[:half], ranked[-half:]):
        part = table
        for realization in sorted(drop.tolist(), reverse=True):
            part = part.without(realization)
        other = _first(part, case)
        found.append(None if other.kind == chosen.kind else other)
    return found[0], found[1]
