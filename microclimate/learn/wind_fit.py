"""The shelter factor of a venue from anemometer readings: three parameters, and what they leave over by zone and wind.

The logarithm of a reading's ratio is the model's, a misfit of its zone and direction (a Gaussian process with a prior),
an error that all points of one visit share, and its own noise. Parameters by least squares with priors, the misfit by
the usual conditional. No reading returns the prior; a thousand of one visit do not beat that visit's own error.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, cholesky, solve_triangular
from scipy.optimize import least_squares

from microclimate.exposure import shelter

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

VISIT = 0.12  # [1] log error of the reference that all points of a visit share; ours, no source
LONG, LONG_MAST = 8.0, 20.0  # [s] integral time of turbulence in the bowl and at a mast; ours, no source
INSTRUMENT, STARTING = 0.05, 0.04  # [1] of a hot wire, [m s-1] its error near zero (AIVC conference 1991)
FORECAST = 0.35  # [1] log error of a forecast as reference in place of a mast; ours, no source
CENSORED = 0.15  # [m s-1] below which a hot wire tells only "below"
AIM = 0.20  # [1] mean log error to read on for: what four visits to six points reach, and all that freezing asks for
MOST_VISITS = 12  # that are counted ahead; a dozen takes the error to some 14 %
STEP = 1e-4  # of finite differences


@dataclass(frozen=True)
class WindData:
    """Readings as the fit takes them; arrays (reading,) and the crest's rose at each point (reading, azimuth)."""

    ratio: Array  # [1] wind at its height over that of open ground at that height
    noise: Array  # [1] one standard deviation of the logarithm
    zone: Ints
    direction: Array  # [degree], NaN unknown
    visit: Ints
    distance: Array  # [m]
    height: Array  # [m]

    def take(self, rows: NDArray[np.bool_] | Ints) -> "WindData":
        """Some of the readings."""
        return WindData(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class WindFit:
    """What is known of the wind in a bowl; zones x `angles` [degree]; logarithms of the factor and their spread."""

    wind: shelter.Wind
    covariance: Array  # (3, 3) of `shelter.position`
    angles: Array
    mean: Array
    spread: Array
    prior_mean: Array
    prior_spread: Array
    offset: Array  # what is left of the mean beyond the parameters
    rest: Array  # what is left of the spread beyond theirs
    joint: Array  # posterior covariance of the flattened zone x angle
    outliers: Ints  # readings laid aside


def noise(wind: Array, minutes: Array, *, mast: bool) -> Array:
    """Log error of one reading [1]: sampling of gusts inside and at the mast, instrument, and the wire near zero.

    sqrt(2 I^2 tau / T + ...) with I 0.5 inside and 0.2 at the mast: J. Atmos. Oceanic Technol. 11 (1994) 661, form;
    sizes ours. A forecast in the mast's place adds 0.35.
    """
    seconds = 60.0 * np.asarray(minutes, float)
    inside = 2.0 * shelter.TURBULENCE_SHELTERED**2 * LONG / seconds
    reference = 2.0 * shelter.TURBULENCE_OPEN**2 * LONG_MAST / seconds
    wire = (STARTING / np.maximum(wind, STARTING)) ** 2
    return np.asarray(np.sqrt(inside + reference + INSTRUMENT**2 + wire + (0.0 if mast else FORECAST**2)))


def fit(data: WindData, rose: list[tuple[Array, Array]], angles: Array) -> WindFit:
    """Fit the shelter factor.

    Parameters
    ----------
    data : WindData
        May be empty.
    rose : list
        For each zone the crest's distance and height at some of its cells, (cell, azimuth) each [m].
    angles : array (angle,)
        Directions of the answer [degree].
    """
    used = np.arange(len(data.ratio))
    result = _once(data, rose, angles)
    for _ in range(3):
        wrong = np.abs(_standard_residuals(data.take(used), result)) > 4.0
        if not wrong.any():
            break
        used = used[~wrong]
        result = _once(data.take(used), rose, angles)
    outliers = np.setdiff1d(np.arange(len(data.ratio)), used)
    return WindFit(**{**result.__dict__, "outliers": outliers})


def _model(position: Array, data: WindData) -> Array:
    """Logarithm of the factor at each reading; the mean over directions where it is not known."""
    table = shelter.factor(data.distance, data.height, shelter.at(position))
    return np.asarray(np.log(_read(table, data.direction)))


def _read(table: Array, direction: Array) -> Array:
    """Rows of (point, 72) at one direction each."""
    return shelter.lookup(table[:, None, :], direction[:, None])[:, 0, 0]


def grid(position: Array, rose: list[tuple[Array, Array]], angles: Array) -> Array:
    """Logarithm of the factor by zone and angle (zone, angle)."""
    wind = shelter.at(position)
    return np.log([shelter.factor(d, h, wind, angles).mean(axis=0) for d, h in rose])


def _slopes(function, position: Array) -> Array:  # type: ignore[no-untyped-def]
    base = function(position)
    return np.stack([(function(position + STEP * e) - base) / STEP for e in np.eye(3)], axis=-1)


def misfit_scale(logarithm: Array) -> Array:
    """Share of the prior misfit that applies [1]: whole below a factor of 0.5, none in the open."""
    return np.clip(2.0 * (1.0 - np.exp(logarithm)), 0.0, 1.0)


def _kernel(zone_a: Ints, angle_a: Array, scale_a: Array, zone_b: Ints, angle_b: Array, scale_b: Array) -> Array:
    """Prior covariance of the misfit between two lists of zone and direction."""
    apart = (angle_a[:, None] - angle_b[None, :] + 180.0) % 360.0 - 180.0
    near = np.exp(-0.5 * (apart / shelter.DIRECTION_REACH) ** 2)
    near = np.where(np.isfinite(apart), near, 0.0)  # a reading without direction tells of its zone alone
    same = zone_a[:, None] == zone_b[None, :]
    value = shelter.ZONE_SPREAD**2 + shelter.DIRECTION_SPREAD**2 * near
    return np.asarray(same * value * scale_a[:, None] * scale_b[None, :])


def _once(data: WindData, rose: list[tuple[Array, Array]], angles: Array) -> WindFit:
    prior = shelter.position(shelter.Wind())
    zones = np.repeat(np.arange(len(rose)), len(angles))
    turned = np.tile(angles, len(rose))
    prior_mean = grid(prior, rose, angles).ravel()
    scale = misfit_scale(prior_mean)
    own = _kernel(zones, turned, scale, zones, turned, scale)
    slope = _slopes(lambda p: grid(p, rose, angles).ravel(), prior)
    prior_joint = own + slope * shelter.WIND_SPREAD**2 @ slope.T
    prior_spread = np.sqrt(np.diagonal(prior_joint))
    shape = (len(rose), len(angles))
    if len(data.ratio) == 0:
        position, covariance, offset, mean, joint = (
            prior,
            np.diag(shelter.WIND_SPREAD**2),
            0.0 * prior_mean,
            prior_mean,
            prior_joint,
        )
        spread, parameter_slope = prior_spread, slope
    else:
        logs = np.log(data.ratio)
        at = misfit_scale(_model(prior, data))
        cross = _kernel(zones, turned, scale, data.zone, data.direction, at)
        errors = _errors(data, at)
        lower = cholesky(errors, lower=True)

        def whitened(position: Array) -> Array:
            own_part = solve_triangular(lower, logs - _model(position, data), lower=True)
            return np.concatenate([own_part, (position - prior) / shelter.WIND_SPREAD])

        found = least_squares(whitened, prior, method="lm", xtol=1e-8)
        jacobian = np.asarray(found.jac, float)
        position, covariance = found.x, np.linalg.inv(jacobian.T @ jacobian)
        solve = cho_factor(errors, lower=True)
        gain = cho_solve(solve, cross.T).T
        offset = gain @ (logs - _model(position, data))
        model = grid(position, rose, angles).ravel()
        mean = model + offset
        parameter_slope = _slopes(lambda p: grid(p, rose, angles).ravel(), position)
        left = parameter_slope - gain @ _slopes(lambda p: _model(p, data), position)
        joint = own - gain @ cross.T + left @ covariance @ left.T
        # knowledge is never lost by a reading, and never beats the error that a visit's readings share
        visits = len(np.unique(data.visit))
        spread = np.sqrt(np.clip(np.diagonal(joint), 0.0, None))
        spread = np.minimum(np.maximum(spread, VISIT / np.sqrt(visits)), prior_spread)
    by_parameters = np.einsum("ni,ij,nj->n", parameter_slope, covariance, parameter_slope)
    rest = np.sqrt(np.clip(spread**2 - by_parameters, 0.0, None))
    return WindFit(
        wind=shelter.at(position),
        covariance=covariance,
        angles=angles,
        mean=mean.reshape(shape),
        spread=spread.reshape(shape),
        prior_mean=prior_mean.reshape(shape),
        prior_spread=prior_spread.reshape(shape),
        offset=offset.reshape(shape),
        rest=rest.reshape(shape),
        joint=joint,
        outliers=np.zeros(0, np.int64),
    )


def _errors(data: WindData, scale: Array) -> Array:
    """Prior covariance of the readings about the model: misfit, visit and noise."""
    same_visit = data.visit[:, None] == data.visit[None, :]
    unknown = ~np.isfinite(data.direction)
    extra = np.where(unknown, shelter.DIRECTION_SPREAD**2 * scale**2 + 0.3**2, 0.0)
    misfit = _kernel(data.zone, data.direction, scale, data.zone, data.direction, scale)
    return np.asarray(misfit + VISIT**2 * same_visit + np.diag(data.noise**2 + extra))


def _standard_residuals(data: WindData, result: WindFit) -> Array:
    """Readings less what is now believed, over the spread of both."""
    if len(data.ratio) == 0:
        return np.zeros(0)
    column = np.round(np.nan_to_num(data.direction) / 360.0 * len(result.angles)).astype(int) % len(result.angles)
    believed, spread = result.mean[data.zone, column], result.spread[data.zone, column]
    return np.asarray((np.log(data.ratio) - believed) / np.sqrt(spread**2 + data.noise**2 + VISIT**2))


def next_visits(result: WindFit, count: int = 3, error: float = 0.25) -> list[tuple[float, float]]:
    """Wind directions [degree] in which a visit to all zones would help most, and the mean spread after each [1]."""
    joint = result.joint.copy()
    zones, angles = result.mean.shape
    chosen = []
    for _ in range(count):
        tries = []
        for k in range(angles):
            at = np.arange(zones) * angles + k
            inner = joint[np.ix_(at, at)] + np.diag(np.full(zones, error**2)) + VISIT**2
            tries.append(joint - joint[:, at] @ np.linalg.solve(inner, joint[at]))
        spreads = [float(np.sqrt(np.clip(np.diagonal(j), 0.0, None)).mean()) for j in tries]
        best = int(np.argmin(spreads))
        joint = tries[best]
        chosen.append((float(result.angles[best]), spreads[best]))
    return chosen


def visits_until(result: WindFit, aim: float = AIM) -> int | None:
    """How many more visits to all zones, each in the wind that helps most, until the mean spread is `aim` [1].

    None where `MOST_VISITS` do not reach it.
    """
    if float(result.spread.mean()) <= aim:
        return 0
    spreads = [spread for _, spread in next_visits(result, MOST_VISITS)]
    return next((count for count, spread in enumerate(spreads, start=1) if spread <= aim), None)
