"""Everything a search asks again and again, gathered once: forcing on the patches that decide, crew, wind and leaf."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import constraints
from microclimate.actions import plan as plans
from microclimate.actions.constraints import Allowed, Clock
from microclimate.actions.cost import NOT_CARRIED_OUT, Table
from microclimate.actions.plan import Choice
from microclimate.schema import Event
from microclimate.simulate import run
from microclimate.venue.equipment import Prices
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

WORST_PATCHES = 3  # of each group of zones with like circuit and covers, in the search; ours
JOULES = 3.6e6  # in a kWh


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
        """The forcing of those patches."""
        return tuple(block.isel(patch=self.patches) for block in self.blocks)

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
    def allow(self) -> Allowed:
        """What clock and crew leave."""
        return constraints.allowed(self.venue, self.clock, self.events, self._light, self.warm)

    @cached_property
    def warm(self) -> NDArray[np.bool_]:
        """Slots in which a cover left down would heat up in at least half of the realizations."""
        air = self._slots("air_temperature", np.mean, np.max)
        sun = self._slots("shortwave_sun_down", np.max, np.mean)
        hot = (air > self.venue.limits.cover_air_lift) & (sun > constraints.SUNNY)
        return np.asarray(hot.mean(axis=0) >= 0.5)

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

    def possible(self, choice: Choice) -> bool:
        """Whether clock and crew allow a plan."""
        return constraints.possible(self.venue, choice, self.clock, self.events, self.allow, self.warm)

    def outcome(self, choices: Sequence[Choice], *, everywhere: bool = False) -> tuple[xr.Dataset, xr.Dataset]:
        """Outcome of plans as they stand, the last window the whole run; and the canopy at every step."""
        begin, end = self.clock.begins(0), self.clock.begins(self.clock.ends.size)
        end = min(end, self.blocks[0]["time"].values[-1].astype("datetime64[us]").item())
        windows = (*self.windows, Event("whole run", begin, end, "all"))
        plan = plans.laid(self.venue, self.clock.ends, choices, self.stop, self.probe)
        blocks: Iterable[xr.Dataset] = self.blocks if everywhere else self.few
        initial = self.initial if everywhere else self.initial.isel(patch=self.patches)
        found, traces = run.outcome(self.venue, blocks, initial, plan, windows, states="canopy", single=True)
        assert traces is not None
        return found, traces

    def laid(self, choice: Choice) -> NDArray[np.bool_]:
        """Realizations whose wind and leaf let the cover be laid and left."""
        count = self.gust.shape[0]
        if not choice.cover:
            return np.ones(count, dtype=bool)
        cover = self.venue.equipment.covers[choice.cover - 1]
        water, frost, lowest = self._leaf
        calm = constraints.gust_allows(cover, choice, self.gust)
        return np.asarray(calm & constraints.leaf_allows(choice, water, frost, lowest, self.venue.limits.frost_amount))

    def table(self, choices: Sequence[Choice], *, everywhere: bool = False) -> Table:
        """The table of these plans; plans without the cover, wanted where a cover cannot be laid, run beside them."""
        wanted = list(dict.fromkeys([*choices, *(c.without_cover() for c in choices if c.cover)]))
        found, traces = self.outcome(wanted, everywhere=everywhere)
        area = self._area(found, everywhere)
        state = found["worst_surface_state"].transpose("plan", "realization", "patch", "event").values
        lowest = found["canopy_temperature_min"].transpose("plan", "realization", "patch", "event").values
        heat = found["heating_energy"].transpose("plan", "realization", "patch", "event").values[..., -1]
        energy = np.nan_to_num(heat) @ area / JOULES / self._efficiency
        killed = (lowest[..., -1] < self._bears(found)) @ area
        worst = np.where(np.isnan(state).any(axis=2), np.nan, state.max(axis=2))[..., :-1]
        place = {choice: k for k, choice in enumerate(wanted)}
        own = np.array([place[c] for c in choices])
        bare = np.array([place[c.without_cover()] for c in choices])
        laid = np.stack([self.laid(choice) for choice in choices])
        hours = np.array([self.crew_hours(choice) for choice in choices])[:, None]

        def carried_out(values: Array) -> Array:
            mask = laid.reshape(*laid.shape, *(1,) * (values.ndim - 2))
            return np.asarray(np.where(mask, values[own], values[bare]))

        return Table(
            tuple(choices),
            carried_out(worst),
            carried_out(np.min(lowest, axis=2)[..., :-1]),
            carried_out(energy),
            carried_out(killed.astype(float)),
            carried_out(self._warmest(wanted, traces)),
            np.where(laid, hours, NOT_CARRIED_OUT * hours),
            laid,
        )

    def _warmest(self, choices: Sequence[Choice], traces: xr.Dataset) -> Array:
        """Warmest canopy while it lies under a cover, (plan, realization) [K]; minus infinity without one."""
        time = traces["time"].values.astype("datetime64[ns]")
        canopy = traces["canopy_temperature"].transpose("plan", "realization", "patch", "time").values
        zones = traces["zone"].values
        found = np.full(canopy.shape[:2], -np.inf)
        for number, choice in enumerate(choices):
            if choice.cover:
                under = np.array([plans.covers(self.venue, choice.cover, str(zone)) for zone in zones])
                first, last = (np.datetime64(self.clock.begins(slot), "ns") for slot in (choice.on, choice.off))
                inside = np.flatnonzero((time > first) & (time <= last))
                found[number] = canopy[number][:, under][:, :, inside].max(axis=(1, 2), initial=-np.inf)
        return found

    def crew_hours(self, choice: Choice) -> float:
        """People times hours, laying and lifting."""
        if not choice.cover:
            return 0.0
        cover = self.venue.equipment.covers[choice.cover - 1]
        return 2.0 * cover.people * cover.minutes / 60.0

    @property
    def _efficiency(self) -> float:
        return 1.0 if self.venue.equipment.plant is None else self.venue.equipment.plant.efficiency

    def _area(self, found: xr.Dataset, everywhere: bool) -> Array:
        """Area each patch stands for [m2]: its own, or in the search its share of its group's."""
        if everywhere:
            return np.asarray(found["area"].values, dtype=float)
        every, groups = self.blocks[0]["area"].values, group(self.venue, self.blocks[0])
        mine = groups[self.patches]
        return np.array([every[groups == g].sum() / (mine == g).sum() for g in mine])

    def _bears(self, found: xr.Dataset) -> Array:
        """Temperature at which half of the plants die, patch by patch [K]: growing where there is a circuit."""
        rows = []
        for index in found["zone_index"].values.astype(int):
            zone = self.venue.field.zones[index]
            grass = self.venue.species(zone.turf)
            rows.append(grass.lt50_hardened if zone.circuit is None else grass.lt50_growing)
        return np.array(rows)


