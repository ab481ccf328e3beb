"""`microclimate tonight --advise`: from chances to a plan, and its line in the field log."""

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from microclimate.actions import case as cases
from microclimate.actions import latest, schedule
from microclimate.actions.case import Case
from microclimate.actions.constraints import slots_of_work
from microclimate.actions.cost import Figures
from microclimate.actions.plan import Choice
from microclimate.errors import refuse
from microclimate.exposure.force import Forcing
from microclimate.fieldlog.store import Store
from microclimate.report import words_plan
from microclimate.report.planned import Blocked, Deed, Option, Planned, Stop
from microclimate.schema import Event
from microclimate.units import Shown
from microclimate.venue.load import Venue
from microclimate.workflow import pictures

LOG = "fieldlog.db"
STOP_EVERY = 4  # slots between the hours at which a stop of the heat is told: two hours
_SHORT = timedelta(minutes=15)  # of switching off, in a calendar


def planned(
    venue: Venue,
    forcing: Forcing,
    initial: xr.Dataset,
    windows: Sequence[Event],
    now: datetime,
    *,
    issued: datetime | None = None,
    log: Path | None = None,
) -> Planned:
    """The advised plan, and everything the reader is told with it.

    Parameters
    ----------
    venue, forcing, initial, windows
        As a run had them; the first window is the night.
    now : datetime
        Naive UTC.
    issued : datetime, optional
        When the forecast was issued.
    log : Path, optional
        Field log: the last advice is read there and this one is added.

    Raises
    ------
    InputError
        When the venue has neither covers nor circuits.
    """
    if not venue.equipment.covers and not venue.equipment.circuits:
        raise refuse("--advise", "the venue has no [[cover]] and no [[circuit]]", "something that can be done")
    key = " + ".join(f"{w.name} {w.start:%Y-%m-%dT%H:%MZ}" for w in cases.deciding(windows, now))
    told = None if log is None else _told(log, key)
    found = cases.case(venue, list(forcing), initial, windows, now, booked=_booked(venue, told, now))
    last = None if told is None else _choice(found, told)
    advised = schedule.best(found, last)
    best = advised.best.choice
    shown = venue.shown
    before = "" if log is None else "first" if last is None else "same" if last == best else _hours(found, last, shown)
    if log is not None:
        _store(log, key, found, advised.best, now, issued or now, forcing.weather)
    stops = latest.failures(found, best, latest.middle(found), STOP_EVERY)
    prices = found.prices
    return Planned(
        option(found, advised.best, latest.deadlines(found, best)),
        tuple(option(found, other) for other in advised.others),
        option(found, advised.nothing),
        found.tolerated,
        tuple(w.name for w in found.windows),
        "" if prices is None else prices.currency,
        None if (w := advised.waiting) is None else (w.hours, w.chance, w.cost),
        tuple((level, deeds(found, choice)) for level, choice in advised.turns),
        None if advised.milder is None else deeds(found, advised.milder),
        None if advised.harder is None else deeds(found, advised.harder),
        tuple(Blocked(b.what, b.action, b.earliest) for b in advised.bindings),
        tuple(Stop(s.when, s.with_cover, s.without) for s in stops),
        advised.kept,
        before,
        pictures.curves(found.outcome([best], everywhere=True)[1]),
    )


def option(case: Case, figures: Figures, by: Sequence[latest.Deadline] = ()) -> Option:
    """A plan as the reader gets it."""
    return Option(
        deeds(case, figures.choice, figures, by),
        figures.chance,
        figures.severe,
        figures.energy,
        figures.crew,
        figures.cost,
        figures.laid,
    )


