"""The exchange of the bowl's air from thermometers inside and outside, night by night.

Four parameters by least squares in their logarithms with priors; the inversion of each night is fitted with them and
not kept. Readings of one night share an error. Calm clear nights carry the information.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import least_squares

from microclimate.exposure import air
from microclimate.exposure.air import FITTED, TIED

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

READING = 0.4  # [K] of a difference read with one thermometer; ours, no source
NIGHT = 0.5  # [K] misfit that readings of one night share; ours, no source
SUNLIT = 2.0  # [K] of a thermometer in the sun without a fan: shields read 2 to 4 K high (Sensors 24, 2024:1564)
INVERSION_SPREAD = 0.7  # [1] log spread of a night's inversion, about that of a gamma distribution of shape 2
SIX = 6  # calm nights halve the prior's error: tried on invented bowls (tests)
MOST_NIGHTS = 12  # that are counted ahead; ours
STEP = 0.02  # of finite differences in the logarithm

Model = Callable[[Array], Array]  # parameters (night, parameter) -> bowl air less air outside (night, time) [K]


@dataclass(frozen=True)
class AirData:
    """Differences read, arrays (reading,)."""

    night: Ints  # number of the night (row of the model)
    at: Ints  # step of the night
    difference: Array  # [K] inside less outside
    error: Array  # [K] one standard deviation


@dataclass(frozen=True)
class AirFit:
    """Fitted parameters: values, and covariance of their logarithms in the order of FITTED."""

    air: air.Air
    covariance: Array
    prior_covariance: Array
    nights: int


def fit(data: AirData, model: Model, nights: int) -> AirFit:
    """Fit the exchange; without readings the prior comes back.

    Parameters
    ----------
    data : AirData
    model : callable
        Takes parameters (night, parameter) in the order of `air.AIR_NAMES`.
    nights : int
        Rows of the model.
    """
    spread = np.array([air.AIR_SPREAD[air.AIR_NAMES.index(name)] for name in FITTED])
    prior = np.concatenate([spread, np.full(nights, INVERSION_SPREAD)])
    if len(data.difference) == 0:
        return AirFit(air.Air(), np.diag(spread**2), np.diag(spread**2), 0)
    lower = cholesky(_errors(data), lower=True)

    def residuals(x: Array) -> Array:
        missed = data.difference - _read(model, x, nights, data)
        return np.concatenate([solve_triangular(lower, missed, lower=True), x / prior])

    def slopes(x: Array) -> Array:
        """The inversions of all nights are moved at once: each acts on its own night only."""
        base = _read(model, x, nights, data)
        columns = np.zeros((len(data.difference), len(x)))
        for k in range(len(FITTED)):
            moved = x.copy()
            moved[k] += STEP
            columns[:, k] = (_read(model, moved, nights, data) - base) / STEP
        moved = x.copy()
        moved[len(FITTED) :] += STEP
        change = (_read(model, moved, nights, data) - base) / STEP
        columns[np.arange(len(change)), len(FITTED) + data.night] = change
        return np.concatenate([-solve_triangular(lower, columns, lower=True), np.diag(1.0 / prior)])

    found = least_squares(residuals, np.zeros(len(prior)), jac=slopes, xtol=1e-4, ftol=1e-5, max_nfev=25)
    jacobian = np.asarray(found.jac, float)
    covariance = np.linalg.inv(jacobian.T @ jacobian)[: len(FITTED), : len(FITTED)]
    best = _named(found.x)
    return AirFit(best, covariance, np.diag(spread**2), len(np.unique(data.night)))


def _named(x: Array) -> air.Air:
    """Parameters from logarithms over the prior's best values."""
    values = {name: getattr(air.Air(), name) for name in air.AIR_NAMES}
    for name, move in zip(FITTED, x, strict=False):
        for moved in (name, TIED.get(name)):
            if moved:
                values[moved] *= float(np.exp(move))
    values["shut"] = min(values["shut"], 1.0)
    return air.Air(**values)


def _read(model: Model, x: Array, nights: int, data: AirData) -> Array:
    """The model at the readings."""
    table = air.table(nights, _named(x))
    table[:, air.AIR_NAMES.index("inversion")] *= np.exp(x[len(FITTED) :])
    return np.asarray(model(table)[data.night, data.at])


def _errors(data: AirData) -> Array:
    """Covariance of the readings [K2]: each its own, and one a night."""
    same = data.night[:, None] == data.night[None, :]
    return np.asarray(np.diag(data.error**2) + NIGHT**2 * same)


def spread_of(fitted: AirFit, model: Model, nights: int, draws: int = 60, seed: int = 1) -> tuple[Array, Array]:
    """Mean and standard deviation of what the model tells (night, time), over all that is not known."""
    rng = np.random.default_rng(seed)
    best = np.log([getattr(fitted.air, name) / getattr(air.Air(), name) for name in FITTED])
    root = cholesky(fitted.covariance, lower=True)
    told = []
    for _ in range(draws):
        table = air.table(nights, _named(best + root @ rng.standard_normal(len(FITTED))))
        table[:, air.AIR_NAMES.index("inversion")] = air.Air().inversion / 2.0 * rng.gamma(2.0, size=nights)
        told.append(model(table))
    return np.mean(told, axis=0), np.std(told, axis=0)


def nights_until(fitted: AirFit) -> int | None:
    """How many more nights like those read until half the prior's variance is left; None where a dozen do not do it.

    What a night tells adds up: its share of the information is the mean of the nights read.
    """
    if not fitted.nights:
        return SIX
    prior = np.linalg.inv(fitted.prior_covariance)
    night = (np.linalg.inv(fitted.covariance) - prior) / fitted.nights
    for more in range(MOST_NIGHTS + 1):
        left = np.linalg.inv(prior + (fitted.nights + more) * night)
        if np.trace(left) <= 0.5 * np.trace(fitted.prior_covariance):
            return more
    return None
