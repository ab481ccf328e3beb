"""How long each action can wait.

Later hours of one action, the rest of the plan held, go through one run as plans of their own: first every fourth hour,
then each hour near those that are told. In each realization the latest start is the last hour that, like all hours
before it, keeps the windows within the limit; the hour told at 90 % is one that the night to come bears with at least
that chance if it is drawn as the realizations are.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from microclimate.actions import cost
from microclimate.actions.case import Case
from microclimate.actions.choice import Choice
from microclimate.actions.constraints import slots_of_work
from microclimate.actions.cost import Table
from microclimate.schema import SurfaceState

SURE = (0.50, 0.90, 0.95)
By = datetime | Literal["not needed", "not reachable"]
STATES = (SurfaceState.WHITE_FROST, SurfaceState.CRUST, SurfaceState.FROZEN_LAYER)
EVERY = 2  # slots between the hours tried: one hour
COARSE = 4  # of these hours between the ones tried first


@dataclass(frozen=True)
class Deadline:
    """Latest start of one action for each of `SURE`: an hour (UTC), or one of the two words."""

    action: Literal["lay", "heat"]
    number: int  # of the plan's spell, or of the circuit
    state: SurfaceState  # what the action holds off in time
    by: tuple[By, By, By]


def deadlines(case: Case, choice: Choice) -> tuple[Deadline, ...]:
    """Latest starts of the actions of a plan."""
    found = []
    for circuit, start in enumerate(choice.heat):
        if start is not None:
            hours = [s for s in case.allow.heat if (s - case.allow.heat[0]) % EVERY == 0]
            hours = [s for s in hours if case.possible(choice.with_heat(circuit, s))]
            found.append(_deadline(case, "heat", circuit, sorted({*hours, start}), _heated(choice, circuit)))
    for number, spell in enumerate(choice.spells):
        if not case.clock.lies(spell):
            hours = [s for s in case.allow.lay[spell.cover - 1] if case.possible(_laid(choice, number)(s))]
            found.append(_deadline(case, "lay", number, sorted({*hours, spell.on}), _laid(choice, number)))
    return tuple(found)


def _heated(choice: Choice, circuit: int) -> Callable[[int | None], Choice]:
    return lambda start: choice.with_heat(circuit, start)


def _laid(choice: Choice, number: int) -> Callable[[int | None], Choice]:
    spell = choice.spells[number]
    return lambda on: choice.with_spell(number, None if on is None else replace(spell, on=on))


def _deadline(
    case: Case, action: Literal["lay", "heat"], number: int, hours: Sequence[int], plan: Callable[[int | None], Choice]
) -> Deadline:
    """One action's; `plan` gives the plan with another start of it, or without it."""
    first = sorted({*hours[::COARSE], *hours[-1:]})
    table = case.table([*(plan(s) for s in first), plan(None)])
    state = _held(case, table)
    idle, holds = _within(table, state)[-1], dict(zip(first, _within(table, state)[:-1], strict=True))
    rough = latest(np.array([holds[s] for s in first]), idle, np.array(first, dtype=float))
    near = {
        s for q in SURE if np.isfinite(at := at_confidence(rough, q)) for s in hours if at < s < at + COARSE * EVERY
    }
    fine = sorted(near - set(first))
    if fine:
        holds |= dict(zip(fine, _within(case.table([plan(s) for s in fine]), state), strict=True))
    tried = sorted(holds)
    starts = np.array(tried, dtype=float)
    if action == "lay":  # told is when work begins, so that the cover lies in time
        spell = plan(tried[0]).spells[number]
        starts -= slots_of_work(case.venue.equipment.covers[spell.cover - 1])
    slots = latest(np.array([holds[s] for s in tried]), idle, starts)
    half, most, nearly_all = (_told(case, at_confidence(slots, q)) for q in SURE)
    return Deadline(action, number, state, (half, most, nearly_all))


def _within(table: Table, state: SurfaceState) -> NDArray[np.bool_]:
    """Whether each plan keeps all windows milder than `state`, (plan, realization)."""
    return np.asarray(table.state.max(axis=2, initial=0.0) < state)


def _held(case: Case, table: cost.Table) -> SurfaceState:
    """The mildest state that the best of these plans holds off within the tolerated chance; the last if none."""
    for state in STATES:
        if np.nanmin(cost.chance(table, state), initial=1.0) <= case.tolerated:
            return state
    return STATES[-1]


def latest(holds: NDArray[np.bool_], idle: NDArray[np.bool_], hours: NDArray[np.float64]) -> NDArray[np.float64]:
    """Latest start in each realization, (realization,).

    Parameters
    ----------
    holds : array of bool, shape (hour, realization)
        Whether a start at that hour ends within the limit.
    idle : array of bool, shape (realization,)
        Whether no start at all does.
    hours : array, shape (hour,)
        Rising.

    Returns
    -------
    array
        The last hour that holds together with all before it; infinity: not needed; minus infinity: not reachable.
    """
    until = np.cumprod(holds, axis=0).sum(axis=0).astype(int)
    found = np.where(until > 0, np.concatenate(([-np.inf], hours))[until], -np.inf)
    return np.asarray(np.where(idle, np.inf, found))


def at_confidence(hours: NDArray[np.float64], sure: float) -> float:
    """The hour that the night to come still bears with a chance of at least `sure`; minus infinity: none is that sure.

    With n realizations drawn as the truth is, the truth lies at or above their k-th lowest with a chance of
    1 - k / (n + 1) at least (ranks of exchangeable draws); ties only add to it.
    """
    rank = int(np.floor((1.0 - sure) * (hours.size + 1) + 1e-9))
    return float(np.sort(hours)[rank - 1]) if rank >= 1 else -np.inf


def _told(case: Case, slot: float) -> By:
    if np.isinf(slot):
        return "not needed" if slot > 0 else "not reachable"
    return case.clock.begins(int(slot))
