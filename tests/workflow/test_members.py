"""Tonight's members out of the forecast, the field log and the evening's readings."""

from pathlib import Path

import air_venue
import numpy as np
import pytest
import xarray as xr
from air_nights import clear_night

from microclimate.exposure import patches
from microclimate.exposure.force import forcing
from microclimate.exposure.told import told
from microclimate.fieldlog.readings import spot
from microclimate.fieldlog.store import Reading, Store
from microclimate.venue.calibration import Calibration
from microclimate.weather import assumed
from microclimate.workflow import members as nightly

START, END = np.datetime64("2025-01-15T23:00"), np.datetime64("2025-01-16T12:00")
ISSUED = np.datetime64("2025-01-15T18:00", "s")
NIGHT = nightly.Night(START, END, ISSUED)
HOUR = np.timedelta64(1, "h")


def many(count: int = 11) -> xr.Dataset:
    """Members that differ by even steps of temperature, under a clear calm sky."""
    series = clear_night(1.0, members=count)
    moved = series["air_temperature"] + xr.DataArray(np.linspace(-1.5, 1.5, count), dims="realization")
    bounds = np.stack([series["time"].values - HOUR, series["time"].values], axis=1)
    made = series.assign(air_temperature=moved, dew_point_temperature=moved - 4.0, time_bnds=(("time", "bnds"), bounds))
    return made.assign_attrs(issued=f"{ISSUED}Z")


def lowest(series: xr.Dataset) -> float:
    return float(series["air_temperature"].sel(time=slice(START, END)).min("time").mean())


def log(folder: Path, nights: int, colder: float, zone: str = "") -> Path:
    """A field log with a forecast each day and a thermometer that reads colder than it."""
    path = folder / "fieldlog.db"
    rng = np.random.default_rng(2)
    with Store(path) as store:
        source = store.source("made", b"up", ISSUED)
        for back in range(nights, 0, -1):
            made = ISSUED - np.timedelta64(back, "D")
            valid = made + np.arange(1, 25) * HOUR
            curve = 275.5 + rng.normal() + 3.0 * np.cos(2 * np.pi * (np.arange(1, 25) - 2) / 24)
            for name, value in (
                ("air_temperature", curve),
                ("cloud_area_fraction", 0 * curve + 0.1),
                ("wind_speed", 0 * curve + 1),
            ):
                store.add_forecast(made, valid, name, value[:, None] + np.zeros(3), source)
            store.add_readings(
                [
                    Reading("mast", "air_temperature", t, float(v) - colder, zone)
                    for t, v in zip(valid, curve, strict=True)
                ],
                source,
            )
    return path


def test_the_field_log_teaches_the_place_and_says_from_how_many_nights(tmp_path: Path) -> None:
    series, file = many(), tmp_path / "forecast.bin"
    file.write_bytes(b"forecast")
    path = log(tmp_path, 14, 2.0)
    made = nightly.corrected(series, air_venue.venue("closed"), path, [file], NIGHT)
    # nights as warm as this one, each read 2 K colder: most of it is known by then
    assert -2.8 < lowest(made) - lowest(series) < -1.0
    codes = assumed.codes(made)
    assert int(codes["bias_nights"][0]) in (12, 13, 14)
    with Store(path) as store:
        assert store.forecasts("air_temperature", ISSUED)[-1][0] == ISSUED  # tonight's own is kept for later


def test_a_thermometer_in_a_zone_does_not_teach_the_forecast(tmp_path: Path) -> None:
    """It reads the bowl's own air, which is added after."""
    series = many()
    made = nightly.corrected(series, air_venue.venue("closed"), log(tmp_path, 14, 2.0, "middle"), [], NIGHT)
    assert made is series


def test_no_log_is_made_and_the_calibration_file_serves_by_kind_of_night(tmp_path: Path) -> None:
    series = many()
    place = air_venue.venue("closed")
    assert nightly.corrected(series, place, tmp_path / "fieldlog.db", [], NIGHT) is series
    assert list(tmp_path.iterdir()) == []
    learned = Calibration(forecast_bias=-5.0, forecast_bias_clear_calm=1.5)  # forecast less measured
    taught = place.model_copy(update={"calibration": learned})
    made = nightly.corrected(series, taught, None, [], NIGHT)
    assert lowest(made) - lowest(series) == pytest.approx(-1.5, abs=1e-6)  # the night is clear and calm
    assert (made["dew_point_temperature"] <= made["air_temperature"]).all()
    first = {"time": series["time"].values[0]}  # two hours before the night: a third of the move
    moved = (made["air_temperature"] - series["air_temperature"]).sel(first)
    np.testing.assert_allclose(moved, -0.5, atol=1e-6)


def test_an_evening_reading_in_the_bowl_pulls_the_air_outside() -> None:
    """The bowl's own difference is taken off: a reading that is what the run itself has in the bowl changes nothing."""
    place, bowl, series = air_venue.venue("closed"), air_venue.bowl("closed"), many()
    joined = patches.patches(place.field.zones, bowl, patches.morning_sun(bowl, 41.0, -88.0, END.item().date()))
    when = np.datetime64("2025-01-16T01:00")
    middle = series.isel(realization=[5])
    own = float(told(forcing(place, middle, bowl, joined), when)["air_difference"].sel(quantile=0.5))
    assert own < -0.2
    outside = float(middle["air_temperature"].sel(time=when).item())
    for less in (0.0, 3.0):
        text = f"middle, air, {outside + own - less - 273.15:.2f} degC, 2025-01-15T19:00"
        read = spot(text, "America/Chicago", zones=["middle"])
        made = nightly.pulled(series, place, bowl, joined, [read])
        shift = (made["air_temperature"] - series["air_temperature"]).sel(time=when).mean()
        # the reading's own error, 0.5 K, over eleven members
        assert float(shift) == pytest.approx(-less, abs=0.6)
    dew = spot(f"middle, dew point, {outside + own - 3.0 - 273.15:.2f} degC, 2025-01-15T19:10", "America/Chicago")
    wet = nightly.pulled(series, place, bowl, joined, [read, dew])
    gap = (wet["air_temperature"] - wet["dew_point_temperature"]).sel(time=when).mean()
    assert float(gap) < float((made["air_temperature"] - made["dew_point_temperature"]).sel(time=when).mean())


def test_several_sources_are_put_together() -> None:
    both = nightly.members([many(5), many(7)], air_venue.venue("closed"), 31, seed=1)
    assert both.sizes["realization"] == 12
    assert assumed.codes(both)["pooled"] == ["2"]
