"""What crew, clock, wind and leaf allow: when a cover may be laid or lifted, snow cleared, and when heat may start.

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
from microclimate.actions.choice import NOTHING, Choice, Spell
from microclimate.schema import Event
from microclimate.venue.equipment import Cover
from microclimate.venue.kit import Clearing, Skirts
from microclimate.venue.load import Venue

Flags = NDArray[np.bool_]
Why = Literal["people", "notice", "hours", "daylight", "event", "warm", "floor"]

CLEAR_BEFORE = timedelta(hours=2)  # covers are off this long before an event; common practice, no source
DARK_MOST = 144  # slots that a cover without light may lie: three days; common practice, no source
DARK_BELOW = 0.3  # light let through below which a cover counts as dark; ours
DAY = 48  # slots
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
    history: tuple[tuple[int, Choice], ...] = ()  # what was done before now, each from a slot on

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

    @property
    def past(self) -> Choice:
        """What is being done when it is planned."""
        return self.history[-1][1] if self.history else NOTHING

    def lies(self, spell: Spell) -> bool:
        """Whether a spell goes on with a cover that lies already: nobody has to lay it."""
        if spell.on != self.first:
            return False
        return any(s.cover == spell.cover and s.on <= self.first < s.off for s in self.past.spells)

    def since(self, spell: Spell) -> int:
        """The slot from which on a spell's cover lies, one that lies already from when it was laid."""
        if not self.lies(spell):
            return spell.on
        return min(s.on for s in self.past.spells if s.cover == spell.cover and s.on <= self.first < s.off)


@dataclass(frozen=True)
class Binding:
    """A constraint that leaves no hour: which, for what, and from when on it would not bind (None: never)."""

    what: Why
    action: str
    earliest: datetime | None = None


@dataclass(frozen=True)
class Allowed:
    """Slots at which each cover may lie from and be lifted from, heat may start and snow be cleared; what binds."""

    lay: tuple[tuple[int, ...], ...]  # for each cover
    lift: tuple[tuple[int, ...], ...]
    heat: tuple[int, ...]
    skirts: tuple[int, ...]
    snow: tuple[int, ...]
    bindings: tuple[Binding, ...]


@dataclass(frozen=True)
class Surroundings:
    """What limits are held against: light and sun on the field, uses of it, floors over it."""

    events: tuple[Event, ...]  # those a cover must be off for
    light: NDArray[np.float64]  # sun and sky on the field, members' mean, (slot,) [W m-2]
    warm: Flags  # whether a cover left down would heat up, in most members, (slot,)
    floored: tuple[Flags, ...]  # for each cover, whether a floor lies on any of its zones, (slot,)


def allowed(venue: Venue, clock: Clock, around: Surroundings) -> Allowed:
    """What clock and crew leave."""
    lay, lift, bindings = [], [], []
    for number, cover in enumerate(venue.equipment.covers):
        hours, why = _workable(venue, cover.name, cover.people, slots_of_work(cover), clock, around.light)
        before = slots_of_work(cover)
        ons = [s + before for s in hours if s + before < clock.ends.size]
        if clock.lies(Spell(number + 1, clock.first, clock.ends.size)):
            ons, why = [clock.first, *ons], None if hours else why
        offs = [s for s in hours if s + before <= clock.ends.size]

        def fits(on: int, off: int, number: int = number) -> bool:
            return spell(venue, clock, around, Spell(number + 1, on, off))

        ons = [s for s in ons if any(fits(s, off) for off in offs)]
        offs = [s for s in offs if any(fits(on, s) for on in ons)]
        if why is None and not ons:
            warm = around.warm[clock.first :].any() and not around.events
            floor = around.floored[number][clock.first :].any()
            why = Binding("floor" if floor else "warm" if warm else "event", cover.name, _earliest(clock, hours))
        if why is not None:
            bindings.append(why)
        lay.append(tuple(ons))
        lift.append(tuple(offs))
    heat = tuple(range(clock.first, clock.ends.size)) if any(z.circuit for z in venue.field.zones) else ()
    snow, why = _done(venue, clock, around, "snow", venue.equipment.snow)
    bindings += [] if why is None else [why]
    skirts, why = _done(venue, clock, around, "skirts", venue.equipment.skirts)
    bindings += [] if why is None else [why]
    if clock.past.skirts is not None and clock.past.skirts <= clock.first:
        skirts = (clock.first, *skirts)
    return Allowed(tuple(lay), tuple(lift), heat, skirts, snow, tuple(bindings))


