"""Crew, clock, wind and leaf: what they leave, and what is said when they leave nothing."""

from datetime import timedelta

import numpy as np
import pytest

from microclimate.actions import case as cases
from microclimate.actions import constraints, groups
from microclimate.actions.choice import Choice, Spell
from microclimate.schema import Event
from tests.actions import problem as p


def test_no_work_before_the_crew_can_be_there() -> None:
    case = p.problem(made=p.venue(crewed=p.crew(notice="6 h")))
    work = constraints.slots_of_work(case.venue.equipment.covers[1])
    assert work == 2  # 60 minutes
    assert min(case.allow.lay[1]) == 12 + work  # six hours and the laying
    assert min(case.allow.lift[1]) > min(case.allow.lay[1])


def test_no_work_in_quiet_hours() -> None:
    """The run starts at 16:00 UTC; work from 8 to 20."""
    case = p.problem(made=p.venue(crewed=p.crew(notice="0 h", earliest=8, latest=20)))
    for slot in case.allow.lift[0]:
        begin = case.clock.begins(slot)
        assert begin.hour >= 8
        assert begin + timedelta(minutes=30) <= begin.replace(hour=20, minute=0)


def test_a_cover_is_off_two_hours_before_the_event() -> None:
    case = p.problem()
    latest = max(case.allow.lift[1])
    assert case.clock.begins(latest + 2) <= p.GAME.start - constraints.CLEAR_BEFORE
    assert not case.possible(Choice((Spell(2, min(case.allow.lay[1]), latest + 1),)))


@pytest.mark.parametrize(
    ("crew", "why"),
    [
        ({"people": 3}, {"people"}),
        ({"notice": "100 h"}, {"notice"}),
        ({"earliest": 14, "latest": 14.2}, {"hours"}),
        ({"light_needed": True}, {"daylight"}),
    ],
)
def test_what_binds_is_named(crew: dict[str, object], why: set[str]) -> None:
    case = p.problem(made=p.venue(crewed=p.crew(**crew)))
    assert {binding.what for binding in case.allow.bindings} == why
    assert {binding.action for binding in case.allow.bindings} == {"sheet", "quilt"}


def test_a_crew_that_is_late_is_told_from_when_it_could_work() -> None:
    case = p.problem(made=p.venue(crewed=p.crew(notice="100 h")))
    assert case.allow.bindings[0].earliest == p.BEGIN + timedelta(hours=100)


def test_an_event_too_near_leaves_no_spell() -> None:
    soon = Event("game", p.BEGIN + timedelta(hours=3), p.BEGIN + timedelta(hours=5))
    case = p.problem(windows=(soon,), made=p.venue(crewed=p.crew(notice="1 h", latest=20)))
    assert "event" in {binding.what for binding in case.allow.bindings}
    assert not case.allow.lay[1]


def test_a_windy_realization_keeps_the_plan_without_the_cover_and_half_the_crew() -> None:
    gust = np.full((p.MEMBERS, 1, 240), 2.0)
    gust[3] = 40.0
    case = p.problem(gust=gust, windows=(p.NIGHT,))
    choice = Choice((Spell(2, min(case.allow.lay[1]), max(case.allow.lift[1])),), (0,))
    table = case.table([choice, choice.without_cover()])
    assert list(table.laid[0]) == [member != 3 for member in range(p.MEMBERS)]
    np.testing.assert_array_equal(table.lowest[0, 3], table.lowest[1, 3])
    assert (table.lowest[0, :3] > table.lowest[1, :3] + 0.5).all()
    assert table.crew[0, 3] == 0.5 * table.crew[0, 0] == 0.5 * 2 * 10 * 1.0  # ten people, an hour, twice


