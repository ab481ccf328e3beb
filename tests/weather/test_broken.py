"""Broken weather files: each gives one clear message and an error that ends with exit code 2; nothing is written."""

import gzip
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.schema import Site
from microclimate.weather import read

SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
TMY3 = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"

HEAD = "time,temp [degC],wind [m/s]\n"
GOOD = "2026-01-28T00:00Z,1,2\n2026-01-28T01:00Z,1,2\n"

TEXTS: dict[str, tuple[str, str]] = {
    "empty": ("", "empty"),
    "blank lines": ("\n\n  \n", "empty"),
    "comments only": ("# issued: 2026-01-28T00:00Z\n", "empty"),
    "header only": (HEAD, "rows of weather"),
    "one row": (HEAD + "2026-01-28T00:00Z,1,2\n", "1 rows of weather"),
    "no separator": ("time\n2026-01-28T00:00Z\n", "no comma, semicolon or tab"),
    "prose": ("Dear all, the frost will come.\nBring covers.\n", "no column of stamps"),
    "no time column": ("temp [degC],wind [m/s]\n1,2\n1,2\n", "no column of stamps"),
    "two time columns": ("time,date,temp [degC]\n2026-01-28T00:00Z,x,1\n2026-01-28T01:00Z,x,1\n", "both hold stamps"),
    "no known column": ("time,foo,bar\n2026-01-28T00:00Z,1,2\n2026-01-28T01:00Z,1,2\n", "no column known here"),
    "misspelt": ("time,temprature [degC]\n2026-01-28T00:00Z,1\n2026-01-28T01:00Z,1\n", "did you mean"),
    "no unit": ("time,temp\n2026-01-28T00:00Z,1\n2026-01-28T01:00Z,1\n", "has no unit"),
    "unknown unit": ("time,temp [degQ]\n2026-01-28T00:00Z,1\n2026-01-28T01:00Z,1\n", "no unit known here"),
    "wrong kind of unit": ("time,temp [m/s]\n2026-01-28T00:00Z,1\n2026-01-28T01:00Z,1\n", "a speed"),
    "text for a number": (HEAD + GOOD + "2026-01-28T02:00Z,cold,2\n", "'cold' in row 3"),
    "day before month": (HEAD + "03/11/2025 00:00,1,2\n03/11/2025 01:00,1,2\n", "day and month"),
    "no such day": (HEAD + "2026-02-30T00:00Z,1,2\n2026-02-30T01:00Z,1,2\n", "is no date"),
    "some offsets": (HEAD + "2026-01-28T00:00Z,1,2\n2026-01-28T01:00,1,2\n", "have no offset and the others do"),
    "unknown zone": ("time [Mars/Olympus],temp [degC]\n2026-01-28 00:00,1\n2026-01-28 01:00,1\n", "is not known"),
    "sign trap": ("time [Etc/GMT-6],temp [degC]\n2026-01-28 00:00,1\n2026-01-28 01:00,1\n", "opposite sign"),
    "hour that is not": (HEAD + "2026-03-08 01:30,1,2\n2026-03-08 02:30,1,2\n", "does not exist"),
    "two values for one time": (HEAD + GOOD + "2026-01-28T01:00Z,9,2\n", "two values"),
    "row too long": (HEAD + GOOD + "2026-01-28T02:00Z,1,2,3\n", "do not fit the header"),
    "decimal comma with commas": ("time,temp [degC]\n2026-01-28T00:00Z,1,5\n2026-01-28T01:00Z,1,5\n", "more cells"),
    "far too cold": (HEAD + "2026-01-28T00:00Z,-80,2\n2026-01-28T01:00Z,-85,2\n", "out of range"),
    "kelvin labelled, celsius meant": ("time,temp [K]\n2026-01-28T00:00Z,1\n2026-01-28T01:00Z,2\n", "labelled K"),
    "fahrenheit labelled celsius": ("time,temp [degC]\n2026-01-28T00:00Z,68\n2026-01-28T01:00Z,72\n", "is it degF"),
    "oktas labelled fraction": ("time,cloud [1]\n2026-01-28T00:00Z,8\n2026-01-28T01:00Z,3\n", "label it oktas"),
    "storm beyond nature": (HEAD + "2026-01-28T00:00Z,1,200\n2026-01-28T01:00Z,1,210\n", "out of range"),
    "only marks": ("time,temp [degC]\n2026-01-28T00:00Z,-9999\n2026-01-28T01:00Z,-9999\n", "only marks"),
    "all empty": ("time,temp [degC]\n2026-01-28T00:00Z,\n2026-01-28T01:00Z,NA\n", "no value at all"),
    "radiation of no unit": (
        "time,ghi [W/m2]\n2026-01-28T00:00Z,4e9\n2026-01-28T01:00Z,4e9\n",
        "neither W/m2 nor J/m2",
    ),
    "year 3000": (HEAD + "2226-01-28T00:00Z,1,2\n2226-01-28T01:00Z,1,2\n", "years 1900 to 2100"),
    "same column twice": (
        "time,temp [degC],air temp [degC]\n2026-01-28T00:00Z,1,1\n2026-01-28T01:00Z,1,1\n",
        "a second air_temperature",
    ),
    "bad height": ("# wind height: 10 hPa\n" + HEAD + GOOD, "not length"),
    "bad labels": ("# labels: middle\n" + HEAD + GOOD, "end or start"),
}


