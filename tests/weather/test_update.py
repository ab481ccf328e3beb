"""Typed forecasts, evening readings, local learning, pooled sources."""

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.schema import Site
from microclimate.weather import assumed, complete, ensemble, read, typed, update
from microclimate.weather.complete import LONGWAVE

SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
DEMO = Path(__file__).parents[2] / "data_demo"
NIGHT = np.datetime64("2026-01-28T22:45"), np.datetime64("2026-01-29T12:25")
PAGE = {"low": "26 degF", "high": "41 degF", "wind": "3 mph", "cloud": "clear"}


@pytest.fixture(scope="module")
def members() -> xr.Dataset:
    run = complete.weather(read.weather(DEMO / "forecast.csv", SITE), SITE)
    return ensemble.members(run, SITE, 200, seed=1)


# --- typed by hand


def test_a_typed_night_reaches_its_low_near_sunrise_and_its_high_after_noon() -> None:
    raw = typed.typed(SITE, date(2026, 1, 28), dew="20 degF", **PAGE)
    celsius = raw.air_temperature.values[0] - 273.15
    times = pd.DatetimeIndex(raw.time.values)
    assert celsius.min() == pytest.approx(-3.33, abs=0.15)  # 26 degF, on the hour nearest to the lowest
    assert times[celsius.argmin()] == pd.Timestamp("2026-01-29T12:00")  # sunrise 12:23 UTC (7:23 local)
    assert celsius.max() == pytest.approx(5.0, abs=0.1)  # 41 degF
    assert times[celsius[:8].argmax()] == pd.Timestamp("2026-01-28T19:00")  # 1.86 h after solar noon (17:33 UTC)
    night = celsius[(times > "2026-01-28T23:00") & (times < "2026-01-29T12:00")]
    assert (np.diff(night) < 0).all()  # falls all night ...
    assert (np.diff(night, 2) > 0).all()  # ... and ever more slowly
    assert raw.dew_point_temperature.values[0, 0] - 273.15 == pytest.approx(-6.67, abs=0.01)
    assert raw.wind_speed.values[0, 0] == pytest.approx(1.341, abs=1e-3)


def test_a_typed_night_runs_through_and_its_error_is_wider() -> None:
    one = complete.weather(typed.typed(SITE, date(2026, 1, 28), **PAGE), SITE)
    many = ensemble.members(one, SITE, 200)
    codes = assumed.codes(many)
    assert "typed_by_hand" in codes
    assert codes["wider"] == ["1.5"]
    assert codes["dew_point"] == ["daily_minimum"]
    ensemble.covers(one, NIGHT[0], NIGHT[1])
    at = {"time": "2026-01-29T11"}
    usual = ensemble.members(complete.weather(read.weather(DEMO / "forecast.csv", SITE), SITE), SITE, 200)
    assert float(many.air_temperature.sel(at).std()) > 1.2 * float(usual.air_temperature.sel(at).std())


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"low": "26"}, "no unit"),
        ({"low": "45 degF"}, "above --high"),
        ({"low": "26 mph"}, "--low"),
        ({"cloud": "fluffy"}, "--cloud"),
        ({"cloud": "140 %"}, "0 to 100 %"),
        ({"wind": "300 m/s"}, "--wind"),
        ({"high": "411 degF"}, "on Earth"),
    ],
)
def test_a_typed_forecast_that_cannot_be_is_told(changes: dict[str, str], words: str) -> None:
    with pytest.raises(InputError) as caught:
        typed.typed(SITE, date(2026, 1, 28), **(PAGE | changes))
    assert words in str(caught.value)


def test_a_polar_night_cannot_be_typed() -> None:
    with pytest.raises(InputError, match="does not rise"):
        typed.typed(Site("north", 78.0, 15.0, 0.0, "UTC"), date(2026, 1, 1), **PAGE)


# --- the evening's own reading


def test_a_reading_pulls_the_night_and_narrows_it(members: xr.Dataset) -> None:
    when = np.datetime64("2026-01-29T00:45")
    before = members.air_temperature.interp(time=when)
    reading = float(before.mean()) - 3.0
    after = update.nowcast(members, SITE, when, reading)
    there = after.air_temperature.interp(time=when)
    # K = s^2/(s^2 + 0.5^2) with s = 2.4 K: 96 % of the way, and a spread near 0.5 K
    assert float(there.mean()) == pytest.approx(reading, abs=0.3)
    assert float(there.std()) < 0.7
    morning = {"time": "2026-01-29T11"}
    shift = float((after.air_temperature - members.air_temperature).sel(morning).mean())
    # ten hours on: 0.5 + 0.5 exp(-10.25/8) = 0.64 of it, by the stated error model, spread grown from 2.37 to 2.57 K
    assert shift == pytest.approx(-3.0 * 0.64 * 0.96 * 2.57 / 2.37, abs=0.4)
    assert float(after.air_temperature.sel(morning).std()) < 0.9 * float(members.air_temperature.sel(morning).std())
    assert (after.dew_point_temperature <= after.air_temperature + 1e-9).all()
    colder = (after.air_temperature < members.air_temperature - 0.1).sel(morning)
    assert (after[LONGWAVE] < members[LONGWAVE]).sel(morning).values[colder.values].all()  # colder air sends less
    assert assumed.codes(after)["nowcast"][0].startswith("-")


