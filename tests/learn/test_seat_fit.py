"""Emissivity and reflectance of seats come back from made readings; what tells nothing leaves what was known.

Black-body fluxes are sigma T^4 with sigma 5.670374e-8 W m-2 K-4 (CODATA 2018).
"""

import numpy as np
import pytest
from scipy.special import expit, logit

from microclimate.learn import seat_fit
from microclimate.learn.seat_fit import SeatData

SIGMA = 5.670374e-8


def infrared(truth: float, visits: int, each: int, rng: np.random.Generator) -> SeatData:
    """Readings under clear and cloudy skies: 1 K of the instrument's own a visit, 0.5 K of the contact thermometer."""
    visit = np.repeat(np.arange(visits), each)
    warm = 273.15 + rng.normal(0.0, 5.0, visits)[visit] + rng.normal(0.0, 0.5, visit.size)
    sky = warm - rng.uniform(15.0, 55.0, visits)[visit]
    sent = truth * SIGMA * warm**4 + (1 - truth) * SIGMA * sky**4
    shown = (sent / SIGMA) ** 0.25 + rng.normal(0.0, 1.0, visits)[visit]
    contact = warm + rng.normal(0.0, 0.5, visit.size)
    return SeatData(visit, SIGMA * shown**4, SIGMA * contact**4, SIGMA * sky**4, light=False)


def light(truth: float, visits: int, each: int, rng: np.random.Generator) -> SeatData:
    visit = np.repeat(np.arange(visits), each)
    on = rng.uniform(100.0, 800.0, visit.size)
    noise = 0.04 * rng.normal(size=visits)[visit] + 0.06 * rng.normal(size=visit.size)
    return SeatData(visit, truth * on * np.exp(noise), on, np.zeros(visit.size), light=True)


@pytest.mark.parametrize(
    ("described", "spread", "made", "left"),
    [
        (0.15, seat_fit.METAL, infrared, 0.5),
        (0.92, seat_fit.COATED, infrared, 0.7),  # next to a black body an error of 1 K counts for more
        (0.55, seat_fit.REFLECTANCE, light, 0.5),
    ],
)
def test_truths_drawn_from_the_prior_come_back_within_their_ranges(described, spread, made, left) -> None:
    """200 truths: the 90 % range holds 85 to 95 % of them, the bar of the other fits; their error falls."""
    rng = np.random.default_rng(11)
    inside, errors, prior = [], [], []
    for _ in range(200):
        place = logit(described) + spread * rng.normal()
        truth = float(expit(place))
        data = made(truth, 4, 3, rng)
        at, known, _ = seat_fit._best(data, float(logit(described)), spread)
        inside.append(abs(at - place) <= seat_fit.Z90 * known)
        errors.append(at - place)
        prior.append(logit(described) - place)
    assert 0.85 <= np.mean(inside) <= 0.95
    assert np.sqrt(np.mean(np.square(errors))) < left * np.sqrt(np.mean(np.square(prior)))


def test_a_fit_is_taken_and_says_what_it_rests_on() -> None:
    found = seat_fit.fit(infrared(0.35, 4, 3, np.random.default_rng(1)), 0.15)
    assert (found.taken, found.why, found.readings, found.visits) == (True, "", 12, 4)
    assert found.low < found.value < found.high
    assert found.value == pytest.approx(0.35, abs=0.06)
    assert found.high - found.low < 0.5 * (found.before[1] - found.before[0])


def test_a_visit_alone_leaves_the_prior() -> None:
    found = seat_fit.fit(infrared(0.35, 1, 9, np.random.default_rng(1)), 0.15)
    assert (found.taken, found.why) == (False, "few")
    assert found.value == pytest.approx(0.15)


def test_a_sky_as_warm_as_the_seat_tells_nothing() -> None:
    """Whatever the emissivity, a seat among surroundings as warm as itself sends out what a black body would."""
    data = infrared(0.35, 4, 3, np.random.default_rng(1))
    same = SeatData(data.visit, data.own, data.own, data.own, light=False)
    found = seat_fit.fit(same, 0.15)
    assert not found.taken
    assert found.value == pytest.approx(0.15)


@pytest.mark.parametrize(("described", "truth", "made"), [(0.15, 0.3, infrared), (0.55, 0.45, light)])
def test_readings_given_to_other_visits_are_declined(described, truth, made) -> None:
    declined = []
    for seed in range(5):
        rng = np.random.default_rng(seed)
        data = made(truth, 6, 3, rng)
        mixed = SeatData(data.visit, rng.permutation(data.seen), data.own, data.mirrored, data.light)
        declined.append(not seat_fit.fit(mixed, described).taken)
    assert all(declined)


def test_readings_of_the_material_as_described_change_little() -> None:
    found = seat_fit.fit(light(0.55, 3, 3, np.random.default_rng(3)), 0.55)
    assert found.value == pytest.approx(0.55, abs=0.05)
