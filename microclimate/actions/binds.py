"""What binds when no plan is within the tolerated chance: the advised one once more, one limit at a time lifted."""

from dataclasses import replace
from typing import Literal

from microclimate.actions import cost
from microclimate.actions.case import Case
from microclimate.actions.choice import Choice
from microclimate.venue.equipment import Circuit

Limit = Literal["ramp", "power", "wind"]
TWICE = 2.0


def binding(case: Case, choice: Choice) -> tuple[tuple[Limit, float], ...]:
    """Limits whose lifting brings the chance down, and to what, the strongest first.

    Lifted are the ramps of the set points, the heating power (to its double), and the gusts.
    """
    found: dict[Limit, float] = {}
    if choice.heated:
        found["ramp"] = _chance(case, choice, tuple(c.model_copy(update={"ramp": None}) for c in _circuits(case)))
        double = tuple(c.model_copy(update={"power": TWICE * c.power}) for c in _circuits(case))
        found["power"] = _chance(case, choice, double)
    if choice.spells and not case.laid(choice).all():
        calm = replace(
            case, blocks=tuple(b.assign(wind_speed_of_gust=0.0 * b["wind_speed_of_gust"]) for b in case.blocks)
        )
        found["wind"] = float(cost.chance(calm.table([choice]))[0])
    now = float(cost.chance(case.table([choice]))[0])
    return tuple(sorted(((name, c) for name, c in found.items() if c < now - 1e-9), key=lambda pair: pair[1]))


def _circuits(case: Case) -> tuple[Circuit, ...]:
    return case.venue.equipment.circuits


def _chance(case: Case, choice: Choice, circuits: tuple[Circuit, ...]) -> float:
    kit = case.venue.equipment.model_copy(update={"circuits": circuits})
    changed = replace(case, venue=case.venue.model_copy(update={"equipment": kit}))
    return float(cost.chance(changed.table([choice]))[0])
