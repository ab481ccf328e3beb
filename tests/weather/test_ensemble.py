"""Members of one run: reproducible, physical, neither too cold at night nor too sure."""

from pathlib import Path

import demo_weather as demo
import numpy as np
import pytest
import xarray as xr
from scipy.stats import norm

from microclimate.errors import InputError, WeatherTooOld
from microclimate.schema import Site
from microclimate.weather import assumed, complete, dress, ensemble, history, read
from microclimate.weather.complete import GLOBAL, LONGWAVE

SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
DEMO = Path(__file__).parents[2] / "data_demo"
NIGHTS = (("2026-01-27T22", "2026-01-28T13"), ("2026-01-28T22", "2026-01-29T13"), ("2026-01-29T22", "2026-01-30T13"))


@pytest.fixture(scope="module")
def run() -> xr.Dataset:
    return complete.weather(read.weather(DEMO / "forecast.csv", SITE), SITE)


@pytest.fixture(scope="module")
def dressed(run: xr.Dataset) -> xr.Dataset:
    return ensemble.members(run, SITE, 31, seed=7)


def test_the_same_seed_draws_the_same_members(run: xr.Dataset, dressed: xr.Dataset) -> None:
    again = ensemble.members(run, SITE, 31, seed=7)
    other = ensemble.members(run, SITE, 31, seed=8)
    assert again.equals(dressed)
    assert not np.allclose(other.air_temperature, dressed.air_temperature)


def test_real_members_are_left_alone() -> None:
    real = complete.weather(read.weather(DEMO / "ensemble.nc", SITE), SITE)
    assert ensemble.members(real, SITE, 31) is real


def test_members_stay_physical(dressed: xr.Dataset) -> None:
    assert (dressed.dew_point_temperature <= dressed.air_temperature).all()
    assert (dressed.wind_speed > 0).all()
    assert (dressed.wind_speed_of_gust >= dressed.wind_speed).all()
    assert ((dressed.cloud_area_fraction >= 0) & (dressed.cloud_area_fraction <= 1)).all()
    assert (dressed.snowfall_flux <= dressed.precipitation_flux).all()
    assert {"dressed", "not_dressed"} <= set(assumed.codes(dressed))


@pytest.mark.parametrize(("first", "last"), NIGHTS)
def test_the_night_minimum_is_not_made_colder_by_noise(
    run: xr.Dataset, dressed: xr.Dataset, first: str, last: str
) -> None:
    alone = float(run.air_temperature.sel(time=slice(first, last)).min())
    lowest = dressed.air_temperature.sel(time=slice(first, last)).min("time").values
    assert lowest.mean() - alone == pytest.approx(0.0, abs=0.1)
    # and the members are the quantiles of a normal: levels (i - 1/2)/m
    levels = norm.ppf((np.arange(31) + 0.5) / 31)
    assert np.corrcoef(np.sort(lowest), levels)[0, 1] > 0.999


def test_the_spread_grows_with_lead_as_stated(run: xr.Dataset) -> None:
    many = ensemble.members(run, SITE, 400, seed=1)
    spread = many.air_temperature.std("realization").values
    hours = np.arange(len(spread))
    stated = np.sqrt(2.6 + 0.1 * hours) * np.sqrt(np.clip(hours / 6, 0, 1))
    assert spread[0] < 1e-9
    # 400 draws: sd known to 3.5 %; the night's rank mapping moves it a little more
    assert np.abs(spread[6:] / stated[6:] - 1.0).max() < 0.2
    assert spread[48] > spread[12]


