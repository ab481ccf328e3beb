"""One event told of every six hours from 48 to 12 h before: does the advice settle, does looking twice pay?

Forecasts of one event follow each other as those of a service that wastes nothing do: what the later one changes could
not have been known from the earlier one. In the latents of `weather.dress` the error of the later is
a e + sqrt(1 - a) g, e the error of the earlier, g a fresh one of the later's own size and a the ratio of the variances,
so that each has the errors of its lead and the change has nothing to do with what was told. Up to the hour of issue all
members have the weather that came. Each plan is carried out until the next one is told: a heat that has been started
has been paid, a cover that lies has been laid. Dropping a cover that had been called costs a quarter of its crew.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import xarray as xr

from microclimate.actions import cost, schedule
from microclimate.actions.case import Case
from microclimate.actions.choice import Choice
from microclimate.actions.constraints import slots_of_work
from microclimate.actions.cost import Table
from microclimate.schema import Site
from microclimate.weather import complete, dress, ensemble, sky
from microclimate.workflow import memory
from tests.benchmarks.decide_season import GUST, SITES, Night, fixed_plans, forecast, prices, season, seen

STEP = timedelta(hours=6)
ISSUES = 7  # from 48 to 12 h before
SECOND = 4  # of them: 24 h before
STAND_DOWN = 0.25  # of the crew's cost, for a cover that had been told of and is dropped; as in the trial of the bars
History = tuple[tuple[int, Choice], ...]
LATENTS = ("air_temperature", "dew_point_temperature", "wind_speed", "cloud_area_fraction")


@dataclass
class Path:
    """What one way of being told came to; every list has one entry a night."""

    cost: list[float] = field(default_factory=list)  # as it came, losses included
    changes: list[int] = field(default_factory=list)


@dataclass
class Told:
    """All nights of one site and seed."""

    name: str
    paths: dict[str, Path] = field(default_factory=dict)
    perfect: list[float] = field(default_factory=list)


WAYS = {  # issues at which it is looked, and whether the plan told before is remembered
    "memoryless": (range(ISSUES), False),
    "remembered": (range(ISSUES), True),
    "once": (range(1), False),
    "twice": ((0, SECOND), True),
}


def told(job: tuple[str, int, int, float, float]) -> Told:
    """One site and seed: every `every`-th night, `loss`, `tolerated`."""
    name, seed, every, loss, tolerated = job
    found = Told(name, {way: Path() for way in WAYS})
    for night in season(name, seed, every):
        desk = Desk(night, issues(night, SITES[name][1], seed), loss, tolerated)
        for way, (looks, remembers) in WAYS.items():
            spent, changes = desk.followed(looks, remembers)
            found.paths[way].cost.append(spent)
            found.paths[way].changes.append(changes)
        found.perfect.append(desk.perfect())
    return found


def issues(night: Night, site: Site, seed: int) -> list[tuple[datetime, xr.Dataset]]:
    """Hour of issue and members, earliest first; the same numbers are drawn for one event in every issue."""
    number = int(night.day.astype("datetime64[D]").astype(int))
    before, found = night.forecast, [(night.issue, night.members)]
    for k in range(1, ISSUES):
        when = night.issue + k * STEP
        real = night.real.assign_attrs(issued=when.isoformat() + "Z")
        fresh = forecast(real, site, [seed, number, k])
        before = _revised(real, before.assign_attrs(issued=(when - STEP).isoformat() + "Z"), fresh, site)
        found.append((when, seen(before, site, seed, number, night.climate)))
    return found


def _revised(real: xr.Dataset, before: xr.Dataset, fresh: xr.Dataset, site: Site) -> xr.Dataset:
    """The next forecast: what is left of the one before, and what it could not know."""
    times = real["time"].values
    truth, old, new = (dress.latents(*(w[name].values for name in LATENTS)) for w in (real, before, fresh))
    leads = [(times - ensemble.begun(w)) / np.timedelta64(1, "h") for w in (before, real)]
    made = {}
    for name, error in dress.ERRORS.items():
        earlier, later = (error.sigma(lead) ** 2 for lead in leads)
        left = np.divide(later, earlier, out=np.zeros_like(later), where=earlier > 0.0)
        true = getattr(truth, name)
        made[name] = true + left * (getattr(old, name) - true) + np.sqrt(1.0 - left) * (getattr(new, name) - true)
    temperature, dew, wind, cloud = dress.Latents(**made).weather()
    ahead = leads[1] > 0.0
    one = {str(name): real[name].values for name in real.data_vars if real[name].dims == ("realization", "time")}
    out = {name: values.copy() for name, values in one.items()}
    for name, values in zip(LATENTS, (temperature, dew, wind, cloud), strict=True):
        out[name] = np.where(ahead, values, one[name])
    out["wind_speed_of_gust"] = np.where(ahead, GUST * out["wind_speed"], one["wind_speed_of_gust"])
    moved = {name: values.copy() for name, values in out.items()}
    ensemble.relight(moved, one, sky.sun(times, ensemble.seconds(real), site), site)
    share = complete.snow_share(out["air_temperature"], out["dew_point_temperature"], out["surface_air_pressure"])
    moved["snowfall_flux"] = share * out["precipitation_flux"]
    return real.assign({name: (real[name].dims, np.where(ahead, moved[name], one[name])) for name in one})


class Desk:
    """Where one event is planned: what has been searched already is not searched again."""

    def __init__(self, night: Night, looks: Sequence[tuple[datetime, xr.Dataset]], loss: float, tolerated: float):
        self.night, self.looks, self.loss, self.tolerated = night, looks, loss, tolerated
        self.searched: dict[object, tuple[Case, Choice | None, Table]] = {}

    def look(self, number: int, history: History, booked: datetime | None) -> tuple[Case, Choice | None, Table]:
        """The problem at one issue after what has been done, the plan told before as it would go on, and the search."""
        key = (number, history, booked)
        if key not in self.searched:
            when, members = self.looks[number]
            case = self.night.at(members, when, history, booked, self.loss, self.tolerated)
            last = memory.last(case)
            self.searched[key] = (case, last, schedule.search(case, () if last is None else (last,)))
        return self.searched[key]

    def perfect(self) -> float:
        """The cheapest plan from the first look on for what came."""
        real = self.night.truth(self.loss)
        plans = {**dict.fromkeys(fixed_plans(real).values()), **dict.fromkeys(self.look(0, (), None)[2].choices)}
        return float(sum(cost.costs(real.table(list(plans)), prices(self.loss)).values())[:, 0].min())

    def followed(self, looks: Sequence[int], remembers: bool) -> tuple[float, int]:
        """What came of following the advice of each look until the next, and how often it changed in kind."""
        history: History = ()
        hours, changes, booked = 0.0, 0, None
        for number in looks:
            case, last, table = self.look(number, history, booked)
            choice = table.choices[schedule.chosen(table, case, last if remembers else None)[0]]
            if history:
                hours += _laid_by(case, history[-1][1], history[-1][0])
                changes += last is None or choice.kind != last.kind
                if last is not None and last.spells and not choice.spells and not case.clock.lies(last.spells[0]):
                    hours += STAND_DOWN * case.crew_hours(last)
            history = (*history, (case.clock.first, choice))
            booked = _called(case, choice, self.looks[number][0] + STEP)
        real = self.night.at(self.night.real, self.looks[looks[-1]][0], history[:-1], booked, self.loss, self.tolerated)
        price = prices(self.loss)
        spent = sum(cost.costs(real.table([history[-1][1]]), price).values())[0, 0]
        return float(spent + hours * (price.crew_hour or 0.0)), changes


def _laid_by(case: Case, before: Choice, since: int) -> float:
    """Person-hours of covers that were laid, and lifted, under the plan before by now."""
    hours = 0.0
    for spell in before.spells:
        cover = case.venue.equipment.covers[spell.cover - 1]
        done = (since < spell.on <= case.clock.first) + (spell.off < case.clock.first)
        hours += done * cover.people * cover.minutes / 60.0
    return hours


def _called(case: Case, choice: Choice, by: datetime) -> datetime | None:
    """When a crew that has to be called before the next look is on the field."""
    covers = case.venue.equipment.covers
    hands = [case.clock.begins(s.on - slots_of_work(covers[s.cover - 1])) for s in choice.spells]
    notice = timedelta(seconds=case.venue.crew.notice)
    return min((at for at in hands if at - notice <= by), default=None)