def _done(
    venue: Venue, clock: Clock, around: Surroundings, what: str, kit: Clearing | Skirts | None
) -> tuple[tuple[int, ...], Binding | None]:
    """Slots before which a piece of work has been done, and what leaves none."""
    if kit is None:
        return (), None
    need = slots_of_work(kit)
    hours, why = _workable(venue, what, kit.people, need, clock, around.light)
    free = [s for s in hours if all(not _meets(clock, event, s, s + need) for event in around.events)]
    return tuple(s + need for s in free if s + need < clock.ends.size), why


def _meets(clock: Clock, event: Event, first: int, last: int) -> bool:
    return clock.begins(first) < event.end and clock.begins(last) > event.start


def spell(venue: Venue, clock: Clock, around: Surroundings, spell: Spell) -> bool:
    """Whether a cover may lie so: clear of every use and floor, before the last event, no warm sun, not too long."""
    on, off, cover = spell.on, spell.off, venue.equipment.covers[spell.cover - 1]
    if off <= on or around.warm[on:off].any() or around.floored[spell.cover - 1][on:off].any():
        return False
    if cover.shortwave_transmittance < DARK_BELOW and off - clock.since(spell) > DARK_MOST:
        return False
    work = slots_of_work(cover)
    begin, end = clock.begins(on if clock.lies(spell) else on - work), clock.begins(off + work)
    events = around.events
    if events and begin >= max(event.end for event in events):
        return False
    walked = [moment for event in events for what, moment in event.marks if what == "walk-through"]
    if any(begin <= moment < end for moment in walked):
        return False
    return all(end <= clear_from(event) or begin >= event.end for event in events)


def clear_from(event: Event) -> datetime:
    """From when on covers are off: two hours before it starts, and before anyone warms up on the field."""
    return min([event.start - CLEAR_BEFORE, *(moment for what, moment in event.marks if what == "warm-up")])


def possible(venue: Venue, choice: Choice, clock: Clock, around: Surroundings, allow: Allowed) -> bool:
    """Whether clock and crew allow a plan."""
    starts = [start for start in choice.heat if start is not None]
    if any(start not in allow.heat for start in starts) or (choice.snow is not None and choice.snow not in allow.snow):
        return False
    if choice.skirts is not None and choice.skirts not in allow.skirts:
        return False
    for one in choice.spells:
        place = one.cover - 1
        if one.on not in allow.lay[place] or one.off not in allow.lift[place]:
            return False
        if not spell(venue, clock, around, one) or (one.blown and venue.equipment.covers[place].warm_air_flow is None):
            return False
    return _apart(venue, choice) and _hands(venue, clock, choice)


def _apart(venue: Venue, choice: Choice) -> bool:
    """Covers that share a zone do not lie at once, and each cover lies in one place at a time."""
    zones = [zone.name for zone in venue.field.zones]
    for place, one in enumerate(choice.spells):
        for other in choice.spells[:place]:
            shared = one.cover == other.cover or any(
                plans.covers(venue, one.cover, z) and plans.covers(venue, other.cover, z) for z in zones
            )
            gap = slots_of_work(venue.equipment.covers[other.cover - 1]) + slots_of_work(
                venue.equipment.covers[one.cover - 1]
            )
            if shared and one.on < other.off + gap:
                return False
    return True


def _hands(venue: Venue, clock: Clock, choice: Choice) -> bool:
    """Whether the crew is enough for everything that is worked on at once."""
    busy: dict[int, int] = {}
    for first, last, people in work(venue, clock, choice):
        for slot in range(first, last):
            busy[slot] = busy.get(slot, 0) + people
    return all(count <= venue.crew.people for count in busy.values())


def work(venue: Venue, clock: Clock, choice: Choice) -> list[tuple[int, int, int]]:
    """First slot, slot after the last, and people of each piece of work of a plan."""
    found = []
    for one in choice.spells:
        cover = venue.equipment.covers[one.cover - 1]
        need = slots_of_work(cover)
        found += [] if clock.lies(one) else [(one.on - need, one.on, cover.people)]
        found.append((one.off, one.off + need, cover.people))
    for done, kit in ((choice.snow, venue.equipment.snow), (choice.skirts, venue.equipment.skirts)):
        if done is not None and kit is not None and done > clock.first:
            found.append((done - slots_of_work(kit), done, kit.people))
    return found


