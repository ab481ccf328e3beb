"""The wind fit on invented venues, where the truth is known: error, coverage, and exact limits."""

import time

import numpy as np
import pytest

from microclimate.exposure import shelter
from microclimate.learn import wind_fit

ANGLES = np.arange(0.0, 360.0, 30.0)
PLACES = [(0.0, 0.0), (60.0, 0.0), (-60.0, 0.0), (0.0, 30.0), (55.0, 28.0), (-55.0, -28.0)]


def crest(x: float, y: float, count: int = 72):
    """A U: 190 x 150 m, 25 m high, open at +x; compass azimuth 90 is +x."""
    azimuth = np.radians(np.arange(count) * 360.0 / count)
    dx, dy = np.sin(azimuth), np.cos(azimuth)
    dx, dy = np.where(np.abs(dx) < 1e-12, 1e-12, dx), np.where(np.abs(dy) < 1e-12, 1e-12, dy)
    along = np.minimum(np.abs((np.sign(dx) * 95.0 - x) / dx), np.abs((np.sign(dy) * 75.0 - y) / dy))
    height = np.where(np.abs(x + along * dx - 95.0) < 1e-6, 0.0, 25.0)
    return along[None], height[None]


ROSE = [crest(*place) for place in PLACES]


def venue(rng: np.random.Generator):
    """A true table of logarithms (zone, direction of 72), drawn from the prior."""
    position = shelter.position(shelter.Wind()) + shelter.WIND_SPREAD * rng.standard_normal(3)
    table = np.concatenate([shelter.factor(d, h, shelter.at(position)) for d, h in ROSE])
    return np.log(shelter.draws(table, np.arange(len(ROSE)), rng))


def readings(truth, visits: int, points: int, rng: np.random.Generator) -> wind_fit.WindData:
    """Visits spread over the directions, as the sheet asks; each with its own shared error."""
    rows, first = [], rng.uniform(0.0, 360.0)
    for visit in range(visits):
        direction = (first + 360.0 * visit / visits + rng.uniform(-15.0, 15.0)) % 360.0
        shared = wind_fit.VISIT * rng.standard_normal()
        for zone in rng.permutation(len(ROSE))[:points]:
            value = np.interp(direction, np.arange(0, 361, 5), np.append(truth[zone], truth[zone, 0]))
            rows.append((np.exp(value + shared + 0.22 * rng.standard_normal()), 0.22, zone, direction, visit))
    ratio, noise, zone, direction, visit = (np.array(column) for column in zip(*rows, strict=True))
    distance, height = (np.concatenate([ROSE[z][k] for z in zone]) for k in (0, 1))
    return wind_fit.WindData(ratio, noise, zone, direction, visit, distance, height)


NOTHING = wind_fit.WindData(
    *(np.zeros(0) for _ in range(2)), np.zeros(0, int), np.zeros(0), np.zeros(0, int), *(np.zeros((0, 72)),) * 2
)


def test_four_visits_of_six_points() -> None:
    """The bar: rms log error at most .23, 90 % bands that hold 85 to 95 %, a quarter better than raw zone means."""
    errors, raw, inside, started = [], [], [], time.perf_counter()
    for seed in range(60):
        rng = np.random.default_rng(seed)
        truth = venue(rng)
        data = readings(truth, 4, 6, rng)
        found = wind_fit.fit(data, ROSE, ANGLES)
        wanted = truth[:, ::6]
        errors.append(found.mean - wanted)
        inside.append(np.abs(found.mean - wanted) <= 1.645 * found.spread)
        means = np.array([np.log(data.ratio[data.zone == z]).mean() for z in range(len(ROSE))])
        raw.append(means[:, None] - wanted)
    rms, rms_raw = (np.sqrt(np.mean(np.square(e))) for e in (errors, raw))
    assert rms <= 0.23
    assert rms <= 0.75 * rms_raw
    assert 0.85 <= np.mean(inside) <= 0.95
    assert (time.perf_counter() - started) / 60 <= 1.0


def test_without_readings_the_prior_comes_back() -> None:
    found = wind_fit.fit(NOTHING, ROSE, ANGLES)
    wanted = np.log([shelter.factor(d, h, directions=ANGLES).mean(axis=0) for d, h in ROSE])
    np.testing.assert_allclose(found.mean, wanted, rtol=0, atol=1e-12)
    np.testing.assert_array_equal(found.spread, found.prior_spread)
    assert found.wind.least == pytest.approx(shelter.Wind().least)
    assert not found.offset.any()


