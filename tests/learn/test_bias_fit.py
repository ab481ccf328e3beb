"""The bias of forecasts by kind of night comes back from made pairs; what tells nothing leaves what was known."""

import numpy as np
import pytest

from microclimate.learn import bias_fit


def made(bias: tuple[float, float], nights: int, rng: np.random.Generator, miss: float = 1.8):
    clear = rng.random(nights) < 0.4
    read = 272.0 + 4.0 * rng.normal(size=nights)
    return read + np.where(clear, bias[1], bias[0]) + miss * rng.normal(size=nights), read, clear


def test_truths_drawn_from_the_prior_come_back_within_their_ranges() -> None:
    """400 places, 30 nights each: the 90 % range of each kind holds 85 to 95 % of them."""
    rng = np.random.default_rng(4)
    inside, errors, before = [], [], []
    for _ in range(400):
        pooled = bias_fit.POOLED * rng.normal()
        truth = pooled + bias_fit.APART * rng.normal(size=2)
        forecast, read, clear = made((truth[0], truth[1]), 30, rng)
        mean, covariance = bias_fit._posterior(forecast - read, clear.astype(int))
        errors.append(mean - truth)
        inside.append(np.abs(errors[-1]) <= bias_fit.Z90 * np.sqrt(np.diag(covariance)))
        before.append(truth)
    assert 0.85 <= np.mean(inside) <= 0.95
    assert np.sqrt(np.mean(np.square(errors))) < 0.35 * np.sqrt(np.mean(np.square(before)))


def test_both_kinds_are_told_apart_and_better() -> None:
    found = bias_fit.fit(*made((-1.0, 2.0), 60, np.random.default_rng(1)))
    assert (found.taken, found.why) == (True, "")
    assert found.value == pytest.approx((-1.0, 2.0), abs=3 * 1.8 / np.sqrt(20))  # three standard errors of 20 nights
    assert found.after < found.before
    for kind in (0, 1):
        low, high = found.interval(kind)
        assert low < found.value[kind] < high


def test_a_kind_never_seen_follows_the_other_and_stays_wide() -> None:
    """Closed form: two normals that share a variance of 4, with 1.44 of their own: the unseen follows by 4 / 5.44."""
    forecast, read, clear = made((3.0, 3.0), 400, np.random.default_rng(2))
    rest = ~clear
    found = bias_fit.fit(forecast[rest], read[rest], clear[rest])
    assert found.value[1] == pytest.approx(found.value[0] * 4.0 / 5.44, abs=0.02)
    assert found.spread[1] > 5 * found.spread[0]


def test_too_few_unlike_or_worse_leave_what_was_known() -> None:
    rng = np.random.default_rng(3)
    forecast, read, clear = made((2.0, 2.0), 5, rng)
    assert bias_fit.fit(forecast, read, clear, (0.5, 0.2)).why == "few"
    forecast, read, clear = made((2.0, 2.0), 40, rng)
    mixed = bias_fit.fit(forecast, rng.permutation(read), clear, (0.5, 0.2))
    assert (mixed.taken, mixed.why, mixed.value) == (False, "unlike", (0.5, 0.2))
    error = forecast - read
    best = (float(error[~clear].mean()), float(error[clear].mean()))  # of these very nights: no fit that has not seen
    known = bias_fit.fit(forecast, read, clear, best)  # a night tells it better
    assert (known.taken, known.why, known.value) == (False, "worse", best)
