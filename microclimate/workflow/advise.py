"""`microclimate tonight --advise`: from chances to a plan, and its line in the field log."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import xarray as xr

from microclimate.actions import binds, failures, feedback, latest, schedule
from microclimate.actions import case as cases
from microclimate.actions.choice import Choice
from microclimate.errors import refuse
from microclimate.exposure.force import Forcing
from microclimate.report import words_plan
from microclimate.report.planned import Blocked, Fuel, Passed, Planned, Stop
from microclimate.schema import Event
from microclimate.venue.load import Venue
from microclimate.workflow import memory, pictures
from microclimate.workflow.deeds import deeds, option

LOG = "fieldlog.db"


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
        Field log: advice given before is read there, what it told to be done by now counts as done, and this one is
        added.

    Raises
    ------
    InputError
        When the venue has neither covers nor circuits.
    """
    kit = venue.equipment
    if not (kit.covers or kit.circuits or kit.skirts or kit.snow):
        raise refuse("--advise", "the venue has no [[cover]] and no [[circuit]]", "something that can be done")
    key = " + ".join(f"{w.name} {w.start:%Y-%m-%dT%H:%MZ}" for w in cases.deciding(windows, now, kit.floors))
    told, other_form = ((), False) if log is None else memory.told(log, key)
    blocks = [block.astype(np.float32) for block in forcing]  # as precise as the runs of the search
    time = blocks[0]["time"].values.astype("datetime64[ns]")
    done = memory.history(venue, told, time[0] - (time[1] - time[0]))
    booked = memory.booked(venue, told, now)
    found = cases.case(venue, blocks, initial, windows, now, booked=booked, history=done)
    last = memory.last(found)
    own = {}  # the case under the air that a plan makes itself, where it heats

    def anew(choice: Choice) -> cases.Case:
        own[choice] = feedback.fed(found, choice, lambda flux: replace(forcing, field_flux=flux))
        return own[choice]

    advised = schedule.best(found, last, None if forcing.basin is None else anew)
    best = advised.best.choice
    alone = "other form" if other_form else "first"
    before = "" if log is None else alone if not told else "same" if last == best else "stopped"
    if before == "stopped" and last is not None:
        before = words_plan.hours(deeds(found, last), venue.shown)
    if log is not None:
        memory.store(log, key, found, advised.best, issued or now, forcing.weather)
    curves = own.get(best, found).outcome([best], everywhere=True, traced=True)[1]
    assert curves is not None
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
        _stops(found, best),
        advised.kept,
        before,
        pictures.curves(curves),
        tuple((f.name, f.start, f.end) for f in kit.floors if f.end > now and np.datetime64(f.start, "ns") < time[-1]),
        None if (f := failures.fuel(found, best)) is None else Fuel(f.on_hand, f.full_load, f.wanted, f.until),
        () if advised.inside else binds.binding(found, best),
    )


def _stops(case: cases.Case, choice: Choice) -> tuple[Stop, ...]:
    def told(limits: Sequence[failures.Passed]) -> tuple[Passed, ...]:
        return tuple(Passed(one.after, one.chance, one.zone) for one in limits)

    return tuple(Stop(s.circuit, s.when, told(s.with_cover), told(s.without)) for s in failures.failures(case, choice))
