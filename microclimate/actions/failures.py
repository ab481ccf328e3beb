"""If the heat stops: for every hour of the plan when the first zone passes each limit, and how long the fuel lasts.

All realizations run, each hour at which the heat may stop as a plan of its own, with and without the cover. What is
told is an hour that the night to come bears with a chance of 90 %, by the same ranks as the latest starts.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import energy, groups
from microclimate.actions.case import Case
from microclimate.actions.choice import Choice
from microclimate.actions.latest import at_confidence
from microclimate.schema import REPORT_DEPTHS, Event, SurfaceState

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Past = datetime | Literal["holds", "unknown"]

EVERY = 2  # slots between the hours told: one hour
SURE = 0.9
TOGETHER = 12  # plans that run side by side: a window for each half-hour is kept of all of them
PROBE = REPORT_DEPTHS.index(0.025)
UNSEEN = 0.5  # of one realization more, in which a limit is as likely passed as not (as in `risk.outlook`)


@dataclass(frozen=True)
class Passed:
    """One limit: the hour (UTC) before which no zone passes it with 90 % chance, and the chance that one does at all.

    "holds": it is not passed in that many realizations; "unknown": there are too few of them to be 90 % sure.
    """

    after: Past
    chance: float
    zone: str  # the one that is first most often, "" where none is


@dataclass(frozen=True)
class Failure:
    """If heat stops at `when` (None: it does not): the venue's limits of leaf and root zone, and a frozen layer."""

    circuit: str  # whose zones are told of; "" for all of the field
    when: datetime | None
    with_cover: tuple[Passed, ...]
    without: tuple[Passed, ...]  # the cover does not lie either; the same where the plan has none


@dataclass(frozen=True)
class Fuel:
    """What is on hand [kWh]; hours at full load; what the plan takes, and when it is used up with 90 % chance later."""

    on_hand: float
    full_load: float  # [h] infinity where nothing of the kit burns it
    wanted: float  # [kWh] realizations' mean
    until: Past


def failures(case: Case, choice: Choice, every: int = EVERY) -> tuple[Failure, ...]:
    """What follows when boiler, generator, pumps or fans stop: not at all, then in each hour after heat began.

    Parameters
    ----------
    case : Case
    choice : Choice
        Nothing is told of a plan without heat.
    every : int
        Slots between the hours told.
    """
    start = _begins(choice)
    if start is None:
        return ()
    first, end = max(start, case.clock.first), case.stop - choice.early
    hours = [*range(first + every, end, every)]
    if not hours:
        return ()
    stops = [case.stop, *hours]
    kept = _passed(case, choice, stops, first)
    laid, bare = case.laid(choice), kept
    if choice.spells:
        bare = _passed(case, choice.without_cover(), stops, first)
        kept = np.where(laid[None, None, :, None, None], kept, bare)
    found = []
    for circuit, mine in _heated(case, choice):
        for k, stop in enumerate(stops):
            since = 0 if k == 0 else stop - first
            rows = [
                tuple(_told(case, past[k][..., mine], since, first, mine) for past in limits) for limits in (kept, bare)
            ]
            found.append(Failure(circuit, None if k == 0 else case.clock.begins(stop), *rows))
    return tuple(found)


def _heated(case: Case, choice: Choice) -> list[tuple[str, Flags]]:
    """Circuits that run, each with the patches of its zones; all of the field where there is one kind of zones only."""
    zones = case.blocks[0]["zone_index"].values.astype(int)[case.patches]
    of = np.array([case.venue.field.zones[zone].circuit or "" for zone in zones])
    names = [c.name for c, start in zip(case.venue.equipment.circuits, choice.heat, strict=False) if start is not None]
    found = [(name, of == name) for name in names if (of == name).any()]
    return found if len(found) > 1 or any(not flags.all() for _, flags in found) else [("", np.ones(of.size, bool))]


