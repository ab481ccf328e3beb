"""Tables of outcomes against closed forms: chances, costs, order, the winner's luck, and when advice stands."""

from typing import Any

import numpy as np
import pytest

from microclimate.actions import cost
from microclimate.actions.choice import Choice, Spell
from microclimate.actions.cost import Table
from microclimate.schema import SurfaceState
from microclimate.venue.equipment import Prices

OPEN, FROST, CRUST, FROZEN = (
    float(s) for s in (SurfaceState.OPEN, SurfaceState.WHITE_FROST, SurfaceState.CRUST, SurfaceState.FROZEN_LAYER)
)
NOTHING, HEAT, COVER = Choice(), Choice(heat=(0,)), Choice((Spell(1, 2, 9),))


def table(states: Any, choices: tuple[Choice, ...] = (NOTHING, HEAT, COVER), **given: Any) -> Table:
    """One window; `states` (plan, realization)."""
    state = np.asarray(states, dtype=float)[:, :, None]
    shape = state.shape[:2]

    def wide(name: str, default: Any) -> np.ndarray:
        return np.broadcast_to(np.asarray(given.get(name, default), dtype=float), shape).copy()

    return Table(
        choices[: shape[0]],
        state,
        state[..., -1],
        np.full(state.shape, 272.0) if "lowest" not in given else np.asarray(given["lowest"], dtype=float),
        wide("energy", [[0.0], [500.0], [0.0]][: shape[0]]),
        wide("killed", 0.0),
        wide("warmest", -np.inf),
        wide("crew", [[0.0], [0.0], [8.0]][: shape[0]]),
        np.ones(shape, dtype=bool),
    )


def prices(**given: float) -> Prices:
    """Only what is named has a price."""
    return Prices.model_validate(given)


def test_a_chance_counts_realizations_and_one_of_equally_likely_states() -> None:
    """(hits + 6/9) / (members + 1) for white frost or worse, six of the nine states (Perks 1947, as `outlook`)."""
    found = cost.chance(table([[OPEN, OPEN, FROST, FROZEN]]))
    assert found[0] == pytest.approx((2 + 6 / 9) / 5)
    assert cost.chance(table([[OPEN] * 4]))[0] > 0.0
    assert cost.chance(table([[FROZEN] * 4]))[0] < 1.0


def test_a_chance_is_unknown_where_most_realizations_are() -> None:
    assert np.isnan(cost.chance(table([[np.nan, np.nan, np.nan, OPEN]]))[0])


def test_expected_cost_is_the_sum_by_hand() -> None:
    """Two members: crew 8 h x 30, energy none; one event lost (10,000), one poor with white frost (0.3 x 1,000)."""
    given = prices(crew_hour=30.0, energy=0.1, event_lost=10_000.0, poor_surface=1_000.0)
    one = table([[FROZEN, FROST]], (COVER,), crew=8.0, energy=0.0)
    members = [240.0 + 10_000.0, 240.0 + 300.0]
    pseudo = 240.0 + 4 / 9 * 10_000.0 + (0.3 + 1.0) / 9 * 1_000.0
    found = cost.expected(one, given)
    assert found is not None
    assert found[0] == pytest.approx((sum(members) + pseudo) / 3)


def test_nothing_is_priced_that_has_no_price() -> None:
    one = table([[FROZEN, FROST]], (COVER,))
    assert cost.expected(one, None) is None
    assert cost.expected(one, prices()) is None
    assert set(cost.costs(one, prices(energy=0.1))) == {"energy"}
    assert set(cost.costs(one, prices(turf_damage=2.0, crew_hour=1.0))) == {"turf_damage", "crew"}


def test_where_no_plan_is_within_the_tolerated_chance_one_realization_more_is_no_reason_to_spend() -> None:
    """32 chances are told apart in steps of 1/32: one is luck, three are not."""

    def outside(hits: int) -> list[float]:
        return [FROZEN] * hits + [OPEN] * (31 - hits)

    given = prices(energy=0.1, crew_hour=30.0, event_lost=100.0)
    near = table([outside(30), outside(12), outside(11)], crew=[[0.0], [0.0], [50.0]])
    assert list(cost.order(near, 0.15, given)) == [1, 2, 0]  # 50 hours of work for one realization in 31
    assert list(cost.order(near, 0.15, None)) == [2, 1, 0]  # without a price of the event the milder outcome
    far = table([outside(30), outside(14), outside(11)], crew=[[0.0], [0.0], [50.0]])
    assert list(cost.order(far, 0.15, given)) == [2, 1, 0]


def test_without_prices_the_least_energy_then_the_least_crew_within_the_tolerated_chance() -> None:
    bad, good = [FROZEN] * 8, [OPEN] * 8
    assert list(cost.order(table([bad, good, good]), 0.2, None)) == [2, 1, 0]  # a cover needs no energy
    assert list(cost.order(table([good, good, good]), 0.2, None)) == [0, 2, 1]
    assert cost.order(table([bad, good, bad]), 0.2, None)[0] == 1


