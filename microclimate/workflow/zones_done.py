"""What is done to the field in `zones`: lamps over it, heating that stops; covers stand in `zones_covers`."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.actions import plan as plans
from microclimate.exposure import force
from microclimate.physics import lamps
from microclimate.report.zones import Lit, Stopped
from microclimate.risk import zonal
from microclimate.simulate import run
from microclimate.venue.grass import Lamp
from microclimate.venue.load import Venue
from microclimate.workflow import zones_days
from microclimate.workflow.zones_run import LEAD, STEP, Case, Lived, within

FURTHEST = np.timedelta64(7, "D")  # that is looked ahead when heating stops; ours


# --- lamps ---------------------------------------------------------------------------------------------------------


def lamplit(venue: Venue) -> Callable[[xr.Dataset], xr.Dataset]:
    """What the venue's lamps add to the forcing: light and warmth that reach the leaf, told as warmth."""

    def added(block: xr.Dataset) -> xr.Dataset:
        local = pd.DatetimeIndex(block["time"].values, tz="UTC").tz_convert(ZoneInfo(venue.site.time_zone))
        hour = (local - pd.Timedelta(seconds=0.5 * STEP)).hour + local.minute / 60.0
        warmth = block["longwave_stands_down"].transpose("realization", "patch", "time").copy(deep=True)
        for lamp in venue.lamps:
            on = (np.asarray(hour, float) - lamp.from_hour) % 24.0 < lamp.hours / 3600.0
            under = np.isin(block["zone"].values, lamp.zones)
            warmth.values[:, under[:, None] & on] += lamp.heat
        return block.assign(longwave_stands_down=warmth)

    return added


def lamp_light(venue: Venue, cells: xr.Dataset) -> NDArray[np.float64]:
    """Light of each cell's day with the lamps over it [mol m-2]."""
    given = np.array([sum(_given(lamp) for lamp in venue.lamps if z.name in lamp.zones) for z in venue.field.zones])
    return np.asarray(cells["light_integral"].values + given[cells["zone"].values.astype(int)])


def _given(lamp: Lamp) -> float:
    return float(lamps.lamp_light(lamp.photon_flux, lamp.hours))


def lit(venue: Venue, light: xr.DataArray) -> tuple[Lit, ...]:
    """Each zone's daylight (zone) [mol m-2 d-1], what lamps give, its need, and lamp hours that would close the gap."""
    found = []
    strongest = max((lamp.photon_flux for lamp in venue.lamps), default=float("nan"))
    for zone in venue.field.zones:
        day, need = float(light.sel(zone=zone.name)), venue.species(zone.turf).light_min
        own = [lamp for lamp in venue.lamps if zone.name in lamp.zones]
        given = float(sum(map(_given, own)))
        flux = sum(lamp.photon_flux for lamp in own) or strongest
        hours = float(lamps.lamp_time(max(need - day, 0.0), flux)) / 3600.0
        found.append(Lit(zone.name, day, given, need, hours))
    return tuple(found)


# --- heating that stops --------------------------------------------------------------------------------------------


def heating(venue: Venue, begin: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """Every circuit at its own set point."""
    values: dict[str, list[float]] = {"heating_allowed": [], "set_point": [], "supply_temperature": []}
    for zone in venue.field.zones:
        circuit = None if zone.circuit is None else venue.equipment.circuit(zone.circuit)
        values["heating_allowed"].append(0.0 if circuit is None else 1.0)
        values["set_point"].append(277.15 if circuit is None else circuit.set_point)
        warm = None if circuit is None else circuit.supply_temperature
        values["supply_temperature"].append(plans.SUPPLY if warm is None else warm)
    return plans.constant(venue, begin, end, "heated", {name: np.array(row) for name, row in values.items()})


def stopped(
    case: Case, joined: xr.Dataset, weather: xr.Dataset, heated: Lived, off: np.datetime64
) -> tuple[Stopped, ...]:
    """How long each zone holds after heating stops at `off` (UTC): to the limit for play at 25 mm, to frost there, and
    to the crown temperature that kills half of a growing grass; NaN where it does not come in the
    week after, or in what the weather holds of it."""
    venue = case.venue
    stretch, ground = next((d, g) for d, g in heated.starts if d.edges[0] <= off <= d.edges[-1])
    whole = force.forcing(venue, weather, case.bowl, joined, STEP)
    begin = stretch.edges[0]
    if off > begin:
        before = whole.again(zones_days.part(weather, begin - LEAD, off))
        _, ground = run.through(venue, within(next(iter(before)), begin, off), ground, heating(venue, begin, off))
    end = min(off + FURTHEST, weather["time"].values[-1])
    after = within(next(iter(whole.again(zones_days.part(weather, off - LEAD, end)))), off, end)
    states, _ = run.through(venue, after, ground, plans.nothing(venue, off, end))
    soil = states["soil_temperature"].isel(realization=0, depth=0).transpose("patch", "time").values
    crown = states["crown_temperature"].isel(realization=0).transpose("patch", "time").values
    found = []
    for number, name in enumerate(zonal.names(joined)):
        own = joined["zone_index"].values.astype(int) == number
        zone = venue.field.zones[number]
        species = venue.species(zone.turf)
        hours = [
            _first(values[own].min(axis=0) < limit)
            for values, limit in (
                (soil, venue.limits.rootzone_min),
                (soil, 273.15),
                (crown, species.lt50_growing),
                (crown, species.lt50_hardened),
            )
        ]
        play, frost, growing, hardened = hours
        begun = float(soil[own, 0].min())
        ahead = float((end - off) / np.timedelta64(1, "h"))
        found.append(Stopped(name, begun, play, frost, growing, hardened, zone.circuit is not None, ahead))
    return tuple(found)


def _first(reached: NDArray[np.bool_]) -> float:
    """Hours to the first step that is reached."""
    return float((np.argmax(reached) + 1) * STEP / 3600.0) if reached.any() else float("nan")
