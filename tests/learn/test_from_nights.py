"""Factors come back from a made winter; readings that tell nothing, or go with no weather, change nothing."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_station import VENUE, read, station, with_factors

from microclimate.learn import decide, fit, residual
from microclimate.learn.from_nights import taught
from microclimate.learn.nightdata import Gather, NightData, shuffled
from microclimate.learn.replay import Station
from microclimate.learn.trusted import trusted
from microclimate.report import words_calibrate
from microclimate.risk import missed
from microclimate.units import Shown
from microclimate.venue import calibration, load
from microclimate.venue.load import Venue

TRUTH = {"canopy_conductance_factor": 1.4, "exchange_floor_factor": 0.6, "water_factor": 0.8}


@pytest.fixture(scope="module")
def winter(tmp_path_factory: pytest.TempPathFactory) -> tuple[Venue, Station, pd.DataFrame]:
    venue, made = station(tmp_path_factory.mktemp("winter"), days=18, seed=3, step=900.0)
    return venue, made, made.modelled(with_factors(venue, TRUTH))


def test_the_truth_comes_back_with_its_range_and_is_kept_in_the_file(
    winter: tuple[Venue, Station, pd.DataFrame], tmp_path: Path
) -> None:
    venue, made, truth = winter
    found = taught(venue, read(made, truth, 5), "2026-02-01")
    assert found.decision.taken
    assert found.decision.gain > 0.1
    for name, value in TRUTH.items():
        assert getattr(found.calibration, name) == pytest.approx(value, rel=0.2)  # the bar: within 20 %
        fitted = found.calibration.fitted[name]
        assert fitted.before_low < fitted.low < fitted.value < fitted.high < fitted.before_high
    path = tmp_path / "calibration.toml"
    path.write_text(calibration.text(found.calibration), encoding="utf-8")
    (tmp_path / "venue.toml").write_text(VENUE, encoding="utf-8")
    again = load.venue(tmp_path / "venue.toml", path).calibration
    assert again.fitted["water_factor"].value == pytest.approx(found.calibration.water_factor)
    assert (again.made, again.nights) == ("2026-02-01", found.calibration.nights)


def data_of(winter: tuple[Venue, Station, pd.DataFrame]) -> tuple[Gather, NightData, Venue, Station]:
    venue, made, truth = winter
    seen = read(made, truth, 5)
    gather = Gather(seen, seen.modelled(venue))
    return gather, gather.observed(), venue, seen


def test_conductivity_comes_back_where_the_water_was_read(
    winter: tuple[Venue, Station, pd.DataFrame],
) -> None:
    """Four truths within the prior; the water probe reads what the run holds (0.17, as built)."""
    venue, made, _ = winter
    log = made.log.isel(sensor=[0]).copy(deep=True)
    log["kind"] = ("sensor", np.array(["volume_fraction_of_condensed_water_in_soil"]))
    log["depth"] = ("sensor", [0.05])
    log["value"] = (log["value"].dims, np.full(log["value"].shape, 0.17))
    watered = replace(made, log=log)
    for factor in (0.75, 0.9, 1.2, 1.4):
        truth = watered.modelled(with_factors(venue, {"conductivity_factor": factor}))
        found = taught(venue, read(watered, truth, 5), "2026-02-01").calibration
        assert found.conductivity_factor == pytest.approx(factor, rel=0.1)
        fitted = found.fitted["conductivity_factor"]
        assert fitted.low - 0.02 < factor < fitted.high + 0.02
        assert fitted.high - fitted.low < 0.5 * (fitted.before_high - fitted.before_low)
        assert "water_factor" not in found.fitted


def test_the_skys_longwave_is_learned_of_where_it_was_worked_out(tmp_path: Path) -> None:
    venue, made = station(tmp_path, days=18, seed=3, step=900.0, longwave=False)
    for offset in (-9.0, 8.0):
        truth = made.modelled(with_factors(venue, {"longwave_offset": offset}))
        found = taught(venue, read(made, truth, 5), "2026-02-01")
        fitted = found.calibration.fitted["longwave_offset"]
        assert fitted.low < offset < fitted.high
        assert abs(found.calibration.longwave_offset - offset) < 0.6 * abs(offset)
    one = ("longwave_offset", 4.2, (1.0, 7.0), (-13.2, 13.2), True)
    text = words_calibrate.from_nights("A", True, "", 18, 0.2, [one], [], None, Shown(), "x")
    assert "longwave of the sky, W/m2 added: 4.2 (1.0 to 7.0); without readings 0 (-13.2" in text


def test_where_the_sky_was_measured_its_longwave_stays(winter: tuple[Venue, Station, pd.DataFrame]) -> None:
    venue, made, truth = winter
    given = with_factors(venue, {"longwave_offset": 20.0})
    pd.testing.assert_frame_equal(made.modelled(given), made.modelled(venue))
    assert "longwave_offset" not in taught(venue, read(made, truth, 5), "2026-02-01").calibration.fitted


def test_a_stuck_sensor_teaches_nothing(winter: tuple[Venue, Station, pd.DataFrame]) -> None:
    """Twelve hours of one value are left out before a fit, as `fieldlog quality` would flag them; the rest stays."""
    _, made, truth = winter
    seen = read(made, truth, 5)
    seen = replace(seen, sensors=[replace(s, values=s.values[s.values != 275.0]) for s in seen.sensors])  # not yet read
    infrared = seen.sensors[0]
    stuck = infrared.values.copy()
    at = stuck.index[100:113]
    stuck[at] = 271.0
    faulty = replace(seen, sensors=[replace(infrared, values=stuck), *seen.sensors[1:]])
    kept, left = trusted(faulty)
    assert left == {(infrared.label, "surface_temperature", "stuck"): 13}
    assert not kept.sensors[0].values.index.isin(at).any()
    assert len(kept.sensors[0].values) == len(stuck) - 13
    assert trusted(seen)[1] == {}
    text = words_calibrate.left_out(left, Shown())
    assert "surface temperature: the same value for too long; 13 readings" in text


def test_a_bent_valley_widens_the_range_and_a_better_place_is_gone_to() -> None:
    """One sensor, one factor, the run made up: a plane is steeper than the run on both sides, or misses a lower place.

    By hand: at 1 standard deviation s of a plane of slope a the sum of squares rises by 1; a run that bends to the
    slope a/2 gives a fourth of the data's part.
    """
    count = 40
    shape = np.tile([1.0, -1.0], count // 2)
    zero, nights = np.zeros(count, np.int64), np.datetime64("2026-01-01") + np.arange(count)
    data = NightData(np.zeros(count), zero, nights, np.zeros(count, bool), ("P",), ("",), (np.nan,))
    rows, scale, before = np.ones(count, bool), np.full(count, 0.1), np.array([1.0, 0.4])
    plane = 1.0 + count * (1.0 / 0.1) ** 2  # precision: the prior's and the data's
    covariance = np.array([[1.0 / plane]])

    def bent(z: np.ndarray) -> np.ndarray:
        return 0.5 * z[0] * shape

    wide, better = fit._sounded(data, bent, rows, before, np.zeros(2), scale, covariance)
    assert better is None
    assert wide[0, 0] == pytest.approx(1.0 / (1.0 + 0.25 * (plane - 1.0)), rel=1e-6)

    def lower(z: np.ndarray) -> np.ndarray:
        return (z[0] - 0.03) * shape

    _, better = fit._sounded(data, lower, rows, before, np.zeros(2), scale, covariance)
    assert better is not None
    assert better[0] == pytest.approx(2.0 * np.sqrt(1.0 / plane))
    straight, _ = fit._sounded(data, lambda z: z[0] * shape, rows, before, np.zeros(2), scale, covariance)
    assert straight[0, 0] == pytest.approx(covariance[0, 0], rel=1e-6)


def test_readings_given_to_other_nights_are_declined(winter: tuple[Venue, Station, pd.DataFrame]) -> None:
    gather, data, venue, seen = data_of(winter)

    def model(factors: dict[str, float]) -> np.ndarray:
        return gather.modelled(seen.modelled(with_factors(venue, factors)))

    for seed in range(3):
        found = decide.decide(shuffled(data, seed), model, ("canopy_conductance_factor",))
        assert not found.taken
        assert found.why == "unlike"


def test_too_few_nights_leave_the_prior(winter: tuple[Venue, Station, pd.DataFrame]) -> None:
    gather, data, venue, seen = data_of(winter)
    short = data.take(data.night < data.nights[4])
    told = gather.modelled(seen.modelled(venue))[data.night < data.nights[4]]
    found = decide.decide(short, lambda factors: told, ("canopy_conductance_factor",))
    assert (found.taken, found.why) == (False, "few")
    assert found.fit.factors() == {"canopy_conductance_factor": 1.0}


def test_what_tells_held_out_nights_worse_is_declined() -> None:
    """A model that answers to its factor with noise alone: whatever half is fitted, the other half is told worse."""
    rng = np.random.default_rng(2)
    nights = np.datetime64("2026-01-01") + np.arange(40)
    weather = 270.0 + 4.0 * rng.normal(size=40)
    noise = rng.normal(size=40)
    data = NightData(
        weather + 0.3 * rng.normal(size=40), np.zeros(40, np.int64), nights, np.ones(40, bool), ("P",), ("",), (0.0,)
    )
    half = decide.halves(nights)
    # the factor's effect has opposite signs in the two halves: each half teaches what harms the other
    effect = np.where(half, 1.0, -1.0) * np.abs(noise)

    def model(factors: dict[str, float]) -> np.ndarray:
        return weather - 1.0 * effect + 3.0 * np.log(factors["canopy_conductance_factor"]) * np.abs(noise)

    found = decide.decide(data, model, ("canopy_conductance_factor",))
    assert (found.taken, found.why) == (False, "worse")


def made_nights(count: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    nights = np.datetime64("2025-11-01") + np.arange(count)
    kinds = np.column_stack([272 + 4 * rng.normal(size=count), rng.gamma(2.0, 1.0, count), rng.uniform(size=count)])
    modelled = kinds[:, 0] - 3.0 * (1 - kinds[:, 2]) + 0.3 * rng.normal(size=count)
    missed = 0.8 - 1.5 * (kinds[:, 2] - 0.5) + 0.2 * (kinds[:, 1] - 2.0)
    return nights, modelled + missed + 0.4 * rng.normal(size=count), modelled, kinds


def test_what_is_missed_by_kind_of_night_is_learned_from_sixty_nights_on() -> None:
    """Closed form: a planted slope of -1.5 K on cloud and +0.2 K s/m on wind; noise 0.4 K is what can be left."""
    few = residual.learn(*made_nights(50))
    assert few.residual is None
    many = residual.learn(*made_nights(120))
    assert many.residual is not None
    assert many.after < 0.55 < many.before
    assert many.residual.cloud == pytest.approx(-1.5, abs=0.6)  # shrunk by the penalty
    _, observed, modelled, kinds = made_nights(120, seed=8)
    told = modelled + missed.correction(many.residual, np.column_stack([modelled, kinds]))
    assert np.sqrt(np.mean((observed - told) ** 2)) < 0.6 * np.sqrt(np.mean((observed - modelled) ** 2))


def test_beyond_what_was_seen_the_correction_holds_still() -> None:
    nights, observed, modelled, kinds = made_nights(120)
    learned = residual.learn(nights, observed, modelled, kinds).residual
    assert learned is not None
    far = np.array([[200.0, 200.0, 90.0, 0.5], [150.0, 150.0, 900.0, 0.5]])
    edge, beyond = missed.correction(learned, far)
    assert edge == beyond


def test_an_offset_follows_a_lasting_bias_and_noise_teaches_nothing() -> None:
    rng = np.random.default_rng(4)
    nights = np.datetime64("2025-11-01") + np.arange(40)
    modelled = 272 + 4 * rng.normal(size=40)
    kinds = np.column_stack([modelled, np.full(40, 2.0), np.full(40, 0.5)])
    biased = residual.learn(nights, modelled + 1.2 + 0.3 * rng.normal(size=40), modelled, kinds)
    assert biased.offset == pytest.approx(1.2, abs=0.3)
    assert biased.after < 0.7 * biased.before
    unbiased = residual.learn(nights, modelled + 0.8 * rng.normal(size=40), modelled, kinds)
    assert unbiased.offset == 0.0
    assert unbiased.after == unbiased.before
