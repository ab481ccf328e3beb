"""Weather laid on model steps: point values, interval means and sunlight, each by its own rule."""

import numpy as np
import pytest
from bowl_fakes import weather

from microclimate.exposure.steps import lay, spread, sunlight

SITE = (41.0, -88.0, 200.0)


@pytest.mark.parametrize("step", [60.0, 300.0, 420.0, 3600.0])
def test_a_straight_line_stays_a_straight_line(step: float) -> None:
    series = weather(hours=6, members=1)
    steps = lay(series, step, *SITE)
    middle = (steps.time - series["time"].values[0]) / np.timedelta64(1, "s") - step / 2
    stamps = (series["time"].values - series["time"].values[0]) / np.timedelta64(1, "s")
    np.testing.assert_allclose(spread(steps.point, stamps[None] * 0.01)[0], middle * 0.01)


@pytest.mark.parametrize("step", [300.0, 450.0, 3600.0, 7200.0])
def test_interval_means_are_conserved(step: float) -> None:
    series = weather(hours=24, members=2)
    steps = lay(series, step, *SITE)
    flux = np.random.default_rng(0).uniform(0, 1, (2, 25))
    laid = spread(steps.mean, flux)
    np.testing.assert_allclose(laid.sum(axis=1) * step, flux[:, 1:].sum(axis=1) * 3600.0, rtol=1e-12)


def test_a_gap_stays_a_gap_and_spoils_nothing_else() -> None:
    series = weather(hours=6, members=2)
    steps = lay(series, 300.0, *SITE)
    values = np.ones((2, 7))
    values[0, 3] = np.nan
    laid = spread(steps.point, values)
    assert np.isnan(laid[0, 24:48]).all()
    assert np.isfinite(np.r_[laid[0, :24], laid[0, 48:], laid[1]]).all()
    assert np.isnan(spread(steps.mean, values)[0, 24:36]).all()


def _interval_mean(steps, values):
    sums = np.bincount(steps.look_interval, values * steps.look_seconds, 49)
    return sums[1:] / np.bincount(steps.look_interval, steps.look_seconds, 49)[1:]


@pytest.mark.parametrize("step", [300.0, 900.0, 1500.0])
def test_sunlight_keeps_the_sum_of_each_interval(step: float) -> None:
    series = weather(members=1)
    steps = lay(series, step, *SITE)
    direct = series["surface_direct_downwelling_shortwave_flux_in_air"].values
    diffuse = series["surface_diffuse_downwelling_shortwave_flux_in_air"].values
    normal, sky = sunlight(steps, direct, diffuse)
    sine = np.clip(np.sin(np.radians(steps.elevation)), 0, None)
    np.testing.assert_allclose(_interval_mean(steps, normal[0] * sine + sky[0]), (direct + diffuse)[0, 1:], atol=1e-9)


def test_the_beam_is_gone_when_the_sun_is_down_and_never_beyond_the_solar_constant() -> None:
    series = weather(members=1)
    steps = lay(series, 300.0, *SITE)
    direct = np.full((1, 49), 200.0)  # even at night: bad data must not become a beam
    normal, sky = sunlight(steps, direct, np.zeros((1, 49)))
    assert (normal[0, steps.elevation <= 0] == 0).all()
    assert normal.max() <= 1361.0
    assert sky.max() > 0


def test_sun_within_the_hour_follows_its_height() -> None:
    series = weather(members=1)
    steps = lay(series, 300.0, *SITE)
    normal, _ = sunlight(
        steps,
        series["surface_direct_downwelling_shortwave_flux_in_air"].values,
        series["surface_diffuse_downwelling_shortwave_flux_in_air"].values,
    )
    morning = (steps.elevation > 2) & (steps.azimuth < 170) & (steps.look_interval == 20)
    beam = normal[0] * np.sin(np.radians(steps.elevation))
    assert (np.diff(beam[morning]) > 0).all()


def test_looks_are_never_more_than_ten_minutes_apart() -> None:
    assert lay(weather(), 3600.0, *SITE).look_seconds.max() <= 600.0


def test_sun_position_against_an_almanac() -> None:
    """Low-precision formulas of the Astronomical Almanac (section C, from memory), good to 0.01 degree: height of the
    sun at its highest, and when the hour angle is zero."""
    steps = lay(weather(hours=30), 300.0, *SITE)
    top = steps.elevation.argmax()
    middle = steps.time[top] - np.timedelta64(150, "s")
    days = (middle - np.datetime64("2000-01-01T12:00")) / np.timedelta64(1, "D")
    mean, anomaly = np.radians([280.460 + 0.9856474 * days, 357.528 + 0.9856003 * days])
    longitude = mean + np.radians(1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    tilt = np.radians(23.439 - 4e-7 * days)
    declination = np.arcsin(np.sin(tilt) * np.sin(longitude))
    ascension = np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))
    sidereal = 280.46062 + 360.98564737 * days - 88.0  # [degree] at the site
    hour_angle = (sidereal - np.degrees(ascension) + 180.0) % 360.0 - 180.0
    # refraction at 28 degrees adds 0.03; half a step is 0.6 degree of hour angle
    assert steps.elevation[top] == pytest.approx(90 - 41 + np.degrees(declination) + 0.03, abs=0.02)
    assert abs(hour_angle) <= 0.7
