"""The few numbers a site leaves uncertain, from night data: least squares with priors (MAP), intervals by Laplace.

Each sensor may be off by a little of its own; what the model misses is estimated from what is left, and widened where
one night's miss is like the next one's.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, least_squares

from microclimate.learn.nightdata import NightData

Array = NDArray[np.float64]
Model = Callable[[Mapping[str, float]], Array]  # factors by name -> what the model has for each number of the data


@dataclass(frozen=True)
class Parameter:
    """A number of `venue.calibration`, before any reading.

    A factor is 1 as described and its logarithm normal; what is added is 0 as described and normal itself. Fits work in
    spreads from there.
    """

    name: str
    spread: float  # [1] of the logarithm, or in the number's own unit
    added: bool = False

    def value(self, spreads: float) -> float:
        """The number so many prior spreads from what is described."""
        return float(self.spread * spreads if self.added else np.exp(self.spread * spreads))

    def spreads(self, value: float) -> float:
        """How many prior spreads a number lies from what is described."""
        return float((value if self.added else np.log(value)) / self.spread)


# canopy and floor: 1.5 and 2, from trials on measured lawns; the water of a root zone as described is within a third
# (ours), the conductivity of sand of known water within a fourth (scatter of measured sands about such formulas, from
# memory); clear-sky formulas spread 7 to 10 W m-2 among themselves (trials on measured nights)
PARAMETERS = (
    Parameter("canopy_conductance_factor", float(np.log(1.5))),
    Parameter("exchange_floor_factor", float(np.log(2.0))),
    Parameter("water_factor", float(np.log(1.35))),
    Parameter("conductivity_factor", float(np.log(1.25))),
    Parameter("longwave_offset", 8.0, added=True),
)
FACTORS = ("canopy_conductance_factor", "exchange_floor_factor", "water_factor")  # where water and longwave are unread
FARTHEST = 2.5  # prior spreads that a factor may move
STEP = 0.2  # prior spreads to either side of a finite difference: over less a run's thresholds feign steeper slopes
PROBE_OFFSET, SURFACE_OFFSET, ZEROED_OFFSET = (
    0.4,
    1.0,
    0.1,
)  # [K] a probe and its place, an infrared sensor, a zeroed one
MISSES = {True: 0.8, False: 0.3}  # [K] what a model misses of surface minima and of the ground, before any reading,
MISSES_SPREAD = 1.0  # [1] and how far its logarithm may be off (ours)
ROUNDS, NARROWED, ALIKE = 8, 3.0, 0.1  # what is missed is estimated anew so often, each time at most so much narrower
SETTLED = 0.3  # of the standard deviation that is left, along any direction: a smaller move has arrived
FLAT, MOST_TRIES = 3e-3, 4  # share of the squares that one more step is worth, and steps for one such estimate
SOUNDED = (-2.0, -1.0, 1.0, 2.0)  # standard deviations along the direction told least, where the run itself is asked
WIDEST = 4.0  # times its standard deviation that such a direction is widened at most (ours)
RESTARTS, BETTER = 2, 0.5  # from where a sounding found the readings told better, and by how much [1] of squares
TAILS = 4.0  # degrees of freedom of what is missed (ours)
Z90 = 1.6449


@dataclass(frozen=True)
class Fit:
    """What the data say."""

    names: tuple[str, ...]
    mean: Array  # in prior spreads from what is described
    covariance: Array
    offset: Array  # by sensor [K], beyond the zero check
    spread: Array  # by sensor and kind [K] of what is left, (2, sensor): ground, surface

    def factors(self) -> dict[str, float]:
        """Best values."""
        return {p.name: p.value(m) for p, m in zip(parameters(self.names), self.mean, strict=True)}

    def interval(self, name: str) -> tuple[float, float]:
        """Range that holds a number nine times in ten."""
        k = self.names.index(name)
        half = Z90 * float(np.sqrt(self.covariance[k, k]))
        found = parameters(self.names)[k]
        return found.value(self.mean[k] - half), found.value(self.mean[k] + half)

    def told(self, name: str) -> float:
        """Share of the prior's spread that is gone [0..1]."""
        k = self.names.index(name)
        return 1.0 - float(np.sqrt(self.covariance[k, k]))


def parameters(names: tuple[str, ...]) -> tuple[Parameter, ...]:
    """Some of `PARAMETERS`, by name."""
    known = {p.name: p for p in PARAMETERS}
    return tuple(known[name] for name in names)


def remembered(model: Model, names: tuple[str, ...]) -> Callable[[Array], Array]:
    """The model of numbers in prior spreads; what was once run is not run again."""
    known: dict[tuple[float, ...], Array] = {}
    found = parameters(names)

    def run(x: Array) -> Array:
        key = tuple(round(float(v), 6) for v in x)
        if key not in known:
            known[key] = model({p.name: p.value(v) for p, v in zip(found, key, strict=True)})
        return known[key]

    return run


