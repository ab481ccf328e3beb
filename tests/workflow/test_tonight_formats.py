"""`tonight` from a file of each format: real ones where one is at hand, else made after the published descriptions."""

import json
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pvlib
import pytest

from microclimate.errors import InputError, WeatherTooOld
from microclimate.weather.formats import FORMATS
from microclimate.weather.formats.typical import YEAR
from microclimate.weather.visit import Visit
from microclimate.workflow.tonight import tonight

TESTS = Path(__file__).parents[1]
REFERENCE, DEMO = TESTS / "reference" / "weather", TESTS.parent / "data_demo"
VENUE = """
name = "Bare field"
[site]
{place}
[field]
length = 40
width = 30
[[ground]]
build = "sand over gravel"
"""
HERE = 'latitude = 36.1\nlongitude = -79.95\nelevation = 273\ntime_zone = "America/New_York"'
COAST = 'latitude = 30.02\nlongitude = -84.98\nelevation = 4\ntime_zone = "America/New_York"'
DESERT = 'latitude = 36.62\nlongitude = -116.02\nelevation = 1007\ntime_zone = "America/Los_Angeles"'
FIRST = datetime(2026, 1, 28, 18)  # UTC, of the files made here
HOURS = [FIRST + timedelta(hours=h) for h in range(30)]
CELSIUS = [4.0 - 9.0 * np.sin(np.pi * min(h, 20) / 40.0) for h in range(30)]


def metno(folder: Path) -> Path:
    units = {"air_temperature": "celsius", "dew_point_temperature": "celsius", "wind_speed": "m/s",
             "cloud_area_fraction": "%", "wind_from_direction": "degrees", "precipitation_amount": "mm"}  # fmt: skip
    rows = []
    for when, t in zip(HOURS, CELSIUS, strict=True):
        details = {"air_temperature": t, "dew_point_temperature": t - 3.0, "wind_speed": 1.5,
                   "cloud_area_fraction": 10.0, "wind_from_direction": 300.0, "air_temperature_percentile_10": t - 2,
                   "air_temperature_percentile_90": t + 2}  # fmt: skip
        after = {"summary": {"symbol_code": "clearsky_night"}, "details": {"precipitation_amount": 0.0}}
        rows.append(
            {"time": f"{when:%Y-%m-%dT%H:%M:%SZ}", "data": {"instant": {"details": details}, "next_1_hours": after}}
        )
    document = {
        "type": "Feature", "geometry": {"type": "Point", "coordinates": [-79.95, 36.1, 270]},
        "properties": {"meta": {"updated_at": "2026-01-28T17:20:00Z", "units": units}, "timeseries": rows},
    }  # fmt: skip
    return _written(folder / "metno.json", json.dumps(document))


def mosmix(folder: Path) -> Path:
    kelvin = np.array(CELSIUS) + 273.15
    series = {
        "TTT": kelvin,
        "Td": kelvin - 3.0,
        "FF": 0 * kelvin + 1.5,
        "DD": 0 * kelvin + 300.0,
        "N": 0 * kelvin + 10.0,
    }
    steps = "".join(f"<dwd:TimeStep>{when:%Y-%m-%dT%H:%M:%S.000Z}</dwd:TimeStep>" for when in HOURS)
    values = "".join(
        f'<dwd:Forecast dwd:elementName="{name}"><dwd:value>'
        f"{' '.join(f'{v:.2f}' for v in row)}</dwd:value></dwd:Forecast>"
        for name, row in series.items()
    )
    text = (
        '<?xml version="1.0" encoding="UTF-8"?><kml:kml xmlns:kml="http://www.opengis.net/kml/2.2" '
        'xmlns:dwd="https://opendata.dwd.de/weather/lib/pointforecast_dwd_extension_V1_0.xsd"><kml:Document>'
        "<kml:ExtendedData><dwd:ProductDefinition><dwd:IssueTime>2026-01-28T15:00:00.000Z</dwd:IssueTime>"
        f"<dwd:ForecastTimeSteps>{steps}</dwd:ForecastTimeSteps></dwd:ProductDefinition></kml:ExtendedData>"
        "<kml:Placemark><kml:name>10637</kml:name><kml:description>NEAR</kml:description><kml:ExtendedData>"
        f"{values}</kml:ExtendedData><kml:Point><kml:coordinates>-79.9,36.1,270.0</kml:coordinates></kml:Point>"
        "</kml:Placemark></kml:Document></kml:kml>"
    )
    return _written(folder / "mosmix.kml", text)


def metar(folder: Path) -> Path:
    """An airport's reports of a night that is over."""

    def sign(t: float) -> str:
        return ("M" if round(t) < 0 else "") + f"{abs(round(t)):02d}"

    rows = [
        f"KGSO {when:%d%H%M}Z 30003KT 10SM FEW200 {sign(t)}/{sign(t - 3)} A3012"
        for when, t in zip(HOURS, CELSIUS, strict=True)
    ]
    return _written(folder / "metar_20260128.txt", "\n".join(rows) + "\n")


