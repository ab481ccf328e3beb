"""Every option through a made-up winter: what physics says of heat, power, leads and covers."""

import sys
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from microclimate.sizing import answers, winter_run, winters
from microclimate.sizing import options as opt

sys.path.insert(0, str(Path(__file__).parent))
import lawn

SHIFTS = (-5, 0, 5)


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    climate = lawn.climate(tmp_path_factory.mktemp("r") / "r.csv", years=1, cold=-3.0)
    asked = opt.Asked(power="30, 120", lead="6, 36 h", policy=(opt.FROST, opt.LED, opt.BASE))
    grid = opt.grid(asked, lawn.venue())
    events = (lawn.evening(10, (20, 22)), lawn.evening(20, (20, 22)))
    job = winter_run.Job(lawn.venue(), winters.of_winter(climate, 0), grid, events, SHIFTS)
    site, _ = winter_run.site_and_forcing(job)
    told = winter_run.run(job)
    return job, site, told


def _option(ran, power: float, kind: str, lead: float = 0.0, cover: int = 0) -> xr.Dataset:  # type: ignore[no-untyped-def]
    job, _, told = ran
    for number, option in enumerate(job.grid.options):
        same = option.policy.kind == kind and option.policy.lead == lead * 3600.0 and option.cover == cover
        if same and (kind == opt.NOTHING or job.grid.designs[option.design].power == power):
            return told.isel(option=number)
    raise AssertionError("no such option")


def test_nothing_is_put_in_without_heat_and_power_is_never_passed(ran) -> None:  # type: ignore[no-untyped-def]
    assert float(_option(ran, 0.0, opt.NOTHING)["energy"].sum()) == 0.0
    for power in (30.0, 120.0):
        held = _option(ran, power, opt.FROST)
        assert 0.0 < float(held["power"].max()) <= power + 1e-3
        # energy is at most highest power by hours of heat
        assert float(held["energy"].sum()) <= power * 3600.0 * float(held["heated"].sum()) * (1 + 1e-6)


def test_more_power_and_more_lead_warm_the_ground_no_less(ran) -> None:  # type: ignore[no-untyped-def]
    weak, strong = (_option(ran, power, opt.FROST)["night_soil"] for power in (30.0, 120.0))
    none = _option(ran, 0.0, opt.NOTHING)["night_soil"]
    assert (strong >= weak - 1e-3).all()
    assert (weak >= none - 1e-3).all()
    short, long = (_option(ran, 120.0, opt.LED, lead)["event_soil"] for lead in (6.0, 36.0))
    assert (long >= short - 1e-3).all()
    assert float((long - short).max()) > 0.2


def test_a_cover_saves_heat_that_holds_the_same_probe(ran) -> None:  # type: ignore[no-untyped-def]
    bare, quilted = (_option(ran, 120.0, opt.FROST, cover=cover) for cover in (0, 1))
    assert float(quilted["laid"]) > 20
    assert float(quilted["energy"].sum()) < 0.8 * float(bare["energy"].sum())


def test_each_shift_of_the_calendar_heats_for_its_own_dates(ran) -> None:  # type: ignore[no-untyped-def]
    """Heat led by an event 36 h ahead warms the ground at every shift alike, not on the unmoved date alone."""
    led, none = _option(ran, 120.0, opt.LED, 36.0), _option(ran, 0.0, opt.NOTHING)
    gain = (led["event_soil"] - none["event_soil"]).values
    assert (gain > 0.3).all()
    assert np.ptp(gain, axis=-1).max() < 2.0


def test_the_same_winter_gives_the_same_bits(ran) -> None:  # type: ignore[no-untyped-def]
    job, _, told = ran
    again = winter_run.run(job)
    xr.testing.assert_identical(told, again)


def test_answers_are_sealed_and_complete(ran) -> None:  # type: ignore[no-untyped-def]
    job, site, told = ran
    found = answers.answers(site, job.grid, [told, told.assign_attrs(winter="again")])
    assert found.sizes["option"] == len(job.grid.options)
    assert found.sizes["winter"] == 2
    assert np.isfinite(found["held"].values).all()
    # two equal winters: twice the events, the same share
    one = answers.answers(site, job.grid, [told])
    np.testing.assert_allclose(found["held"].values, one["held"].values)
    assert (found["held_high"] - found["held_low"] <= one["held_high"] - one["held_low"] + 1e-12).all()
