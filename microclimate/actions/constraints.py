"""What crew, clock, wind and leaf allow: when a cover may be laid or lifted, and when heat may start.

The clock and the crew bind all members alike and take hours out of the search. Wind and the wetness of the leaf differ
from member to member: they stay in the table of outcomes (`cost.Table.laid`), so that a plan is never deleted because
some of its nights are windy.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from microclimate.actions import plan as plans
from microclimate.actions.plan import Choice
from microclimate.schema import Event
from microclimate.venue.equipment import Cover
from microclimate.venue.load import Venue

Flags = NDArray[np.bool_]
Why = Literal["people", "notice", "hours", "daylight", "event", "warm"]

CLEAR_BEFORE = timedelta(hours=2)  # covers are off this long before an event; common practice, no source
WET = 0.02  # [kg m-2] water on the leaf from which it counts as wet; ours, no source
HARD_FREEZE = 271.15  # [K] lowest canopy from which a sheet may freeze to a wet leaf; ours, no source
DARK = 5.0  # [W m-2] sun and sky on the field below which there is no daylight to work by; ours
SUNNY = 100.0  # [W m-2] sun straight on the field from which a cover heats up; ours


@dataclass(frozen=True)
class Clock:
    """The half-hours of a run and the moment it is planned at."""

    start: np.datetime64
    ends: NDArray[np.datetime64]  # (slot,)
    now: datetime  # UTC, naive
    time_zone: str
    booked: datetime | None = None  # from when on a crew that has been called already is there

    def slot(self, moment: datetime) -> int:
        """The slot that holds a moment (its end counted in), at most one past the last."""
        return int(np.searchsorted(self.ends, np.datetime64(moment, "ns")))

    def begins(self, slot: int) -> datetime:
        """When a slot begins, UTC."""
        moment: datetime = (self.start + slot * plans.SLOT).astype("datetime64[us]").item()
        return moment

    @property
    def first(self) -> int:
        """The first slot that begins at or after now."""
        return max(int(np.ceil((np.datetime64(self.now, "ns") - self.start) / plans.SLOT)), 0)


@dataclass(frozen=True)
class Binding:
    """A constraint that leaves no hour: which, for what, and from when on it would not bind (None: never)."""

    what: Why
    action: str
    earliest: datetime | None = None


@dataclass(frozen=True)
class Allowed:
    """Slots at which each cover may lie from and be lifted from, and heat may start; and what leaves none."""

    lay: tuple[tuple[int, ...], ...]  # for each cover
    lift: tuple[tuple[int, ...], ...]
    heat: tuple[int, ...]
    bindings: tuple[Binding, ...]


def allowed(venue: Venue, clock: Clock, events: Sequence[Event], light: NDArray[np.float64], warm: Flags) -> Allowed:
    """What clock and crew leave.

    Parameters
    ----------
    venue : Venue
    clock : Clock
    events : sequence of Event
        Those a cover must be off for.
    light : array, shape (slot,)
        Sun and sky on the field, members' mean [W m-2].
    warm : array of bool, shape (slot,)
        Whether a cover left down would heat up, in most members.
    """
    lay, lift, bindings = [], [], []
    for cover in venue.equipment.covers:
        hours, why = _workable(venue, cover, clock, light)
        before = slots_of_work(cover)
        ons = [s + before for s in hours if s + before < clock.ends.size]
        offs = [s for s in hours if s + before <= clock.ends.size]
        ons = [s for s in ons if any(spell(clock, events, warm, s, off, before) for off in offs)]
        offs = [s for s in offs if any(spell(clock, events, warm, on, s, before) for on in ons)]
        if why is None and not ons:
            blocked = warm[clock.first :].any() and not events
            why = Binding("warm" if blocked else "event", cover.name, _earliest(clock, hours))
        if why is not None:
            bindings.append(why)
        lay.append(tuple(ons))
        lift.append(tuple(offs))
    heat = tuple(range(clock.first, clock.ends.size)) if any(z.circuit for z in venue.field.zones) else ()
    return Allowed(tuple(lay), tuple(lift), heat, tuple(bindings))


def spell(clock: Clock, events: Sequence[Event], warm: Flags, on: int, off: int, work: int) -> bool:
    """Whether a cover may lie from `on` to `off`: in that order, clear of every event, before the last, no warm sun.

    `work` is the count of slots that lifting takes; laying takes as long before `on`.
    """
    if off <= on or warm[on:off].any():
        return False
    begin, end = clock.begins(on - work), clock.begins(off + work)
    if events and begin >= max(event.end for event in events):
        return False
    return all(end <= event.start - CLEAR_BEFORE or begin >= event.end for event in events)


def possible(venue: Venue, choice: Choice, clock: Clock, events: Sequence[Event], allow: Allowed, warm: Flags) -> bool:
    """Whether clock and crew allow a plan."""
    if choice.heat is not None and choice.heat not in allow.heat:
        return False
    if not choice.cover:
        return True
    place = choice.cover - 1
    return (
        choice.on in allow.lay[place]
        and choice.off in allow.lift[place]
        and spell(clock, events, warm, choice.on, choice.off, slots_of_work(venue.equipment.covers[place]))
    )


def slots_of_work(cover: Cover) -> int:
    """Slots it takes to lay a cover, or to lift it."""
    return max(int(np.ceil(cover.minutes / 30.0)), 1)


def _workable(venue: Venue, cover: Cover, clock: Clock, light: NDArray[np.float64]) -> tuple[list[int], Binding | None]:
    """Slots at which work on a cover may begin, so that it ends within the crew's hours; or what forbids all."""
    crew, zone = venue.crew, ZoneInfo(clock.time_zone)
    need = slots_of_work(cover)
    if cover.people > crew.people:
        return [], Binding("people", cover.name)
    called = clock.now + timedelta(seconds=crew.notice)
    if clock.booked is not None:
        called = min(called, max(clock.booked, clock.now))
    in_hours = [s for s in range(clock.ends.size) if _within(clock, s, need, crew.earliest, crew.latest, zone)]
    lit = [s for s in in_hours if not crew.light_needed or (light[s : s + need] > DARK).all()]
    called_in_time = [s for s in lit if clock.begins(s) >= called]
    if called_in_time:
        return called_in_time, None
    what: Why = "notice" if lit else "daylight" if in_hours else "hours"
    return [], Binding(what, cover.name, called if what == "notice" else None)


