"""Faults planted in clean series are flagged where they stand, and clean series are not."""

import numpy as np
import pytest

from microclimate.fieldlog import daycycle, quality
from microclimate.fieldlog.quality import Finding, Place
from microclimate.schema import Site

SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
HALF_HOUR = np.timedelta64(1800, "s")
Series = tuple[Place, np.ndarray, np.ndarray]


def wave(depth: float, days: int = 8, seed: int = 0, name: str = "P", zone: str = "North goal") -> Series:
    """Closed form: a day's wave that is damped and delayed with depth (damping depth 0.1 m), and a probe's noise."""
    times = np.datetime64("2026-01-10T00:00", "s") + np.arange(48 * days) * HALF_HOUR
    hour = (times.astype(np.int64) % 86400) / 3600.0 - 5.33  # local mean time
    phase = 2 * np.pi * (hour - 13.5) / 24.0 - depth / 0.1
    noise = np.random.default_rng(seed).normal(0.0, 0.05, times.size)
    return (
        Place(name, "soil_temperature", zone, depth),
        times,
        277.0 + 4.0 * np.exp(-depth / 0.1) * np.cos(phase) + noise,
    )


def found(*series: Series) -> list[Finding]:
    numbered = dict(enumerate(series))
    return quality.findings(numbered) + daycycle.led(numbered)


def reasons(findings: list[Finding], sensor: int = 0) -> set[str]:
    return {f.reason for f in findings if f.sensor == sensor}


def test_clean_series_pass() -> None:
    assert found(wave(0.025), wave(0.05, seed=2), wave(0.1, seed=1)) == []
    assert daycycle.against_sun(*wave(0.025), SITE) == 0.0


def test_a_single_wild_reading_is_a_spike_and_only_it() -> None:
    place, times, values = wave(0.025)
    values[100] += 9.0
    (one,) = found((place, times, values))
    assert (one.reason, one.times.tolist()) == ("spike", [times[100].item()])


def test_a_jump_that_stays_is_a_step() -> None:
    place, times, values = wave(0.025)
    values[100:] += 25.0
    steps = [f for f in found((place, times, values)) if f.reason == "step"]
    assert [t.item() for t in steps[0].times] == [times[100].item()]


def test_a_gap_is_no_step() -> None:
    place, times, values = wave(0.025)
    keep = np.r_[0:100, 300:384]
    assert found((place, times[keep], values[keep] + np.where(keep > 200, 6.0, 0.0))) == []


def test_a_probe_that_hangs_is_stuck_but_freezing_ground_is_not() -> None:
    place, times, values = wave(0.025)
    values[50:200] = values[50]
    assert "stuck" in reasons(found((place, times, values)))
    values[50:200] = 273.15
    assert "stuck" not in reasons(found((place, times, values)))


def test_deep_ground_cannot_swing() -> None:
    _place, times, values = wave(0.025)
    deep = Place("P", "soil_temperature", "North goal", 0.25)
    assert "swing" in reasons(found((deep, times, values)))
    assert "swing" not in reasons(found((deep, times, 277.0 + np.linspace(0.0, 20.0, times.size))))  # warms, day by day


def test_two_probes_at_one_depth_should_agree() -> None:
    place, times, values = wave(0.05)
    other = wave(0.05, seed=3, name="Q")
    other[2][100:140] += 4.0
    findings = [f for f in found((place, times, values), other) if f.reason == "disagree"]
    assert {f.sensor for f in findings} == {0, 1}
    assert all(f.times.size == 40 for f in findings)
    assert findings[0].size == pytest.approx(-4.0, abs=0.2)
    elsewhere = wave(0.05, seed=3, name="Q", zone="West")
    elsewhere[2][:] += 4.0
    assert found((place, times, values), elsewhere) == []


@pytest.mark.parametrize(("shallow", "deep"), [(0.025, 0.1), (0.02, 0.06)])
def test_swapped_probes_are_seen_by_their_swing_or_by_which_is_warm_first(shallow: float, deep: float) -> None:
    first, second = wave(shallow), wave(deep, seed=1, name="Q")
    findings = found((first[0], *second[1:]), (second[0], *first[1:]))
    assert {f.sensor for f in findings if f.reason == "swapped"} == {0, 1}


def test_ground_that_freezes_lingers_at_zero_and_a_probe_that_lingers_elsewhere_is_off() -> None:
    times = np.datetime64("2026-01-10T00:00", "s") + np.arange(96) * HALF_HOUR
    freezing = np.interp(np.arange(96), [0, 20, 60, 95], [276.15, 273.15, 273.15, 270.15])
    place = Place("P", "soil_temperature", "North goal", 0.05)
    assert found((place, times, freezing)) == []
    (one,) = [f for f in found((place, times, freezing - 0.6)) if f.reason == "curtain"]
    assert one.size == pytest.approx(-0.6, abs=0.05)
    assert one.times.size >= 40


def test_a_probe_that_races_through_zero_lies_bare() -> None:
    times = np.datetime64("2026-01-10T00:00", "s") + np.arange(96) * HALF_HOUR
    place = Place("P", "soil_temperature", "North goal", 0.05)
    racing = np.where(np.arange(96) < 40, 275.15, 271.15)
    assert "crossing" in reasons(found((place, times, racing)))


@pytest.mark.parametrize("hours", [-5, 5, 12])
def test_a_clock_in_the_wrong_zone_is_seen_by_the_sun(hours: int) -> None:
    place, times, values = wave(0.025)
    off = daycycle.against_sun(place, times + np.timedelta64(hours, "h"), values, SITE)
    if abs(hours) == 12:
        assert abs(off) > 4.0
    else:
        assert np.sign(off) == np.sign(hours)
        assert abs(off) <= abs(hours)


@pytest.mark.parametrize("hours", [-1, 0, 1, 3])
def test_a_clock_an_hour_off_is_seen_by_the_model(hours: int) -> None:
    _, times, values = wave(0.05)
    _, _, model = wave(0.05, seed=9)
    shifted = np.roll(values, 2 * hours)
    assert daycycle.against_series(times, shifted, model) == pytest.approx(hours, abs=0.26)


def test_short_or_flat_series_say_nothing() -> None:
    place, times, values = wave(0.025, days=1)
    assert np.isnan(daycycle.against_sun(place, times, values, SITE))
    assert np.isnan(daycycle.against_series(times, values, values))
    place, times, values = wave(0.025)
    assert np.isnan(daycycle.against_sun(place, times, np.full(times.size, 275.0), SITE))
    assert found((place, times[:0], values[:0])) == []
    assert found((place, times[:1], values[:1])) == []