def test_a_reading_makes_the_night_minimum_better() -> None:
    # any member in turn is the truth: its own evening value must bring the others' minima nearer to its own
    run = complete.weather(read.weather(DEMO / "forecast.csv", SITE), SITE)
    many = ensemble.members(run, SITE, 40, seed=4)
    when = np.datetime64("2026-01-29T00:45")
    window = {"time": slice(*NIGHT)}
    before, after = [], []
    for row in range(40):
        truth, others = many.isel(realization=row), many.isel(realization=[i for i in range(40) if i != row])
        told = update.nowcast(others, SITE, when, float(truth.air_temperature.interp(time=when)))
        lowest = float(truth.air_temperature.sel(window).min())
        before.append(float(others.air_temperature.sel(window).min("time").mean()) - lowest)
        after.append(float(told.air_temperature.sel(window).min("time").mean()) - lowest)
    assert np.std(after) < 0.8 * np.std(before)


def test_a_dew_point_reading_pulls_the_depression(members: xr.Dataset) -> None:
    when = np.datetime64("2026-01-29T00:45")
    warm = float(members.air_temperature.interp(time=when).mean())
    after = update.nowcast(members, SITE, when, warm, warm - 2.0)
    gap = (after.air_temperature - after.dew_point_temperature).interp(time=when)
    # in ln(depression + 0.5): forecast spread 0.32, reading 0.5 K of 2.5 K, so 72 % of the way from about 8 K to 2 K
    before = float((members.air_temperature - members.dew_point_temperature).interp(time=when).median())
    wanted = np.exp(0.28 * np.log(before + 0.5) + 0.72 * np.log(2.5)) - 0.5
    assert float(gap.median()) == pytest.approx(wanted, abs=0.6)


@pytest.mark.parametrize(
    ("when", "celsius", "words"),
    [("2026-03-01T00:00", -3.0, "outside the weather"), ("2026-01-29T00:45", 40.0, "K from")],
)
def test_a_reading_that_cannot_be_is_told(members: xr.Dataset, when: str, celsius: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        update.nowcast(members, SITE, np.datetime64(when), celsius + 273.15)


# --- the place's own past


def _past(nights: int, bias: float, clear_bias: float = 0.0, centre: float = 264.0) -> update.Nights:
    rng = np.random.default_rng(5)
    clear = np.arange(nights) % 2 == 0
    forecast = centre + 3.0 * rng.standard_normal(nights)
    read_values = forecast + bias + np.where(clear, clear_bias, 0.0) + 0.8 * rng.standard_normal(nights)
    times = np.datetime64("2026-01-29T12:25") - np.arange(nights, 0, -1) * np.timedelta64(1, "D")
    return update.Nights(times, forecast[:, None] + 0.5 * rng.standard_normal((nights, 10)), read_values, clear)


def test_a_place_that_is_colder_than_its_forecasts_is_learned(members: xr.Dataset) -> None:
    window = {"time": slice(*NIGHT)}
    lowest = float(members.air_temperature.sel(window).min("time").mean())
    shifts = {}
    for nights in (5, 15, 40):
        made = update.local(members, SITE, _past(nights, -2.0), NIGHT)
        shifts[nights] = float(made.air_temperature.sel(window).min("time").mean()) - lowest
        assert assumed.codes(made)["bias_nights"] == [str(nights)]
    assert shifts[40] == pytest.approx(-2.0, abs=1.0)
    assert shifts[5] < -0.5
    # by day nothing is moved
    made = update.local(members, SITE, _past(15, -2.0), NIGHT)
    noon = {"time": "2026-01-28T18"}
    assert (made.air_temperature.sel(noon) == members.air_temperature.sel(noon)).all()


def test_clear_calm_nights_have_a_bias_of_their_own(members: xr.Dataset) -> None:
    window = {"time": slice(*NIGHT)}
    times = members.time.values
    assert update.clear_calm(members, (times >= NIGHT[0]) & (times <= NIGHT[1]))
    one = update.local(members, SITE, _past(40, 0.0, clear_bias=-3.0), NIGHT)
    lowest = float(members.air_temperature.sel(window).min("time").mean())
    # pooled, the bias would be -1.5 K; tonight is clear and calm
    assert float(one.air_temperature.sel(window).min("time").mean()) - lowest < -1.9


def test_few_nights_or_none_leave_the_members_alone(members: xr.Dataset) -> None:
    assert update.local(members, SITE, _past(2, -5.0), NIGHT) is members
    newest = update.local(members, SITE, _past(4, -5.0), NIGHT, newest_pair=timedelta(days=3))
    assert newest is members  # only two of the four were known in time


# --- several sources


def test_sources_are_pooled_over_the_times_they_share() -> None:
    run = complete.weather(read.weather(DEMO / "forecast.csv", SITE), SITE)
    real = complete.weather(read.weather(DEMO / "ensemble.nc", SITE), SITE)
    both = update.pool([ensemble.members(run, SITE, 10), real.isel(time=slice(5, None))])
    assert both.sizes["realization"] == 41
    assert both.time.values[0] == real.time.values[5]
    assert assumed.codes(both)["pooled"] == ["2"]
    with pytest.raises(InputError, match="wind_height differs"):
        update.pool([run, real.assign_attrs(wind_height=2.0)])
    with pytest.raises(InputError, match="less than two times"):
        update.pool([run.isel(time=slice(0, 5)), real.isel(time=slice(10, 15))])
