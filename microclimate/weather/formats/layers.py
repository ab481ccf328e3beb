"""Fields that come as values over intervals of their own, laid on one common row of stamps."""

import numpy as np
from numpy.typing import NDArray

from microclimate.weather.stamps import Times

Floats = NDArray[np.float64]


def held(axis: Times, starts: Times, ends: Times, values: Floats) -> Floats:
    """The value that holds at each stamp: of the interval with start <= stamp < end, NaN where there is none."""
    order = np.argsort(starts, kind="stable")
    starts, ends, values = starts[order], ends[order], values[order]
    at = np.searchsorted(starts, axis, side="right") - 1
    inside = (at >= 0) & (axis < ends[np.maximum(at, 0)])
    return np.where(inside, values[np.maximum(at, 0)], np.nan)


def rates(axis: Times, starts: Times, ends: Times, amounts: Floats) -> Floats:
    """Amounts over intervals as the mean rate [amount s-1] of each step of the axis; what goes in comes out.

    A step is what lies between a stamp and the one before; the first has none and is NaN, as is a step that the
    intervals do not cover wholly. The intervals must not overlap.
    """
    origin = axis[0]
    edges = np.asarray((axis - origin) / np.timedelta64(1, "s"))
    known = np.isfinite(amounts)
    order = np.argsort(starts[known], kind="stable")
    begin = np.asarray((starts[known][order] - origin) / np.timedelta64(1, "s"))
    end = np.asarray((ends[known][order] - origin) / np.timedelta64(1, "s"))
    if not len(begin):
        return np.full(len(axis), np.nan)
    knots = np.stack([begin, end], axis=-1).ravel()
    zero = np.zeros_like(begin)
    content = np.stack([zero, amounts[known][order]], axis=-1).ravel().cumsum()
    cover = np.stack([zero, end - begin], axis=-1).ravel().cumsum()
    covered = np.diff(np.interp(edges, knots, cover))
    held_in = np.diff(np.interp(edges, knots, content))
    step = np.diff(edges)
    return np.concatenate([[np.nan], np.where(covered >= 0.999 * step, held_in / step, np.nan)])


def pieces(starts: Floats, ends: Floats, totals: Floats) -> tuple[Floats, Floats, Floats]:
    """Sums that share a start, taken apart into intervals that do not overlap.

    Serves sums since the start of a run (0-1, 0-2, 0-3 h ...) and sums that begin anew (0-3, 0-6, 6-9, 6-12 h ...)
    alike: of two sums with one start the longer gives what came after the shorter. Among what is left, the shorter
    interval wins where two overlap.
    """
    order = np.lexsort((ends, starts))
    begin, end, total = starts[order], ends[order], totals[order]
    from_before = np.concatenate([[False], begin[1:] == begin[:-1]])
    first = np.where(from_before, np.concatenate([[0.0], end[:-1]]), begin)
    amount = np.where(from_before, total - np.concatenate([[0.0], total[:-1]]), total)
    keep = np.ones(len(first), bool)
    last = -np.inf
    for at in np.lexsort((end - first, end)):
        if first[at] < last - 1e-6 or end[at] <= first[at]:
            keep[at] = False
        else:
            last = end[at]
    return first[keep], end[keep], amount[keep]
