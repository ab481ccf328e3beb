"""Each format gives the same canonical weather; sums in are sums out; broken replies are told in words.

The MET Norway and MOSMIX files are made here by the services' published descriptions, the GRIB files by eccodes in a
process of its own; the gridpoint forecast and the station days are real (tests/reference/weather/README.md).
"""

import contextlib
import gzip
import io
import json
import random
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from metpy.io.metar import parse_metar

from microclimate.errors import InputError
from microclimate.schema import Site
from microclimate.weather import assumed, complete, read
from microclimate.weather.formats import FORMATS, layers, metar

REFERENCE = Path(__file__).parents[1] / "reference" / "weather"
DEMO = Path(__file__).parents[2] / "data_demo"
SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
COAST = Site("coast", 30.02, -84.98, 4.0, "America/New_York")


def _read(folder: Path, name: str, data: bytes | str, site: Site = SITE) -> xr.Dataset:
    (folder / name).write_bytes(data if isinstance(data, bytes) else data.encode())
    return read.weather(folder / name, site)


def _sealed(raw: xr.Dataset, site: Site = SITE) -> xr.Dataset:
    return complete.weather(raw, site)


# --- US gridpoint forecast


def test_gridpoint_forecast_keeps_rates_and_amounts() -> None:
    raw = read.weather(REFERENCE / "nws_gridpoint.json", COAST)
    document = json.loads((REFERENCE / "nws_gridpoint.json").read_text())["properties"]
    rain = sum(row["value"] for row in document["quantitativePrecipitation"]["values"])
    assert float((raw.precipitation_flux * 3600).sum()) == pytest.approx(rain, abs=1e-6)  # 20.066 mm in = out
    assert raw.air_temperature.values[0, 0] - 273.15 == pytest.approx(22.7778, abs=1e-3)
    # dew point 17.78 holds PT5H from 21:00, then 18.33
    dew = raw.dew_point_temperature.values[0] - 273.15
    assert dew[:6] == pytest.approx([17.7778] * 5 + [18.3333], abs=1e-3)
    assert raw.wind_speed.values[0, 0] == pytest.approx(20.372 / 3.6)
    assert raw.attrs["issued"] == "2022-02-04T03:15:41Z"
    made = _sealed(raw, COAST)
    assert {"pressure", "longwave", "shortwave"} <= set(assumed.codes(made))
    assert np.isfinite(made.snowfall_flux.values[0, :160]).all()  # told for 84 h, then by wet-bulb


def _gridpoint(**changes: Any) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((REFERENCE / "nws_gridpoint.json").read_text())
    document["properties"] |= changes
    return document


@pytest.mark.parametrize(
    ("document", "words"),
    [
        ({"title": "Unexpected Problem", "status": 500, "detail": "grid expired"}, "service's answer 'Unexpected"),
        ({"hello": "world"}, "kind not known here"),
        (_gridpoint(temperature={"uom": "wmoUnit:degQ", "values": [1]}), "[degQ]"),
        (
            _gridpoint(temperature={"uom": "wmoUnit:degC", "values": [{"validTime": "soon", "value": 1}]}),
            "cannot be read",
        ),
        (_gridpoint(temperature={"uom": "wmoUnit:degC", "values": []}), "no temperatures"),
        (_gridpoint(updateTime="yesterday"), "updateTime"),
    ],
)
def test_a_broken_gridpoint_reply_is_told_in_words(tmp_path: Path, document: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "f.json", json.dumps(document), COAST)
    assert words in str(caught.value)


def test_a_gridpoint_of_another_place_is_refused() -> None:
    with pytest.raises(InputError, match="km from the venue"):
        read.weather(REFERENCE / "nws_gridpoint.json", SITE)