@pytest.mark.parametrize("seed", range(12))
def test_one_reading_never_widens_a_zone(seed: int) -> None:
    rng = np.random.default_rng(seed)
    found = wind_fit.fit(readings(venue(rng), 1, 1, rng), ROSE, ANGLES)
    assert (found.spread <= found.prior_spread).all()


def test_a_thousand_readings_of_one_visit_keep_its_error() -> None:
    rng = np.random.default_rng(3)
    one = readings(venue(rng), 1, 6, rng)
    many = one.take(np.tile(np.arange(6), 170))
    found = wind_fit.fit(many, ROSE, ANGLES)
    shielded = found.prior_spread > wind_fit.VISIT
    assert (found.spread[shielded] >= wind_fit.VISIT).all()


def test_more_visits_know_more() -> None:
    rng = np.random.default_rng(4)
    truth = venue(rng)
    spreads = [wind_fit.fit(readings(truth, n, 6, rng), ROSE, ANGLES).spread.mean() for n in (1, 4, 12)]
    assert spreads[0] > spreads[1] > spreads[2]


def test_a_wild_reading_is_laid_aside() -> None:
    rng = np.random.default_rng(5)
    data = readings(venue(rng), 6, 6, rng)
    wild = data.take(np.arange(36))
    wild.ratio[7] *= 30.0
    found, clean = wind_fit.fit(wild, ROSE, ANGLES), wind_fit.fit(data.take(np.delete(np.arange(36), 7)), ROSE, ANGLES)
    assert list(found.outliers) == [7]
    np.testing.assert_allclose(found.mean, clean.mean, atol=1e-6)


def test_without_direction_a_reading_still_helps_but_less() -> None:
    rng = np.random.default_rng(6)
    data = readings(venue(rng), 4, 6, rng)
    blind = wind_fit.WindData(**{**data.__dict__, "direction": np.full(24, np.nan)})
    known, unknown = (wind_fit.fit(d, ROSE, ANGLES) for d in (data, blind))
    assert known.spread.mean() < unknown.spread.mean() < known.prior_spread.mean()


def test_a_constant_ratio_is_beaten() -> None:
    """Guard: 0.3 everywhere misses these venues by more than the bar."""
    errors = [np.log(0.3) - venue(np.random.default_rng(s))[:, ::6] for s in range(60)]
    assert np.sqrt(np.mean(np.square(errors))) > 0.23


def test_where_to_measure_next_is_where_nothing_is_known() -> None:
    rng = np.random.default_rng(7)
    truth = venue(rng)
    data = readings(truth, 3, 6, rng)
    west = wind_fit.WindData(**{**data.__dict__, "direction": 270.0 + 0.0 * data.direction})
    chosen = wind_fit.next_visits(wind_fit.fit(west, ROSE, ANGLES))
    assert all(abs((angle - 270.0 + 180.0) % 360.0 - 180.0) >= 30.0 for angle, _ in chosen)
    assert np.all(np.diff([spread for _, spread in chosen]) < 0)


def test_how_many_more_visits_are_counted_ahead_as_they_are_needed() -> None:
    """Without a reading some four visits to six points reach a fifth (the bar above); what is read counts down."""
    rng = np.random.default_rng(8)
    truth = venue(rng)
    sheets = (NOTHING, readings(truth, 2, 6, rng), readings(truth, 12, 6, rng))
    counts = [wind_fit.visits_until(wind_fit.fit(sheet, ROSE, ANGLES)) for sheet in sheets]
    assert counts[0] is not None
    assert counts[1] is not None
    assert 3 <= counts[0] <= 8
    assert counts[0] > counts[1] > 0
    assert counts[2] == 0


def test_noise_of_a_reading() -> None:
    """Worked by hand from the stated terms: 2.5 min at .2, .5 and 1 m/s with a mast."""
    found = wind_fit.noise(np.array([0.2, 0.5, 1.0]), np.full(3, 2.5), mast=True)
    np.testing.assert_allclose(found, [0.28, 0.21, 0.20], atol=0.015)
    assert wind_fit.noise(np.array([1.0]), np.array([2.5]), mast=False) > 0.35