@pytest.mark.parametrize("kind", TEXTS)
def test_a_broken_text_is_told_in_words(tmp_path: Path, kind: str) -> None:
    text, words = TEXTS[kind]
    (tmp_path / "w.csv").write_text(text, encoding="utf-8")
    _refused(tmp_path, "w.csv", words)


def _refused(folder: Path, name: str, words: str) -> None:
    before = sorted(folder.iterdir())
    with pytest.raises(InputError) as caught:
        read.weather(folder / name, SITE)
    message = str(caught.value)
    assert words in message, message
    assert name in message
    assert caught.value.exit_code == 2
    assert "Traceback" not in message
    assert "Error" not in message
    assert sorted(folder.iterdir()) == before


def _nc(file: Path, values: object = None, units: str | None = "K", **attrs: object) -> None:
    times = pd.date_range("2026-01-28", periods=3, freq="h")
    array = np.full(3, 270.0) if values is None else np.asarray(values)
    variable = ("time", array, {"units": units} if units else {})
    made = xr.Dataset({"air_temperature": variable}, coords={"time": times}, attrs=attrs)
    made.to_netcdf(file, engine="h5netcdf")


def _truncated(file: Path) -> None:
    _nc(file)
    file.write_bytes(file.read_bytes()[:700])


def _other_calendar(file: Path) -> None:
    made = xr.Dataset({"air_temperature": ("time", [270.0, 270.0, 270.0], {"units": "K"})})
    made["time"] = ("time", [0, 1, 2], {"units": "hours since 2026-02-30", "calendar": "360_day"})
    made.to_netcdf(file, engine="h5netcdf")


def _far_grid(file: Path) -> None:
    times = pd.date_range("2026-01-28", periods=3, freq="h")
    shape = (3, 3, 3)
    made = xr.Dataset(
        {"t2m": (("time", "lat", "lon"), np.full(shape, 270.0), {"units": "K"})},
        coords={"time": times, "lat": [50.0, 51.0, 52.0], "lon": [10.0, 11.0, 12.0]},
    )
    made.to_netcdf(file, engine="h5netcdf")


def _levels(file: Path) -> None:
    times = pd.date_range("2026-01-28", periods=3, freq="h")
    made = xr.Dataset(
        {"air_temperature": (("level", "time"), np.full((5, 3), 270.0), {"units": "K"})}, coords={"time": times}
    )
    made.to_netcdf(file, engine="h5netcdf")


