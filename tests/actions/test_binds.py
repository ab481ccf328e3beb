"""What binds: a limit that is there, lifted, brings the chance down; one that is not there is not named."""

from typing import Any

from microclimate.actions import binds, cost
from microclimate.actions.choice import Choice, Spell
from tests.actions import problem as p

HEAT = Choice(heat=(0,), boost=8.0)


def made(**circuit: Any) -> Any:
    venue = p.venue()
    changed = venue.equipment.circuits[0].model_copy(update=circuit)
    venue.equipment = venue.equipment.model_copy(update={"circuits": (changed,)})
    venue.model_copy = lambda update: type(venue)(**{**vars(venue), **update})
    return venue


def test_a_weak_circuit_binds_by_its_power() -> None:
    case = p.problem(air=260.0, sky=190.0, made=made(power=60.0))
    found = dict(binds.binding(case, HEAT))
    assert "power" in found
    assert found["power"] < cost.chance(case.table([HEAT]))[0]
    assert "ramp" not in found


def test_gusts_bind_where_they_keep_the_cover_off() -> None:
    case = p.problem(air=262.0, sky=200.0, gust=40.0, windows=(p.NIGHT,), made=made(power=60.0))
    cover = Choice((Spell(2, min(case.allow.lay[1]), max(case.allow.lift[1])),), (0,))
    assert [limit for limit, _ in binds.binding(case, cover)] == ["wind"]


def test_nothing_binds_what_does_nothing() -> None:
    assert binds.binding(p.problem(made=made()), Choice()) == ()
