"""What plans come to: a table of outcomes by plan and realization, and everything that is worked out from it alone.

Chances, tolerated chance, prices and losses can all change without a new run. No loss and no price is ever filled in:
where the user gave none, plans are ranked by chance, energy and crew. The realizations are joined by one in which every
surface state is equally likely, so that 31 fair members never make a certainty (as in `risk.outlook`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from microclimate.actions.choice import Choice
from microclimate.schema import SurfaceState
from microclimate.venue.equipment import Prices

Array = NDArray[np.float64]

# how bad a state is for an event, by the ladder: 1 it cannot take place, less: on a poor surface. Ours, no source.
WEIGHTS = np.array([0.0, 0.0, 0.0, 0.15, 0.5, 1.0, 1.0, 1.0, 1.0])
OUTSIDE = SurfaceState.WHITE_FROST  # from this state on a zone is outside the limits
HOTTEST = 298.15  # [K] canopy under a cover that half of the realizations may pass. Roots of cool-season grass stop at
# 25 degC (trade handbook); taken for the leaf too, ours
NOT_CARRIED_OUT = 0.5  # share of the crew's work that a call is worth when wind or leaf then forbid it; ours
CANCEL = 0.5  # a plan is dropped only when the chance without it is below this share of the tolerated one (measured:
# 200,000 simulated nights, forecasts as a martingale; fewer changes at no higher cost than without it)


@dataclass(frozen=True)
class Table:
    """Outcomes of plans, a column for each realization; (plan, realization) unless said otherwise.

    `state` and `lowest` are those of the worst patch of the field inside one realization, (plan, realization, window);
    where a realization's wind or leaf forbids the cover, all its entries are those of the plan without it.
    """

    choices: tuple[Choice, ...]
    state: Array  # worst surface state, NaN where unknown
    final: Array  # surface state when the last window ends, worst patch, NaN where unknown
    lowest: Array  # lowest canopy [K]
    energy: Array  # fuel or current [kWh]
    killed: Array  # turf below what it bears [m2]
    warmest: Array  # canopy while it lies under a cover [K], minus infinity without one
    crew: Array  # [person-hours]
    laid: NDArray[np.bool_]  # the cover could be laid and left

    def __len__(self) -> int:
        return len(self.choices)

    def rows(self, keep: Sequence[int]) -> "Table":
        """Some of the plans."""
        chosen = np.asarray(keep, dtype=int)
        arrays = {name: getattr(self, name)[chosen] for name in _ARRAYS}
        return replace(self, choices=tuple(self.choices[k] for k in keep), **arrays)

    def without(self, realization: int) -> "Table":
        """All realizations but one."""
        arrays = {name: np.delete(getattr(self, name), realization, axis=1) for name in _ARRAYS}
        return replace(self, **arrays)

    def joined(self, other: "Table") -> "Table":
        """The plans of both."""
        arrays: dict[str, Any] = {name: np.concatenate((getattr(self, name), getattr(other, name))) for name in _ARRAYS}
        return Table(self.choices + other.choices, **arrays)


_ARRAYS = ("state", "final", "lowest", "energy", "killed", "warmest", "crew", "laid")


def chance(table: Table, state: SurfaceState = OUTSIDE) -> Array:
    """Chance that any zone in any window reaches a state or a worse one, (plan,).

    The worst patch and window inside one realization, then the mean over realizations; NaN where fewer than half of
    them are known.
    """
    worst = _worst(table.state)
    return _share(worst >= state, np.isfinite(worst), state)


def _share(reached: NDArray[np.bool_], known: NDArray[np.bool_], state: SurfaceState) -> Array:
    """Hits among the known realizations and the one in which every state is equally likely, (plan,)."""
    hits = (reached & known).sum(axis=1)
    found = (hits + (len(WEIGHTS) - int(state)) / len(WEIGHTS)) / (known.sum(axis=1) + 1.0)
    return np.where(known.mean(axis=1) >= 0.5, found, np.nan)


def _worst(state: Array) -> Array:
    """Worst window of each realization; one unknown window makes it unknown."""
    return np.asarray(np.where(np.isnan(state).any(axis=2), np.nan, state.max(axis=2, initial=0.0)))


def _weights(table: Table) -> Array:
    """`WEIGHTS` of every outcome, (plan, realization, window); what is unknown counts as the plan's mean."""
    known = np.isfinite(table.state)
    weight = WEIGHTS[np.where(known, table.state, 0).astype(int)]
    mean = np.where(known, weight, 0.0).sum(axis=1, keepdims=True) / np.maximum(known.sum(axis=1, keepdims=True), 1)
    return np.asarray(np.where(known, weight, mean))


def costs(table: Table, prices: Prices | None) -> dict[str, Array]:
    """What each plan costs in each realization, part by part, for the prices that were given; (plan, realization).

    Keys: crew, energy, event_lost, poor_surface, turf_damage. An event is lost from a frozen layer on, its surface poor
    with white frost (0.3 of the price) or a crust (all of it).
    """
    if prices is None:
        return {}
    weight = _weights(table)
    lost = (weight >= 1.0).sum(axis=2)
    poor = np.where(weight < 1.0, weight / WEIGHTS[SurfaceState.CRUST], 0.0).sum(axis=2)
    given = {
        "crew": (prices.crew_hour, table.crew),
        "energy": (prices.energy, table.energy),
        "event_lost": (prices.event_lost, lost),
        "poor_surface": (prices.poor_surface, poor),
        "turf_damage": (prices.turf_damage, table.killed),
    }
    return {name: price * amount for name, (price, amount) in given.items() if price is not None}


