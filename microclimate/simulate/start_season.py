"""The ground as the season would have it, for want of anything better: the yearly wave of ground temperature."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.physics import conduction
from microclimate.schema import Site
from microclimate.venue.ground import Base

Array = NDArray[np.float64]

SPREAD = 2.0  # [K] what the yearly wave does not know, one standard deviation (no source)

# Yearly mean, amplitude and coldest day of soil at 5 cm, fitted by us to the 39 stations of the United States climate
# reference network east of 97 W with a whole year of 2020 (daily product of NOAA NCEI, public domain), 33 to 48 N: the
# mean falls 0.79 K a degree of latitude (residual 1.0 K), amplitude 10.7 +- 1.2 K, coldest day 23 +- 4 January.
_INLAND = (ZERO_CELSIUS + 12.9, -0.79, 10.7)  # [K] at 40 degrees, [K per degree], [K]
_COLDEST_DAY = 23.4
# Europe and the Pacific coast of North America are warmer: about 17.5 degC at 40 degrees, 11.7 at 51, amplitude 8.5 K
# (from memory: Rome 16.5, Vienna 11, London 11.5, Stockholm 7.5 degC in the ground).
_MARITIME = (ZERO_CELSIUS + 17.5, -0.53, 8.5)
# [K/m] with height: inland the mountain stations of the same network lie 1 to 3 K/km below that line; the Alps and the
# coast ranges nearer to the free air's 6.5 (from memory)
_LAPSE_INLAND, _LAPSE_MARITIME = 2.0e-3, 6.0e-3
_YEAR = 365.25  # [d]


@dataclass(frozen=True)
class Wave:
    """Yearly wave of temperature under the surface."""

    mean: float  # [K]
    amplitude: float  # [K]
    coldest_day: float  # of the year


def wave(site: Site) -> Wave:
    """The yearly wave of a place, by latitude, height and side of the continent; good to about 2 K inland."""
    europe = -12.0 <= site.longitude <= 25.0 and site.latitude > 35.0
    pacific = -130.0 <= site.longitude <= -120.5 and site.latitude > 35.0
    at_forty, slope, amplitude = _MARITIME if europe or pacific else _INLAND
    lapse = _LAPSE_MARITIME if europe or pacific else _LAPSE_INLAND
    mean = at_forty + slope * (abs(site.latitude) - 40.0) - lapse * site.elevation
    coldest = _COLDEST_DAY + (0.0 if site.latitude >= 0.0 else 0.5 * _YEAR)
    return Wave(max(mean, ZERO_CELSIUS + 1.0), amplitude, coldest)


def deep_temperature(site: Site, base: Base) -> float:
    """Temperature far below [K]: the venue's own, else the yearly mean of the place."""
    return base.deep_temperature if base.deep_temperature is not None else wave(site).mean


def profile(site: Site, base: Base, depth: Array, diffusivity: float, when: np.datetime64) -> Array:
    """Ground temperature [K] at `depth` [m] (layer,) on the day of `when` (UTC).

    `diffusivity` [m2 s-1] of the ground. Source of the wave: Kusuda & Achenbach 1965 (`physics.conduction`).
    """
    yearly = wave(site)
    day = float((when - when.astype("datetime64[Y]")) / np.timedelta64(1, "D"))
    found: Array = conduction.ground_temperature(
        deep_temperature(site, base), yearly.amplitude, diffusivity, yearly.coldest_day, depth, day
    )
    return found