FILES: dict[str, tuple[Callable[[Path], None], str]] = {
    "cut in the middle": (_truncated, "cannot be read as NetCDF"),
    "no units": (lambda f: _nc(f, units=None), "has no attribute 'units'"),
    "celsius labelled kelvin": (lambda f: _nc(f, [1.0, 2.0, 3.0]), "labelled K"),
    "newer format": (lambda f: _nc(f, format=99), "format 99"),
    "other calendar": (_other_calendar, "time"),
    "point outside the grid": (_far_grid, "km from the venue"),
    "five levels": (_levels, "time and members"),
    "nothing but missing": (lambda f: _nc(f, [np.nan] * 3), "no value at all"),
}


@pytest.mark.parametrize("kind", FILES)
def test_a_broken_netcdf_is_told_in_words(tmp_path: Path, kind: str) -> None:
    make, words = FILES[kind]
    make(tmp_path / "w.nc")
    _refused(tmp_path, "w.nc", words)


def test_files_that_are_no_weather(tmp_path: Path) -> None:
    packed = gzip.compress((HEAD + GOOD).encode())
    (tmp_path / "twice.csv.gz").write_bytes(gzip.compress(packed))
    _refused(tmp_path, "twice.csv.gz", "gzipped twice")
    (tmp_path / "cut.csv.gz").write_bytes(packed[:-12])
    _refused(tmp_path, "cut.csv.gz", "ends in the middle")
    (tmp_path / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    _refused(tmp_path, "picture.png", "is not text")
    (tmp_path / "tmy.csv").write_bytes(TMY3.read_bytes()[:3000])
    _refused(tmp_path, "tmy.csv", "typical year")
    (tmp_path / "x.epw").write_text("LOCATION,Nowhere\nDESIGN CONDITIONS,0\n", encoding="utf-8")
    _refused(tmp_path, "x.epw", "EPW as published")
    (tmp_path / "folder").mkdir()
    _refused(tmp_path, "folder", "is a folder")
    _refused(tmp_path, "nothing.csv", "no such file")


def test_a_file_gzipped_once_is_read(tmp_path: Path) -> None:
    (tmp_path / "w.csv.gz").write_bytes(gzip.compress((HEAD + GOOD).encode()))
    assert read.weather(tmp_path / "w.csv.gz", SITE).sizes["time"] == 2


def test_all_faults_of_a_file_are_told_at_once(tmp_path: Path) -> None:
    text = "time,temp [degQ],wind,rh [K]\n2026-01-28T00:00Z,1,x,1\n2026-01-28T01:00Z,1,2,1\n"
    (tmp_path / "w.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read.weather(tmp_path / "w.csv", SITE)
    assert [p.where.split()[1] for p in caught.value.problems] == ["wind", "temp", "rh"]


def test_stamps_without_zone_are_refused_where_the_site_has_none(tmp_path: Path) -> None:
    (tmp_path / "w.csv").write_text("time,temp [degC]\n2026-01-28 00:00,1\n2026-01-28 01:00,1\n", encoding="utf-8")
    with pytest.raises(InputError, match="no zone is given"):
        read.weather(tmp_path / "w.csv", Site("field", 36.1, -79.95, 273.0, ""))


def test_longitudes_from_0_to_360_are_the_same_place(tmp_path: Path) -> None:
    times = pd.date_range("2026-01-28", periods=3, freq="h")
    values = np.arange(27.0).reshape(3, 3, 3) + 270.0
    made = xr.Dataset(
        {"t2m": (("time", "lat", "lon"), values, {"units": "K"})},
        coords={"time": times, "lat": [37.1, 36.1, 35.1], "lon": [279.05, 280.05, 281.05]},
    )
    made.to_netcdf(tmp_path / "east.nc", engine="h5netcdf")
    made.assign_coords(lon=made["lon"] - 360.0).to_netcdf(tmp_path / "west.nc", engine="h5netcdf")
    east, west = (read.weather(tmp_path / name, SITE).air_temperature.values for name in ("east.nc", "west.nc"))
    np.testing.assert_array_equal(east, west)
    np.testing.assert_array_equal(east[0], values[:, 1, 1])
