"""Design nights: the law by hand, the range by coverage, short records said so."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
import xarray as xr
from scipy.stats import gumbel_l

from microclimate.errors import InputError
from microclimate.schema import Site
from microclimate.weather import complete, read
from microclimate.weather.rarity import _gumbel, _level, design_night, night_minima

TMY3 = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def _record(winters: int, seed: int = 0) -> xr.Dataset:
    """Hours whose coldest night of each winter follows a Gumbel law: place 260 K, width 2.5 K."""
    rng = np.random.default_rng(seed)
    times = pd.date_range("1990-12-01", f"{1990 + winters}-12-31 23:00", freq="h")
    air = np.full(len(times), 275.0) + 3.0 * np.cos(2 * np.pi * (times.hour.to_numpy() - 15) / 24)
    for winter in range(winters):
        night = pd.Timestamp(f"{1991 + winter}-01-10 05:00") + pd.Timedelta(days=int(rng.integers(0, 20)))
        air[times.get_loc(night)] = gumbel_l.rvs(260.0, 2.5, random_state=rng)
    return xr.Dataset({"air_temperature": (("realization", "time"), air[None])}, coords={"time": times})


def test_the_law_by_hand() -> None:
    # the level that falls below once in 10 years: F = 0.1, x = place + width ln(-ln 0.9)
    assert _level(260.0, 2.5, 10.0, 1) == pytest.approx(260.0 + 2.5 * np.log(-np.log(0.9)))
    assert _level(260.0, 2.5, 10.0, 1) == pytest.approx(gumbel_l.ppf(0.1, 260.0, 2.5))
    # of nine stretches a winter the lowest: 1 - (1 - F)^9 = 0.1
    below = gumbel_l.cdf(_level(260.0, 2.5, 10.0, 9), 260.0, 2.5)
    assert 1 - (1 - below) ** 9 == pytest.approx(0.1)


def test_l_moments_find_the_law_again() -> None:
    place, width = _gumbel(gumbel_l.rvs(260.0, 2.5, size=20000, random_state=1))
    assert (place, width) == pytest.approx((260.0, 2.5), abs=0.06)


def test_a_long_record_gives_the_level_and_its_range() -> None:
    truth = gumbel_l.ppf(1 / 20, 260.0, 2.5)
    inside, errors = [], []
    for seed in range(20):
        made = design_night(_record(30, seed), 45.0, 20.0)
        assert made.winters == 30
        assert not made.short
        inside.append(made.low <= truth <= made.high)
        errors.append(made.lowest - truth)
    assert 10 <= sum(inside) <= 20  # 80 % of 20 are 16, sd 1.8
    assert abs(np.mean(errors)) < 1.0


def test_a_typical_year_is_said_to_be_short_and_names_a_night_like_it() -> None:
    site = Site("field", 36.1, -79.95, 273.0, "America/New_York")
    usual = complete.weather(read.weather(TMY3, site), site)
    once_in_two, once_in_twenty = (design_night(usual, 36.1, years) for years in (2.0, 20.0))
    assert once_in_two.short
    assert once_in_two.winters == 1
    assert once_in_twenty.lowest < once_in_two.lowest < 273.15 - 8.0
    assert once_in_two.low < once_in_two.lowest < once_in_two.high
    _, lowest = night_minima(usual)
    found = float(usual.air_temperature.sel(time=once_in_two.like).item())
    assert abs(found - once_in_two.lowest) == pytest.approx(np.abs(lowest - once_in_two.lowest).min())


def test_what_cannot_be_fitted_is_told() -> None:
    with pytest.raises(InputError, match="coldest three months"):
        design_night(_record(1).isel(time=slice(0, 24 * 40)), 45.0, 10.0)
    with pytest.raises(InputError, match="more than 1"):
        design_night(_record(2), 45.0, 1.0)
    with pytest.raises(InputError, match="coldest three months"):
        design_night(_record(1).isel(time=slice(0, 24 * 100)), -35.0, 10.0)  # a southern winter is in July