def test_json_cut_off_is_told(tmp_path: Path) -> None:
    whole = (REFERENCE / "nws_gridpoint.json").read_bytes()
    with pytest.raises(InputError, match="broken JSON"):
        _read(tmp_path, "f.json", whole[: len(whole) // 2], COAST)


# --- MET Norway


def _metno() -> dict[str, Any]:
    def row(time: str, temperature: float, **after: float) -> dict[str, Any]:
        details = {
            "air_pressure_at_sea_level": 1013.0, "air_temperature": temperature, "cloud_area_fraction": 87.5,
            "dew_point_temperature": temperature - 2.0, "relative_humidity": 80.0, "wind_from_direction": 295.0,
            "wind_speed": 9.3,
        }  # fmt: skip
        made: dict[str, Any] = {"instant": {"details": details}}
        for key, amount in after.items():
            made[key] = {"summary": {"symbol_code": "rain"}, "details": {"precipitation_amount": amount}}
        return {"time": time, "data": made}

    series = [row(f"2026-01-28T{h:02d}:00:00Z", 1.0 - h, next_1_hours=0.5, next_6_hours=4.0) for h in range(6)]
    series += [row("2026-01-28T06:00:00Z", -5.0, next_6_hours=6.0), row("2026-01-28T12:00:00Z", 1.0, next_6_hours=9.0)]
    series += [row("2026-01-28T18:00:00Z", 0.0)]
    units = {
        "air_pressure_at_sea_level": "hPa", "air_temperature": "celsius", "cloud_area_fraction": "%",
        "dew_point_temperature": "celsius", "precipitation_amount": "mm", "relative_humidity": "%",
        "wind_from_direction": "degrees", "wind_speed": "m/s",
    }  # fmt: skip
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-79.95, 36.1, 270]},
        "properties": {"meta": {"updated_at": "2026-01-27T22:19:19Z", "units": units}, "timeseries": series},
    }


def test_metno_amounts_are_taken_once_and_stamped_at_their_end(tmp_path: Path) -> None:
    raw = _read(tmp_path, "f.json", json.dumps(_metno()))
    made = _sealed(raw)
    hours = made.precipitation_flux.values[0] * 3600
    assert hours[1:7] == pytest.approx([0.5] * 6)  # the hour's amount where the next row is an hour away
    assert hours[7:13] == pytest.approx([1.0] * 6)  # 6 mm in six hours, stamped 12:00
    assert hours[13:19] == pytest.approx([1.5] * 6)
    assert made.time.values[0] == np.datetime64("2026-01-28T00:00")
    assert made.surface_air_pressure.values[0, 0] == pytest.approx(101300 * np.exp(-273 / 8030), rel=2e-3)
    assert assumed.codes(made)["coarse_step_h"] == ["6"]
    assert raw.attrs["issued"] == "2026-01-27T22:19:19Z"


def test_a_broken_locationforecast_is_told(tmp_path: Path) -> None:
    document = _metno()
    del document["properties"]["timeseries"][2]["data"]["instant"]
    with pytest.raises(InputError, match="cannot be read"):
        _read(tmp_path, "f.json", json.dumps(document))
    document = _metno()
    document["geometry"]["coordinates"] = [10.0, 60.0]
    with pytest.raises(InputError, match="km from the venue"):
        _read(tmp_path, "f.json", json.dumps(document))


# --- MOSMIX


def _kml(prologue: str = "", longitude: float = -79.9) -> str:
    hours = "".join(f"<dwd:TimeStep>2026-01-28T{h:02d}:00:00.000Z</dwd:TimeStep>" for h in range(6))
    elements = {
        "TTT": "273.15 272.15 271.15 270.15 269.15 268.15",
        "Td": "270.15 270.15 270.15 270.15 268.15 268.15",
        "FF": "2.06 2.06 1.54 1.03 - 1.03",
        "FX1": "4.12 4.12 3.00 2.00 2.00 2.00",
        "DD": "270 280 290 300 310 320",
        "N": "0 25 50 75 100 100",
        "PPPP": "101300 101300 101300 101300 101300 101300",
        "RR1c": "0.00 0.00 0.20 0.40 0.00 0.00",
        "Rad1h": "0.00 0.00 0.00 0.00 360.00 720.00",
        "ww": "0 0 61 61 0 0",
    }
    forecast = "".join(
        f'<dwd:Forecast dwd:elementName="{name}"><dwd:value>{cells}</dwd:value></dwd:Forecast>'
        for name, cells in elements.items()
    )

    def place(name: str, lon: float) -> str:
        return (
            f"<kml:Placemark><kml:name>{name}</kml:name><kml:description>{name.upper()}</kml:description><kml:ExtendedData>"
            f"{forecast}</kml:ExtendedData><kml:Point><kml:coordinates>{lon},36.1,270.0</kml:coordinates></kml:Point>"
            "</kml:Placemark>"
        )

    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{prologue}<kml:kml xmlns:kml="http://www.opengis.net/kml/2.2" '
        'xmlns:dwd="https://opendata.dwd.de/weather/lib/pointforecast_dwd_extension_V1_0.xsd"><kml:Document>'
        "<kml:ExtendedData><dwd:ProductDefinition><dwd:IssueTime>2026-01-27T21:00:00.000Z</dwd:IssueTime>"
        f"<dwd:ForecastTimeSteps>{hours}</dwd:ForecastTimeSteps></dwd:ProductDefinition></kml:ExtendedData>"
        f"{place('far', 10.0)}{place('near', longitude)}</kml:Document></kml:kml>"
    )


