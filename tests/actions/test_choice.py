"""Choices laid out in time: what was done before, floors of others, skirts, snow, several covers and circuits."""

from datetime import timedelta

import numpy as np
import pytest

from microclimate.actions import constraints
from microclimate.actions import plan as plans
from microclimate.actions.choice import NOTHING, Choice, Spell
from microclimate.venue.kit import Clearing, Floor
from tests.actions import problem as p


def with_kit(**kit: object) -> object:
    made = p.venue()
    made.equipment = made.equipment.model_copy(update=kit)
    return made


def test_nothing_heated_is_told_in_one_way_only() -> None:
    assert Choice(heat=(None, None), boost=8.0, early=4) == NOTHING
    assert not Choice(heat=(None,)).heated
    assert Choice(heat=(None, 6, 4)).first_heat == 4


def test_a_floor_lies_in_every_plan_and_nothing_of_ours_lies_there() -> None:
    """From the fourth hour for two hours: eight to twelve half-hours after the start."""
    floor = Floor(name="boards", start=p.BEGIN + timedelta(hours=4), end=p.BEGIN + timedelta(hours=6))
    case = p.problem(made=with_kit(floors=(floor,)))
    cover = case.dataset([NOTHING, Choice((Spell(1, 2, 6),))])["cover"].values[:, 0]
    number = len(case.venue.equipment.covers) + 1
    assert list(np.flatnonzero(cover[0] == number)) == [8, 9, 10, 11]
    assert (cover[:, 8:12] == number).all()
    assert not case.possible(Choice((Spell(1, 2, 10),)))
    everything = plans.nothing(case.venue, case.clock.start, case.clock.ends[-1])
    assert (everything["cover"].values[0, 0, 8:12] == number).all()


def test_an_opaque_floor_keeps_the_grass_warmer_on_a_clear_night() -> None:
    floor = Floor(name="boards", start=p.BEGIN + timedelta(hours=1), end=p.BEGIN + timedelta(hours=14))
    open_field, floored = p.problem(), p.problem(made=with_kit(floors=(floor,)))
    window = dict(zip(("plan", "event"), (0, -1), strict=True))
    low = [c.outcome([NOTHING])[0]["canopy_temperature_min"].isel(window).values for c in (open_field, floored)]
    assert (low[1] >= low[0]).all()


def test_what_was_done_before_stands_and_a_cover_that_lies_needs_no_hands() -> None:
    now = p.BEGIN + timedelta(hours=6)
    before = Choice((Spell(2, 6, 30),), (4,), 4.0)
    case = p.problem(now=now, history=((0, before),))
    laid = case.dataset([NOTHING, Choice((Spell(2, 12, 30),), (12,), 4.0)])
    assert case.clock.first == 12
    np.testing.assert_array_equal(laid["cover"].values[:, 0, 6:12], 2.0)
    np.testing.assert_array_equal(laid["heating_allowed"].values[:, 0, 4:12], 1.0)
    assert not laid["cover"].values[0, 0, 12:].any()
    assert not laid["heating_allowed"].values[0, 0, 12:].any()
    carried_on = Spell(2, 12, max(case.allow.lift[1]))
    assert case.clock.lies(carried_on)
    assert case.possible(Choice((carried_on,)))
    assert case.crew_hours(Choice((carried_on,))) == pytest.approx(10.0)  # lifting alone: ten people, one hour


def test_snow_is_cleared_by_hands_that_are_free() -> None:
    made = with_kit(snow=Clearing(people=8, minutes=60.0))
    case = p.problem(made=made)
    slot = case.allow.snow[0]
    assert case.possible(Choice(snow=slot))
    assert case.crew_hours(Choice(snow=slot)) == pytest.approx(8.0)
    on = min(s for s in case.allow.lay[1] if s >= slot)
    spell = Spell(2, on, max(case.allow.lift[1]))
    assert constraints.work(case.venue, case.clock, Choice((spell,), snow=slot))
    busy = Choice((Spell(2, slot, max(case.allow.lift[1])),), snow=slot)  # eighteen people of ten
    assert not case.possible(busy)


def test_covers_that_share_a_zone_do_not_lie_at_once() -> None:
    case = p.problem()
    lift = max(case.allow.lift[0])
    assert not case.possible(Choice((Spell(1, 8, lift), Spell(2, 12, lift))))
