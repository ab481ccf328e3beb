"""The day's curve of air temperature. Source of formula and numbers: Parton & Logan 1981, Agric. Meteorol. 23:205."""

import numpy as np
import pytest

from microclimate.physics import daily


def test_the_published_numbers_stand() -> None:
    # air at 1.5 m, as five public codes carry them
    assert (daily.LAG_HIGHEST, daily.DECAY, daily.LAG_LOWEST) == (1.86, 2.20, -0.17)


def test_the_day_by_hand() -> None:
    # 10 h of daylight, 270 to 280 K, 5 h after the lowest: 270 + 10 sin(pi 5 / 13.72)
    assert daily.by_day(5.0, 10.0, 270.0, 280.0) == pytest.approx(270.0 + 10.0 * np.sin(1.1448954), abs=1e-4)
    assert daily.by_day(6.86, 10.0, 270.0, 280.0) == pytest.approx(280.0)  # the highest: half of Y + 2 a
    assert daily.by_day(0.0, 10.0, 270.0, 280.0) == pytest.approx(270.0)


def test_the_night_begins_and_ends_where_it_must() -> None:
    assert daily.by_night(0.0, 13.0, 265.0, 275.0) == pytest.approx(275.0)
    assert daily.by_night(13.0, 13.0, 265.0, 275.0) == pytest.approx(265.0)
    # half the night by hand: (exp(-1.1) - exp(-2.2)) / (1 - exp(-2.2)) of the fall is left: 0.24974
    assert daily.by_night(6.5, 13.0, 265.0, 275.0) == pytest.approx(265.0 + 10.0 * 0.249740, abs=1e-4)
