"""Logger files: headings, stamps, sentinels, delimiters; and what is refused in words."""

import contextlib
import gzip
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from microclimate.errors import InputError
from microclimate.fieldlog import clock, traces


def write(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "log.csv"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("text", "name", "level", "zone", "unit"),
    [
        ("soil_temperature @ 0.10 m [degC]", "soil_temperature", 0.10, "", "degC"),
        ("soil_temperature [degF] @ 4 in", "soil_temperature", 0.1016, "", "degF"),
        ("soil_temperature @ -50 mm @ North goal [K]", "soil_temperature", 0.05, "North goal", "K"),
        ("Surface Temperature [°C]", "surface_temperature", np.nan, "", "°C"),
        ("wind_speed @ 10 m [m/s]", "wind_speed", 10.0, "", "m/s"),
        ("note", "note", np.nan, "", ""),
    ],
)
def test_a_heading_is_read(text: str, name: str, level: float, zone: str, unit: str) -> None:
    head = traces.header(text)
    assert (head.name, head.zone, head.unit) == (name, zone, unit)
    assert head.level == pytest.approx(level, nan_ok=True)


def test_a_log_becomes_observations(tmp_path: Path) -> None:
    file = write(
        tmp_path,
        "# a comment\ntime,soil_temperature @ 0.10 m [degF],surface_temperature [degC],air_temperature [degC]\n"
        "2026-01-05 00:00,41,-2.5,1\n2026-01-05 01:00,-9999,-3.5,1\n2026-01-05 02:00,50,,1\n",
    )
    log = traces.traces(file, timezone="UTC-6")
    assert list(log["kind"].values) == ["soil_temperature", "surface_temperature"]
    assert log["time"].values[0] == np.datetime64("2026-01-05T06:00")
    np.testing.assert_allclose(log["value"].values[0], [278.15, np.nan, 283.15])
    np.testing.assert_allclose(log["value"].values[1], [270.65, 269.65, np.nan])
    assert log.attrs["ignored"] == "air_temperature [degC]"
    assert log.attrs["interval"] == 3600.0


@pytest.mark.parametrize(("stamp", "minutes"), [("end", 0), ("start", 60), ("centre", 30)])
def test_stamps_become_interval_ends(tmp_path: Path, stamp: traces.Stamp, minutes: int) -> None:
    rows = "".join(f"2026-01-05T{hour:02d}:00Z,{hour}\n" for hour in range(4))
    log = traces.traces(write(tmp_path, "time,surface_temperature [degC]\n" + rows), stamp=stamp)
    assert log["time"].values[0] == np.datetime64("2026-01-05T00:00") + np.timedelta64(minutes, "m")


def test_semicolons_and_decimal_commas_and_gzip(tmp_path: Path) -> None:
    file = tmp_path / "log.csv.gz"
    with gzip.open(file, "wt", encoding="utf-8") as stream:
        stream.write("Date;Time;soil_temperature @ 5 cm [degC]\n05.01.2026;18:30;1,5\n05.01.2026;19:30;\u22120,5\n")
    log = traces.traces(file, timezone="Europe/Vienna")
    assert log["time"].values[0] == np.datetime64("2026-01-05T17:30")
    np.testing.assert_allclose(log["value"].values[0], [274.65, 272.65])


def test_the_doubled_hour_of_a_whole_log_is_told_apart(tmp_path: Path) -> None:
    stamps = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]  # 2026-11-01 in Chicago: 01:00 to 02:00 comes twice
    rows = "".join(f"2026-11-01 {stamp},{n}\n" for n, stamp in enumerate(stamps))
    log = traces.traces(write(tmp_path, "time,surface_temperature [degC]\n" + rows), timezone="America/Chicago")
    assert np.diff(log["time"].values).tolist() == [30 * 60 * 10**9] * 5


def test_values_that_cannot_be_are_dropped_and_counted(tmp_path: Path) -> None:
    rows = "".join(f"2026-01-05T{hour:02d}:00Z,{85.0 if hour == 2 else 4.0}\n" for hour in range(6))
    log = traces.traces(write(tmp_path, "time,soil_temperature @ 50 mm [degC]\n" + rows))
    assert np.isnan(log["value"].values[0, 2])
    assert log["flag"].values[0, 2] == traces.DROPPED
    assert log.attrs["dropped"] == "soil_temperature @ 50 mm [degC]=1"


def test_of_a_stamp_told_twice_the_later_line_counts(tmp_path: Path) -> None:
    text = "time,surface_temperature [degC]\n2026-01-05T01:00Z,1\n2026-01-05T00:00Z,0\n2026-01-05T01:00Z,2\n"
    log = traces.traces(write(tmp_path, text))
    np.testing.assert_allclose(log["value"].values[0], [273.15, 275.15])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "cannot be read"),
        ("time,surface_temperature [degC]\n", "no rows"),
        ("hour,surface_temperature [degC]\n1,2\n", "no time column"),
        ("time,surface_temprature [degC]\n2026-01-05T00:00Z,1\n", "did you mean surface_temperature"),
        ("time,soil_temperature [degC]\n2026-01-05T00:00Z,1\n", "no depth"),
        ("time,surface_temperature\n2026-01-05T00:00Z,1\n", "no unit"),
        ("time,surface_temperature [mph]\n2026-01-05T00:00Z,1\n", "[mph] is no temperature"),
        ("time,surface_temperature [parsec]\n2026-01-05T00:00Z,1\n", "'parsec' is no unit"),
        ("time,surface_temperature [degC]\n2026-01-05 00:00,1\n2026-01-05 01:00,1\n", "add --timezone"),
        ("time,surface_temperature [degC]\nyesterday,1\ntoday,1\n", "stamps cannot be read"),
        ("time,surface_temperature [degC]\n01/02/2026 00:00,1\n01/02/2026 01:00,1\n", "day or month first?"),
        ("time,surface_temperature [degC]\n2026-01-05T00:00Z,1\n2026-01-05 01:00,1\n", "all or none"),
        ("time,surface_temperature [degC]\n2026-01-05T00:00Z,1\n", "fewer than two"),
        ("time,surface_temperature [K]\n2026-01-05T00:00Z,1\n2026-01-05T01:00Z,2\n", "another unit?"),
    ],
)
def test_a_bad_log_is_refused_in_words(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError) as error:
        traces.traces(write(tmp_path, text))
    assert words in str(error.value)


def test_a_missing_file_and_an_unknown_zone(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        traces.traces(tmp_path / "nowhere.csv")
    with pytest.raises(InputError, match="not known"):
        clock.zone_of("Middle/Earth")


@given(st.text(alphabet=st.sampled_from('abct,;@[]mK0159-.:T \n#"Z'), max_size=120))
def test_no_file_ends_in_a_traceback(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    file = tmp_path_factory.mktemp("fuzz") / "log.csv"
    file.write_text("time,surface_temperature [K]\n" + text, encoding="utf-8")
    with contextlib.suppress(InputError):
        traces.traces(file)
