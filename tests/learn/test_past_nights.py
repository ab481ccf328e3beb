"""Pairs from the store: nothing known too early, like leads, gaps left out, and the correction that follows."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from microclimate.fieldlog.store import Reading, Store
from microclimate.learn.past_nights import past_nights, remember
from microclimate.schema import Site
from microclimate.weather import assumed, complete, ensemble, read, update

SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
DEMO = Path(__file__).parents[2] / "data_demo"
NIGHT = np.datetime64("2026-01-28T22:40", "s"), np.datetime64("2026-01-29T13:20", "s")
ISSUED = np.datetime64("2026-01-27T17:00", "s")


def _filled(folder: Path, nights: int, colder: float, lost: int = -1) -> Store:
    """A store with a forecast each noon and hourly readings that run `colder` than it; one night without readings."""
    store = Store(folder / "log.sqlite")
    rng = np.random.default_rng(3)
    source = store.source("forecasts", b"x", ISSUED)
    for back in range(nights, -1, -1):
        noon = ISSUED - np.timedelta64(back, "D")
        valid = noon + np.arange(1, 49) * np.timedelta64(1, "h")
        hour = (valid.astype("datetime64[h]").astype(int) % 24).astype(float)
        level = 266.0 + 3.0 * np.sin(back)
        curve = level + 4.0 * np.cos(2 * np.pi * (hour - 20) / 24)
        store.add_forecast(noon, valid, "air_temperature", curve[:, None] + np.array([-0.5, 0.0, 0.5]), source)
        store.add_forecast(noon, valid, "cloud_area_fraction", np.full((48, 3), 0.1 if back % 2 else 0.9), source)
        store.add_forecast(noon, valid, "wind_speed", np.full((48, 3), 2.0), source)
        if back == lost:
            continue
        # the day that begins a day later is read: the forecast of one and a half days' lead is judged
        readings = [
            Reading("mast", "air_temperature", t, float(v) - colder + 0.3 * rng.normal())
            for t, v in zip(valid[23:47], curve[23:47], strict=True)
        ]
        store.add_readings(readings, source)
    return store


def test_pairs_are_of_like_lead_and_known_in_time(tmp_path: Path) -> None:
    with _filled(tmp_path, 12, 2.0) as store:
        nights, newest = past_nights(store, SITE, "mast", NIGHT, ISSUED)
    assert newest == timedelta(hours=44, minutes=20)
    assert (nights.valid_time <= ISSUED).all()
    assert (np.diff(nights.valid_time) > np.timedelta64(20, "h")).all()
    assert nights.members.shape[1] == 3
    gap = nights.observed - nights.members.mean(axis=1)
    assert np.nanmean(gap) == pytest.approx(-2.3, abs=0.5)  # 2 K, and the lowest of fifteen noisy readings
    assert nights.clear_calm.any()
    assert not nights.clear_calm.all()


def test_what_is_read_later_changes_nothing(tmp_path: Path) -> None:
    with _filled(tmp_path, 12, 2.0) as store:
        before, _ = past_nights(store, SITE, "mast", NIGHT, ISSUED)
        source = store.source("later", b"y", ISSUED)
        store.add_readings([Reading("mast", "air_temperature", ISSUED + np.timedelta64(9, "h"), 200.0)], source)
        after, _ = past_nights(store, SITE, "mast", NIGHT, ISSUED)
    assert np.array_equal(before.observed, after.observed, equal_nan=True)


def test_a_night_without_readings_is_no_pair(tmp_path: Path) -> None:
    with _filled(tmp_path, 12, 2.0, lost=6) as store:
        nights, _ = past_nights(store, SITE, "mast", NIGHT, ISSUED)
    assert np.isnan(nights.observed).sum() >= 1


def test_an_empty_store_gives_no_pairs(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store:
        nights, _ = past_nights(store, SITE, None, NIGHT, ISSUED)
    assert len(nights.observed) == 0


def test_a_forecast_is_remembered_once_and_corrects_tonight(tmp_path: Path) -> None:
    run = complete.weather(read.weather(DEMO / "forecast.csv", SITE), SITE)
    members = ensemble.members(run, SITE, 31)
    window = {"time": slice(*NIGHT)}
    with _filled(tmp_path, 30, 3.0) as store:
        content = (DEMO / "forecast.csv").read_bytes()
        assert remember(store, members, content, ISSUED) == 3 * 31 * run.sizes["time"]
        assert remember(store, members, content, ISSUED) == 0
        nights, newest = past_nights(store, SITE, "mast", NIGHT, ISSUED)
    made = update.local(members, SITE, nights, NIGHT, newest)
    shift = (made.air_temperature.sel(window).min("time") - members.air_temperature.sel(window).min("time")).mean()
    assert -4.5 < float(shift) < -1.0
    assert int(assumed.codes(made)["bias_nights"][0]) > 20


def test_a_run_that_says_no_time_of_issue_is_not_kept(tmp_path: Path) -> None:
    times = pd.date_range("2026-01-28", periods=3, freq="h")
    nameless = xr.Dataset({"air_temperature": (("realization", "time"), np.zeros((2, 3)))}, coords={"time": times})
    with Store(tmp_path / "log.sqlite") as store:
        assert remember(store, nameless, b"", ISSUED) == 0