def station(folder: Path) -> Path:
    def value(unit: str, v: float) -> dict[str, object]:
        return {"unitCode": f"wmoUnit:{unit}", "value": v}

    rows = [
        {"geometry": {"type": "Point", "coordinates": [-79.94, 36.1]}, "properties": {
            "station": "https://x/stations/KGSO", "timestamp": f"{when:%Y-%m-%dT%H:%M:%S+00:00}",
            "temperature": value("degC", t), "dewpoint": value("degC", t - 3.0), "windSpeed": value("km_h-1", 5.4),
            "windDirection": value("degree_(angle)", 300), "cloudLayers": [{"amount": "CLR"}]}}
        for when, t in zip(HOURS, CELSIUS, strict=True)
    ]  # fmt: skip
    return _written(folder / "station.json", json.dumps({"type": "FeatureCollection", "features": rows[::-1]}))


def grib(folder: Path) -> Path:
    file = folder / "ensemble.grib"
    maker = str(TESTS / "weather" / "make_grib.py")
    done = subprocess.run([sys.executable, maker, str(file), "3", "30", "sums"], check=False, timeout=120)
    if done.returncode:
        pytest.skip("the extra 'grib' is not installed")
    return file


def epw(folder: Path) -> Path:
    """A year of one cold clear hour, by the columns of the format's published list."""
    head = ["LOCATION,Made Up,NC,USA,made,000000,36.1,-79.95,-5.0,273.0"]
    head += ["DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0"]
    head += [
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,made",
        "COMMENTS 2,made",
        "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
    ]
    rows, day = [], datetime(2001, 1, 1)
    for number in range(365):
        at = day + timedelta(days=number)
        for hour in range(1, 25):
            t = -2.0 + 4.0 * np.cos(2 * np.pi * (hour - 15) / 24)
            cells = [
                at.year,
                at.month,
                at.day,
                hour,
                60,
                "?",
                t,
                t - 3,
                80,
                98000,
                0,
                0,
                250,
                0,
                0,
                0,
                0,
                0,
                0,
                0,
                300,
                1.5,
            ]
            cells += [1, 1, 20, 77777, 9, "999999999", 5, 0.1, 0, 0, 0.2, 0, 0]
            rows.append(",".join(str(c) for c in cells))
    return _written(folder / "made.epw", "\n".join([*head, *rows]) + "\n")


def _written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


TYPICAL = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
NIGHTS: dict[str, tuple[Callable[[Path], Path], str, str]] = {
    "CSV": (lambda folder: DEMO / "forecast.csv", HERE, "2026-01-28"),
    "CF-NetCDF": (lambda folder: DEMO / "ensemble.nc", HERE, "2026-01-28"),
    "GRIB": (grib, HERE, "2026-01-27"),
    "US gridpoint JSON": (lambda folder: REFERENCE / "nws_gridpoint.json", COAST, "2022-02-05"),
    "MET Norway JSON": (metno, HERE, "2026-01-28"),
    "MOSMIX KML or KMZ": (mosmix, HERE, "2026-01-28"),
    "US station JSON": (station, HERE, "2026-01-28"),
    "METAR text": (metar, HERE, "2026-01-28"),
    "TMY3": (lambda folder: TYPICAL, HERE, "typical"),
    "EPW": (epw, HERE, "typical"),
    "SURFRAD": (lambda folder: REFERENCE / "dra24048.dat.gz", DESERT, "2024-02-16"),
}


def test_every_format_is_tried() -> None:
    assert set(NIGHTS) == set(FORMATS)


@pytest.mark.parametrize("name", NIGHTS)
def test_tonight_from_a_file_of_each_format(tmp_path: Path, name: str) -> None:
    make, place, night = NIGHTS[name]
    file = make(tmp_path)
    if night == "typical":
        night = f"{YEAR}-01-15"
    (tmp_path / "venue.toml").write_text(VENUE.format(place=place), encoding="utf-8")
    done = tonight(tmp_path / "venue.toml", file, night=night, now=datetime.fromisoformat(f"{night}T17:00:00"))
    lowest = done.answer.risk["canopy_temperature_worst"].isel(event=0).sel(quantile=0.5)
    assert np.isfinite(lowest).all()
    assert file.name in done.text
    assert "Coldest" in done.text
    assert 240.0 < float(lowest.min()) < 300.0


def test_a_forecast_made_after_now_is_refused_for_the_coming_night(tmp_path: Path) -> None:
    (tmp_path / "venue.toml").write_text(VENUE.format(place=HERE), encoding="utf-8")
    with pytest.raises(InputError, match="after now") as caught:
        tonight(tmp_path / "venue.toml", DEMO / "forecast.csv", now=datetime(2026, 1, 27, 12))
    assert caught.value.exit_code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["venue.toml"]


def test_without_weather_the_service_named_is_asked_and_without_network_the_run_ends_with_three(tmp_path: Path) -> None:
    """No world is in reach of the tests: nothing kept, so there is no forecast."""
    text = VENUE.format(place=HERE + '\nforecast = "metno"')
    (tmp_path / "venue.toml").write_text(text, encoding="utf-8")
    visit = Visit(tries=1, time_out=0.2, wait=lambda pause: None)
    with pytest.raises(WeatherTooOld, match="no earlier forecast is kept") as caught:
        tonight(tmp_path / "venue.toml", None, now=datetime(2026, 1, 28, 17), visit=visit)
    assert caught.value.exit_code == 3
    (tmp_path / "forecasts").mkdir()
    metno(tmp_path / "forecasts").rename(tmp_path / "forecasts" / "metno_20260128T1720Z.json")
    done = tonight(tmp_path / "venue.toml", None, now=datetime(2026, 1, 28, 21), visit=visit)
    assert "no new forecast could be had: this is the last one kept, 4 h old" in " ".join(done.text.split()).lower()
