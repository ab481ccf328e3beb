"""Warm-up and failure: how their hours are read off, and what physics says of them."""

import sys
from pathlib import Path

import numpy as np
import pytest

from microclimate.sizing import options as opt
from microclimate.sizing import trials, winter_run, winters

sys.path.insert(0, str(Path(__file__).parent))
import lawn

HOURS = np.arange(1, 721) / 6.0  # five days in steps of ten minutes


def test_warm_up_is_the_hour_from_which_the_limit_is_kept() -> None:
    lowest = np.where(HOURS < 30.0, 272.0, 275.0)
    assert trials._back(lowest, HOURS, 273.15, 0.0) == pytest.approx(30.0)
    dip = np.where((HOURS > 32.0) & (HOURS < 33.0), 272.0, lowest)  # a short return is not yet "back"
    assert trials._back(dip, HOURS, 273.15, 0.0) == pytest.approx(33.0)
    assert trials._back(lowest + 5.0, HOURS, 273.15, 0.0) == 0.0
    assert np.isinf(trials._back(lowest - 5.0, HOURS, 273.15, 0.0))


def test_a_failure_is_lost_at_its_first_hour_below_the_limit() -> None:
    falling = 275.0 - 0.1 * HOURS
    assert trials._lost(falling, HOURS, 273.15) == pytest.approx(18.5 + 1.0 / 6.0, abs=0.17)
    assert np.isinf(trials._lost(falling + 5.0, HOURS, 273.15))
    assert trials._lost(falling - 5.0, HOURS, 273.15) == 0.0


@pytest.mark.slow
def test_power_and_covers_shorten_the_warm_up_and_lengthen_the_wait(tmp_path: Path) -> None:
    climate = lawn.climate(tmp_path / "r.csv", years=1, cold=-8.0)
    grid = opt.grid(opt.Asked(power="60, 150", policy=(opt.FROST,)), lawn.venue())
    found = trials.trials(winter_run.Job(lawn.venue(), winters.of_winter(climate, 0), grid, (), (0,)))
    assert found.warm_up.shape == (2, 2)  # design, cover
    assert found.lowest == pytest.approx(climate.weather["air_temperature"].values.min(), abs=1.5)
    assert (found.warm_up[1] <= found.warm_up[0]).all()  # more power
    assert (found.warm_up[:, 1] <= found.warm_up[:, 0]).all()  # a quilt
    assert (found.holds[:, 1] >= found.holds[:, 0]).all()
    assert (found.recovers[1] <= found.recovers[0]).all()
    assert (found.warm_up[0] > 0).all()