def test_errors_last_for_hours(run: xr.Dataset) -> None:
    many = ensemble.members(run, SITE, 400, seed=2)
    error = (many.air_temperature - run.air_temperature.values[0]).values[:, 33:43]
    next_hour = np.corrcoef(error[:, 0], error[:, 1])[0, 1]
    later = np.corrcoef(error[:, 0], error[:, 8])[0, 1]
    # 0.84 of (half slow, half AR(1) of 8 h) and 0.16 of the cloud's (0.3 slow, the rest AR(1) of 6 h), by hand;
    # 400 draws know a correlation of 0.65 to 0.03, and the night's rank mapping touches it
    assert next_hour == pytest.approx(
        0.84 * (0.5 + 0.5 * np.exp(-1 / 8)) + 0.16 * (0.3 + 0.7 * np.exp(-1 / 6)), abs=0.03
    )
    assert later == pytest.approx(0.84 * (0.5 + 0.5 * np.exp(-1)) + 0.16 * (0.3 + 0.7 * np.exp(-8 / 6)), abs=0.1)


def test_cloudier_members_are_warmer_at_night_and_have_more_longwave(run: xr.Dataset) -> None:
    many = ensemble.members(run, SITE, 400, seed=3)
    at = many.sel(time="2026-01-29T03", method="nearest")
    assert np.corrcoef(at.cloud_area_fraction, at.air_temperature)[0, 1] > 0.1
    assert np.corrcoef(at.cloud_area_fraction, at[LONGWAVE])[0, 1] > 0.5
    noon = many.sel(time="2026-01-29T18", method="nearest")
    assert np.corrcoef(noon.cloud_area_fraction, noon[GLOBAL])[0, 1] < -0.5


def test_a_newer_issue_keeps_the_errors_of_the_older_at_the_same_hour(run: xr.Dataset) -> None:
    hours = run.time.values
    error = dress._noise(dress.ERRORS["temperature"], hours, 5, 7, 0)
    later = dress._noise(dress.ERRORS["temperature"], hours[12:], 5, 7, 0)
    assert later == pytest.approx(error[:, 12:], abs=2e-3)  # the AR(1) has forgotten its start after 72 h: exp(-9)


def test_a_run_with_a_gap_keeps_it_in_every_member(run: xr.Dataset) -> None:
    holed = run.copy(deep=True)
    holed.air_temperature[0, 40:50] = np.nan
    made = ensemble.members(holed, SITE, 5)
    assert np.isnan(made.air_temperature.values[:, 40:50]).all()
    assert np.isfinite(made.air_temperature.values[:, :40]).all()


def test_the_pull_to_the_climate_warms_a_cold_extreme_and_narrows(run: xr.Dataset) -> None:
    usual = complete.weather(read.weather(demo.SOURCE, SITE), SITE)
    climate = history.climate(usual, run.time.values)
    pulled = ensemble.members(run, SITE, 200, seed=5, climate=climate)
    free = ensemble.members(run, SITE, 200, seed=5)
    at = {"time": "2026-01-29T11"}
    # w = s_c^2 / (s_c^2 + sigma^2) by hand at that hour
    hour = int(np.flatnonzero(run.time.values == np.datetime64("2026-01-29T11"))[0])
    sigma2 = 2.6 + 0.1 * hour
    wide2 = float(climate.spread.temperature[hour]) ** 2
    w = wide2 / (wide2 + sigma2)
    forecast = float(run.air_temperature.sel(at).item())
    centre = float(climate.mean.temperature[hour]) + w * (forecast - float(climate.mean.temperature[hour]))
    assert float(pulled.air_temperature.sel(at).mean()) == pytest.approx(centre, abs=0.5)
    assert float(pulled.air_temperature.sel(at).mean()) > float(free.air_temperature.sel(at).mean()) + 0.5
    assert float(pulled.air_temperature.sel(at).std()) < float(free.air_temperature.sel(at).std())


def test_weather_that_does_not_reach_the_night_is_refused(run: xr.Dataset) -> None:
    ensemble.covers(run, np.datetime64("2026-01-28T22"), np.datetime64("2026-01-29T13"))
    with pytest.raises(WeatherTooOld, match="fetch a newer one") as caught:
        ensemble.covers(run, np.datetime64("2026-02-03T22"), np.datetime64("2026-02-04T13"))
    assert caught.value.exit_code == 3
    with pytest.raises(WeatherTooOld, match="begins"):
        ensemble.covers(run, np.datetime64("2026-01-20T22"), np.datetime64("2026-01-28T13"))


