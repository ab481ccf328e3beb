"""What readings have taught of wind and air in the bowl, as the forcing applies it; the prior where there are none."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.exposure import air, shelter
from microclimate.venue.described import Venue

Array = NDArray[np.float64]


@dataclass(frozen=True)
class WindKnown:
    """Parameters of the shelter factor, their spread, and what goes on top of them by patch and direction."""

    position: Array  # (3,) on the scale of `shelter.position`
    root: Array  # (3, 3) of their covariance
    times: Array  # (patch, direction) factor [1]
    spread: Array | None  # (patch, direction) log error left; None: the prior's


def wind_known(venue: Venue, zone_index: NDArray[np.int64]) -> WindKnown:
    """What is known of the wind over each patch."""
    learned = venue.calibration
    names = [zone.name for zone in venue.field.zones]
    by_hand = learned.wind_factor * np.array([learned.zone_wind_factor.get(name, 1.0) for name in names])
    times = np.repeat(by_hand[:, None], len(shelter.DIRECTIONS), axis=1)
    if learned.wind is None:
        root = np.diag(shelter.WIND_SPREAD)
        return WindKnown(shelter.position(shelter.Wind()), root, times[zone_index], None)
    wind = learned.wind
    nothing = (0.0,)
    offset = np.stack([shelter.round_the_compass(wind.offset.get(name, nothing)) for name in names])
    unread = (float(np.hypot(shelter.ZONE_SPREAD, shelter.DIRECTION_SPREAD)),)
    spread = np.stack([shelter.round_the_compass(wind.spread.get(name, unread)) for name in names])
    position = shelter.position(shelter.Wind(wind.least, wind.reach, wind.dead_end))
    root = np.asarray(np.linalg.cholesky(np.reshape(wind.covariance, (3, 3)) + 1e-12 * np.eye(3)))
    return WindKnown(position, root, (times * np.exp(offset))[zone_index], spread[zone_index])


def air_known(
    venue: Venue, rngs: list[np.random.Generator] | None
) -> tuple[air.Air, list[np.random.Generator] | None, Array | None]:
    """Arguments of `air.table`: best values, the generators, and the covariance of what was fitted."""
    learned = venue.calibration.air
    if learned is None:
        return air.Air(), rngs, None
    best = air.Air(
        top=learned.top, shut=learned.shut, calm=learned.calm, plume=learned.plume, seats=learned.seats
    )  # fmt: skip
    count = len(air.FITTED)
    return best, rngs, np.reshape(learned.covariance, (count, count))