def slots_of_work(kit: Cover | Clearing | Skirts) -> int:
    """Slots it takes to lay a cover, or to lift it; to clear the snow, or to close the skirts."""
    return max(int(np.ceil(kit.minutes / 30.0)), 1)


def _workable(
    venue: Venue, what: str, people: int, need: int, clock: Clock, light: NDArray[np.float64]
) -> tuple[list[int], Binding | None]:
    """Slots at which work of `need` slots may begin, so that it ends within the crew's hours; or what forbids all."""
    crew, zone = venue.crew, ZoneInfo(clock.time_zone)
    if people > crew.people:
        return [], Binding("people", what)
    called = clock.now + timedelta(seconds=crew.notice)
    if clock.booked is not None:
        called = min(called, max(clock.booked, clock.now))
    in_hours = [s for s in range(clock.ends.size) if within_hours(clock, s, need, crew.earliest, crew.latest, zone)]
    lit = [s for s in in_hours if not crew.light_needed or (light[s : s + need] > DARK).all()]
    called_in_time = [s for s in lit if clock.begins(s) >= called]
    if called_in_time:
        return called_in_time, None
    why: Why = "notice" if lit else "daylight" if in_hours else "hours"
    return [], Binding(why, what, {"notice": called, "hours": _opens(clock, need, called, venue)}.get(why))


def _opens(clock: Clock, need: int, called: datetime, venue: Venue) -> datetime | None:
    """The first moment after the run at which work of `need` slots fits into the crew's hours; None: it never does."""
    crew, zone = venue.crew, ZoneInfo(clock.time_zone)
    begin = max(clock.slot(called), clock.ends.size)
    for slot in range(begin, begin + DAY):
        if within_hours(clock, slot, need, crew.earliest, crew.latest, zone):
            return clock.begins(slot)
    return None


def within_hours(clock: Clock, slot: int, need: int, earliest: float, latest: float, zone: ZoneInfo) -> bool:
    """Whether work of `need` slots lies between two local hours; over midnight where the first is the later one."""
    begin = clock.begins(slot).replace(tzinfo=ZoneInfo("UTC")).astimezone(zone)
    hour = begin.hour + begin.minute / 60.0
    done = hour + need * 0.5
    if earliest <= latest:
        return earliest <= hour and done <= latest
    return hour >= earliest or done <= latest


def _earliest(clock: Clock, hours: Sequence[int]) -> datetime | None:
    return clock.begins(hours[0]) if hours else None


def gust_allows(cover: Cover, spell: Spell, gust: NDArray[np.float64], *, lies: bool = False) -> Flags:
    """Members whose gusts let a cover be laid and left, (realization,).

    Parameters
    ----------
    gust : array, shape (realization, slot)
        Highest gust over the field in each slot [m s-1].
    lies : bool
        It lies already.
    """
    need = slots_of_work(cover)
    laying = gust[:, spell.on : spell.on] if lies else gust[:, max(spell.on - need, 0) : spell.on]
    handled = np.concatenate((laying, gust[:, spell.off : spell.off + need]), axis=1)
    calm = handled.max(axis=1, initial=0.0) <= cover.gust_stop
    holds = gust[:, spell.on : spell.off].max(axis=1, initial=0.0) <= cover.gust_remove
    return np.asarray(calm & holds)


def leaf_allows(
    spell: Spell,
    heat: int | None,
    water: NDArray[np.float64],
    frost: NDArray[np.float64],
    lowest: NDArray[np.float64],
    most: float,
) -> Flags:
    """Members whose leaf may be covered, (realization,).

    Never a wet or frosted leaf before a hard freeze, unless the ground is heated by then: the sheet freezes to it, and
    feet on frost break the leaf (common practice, no source).

    Parameters
    ----------
    heat : int, optional
        Slot from which on all the ground is heated.
    water, frost : array, shape (realization, slot)
        On the leaf when nothing is done, wettest patch [kg m-2].
    lowest : array, shape (realization,)
        Lowest canopy when nothing is done [K].
    most : float
        Frost on the leaf that counts as white frost [kg m-2].
    """
    if spell.blown or (heat is not None and heat < spell.on):
        return np.ones(water.shape[0], dtype=bool)
    at = min(spell.on, water.shape[1] - 1)
    wet = (water[:, at] > WET) | (frost[:, at] > most)
    return np.asarray(~(wet & (lowest < HARD_FREEZE)))
