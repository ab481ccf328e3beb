"""The search against the full grid on a small problem, and what its advice holds to."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from microclimate.actions import cost, moves, schedule
from microclimate.actions import plan as plans
from microclimate.actions.case import Case
from microclimate.actions.choice import NOTHING, Choice, Spell
from microclimate.venue.equipment import Prices
from tests.actions import problem as p

PRICES = Prices.model_validate({"energy": 0.1, "crew_hour": 0.5, "event_lost": 300.0, "poor_surface": 50.0})


def whole_grid(case: Case, every: int = 2) -> list[Choice]:
    """All plans at `every` second slot."""
    found = [Choice()]
    for number in range(2):
        spells = [(on, off) for on in case.allow.lay[number][::every] for off in case.allow.lift[number][::every]]
        made = [Choice((Spell(number + 1, on, off),)) for on, off in spells]
        found += [choice for choice in made if case.possible(choice)]
    heats = [((), 0.0), *(((hour,), boost) for hour in case.allow.heat[::every] for boost in moves.BOOSTS)]
    return [replace(choice, heat=hour, boost=boost) for choice in found for hour, boost in heats]


@pytest.fixture(scope="module")
def case() -> Case:
    return p.problem(air=269.0, prices=PRICES, tolerated=0.3)


@pytest.fixture(scope="module")
def advised(case: Case) -> schedule.Advised:
    return schedule.best(case)


def test_the_search_finds_what_the_full_grid_finds(case: Case, advised: schedule.Advised) -> None:
    """At most 1 % of what doing nothing loses, over one plan in ten of the grid (each a plan in a table of costs)."""
    rng = np.random.default_rng(7)
    grid = whole_grid(case)
    some = [grid[k] for k in sorted(rng.choice(len(grid), 400, replace=False))]
    table = case.table([Choice(), *some]).joined(advised.searched)
    first = cost.order(table, case.tolerated, case.prices)[0]
    price = cost.expected(table, case.prices)
    assert price is not None
    mine = table.choices.index(advised.searched.choices[int(cost.order(advised.searched, 0.3, PRICES)[0])])
    assert price[mine] - price[first] <= 0.01 * (price[0] - price[first]) + 1e-9
    assert advised.plans_run <= 300


def test_every_plan_is_one_that_clock_and_crew_allow(case: Case, advised: schedule.Advised) -> None:
    assert all(case.possible(choice) for choice in advised.searched.choices)


def test_the_advice_is_better_than_nothing_and_the_others_differ_in_kind(advised: schedule.Advised) -> None:
    assert advised.best.chance < advised.nothing.chance
    kinds = [told.choice.kind for told in (advised.best, *advised.others, advised.nothing)]
    assert len(set(kinds)) == len(kinds)
    assert len(advised.others) == 2


def test_nothing_is_advised_on_a_warm_night() -> None:
    found = schedule.best(p.problem(air=285.0, sky=340.0))
    assert found.best.choice == NOTHING
    assert found.inside


def test_the_least_bad_plan_is_told_when_none_is_within_the_tolerated_chance() -> None:
    weak = p.venue(crewed=p.crew(people=0))
    found = schedule.best(p.problem(air=270.0, made=weak, now=p.GAME.start - timedelta(hours=1)))
    assert not found.inside
    assert {binding.what for binding in found.bindings} == {"people"}
    assert found.best.chance > 0.15
    chances = cost.chance(found.searched)
    assert found.best.chance >= np.nanmin(chances) - 1e-9


def test_waiting_never_has_a_smaller_chance_than_acting_within_the_limit() -> None:
    found = schedule.best(p.problem(air=268.0))
    if found.waiting is not None:
        assert found.waiting.chance >= cost.chance(found.searched).min() - 1e-9


def test_a_deed_that_is_due_at_once_does_not_wait_for_the_next_forecast() -> None:
    """Heat from the run's very first slot is lost by waiting: what is left is told, and begins later."""
    case = p.problem(air=268.0)
    table = case.table([Choice(), Choice(heat=(0,), boost=8.0), Choice(heat=(20,), boost=8.0)])
    assert schedule.first_deed(case, table.choices[1]) == 0
    waiting = schedule._waiting(table, case)
    assert waiting is not None
    later = cost.chance(table.rows([0, 2]))
    assert waiting.chance == pytest.approx(later.min())
    assert waiting.chance > cost.chance(table)[1]


