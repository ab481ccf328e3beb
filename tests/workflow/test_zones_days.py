"""Local days of a span, across a change of the clocks and of a typical year; weather that does not hold them."""

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.schema import Site
from microclimate.weather import complete, read
from microclimate.workflow import zones_days
from microclimate.workflow.zones_days import Days

SITE = Site("", 36.1, -79.95, 273.0, "America/New_York")
DEMO = Path(__file__).parents[2] / "data_demo"
TYPICAL = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
TODAY = date(2026, 1, 20)


@pytest.fixture(scope="module")
def past() -> xr.Dataset:
    """13 January 13:00 to 27 January 12:00 local time, hourly."""
    return complete.weather(read.weather(DEMO / "past.csv", SITE), SITE)


@pytest.fixture(scope="module")
def typical() -> xr.Dataset:
    return complete.weather(read.weather(TYPICAL, SITE), SITE)


def test_days_are_local_and_as_long_as_the_clocks_make_them() -> None:
    """1 November 2026 has 25 hours in New York, 8 March 2026 has 23 (Energy Policy Act of 2005)."""
    autumn = Days(date(2026, 10, 31), date(2026, 11, 2), SITE.time_zone)
    np.testing.assert_array_equal(np.diff(autumn.edges) / np.timedelta64(1, "h"), [24, 25, 24])
    spring = Days(date(2026, 3, 8), date(2026, 3, 8), SITE.time_zone)
    assert np.diff(spring.edges)[0] / np.timedelta64(1, "h") == 23
    assert autumn.edges[0] == np.datetime64("2026-10-31T04:00")


def test_an_interval_belongs_to_the_day_in_which_it_ends() -> None:
    days = Days(date(2026, 1, 20), date(2026, 1, 21), SITE.time_zone)
    midnight = np.datetime64("2026-01-21T05:00", "ns")
    ends = midnight + np.array([-1, 0, 1]) * np.timedelta64(600, "s").astype("timedelta64[ns]")
    np.testing.assert_array_equal(days.of(ends), [0, 0, 1])
    np.testing.assert_array_equal(days.of(days.edges[[0, -1]]), [-1, 1])


def test_stretches_hold_each_day_once() -> None:
    days = Days(date(2026, 1, 1), date(2026, 1, 23), "Europe/Oslo")
    parts = days.stretches(10)
    assert [part.count for part in parts] == [10, 10, 3]
    assert [d for part in parts for d in part.dates] == days.dates


def test_without_dates_all_whole_days_of_the_weather(past: xr.Dataset) -> None:
    days = zones_days.asked(None, None, SITE.time_zone, TODAY, past)
    assert (days.first, days.last) == (date(2026, 1, 14), date(2026, 1, 26))
    assert zones_days.asked("2026-01-20", None, SITE.time_zone, TODAY, past).last == date(2026, 1, 26)
    assert zones_days.asked(None, None, SITE.time_zone, TODAY, None).dates == [TODAY]


@pytest.mark.parametrize(
    ("first", "last", "where"),
    [
        ("yesterday", None, "--from"),
        ("2026-02-30", None, "--from"),
        ("2026-01-20", "2026-01-19", "--to"),
        ("2026-01-20", "2030-01-19", "--from, --to"),
    ],
)
def test_dates_that_cannot_be(first: str, last: str | None, where: str) -> None:
    with pytest.raises(InputError) as caught:
        zones_days.asked(first, last, SITE.time_zone, TODAY, None)
    assert caught.value.problems[0].where == where


def test_both_wrong_dates_are_named_at_once() -> None:
    with pytest.raises(InputError) as caught:
        zones_days.asked("x", "y", SITE.time_zone, TODAY, None)
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize("text", ["2026-01-20", "half past nine", "2026-03-08T02:30", ""])
def test_an_instant_needs_a_time_that_the_clock_shows(text: str) -> None:
    """2:30 is left out on 8 March 2026 in New York."""
    with pytest.raises(InputError, match="--at"):
        zones_days.moment(text, SITE.time_zone)


