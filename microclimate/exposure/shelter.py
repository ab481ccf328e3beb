"""How much of the outside wind reaches each patch, by direction: the horizon-angle shelter factor.

What a patch sees of the crest of the stands at each azimuth, as the ratio x = distance / height, says how exposed it
is to wind from there. One formula covers closed bowls, gaps, horseshoes and two open ends. The shape is held against
published windbreak curves; the sizes of the parameters are priors, to be narrowed by readings (`learn.calibrate`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from microclimate.physics.turbulence import wind_at_height

Array = NDArray[np.float64]

DIRECTIONS = np.arange(0.0, 360.0, 5.0)  # [degree] where the wind comes from, 72 of them

EXPONENT = 1.6  # of the recovery behind a crest: fits .40/.70/1.0/1.0 at 3/9/15/30 heights
FAR_WALL_REACH = 3.0  # [heights] upwind effect of a wall reaches 2 to 5 heights
TURBULENCE_OPEN, TURBULENCE_SHELTERED = 0.2, 0.5  # [1] intensity over open ground and behind a crest; ours, no source

SURFACE_ROUGHNESS = 0.01  # [m] short grass: 0.77 of the 10 m wind at 2 m (FAO-56 equation 47 has 0.748)
FORECAST_ROUGHNESS = 0.03  # [m] open country, for which forecasts and airfields give the 10 m wind (WMO-No. 8)
BLENDING_HEIGHT = 60.0  # [m] where wind over different ground is alike (from memory: station exposure correction)
PATCH_HEIGHT = 2.0  # [m] at which the sheltered wind over a patch is given


@dataclass(frozen=True)
class Wind:
    """Parameters of the shelter factor, best values before any reading."""

    least: float = 0.25  # [1] left in full shelter, 0.10 to 0.45: solid fences, canyons, clearings
    reach: float = 10.0  # heights behind a crest at which the wind is back, 6 to 16: windbreaks
    dead_end: float = 0.6  # [1] of the wind blown into a bowl closed at the far side, 0.4 to 0.8; ours, no source


WIND_SPREAD = np.array([0.45, 0.30, 0.6])  # [1] one standard deviation of each on the scale of `position`

FAN = 20.0  # [degree] half-width of the upwind fan; 10 to 35 change little; ours, no source
FAR_WALL = 0.3  # [1] slowing in front of the far wall, 0 to 0.5; size ours, no source
FLOOR = 0.2  # [m s-1] drainage and eddies on calm nights, 0.1 to 0.4: flow in shallow gullies
ZONE_SPREAD = 0.30  # [1] log error of a whole zone; ours, no source
DIRECTION_SPREAD = 0.25  # [1] log error of one zone and direction; ours, no source
DIRECTION_REACH = 30.0  # [degree] over which that error is alike


def position(wind: Wind) -> Array:
    """The parameters on the scale where the prior is a normal distribution (3,)."""
    return np.array([np.log(wind.least), np.log(wind.reach), np.log(wind.dead_end / (1.0 - wind.dead_end))])


def at(position: ArrayLike) -> Wind:
    """The inverse of `position`."""
    least, reach, dead_end = np.asarray(position, float)
    return Wind(float(np.exp(least)), float(np.exp(reach)), float(1.0 / (1.0 + np.exp(-dead_end))))


def exposure(ratio: ArrayLike, reach: ArrayLike) -> Array:
    """Share of the outside wind that is back at `ratio` heights behind a crest [1].

    1 - exp(-(x / x0)^1.6); infinity (no crest) gives 1 exactly. Shape after published windbreak profiles.
    """
    with np.errstate(over="ignore"):
        return np.asarray(1.0 - np.exp(-((np.asarray(ratio, float) / reach) ** EXPONENT)))


def factor(distance: ArrayLike, height: ArrayLike, wind: Wind = Wind(), directions: Array = DIRECTIONS) -> Array:
    """Shelter factor: wind over a point as a share of what open ground would have at the same height.

    Parameters
    ----------
    distance, height : array (point, azimuth)
        Horizontal distance and height [m] of the crest above the point at equally spaced compass azimuths from north;
        height 0 (or distance infinite) where the bowl is open.
    wind : Wind
    directions : array (direction,)
        Where the wind comes from [degree].

    Returns
    -------
    array (point, direction)
        From least * (1 - FAR_WALL) to 1, which it is exactly where there is no crest.
    """
    ratio = _ratio(distance, height)
    damping = (FAR_WALL * np.exp(-ratio / FAR_WALL_REACH)) @ _fan(ratio.shape[-1], directions + 180.0)
    return np.asarray((wind.least + (1.0 - wind.least) * _through(ratio, wind, directions)) * (1.0 - damping))


def outside_share(distance: ArrayLike, height: ArrayLike, wind: Wind = Wind(), directions: Array = DIRECTIONS) -> Array:
    """How much of the air over a point is outside air blown straight in, by direction (point, direction) [1]."""
    return _through(_ratio(distance, height), wind, directions)


def _ratio(distance: ArrayLike, height: ArrayLike) -> Array:
    """Distance in heights of the crest; infinite where there is none."""
    away, tall = np.asarray(distance, float), np.asarray(height, float)
    return np.asarray(np.divide(away, tall, out=np.full(away.shape, np.inf), where=tall > 0.0))


def _through(ratio: Array, wind: Wind, directions: Array) -> Array:
    """Exposure upwind, less what a closed far side stops (point, direction) [1]."""
    open_share: Array = exposure(ratio, wind.reach)
    into = open_share @ _fan(ratio.shape[-1], directions)
    out = open_share @ _fan(ratio.shape[-1], directions + 180.0)
    return np.asarray(into * (wind.dead_end + (1.0 - wind.dead_end) * out))


def _fan(count: int, directions: Array) -> Array:
    """Weights (azimuth, direction) of a Gaussian fan about each direction; columns sum to 1."""
    azimuths = np.arange(count) * 360.0 / count
    apart = (azimuths[:, None] - directions[None, :] + 180.0) % 360.0 - 180.0
    weights = np.exp(-0.5 * (apart / FAN) ** 2)
    return np.asarray(weights / weights.sum(axis=0))


def lookup(table: Array, direction: ArrayLike) -> Array:
    """Read a table (..., 72) at directions [degree], linear and circular; unknown direction gives the mean of all.

    Parameters
    ----------
    table : array (realization, patch, direction)
    direction : array (realization, time)
        NaN where it is not known.

    Returns
    -------
    array (realization, patch, time)
    """
    angle = np.asarray(direction, float)
    known = np.isfinite(angle)
    position = np.where(known, angle, 0.0) % 360.0 / 360.0 * table.shape[-1]
    low = np.floor(position).astype(int) % table.shape[-1]
    share = (position - np.floor(position))[:, None, :]
    member = np.arange(table.shape[0])[:, None]
    first = np.swapaxes(table[member, :, low], 1, 2)
    second = np.swapaxes(table[member, :, (low + 1) % table.shape[-1]], 1, 2)
    between = first + share * (second - first)
    return np.asarray(np.where(known[:, None, :], between, table.mean(axis=-1)[:, :, None]))


def site_wind(speed: ArrayLike, height: float, roughness: float) -> Array:
    """Forecast wind at `height` over open country carried to 10 m over the site's surroundings [m s-1].

    Up the log profile to 60 m over open country and down again over the site's own roughness length [m].
    """
    above = wind_at_height(np.asarray(speed), height, BLENDING_HEIGHT, FORECAST_ROUGHNESS)
    return np.asarray(wind_at_height(above, BLENDING_HEIGHT, 10.0, roughness))


def to_patch_height() -> float:
    """Ratio of the wind at 2 m to that at 10 m over short grass by the log profile [1]."""
    return float(wind_at_height(1.0, 10.0, PATCH_HEIGHT, SURFACE_ROUGHNESS))


def gust_ratio(shelter: ArrayLike, outside_ratio: ArrayLike) -> Array:
    """Gust over mean wind behind the stands [1] from that outside: the sheltered air is more turbulent.

    The excess grows with turbulence intensity, from 0.2 in the open to 0.5 in full shelter (ours, no source); the
    caller keeps the gust below the unsheltered one.
    """
    intensity: Array = TURBULENCE_OPEN + (TURBULENCE_SHELTERED - TURBULENCE_OPEN) * np.clip(
        1.0 - np.asarray(shelter), 0, 1
    )
    return np.asarray(1.0 + (np.asarray(outside_ratio) - 1.0) * intensity / TURBULENCE_OPEN)


def misfit_spread(table: Array) -> Array:
    """Prior log error of a table (patch, direction): whole where the factor is below 0.5, none in the open."""
    return np.asarray(np.hypot(ZONE_SPREAD, DIRECTION_SPREAD) * np.clip(2.0 * (1.0 - table), 0.0, 1.0))


def draws(table: Array, zone_index: NDArray[np.int64], rng: np.random.Generator, spread: Array | None = None) -> Array:
    """One drawn misfit of the table (patch, direction), alike within a zone: its own error and one by direction.

    spread (patch, direction): log error; the prior's when not given.
    """
    zones = int(zone_index.max()) + 1
    apart = (DIRECTIONS[:, None] - DIRECTIONS[None, :] + 180.0) % 360.0 - 180.0
    root = np.linalg.cholesky(np.exp(-0.5 * (apart / DIRECTION_REACH) ** 2) + 1e-6 * np.eye(apart.shape[0]))
    misfit = ZONE_SPREAD * rng.standard_normal((zones, 1))
    misfit = misfit + DIRECTION_SPREAD * rng.standard_normal((zones, apart.shape[0])) @ root.T
    misfit = misfit / np.hypot(ZONE_SPREAD, DIRECTION_SPREAD)
    return np.asarray(table * np.exp(misfit[zone_index] * (misfit_spread(table) if spread is None else spread)))


def round_the_compass(values: ArrayLike) -> Array:
    """Values at even directions from north (..., direction) read at `DIRECTIONS` (..., 72)."""
    known = np.asarray(values, float)
    at = np.arange(known.shape[-1]) * 360.0 / known.shape[-1]
    return np.apply_along_axis(lambda row: np.interp(DIRECTIONS, at, row, period=360.0), -1, known)
