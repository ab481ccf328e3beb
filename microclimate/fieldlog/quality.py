"""What a reading should not be trusted for: checks of one series, and of probes against each other.

A check flags, it never deletes. Thresholds are ours unless a source stands beside them; those by kind are in `kinds`.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.fieldlog.kinds import KINDS

Times = NDArray[np.datetime64]
Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

NEAR = 3.0  # usual steps: readings farther apart are not compared
APART = 3.0  # [K] two probes at equal depth in the same shade (trade notes, common practice)
APART_FOR = 3.0  # [h] of it before it counts
SAME_DEPTH = 0.2  # [1] depths within this share are equal
QUIET_DEPTH, QUIET_SWING = (
    0.2,
    2.0,
)  # [m], [K] ground this deep cannot swing more in a day (trade notes, common practice)
SWAPPED, SWAPPED_DAYS = 1.3, 3  # [1] deeper swings this much more than shallower, on so many days and most of them
SWING = 1.0  # [K] a day's swing that is worth comparing
CURTAIN = 0.3  # [K] about 0 degC where freezing ground lingers
CURTAIN_FLAT, CURTAIN_HOURS, CURTAIN_FAR = 0.2, 6.0, 1.5  # [K], [h], [K] a plateau, and how far off it may be
CURTAIN_DEPTH, CURTAIN_DROP = (
    0.15,
    0.7,
)  # [m], [K] only where the day reaches, and on the way from one side to the other
CROSSING = 3.0  # [K/h] faster through 0 degC than wet ground below 20 mm can
DAY = np.timedelta64(1, "D")
HOUR = np.timedelta64(1, "h")


@dataclass(frozen=True)
class Place:
    """What a series is of."""

    name: str
    quantity: str
    zone: str
    depth: float  # [m]


@dataclass(frozen=True)
class Finding:
    """One thing found: the readings it flags, and how to say why."""

    sensor: int
    reason: str  # code: range, step, spike, stuck, swing, disagree, swapped, curtain, crossing, clock
    times: Times
    other: str = ""  # the other probe
    size: float = float("nan")  # [SI] how much, where one number tells

    @property
    def code(self) -> str:
        """As it is stored."""
        size = "" if np.isnan(self.size) else f"{self.size:.3g}"
        return ":".join(filter(None, [self.reason, self.other, size]))


def findings(series: Mapping[int, tuple[Place, Times, Array]]) -> list[Finding]:
    """All checks of a log.

    Parameters
    ----------
    series : mapping
        Number of the sensor -> place, times (UTC, rising), values (SI).
    """
    found: list[Finding] = []
    for number, (place, times, values) in series.items():
        for reason, mask, size in one(place, times, values):
            if mask.any():
                found.append(Finding(number, reason, times[mask], size=size))
    return found + pairs(series)


def one(place: Place, times: Times, values: Array) -> Iterable[tuple[str, Mask, float]]:
    """Checks of one series: reason, readings, size."""
    kind = KINDS[place.quantity]
    if len(values) == 0:
        return
    steps = np.diff(times) / HOUR
    usual = float(np.median(steps)) if steps.size else 1.0
    yield "range", (values < kind.low) | (values > kind.high), np.nan
    spikes = _spikes(values, steps, usual, kind.spike)
    yield "spike", spikes, np.nan
    yield "step", _steps(values, steps, usual, kind.step, spikes), np.nan
    if np.isfinite(kind.stuck):
        yield "stuck", _stuck(place, times, values, kind.stuck), np.nan
    if place.quantity == "soil_temperature":
        yield "swing", _swing(place, times, values), np.nan
        mask, off = _curtain(place, times, values)
        yield "curtain", mask, off
        yield "crossing", _crossing(place, values, steps, usual), np.nan


def _spikes(values: Array, steps: Array, usual: float, most: float) -> Mask:
    """One reading far from both its neighbours, which agree."""
    mask = np.zeros(len(values), dtype=bool)
    if len(values) < 3 or not np.isfinite(most):
        return mask
    before, after = values[1:-1] - values[:-2], values[1:-1] - values[2:]
    near = (steps[:-1] <= NEAR * usual) & (steps[1:] <= NEAR * usual)
    out = (np.sign(before) == np.sign(after)) & (np.minimum(np.abs(before), np.abs(after)) > most)
    mask[1:-1] = out & near & (np.abs(values[2:] - values[:-2]) < most)
    return mask


def _steps(values: Array, steps: Array, usual: float, most: float, spikes: Mask) -> Mask:
    """The reading after a jump, larger than the kind allows in ten minutes and grows with the root of time."""
    mask = np.zeros(len(values), dtype=bool)
    if not np.isfinite(most):
        return mask
    known = np.flatnonzero(~spikes)
    if known.size < 2:
        return mask
    gap = np.diff(known)
    hours = np.add.reduceat(steps, known[:-1])[: gap.size] if steps.size else np.zeros(0)
    allowed = most * np.sqrt(np.maximum(hours * 6.0, 1.0))
    jump = np.abs(np.diff(values[known])) > allowed
    mask[known[1:][jump & (hours <= NEAR * usual * gap)]] = True
    return mask


def _stuck(place: Place, times: Times, values: Array, hours: float) -> Mask:
    """The same value for too long; not about 0 degC in the ground, which lingers there; longer the deeper."""
    hours *= max(1.0, abs(place.depth) / 0.05) if KINDS[place.quantity].buried else 1.0
    edges = np.flatnonzero(np.append(True, np.diff(values) != 0.0))
    ends = np.append(edges[1:], len(values)) - 1
    long = (times[ends] - times[edges]) / HOUR >= hours
    if KINDS[place.quantity].buried:
        long &= np.abs(values[edges] - ZERO_CELSIUS) > CURTAIN
    mask = np.zeros(len(values), dtype=bool)
    for first, last in zip(edges[long], ends[long], strict=True):
        mask[first : last + 1] = True
    return mask


def _days(times: Times) -> tuple[NDArray[np.int64], int]:
    """Number of the day (UTC) of each reading, counted from the first."""
    day = (times.astype("datetime64[D]") - times[0].astype("datetime64[D]")).astype(np.int64)
    return day, int(day[-1]) + 1


def swings(times: Times, values: Array) -> tuple[Times, Array]:
    """Days that are three quarters full, and the swing of each beside what it warmed or cooled from end to end."""
    if len(values) < 2:
        return np.zeros(0, "datetime64[D]"), np.zeros(0)
    day, count = _days(times)
    low, high, number = np.full(count, np.inf), np.full(count, -np.inf), np.bincount(day, minlength=count)
    np.minimum.at(low, day, values)
    np.maximum.at(high, day, values)
    full = number >= 0.75 * (DAY / np.median(np.diff(times)))
    dates = times[0].astype("datetime64[D]") + np.arange(count)
    ends = np.flatnonzero(np.append(day[1:] != day[:-1], True))
    drift = np.zeros(count)
    drift[day[ends]] = np.abs(values[ends] - values[np.append(0, ends[:-1] + 1)])
    return dates[full], (high - low - drift)[full]


def _swing(place: Place, times: Times, values: Array) -> Mask:
    """Days in which deep ground swings as it cannot."""
    mask = np.zeros(len(values), dtype=bool)
    if place.depth < QUIET_DEPTH:
        return mask
    days, size = swings(times, values)
    return np.isin(times.astype("datetime64[D]"), days[size > QUIET_SWING])


def _curtain(place: Place, times: Times, values: Array) -> tuple[Mask, float]:
    """Plateaus beside 0 degC on the way through it: ground that freezes lingers at 0, so such a probe is off."""
    mask = np.zeros(len(values), dtype=bool)
    near = np.abs(values - ZERO_CELSIUS) < CURTAIN_FAR
    if place.depth > CURTAIN_DEPTH or near.sum() < 3:
        return mask, np.nan
    levels = []
    for first, last in _plateaus(times, values, near):
        before = values[(times >= times[first] - DAY) & (times < times[first])]
        after = values[(times > times[last]) & (times <= times[last] + DAY)]
        level = float(np.median(values[first : last + 1]))
        if not (before.size and after.size) or abs(level - ZERO_CELSIUS) <= CURTAIN:
            continue
        falling = before.max() - level > CURTAIN_DROP < level - after.min()
        rising = level - before.min() > CURTAIN_DROP < after.max() - level
        if falling or rising:
            levels.append(level - ZERO_CELSIUS)
            mask[first : last + 1] = True
    level = float(np.median(levels)) if levels else np.nan
    return mask, level if abs(level) > CURTAIN else np.nan


def _plateaus(times: Times, values: Array, near: Mask) -> Iterable[tuple[int, int]]:
    """First and last reading of stretches that stay within `CURTAIN_FLAT` for `CURTAIN_HOURS`, among those `near`."""
    start, low, high = 0, values[0], values[0]
    for k in range(1, len(values) + 1):
        if k < len(values) and near[k] and near[start]:
            lower, higher = min(low, values[k]), max(high, values[k])
            if higher - lower <= CURTAIN_FLAT and times[k] - times[k - 1] <= 6 * HOUR:
                low, high = lower, higher
                continue
        if near[start] and (times[k - 1] - times[start]) / HOUR >= CURTAIN_HOURS:
            yield start, k - 1
        if k < len(values):
            start, low, high = k, values[k], values[k]


def _crossing(place: Place, values: Array, steps: Array, usual: float) -> Mask:
    """Readings on both sides of 0 degC, too fast for wet ground: the probe lies bare, or in a dry hole."""
    mask = np.zeros(len(values), dtype=bool)
    if place.depth < 0.02 or len(values) < 2:
        return mask
    warm = values - ZERO_CELSIUS
    through = (warm[1:] * warm[:-1] < 0.0) & (steps <= NEAR * usual)
    fast = np.abs(np.diff(values)) > CROSSING * np.maximum(steps, 0.5)
    mask[1:] = through & fast
    return mask


def pairs(series: Mapping[int, tuple[Place, Times, Array]]) -> list[Finding]:
    """Probes against each other: at one depth they should agree, and the deeper one should swing less."""
    found = []
    ground = [(n, *rest) for n, rest in series.items() if rest[0].quantity == "soil_temperature" and len(rest[1]) > 1]
    for k, (a, place_a, times_a, values_a) in enumerate(ground):
        for b, place_b, times_b, values_b in ground[k + 1 :]:
            if place_a.zone != place_b.zone:
                continue
            first, second = (label(place) for place in (place_a, place_b))
            if abs(place_a.depth - place_b.depth) <= SAME_DEPTH * max(place_a.depth, place_b.depth):
                both, at_a, at_b = np.intersect1d(times_a, times_b, return_indices=True)
                apart = values_a[at_a] - values_b[at_b]
                far = _lasting(both, np.abs(apart) > APART)
                if far.any():
                    size = float(np.median(apart[far]))
                    found += [
                        Finding(a, "disagree", both[far], second, size),
                        Finding(b, "disagree", both[far], first, -size),
                    ]
                continue
            shallow, deep = sorted([(place_a.depth, a), (place_b.depth, b)])
            found += _swapped(series, shallow[1], deep[1])
    return found


def _lasting(times: Times, wrong: Mask) -> Mask:
    """Only what lasts for `APART_FOR` and more."""
    kept = np.zeros(len(wrong), dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], wrong.astype(int), [0]])))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if (times[last - 1] - times[first]) / HOUR >= APART_FOR:
            kept[first:last] = True
    return kept


def _swapped(series: Mapping[int, tuple[Place, Times, Array]], shallow: int, deep: int) -> list[Finding]:
    days_a, swing_a = swings(*series[shallow][1:])
    days_b, swing_b = swings(*series[deep][1:])
    both, at_a, at_b = np.intersect1d(days_a, days_b, return_indices=True)
    lively = np.maximum(swing_a[at_a], swing_b[at_b]) > SWING
    wrong = lively & (swing_b[at_b] > SWAPPED * swing_a[at_a])
    if wrong.sum() < SWAPPED_DAYS or wrong.sum() <= 0.5 * lively.sum():
        return []
    found = []
    for number, other in ((shallow, deep), (deep, shallow)):
        times = series[number][1]
        found.append(
            Finding(
                number, "swapped", times[np.isin(times.astype("datetime64[D]"), both[wrong])], label(series[other][0])
            )
        )
    return found


def label(place: Place) -> str:
    """How a probe is named to a reader who may not know its column."""
    depth = f"{place.depth * 1000:.0f} mm" if place.depth > 0 else ""
    return " ".join(filter(None, [place.zone, depth])) or place.name


def summary(found: Sequence[Finding]) -> dict[tuple[int, str], int]:
    """Readings flagged, by sensor and code."""
    return {(f.sensor, f.code): len(f.times) for f in found}
