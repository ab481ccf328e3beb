"""A made-up plan around a made-up answer; no number here is a result of the package."""

from datetime import datetime, timedelta
from typing import Any

from microclimate.report.answer import Answer
from microclimate.report.planned import Blocked, Deed, Fuel, Option, Passed, Planned, Stop
from microclimate.schema import SurfaceState

BEGIN = datetime(2026, 12, 15, 22)
LAY = Deed(
    "lay",
    "quilt",
    (),
    BEGIN + timedelta(hours=4),
    BEGIN + timedelta(hours=5),
    (BEGIN + timedelta(hours=9), BEGIN + timedelta(hours=7), BEGIN + timedelta(hours=6)),
    SurfaceState.CRUST,
    BEGIN - timedelta(hours=2),
    10,
    cost=260.0,
)
LIFT = Deed("lift", "quilt", (), BEGIN + timedelta(hours=20), BEGIN + timedelta(hours=21), people=10, cost=260.0)
HEAT = Deed(
    "heat",
    "pipes",
    (),
    BEGIN,
    BEGIN + timedelta(hours=28),
    ("not needed", BEGIN + timedelta(hours=3), "not reachable"),
    SurfaceState.CRUST,
    energy=9_876.0,
    cost=988.0,
)
STOP = Deed("stop", "pipes", (), BEGIN + timedelta(hours=28), BEGIN + timedelta(hours=28, minutes=15))


LATE, HOLDS = Passed(BEGIN + timedelta(hours=9), 0.62, "North goal"), Passed("holds", 0.02, "")
GONE = Passed(BEGIN + timedelta(hours=2), 0.98, "North goal")
STOPS = (
    Stop("", None, (LATE, HOLDS, HOLDS), (LATE, HOLDS, HOLDS)),
    Stop("", BEGIN + timedelta(hours=2), (GONE, LATE, HOLDS), (GONE, GONE, LATE)),
    Stop("", BEGIN + timedelta(hours=3), (LATE, LATE, HOLDS), (LATE, LATE, LATE)),
    Stop("", BEGIN + timedelta(hours=4), (LATE, LATE, HOLDS), (LATE, LATE, LATE)),
)


def option(*deeds: Deed, chance: float = 0.12, cost: float | None = 1_500.0) -> Option:
    """Figures of no run."""
    return Option(deeds, chance, 0.04, 0.05, 9_876.0 if deeds else 0.0, 20.0 if deeds else 0.0, cost, 0.97)


def plan(answer: Answer, *deeds: Deed, **given: Any) -> Planned:
    """A plan around a made-up answer."""
    values: dict[str, Any] = {
        "best": option(*deeds),
        "others": (option(HEAT, STOP, chance=0.3),),
        "nothing": option(chance=0.83, cost=9_000.0),
        "tolerated": 0.15,
        "windows": ("evening game",),
        "currency": "EUR",
        "waiting": (6.0, 0.35, 4_000.0),
        "turns": ((0.3, (HEAT, STOP)),),
        "milder": (),
        "harder": (LAY, LIFT, HEAT, STOP),
        "blocked": (Blocked("notice", "sheet", BEGIN + timedelta(hours=40)),),
        "stops": STOPS,
        "fuel": Fuel(20_000.0, 22.2, 9_876.0, "holds"),
        "kept": False,
        "before": "quilt Tue 21:30 to Wed 10:00",
        "curves": answer.curves.copy(),
    }
    return Planned(**(values | given))
