"""What seats send out and send back, from readings of them: emissivity by infrared, reflectance by a light meter.

Each material of its own. Numbers by least squares on their logits with priors; readings of one visit share an error.
Visits held out decide, and readings that scatter more than their errors allow are refused.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag, cholesky, solve_triangular
from scipy.optimize import least_squares
from scipy.special import expit, logit

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.learn.fit import Z90

Array = NDArray[np.float64]

INFRARED, CONTACT = 1.0, 0.5  # [K] of an infrared thermometer, shared by a visit, and of a thermometer on the seat
LIGHT, LIGHT_VISIT = 0.06, 0.04  # [1] log error of a ratio of light, and what a visit shares; ours, no source
METAL, COATED = 0.7, 0.35  # spread of the logit of emissivity: bare metal .07 to .45, others .04 about (handbooks)
REFLECTANCE = 0.4  # spread of the logit of reflectance: 0.15 to either side of a middling one (handbook tables)
FEWEST = 2  # visits
SCATTER = 4.0  # [1] mean square of standard residuals beyond which readings contradict each other (ours)


@dataclass(frozen=True)
class SeatData:
    """Readings of one material; arrays (reading,).

    Emissivity: `seen` is what the infrared thermometer received, `own` what a black body as warm as the seat would
    send, `mirrored` what the seat mirrors [W m-2]. Reflectance: `seen` light off the seat, `own` light on it, any unit.
    """

    visit: NDArray[np.int64]
    seen: Array
    own: Array
    mirrored: Array  # zero for reflectance
    light: bool

    def take(self, rows: NDArray[np.bool_]) -> "SeatData":
        """Some of the readings."""
        return SeatData(self.visit[rows], self.seen[rows], self.own[rows], self.mirrored[rows], self.light)


@dataclass(frozen=True)
class SeatFit:
    """One number of one material."""

    value: float  # [1] as it is to be used: fitted where taken, else as before
    low: float  # nine times in ten it lies in the range
    high: float
    before: tuple[float, float]  # the same before any reading
    taken: bool
    why: str  # code: "", few, unlike, worse
    readings: int
    visits: int


def fit(data: SeatData, described: float) -> SeatFit:
    """Fit one number of one material, if visits held out are told better with it.

    Parameters
    ----------
    data : SeatData
    described : float
        As the venue has it, the middle of the prior [1].
    """
    spread = REFLECTANCE if data.light else METAL if described < 0.5 else COATED
    middle = float(logit(described))
    visits = np.unique(data.visit)
    before = (float(expit(middle - Z90 * spread)), float(expit(middle + Z90 * spread)))

    def answer(at: float, left: float, why: str) -> SeatFit:
        ends = (float(expit(at - Z90 * left)), float(expit(at + Z90 * left)))
        return SeatFit(float(expit(at)), *ends, before, not why, why, data.seen.size, visits.size)

    if visits.size < FEWEST:
        return answer(middle, spread, "few")
    at, left, missed = _best(data, middle, spread)
    if float(missed @ missed) / missed.size > SCATTER:
        return answer(middle, spread, "unlike")
    then = now = 0.0
    for visit in visits:
        out = data.visit == visit
        other, _, _ = _best(data.take(~out), middle, spread)
        then += float(np.mean(_standard(data.take(out), middle) ** 2))
        now += float(np.mean(_standard(data.take(out), other) ** 2))
    return answer(at, left, "") if now < then else answer(middle, spread, "worse")


def _best(data: SeatData, middle: float, spread: float) -> tuple[float, float, Array]:
    """Logit, its standard deviation, and the readings' standard residuals."""

    def residuals(x: Array) -> Array:
        return np.append(_standard(data, float(x[0])), (x[0] - middle) / spread)

    found = least_squares(residuals, np.array([middle]), xtol=1e-8)
    slope = np.asarray(found.jac, float)[:, 0]
    return float(found.x[0]), float(1.0 / np.sqrt(slope @ slope)), np.asarray(found.fun)[:-1]


def _standard(data: SeatData, place: float) -> Array:
    """Standard residuals of the readings at one logit, those of a visit freed of the error that they share."""
    share = float(expit(place))
    if data.light:
        missed = np.log(data.seen / data.own) - np.log(share)
        each, shared = (np.full(data.seen.size, error) for error in (LIGHT, LIGHT_VISIT))
    else:
        missed = data.seen - share * data.own - (1.0 - share) * data.mirrored
        shared = INFRARED * _slope(data.seen)
        each = share * CONTACT * _slope(data.own)
    parts = [np.flatnonzero(data.visit == visit) for visit in np.unique(data.visit)]
    order = np.concatenate(parts)
    errors = block_diag(*(np.diag(each[rows] ** 2) + np.outer(shared[rows], shared[rows]) for rows in parts))
    return np.asarray(solve_triangular(cholesky(errors, lower=True), missed[order], lower=True))


def _slope(flux: Array) -> Array:
    """How a black body's flux grows with its temperature [W m-2 K-1]: 4 sigma T^3."""
    return 4.0 * STEFAN_BOLTZMANN * np.abs(flux / STEFAN_BOLTZMANN) ** 0.75
