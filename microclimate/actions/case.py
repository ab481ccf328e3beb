"""Everything a search asks again and again, gathered once: forcing on the patches that decide, crew, wind and leaf."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Literal

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import constraints, energy, groups
from microclimate.actions import plan as plans
from microclimate.actions.choice import NOTHING, Choice, Spell
from microclimate.actions.constraints import Allowed, Clock, Surroundings
from microclimate.actions.cost import NOT_CARRIED_OUT, Table
from microclimate.schema import Event
from microclimate.simulate import run
from microclimate.venue.equipment import Prices
from microclimate.venue.kit import Floor
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

AHEAD = timedelta(hours=96)  # deep heat needs 48 h, a second game two days later as long again; ours


@dataclass(frozen=True)
class Case:
    """One planning problem."""

    venue: Venue  # its circuits within what the plant gives
    clock: Clock
    blocks: tuple[xr.Dataset, ...]  # Forcing, all patches
    initial: xr.Dataset
    windows: tuple[Event, ...]  # those whose limits decide
    tolerated: float
    prices: Prices | None
    nothing: xr.Dataset  # States when nothing is done, every realization, worst patches

    @property
    def events(self) -> tuple[Event, ...]:
        """Windows that a cover must be off for."""
        return tuple(w for w in self.windows if w.kind != "night")

    @property
    def stop(self) -> int:
        """Heat ends before this slot: at the end of the last window."""
        return min(self.clock.slot(max(w.end for w in self.windows)) + 1, self.clock.ends.size)

    @cached_property
    def patches(self) -> NDArray[np.int64]:
        """Numbers of the patches that the search runs on."""
        return np.asarray(self.nothing["number"].values, dtype=np.int64)

    @cached_property
    def few(self) -> tuple[xr.Dataset, ...]:
        """The forcing of those patches, all realizations in one block."""
        blocks = [block.isel(patch=self.patches) for block in self.blocks]
        return (xr.concat(blocks, "realization", coords="minimal", compat="override", join="override"),)

    @cached_property
    def probe(self) -> Array:
        """Temperature at each zone's probe at the start, realizations' mean [K]; NaN-free, 0 without a circuit."""
        zone_index = self.blocks[0]["zone_index"].values.astype(int)
        soil = self.initial["soil_temperature"].mean("realization").transpose("patch", "layer").values
        depth = self.initial["depth"].transpose("patch", "layer").values
        found = np.zeros(len(self.venue.field.zones))
        for place, zone in enumerate(self.venue.field.zones):
            if zone.circuit is not None:
                patch = int(np.flatnonzero(zone_index == place)[0])
                at = self.venue.equipment.circuit(zone.circuit).probe_depth
                found[place] = np.interp(at, depth[patch], soil[patch])
        return found

    @cached_property
    def gust(self) -> Array:
        """Highest gust over the field, (realization, slot) [m s-1]."""
        return self._slots("wind_speed_of_gust", np.max, np.max)

    @cached_property
    def around(self) -> Surroundings:
        """What limits are held against."""
        return Surroundings(self.events, self._light, self._warm, self._floored)

    @cached_property
    def allow(self) -> Allowed:
        """What clock and crew leave."""
        return constraints.allowed(self.venue, self.clock, self.around)

    @cached_property
    def _warm(self) -> NDArray[np.bool_]:
        """Slots in which a cover left down would heat up in at least half of the realizations."""
        hot = (self._slots("air_temperature", np.mean, np.max) > self.venue.limits.cover_air_lift) & self._sunny
        return np.asarray(hot.mean(axis=0) >= 0.5)

    @cached_property
    def _sunny(self) -> NDArray[np.bool_]:
        """Whether the sun is on the field, (realization, slot)."""
        return np.asarray(self._slots("shortwave_sun_down", np.max, np.mean) > constraints.SUNNY)

    @cached_property
    def _floored(self) -> tuple[NDArray[np.bool_], ...]:
        found = []
        for number in range(len(self.venue.equipment.covers)):
            taken = np.zeros(self.clock.ends.size, dtype=bool)
            for zone in self.venue.field.zones:
                if plans.covers(self.venue, number + 1, zone.name):
                    for _, begin, end in plans.floors(self.venue, self.clock.ends, zone.name):
                        taken[begin:end] = True
            found.append(taken)
        return tuple(found)

    @cached_property
    def _light(self) -> Array:
        sun = self._slots("shortwave_sun_down", np.max, np.mean)
        return np.asarray((sun + self._slots("shortwave_sky_down", np.max, np.mean)).mean(axis=0))

    def _slots(self, name: str, over_patches: object, over_time: object) -> Array:
        """One variable of the forcing, (realization, slot); a slot the forcing does not reach is 0."""
        time = self.blocks[0]["time"].values.astype("datetime64[ns]")
        place = np.searchsorted(self.clock.ends, time)
        rows = [over_patches(b[name].transpose("realization", "patch", "time").values, axis=1) for b in self.blocks]  # type: ignore[operator]
        values = np.nan_to_num(np.concatenate(rows))
        found = np.zeros((values.shape[0], self.clock.ends.size))
        for slot in np.unique(place[place < self.clock.ends.size]):
            found[:, slot] = over_time(values[:, place == slot], axis=1)  # type: ignore[operator]
        return found

    @cached_property
    def _leaf(self) -> tuple[Array, Array, Array]:
        """Water and frost on the leaf at each slot (realization, slot), lowest canopy (realization,), nothing done."""
        told = self.nothing.isel(plan=0)
        at = np.minimum(np.searchsorted(told["time"].values, self.clock.ends), told.sizes["time"] - 1)
        water, frost, canopy = (
            np.nan_to_num(told[name].transpose("realization", "patch", "time").values)
            for name in ("leaf_water", "leaf_frost", "canopy_temperature")
        )
        return water.max(axis=1)[:, at], frost.max(axis=1)[:, at], canopy.min(axis=(1, 2))

    @cached_property
    def snowy(self) -> bool:
        """Whether snow lies at any time in any realization, nothing done."""
        return bool((self.nothing["snow_amount"] >= self.venue.limits.snow_amount).any())

    def possible(self, choice: Choice) -> bool:
        """Whether clock and crew allow a plan."""
        runs = choice.first_heat is None or self.stop - choice.early - choice.first_heat >= self._shortest
        return runs and constraints.possible(self.venue, choice, self.clock, self.around, self.allow)

    @property
    def _shortest(self) -> int:
        """Slots that heat runs at least once it has been started."""
        plant = self.venue.equipment.plant
        return 1 if plant is None else max(int(np.ceil(plant.minimum_run / 1800.0)), 1)

    def dataset(self, choices: Sequence[Choice], stop: int | None = None) -> xr.Dataset:
        """Choices as the simulation reads them; heat ends before `stop`, or with the last window."""
        until, clock = self.stop if stop is None else stop, self.clock
        return plans.laid(self.venue, clock.ends, choices, until, self.probe, first=clock.first, history=clock.history)

    def outcome(
        self, choices: Sequence[Choice], *, everywhere: bool = False, traced: bool = False
    ) -> tuple[xr.Dataset, xr.Dataset | None]:
        """Outcome of plans as they stand, the last window the whole run; and the canopy at every step if asked."""
        begin, end = self.clock.begins(0), self.clock.begins(self.clock.ends.size)
        end = min(end, self.blocks[0]["time"].values[-1].astype("datetime64[us]").item())
        windows = (*self.windows, Event("whole run", begin, end, "all"))
        blocks: Iterable[xr.Dataset] = self.blocks if everywhere else self.few
        initial = self.initial if everywhere else self.initial.isel(patch=self.patches)
        states: Literal["canopy"] | None = "canopy" if traced else None
        return run.outcome(self.venue, blocks, initial, self.dataset(choices), windows, states=states, single=True)

    def run(self, plan: xr.Dataset, windows: Sequence[Event]) -> xr.Dataset:
        """Outcome of plans given as Datasets, in windows of their own, on the worst patches."""
        initial = self.initial.isel(patch=self.patches)
        return run.outcome(self.venue, self.few, initial, plan, windows, single=True)[0]

    def laid(self, choice: Choice) -> NDArray[np.bool_]:
        """Realizations whose wind and leaf let every cover of a plan be laid and left."""
        found = np.ones(self.gust.shape[0], dtype=bool)
        water, frost, lowest = self._leaf
        for spell in choice.spells:
            cover, lies = self.venue.equipment.covers[spell.cover - 1], self.clock.lies(spell)
            found &= constraints.gust_allows(cover, spell, self.gust, lies=lies)
            if not lies:
                most = self.venue.limits.frost_amount
                found &= constraints.leaf_allows(
                    spell, self._all_heated(spell.cover, choice), water, frost, lowest, most
                )
        return found

    def _all_heated(self, cover: int, choice: Choice) -> int | None:
        """The slot from which on all the ground under a cover is heated; None: some of it never is."""
        starts: list[int | None] = []
        names = [circuit.name for circuit in self.venue.equipment.circuits]
        for zone in self.venue.field.zones:
            if plans.covers(self.venue, cover, zone.name):
                own = zone.circuit if choice.heat else None
                starts.append(None if own is None else choice.heat[names.index(own)])
        return max(s for s in starts if s is not None) if starts and None not in starts else None

    def table(self, choices: Sequence[Choice], *, everywhere: bool = False) -> Table:
        """The table of these plans; where a realization forbids a cover, the plan without it stands in."""
        laid = np.stack([self.laid(choice) for choice in choices])
        carried = list(zip(choices, laid, strict=True))
        needed = dict.fromkeys([*choices, *(c.without_cover() for c, may in carried if not may.all())])
        ran = {} if everywhere else self._ran
        if fresh := [choice for choice in needed if choice not in ran]:
            ran |= self._run(fresh, everywhere)

        def column(part: int) -> Array:
            rows = []
            for choice, may in carried:
                own, bare = ran[choice][part], ran[choice if may.all() else choice.without_cover()][part]
                rows.append(np.where(may.reshape(-1, *(1,) * (own.ndim - 1)), own, bare))
            return np.stack(rows)

        state, final, lowest, spent, killed, warmest = (column(part) for part in range(6))
        hours = np.array([self.crew_hours(choice) for choice in choices])[:, None]
        bare_hours = np.array([self.crew_hours(choice.without_cover()) for choice in choices])[:, None]
        crew = np.where(laid, hours, bare_hours + NOT_CARRIED_OUT * (hours - bare_hours))
        return Table(tuple(choices), state, final, lowest, spent, killed, warmest, crew, laid)

    @cached_property
    def _ran(self) -> dict[Choice, tuple[Array, ...]]:
        """What has been run on the worst patches: a plan is asked for again, also as the bare one of others."""
        return {}

    def _run(self, choices: Sequence[Choice], everywhere: bool) -> dict[Choice, tuple[Array, ...]]:
        """State, final state, lowest canopy, energy, turf killed, warmest canopy of each plan, (realization, ...)."""
        hot = [any(self._heats_up(s) for s in choice.spells) for choice in choices]
        found, traces = self.outcome(choices, everywhere=everywhere, traced=any(hot) and not everywhere)
        area = self._area(found, everywhere)
        state, final, lowest, heat = (
            found[name].transpose("plan", "realization", "patch", "event").values
            for name in (
                "worst_surface_state", "final_surface_state", "canopy_temperature_min", "heating_energy"
            )
        )  # fmt: skip
        given = np.nan_to_num(heat[..., -1]) @ area / energy.JOULES + self.blown(choices).sum(axis=2)
        parts = (
            _worst(state)[..., :-1],
            _worst(final)[..., -2],
            np.min(lowest, axis=2)[..., :-1],
            given / self._efficiency,
            ((lowest[..., -1] < self._bears(found)) @ area).astype(float),
            self._warmest(choices, hot, traces),
        )
        return {choice: tuple(part[k] for part in parts) for k, choice in enumerate(choices)}

    def _warmest(self, choices: Sequence[Choice], hot: Sequence[bool], traces: xr.Dataset | None) -> Array:
        """Warmest canopy while it lies under a cover, (plan, realization) [K]; minus infinity where it cannot be hot.

        That takes sun on the cover or warm air under it: the root zone's heat ends at its ceiling. It ranks plans, on
        the patches they are ranked by; without traces of the canopy it is not told.
        """
        found = np.full((len(choices), self.gust.shape[0]), -np.inf)
        if traces is None:
            return found
        time = traces["time"].values.astype("datetime64[ns]")
        canopy = traces["canopy_temperature"].transpose("plan", "realization", "patch", "time").values
        zones = [str(zone) for zone in traces["zone"].values]
        for number in (k for k, may in enumerate(hot) if may):
            for spell in choices[number].spells:
                under = np.array([plans.covers(self.venue, spell.cover, zone) for zone in zones])
                first, last = (np.datetime64(self.clock.begins(slot), "ns") for slot in (spell.on, spell.off))
                inside = slice(*np.searchsorted(time, (first, last), "right"))
                warmest = canopy[number][:, under, inside].max(axis=(1, 2), initial=-np.inf)
                found[number] = np.maximum(found[number], warmest)
        return found

    def _heats_up(self, spell: Spell) -> bool:
        return spell.blown or bool(self._sunny[:, spell.on : spell.off].any())

    def blown(self, choices: Sequence[Choice]) -> Array:
        """Heat of warm air blown under covers and trays [kWh], (plan, realization, slot)."""
        return energy.blown(self.venue, self.dataset(choices), self._slots("air_temperature", np.mean, np.mean))

    def crew_hours(self, choice: Choice) -> float:
        """People times hours of everything that is laid, lifted, closed and cleared."""
        equipment, hours = self.venue.equipment, 0.0
        for spell in choice.spells:
            cover = equipment.covers[spell.cover - 1]
            hours += (1.0 if self.clock.lies(spell) else 2.0) * cover.people * cover.minutes / 60.0
        if choice.skirts is not None and equipment.skirts is not None and choice.skirts > self.clock.first:
            hours += equipment.skirts.people * equipment.skirts.minutes / 60.0
        if choice.snow is not None and equipment.snow is not None:
            hours += equipment.snow.people * equipment.snow.minutes / 60.0
        return hours

    @property
    def _efficiency(self) -> float:
        return 1.0 if self.venue.equipment.plant is None else self.venue.equipment.plant.efficiency

    def _area(self, found: xr.Dataset, everywhere: bool) -> Array:
        """Area each patch stands for [m2]: its own, or in the search its share of its group's."""
        if everywhere:
            return np.asarray(found["area"].values, dtype=float)
        return groups.areas(self.venue, self.blocks[0], self.patches)

    def _bears(self, found: xr.Dataset) -> Array:
        """Temperature at which half of the plants die, patch by patch [K]: growing where there is a circuit."""
        rows = []
        for index in found["zone_index"].values.astype(int):
            zone = self.venue.field.zones[index]
            grass = self.venue.species(zone.turf)
            rows.append(grass.lt50_hardened if zone.circuit is None else grass.lt50_growing)
        return np.array(rows)


