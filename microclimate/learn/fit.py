"""The few numbers a site leaves uncertain, from night data: least squares with priors (MAP), intervals by Laplace.

Each sensor may be off by a little of its own; what the model misses is estimated from what is left, and widened where
one night's miss is like the next one's.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from microclimate.learn.nightdata import NightData

Array = NDArray[np.float64]
Model = Callable[[Mapping[str, float]], Array]  # factors by name -> what the model has for each number of the data


@dataclass(frozen=True)
class Parameter:
    """A factor of `venue.calibration`: 1 as described, its logarithm normal before any reading."""

    name: str
    spread: float  # [1] of the logarithm


# balance_skill trials: 1.5 and 2; the water of a root zone as described is within a third (ours)
PARAMETERS = (
    Parameter("canopy_conductance_factor", float(np.log(1.5))),
    Parameter("exchange_floor_factor", float(np.log(2.0))),
    Parameter("water_factor", float(np.log(1.35))),
)
FARTHEST = 2.5  # prior spreads that a factor may move
STEP = 0.05  # prior spreads of a finite difference
PROBE_OFFSET, SURFACE_OFFSET, ZEROED_OFFSET = (
    0.4,
    1.0,
    0.1,
)  # [K] a probe and its place, an infrared sensor, a zeroed one
MISSES = {True: 0.8, False: 0.3}  # [K] what a model misses of surface minima and of the ground, before any reading,
MISSES_WEIGHT = 1.0  # and how many readings that is worth (ours)
ROUNDS, SPREADS = 8, 3  # runs are laid anew about the best point so often, and what is missed is estimated anew
NEARBY, SETTLED = 1.0, 0.03  # prior spreads that one round may move, and below which it has arrived
SOUNDED = (-2.0, -1.0, 1.0, 2.0)  # standard deviations along the direction told least, where the run itself is asked
WIDEST = 4.0  # times its standard deviation that such a direction is widened at most (ours)
RESTARTS = 2  # from where a sounding found the readings told better
TAILS = 4.0  # degrees of freedom of what is missed (ours)
Z90 = 1.6449


@dataclass(frozen=True)
class Fit:
    """What the data say."""

    names: tuple[str, ...]
    mean: Array  # logarithms of the factors
    covariance: Array
    prior: Array  # spreads before
    offset: Array  # by sensor [K], beyond the zero check
    spread: Array  # by sensor and kind [K] of what is left, (2, sensor): ground, surface

    def factors(self) -> dict[str, float]:
        """Best values."""
        return {name: float(np.exp(m)) for name, m in zip(self.names, self.mean, strict=True)}

    def interval(self, name: str) -> tuple[float, float]:
        """Range that holds a factor nine times in ten."""
        k = self.names.index(name)
        half = Z90 * float(np.sqrt(self.covariance[k, k]))
        return float(np.exp(self.mean[k] - half)), float(np.exp(self.mean[k] + half))

    def told(self, name: str) -> float:
        """Share of the prior's spread that is gone [0..1]."""
        k = self.names.index(name)
        return 1.0 - float(np.sqrt(self.covariance[k, k])) / float(self.prior[k])


def remembered(model: Model, names: tuple[str, ...], prior: Array) -> Callable[[Array], Array]:
    """The model of standardised logarithms; what was once run is not run again."""
    known: dict[tuple[float, ...], Array] = {}

    def run(x: Array) -> Array:
        key = tuple(round(float(v), 6) for v in x)
        if key not in known:
            known[key] = model({n: float(np.exp(v * s)) for n, v, s in zip(names, key, prior, strict=True)})
        return known[key]

    return run


def fit(data: NightData, run: Callable[[Array], Array], rows: NDArray[np.bool_], names: tuple[str, ...]) -> Fit:
    """Fit factors and offsets to some of the data.

    Parameters
    ----------
    data : NightData
    run : callable
        `remembered` model: standardised logarithms -> all numbers of `data`.
    rows : array of bool
        Which of them may be used.
    names : tuple of str
        Of `PARAMETERS`.
    """
    prior = np.array([p.spread for p in PARAMETERS if p.name in names])
    count, sensors = len(names), len(data.labels)
    used = data.take(rows)
    before = np.append(np.ones(count), _offset_spread(data))
    start = np.zeros(count + sensors)
    for _ in range(RESTARTS + 1):
        x, spread, scale, jacobian = _settled(used, run, rows, before, start)
        covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian), dtype=float)[:count, :count]
        covariance, better = _sounded(used, run, rows, before, x, scale, covariance)
        if better is None:
            break
        start = np.append(better, x[count:])
    mean = x[:count] * prior
    return Fit(names, mean, covariance * np.outer(prior, prior), prior, x[count:], spread)