def _zipped(text: str, files: int = 1) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(files):
            archive.writestr(f"mosmix{number}.kml", text)
    return buffer.getvalue()


@pytest.mark.parametrize("name", ["f.kml", "f.kmz"])
def test_mosmix_units_and_the_nearest_place(tmp_path: Path, name: str) -> None:
    raw = _read(tmp_path, name, _kml() if name.endswith("kml") else _zipped(_kml()))
    assert "NEAR" in raw.attrs["source"]
    assert raw.air_temperature.values[0] - 273.15 == pytest.approx(np.arange(0.0, -6.0, -1.0))
    # 720 kJ m-2 in the past hour are 200 W m-2
    assert raw.surface_downwelling_shortwave_flux_in_air.values[0] == pytest.approx([0, 0, 0, 0, 100, 200])
    assert raw.precipitation_flux.values[0] * 3600 == pytest.approx([0, 0, 0.2, 0.4, 0, 0])
    assert np.isnan(raw.wind_speed.values[0, 4])
    made = _sealed(raw)
    assert made.wind_speed.values[0, 4] == pytest.approx(1.03)
    assert made.attrs["issued"] == "2026-01-27T21:00:00Z"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (_kml('<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>'), "entities"),
        (_kml()[:900], "broken XML"),
        (_kml(longitude=12.0), "km from the venue"),
        (_kml().replace("273.15 272.15", "273.15"), "has 5 values"),
        (_kml().replace("101300 101300 ", "high low "), "no numbers"),
        (_zipped(_kml())[:300], "broken KMZ"),
        (_zipped(_kml(), 2), "2 KML files"),
        ("<kml:kml xmlns:kml='http://www.opengis.net/kml/2.2'></kml:kml>", "holds no forecast"),
    ],
)
def test_a_broken_mosmix_file_is_told_in_words(tmp_path: Path, data: str | bytes, words: str) -> None:
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "f.kml", data)
    assert words in str(caught.value)


# --- METAR

REPORTS = [
    "KABC 281254Z AUTO 31008G15KT 10SM CLR M02/M09 A3012 RMK AO2 SLP205 T10221089",
    "KABC 281354Z 00000KT 5SM BR FEW012 BKN030 OVC080 02/M01 A2992 RMK AO2 P0012 T00171006",
    "EDXX 281350Z VRB04MPS CAVOK M10/M11 Q1031 NOSIG",
    "METAR KABC 281454Z COR 18012KT 3SM -SN SCT005 VV002 00/00 A2980 RMK AO2 T00001004",
]


@pytest.mark.parametrize("text", REPORTS)
def test_metar_agrees_with_an_independent_reader(text: str) -> None:
    theirs = parse_metar(text.removeprefix("METAR "), 2026, 1, {})  # MetPy 1.7, whole degrees
    ours = metar.table(f"# month: 2026-01\n{text}\n{text}\n".encode(), Path("m.txt"))
    values = {c.name: c.values[0] for c in ours.columns}
    assert ours.times[0] == np.datetime64(theirs.date_time.replace(tzinfo=None), "ns")
    assert values["air_temperature"] == pytest.approx(theirs.temperature, abs=0.51)
    assert values["dew_point_temperature"] == pytest.approx(theirs.dewpoint, abs=0.51)
    assert values["wind_speed"] == pytest.approx(theirs.wind_speed * 1852 / 3600, abs=0.05)
    if np.isfinite(theirs.wind_direction):
        assert values["wind_from_direction"] == theirs.wind_direction
    else:
        assert "wind_from_direction" not in values


