"""The advice given before, in the field log: what a new one is held against, and what counts as done by now."""

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from microclimate.actions.case import Case
from microclimate.actions.choice import Choice, Spell
from microclimate.actions.constraints import slots_of_work
from microclimate.actions.cost import Figures
from microclimate.actions.plan import SLOT
from microclimate.fieldlog.store import Store
from microclimate.venue.load import Venue

_EPOCH = datetime(1970, 1, 1)
FORMAT = 2  # of a plan in the log


@dataclass(frozen=True)
class Told:
    """One advice of before."""

    made: datetime  # UTC
    plan: dict[str, Any]
    chance: float | None


def told(log: Path, key: str) -> tuple[tuple[Told, ...], bool]:
    """All advice given for the same windows, in order of time; and whether any is in another form, and left out."""
    if not log.exists():
        return (), False
    with Store(log) as store:
        rows = sorted((row for row in store.rows("advice") if row["event"] == key), key=lambda row: int(row["made"]))
    found = [Told(_EPOCH + timedelta(seconds=int(r["made"])), json.loads(r["plan"]), r["chance"]) for r in rows]
    known = tuple(one for one in found if one.plan.get("format") == FORMAT)
    return known, len(known) < len(found)


def store(log: Path, key: str, case: Case, figures: Figures, issued: datetime, weather: xr.Dataset) -> None:
    """Add the advice with the forecast it came from."""
    stamp = np.datetime64(case.clock.now, "ns")
    content = b"".join(np.ascontiguousarray(weather[name].values).tobytes() for name in sorted(map(str, weather)))
    with Store(log) as opened:
        source = opened.source("forecast of an advice", content, stamp, str(weather.attrs.get("source", "")))
        spent = [
            figures.parts[name] for name in ("crew", "energy") if name in figures.parts
        ]  # what acting itself costs
        plan = _written(case, figures.choice) | {"cost": round(sum(spent), 2) if spent else None}
        text = json.dumps(plan, sort_keys=True)
        opened.add_advice(stamp, np.datetime64(issued, "ns"), key, text, figures.chance, source)


def history(venue: Venue, told: tuple[Told, ...], start: np.datetime64) -> tuple[tuple[int, Choice], ...]:
    """What was advised before and counts as done, each plan from the slot on in which it was told."""
    found = []
    for one in told:
        choice = _choice(venue, one.plan, start)
        if choice is not None:
            found.append((_slot(one.made, start), choice))
    return tuple(found)


def last(case: Case) -> Choice | None:
    """The plan told last as it would be carried on from now; None where there is none, or it cannot be any more."""
    if not case.clock.history:
        return None
    first, choice = case.clock.first, case.clock.past
    spells = [Spell(s.cover, max(s.on, first), s.off, s.blown) for s in choice.spells if s.off >= first]
    heat = tuple(None if start is None else max(start, first) for start in choice.heat)
    snow = choice.snow if choice.snow is not None and choice.snow >= first else None
    skirts = None if choice.skirts is None else max(choice.skirts, first)
    found = Choice(tuple(spells), heat, choice.boost, choice.early, skirts, snow)
    return found if case.possible(found) else None


def booked(venue: Venue, told: tuple[Told, ...], now: datetime) -> datetime | None:
    """When a crew that had to be called for the plan told last is on the field; None where it need not be yet."""
    found = []
    for spell in told[-1].plan["spells"] if told else ():
        for cover in venue.equipment.covers:
            if cover.name == spell["cover"]:
                found.append(datetime.fromisoformat(spell["on"]) - timedelta(minutes=30 * slots_of_work(cover)))
    notice = timedelta(seconds=venue.crew.notice)
    called = [hands for hands in found if hands - notice <= now]
    return min(called, default=None)


def _written(case: Case, choice: Choice) -> dict[str, Any]:
    """A choice with names and hours, so that another run can read it; what runs already keeps its own start."""
    clock, past = case.clock, case.clock.past
    equipment = case.venue.equipment

    def moment(slot: int) -> str:
        return clock.begins(slot).isoformat()

    def laid(spell: Spell) -> int:
        if not clock.lies(spell):
            return spell.on
        return next(s.on for s in past.spells if s.cover == spell.cover and s.on <= spell.on < s.off)

    def began(number: int, start: int) -> int:
        before = past.heat[number] if past.heat else None
        return before if before is not None and start == clock.first else start

    return {
        "format": FORMAT,
        "spells": [
            {
                "cover": equipment.covers[s.cover - 1].name,
                "on": moment(laid(s)),
                "off": moment(s.off),
                "blown": s.blown,
            }
            for s in choice.spells
        ],
        "heat": {
            circuit.name: moment(began(number, start))
            for number, (circuit, start) in enumerate(zip(equipment.circuits, choice.heat, strict=False))
            if start is not None
        },
        "boost": choice.boost,
        "early": choice.early,
        "skirts": None if choice.skirts is None else moment(choice.skirts),
        "snow": None if choice.snow is None else moment(choice.snow),
    }


def _choice(venue: Venue, told: dict[str, Any], start: np.datetime64) -> Choice | None:
    """A plan told before in a run's slots; None where the venue has no such kit any more."""
    covers = [cover.name for cover in venue.equipment.covers]
    circuits = [circuit.name for circuit in venue.equipment.circuits]
    if any(s["cover"] not in covers for s in told["spells"]) or any(name not in circuits for name in told["heat"]):
        return None

    def slot(text: str) -> int:
        return _slot(datetime.fromisoformat(text), start)

    spells = [
        Spell(covers.index(s["cover"]) + 1, slot(s["on"]), slot(s["off"]), bool(s["blown"])) for s in told["spells"]
    ]
    heat = tuple(slot(told["heat"][name]) if name in told["heat"] else None for name in circuits)
    skirts, snow = (None if told[name] is None else slot(told[name]) for name in ("skirts", "snow"))
    return Choice(tuple(spells), heat, float(told["boost"]), int(told["early"]), skirts, snow)


def _slot(moment: datetime, start: np.datetime64) -> int:
    """The slot that begins at a moment, or the next one."""
    return int(np.ceil((np.datetime64(moment, "ns") - start) / SLOT - 1e-9))