def test_nothing_starts_in_the_past() -> None:
    later = p.BEGIN + timedelta(hours=5)
    case = p.problem(now=later)
    for choice in schedule.search(case).choices:
        first = schedule.first_deed(case, choice)
        assert first is None or case.clock.begins(first) >= later


def test_the_same_problem_gives_the_same_advice(case: Case, advised: schedule.Advised) -> None:
    again = schedule.best(case)
    assert again.best == advised.best
    assert again.others == advised.others


def test_the_advice_given_before_stands_when_little_is_gained(case: Case, advised: schedule.Advised) -> None:
    ranked = cost.order(advised.searched, case.tolerated, case.prices)
    alike = [
        advised.searched.choices[k] for k in ranked if advised.searched.choices[k].kind == advised.best.choice.kind
    ]
    found = schedule.best(case, alike[1])
    assert found.best.choice == alike[1] != advised.best.choice
    assert found.kept
    far = schedule.best(case, NOTHING)
    assert far.best.choice == advised.best.choice
    assert not far.kept


def test_a_ramp_holds_the_set_point_back(case: Case) -> None:
    """4 K a day: half a day after heat begins the set point has risen by 2 K at most."""
    made = p.venue()
    circuit = made.equipment.circuits[0].model_copy(update={"ramp": 4.0})
    made.equipment = made.equipment.model_copy(update={"circuits": (circuit,)})
    laid = plans.laid(made, case.clock.ends, [Choice(heat=(0,), boost=8.0)], 40, np.array([275.0]))
    points = laid["set_point"].values[0, 0]
    assert points[0] == pytest.approx(circuit.set_point)
    assert points[24] - points[0] == pytest.approx(2.0)
    assert points.max() <= circuit.ceiling


def test_heat_ends_with_the_last_window_and_no_set_point_passes_the_ceiling(case: Case) -> None:
    laid = plans.laid(case.venue, case.clock.ends, [Choice(heat=(4,), boost=30.0)], case.stop)
    on = laid["heating_allowed"].values[0, 0] > 0
    assert not on[:4].any()
    assert on[4 : case.stop].all()
    assert not on[case.stop :].any()
    assert laid["set_point"].values.max() <= case.venue.equipment.circuits[0].ceiling + 1e-9


def test_no_cover_is_proposed_that_lies_for_less_than_laying_and_lifting_it_take(advised: schedule.Advised) -> None:
    """A quilt takes an hour each way, a sheet half of one."""
    lain = {(s.cover, s.off - s.on) for choice in advised.searched.choices for s in choice.spells}
    assert min(slots for cover, slots in lain if cover == 2) >= 4
    assert min(slots for cover, slots in lain if cover == 1) >= 2


def test_a_plan_run_before_is_told_the_same_beside_others(case: Case) -> None:
    """What has been run is kept; a table of it is that of a case that runs it for the first time, and in two blocks."""
    some = [Choice((Spell(2, 20, 30),)), Choice(heat=(4,)), NOTHING]
    case.table(some[:2])
    halves = tuple(case.blocks[0].isel(realization=part) for part in (slice(0, 3), slice(3, None)))
    fresh = replace(case, blocks=halves)
    again, anew = case.table(some), fresh.table(some[::-1])
    for name in ("state", "lowest", "energy", "warmest", "crew"):
        np.testing.assert_array_equal(getattr(again, name), getattr(anew, name)[::-1], err_msg=name)


def test_the_bare_plan_stands_in_where_the_wind_forbids_the_cover() -> None:
    gust = np.full((p.MEMBERS, 1, 240), 2.0)
    gust[3:] = 40.0
    windy = p.problem(gust=gust)
    cover, bare = Choice((Spell(2, 20, 30),), heat=(4,)), Choice(heat=(4,))  # over heat a wet leaf may be covered
    table = windy.table([cover, bare])
    assert list(table.laid[0]) == [True] * 3 + [False] * 5
    np.testing.assert_array_equal(table.lowest[0, 3:], table.lowest[1, 3:])
    assert (table.lowest[0, :3] != table.lowest[1, :3]).all()