def group(venue: Venue, block: xr.Dataset) -> NDArray[np.int64]:
    """A number for every patch, the same where circuit, covers and ground are alike, (patch,)."""
    keys: dict[object, int] = {}
    found = []
    for index in block["zone_index"].values.astype(int):
        zone = venue.field.zones[index]
        under = tuple(plans.covers(venue, k + 1, zone.name) for k in range(len(venue.equipment.covers)))
        key = (zone.circuit, under, zone.base, zone.layers)
        found.append(keys.setdefault(key, len(keys)))
    return np.array(found, dtype=np.int64)


def within_plant(venue: Venue) -> Venue:
    """The venue with circuits that give no more together than the plant does; power is shared alike."""
    plant = venue.equipment.plant
    if plant is None or plant.power is None:
        return venue
    areas = {circuit.name: 0.0 for circuit in venue.equipment.circuits}
    for zone in venue.field.zones:
        if zone.circuit is not None:
            areas[zone.circuit] += polygon_area(zone.polygon)
    wanted = sum(circuit.power * areas[circuit.name] for circuit in venue.equipment.circuits)
    share = min(1.0, plant.power / wanted) if wanted > 0 else 1.0
    if share == 1.0:
        return venue
    circuits = tuple(c.model_copy(update={"power": c.power * share}) for c in venue.equipment.circuits)
    equipment = venue.equipment.model_copy(update={"circuits": circuits})
    return venue.model_copy(update={"equipment": equipment})


def polygon_area(corners: Sequence[tuple[float, float]]) -> float:
    """Area of a polygon [m2] (shoelace formula)."""
    x, y = np.asarray(corners, dtype=float).T
    return float(0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


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
    """
    decide = deciding(windows, now)
    events = tuple(w for w in decide if w.kind != "night")
    wanted = venue.prices if prices is None else prices
    if wanted is not None and not events:
        wanted = wanted.model_copy(update={"event_lost": None, "poor_surface": None})  # there is no event to lose
    time = blocks[0]["time"].values.astype("datetime64[ns]")
    step = time[1] - time[0]
    clock = Clock(time[0] - step, plans.slots(time[0] - step, time[-1]), now, venue.site.time_zone, booked)
    able = within_plant(venue)
    idle = plans.laid(able, clock.ends, [Choice()], 0)
    worst = _worst_patches(able, blocks, run.outcome(able, blocks, initial, idle, decide, single=True)[0])
    few = [block.isel(patch=worst) for block in blocks]
    count = sum(block.sizes["realization"] for block in blocks)
    pairs = [(0, r) for r in range(count)]
    _, told = run.outcome(able, few, initial.isel(patch=worst), idle, decide, states=pairs)
    assert told is not None
    told = told.assign_coords(number=("patch", worst))
    chance = venue.limits.tolerated_chance if tolerated is None else tolerated
    return Case(able, clock, tuple(blocks), initial, decide, chance, wanted, told)


def deciding(windows: Sequence[Event], now: datetime) -> tuple[Event, ...]:
    """The windows whose limits decide: events to come, or where there is none the night itself."""
    events = tuple(w for w in windows if w.kind != "night" and w.start > now)
    return events or tuple(windows[:1])


def _worst_patches(venue: Venue, blocks: Sequence[xr.Dataset], outcome: xr.Dataset) -> NDArray[np.int64]:
    """In each group of like zones the patches with the worst state, then the lowest canopy, most often the coldest."""
    state = np.nan_to_num(outcome["worst_surface_state"].isel(plan=0).mean(("realization", "event")).values)
    canopy = np.nan_to_num(outcome["canopy_temperature_min"].isel(plan=0).mean(("realization", "event")).values)
    groups = group(venue, blocks[0])
    found = []
    for number in np.unique(groups):
        inside = np.flatnonzero(groups == number)
        ranked = inside[np.lexsort((canopy[inside], -state[inside]))]
        coldest = inside[np.argsort(canopy[inside])]
        found += list(dict.fromkeys([*ranked[: WORST_PATCHES - 1], *coldest[:WORST_PATCHES]]))[:WORST_PATCHES]
    return np.array(sorted(found), dtype=np.int64)