def _within(clock: Clock, slot: int, need: int, earliest: float, latest: float, zone: ZoneInfo) -> bool:
    begin = clock.begins(slot).replace(tzinfo=ZoneInfo("UTC")).astimezone(zone)
    hour = begin.hour + begin.minute / 60.0
    done = hour + need * 0.5
    if earliest <= latest:
        return earliest <= hour and done <= latest
    return hour >= earliest or done <= latest  # a crew of the night


def _earliest(clock: Clock, hours: Sequence[int]) -> datetime | None:
    return clock.begins(hours[0]) if hours else None


def gust_allows(cover: Cover, choice: Choice, gust: NDArray[np.float64]) -> Flags:
    """Members whose gusts let a cover be laid and left, (realization,).

    Parameters
    ----------
    gust : array, shape (realization, slot)
        Highest gust over the field in each slot [m s-1].
    """
    need = slots_of_work(cover)
    handled = np.concatenate(
        (gust[:, max(choice.on - need, 0) : choice.on], gust[:, choice.off : choice.off + need]), axis=1
    )
    calm = handled.max(axis=1, initial=0.0) <= cover.gust_stop
    holds = gust[:, choice.on : choice.off].max(axis=1, initial=0.0) <= cover.gust_remove
    return np.asarray(calm & holds)


def leaf_allows(
    choice: Choice, water: NDArray[np.float64], frost: NDArray[np.float64], lowest: NDArray[np.float64], most: float
) -> Flags:
    """Members whose leaf may be covered, (realization,).

    Never a wet or frosted leaf before a hard freeze, unless the ground is heated by then: the sheet freezes to it, and
    feet on frost break the leaf (common practice, no source).

    Parameters
    ----------
    water, frost : array, shape (realization, slot)
        On the leaf when nothing is done, wettest patch [kg m-2].
    lowest : array, shape (realization,)
        Lowest canopy when nothing is done [K].
    most : float
        Frost on the leaf that counts as white frost [kg m-2].
    """
    if choice.heat is not None and choice.heat < choice.on:
        return np.ones(water.shape[0], dtype=bool)
    at = min(choice.on, water.shape[1] - 1)
    wet = (water[:, at] > WET) | (frost[:, at] > most)
    return np.asarray(~(wet & (lowest < HARD_FREEZE)))