def fit(data: NightData, run: Callable[[Array], Array], rows: NDArray[np.bool_], names: tuple[str, ...]) -> Fit:
    """Fit factors and offsets to some of the data.

    Parameters
    ----------
    data : NightData
    run : callable
        `remembered` model: numbers in prior spreads -> all numbers of `data`.
    rows : array of bool
        Which of them may be used.
    names : tuple of str
        Of `PARAMETERS`.
    """
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
    return Fit(names, x[:count], covariance, x[count:], spread)


def _settled(
    used: NightData, run: Callable[[Array], Array], rows: NDArray[np.bool_], before: Array, start: Array
) -> tuple[Array, Array, Array, Array]:
    """Best numbers and offsets from a start, the spread by kind and sensor, that of each number, and the slopes.

    What is missed is taken as large at first and narrowed step by step, so that the fit follows a bent valley to its
    lowest place instead of stopping in a fold beside it.
    """
    sensors = len(used.labels)
    count = len(start) - sensors
    own = (used.sensor[:, None] == np.arange(sensors)).astype(float)
    farthest = np.append(np.full(count, FARTHEST), np.full(sensors, np.inf))
    spread = np.array([[MISSES[bool(kind)]] * sensors for kind in (0, 1)])
    scale, jacobian, x = spread[used.surface.astype(int), used.sensor], np.eye(len(start)), start

    def missed(x: Array) -> Array:
        return np.asarray(used.observed - run(x[:count])[rows] - x[count:][used.sensor])

    for turn in range(ROUNDS):
        scale = spread[used.surface.astype(int), used.sensor]
        scale = scale * np.sqrt(_far(missed(x) / scale)) if turn else scale

        def residuals(x: Array, scale: Array = scale) -> Array:
            return np.concatenate([missed(x) / scale, x / before])

        def slopes(x: Array, scale: Array = scale) -> Array:
            steep = np.stack([_slope(run, x[:count], STEP * e)[rows] for e in np.eye(count)], axis=1)
            return np.vstack([np.hstack([-steep, -own]) / scale[:, None], np.diag(1.0 / before)])

        found = least_squares(
            residuals, x, jac=slopes, bounds=(-farthest, farthest), ftol=FLAT, xtol=1e-3, max_nfev=MOST_TRIES
        )
        moved, x, jacobian = found.x - x, np.asarray(found.x), np.asarray(found.jac)
        left = _left(used, missed(x), _leverage(jacobian, len(used.observed)))
        narrowed = np.maximum(left, spread / NARROWED)
        arrived = np.allclose(narrowed, spread, rtol=ALIKE) and moved @ (jacobian.T @ jacobian) @ moved < SETTLED**2
        spread = narrowed
        if arrived:
            break
    return x, spread, scale, jacobian


def _slope(run: Callable[[Array], Array], here: Array, step: Array) -> Array:
    return np.asarray((run(here + step) - run(here - step)) / (2.0 * STEP))


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
        if rise < -BETTER and (better is None or rise < better[0]):
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


def _leverage(jacobian: Array, count: int) -> Array:
    """Share of each of the first `count` rows that the fit takes up [0..1]: so much it does not tell of spread."""
    rows = jacobian[:count]
    return np.asarray(np.einsum("ij,jk,ik->i", rows, np.linalg.inv(jacobian.T @ jacobian), rows))


def _left(data: NightData, error: Array, leverage: Array) -> Array:
    """Spread of what is left by kind and sensor; wider where neighbours in time are alike, as they count less then."""
    sensors = len(data.labels)
    out = np.array([[MISSES[bool(kind)]] * sensors for kind in (0, 1)])
    for kind in (0, 1):
        for sensor in range(sensors):
            rows = np.flatnonzero((data.sensor == sensor) & (data.surface == bool(kind)))
            if not rows.size:
                continue
            rows = rows[np.argsort(data.night[rows], kind="stable")]
            e = error[rows]
            d = e - e.mean()  # what all nights share is the sensor's own, and no likeness of neighbours
            again = float(d[1:] @ d[:-1]) / float(d @ d) if e.size > 5 and float(d @ d) > 0.0 else 0.0
            again = float(np.clip(again, 0.0, 0.9))
            free = max(e.size - float(leverage[rows].sum()), 0.0)
            out[kind, sensor] = likely_spread(float(e @ e), free, MISSES[bool(kind)]) * np.sqrt(
                (1.0 + again) / (1.0 - again)
            )
    return out


def likely_spread(squares: float, free: float, before: float) -> float:
    """The likeliest standard deviation, its logarithm normal about that of `before` with `MISSES_SPREAD`.

    Zero of f S / s^2 - f - ln(s / before) / MISSES_SPREAD^2 with S = squares / f. A number of readings worth of the
    prior's own variance would never let it fall far below `before`, however good model and sensor are.

    Parameters
    ----------
    squares : float
        Sum of squares of what is left. [K2]
    free : float
        Degrees of freedom f of it. [1]
    before : float
        [K]
    """

    def slope(move: float) -> float:
        return squares * float(np.exp(-2.0 * move)) / before**2 - free - move / MISSES_SPREAD**2

    return before * float(np.exp(brentq(slope, -12.0, 12.0)))
