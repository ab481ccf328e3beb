"""The air in the bowl: a ventilated box of one temperature and humidity, solved together with stands and floor.

Air enters through the open top from crest level, and through gaps from outside; a cold pool under warmer air shuts the
top (bulk Richardson number). Everything is implicit; two passes a step. The box closes its budgets of heat and moisture
to rounding at any step. One box belongs to a venue and a realization, not to zones.

Sources of the pieces are beside them; the sizes of the parameters are priors with wide spreads, to be narrowed by
thermometer readings inside and outside (`learn.calibrate`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.column.jit import over_threads
from microclimate.exposure.box import BUDGET, march
from microclimate.exposure.shelter import DIRECTIONS
from microclimate.exposure.stands import Surfaces
from microclimate.physics.elementwise import Value, formula

Array = NDArray[np.float64]

PASSES = 2
LOWEST = 1.0  # [m] of a crest that holds air back; ours


@dataclass(frozen=True)
class Air:
    """Parameters of the exchange between bowl and outside, best values before any reading."""

    top: float = 0.015  # [1] entrainment per wind: 0.029 fits open pits (EPA 1993), 0.002 a street canyon
    richardson: float = 0.4  # at which the top is half shut: canyons stall at 0.4 to 0.8, pools mix below 1
    shut: float = 0.12  # [1] what still passes when it is shut; ours, with `calm` so that the coldest twentieth of the
    calm: float = 0.002  # [m s-1] prior lies 4 to 5 K under the air outside, as published for shallow depressions
    plume: float = 0.055  # [1] of warm air through an opening above (J. Heat Transfer 110, 1988; number from memory)
    gap: float = 0.2  # [1] share of the wind on a gap that flows through (weir and door flow, from memory)
    drain: float = 0.4  # [1] discharge of cold air at a gap (the same)
    inversion: float = 2.0  # [K] crest air over 2 m air on a calm clear night; ours, 0 to 4
    seats: float = 1.0  # [1] factor on the heat exchange of stands: formulas scatter by x/ 1.4
    seat_wind: float = 0.35  # [1] of the 10 m wind at the seats, 0.2 to 0.6; ours, no source


AIR_NAMES = tuple(Air.__dataclass_fields__)
# one standard deviation of the logarithm of each
AIR_SPREAD = np.log([2.2, 1.7, 1.8, 2.0, 1.6, 1.5, 1.5, 2.0, 1.4, 1.6])


@dataclass(frozen=True)
class Box:
    """Size of the bowl's air."""

    volume: float  # [m3]
    top: float  # [m2] opening above, without roofs
    height: float  # [m] of the crest over the field, mean
    gap_width: float  # [m] of all openings at field level
    gap_area: Array  # (direction,) [m2] of openings as the wind from there sees them


@dataclass(frozen=True)
class Outside:
    """What drives the box, (realization, time) unless said otherwise."""

    temperature: Array  # [K] at 2 m
    rim_excess: Array  # [1] crest air over the air at 2 m, per kelvin of the inversion (`rim_excess`)
    humidity: Array  # [kg kg-1]
    pressure: Array  # [Pa]
    wind: Array  # [m s-1] at 10 m over the site
    floor_wind: Array  # [m s-1] at 2 m over the floor
    gap_area: Array  # [m2] facing the wind
    sky: Array  # [W m-2] longwave of the open sky
    low_sky: Array  # [W m-2] slope towards the horizon
    absorbed: Array  # (realization, surface, time) [W m-2] sunlight
    field_heat: Array  # [W] of the heated or covered field beyond the floor's, into the air
    field_vapour: Array  # [kg s-1] the same


@dataclass(frozen=True)
class Inside:
    """The air and the surfaces of the bowl at the END of each step."""

    temperature: Array  # (realization, time) [K]
    humidity: Array  # [kg kg-1]
    shut: Array  # [1] factor F of the top, 1 open
    surfaces: Array  # (realization, surface, time) [K]
    film: Array  # (realization, surface, time) [kg m-2] dew and frost
    received: Array  # (realization, surface, time) [W m-2] longwave on each surface
    budget: Array  # (realization, time, 8): heat [W] stored, surfaces, exchanged, fog; vapour [kg s-1] the same


@formula
def rim_excess(wind: Value, loss: Value, since_sunset: Value) -> Value:
    """Crest air over 2 m air at night, per kelvin of `Air.inversion` [1]: exp(-(U/2.5)^2) (1 - exp(-t/1.5 h)) loss/80.

    `loss` net longwave of a black body at air temperature [W m-2], 80 on a clear night; `since_sunset` [s], 0 by day.
    Without the loss an overcast night would make an inversion. Shape and sizes ours, no source.
    """
    clear = np.minimum(np.maximum(loss / 80.0, 0.0), 1.25)
    ratio = wind / 2.5
    return np.exp(-ratio * ratio) * (1.0 - np.exp(-since_sunset / 5400.0)) * clear


