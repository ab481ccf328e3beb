"""What an option does hour by hour through one winter: when it heats, to what set point, when a cover lies.

Policies know the calendar and the weather of the coming night, as a crew with a good forecast would; nothing later.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import PLAN_VARIABLES, Event, seal
from microclimate.sizing import options as opt
from microclimate.sizing.reduced import Reduced
from microclimate.sizing.winters import DAY, HOUR
from microclimate.venue.equipment import Cover

COVER_BELOW = ZERO_CELSIUS + 3.0  # [K] air to come below which a cover is laid: the leaf gets 2 to 8 K colder than the
# air on clear calm nights (extension services); ours
OFF_BEFORE, ON_AFTER = 2, 1  # [h] a cover is off this long before an event, and may lie again after it; ours
DARK = 5.0  # [W m-2] of sunlight below which it is night
SUPPLY = ZERO_CELSIUS + 35.0  # [K] inert: of circuits that name none


@dataclass(frozen=True)
class Kind:
    """One plan: a policy, a cover and, for policies led by events, the shift of the calendar [d]."""

    policy: opt.Policy
    cover: int
    shift: int = 0
    supply: float | None = None  # [K] of the design's water; None: each circuit's own


@dataclass(frozen=True)
class Programme:
    """Plans of one winter."""

    plan: xr.Dataset  # sealed PLAN, (kind, group, hour)
    laid: NDArray[np.int64]  # (kind,) times a cover is laid, and lifted again
    covered_hours: NDArray[np.int64]  # (kind,)


def programme(site: Reduced, weather: xr.Dataset, kinds: Sequence[Kind], events: Sequence[Event]) -> Programme:
    """Plans of one winter.

    Parameters
    ----------
    site : Reduced
    weather : Dataset
        Of that winter, hourly (one realization).
    kinds : sequence of Kind
    events : sequence of Event
        Of the season, UTC.
    """
    zones = site.venue.field.zones
    ends = weather["time"].values[1:]
    shape = (len(kinds), len(zones), ends.size)
    values = {name: np.zeros(shape) for name in PLAN_VARIABLES}
    values["warm_air_temperature"][:] = ZERO_CELSIUS + 20.0
    values["set_point"][:] = opt.FROST_HOLD
    values["supply_temperature"][:] = SUPPLY
    laid, hours = np.zeros((2, len(kinds)), dtype=np.int64)
    for number, kind in enumerate(kinds):
        here = [moved(event, kind.shift) for event in events]
        allowed, wanted = _heating(kind.policy, ends, here)
        down = np.zeros(ends.size, dtype=bool)
        if kind.cover:
            sheet = site.venue.equipment.covers[kind.cover - 1]
            down = covered(weather, sheet, here, site.venue.limits.cover_on_before_sunset)
            starts = np.diff(down.astype(int), prepend=0) == 1
            laid[number], hours[number] = starts.sum(), down.sum()
        for place, zone in enumerate(zones):
            if kind.cover and site.covered[zone.name][kind.cover - 1]:
                values["cover"][number, place] = np.where(down, kind.cover, 0)
            if zone.circuit is not None:
                circuit = site.venue.equipment.circuit(zone.circuit)
                values["heating_allowed"][number, place] = allowed
                values["set_point"][number, place] = np.minimum(wanted, circuit.ceiling)
                supply = kind.supply if circuit.kind != "cable" else None
                values["supply_temperature"][number, place] = supply or circuit.supply_temperature or SUPPLY
    data = {name: (("plan", "zone", "time"), array) for name, array in values.items()}
    coords = {"plan": np.arange(len(kinds)), "zone": [zone.name for zone in zones], "time": ends}
    return Programme(seal(xr.Dataset(data, coords=coords), PLAN_VARIABLES, "plan"), laid, hours)


def moved(event: Event, days: int) -> Event:
    """The event some days later."""
    shift = days * DAY
    start, end = (np.datetime64(when, "us") + shift for when in (event.start, event.end))
    return Event(event.name, start.astype("datetime64[us]").item(), end.astype("datetime64[us]").item(), event.kind)


def inside(
    ends: NDArray[np.datetime64], events: Sequence[Event], before: np.timedelta64, after: np.timedelta64
) -> NDArray[np.bool_]:
    """Hours (by their ends) that touch any event, or the time before and after it."""
    found = np.zeros(ends.size, dtype=bool)
    for event in events:
        start, end = np.datetime64(event.start, "ns") - before, np.datetime64(event.end, "ns") + after
        found |= (ends > start) & (ends - HOUR < end)
    return found


def _heating(
    policy: opt.Policy, ends: NDArray[np.datetime64], events: Sequence[Event]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Whether heat may run, and the set point at the probe [K], hour by hour."""
    lead = np.timedelta64(round(policy.lead), "s")
    led = inside(ends, events, lead, np.timedelta64(0, "h"))
    always = np.ones(ends.size)
    if policy.kind == opt.FROST:
        return always, np.full(ends.size, opt.FROST_HOLD)
    if policy.kind == opt.GROWTH:
        return always, np.full(ends.size, opt.GROWTH_HOLD)
    if policy.kind == opt.LED:
        return led.astype(float), np.full(ends.size, opt.EVENT)
    if policy.kind == opt.BASE:
        return always, np.where(led, opt.EVENT, opt.BASE_HEAT)
    return np.zeros(ends.size), np.full(ends.size, opt.FROST_HOLD)


def covered(weather: xr.Dataset, sheet: Cover, events: Sequence[Event], before_sunset: float) -> NDArray[np.bool_]:
    """Hours in which a cover lies: nights with air below COVER_BELOW and gusts it bears, off for events."""
    ends = weather["time"].values[1:]
    light = weather["surface_downwelling_shortwave_flux_in_air"].values[0, 1:]
    air, gust = (weather[name].values[0, 1:] for name in ("air_temperature", "wind_speed_of_gust"))
    dark = light < DARK
    starts = np.flatnonzero(np.diff(dark.astype(int), prepend=0) == 1)
    stops = np.flatnonzero(np.diff(dark.astype(int), append=0) == -1)
    ahead = int(np.ceil(before_sunset / 3600.0))
    down = np.zeros(ends.size, dtype=bool)
    for first, last in zip(starts, stops, strict=True):
        night = slice(max(first - ahead, 0), min(last + 2, ends.size))  # an hour of light before it is lifted
        cold = air[first : last + 1].min() < COVER_BELOW
        if cold and gust[night][0] <= sheet.gust_stop and gust[night].max() <= sheet.gust_remove:
            down[night] = True
    return down & ~inside(ends, events, OFF_BEFORE * HOUR, ON_AFTER * HOUR)
