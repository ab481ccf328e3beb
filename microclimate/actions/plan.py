"""Plans: what is done to each zone, and when, as a Dataset the simulation reads."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions.choice import NOTHING, Choice
from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import PLAN_VARIABLES, seal
from microclimate.venue.field import signed_area
from microclimate.venue.load import Venue

SLOT = np.timedelta64(1800, "s")  # finer hours are below the noise of 31 members
_SECONDS = 1800.0
SUPPLY = ZERO_CELSIUS + 35.0  # [K] where the venue names none: the power alone then decides

# what a plan holds where nothing is done; temperatures are inert while nothing is switched on
_NOTHING = {
    "cover": 0.0,
    "cover_raised": 0.0,
    "warm_air_flow": 0.0,
    "warm_air_temperature": ZERO_CELSIUS + 20.0,
    "heating_allowed": 0.0,
    "set_point": ZERO_CELSIUS + 4.0,
    "supply_temperature": SUPPLY,
    "skirts_closed": 0.0,
    "snow_removed": 0.0,
}


def nothing(venue: Venue, start: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """The plan that does nothing, from `start` to `end` (UTC); floors that others lay are in it.

    Returns
    -------
    Dataset
        Sealed by `schema.PLAN_VARIABLES`, one plan, every zone, one interval; coordinate `time` is its end and
        `time_bnds` its bounds.
    """
    if venue.equipment.floors:
        return laid(venue, slots(start, end), [NOTHING], 0).assign_coords(plan=["nothing"])
    return constant(venue, start, end, "nothing", {})


def constant(
    venue: Venue, start: np.datetime64, end: np.datetime64, name: str, settings: dict[str, NDArray[np.float64] | float]
) -> xr.Dataset:
    """A plan that holds the same settings from `start` to `end` (UTC) in every zone, or one value per zone.

    Parameters
    ----------
    settings : dict
        Values of `schema.PLAN_VARIABLES`, scalar or shape (zone,); what is not named is as in `nothing`.

    Returns
    -------
    Dataset
        Sealed by `schema.PLAN_VARIABLES`: (plan 1, zone, time 1).
    """
    zones = [zone.name for zone in venue.field.zones]
    values = {**_NOTHING, **settings}
    data = {
        key: (("plan", "zone", "time"), np.broadcast_to(np.asarray(value, dtype=float), (len(zones),))[None, :, None])
        for key, value in values.items()
    }
    bounds = np.array([[start, end]], dtype="datetime64[ns]")
    dataset = xr.Dataset(
        {**data, "time_bnds": (("time", "bnds"), bounds)},
        coords={"plan": [name], "zone": zones, "time": bounds[:, 1]},
    )
    return seal(dataset, PLAN_VARIABLES, "plan")


def slots(start: np.datetime64, end: np.datetime64) -> NDArray[np.datetime64]:
    """Ends of the slots from `start` until `end` is reached, datetime64[ns]."""
    count = int(np.ceil((end - start) / SLOT))
    return (start + np.arange(1, count + 1) * SLOT).astype("datetime64[ns]")


def laid(
    venue: Venue,
    ends: NDArray[np.datetime64],
    choices: Sequence[Choice],
    stop: int,
    probe: NDArray[np.float64] | None = None,
    *,
    first: int = 0,
    history: Sequence[tuple[int, Choice]] = (),
) -> xr.Dataset:
    """Choices side by side on the `plan` dimension; floors that others lay are in all of them.

    Parameters
    ----------
    ends : array, shape (slot,)
        As `slots` gives them.
    choices : sequence of Choice
    stop : int
        Heat ends before this slot.
    probe : array, shape (zone,), optional
        Temperature at each zone's probe at the start [K], from which a circuit with a ramp rises.
    first : int
        The slot from which on a choice acts.
    history : sequence of (slot, Choice)
        What was done before: each from its slot on, in order.

    Returns
    -------
    Dataset
        Sealed by `schema.PLAN_VARIABLES`: (plan, zone, time).
    """
    zones = venue.field.zones
    shape = (len(choices), len(zones), ends.size)
    values = {name: np.full(shape, value) for name, value in _NOTHING.items()}
    blown = any(spell.blown for choice in (*choices, *(c for _, c in history)) for spell in choice.spells)
    loud = _loud(venue, ends) if blown else None
    for number, choice in enumerate(choices):
        for place in range(len(zones)):
            settings = {name: array[number, place] for name, array in values.items()}
            before: Choice | None = None
            for k, (begin, done) in enumerate(history):
                end = min(history[k + 1][0] if k + 1 < len(history) else first, first)
                _write(venue, place, done, slice(max(begin, 0), max(end, 0)), stop, probe, settings, before)
                before = done
            _write(venue, place, choice, slice(first, ends.size), stop, probe, settings, before)
            if loud is not None:
                settings["warm_air_flow"][loud] = 0.0
            for kind, begin, end in floors(venue, ends, zones[place].name):
                settings["cover"][begin:end] = kind
                settings["warm_air_flow"][begin:end] = 0.0
    data = {name: (("plan", "zone", "time"), array) for name, array in values.items()}
    coords = {"plan": np.arange(len(choices)), "zone": [zone.name for zone in zones], "time": ends}
    return seal(xr.Dataset(data, coords=coords), PLAN_VARIABLES, "plan")


def _write(
    venue: Venue,
    place: int,
    choice: Choice,
    part: slice,
    stop: int,
    probe: NDArray[np.float64] | None,
    into: dict[str, NDArray[np.float64]],
    before: Choice | None,
) -> None:
    """One zone of one choice, written into the slots of `part`; `before` it another one was in force."""
    zone, size = venue.field.zones[place], into["cover"].size
    begin, end, _ = part.indices(size)
    for spell in choice.spells:
        if covers(venue, spell.cover, zone.name):
            lies = slice(max(spell.on, begin), max(min(spell.off, end), begin, 0))
            into["cover"][lies] = spell.cover
            cover = venue.equipment.covers[spell.cover - 1]
            if spell.blown and cover.warm_air_flow is not None:
                into["warm_air_flow"][lies] = cover.warm_air_flow / covered_area(venue, spell.cover)
                into["warm_air_temperature"][lies] = cover.warm_air_temperature
    if choice.skirts is not None and zone.base.over_air:
        into["skirts_closed"][max(choice.skirts, begin) : max(end, begin)] = 1.0
    if choice.snow is not None and begin <= choice.snow < end:
        into["snow_removed"][choice.snow] = 1.0
    numbers = {circuit.name: number for number, circuit in enumerate(venue.equipment.circuits)}
    if zone.circuit is None or not choice.heat or (start := choice.heat[numbers[zone.circuit]]) is None:
        return
    circuit = venue.equipment.circuit(zone.circuit)
    began = before.heat[numbers[zone.circuit]] if before is not None and before.heat else None
    if began is not None and start <= begin:
        start = min(began, start)  # it has been on: neither lag nor ramp anew
    warm = start + int(np.ceil(circuit.lag / _SECONDS))
    since = np.arange(size) - warm
    on = (since >= 0) & (np.arange(size) >= begin) & (np.arange(size) < min(stop - choice.early, end))
    wanted = np.full(size, min(circuit.set_point + choice.boost, circuit.ceiling))
    if circuit.ramp is not None and probe is not None:
        base = min(max(probe[place], circuit.set_point), circuit.ceiling)
        wanted = np.minimum(wanted, base + circuit.ramp * since * _SECONDS / 86400.0)
    into["heating_allowed"][on] = 1.0
    into["set_point"][on] = wanted[on]
    into["supply_temperature"][on] = circuit.supply_temperature or SUPPLY


def floors(venue: Venue, ends: NDArray[np.datetime64], zone: str) -> list[tuple[int, int, int]]:
    """Floors that others lay over a zone: number of the sheet, first slot, slot after the last."""
    found, covers_count = [], len(venue.equipment.covers)
    for number, floor in enumerate(venue.equipment.floors):
        if not floor.zones or zone in floor.zones:
            begin, end = (int(np.searchsorted(ends, np.datetime64(t, "ns"), "right")) for t in (floor.start, floor.end))
            if end > begin:
                found.append((covers_count + number + 1, begin, end))
    return found


def _loud(venue: Venue, ends: NDArray[np.datetime64]) -> NDArray[np.bool_]:
    """Slots that begin in the quiet hours, when no blower runs."""
    crew = venue.crew
    if crew.quiet_from is None:
        return np.zeros(ends.size, dtype=bool)
    zone, found = ZoneInfo(venue.site.time_zone), np.zeros(ends.size, dtype=bool)
    for slot, begin in enumerate((ends - SLOT).astype("datetime64[s]").astype(datetime)):
        local = begin.replace(tzinfo=ZoneInfo("UTC")).astimezone(zone)
        hour = local.hour + local.minute / 60.0
        after, before = hour >= crew.quiet_from, hour < crew.quiet_until
        found[slot] = (after and before) if crew.quiet_from <= crew.quiet_until else (after or before)
    return found


def covers(venue: Venue, cover: int, zone: str) -> bool:
    """Whether a cover (1 + its number) is for a zone; one that names no zones is for all."""
    named = venue.equipment.covers[cover - 1].zones
    return not named or zone in named


def covered_area(venue: Venue, cover: int) -> float:
    """Area of the zones that a cover (1 + its number) is for [m2]."""
    zones = venue.field.zones
    return sum(abs(signed_area(zone.polygon)) for zone in zones if covers(venue, cover, zone.name))