def test_metar_tenths_cloud_rain_and_pressure(tmp_path: Path) -> None:
    raw = _read(tmp_path, "metar_20260128.txt", "\n".join(r for r in REPORTS if "KABC" in r))
    celsius = raw.air_temperature.values[0] - 273.15
    assert celsius == pytest.approx([-2.2, 1.7, 0.0])  # the remark groups, not the whole degrees
    assert raw.dew_point_temperature.values[0] - 273.15 == pytest.approx([-8.9, -0.6, -0.4])
    assert raw.cloud_area_fraction.values[0] == pytest.approx([0.0, 1.0, 1.0])
    assert raw.precipitation_flux.values[0] * 3600 == pytest.approx([0.0, 0.12 * 25.4, 0.0])
    assert raw.air_pressure_at_mean_sea_level.values[0, 1] == pytest.approx(101320.8, abs=1)
    assert raw.wind_speed.values[0] == pytest.approx([8 * 0.51444, 0.0, 12 * 0.51444], abs=1e-3)


def test_metar_months_roll_over(tmp_path: Path) -> None:
    rows = [f"KABC {d:02d}{h:02d}54Z 31008KT 10SM CLR 00/M09 A3012" for d, h in [(31, 22), (31, 23), (1, 0), (1, 1)]]
    raw = _read(tmp_path, "m.txt", "# month: 2026-01\n" + "\n".join(rows))
    assert str(raw.time.values[0])[:16] == "2026-01-31T22:54"
    assert str(raw.time.values[-1])[:16] == "2026-02-01T01:54"
    newest_first = _read(tmp_path, "n.txt", "2026/02/01 01:54\n" + "\n".join(reversed(rows)))
    assert (newest_first.time.values == raw.time.values).all()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("KABC 281254Z 31008KT CLR M02/M09 A3012\n" * 2, "says no month"),
        ("# month: 2026-02\nKABC 311254Z 31008KT CLR M02/M09\nKABC 321254Z 31008KT CLR M02/M09", "no time near"),
        ("# month: 2026-01\nKABC 281254Z 31008KT CLR 02/M09\nKXYZ 281354Z 31008KT CLR 02/M09", "holds 2 stations"),
    ],
)
def test_broken_metar_text_is_told_in_words(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "m.txt", text)
    assert words in str(caught.value)


# --- station days


def test_a_station_day_gives_measured_longwave() -> None:
    site = Site("high valley", 37.70, -105.92, 2317.0, "America/Denver")
    raw = read.weather(REFERENCE / "slv16001.dat.gz", site)
    assert raw.sizes["time"] == 288
    flux = raw.surface_downwelling_longwave_flux_in_air
    assert (float(flux.min()), float(flux.max())) == pytest.approx((164.0, 239.0), abs=3.0)  # as the file's note has it
    made = _sealed(raw, site)
    assert "longwave" not in assumed.codes(made)
    with pytest.raises(InputError, match="km from the venue"):
        read.weather(REFERENCE / "slv16001.dat.gz", SITE)


# --- GRIB


def _grib(folder: Path, members: int, hours: int, kind: str) -> Path:
    file = folder / f"{kind}.grib"
    maker = str(Path(__file__).parent / "make_grib.py")
    subprocess.run([sys.executable, maker, str(file), str(members), str(hours), kind], check=True, timeout=120)
    return file


def test_grib_members_and_sums_since_the_start(tmp_path: Path) -> None:
    raw = read.weather(_grib(tmp_path, 3, 5, "sums"), SITE)
    assert dict(raw.sizes) == {"realization": 3, "time": 5, "bnds": 2}
    assert raw.air_temperature.values[:, 0] == pytest.approx([270.0, 270.1, 270.2], abs=0.02)
    assert raw.wind_speed.values == pytest.approx(5.0, abs=0.01)  # 3 and 4 m/s
    assert raw.wind_from_direction.values == pytest.approx(np.rad2deg(np.arctan2(-3, 4)) % 360, abs=0.1)
    assert raw.surface_downwelling_longwave_flux_in_air.values[:, 1:] == pytest.approx(250.0, rel=1e-5)
    assert raw.precipitation_flux.values[:, 1:] * 3600 == pytest.approx(1.0, abs=0.01)
    assert raw.attrs["issued"] == "2026-01-27T12:00:00Z"
    assert np.isfinite(_sealed(raw).surface_downwelling_longwave_flux_in_air).all()