def run(
    step: float,
    box: Box,
    surfaces: Surfaces,
    outside: Outside,
    air: NDArray[np.float64],
    *,
    start: tuple[Array, Array] | None = None,
    start_ground: Array | None = None,
    passes: int = PASSES,
    one_way: bool = False,
) -> Inside:
    """March the air, the stands and the floor of a bowl.

    Parameters
    ----------
    step : float
        [s]
    air : array (realization, parameter)
        In the order of `AIR_NAMES` (`table`).
    start : (realization,) temperature [K] and humidity, optional
        Of the bowl's air; else that outside.
    start_ground : array (realization,), optional
        [K] of all surfaces and layers; else the mean of the first 24 h of air outside.
    passes : int
        Two; more for tests of convergence.
    one_way : bool
        Surfaces see the air outside instead of the bowl's: wrong by kelvins in a calm, kept to show that.
    """
    count, times = outside.temperature.shape
    if start is None:
        start = outside.temperature[:, 0], outside.humidity[:, 0]
    if start_ground is None:
        start_ground = outside.temperature[:, : max(1, round(86400.0 / step))].mean(axis=1)
    air_shape, surface_shape = (count, times), (count, len(surfaces.area), times)
    made = Inside(
        temperature=np.zeros(air_shape),
        humidity=np.zeros(air_shape),
        shut=np.zeros(air_shape),
        surfaces=np.zeros(surface_shape),
        film=np.zeros(surface_shape),
        received=np.zeros(surface_shape),
        budget=np.zeros((*air_shape, BUDGET)),
    )
    over_threads(
        march,
        count,
        float(step),
        passes,
        np.ascontiguousarray(air, float),
        np.array([box.volume, box.top, box.height, box.gap_width]),
        np.stack([np.broadcast_to(getattr(outside, name), (count, times)) for name in OUTSIDE]),
        np.ascontiguousarray(outside.absorbed),
        np.ascontiguousarray(surfaces.seen),
        np.stack([getattr(surfaces, name) for name in SURFACE]),
        surfaces.layer_capacity,
        surfaces.layer_conductance,
        np.stack(start, axis=1),
        start_ground,
        one_way,
        *(getattr(made, name) for name in Inside.__dataclass_fields__),
    )
    return made


OUTSIDE = (
    "temperature",
    "rim_excess",
    "humidity",
    "pressure",
    "wind",
    "floor_wind",
    "gap_area",
    "sky",
    "low_sky",
    "field_heat",
    "field_vapour",
)
SURFACE = (
    "area",
    "emissivity",
    "sky",
    "low_sky",
    "roofs",
    "capacity",
    "bed",
    "below_air",
    "deck",
    "floor",
    "windless",
    "resistance_day",
    "resistance_night",
)


FITTED = ("top", "shut", "plume", "seats")  # what thermometer readings tell; the others stay at their prior
TIED = {"shut": "calm"}  # moves with it


def table(
    realizations: int,
    air: Air = Air(),
    rng: list[np.random.Generator] | None = None,
    covariance: Array | None = None,
) -> Array:
    """Parameters (realization, parameter): the same for all, or drawn with one generator for each.

    covariance: of the logarithms of FITTED, when readings have narrowed them.
    """
    best = np.array([getattr(air, name) for name in AIR_NAMES])
    if rng is None:
        return np.tile(best, (realizations, 1))
    moves = np.stack([AIR_SPREAD * g.standard_normal(len(best)) for g in rng])
    if covariance is not None:
        at = [AIR_NAMES.index(name) for name in FITTED]
        moves[:, at] = (moves[:, at] / AIR_SPREAD[at]) @ np.linalg.cholesky(covariance).T
        for name, other in TIED.items():
            moves[:, AIR_NAMES.index(other)] = moves[:, AIR_NAMES.index(name)]
    drawn = best * np.exp(moves)
    drawn[:, AIR_NAMES.index("shut")] = np.minimum(drawn[:, AIR_NAMES.index("shut")], 1.0)
    drawn[:, AIR_NAMES.index("inversion")] = [air.inversion / 2.0 * g.gamma(2.0) for g in rng]  # one for each night
    return np.asarray(drawn)


def box(distance: Array, height: Array, floor_area: float, roof_area: float) -> Box:
    """Size of the air in a bowl from the rose of its crest.

    Parameters
    ----------
    distance, height : array (azimuth,)
        Of the crest from the middle of the field, equally spaced from north [m]; height 0 where the bowl is open.
    floor_area, roof_area : float
        Of field and apron, and of roofs in plan [m2].

    Returns
    -------
    Box
        A frustum between floor and crest; where the crest is below its mean height there is a gap.
    """
    count = len(height)
    angle = np.arange(count) * 2.0 * np.pi / count
    closed = height > LOWEST
    away = np.interp(angle, angle[closed], distance[closed], period=2.0 * np.pi)
    arc = away * 2.0 * np.pi / count
    mean = float(np.average(height[closed], weights=arc[closed]))
    plan = max(0.5 * float((away * arc).sum()), floor_area)
    missing = arc * np.clip(mean - height, 0.0, None)
    facing = np.abs(np.cos(angle[:, None] - np.radians(DIRECTIONS)[None, :]))
    return Box(
        volume=mean / 3.0 * (floor_area + plan + float(np.sqrt(floor_area * plan))),
        top=max(plan - roof_area, 0.1 * plan),
        height=mean,
        gap_width=float(arc[~closed].sum()),
        gap_area=missing @ facing,
    )


def since_sunset(up: NDArray[np.bool_], step: float) -> Array:
    """Time since the sun went down [s], 0 while it is up; a series that begins at night began it 6 h before."""
    at = np.arange(len(up))
    last = np.maximum.accumulate(np.where(up, at, -round(6 * 3600.0 / step)))
    return np.asarray((at - last) * step, float)