def case(
    venue: Venue,
    blocks: Sequence[xr.Dataset],
    initial: xr.Dataset,
    windows: Sequence[Event],
    now: datetime,
    *,
    tolerated: float | None = None,
    prices: Prices | None = None,
    booked: datetime | None = None,
    history: tuple[tuple[int, Choice], ...] = (),
) -> Case:
    """A planning problem; the patches the search runs on are those that are worst when nothing is done.

    Parameters
    ----------
    venue : Venue
    blocks : sequence of Forcing Datasets
        All patches; blocks of realizations.
    initial : Dataset
        `schema.INITIAL_VARIABLES` for every realization.
    windows : sequence of Event
        Events decide; where there is none, the night itself does.
    now : datetime
        Naive UTC: nothing can be done before.
    tolerated : float, optional
        Chance; without it the venue's own.
    prices : Prices, optional
        Without them the venue's own, if it has any.
    booked : datetime, optional
        From when on a crew that has been called already is there.
    history : tuple of (slot, Choice), optional
        What was done before `now` or is being done, each from a slot of this run on.
    """
    decide = deciding(windows, now, venue.equipment.floors)
    events = tuple(w for w in decide if w.kind != "night")
    wanted = venue.prices if prices is None else prices
    if wanted is not None and not events:
        wanted = wanted.model_copy(update={"event_lost": None, "poor_surface": None})  # there is no event to lose
    time = blocks[0]["time"].values.astype("datetime64[ns]")
    step = time[1] - time[0]
    clock = Clock(time[0] - step, plans.slots(time[0] - step, time[-1]), now, venue.site.time_zone, booked, history)
    able = groups.within_plant(venue)
    idle = plans.laid(able, clock.ends, [NOTHING], 0, first=clock.first, history=history)
    worst = groups.worst_patches(able, blocks[0], run.outcome(able, blocks, initial, idle, decide, single=True)[0])
    few = [block.isel(patch=worst) for block in blocks]
    count = sum(block.sizes["realization"] for block in blocks)
    pairs = [(0, r) for r in range(count)]
    _, told = run.outcome(able, few, initial.isel(patch=worst), idle, decide, states=pairs, single=True)
    assert told is not None
    told = told.assign_coords(number=("patch", worst))
    chance = venue.limits.tolerated_chance if tolerated is None else tolerated
    return Case(able, clock, tuple(blocks), initial, decide, chance, wanted, told)


def deciding(windows: Sequence[Event], now: datetime, floors: Sequence[Floor] = ()) -> tuple[Event, ...]:
    """The windows whose limits decide: events to come on the grass, or where there is none the night itself.

    An event later than `AHEAD` is left to a later run: what it needs starts later too. One that a floor over the whole
    field carries does not play on the grass.
    """
    carried = [floor for floor in floors if not floor.zones]
    events = tuple(
        w
        for w in windows
        if w.kind != "night"
        and now < w.start <= now + AHEAD
        and not any(floor.start <= w.start and w.end <= floor.end for floor in carried)
    )
    return events or tuple(windows[:1])


def _worst(state: Array) -> Array:
    """Worst patch of each realization; one unknown patch makes it unknown, (plan, realization, event)."""
    return np.asarray(np.where(np.isnan(state).any(axis=2), np.nan, state.max(axis=2)))