def test_an_instant_is_local_unless_it_says_otherwise() -> None:
    wanted = pd.Timestamp("2026-01-20T15:30", tz="UTC")
    for text in ("2026-01-20T10:30", "2026-01-20 10:30", "2026-01-20T15:30Z", "2026-01-20T16:30+01:00"):
        assert zones_days.moment(text, SITE.time_zone) == wanted


def test_weather_that_ends_too_early_or_has_a_gap_is_refused(past: xr.Dataset) -> None:
    with pytest.raises(InputError, match="holds 2026-01-13"):
        zones_days.covering(past, Days(date(2026, 1, 26), date(2026, 1, 28), SITE.time_zone))
    torn = past.copy(deep=True)
    torn["air_temperature"].values[0, 100:110] = np.nan
    with pytest.raises(InputError, match="misses values from 2026-01-17 22:00"):
        zones_days.covering(torn, Days(date(2026, 1, 14), date(2026, 1, 20), SITE.time_zone))
    before_the_gap = Days(date(2026, 1, 14), date(2026, 1, 16), SITE.time_zone)
    assert zones_days.covering(torn, before_the_gap).sizes["realization"] == 1


def test_a_short_gap_is_filled_from_the_days_beside_it_and_counted(past: xr.Dataset) -> None:
    """6 h without air: the mean of the same hours a day before and after; directions as vectors. 7 h are
    refused."""
    days = Days(date(2026, 1, 16), date(2026, 1, 20), SITE.time_zone)
    torn = past.copy(deep=True)
    torn["air_temperature"].values[0, 100:106] = np.nan
    torn["wind_from_direction"].values[0, 100:106] = np.nan
    torn["wind_from_direction"].values[0, 76:82], torn["wind_from_direction"].values[0, 124:130] = 350.0, 30.0
    found = zones_days.covering(torn, days)
    air = past["air_temperature"].values[0]
    np.testing.assert_allclose(found["air_temperature"].values[0, 100:106], 0.5 * (air[76:82] + air[124:130]))
    np.testing.assert_allclose(found["wind_from_direction"].values[0, 100:106], 10.0)
    told = zones_days.assumptions(found)
    assert "day_beside=air_temperature:6" in told
    assert not any(code.startswith("gap=") for code in told)
    torn["air_temperature"].values[0, 100:107] = np.nan
    with pytest.raises(InputError, match="misses values from 2026-01-17 22:00"):
        zones_days.covering(torn, days)


def test_weather_without_any_wind_direction_is_no_gap(past: xr.Dataset) -> None:
    calm = past.assign(wind_from_direction=past["wind_from_direction"] * np.nan)
    found = zones_days.covering(calm, Days(date(2026, 1, 16), date(2026, 1, 20), SITE.time_zone))
    assert not np.isfinite(found["wind_from_direction"].values).any()


def test_a_gap_that_the_day_beside_shares_is_refused(past: xr.Dataset) -> None:
    torn = past.copy(deep=True)
    torn["air_temperature"].values[0, [100, 101, 124, 125]] = np.nan
    with pytest.raises(InputError, match="misses values"):
        zones_days.covering(torn, Days(date(2026, 1, 16), date(2026, 1, 20), SITE.time_zone))


def test_a_typical_year_is_carried_over_new_year(typical: xr.Dataset) -> None:
    days = Days(date(2025, 12, 1), date(2026, 2, 28), SITE.time_zone)
    found = zones_days.covering(typical, days)
    times = found["time"].values
    assert (np.diff(times) > np.timedelta64(0)).all()
    assert times[0] <= days.edges[0]
    assert times[-1] >= days.edges[-1]
    later = found["air_temperature"].sel(time="2026-02-10T12:00").values
    first = typical["air_temperature"].sel(time="2025-02-10T12:00").values
    np.testing.assert_array_equal(later, first)