def test_a_gust_while_it_is_down_counts_by_its_own_limit() -> None:
    cover = p.venue().equipment.covers[0]
    choice, gust = Spell(1, 10, 20), np.full((3, 40), 2.0)
    gust[0, 15] = 0.5 * (cover.gust_stop + cover.gust_remove)  # too much to work in, but it holds
    gust[1, 15] = cover.gust_remove + 1.0
    gust[2, 9] = cover.gust_stop + 0.1  # while it is laid
    assert list(constraints.gust_allows(cover, choice, gust)) == [True, False, False]


def test_never_on_a_wet_leaf_before_a_hard_freeze_unless_heated() -> None:
    water = np.array([[0.1] * 4, [0.1] * 4, [0.0] * 4])
    lowest, dry = np.array([268.0, 273.0, 268.0]), np.zeros((3, 4))
    cold = Spell(1, 2, 4)
    assert list(constraints.leaf_allows(cold, None, water, dry, lowest, 0.005)) == [False, True, True]
    assert constraints.leaf_allows(cold, 0, water, dry, lowest, 0.005).all()
    assert list(constraints.leaf_allows(cold, None, dry, 0.1 * water, lowest, 0.005)) == [False, True, True]


def test_a_cover_does_not_lie_in_warm_sun() -> None:
    case = p.problem(air=295.0, sun=400.0)
    assert case.around.warm.all()
    assert not case.possible(Choice((Spell(1, 8, 20),)))


def test_circuits_share_what_the_plant_gives() -> None:
    """One zone of 100 m2 at 120 W/m2 asks for 12 kW of a plant of 6 kW: 60 W/m2 are left."""
    made = p.venue({"kind": "gas", "power": "6 kW", "efficiency": 0.9})
    made.model_copy = lambda update: type(made)(**{**vars(made), **update})
    able = groups.within_plant(made)
    assert able.equipment.circuits[0].power == pytest.approx(60.0)
    assert groups.within_plant(p.venue()).equipment.circuits[0].power == 120.0


def test_an_event_that_has_begun_does_not_decide() -> None:
    """The night does then, and nothing can be lost of an event."""
    assert cases.deciding((p.NIGHT, p.GAME), p.BEGIN) == (p.GAME,)
    assert cases.deciding((p.NIGHT, p.GAME), p.GAME.start) == (p.NIGHT,)


def test_a_crew_that_has_been_called_needs_no_notice_again() -> None:
    late = p.problem(made=p.venue(crewed=p.crew(notice="10 h")))
    booked = p.problem(made=p.venue(crewed=p.crew(notice="10 h")), booked=p.BEGIN + timedelta(hours=3))
    assert min(late.allow.lay[0]) == 20 + 1
    assert min(booked.allow.lay[0]) == 6 + 1


def test_a_crew_without_an_hour_in_the_run_is_told_its_first_one_after_it() -> None:
    """The run goes from 16:00 to 12:00 UTC the day after; a crew of the hour from 13 comes an hour later."""
    case = p.problem(made=p.venue(crewed=p.crew(notice="0 h", earliest=13, latest=15)))
    assert {(b.what, b.earliest) for b in case.allow.bindings} == {("hours", p.BEGIN + timedelta(hours=21))}
    never = p.problem(made=p.venue(crewed=p.crew(earliest=14, latest=14.2)))
    assert {b.earliest for b in never.allow.bindings} == {None}


def test_light_is_counted_from_when_a_dark_cover_was_laid() -> None:
    """A quilt that has lain for three days but two hours bears four more half-hours, whatever is planned now."""
    laid = -constraints.DARK_MOST + 4
    before = Choice((Spell(2, laid, 30),))
    case = p.problem(windows=(p.NIGHT,), history=((laid, before),))
    first = case.clock.first
    assert case.clock.lies(Spell(2, first, first + 4))
    assert constraints.spell(case.venue, case.clock, case.around, Spell(2, first, first + 4))
    assert not constraints.spell(case.venue, case.clock, case.around, Spell(2, first, first + 5))
    assert constraints.spell(case.venue, case.clock, case.around, Spell(2, first + 2, first + 7))  # laid anew