def deeds(
    case: Case, choice: Choice, figures: Figures | None = None, by: Sequence[latest.Deadline] = ()
) -> tuple[Deed, ...]:
    """The actions of a plan in order of time."""
    clock, prices, known = case.clock, case.prices, {d.action: d for d in by}
    found: list[Deed] = []
    if choice.cover:
        cover = case.venue.equipment.covers[choice.cover - 1]
        work = timedelta(minutes=cover.minutes)
        hour = None if prices is None else prices.crew_hour
        pay = None if hour is None else hour * cover.people * cover.minutes / 60.0
        lies, lift = clock.begins(choice.on), clock.begins(choice.off)
        start, notice = lies - work, timedelta(seconds=case.venue.crew.notice)
        lay = Deed("lay", cover.name, cover.zones, start, lies, call=start - notice, people=cover.people, cost=pay)
        found.append(_by(lay, known.get("lay")))
        found.append(Deed("lift", cover.name, cover.zones, lift, lift + work, people=cover.people, cost=pay))
    if choice.heat is not None:
        names = " and ".join(circuit.name for circuit in case.venue.equipment.circuits)
        start, stop = clock.begins(choice.heat), clock.begins(case.stop)
        energy = None if figures is None else figures.energy
        price = None if prices is None or energy is None or prices.energy is None else prices.energy * energy
        found.append(_by(Deed("heat", names, (), start, stop, energy=energy, cost=price), known.get("heat")))
        found.append(Deed("stop", names, (), stop, stop + _SHORT))
    return tuple(sorted(found, key=lambda deed: deed.start))


def _by(deed: Deed, until: latest.Deadline | None) -> Deed:
    return deed if until is None else replace(deed, by=until.by, holds=until.state)


def _hours(case: Case, choice: Choice, shown: Shown) -> str:
    return words_plan.hours(deeds(case, choice), shown)


def _store(
    log: Path, key: str, case: Case, figures: Figures, now: datetime, issued: datetime, weather: xr.Dataset
) -> None:
    """Add the advice with the forecast it came from."""
    stamp = np.datetime64(now, "ns")
    content = b"".join(np.ascontiguousarray(weather[name].values).tobytes() for name in sorted(map(str, weather)))
    with Store(log) as store:
        source = store.source("forecast of an advice", content, stamp, str(weather.attrs.get("source", "")))
        text = json.dumps(_written(case, figures.choice), sort_keys=True)
        store.add_advice(stamp, np.datetime64(issued, "ns"), key, text, figures.chance, source)


def _written(case: Case, choice: Choice) -> dict[str, Any]:
    """A choice with names and hours, so that another run can read it."""
    found: dict[str, Any] = {}
    if choice.cover:
        found["cover"] = case.venue.equipment.covers[choice.cover - 1].name
        found |= {"on": case.clock.begins(choice.on).isoformat(), "off": case.clock.begins(choice.off).isoformat()}
    if choice.heat is not None:
        found |= {"heat": case.clock.begins(choice.heat).isoformat(), "boost": choice.boost}
    return found


def _told(log: Path, key: str) -> dict[str, Any] | None:
    """The plan advised last for the same windows."""
    if not log.exists():
        return None
    with Store(log) as store:
        rows = [row for row in store.rows("advice") if row["event"] == key]
    plan: dict[str, Any] | None = json.loads(max(rows, key=lambda row: int(row["made"]))["plan"]) if rows else None
    return plan


def _booked(venue: Venue, told: dict[str, Any] | None, now: datetime) -> datetime | None:
    """When a crew that had to be called for the plan advised last is on the field; None where it need not be yet."""
    covers = [cover for cover in venue.equipment.covers if told is not None and cover.name == told.get("cover")]
    if told is None or not covers:
        return None
    work = timedelta(minutes=30 * slots_of_work(covers[0]))
    hands = datetime.fromisoformat(told["on"]) - work
    return hands if hands - timedelta(seconds=venue.crew.notice) <= now else None


def _choice(case: Case, told: dict[str, Any]) -> Choice | None:
    """A plan told before, in this run's slots; None where it cannot be followed any more."""
    covers = [cover.name for cover in case.venue.equipment.covers]

    def slot(name: str) -> int:
        gap = np.datetime64(datetime.fromisoformat(told[name]), "ns") - case.clock.start
        return round(gap / np.timedelta64(1800, "s"))

    if told.get("cover", "") not in ("", *covers):
        return None
    heat = max(slot("heat"), case.clock.first) if "heat" in told else None  # heat that was due goes on from now
    choice = Choice(heat=heat, boost=float(told.get("boost", 0.0)))
    if told.get("cover"):
        choice = Choice(covers.index(told["cover"]) + 1, slot("on"), slot("off"), choice.heat, choice.boost)
    return choice if case.possible(choice) else None