def expected(table: Table, prices: Prices | None) -> Array | None:
    """Expected cost of each plan, (plan,); None where no price was given.

    The realization of equally likely states is among those that are averaged.
    """
    parts = costs(table, prices)
    if not parts:
        return None
    assert prices is not None
    count, windows = table.state.shape[1:]
    share = 1.0 / len(WEIGHTS)
    lost = share * (WEIGHTS >= 1.0).sum() * (prices.event_lost or 0.0)
    poor = share * (WEIGHTS[WEIGHTS < 1.0] / WEIGHTS[SurfaceState.CRUST]).sum() * (prices.poor_surface or 0.0)
    spent = sum((parts[name].mean(axis=1) for name in ("crew", "energy") if name in parts), np.zeros(len(table)))
    members = sum(parts.values(), np.zeros((len(table), count)))
    total = members.sum(axis=1) + spent + windows * (lost + poor)
    return np.asarray(total / (count + 1.0))


def order(table: Table, tolerated: float, prices: Prices | None) -> NDArray[np.int64]:
    """Plans, the one to advise first.

    Plans within the tolerated chance come first: the cheapest, or without prices the one with least energy, then least
    crew. When none is within it, those of the least chance, all that differ from it by one realization at most: the
    cheapest where a loss has a price, else the one of the mildest outcomes. Ties go to the larger margin. Plans that
    bake the grass under the cover (`HOTTEST`) come last.
    """
    hot = np.median(table.warmest, axis=1) > HOTTEST
    outside = np.nan_to_num(chance(table), nan=1.0)
    inside = outside <= tolerated
    weight = _weights(table).max(axis=2, initial=0.0).mean(axis=1)
    cost = expected(table, prices)
    energy, crew = table.energy.mean(axis=1), table.crew.mean(axis=1)
    margin = np.nan_to_num(table.lowest.min(axis=2, initial=400.0), nan=0.0).mean(axis=1)
    none = np.zeros(len(table))
    least = outside[~hot].min(initial=1.0) + 1.0 / (table.state.shape[1] + 1.0)  # nearer than this is luck
    short = np.where(inside, 0.0, np.round(np.maximum(outside, least), 6))
    valued = cost is not None and prices is not None and (prices.event_lost or prices.poor_surface)
    keys = (
        -np.round(margin, 2),
        crew,
        energy,
        none if cost is None else np.round(cost, 2),
        np.where(inside, 0.0, np.round(weight, 6)),
        np.round(cost, 2) if valued and cost is not None else none,
        short,
        hot,
    )
    return np.lexsort(keys)


@dataclass(frozen=True)
class Figures:
    """What may be told of one plan."""

    choice: Choice
    chance: float  # of an event outside the limits
    severe: float  # of frozen ground or worse
    energy: float  # [kWh]
    crew: float  # [person-hours]
    cost: float | None
    parts: dict[str, float]
    laid: float  # share of realizations in which every cover can be laid and left
    ending: float  # chance of being outside the limits when the last window ends


def figures(table: Table, plan: int, prices: Prices | None) -> Figures:
    """One plan's figures, as the table has them."""
    cost = expected(table, prices)
    return Figures(
        table.choices[plan],
        float(chance(table)[plan]),
        float(chance(table, SurfaceState.FROZEN_LAYER)[plan]),
        float(table.energy[plan].mean()),
        float(table.crew[plan].mean()),
        None if cost is None else float(cost[plan]),
        {name: float(part[plan].mean()) for name, part in costs(table, prices).items()},
        float(table.laid[plan].mean()),
        float(_share(table.final >= OUTSIDE, np.isfinite(table.final), OUTSIDE)[plan]),
    )


def honest(table: Table, tolerated: float, prices: Prices | None) -> tuple[float, float | None]:
    """Chance and cost of the advised plan without the winner's luck.

    Each realization in turn is left out of the choice and then asked what the choice brought. The chosen plan's own
    average would be too low: it was picked because these very realizations were kind to it.
    """
    count = table.state.shape[1]
    members = sum(costs(table, prices).values(), np.zeros((len(table), count))) if costs(table, prices) else None
    worst, hits, spent, known = _worst(table.state), 0.0, 0.0, 0
    for left in range(count):
        pick = order(table.without(left), tolerated, prices)[0]
        if np.isfinite(worst[pick, left]):
            hits, known = hits + float(worst[pick, left] >= OUTSIDE), known + 1
        spent += float(members[pick, left]) if members is not None else 0.0
    share = (hits + (len(WEIGHTS) - int(OUTSIDE)) / len(WEIGHTS)) / (known + 1.0)
    return share, spent / count if members is not None else None


def keeps(table: Table, old: int, new: int, tolerated: float, prices: Prices | None, nothing: int) -> bool:
    """Whether the advice given before should stand although another plan is now ranked first.

    With prices: unless the new plan saves more than the crew's half-done work and twice the standard error of the
    paired difference. Without: while the old plan is within the tolerated chance, unless it may be dropped because the
    chance without any action is below half of the tolerated one.
    """
    if old == new:
        return True
    outside = np.nan_to_num(chance(table), nan=1.0)
    if outside[old] > tolerated >= outside[new]:
        return False
    parts = costs(table, prices)
    if not parts:
        if outside[old] > tolerated:
            return bool(outside[old] - outside[new] <= 1.0 / (table.state.shape[1] + 1.0))
        return not (table.choices[new] == table.choices[nothing] and outside[nothing] < CANCEL * tolerated)
    members = sum(parts.values(), np.zeros((len(table), table.state.shape[1])))
    gain = members[old] - members[new]
    error = float(gain.std(ddof=1) / np.sqrt(gain.size)) if gain.size > 1 else 0.0
    crew = prices.crew_hour if prices is not None else None
    stand_down = NOT_CARRIED_OUT * (crew or 0.0) * float(table.crew[old].mean())
    return bool(gain.mean() <= max(stand_down, 2.0 * error))
