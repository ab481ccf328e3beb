"""What an advised plan hands to the reader: options with their actions and deadlines. Times are UTC, naive."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import xarray as xr

from microclimate.schema import SurfaceState

Action = Literal["lay", "lift", "heat", "stop", "skirts", "clear"]
By = datetime | Literal["not needed", "not reachable"]


@dataclass(frozen=True)
class Deed:
    """One action: of a cover from `start` (hands on the field) to `end`, or of heat at `start`."""

    action: Action
    what: str  # cover, or circuits
    zones: tuple[str, ...]  # none: the whole field
    start: datetime
    end: datetime
    by: tuple[By, By, By] | None = None  # latest start, 50, 90 and 95 % sure
    holds: SurfaceState | None = None  # the state it holds off, if it starts by then
    call: datetime | None = None  # when the crew has to be called
    people: int = 0
    energy: float | None = None  # [kWh]
    cost: float | None = None  # in the venue's money, where prices are given
    running: bool = False  # done or begun already, as advised before


@dataclass(frozen=True)
class Option:
    """One plan and its figures."""

    deeds: tuple[Deed, ...]
    chance: float  # of an event, or the night, outside the limits in any zone
    severe: float  # of a frozen layer or worse
    ending: float  # of being outside the limits when the last of them ends
    energy: float  # [kWh]
    crew: float  # [person-hours]
    cost: float | None  # expected, losses included
    laid: float  # share of realizations whose wind and leaf let the cover be laid
    around: tuple[float, float] | None = None  # low and high of `chance`


@dataclass(frozen=True)
class Blocked:
    """A constraint that leaves a cover no hour; `earliest` from when on it would not bind."""

    why: Literal["people", "notice", "hours", "daylight", "event", "warm", "floor"]
    what: str
    earliest: datetime | None


@dataclass(frozen=True)
class Passed:
    """One limit: the hour before which no zone passes it, 90 % sure; the chance that one does; the zone that is first.

    "holds": that sure it is not passed at all; "unknown": there are too few forecasts to be that sure.
    """

    after: datetime | Literal["holds", "unknown"]
    chance: float
    zone: str


@dataclass(frozen=True)
class Stop:
    """If heat stops at `when` (None: it does not): the limits of leaf and root zone, and a frozen layer.

    `circuit` whose zones are told of; "" for all of the field.
    """

    circuit: str
    when: datetime | None
    with_cover: tuple[Passed, ...]
    without: tuple[Passed, ...]


@dataclass(frozen=True)
class Fuel:
    """On hand [kWh], hours at full load, what the plan takes [kWh], and before when it is not used up, 90 % sure."""

    on_hand: float
    full_load: float
    wanted: float
    until: datetime | Literal["holds", "unknown"]


@dataclass(frozen=True)
class Planned:
    """The advice.

    Attributes
    ----------
    best, others, nothing : Option
        The advised plan, at most two of other kinds, and doing nothing.
    tolerated : float
        The chance the manager set.
    windows : tuple of str
        Names of the windows whose limits decide.
    waiting : (hours, chance, cost or None) or None
        The best that is left when the next forecast is waited for.
    turns : tuple of (tolerated chance, Option's deeds)
        Where another kind of plan would be advised.
    milder, harder : deeds or None
        What would be advised in the milder and the harder half of the realizations, where it differs.
    kept : bool
        The advice given before stands.
    before : str
        What changed since the last advice: "", "first", "same", its text, or "other form" where it cannot be read.
    curves : Dataset
        canopy_temperature (zone, quantile, time) under the advised plan.
    stops : tuple of Stop
        First the plan as it is, then heat that stops, hour by hour.
    floors : tuple of (name, start, end)
        Laid by others within the forecast.
    fuel : Fuel or None
        Where the venue says what is on hand and the plan burns it.
    binds : tuple of (limit, chance)
        Where no plan is within the tolerated chance: what lifting one limit would bring it down to.
    """

    best: Option
    others: tuple[Option, ...]
    nothing: Option
    tolerated: float
    windows: tuple[str, ...]
    currency: str
    waiting: tuple[float, float, float | None] | None
    turns: tuple[tuple[float, tuple[Deed, ...]], ...]
    milder: tuple[Deed, ...] | None
    harder: tuple[Deed, ...] | None
    blocked: tuple[Blocked, ...]
    stops: tuple[Stop, ...]
    kept: bool
    before: str
    curves: xr.Dataset
    floors: tuple[tuple[str, datetime, datetime], ...] = ()
    fuel: Fuel | None = None
    binds: tuple[tuple[Literal["ramp", "power", "wind"], float], ...] = ()

    @property
    def inside(self) -> bool:
        """Whether the plan keeps the chance within the tolerated one."""
        return self.best.chance <= self.tolerated


def ending(deed: Deed, deeds: Sequence[Deed]) -> Deed | None:
    """What ends a cover's lying or a heating: the next lift or stop of the same kit."""
    last = {"lay": "lift", "heat": "stop"}.get(deed.action)
    later = [d for d in deeds if (d.action, d.what) == (last, deed.what) and d.start >= deed.start]
    return min(later, key=lambda d: d.start, default=None)
