"""Whether a fit is taken: nights that it never saw decide, and readings that do not go with the weather are refused."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.learn.fit import MISSES, Fit, Model, fit, parameters, remembered
from microclimate.learn.nightdata import NightData

Array = NDArray[np.float64]

FEWEST = 6  # nights that a fit needs (ours)
WEEKS = 4  # with so many, odd and even weeks are held out; with fewer, odd and even nights
UNTOLD = 0.1  # of a prior's spread must go before the readings are said to tell of it (ours)


@dataclass(frozen=True)
class Decision:
    """What was fitted, whether it is taken, and how nights held out were told (rms, in units of a usual miss)."""

    fit: Fit
    taken: bool
    why: str  # code: "", few, unlike, worse
    before: Array  # (2,) of each half, told with the prior
    after: Array  # (2,) of each half, told with the other half's fit
    nights: int

    @property
    def gain(self) -> float:
        """Share by which held-out nights are told better."""
        return 1.0 - float(np.sqrt((self.after**2).mean() / (self.before**2).mean()))


def halves(nights: NDArray[np.datetime64]) -> NDArray[np.bool_]:
    """True for one half of the nights: odd weeks, or odd nights where there are few weeks."""
    days = nights.astype("datetime64[D]").astype(np.int64)
    weeks = (days + 3) // 7  # Monday begins a week; 1970-01-01 was a Thursday
    if np.unique(weeks).size >= WEEKS:
        return np.asarray(weeks % 2 == 1)
    return np.asarray(days % 2 == 1)


def decide(
    data: NightData, model: Model, names: tuple[str, ...], current: Mapping[str, float] | None = None
) -> Decision:
    """Fit to each half and test on the other; then fit to all, where that told better.

    Parameters
    ----------
    data : NightData
    model : callable
        Numbers by name -> the run's numbers in the order of `data`.
    names : tuple of str
        Of `fit.PARAMETERS`.
    current : mapping, optional
        Numbers as they are believed now; else as the venue is described.
    """
    run = remembered(model, names)
    none = np.zeros(len(names))
    now = none if current is None else np.array([p.spreads(current[p.name]) for p in parameters(names)])
    known = np.isfinite(data.observed) & np.isfinite(run(none))
    nights = np.unique(data.night[known]).size
    nothing = Fit(names, none, np.eye(len(names)), np.zeros(len(data.labels)), np.full((2, len(data.labels)), np.nan))
    empty = np.full(2, np.nan)
    if nights < FEWEST:
        return Decision(nothing, False, "few", empty, empty, nights)
    if not _alike(data, run(none), known):
        return Decision(nothing, False, "unlike", empty, empty, nights)
    half = halves(data.night)
    before, after = np.empty(2), np.empty(2)
    for k, part in enumerate((half, ~half)):
        learned = fit(data, run, known & part, names)
        rest = known & ~part
        before[k] = _loss(data, run(now), np.zeros(len(data.labels)), rest)
        after[k] = _loss(data, run(learned.mean), learned.offset, rest)
    whole = fit(data, run, known, names)
    taken = bool((after <= before).all() and (after < before).any())
    return Decision(whole, taken, "" if taken else "worse", before, after, nights)


def _loss(data: NightData, told: Array, offset: Array, rows: NDArray[np.bool_]) -> float:
    """Error of some of the data [1], each kind in units of what a model usually misses of it."""
    scale = np.where(data.surface, MISSES[True], MISSES[False])
    error = (data.observed - told - offset[data.sensor]) / scale
    return float(np.sqrt(np.mean(error[rows] ** 2)))


def _alike(data: NightData, told: Array, known: NDArray[np.bool_]) -> bool:
    """Whether the readings go with the weather at all: the run, shifted, tells them better than their own mean."""
    missed = spread = 0.0
    for sensor in range(len(data.labels)):
        for surface in (False, True):
            rows = known & (data.sensor == sensor) & (data.surface == surface)
            if rows.sum() < 3:
                continue
            missed += rows.sum() * float(np.var((data.observed - told)[rows])) / MISSES[surface] ** 2
            spread += rows.sum() * float(np.var(data.observed[rows])) / MISSES[surface] ** 2
    return missed < spread
