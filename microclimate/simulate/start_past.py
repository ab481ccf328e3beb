"""The last weeks' weather, run through the same column for the start of the next run."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.simulate import start_water
from microclimate.simulate.run import final_states
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

SHORTEST = 24.0  # [h] less past weather than this says nothing of the ground (ours)
STALE = 24.0  # [h] it must reach this near to the start (ours)
_FIRST_DAYS = 3  # whose mean air temperature the upper ground has at the beginning (ours)
_UPPER = 0.3  # [m] depth to which it has (ours: a fortnight's wave damps with 0.4 m in moist ground)
_HOUR = 3600.0


@dataclass(frozen=True)
class Lived:
    """One realization of past forcing, up to the start."""

    forcing: xr.Dataset  # schema.FORCING, realization of length 1
    step: float  # [s]

    @property
    def start(self) -> np.datetime64:
        """Beginning of the first step (UTC)."""
        first: np.datetime64 = self.forcing["time"].values[0] - np.timedelta64(round(self.step * 1e9), "ns")
        return first

    @property
    def days(self) -> float:
        """Length [d]."""
        return self.step * self.forcing.sizes["time"] / 86400.0

    def run(self, venue: Venue, initial: xr.Dataset) -> xr.Dataset:
        """The states that `initial` comes to."""
        return final_states(venue, [self.forcing], initial)


def trimmed(past: Iterable[xr.Dataset], when: np.datetime64, begin: np.datetime64 | None) -> Lived | None:
    """The first realization of past forcing between `begin` and `when` without its gaps; None where it is of no use.

    A gap parts the past: what is after the last one counts.
    """
    block = next(iter(past), None)
    if block is None:
        return None
    block = block.isel(realization=slice(0, 1))
    time = block["time"].values
    chosen = time <= when
    if begin is not None:
        chosen &= time > begin
    whole = np.isfinite(block["air_temperature"].values[0, 0]) & np.isfinite(block["wind_speed"].values[0, 0])
    whole &= np.isfinite(block["longwave_sky_down"].values[0, 0])
    broken = np.flatnonzero(chosen & ~whole)
    if broken.size:
        chosen &= np.arange(time.size) > broken[-1]
    if chosen.sum() < 2:
        return None
    step = float(np.diff(time[:2])[0] / np.timedelta64(1, "s"))
    hours = chosen.sum() * step / _HOUR
    last = time[chosen][-1]
    late = (when - last) / np.timedelta64(1, "h")
    if late > STALE or (begin is None and hours < SHORTEST):
        return None
    return Lived(block.isel(time=np.flatnonzero(chosen)), step)


def changes(
    ahead: Iterable[xr.Dataset], venue: Venue, first: xr.Dataset, when: np.datetime64, times: Iterable[np.datetime64]
) -> dict[np.datetime64, Array]:
    """What the ground does from `when` to some later times under the run's own first realization (patch, layer) [K].

    Times beyond the forcing or its first gap are left out.
    """
    block = next(iter(ahead), None)
    found: dict[np.datetime64, Array] = {}
    for time in sorted(set(times)):
        lived = None if block is None else trimmed([block], time, when)
        if lived is None or time - lived.forcing["time"].values[-1] > np.timedelta64(1, "h"):
            continue
        moved = lived.run(venue, first)["soil_temperature"].values[0] - first["soil_temperature"].values[0]
        found[time] = moved
    return found


def warmed(middle: xr.Dataset, depth: Array, lived: Lived) -> xr.Dataset:
    """The season's ground with its upper part drawn to the air of the first days of the past."""
    steps = min(lived.forcing.sizes["time"], int(_FIRST_DAYS * 86400.0 / lived.step))
    air = lived.forcing["air_temperature"].values[0, :, :steps].mean(axis=-1)  # (patch,)
    ground = middle["soil_temperature"].values
    drawn = ground + (air[:, None] - ground[0, :, :1]) * np.exp(-depth / _UPPER)
    return middle.assign(soil_temperature=(middle["soil_temperature"].dims, drawn))


def water(lived: Lived, depth: Array, drained: Array, porosity: Array, holds: NDArray[np.bool_]) -> Array:
    """Water content (patch, layer) at the end of the past, from its rain and sun; layers keep their shares."""
    count = max(1, round(_HOUR / lived.step))
    hours = lived.forcing.sizes["time"] // count

    def hourly(values: Array) -> Array:
        means: Array = values[0, :, : hours * count].reshape(values.shape[1], hours, count).mean(axis=-1)
        return means

    forcing = lived.forcing
    sun = sum(hourly(forcing[f"shortwave_{origin}_down"].values) for origin in ("sun", "sky", "stands"))
    rain = hourly(forcing["precipitation_flux"].values) - hourly(forcing["snowfall_flux"].values)
    dry = start_water.evaporation(
        np.asarray(sun), hourly(forcing["air_temperature"].values), hourly(forcing["surface_air_pressure"].values)
    )
    weight = holds / np.maximum(holds.sum(axis=-1, keepdims=True), 1)
    before, full = (weight * drained).sum(axis=-1), (weight * porosity).sum(axis=-1)
    after = start_water.bucket(rain, dry, count * lived.step, before, np.maximum(full, before))
    share = np.divide(after, before, out=np.ones_like(after), where=before > 0.0)
    wet: Array = np.where(holds, np.minimum(drained * share[:, None], porosity), drained)
    return wet