def _settled(
    used: NightData, run: Callable[[Array], Array], rows: NDArray[np.bool_], before: Array, start: Array
) -> tuple[Array, Array, Array, Array]:
    """Best factors and offsets from a start, the spread by kind and sensor, that of each number, and the slopes."""
    sensors = len(used.labels)
    count = len(start) - sensors
    spread = np.array([[MISSES[bool(kind)]] * sensors for kind in (0, 1)])
    x = start.copy()
    farthest = np.append(np.full(count, FARTHEST), np.full(sensors, np.inf))
    jacobian, scale = np.eye(count + sensors), np.ones(len(used.observed))
    for _ in range(ROUNDS):
        here, base = x[:count].copy(), run(x[:count])[rows]
        steep = np.stack([(run(here + STEP * e)[rows] - base) / STEP for e in np.eye(count)], axis=1)
        own = (used.sensor[:, None] == np.arange(sensors)).astype(float)

        def told(x: Array, here: Array = here, base: Array = base, steep: Array = steep) -> Array:
            """The run near `here`, taken as a plane."""
            return np.asarray(base + steep @ (x[:count] - here) + x[count:][used.sensor])

        near = np.append(np.full(count, NEARBY), np.full(sensors, np.inf))
        middle = np.append(here, x[count:])
        low, high = np.maximum(middle - near, -farthest), np.minimum(middle + near, farthest)
        for _ in range(SPREADS):
            scale = spread[used.surface.astype(int), used.sensor]
            scale = scale * np.sqrt(_far((used.observed - told(x)) / scale))
            jacobian = np.vstack([np.hstack([-steep, -own]) / scale[:, None], np.diag(1.0 / before)])

            def residuals(x: Array, scale: Array = scale) -> Array:
                return np.concatenate([(used.observed - told(x)) / scale, x / before])

            def slopes(x: Array, known: Array = jacobian) -> Array:
                return known

            found = least_squares(residuals, np.clip(x, low, high), jac=slopes, bounds=(low, high))
            x = np.asarray(found.x)
            spread = _left(used, used.observed - told(x), sensors)
        if np.abs(x[:count] - here).max() < SETTLED:
            break
    return x, spread, scale, jacobian


def _sounded(
    used: NightData,
    run: Callable[[Array], Array],
    rows: NDArray[np.bool_],
    before: Array,
    x: Array,
    scale: Array,
    covariance: Array,
) -> tuple[Array, Array | None]:
    """The covariance of standardised factors as the run itself bears it out, and a better place if one was found.

    Two factors that undo each other leave a narrow valley that bends: along it a plane is steeper than the run. So the
    run is asked there, offsets fitted anew: where the sum of squares rises by less than a plane's, the direction is
    widened to match (a profile likelihood of one direction).
    """
    count = len(covariance)

    def cost(z: Array) -> float:
        left, weight = used.observed - run(z)[rows], 1.0 / scale**2
        total = float(z @ z)
        for sensor, wide in enumerate(before[count:]):
            mine = used.sensor == sensor
            precision = float(weight[mine].sum()) + 1.0 / wide**2
            offset = float((weight * left)[mine].sum()) / precision
            total += float((weight * (left - offset) ** 2)[mine].sum()) + (offset / wide) ** 2
        return total

    values, vectors = np.linalg.eigh(covariance)
    along = vectors[:, -1] * np.sqrt(values[-1])
    here, least = x[:count], cost(x[:count])
    rises, better = [], None
    for far in SOUNDED:
        place = here + far * along
        if np.abs(place).max() > FARTHEST:
            continue
        rise = cost(place) - least
        if rise < -1.0 and (better is None or rise < better[0]):
            better = rise, place
        rises.append((far**2, rise))
    flatter = sum(square * rise for square, rise in rises) / max(sum(square**2 for square, _ in rises), 1e-9)
    wider = float(np.clip(1.0 / max(flatter, 1e-9), 1.0, WIDEST**2)) if rises else 1.0
    widened = covariance + (wider - 1.0) * np.outer(along, along)
    return np.asarray(widened), None if better is None else np.asarray(better[1])


def _far(standard: Array) -> Array:
    """How much wider a number is taken that lies far from the run: Student's t of few degrees of freedom.

    A night of rime on a sensor, or of snow that the weather file does not know, must not pull the factors.
    """
    return np.asarray((TAILS + standard**2) / (TAILS + 1.0)).clip(min=1.0)


def _offset_spread(data: NightData) -> Array:
    """What each sensor may be off by [K]."""
    out = np.empty(len(data.labels))
    for k, known in enumerate(data.offset_known):
        surface = bool(data.surface[data.sensor == k].any())
        out[k] = PROBE_OFFSET if not surface else ZEROED_OFFSET if np.isfinite(known) else SURFACE_OFFSET
    return out


def _left(data: NightData, error: Array, sensors: int) -> Array:
    """Spread of what is left by kind and sensor; wider where neighbours in time are alike, as they count less then."""
    out = np.array([[MISSES[bool(kind)]] * sensors for kind in (0, 1)])
    for kind in (0, 1):
        for sensor in range(sensors):
            rows = np.flatnonzero((data.sensor == sensor) & (data.surface == bool(kind)))
            if not rows.size:
                continue
            rows = rows[np.argsort(data.night[rows], kind="stable")]
            e = error[rows]
            square = (MISSES_WEIGHT * MISSES[bool(kind)] ** 2 + float(e @ e)) / (MISSES_WEIGHT + e.size)
            again = float(e[1:] @ e[:-1]) / float(e @ e) if e.size > 5 and float(e @ e) > 0.0 else 0.0
            again = float(np.clip(again, 0.0, 0.9))
            out[kind, sensor] = np.sqrt(max(square, 1e-6) * (1.0 + again) / (1.0 - again))
    return out