def fuel(case: Case, choice: Choice) -> Fuel | None:
    """How long the fuel on hand lasts; None where it is not known, or the plan burns none."""
    plant, start = case.venue.equipment.plant, _begins(choice)
    if plant is None or plant.fuel is None or start is None:
        return None
    first = case.clock.first
    slots = _slots(case, first, case.stop)
    seen = case.run(case.dataset([choice]), slots)
    heat = np.nan_to_num(seen["heating_energy"].transpose("plan", "realization", "event", "patch").values[0])
    burns = np.array([energy.burns(case.venue, int(zone)) for zone in seen["zone_index"].values])
    area = groups.areas(case.venue, case.blocks[0], case.patches) * burns
    warm_air = case.blown([choice])[0][:, first : first + len(slots)]
    total = np.cumsum(heat @ area / energy.JOULES + warm_air, axis=1) / plant.efficiency
    on_hand = plant.fuel / energy.JOULES
    over = np.where(total[:, -1] > on_hand, (total > on_hand).argmax(axis=1).astype(float), np.inf)
    if not total[:, -1].any():
        return None
    most = energy.full_load(case.venue) / plant.efficiency
    hours = on_hand / most if most > 0.0 else np.inf
    return Fuel(on_hand, hours, float(total[:, -1].mean()), _moment(case, over, first))


def _begins(choice: Choice) -> int | None:
    blown = [spell.on for spell in choice.spells if spell.blown]
    return min([*blown, *([] if choice.first_heat is None else [choice.first_heat])], default=None)


def _slots(case: Case, first: int, last: int) -> tuple[Event, ...]:
    """Half-hours as windows; the last ends with the forcing."""
    reach = case.blocks[0]["time"].values[-1].astype("datetime64[us]").item()
    clock = case.clock
    return tuple(
        Event(str(k), clock.begins(k), min(clock.begins(k + 1), reach), "slot")
        for k in range(first, last)
        if clock.begins(k) < reach
    )


def _passed(case: Case, choice: Choice, stops: Sequence[int], first: int) -> Flags:
    """Whether each patch is past a limit in each half-hour, (limit, stop, realization, half-hour, patch)."""
    found = []
    for k in range(0, len(stops), TOGETHER):
        cut = [_cut(case, choice, stop) for stop in stops[k : k + TOGETHER]]
        plan = xr.concat(cut, "plan").assign_coords(plan=np.arange(len(cut)))
        found.append(_past(case, case.run(plan, _slots(case, first, case.stop))))
    return np.concatenate(found, axis=1)


def _past(case: Case, seen: xr.Dataset) -> Flags:
    order, limits = ("plan", "realization", "event", "patch"), case.venue.limits
    leaf = seen["canopy_temperature_min"].transpose(*order).values
    shallow = seen["soil_temperature_min"].isel(depth=PROBE).transpose(*order).values
    state = seen["worst_surface_state"].transpose(*order).values
    return np.stack([leaf < limits.canopy_min, shallow < limits.rootzone_min, state >= SurfaceState.FROZEN_LAYER])


def _told(case: Case, past: Flags, since: int, first: int, mine: Flags) -> Passed:
    """One limit from the half-hour `since` on; `past` (realization, half-hour, patch)."""
    later = past[:, since:]
    any_zone: Flags = np.any(later, axis=2)
    ever = np.any(any_zone, axis=1)
    when = np.where(ever, any_zone.argmax(axis=1).astype(float), np.inf)
    places = [later[r, int(when[r])] for r in np.flatnonzero(ever)]
    zones = case.blocks[0]["zone"].values[case.patches][mine]
    zone = str(zones[np.sum(places, axis=0).argmax()]) if places else ""
    chance = (float(ever.sum()) + UNSEEN) / (ever.size + 1.0)
    return Passed(_moment(case, when, first + since), chance, zone)


def _moment(case: Case, slots: Array, first: int) -> Past:
    found = at_confidence(slots, SURE)
    if np.isinf(found):
        return "holds" if found > 0 else "unknown"
    return case.clock.begins(first + int(found))


def _cut(case: Case, choice: Choice, hour: int) -> xr.Dataset:
    """The plan whose heat, blown air with it, ends before `hour` at the latest."""
    found = case.dataset([replace(choice, early=0)], min(hour, case.stop - choice.early))
    late = np.arange(found.sizes["time"]) >= hour
    return found.assign(warm_air_flow=found["warm_air_flow"].where(xr.DataArray(~late, dims="time"), 0.0))