def test_when_no_plan_is_within_the_tolerated_chance_the_least_chance_comes_first() -> None:
    states = [[FROZEN] * 8, [FROST] * 4 + [OPEN] * 4, [FROST] * 6 + [OPEN] * 2]
    assert cost.order(table(states), 0.05, None)[0] == 1


def test_equal_chances_go_to_the_milder_state_and_equal_states_to_the_larger_margin() -> None:
    milder = table([[FROZEN] * 8, [FROST] * 8], (HEAT, COVER), energy=0.0, crew=0.0)
    assert cost.order(milder, 0.05, None)[0] == 1
    margin = np.stack([np.full((8, 1), 272.0), np.full((8, 1), 274.0)])
    equal = table([[OPEN] * 8, [OPEN] * 8], (HEAT, COVER), energy=0.0, crew=0.0, lowest=margin)
    assert cost.order(equal, 0.2, None)[0] == 1


def test_a_plan_that_bakes_the_grass_comes_last() -> None:
    hot = table([[FROZEN] * 8, [OPEN] * 8], (NOTHING, COVER), warmest=[[-np.inf] * 8, [305.0] * 8])
    assert cost.order(hot, 0.5, None)[0] == 0


def test_prices_decide_within_the_tolerated_chance() -> None:
    both = table([[FROZEN] * 8, [OPEN] * 8, [OPEN] * 8])
    assert cost.order(both, 0.5, prices(energy=0.01, crew_hour=50.0))[0] == 1
    assert cost.order(both, 0.5, prices(energy=10.0, crew_hour=1.0))[0] == 2


def test_the_winner_is_not_told_by_its_own_luck() -> None:
    """Sixty plans of one true chance (0.3): the best of them looks better than it is, left out it does not.

    Drawn from a fixed generator over 40 nights; the truth is 0.3 by construction.
    """
    rng, seen, honest = np.random.default_rng(4), [], []
    choices = tuple(Choice(heat=(k,)) for k in range(60))
    for _ in range(40):
        states = np.where(rng.random((60, 31)) < 0.3, FROZEN, OPEN)
        one = table(states, choices, energy=1.0, crew=0.0)
        pick = cost.order(one, 0.01, None)[0]
        seen.append(cost.chance(one)[pick])
        honest.append(cost.honest(one, 0.01, None)[0])
    assert np.mean(seen) < 0.2
    assert abs(np.mean(honest) - 0.3) < 0.05


def test_prices_change_without_a_new_run() -> None:
    both = table([[FROZEN] * 8, [OPEN] * 8, [CRUST] * 8])
    cheap, dear = cost.expected(both, prices(event_lost=100.0)), cost.expected(both, prices(event_lost=200.0))
    assert cheap is not None
    assert dear is not None
    np.testing.assert_allclose(dear, 2.0 * cheap)


def test_advice_stands_unless_a_change_is_worth_it() -> None:
    good = [OPEN] * 8
    given = prices(energy=1.0, crew_hour=20.0)
    near = table([good, good, good], energy=[[0.0], [500.0], [410.0]], crew=[[0.0], [0.0], [8.0]])
    assert cost.keeps(near, 2, 1, 0.2, given, 0)  # saves 70 of 570; standing the crew down wastes half of 160
    far = table([good, good, good], energy=[[0.0], [500.0], [430.0]], crew=[[0.0], [0.0], [8.0]])
    assert not cost.keeps(far, 2, 1, 0.2, given, 0)  # saves 90


def test_advice_does_not_stand_outside_the_tolerated_chance() -> None:
    worse = table([[FROZEN] * 8, [OPEN] * 8, [FROZEN] * 8])
    assert not cost.keeps(worse, 2, 1, 0.2, None, 0)


def test_without_prices_a_plan_is_dropped_only_when_the_chance_has_fallen_well_below_the_tolerated_one() -> None:
    """Half of the tolerated chance: 1 of 8 members is (1 + 6/9) / 9 = 0.19, above half of 0.3 and below half of 0.5."""
    one = table([[FROZEN] + [OPEN] * 7, [OPEN] * 8, [OPEN] * 8])
    assert cost.keeps(one, 1, 0, 0.3, None, 0)
    assert not cost.keeps(one, 1, 0, 0.5, None, 0)


def test_rows_and_realizations_can_be_left_out_and_joined() -> None:
    one = table([[FROZEN, OPEN], [OPEN, OPEN], [CRUST, OPEN]])
    assert one.rows([2, 0]).choices == (COVER, NOTHING)
    assert one.without(0).state.shape == (3, 1, 1)
    assert len(one.joined(one)) == 6
