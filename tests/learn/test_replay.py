"""Replay takes station files as people have them: one file or two, gaps, clocks, units, missing longwave."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pvlib import solarposition

from microclimate.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS
from microclimate.errors import InputError
from microclimate.learn import held, observed, replay_files
from microclimate.learn.replay import Replay, replay
from microclimate.venue import load
from microclimate.venue.load import Venue

VENUE = """
name = "A lawn"
units = "{units}"
[site]
latitude = 47.0
longitude = 15.5
elevation = 350
time_zone = "Europe/Vienna"
surroundings = "open country"
[field]
length = 20
width = 20
[turf]
surface = "{surface}"
[[ground]]
build = "native soil"
"""


def venue(surface: str = "mown turf", units: str = "metric") -> Venue:
    return load.text(VENUE.format(surface=surface, units=units))


def weather(days: float = 4.0, step: str = "30min") -> pd.DataFrame:
    """Clear December days, made up: what a station would log, UTC, stamps at the end."""
    times = pd.date_range(
        "2025-12-01T00:30", periods=round(days * 86400 / pd.Timedelta(step).total_seconds()), freq=step
    )
    hour = np.asarray(times.hour + times.minute / 60.0)
    middle = (times - 0.5 * pd.Timedelta(step)).tz_localize("UTC")
    height = solarposition.get_solarposition(middle, 47.0, 15.5)["elevation"].to_numpy()
    sun = 700.0 * np.maximum(np.sin(np.radians(height)), 0.0)
    air = 1.0 + 4.0 * np.cos(2 * np.pi * (hour - 14.0) / 24.0)
    return pd.DataFrame(
        {
            "time": times.strftime("%Y-%m-%dT%H:%MZ"),
            "air_temperature @ 1.5 m [degC]": air.round(2),
            "relative_humidity @ 1.5 m [%]": 80.0,
            "wind_speed @ 2 m [m/s]": 1.5,
            "surface_downwelling_shortwave_flux_in_air [W/m2]": sun.round(1),
            "surface_downwelling_longwave_flux_in_air [W/m2]": 255.0,
            "precipitation_amount [mm]": 0.0,
        }
    )


def readings(frame: pd.DataFrame) -> pd.DataFrame:
    air = frame["air_temperature @ 1.5 m [degC]"]
    return pd.DataFrame(
        {
            "time": frame["time"],
            "surface_temperature [degC]": (air - 3.0).round(2),
            "soil_temperature @ 0.10 m [degC]": 4.0,
            "soil_temperature @ 2 in [degF]": 40.0,
        }
    )


def files(folder: Path, frame: pd.DataFrame, log: pd.DataFrame | None = None, **how: object) -> tuple[Path, Path]:
    log = readings(frame) if log is None else log
    one, two = folder / "weather.csv", folder / "readings.csv"
    frame.to_csv(one, index=False, **how)  # type: ignore[call-overload]
    log.to_csv(two, index=False, **how)  # type: ignore[call-overload]
    return one, two


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Replay:
    return replay(venue(), *files(tmp_path_factory.mktemp("plain"), weather()))


def test_a_plain_pair_of_files(plain: Replay) -> None:
    assert list(plain.scores.columns) == [
        "variable", "depth", "zone", "subset", "zero_checked", "n", "bias", "mae", "rmse", "corr", "rmse_of_air",
    ]  # fmt: skip
    hours = {f"hour {hour:02d}" for hour in range(24)}
    assert set(plain.scores["subset"]) == {"all", "night", "clear calm night", "other night", "snow-free"} | hours
    soil = plain.scores[(plain.scores["variable"] == "soil_temperature") & (plain.scores["subset"] == "all")]
    assert soil["depth"].tolist() == pytest.approx([0.10, 0.0508])
    # 192 half hours less the first that begins the run and a tenth that settles
    assert (soil["n"] >= 165).all()
    assert plain.notes["stretches"] == 1
    assert plain.notes["longwave_measured"]
    assert len(plain.nights) >= 3
    assert (plain.nights["modelled"] < ZERO_CELSIUS + 1.0).all()
    # soil was given and starts where the probes are: near enough to them to have begun from the readings
    first = plain.traces.filter(like="0.10 m").iloc[0]
    assert abs(first.iloc[1] - first.iloc[0]) < 0.5


def test_one_file_for_both_says_the_same(plain: Replay, tmp_path: Path) -> None:
    frame = weather()
    both = frame.merge(readings(frame), on="time")
    both["surface_upwelling_shortwave_flux_in_air [W/m2]"] = 10.0
    path = tmp_path / "station.csv"
    both.to_csv(path, index=False)
    found = replay(venue(), path, path)
    pd.testing.assert_frame_equal(found.scores, plain.scores)


def test_local_clock_with_semicolons_and_decimal_commas(plain: Replay, tmp_path: Path) -> None:
    frame = weather()
    local = pd.to_datetime(frame["time"]).dt.tz_convert("Etc/GMT-1").dt.strftime("%Y-%m-%d %H:%M")
    log = readings(frame).assign(time=local)
    one, two = files(tmp_path, frame.assign(time=local), log, sep=";", decimal=",")
    found = replay(venue(), one, two, timezone="UTC+1")
    pd.testing.assert_frame_equal(found.scores, plain.scores)
    # without a zone the venue's own clock is taken, which in December is the same
    pd.testing.assert_frame_equal(replay(venue(), one, two).scores, plain.scores)


@pytest.mark.parametrize(("stamp", "shift"), [("start", 30), ("centre", 15)])
def test_stamps_that_name_another_part_of_the_interval(
    plain: Replay, tmp_path: Path, stamp: observed.traces.Stamp, shift: int
) -> None:
    frame = weather()
    times = (pd.to_datetime(frame["time"]) - pd.Timedelta(minutes=shift)).dt.strftime("%Y-%m-%dT%H:%MZ")
    one, two = files(tmp_path, frame.assign(time=times), readings(frame).assign(time=times))
    pd.testing.assert_frame_equal(replay(venue(), one, two, stamp=stamp).scores, plain.scores)


def test_short_gaps_are_bridged_and_counted_long_ones_part_the_run(tmp_path: Path) -> None:
    frame = weather(6.0)
    short = frame.copy()
    short.loc[100:103, "air_temperature @ 1.5 m [degC]"] = np.nan  # two hours
    found = replay(venue(), *files(tmp_path, short, readings(frame)))
    assert (found.notes["stretches"], found.notes["bridged"]) == (1, 4)
    long = frame.drop(index=range(100, 120))  # ten hours
    found = replay(venue(), *files(tmp_path, long, readings(frame)))
    assert found.notes["stretches"] == 2
    gone = (found.traces.index > "2025-12-03T03:00") & (found.traces.index <= "2025-12-03T12:00")
    assert not gone.any()
    # the ground goes on over the gap as it was left, here with nothing buried to tell it
    blind = readings(frame)[["time", "surface_temperature [degC]"]]
    told = replay(venue(), *files(tmp_path, frame, blind)).traces["surface_temperature [degC] modelled"]
    parted = replay(venue(), *files(tmp_path, long, blind)).traces["surface_temperature [degC] modelled"]
    after = parted.index[parted.index > "2025-12-04"]
    # half of what beginning from the season again gives (0.65 K, tried)
    assert (parted[after] - told[after]).abs().mean() < 0.45
    only = frame.iloc[:10]
    with pytest.raises(InputError, match="no stretch of 12 h without a gap"):
        replay(venue(), *files(tmp_path, only, readings(frame)))


def test_glitches_are_dropped_and_what_has_a_substitute_does_not_part_the_run(tmp_path: Path) -> None:
    frame = weather(6.0)
    log = readings(frame)
    frame["surface_air_pressure [hPa]"] = 970.0
    frame.loc[50:51, "wind_speed @ 2 m [m/s]"] = -0.18
    frame.loc[80, "air_temperature @ 1.5 m [degC]"] = 999.0
    frame.loc[100:130, "surface_downwelling_longwave_flux_in_air [W/m2]"] = np.nan
    frame.loc[100:130, "surface_air_pressure [hPa]"] = np.nan
    frame.loc[100:130, "precipitation_amount [mm]"] = np.nan
    found = replay(venue(), *files(tmp_path, frame, log))
    assert found.notes["stretches"] == 1
    assert str(found.notes["dropped"]).split("\n") == [
        "air_temperature @ 1.5 m [degC]=1",
        "wind_speed @ 2 m [m/s]=2",
    ]
    filled = dict(line.split("=") for line in str(found.notes["filled"]).split("\n"))
    assert filled["surface_downwelling_longwave_flux_in_air"] == "31"
    assert filled["surface_air_pressure"] == "31"
    assert filled["precipitation_flux"] == "31"
    # a column that is wrong throughout is no glitch
    frame["wind_speed @ 2 m [m/s]"] = -5.0
    with pytest.raises(InputError, match="wind_speed"):
        replay(venue(), *files(tmp_path, frame, log))


def test_a_long_stretch_is_run_in_parts_that_join(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    one, two = files(tmp_path, weather(8.0))
    whole = replay(venue(), one, two)
    monkeypatch.setattr(observed, "LONGEST", np.timedelta64(4, "D"))
    parts = replay(venue(), one, two)
    assert parts.notes["stretches"] == 2
    surface = "surface_temperature [degC] modelled"
    both = parts.traces[surface] - whole.traces[surface]
    assert both.abs().max() < 0.3  # the second part begins with the probes' readings once more


def test_longwave_and_pressure_may_be_missing(plain: Replay, tmp_path: Path) -> None:
    frame = weather().drop(columns="surface_downwelling_longwave_flux_in_air [W/m2]")
    found = replay(venue(), *files(tmp_path, frame))
    assert not found.notes["longwave_measured"]
    assert "longwave=" in str(found.notes["assumed"])
    assert "pressure=elevation" in str(found.notes["assumed"])


def test_upwelling_longwave_is_a_surface_thermometer(tmp_path: Path) -> None:
    frame = weather()
    surface = frame["air_temperature @ 1.5 m [degC]"] - 3.0 + ZERO_CELSIUS
    up = 0.97 * STEFAN_BOLTZMANN * surface**4 + 0.03 * 255.0  # emissivity of mown turf in the venue's table
    log = readings(frame).drop(columns="surface_temperature [degC]")
    log["surface_upwelling_longwave_flux_in_air [W/m2]"] = up
    found = replay(venue(), *files(tmp_path, frame, log))
    measured = found.traces.filter(like="upwelling").iloc[:, 0]
    np.testing.assert_allclose(measured, surface[-len(measured) :], atol=1e-6)
    assert "surface_temperature" in set(found.scores["variable"])


def test_the_kind_of_surface_sets_the_canopy(plain: Replay, tmp_path: Path) -> None:
    one, two = files(tmp_path, weather())
    lowest = {
        surface: replay(venue(surface), one, two).nights["modelled"].mean()
        for surface in ("meadow", "stubble", "bare soil", "hard")
    }
    lowest["mown turf"] = plain.nights["modelled"].mean()
    # grass lies on its own still air: the better the surface is joined to the ground, the warmer its night
    assert lowest["mown turf"] < lowest["meadow"] < lowest["stubble"] < lowest["hard"]


def test_of_two_winds_the_one_nearest_to_10_m_is_taken(tmp_path: Path) -> None:
    frame = weather()
    frame["wind_speed @ 9 m [m/s]"] = 3.0
    one, _ = files(tmp_path, frame)
    found = observed.weather(one, venue().site.site)
    assert found.weather.attrs["wind_height"] == 9.0
    assert found.weather.attrs["temperature_height"] == 1.5
    assert float(found.weather["wind_speed"].mean()) == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("column", "name", "words"),
    [
        ("air_temperature @ 1.5 m [degC]", "air_temprature @ 1.5 m [degC]", "did you mean"),
        ("air_temperature @ 1.5 m [degC]", "air_temperature @ 1.5 m", "has no unit"),
        ("wind_speed @ 2 m [m/s]", "note", "has no wind_speed"),
    ],
)
def test_bad_weather_is_refused_in_words(tmp_path: Path, column: str, name: str, words: str) -> None:
    one, two = files(tmp_path, weather().rename(columns={column: name}), readings(weather()))
    with pytest.raises(InputError) as error:
        replay(venue(), one, two)
    assert words in str(error.value)


def test_readings_of_another_time_or_zone_are_refused(tmp_path: Path) -> None:
    frame = weather()
    log = readings(frame).rename(columns={"soil_temperature @ 0.10 m [degC]": "soil_temperature @ 0.10 m @ B1 [degC]"})
    log["time"] = (pd.to_datetime(log["time"]) + pd.Timedelta("90D")).dt.strftime("%Y-%m-%dT%H:%MZ")
    with pytest.raises(InputError) as error:
        replay(venue(), *files(tmp_path, frame, log))
    text = str(error.value)
    assert "2 things to mend" in text
    assert "no zone 'B1' in the venue; zones are A1" in text
    assert "2025-12-01T00:30 to 2025-12-05T00:00 UTC" in text


def test_model_means_belong_to_their_intervals() -> None:
    time = pd.date_range("2025-12-01T00:05", periods=24, freq="5min").to_numpy()
    stamps = pd.DatetimeIndex(["2025-12-01T00:30", "2025-12-01T01:00", "2025-12-01T02:00", "2025-12-01T02:30"])
    sensor = held.Sensor("x", "surface_temperature", np.nan, "", pd.Series(0.0, index=stamps), 1800.0)
    found = held.over(time, np.arange(24.0), sensor, time[0] - np.timedelta64(1, "h"))
    # steps 0-5 end in the first half hour, 6-11 in the second, 18-23 in that which ends at 02:00
    assert found.tolist() == [2.5, 8.5, 20.5]


@pytest.mark.parametrize(("units", "unit", "factor"), [("metric", "K", 1.0), ("US", "degF", 1.8)])
def test_files_are_in_the_reader_s_units(plain: Replay, tmp_path: Path, units: str, unit: str, factor: float) -> None:
    shown = venue(units=units).shown
    written = replay_files.write(plain, tmp_path / "out", shown)
    names = ["scores.csv", "nights.csv", "freezes.csv", "traces.csv", "replay.svg"]
    assert [path.name for path in written] == names
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(names)
    table = pd.read_csv(tmp_path / "out" / "scores.csv")
    assert set(table["unit"]) == {unit}
    np.testing.assert_allclose(table["rmse"], plain.scores["rmse"] * factor, atol=1e-3)
    nights = pd.read_csv(tmp_path / "out" / "nights.csv")
    assert f"observed [{'degC' if units == 'metric' else 'degF'}]" in nights
    svg = (tmp_path / "out" / "replay.svg").read_text("utf-8")
    assert svg.startswith("<svg")
    assert "<script" not in svg


def test_measured_water_and_snow_lying_are_begun_with(plain: Replay, tmp_path: Path) -> None:
    frame = weather()
    log = readings(frame)
    log["volume_fraction_of_condensed_water_in_soil @ 5 cm [%]"] = 40.0
    wet = replay(venue(), *files(tmp_path, frame, log))
    assert "volume_fraction" not in " ".join(wet.scores["variable"])
    surface = "surface_temperature [degC] modelled"
    # more water in the ground: its day and night swing less
    assert wet.traces[surface].std() < plain.traces[surface].std()
    log["surface_snow_thickness [cm]"] = 10.0
    snowy = replay(venue(), *files(tmp_path, frame, log))
    assert snowy.traces["surface_snow_thickness [cm] modelled"].iloc[0] == pytest.approx(0.1, abs=0.02)
    soil = "soil_temperature @ 2 in [degF] modelled"
    assert snowy.traces[soil].std() < 0.5 * plain.traces[soil].std()