def test_grib_averages_in_turn_and_other_grids(tmp_path: Path) -> None:
    raw = read.weather(_grib(tmp_path, 1, 13, "turns"), SITE)
    flux = raw.surface_downwelling_longwave_flux_in_air.values[0, 1:]
    # 0-3 h: 230; 0-6 h: mean 250, so 3-6 h was 270
    assert flux == pytest.approx(np.repeat([230.0, 270.0, 230.0, 270.0], 3), abs=0.05)
    with pytest.raises(InputError, match=r"outside its grid|km from the venue"):
        read.weather(tmp_path / "turns.grib", Site("elsewhere", 50.0, 10.0, 0.0, "UTC"))
    (tmp_path / "cut.grib").write_bytes((tmp_path / "turns.grib").read_bytes()[:-50])
    with pytest.raises(InputError, match="cannot be read as GRIB"):
        read.weather(tmp_path / "cut.grib", SITE)


def test_grib_of_the_wrong_variable_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds nothing of use"):
        read.weather(_grib(tmp_path, 1, 2, "wrong"), SITE)


def test_every_format_says_what_it_gives() -> None:
    for gives, lacks in FORMATS.values():
        assert gives
        assert lacks


# --- whatever comes


def _spoiled(data: bytes, draw: random.Random) -> bytes:
    """A file cut, with bytes changed, lost or doubled, or with a number made something else."""
    at = draw.randrange(1, len(data))
    kind = draw.choice(["cut", "flip", "lose", "double", "number"])
    if kind == "cut":
        return data[:at]
    if kind == "flip":
        return data[: at - 1] + bytes([draw.randrange(256)]) + data[at:]
    if kind == "lose":
        return data[:at] + data[at + draw.randrange(1, 200) :]
    if kind == "double":
        return data[:at] + data[at : at + draw.randrange(1, 300)] + data[at:]
    found = draw.choice(list(re.finditer(rb"-?\d+\.?\d*", data)))
    other = draw.choice([b"1e400", b"-99999", b"null", b'"x"', b"nan", b"", b"[]", b"{}", b"true", b"9" * 20])
    return data[: found.start()] + other + data[found.end() :]


@pytest.mark.parametrize("number", range(6))
def test_a_spoiled_file_is_read_or_told_in_words(number: int) -> None:
    valley = Site("high valley", 37.70, -105.92, 2317.0, "America/Denver")
    name, data, site = [
        ("f.csv", (DEMO / "forecast.csv").read_bytes(), SITE),
        ("f.json", (REFERENCE / "nws_gridpoint.json").read_bytes(), COAST),
        ("m.json", json.dumps(_metno()).encode(), SITE),
        ("k.kmz", _zipped(_kml()), SITE),
        ("metar_20260128.txt", "\n".join(r for r in REPORTS if "KABC" in r).encode(), SITE),
        ("s.dat", gzip.decompress((REFERENCE / "slv16001.dat.gz").read_bytes()), valley),
    ][number]
    draw = random.Random(number)
    for _ in range(40):
        with contextlib.suppress(InputError):
            complete.weather(read.weather_of(_spoiled(data, draw), Path(name), site), site)


# --- intervals


def test_sums_taken_apart_by_hand() -> None:
    hours = np.array([0.0, 0, 6, 6, 12])
    ends = np.array([3.0, 6, 9, 12, 15])
    begin, end, amount = layers.pieces(hours, ends, np.array([3.0, 9.0, 1.0, 2.0, 5.0]))
    assert begin.tolist() == [0, 3, 6, 9, 12]
    assert end.tolist() == [3, 6, 9, 12, 15]
    assert amount.tolist() == [3, 6, 1, 1, 5]


def test_one_number_of_a_packed_field_is_what_the_library_reads(tmp_path: Path) -> None:
    """Members beyond the first are unpacked from the bytes: each against eccodes, in a process of its own."""
    file = _grib(tmp_path, 4, 3, "one")
    script = (
        "import sys, eccodes\n"
        "from pathlib import Path\n"
        "from microclimate.weather.formats import grib_child as own\n"
        "data = Path(sys.argv[1]).read_bytes()\n"
        "for begin, end in own.spans(data):\n"
        "    parts = own.sections(data, begin, end)\n"
        "    message = eccodes.codes_new_from_message(data[begin:end])\n"
        "    values = eccodes.codes_get_values(message)\n"
        "    found = [own.unpacked(data, parts, index) for index in range(len(values))]\n"
        "    assert own.likeness(data, parts)[1] == eccodes.codes_get(message, 'number')\n"
        "    assert max(abs(a - b) for a, b in zip(found, values)) < 1e-9, (found, values)\n"
        "print(len(own.spans(data)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(file)], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.stdout.strip() == "12", done.stderr
