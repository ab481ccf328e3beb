"""The air fit on invented nights whose exchange is known."""

import numpy as np
import pytest
from air_nights import BOX, night, surfaces

from microclimate.exposure import air
from microclimate.learn import air_fit

SURFACES = surfaces()


def model_of(outside):
    def model(table):
        return air.run(300.0, BOX, SURFACES, outside, table).temperature - outside.temperature

    return model


def truth(rng, nights):
    """Exchange drawn from the prior, and an inversion for each night."""
    drawn = air.table(1, rng=[rng])[0]
    table = np.tile(drawn, (nights, 1))
    table[:, air.AIR_NAMES.index("inversion")] = rng.gamma(2.0, size=nights)
    return table


def readings(model, table, rng, ats=(30, 90, 155)):
    told = model(table)
    nights = len(table)
    night_error = air_fit.NIGHT * rng.standard_normal(nights)
    number, at = (v.ravel() for v in np.meshgrid(np.arange(nights), np.array(ats), indexing="ij"))
    read = told[number, at] + night_error[number] + air_fit.READING * rng.standard_normal(len(number))
    return air_fit.AirData(number, at, read, np.full(len(number), air_fit.READING))


def test_six_calm_nights_halve_the_prior_error() -> None:
    before, after = [], []
    target = night([0.5, 1.0, 1.5])
    aim = model_of(target)
    prior_guess = aim(air.table(3))[:, -1]
    for seed in range(16):
        rng = np.random.default_rng(seed)
        model = model_of(night(rng.uniform(0.3, 1.5, 6)))
        exchange = truth(rng, 6)
        found = air_fit.fit(readings(model, exchange, rng), model, 6)
        # a night to come has its own inversion: compare at one that all know, so that exchange alone is judged
        real = np.tile(exchange[0], (3, 1))
        real[:, air.AIR_NAMES.index("inversion")] = air.Air().inversion
        wanted = aim(real)[:, -1]
        before.append(prior_guess - wanted)
        after.append(aim(air.table(3, found.air))[:, -1] - wanted)
    rms_before, rms_after = (np.sqrt(np.mean(np.square(e))) for e in (before, after))
    assert rms_after <= 0.5 * rms_before


def test_without_readings_the_prior_comes_back() -> None:
    nothing = air_fit.AirData(np.zeros(0, int), np.zeros(0, int), np.zeros(0), np.zeros(0))
    found = air_fit.fit(nothing, model_of(night([0.5])), 1)
    assert found.air == air.Air()
    np.testing.assert_array_equal(found.covariance, found.prior_covariance)


def test_readings_narrow_and_more_narrow_more() -> None:
    rng = np.random.default_rng(2)
    spreads, more = [], []
    for nights in (1, 3, 9):
        model = model_of(night(np.linspace(0.3, 1.5, nights)))
        found = air_fit.fit(readings(model, truth(rng, nights), rng), model, nights)
        spreads.append(np.trace(found.covariance))
        more.append(air_fit.nights_until(found))
    assert np.trace(found.prior_covariance) > spreads[0] > spreads[1] > spreads[2]
    ahead = [99 if count is None else count for count in more]  # None: more than a dozen
    assert ahead[0] >= ahead[1] >= ahead[2]
    assert (ahead[2] == 0) == (spreads[2] <= 0.5 * np.trace(found.prior_covariance))


def test_an_unaspirated_reading_in_the_sun_changes_the_exchange_by_less_than_half_its_interval() -> None:
    rng = np.random.default_rng(3)
    outside = night(np.linspace(0.3, 1.5, 6))
    outside.absorbed[:, :, :24] = 200.0  # the first two hours are afternoon
    model = model_of(outside)
    good = readings(model, truth(rng, 6), rng)
    clean = air_fit.fit(good, model, 6)
    told = model(air.table(6, clean.air))
    sunny = air_fit.AirData(
        np.append(good.night, 0),
        np.append(good.at, 12),
        np.append(good.difference, told[0, 12] + 3.0),
        np.append(good.error, air_fit.SUNLIT),
    )
    found = air_fit.fit(sunny, model, 6)
    spread = np.sqrt(np.diagonal(clean.covariance))
    moved = [abs(np.log(getattr(found.air, n) / getattr(clean.air, n))) for n in air_fit.FITTED]
    assert (np.array(moved) < 0.5 * spread).all()  # half of one standard deviation, well within half the interval


def test_the_range_holds_the_truth_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(4)
    hits = []
    for _ in range(8):
        model = model_of(night(rng.uniform(0.3, 1.5, 4)))
        exchange = truth(rng, 4)
        found = air_fit.fit(readings(model, exchange, rng), model, 4)
        mean, spread = air_fit.spread_of(found, model, 4, draws=40)
        hits.append(np.abs(model(exchange)[:, -1] - mean[:, -1]) <= 1.645 * spread[:, -1])
    # 32 draws of a 90 % band: 3 standard errors
    assert np.mean(hits) >= 0.74


@pytest.mark.parametrize("name", air_fit.FITTED)
def test_fitted_parameters_are_those_of_the_air(name: str) -> None:
    assert name in air.AIR_NAMES
