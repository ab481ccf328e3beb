"""What plant, blowers, skirts and quiet hours allow: each against arithmetic or against the run without it."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from microclimate.actions.choice import NOTHING, Choice, Spell
from microclimate.simulate.laid import HEAT_OF_AIR
from microclimate.venue.equipment import Cover
from microclimate.venue.kit import Skirts
from tests.actions import problem as p
from tests.simulate import world

FLOW, WARM = 2.0, 303.15  # [m3 s-1], [K]


def blower(**crew: Any) -> Any:
    """The quilt of the small problem with warm air under it."""
    made = p.venue(crewed=p.crew(**crew))
    quilt = {"name": "quilt", "kind": "raised", "people": 10, "minutes": 60}
    blown = Cover.model_validate(quilt | {"warm_air_flow": FLOW, "warm_air_temperature": WARM - 273.15})
    made.equipment = made.equipment.model_copy(update={"covers": (made.equipment.covers[0], blown)})
    return made


def spell(case: Any, blown: bool = True) -> Choice:
    return Choice((Spell(2, min(case.allow.lay[1]), max(case.allow.lift[1]), blown),))


def test_heat_that_would_run_too_short_is_not_started() -> None:
    """The game ends 19 h after the start; a plant that runs six hours at least starts 13 h after it at the latest."""
    case = p.problem(made=p.venue({"kind": "gas", "minimum_run": "6 h"}))
    last = case.stop - 12
    assert case.possible(Choice(heat=(last,)))
    assert not case.possible(Choice(heat=(last + 1,)))
    assert not case.possible(Choice(heat=(last,), early=1))


def test_no_blower_runs_in_quiet_hours() -> None:
    """Quiet from 22 to 6: the run starts at 16:00 UTC, so from the twelfth half-hour for sixteen of them."""
    case = p.problem(made=blower(quiet_from=22, quiet_until=6))
    choice = spell(case)
    flow = case.dataset([choice])["warm_air_flow"].values[0, 0]
    lies = case.dataset([choice])["cover"].values[0, 0] == 2
    quiet = (np.arange(flow.size) >= 12) & (np.arange(flow.size) < 28)
    np.testing.assert_array_equal(flow > 0.0, lies & ~quiet)
    assert (lies & quiet).any()


def test_warm_air_under_a_cover_takes_what_arithmetic_says_and_warms_the_leaf() -> None:
    """Flow times volumetric heat times (30 degC less outside), for as long as it lies; outside is one value here."""
    case = p.problem(air=268.0, spread=0.0, made=blower())
    choice = spell(case)
    hours = 0.5 * (choice.spells[0].off - choice.spells[0].on)
    blown = case.blown([choice])[0].sum(axis=1)
    np.testing.assert_allclose(blown, FLOW * HEAT_OF_AIR * (WARM - 268.0) * hours / 1000.0, rtol=1e-6)
    assert not case.blown([spell(case, blown=False)]).any()
    table = case.table([choice, spell(case, blown=False)])
    assert (table.warmest[0] > np.where(np.isfinite(table.warmest[1]), table.warmest[1], 0.0)).all()


def test_closed_skirts_keep_what_lies_on_trays_warmer() -> None:
    made = p.venue()
    tray = world.zone("A", build="tray", base="tray over draughty air", circuit="pipes")
    made.field.zones = (tray,)
    made.equipment = made.equipment.model_copy(update={"skirts": Skirts(people=2, minutes=30.0)})
    case = p.problem(air=266.0, made=made)
    closed = Choice(skirts=case.allow.skirts[0])
    assert case.possible(closed)
    assert case.crew_hours(closed) == pytest.approx(1.0)  # two people, half an hour
    found = case.outcome([NOTHING, closed])[0]["soil_temperature_min"].isel(event=-1, depth=-1).values
    assert (found[1] > found[0]).all()


def test_a_wet_leaf_before_a_hard_freeze_is_covered_only_over_heat() -> None:
    case = p.problem(air=262.0, water=0.2)
    cold = Choice((Spell(2, min(case.allow.lay[1]), max(case.allow.lift[1])),))
    assert not case.laid(cold).any()
    assert case.laid(Choice(cold.spells, (0,))).all()


def test_a_windy_hour_before_the_event_leaves_the_cover_to_be_lifted_in_a_calm_one() -> None:
    gust = np.full((p.MEMBERS, 1, 240), 2.0)
    gust[..., 12 * 12 : 15 * 12] = 30.0  # from the twelfth hour for three: it must be off before it blows
    case = p.problem(air=280.0, sky=330.0, gust=gust)  # no frost on the leaf, wind alone decides
    on = min(case.allow.lay[1])
    assert not case.laid(Choice((Spell(2, on, max(case.allow.lift[1])),))).any()
    calm = [s for s in case.allow.lift[1] if case.clock.begins(s + 2) <= p.BEGIN + timedelta(hours=12)]
    assert case.laid(Choice((Spell(2, on, max(calm)),))).all()