def test_a_forecast_from_the_future_is_refused(run: xr.Dataset) -> None:
    night = np.datetime64("2026-01-28T22"), np.datetime64("2026-01-29T13")
    ensemble.covers(run, *night, now=np.datetime64("2026-01-27T17:30"))
    with pytest.raises(InputError, match="after now"):
        ensemble.covers(run, *night, now=np.datetime64("2026-01-27T12:00"))


def test_the_demo_files_are_what_their_recipe_makes(tmp_path: Path) -> None:
    assert (DEMO / "past.csv").read_text("utf-8") == demo.past()
    assert (DEMO / "forecast.csv").read_text("utf-8") == demo.forecast()
    for name, number in demo.MONTHS.items():
        assert (DEMO / name).read_text("utf-8") == demo.month(number)
    made = demo.ensemble(DEMO / "forecast.csv")
    with xr.open_dataset(DEMO / "ensemble.nc", engine="h5netcdf") as file:
        for name in demo.KEPT:
            assert made[name].values == pytest.approx(file[name].values, abs=0.011, rel=1e-5), name
    assert (DEMO / "ensemble.nc").stat().st_size < 500_000


def test_the_demo_members_were_pulled_to_the_climate() -> None:
    run = complete.weather(read.weather(DEMO / "forecast.csv", SITE), SITE)
    many = complete.weather(read.weather(DEMO / "ensemble.nc", SITE), SITE)
    first, last = NIGHTS[1]
    alone = float(run.air_temperature.sel(time=slice(first, last)).min())
    lowest = many.air_temperature.sel(time=slice(first, last)).min("time")
    assert 0.5 < float(lowest.mean()) - alone < 2.0


def test_a_gust_over_a_near_calm_stays_a_gust(run: xr.Dataset) -> None:
    """A forecast of 0.05 m/s with gusts of 10: no member's gust is that multiple of its own wind."""
    calm = run.assign(
        wind_speed=xr.full_like(run.wind_speed, 0.05), wind_speed_of_gust=xr.full_like(run.wind_speed, 10.0)
    )
    many = ensemble.members(calm, SITE, 200, seed=3)
    gust = many.wind_speed_of_gust.values
    assert gust.max() < 15.0  # 10 + 2 x what the members' winds spread over
    assert (gust >= many.wind_speed.values).all()


def test_ordinary_gusts_keep_their_factor_and_storms_stay_on_earth(run: xr.Dataset, dressed: xr.Dataset) -> None:
    windy = run.wind_speed.values[0] > dress.CALMEST
    factor = (run.wind_speed_of_gust / run.wind_speed).values[0, windy]
    assert np.allclose((dressed.wind_speed_of_gust / dressed.wind_speed).values[:, windy], factor)
    storm = run.assign(
        wind_speed=xr.full_like(run.wind_speed, 60.0), wind_speed_of_gust=xr.full_like(run.wind_speed, 100.0)
    )
    many = ensemble.members(storm, SITE, 31, seed=3)
    assert float(many.wind_speed.max()) <= 75.0
    assert float(many.wind_speed_of_gust.max()) <= 110.0


def test_members_without_a_wind_direction_are_given_one_each(run: xr.Dataset) -> None:
    """So that shelter, which hangs on it, has its whole range; also where the members are real ones."""
    blind = run.assign(wind_from_direction=xr.full_like(run.wind_from_direction, np.nan))
    real = complete.weather(read.weather(DEMO / "ensemble.nc", SITE), SITE)
    real = real.assign(wind_from_direction=xr.full_like(real.wind_from_direction, np.nan))
    for series in (blind, real):
        turned = ensemble.members(series, SITE, 31, seed=2).wind_from_direction.values
        assert np.isfinite(turned).all()
        assert (turned == turned[:, :1]).all()
        assert np.ptp(turned[:, 0]) > 270.0
        assert (ensemble.members(series, SITE, 31, seed=2).wind_from_direction.values == turned).all()
