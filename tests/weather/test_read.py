"""Reading files: names, units, clocks, gaps, labels. Expected numbers are closed forms unless they say otherwise."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
import xarray as xr

from microclimate.schema import Site
from microclimate.weather import assumed, read
from microclimate.weather.regular import regular

SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
TMY3 = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def _csv(folder: Path, text: str, name: str = "w.csv") -> xr.Dataset:
    file = folder / name
    file.write_text(text, encoding="utf-8")
    return read.weather(file, SITE)


def _hours(count: int, row: str, start: str = "2026-01-28T00:00Z") -> str:
    return "\n".join(f"{t:%Y-%m-%dT%H:%MZ},{row}" for t in pd.date_range(start, periods=count, freq="h"))


def test_plain_aliases_and_units(tmp_path: Path) -> None:
    text = "time,Temp [degF],humidity [%],wind [mph],gusts [kt],pressure [inHg],cloud [oktas],rain [in]\n"
    data = _csv(tmp_path, text + _hours(3, "32,50,10,20,29.92,4,0.1"))
    assert data.air_temperature.values == pytest.approx(273.15)  # freezing point of water by definition of the scale
    assert data.relative_humidity.values == pytest.approx(0.5)
    assert data.wind_speed.values == pytest.approx(4.4704)  # 10 x 1609.344 m / 3600 s
    assert data.wind_speed_of_gust.values == pytest.approx(20 * 1852 / 3600)
    assert data.surface_air_pressure.values == pytest.approx(
        101320.8, abs=1
    )  # 29.92 inHg, ICAO standard within rounding
    assert data.cloud_area_fraction.values == pytest.approx(0.5)
    assert data.precipitation_flux.values == pytest.approx(2.54 / 3600)


def test_cf_names_semicolons_decimal_comma_and_byte_order_mark(tmp_path: Path) -> None:
    text = "\ufefftime;air_temperature [°C];wind_speed [m s-1]\n2026-01-28T00:00Z;-1,5;2\n2026-01-28T01:00Z;-2,5;3\n"
    data = _csv(tmp_path, text)
    assert data.air_temperature.values[0] == pytest.approx([271.65, 270.65])


def test_mapping_renames_headers(tmp_path: Path) -> None:
    file = tmp_path / "w.csv"
    file.write_text("Zeit,Lufttemp\n" + _hours(2, "1.0"), encoding="utf-8")
    data = read.weather(file, SITE, mapping={"Zeit": "time", "Lufttemp": "air_temperature [degC]"})
    assert data.air_temperature.values == pytest.approx(274.15)


def test_offsets_are_honoured_and_naive_stamps_use_the_venues_zone_and_say_so(tmp_path: Path) -> None:
    offset = _csv(tmp_path, "time,temp [degC]\n2026-01-28T00:00-05:00,1\n2026-01-28T01:00-05:00,1\n")
    naive = _csv(tmp_path, "time,temp [degC]\n2026-01-28 00:00,1\n2026-01-28 01:00,1\n")
    named = _csv(tmp_path, "time [UTC],temp [degC]\n2026-01-28 05:00,1\n2026-01-28 06:00,1\n")
    assert offset.time.values[0] == np.datetime64("2026-01-28T05:00")
    assert (naive.time.values == offset.time.values).all()
    assert (named.time.values == offset.time.values).all()
    assert assumed.codes(naive)["naive_times"] == ["America/New_York"]
    assert "naive_times" not in assumed.codes(named)


def test_the_repeated_hour_of_autumn_is_told_by_the_order_of_rows(tmp_path: Path) -> None:
    rows = ["00:00", "01:00", "01:00", "02:00"]
    data = _csv(tmp_path, "time,temp [degC]\n" + "\n".join(f"2026-11-01 {r},{i}" for i, r in enumerate(rows)))
    assert (np.diff(data.time.values) == np.timedelta64(1, "h")).all()
    assert data.air_temperature.values[0] - 273.15 == pytest.approx([0, 1, 2, 3])


def test_one_lost_record_in_the_repeated_hour_is_still_placed(tmp_path: Path) -> None:
    rows = ["00:00", "00:30", "01:00", "01:30", "01:00", "02:00", "02:30", "03:00"]
    data = _csv(tmp_path, "time,temp [degC]\n" + "\n".join(f"2026-11-01 {r},{i}" for i, r in enumerate(rows)))
    minutes = (data.time.values - data.time.values[0]) / np.timedelta64(1, "m")
    assert minutes.tolist() == [0, 30, 60, 90, 120, 180, 210, 240]


def test_the_spring_hour_leaves_no_gap(tmp_path: Path) -> None:
    rows = ["00:00", "01:00", "03:00", "04:00"]
    data = _csv(tmp_path, "time,temp [degC]\n" + "\n".join(f"2026-03-08 {r},1" for r in rows))
    assert (np.diff(data.time.values) == np.timedelta64(1, "h")).all()


def test_marks_for_missing_values_are_set_aside_and_counted(tmp_path: Path) -> None:
    rows = "\n".join(["2026-01-28T00:00Z,1", "2026-01-28T01:00Z,-9999", "2026-01-28T02:00Z,", "2026-01-28T03:00Z,4"])
    data = _csv(tmp_path, "time,temp [degC]\n" + rows)
    assert assumed.codes(data)["missing"] == ["air_temperature:1"]
    even = regular(data)
    assert even.air_temperature.values[0] - 273.15 == pytest.approx([1, 2, 3, 4])
    assert assumed.codes(even)["bridged"] == ["air_temperature:2"]


@pytest.mark.parametrize(("lost", "bridged", "left"), [(1, 1, 0), (2, 2, 0), (3, 0, 3), (7, 0, 7)])
def test_gaps_up_to_three_hours_are_bridged_longer_ones_stay(
    tmp_path: Path, lost: int, bridged: int, left: int
) -> None:
    # n lost hours leave neighbours n + 1 hours apart
    times = pd.date_range("2026-01-28", periods=20, freq="h")
    kept = [t for i, t in enumerate(times) if not 5 <= i < 5 + lost]
    rows = "\n".join(f"{t:%Y-%m-%dT%H:%MZ},{(t - times[0]).total_seconds() / 3600}" for t in kept)
    even = regular(_csv(tmp_path, "time,temp [degC]\n" + rows))
    codes = assumed.codes(even)
    assert even.sizes["time"] == 20
    assert codes.get("bridged", []) == ([f"air_temperature:{bridged}"] if bridged else [])
    assert codes.get("gap", []) == ([f"air_temperature:{left}"] if left else [])
    known = np.isfinite(even.air_temperature.values[0])
    assert even.air_temperature.values[0][known] - 273.15 == pytest.approx(np.arange(20.0)[known])


def test_six_hourly_rows_are_a_step_not_a_gap_and_amounts_are_kept(tmp_path: Path) -> None:
    hourly = pd.date_range("2026-01-28T00:00", periods=7, freq="h")
    coarse = pd.date_range("2026-01-28T12:00", periods=4, freq="6h")
    rows = "\n".join(f"{t:%Y-%m-%dT%H:%MZ},0,{6 if t in coarse else 1}" for t in [*hourly, *coarse])
    even = regular(_csv(tmp_path, "time,temp [degC],rain [mm]\n" + rows))
    assert "gap" not in assumed.codes(even)
    assert even.sizes["time"] == 31
    total = float((even.precipitation_flux * 3600).sum())
    assert total == pytest.approx(7 * 1 + 4 * 6)  # the sum in is the sum out


def test_direction_is_bridged_through_north(tmp_path: Path) -> None:
    rows = "2026-01-28T00:00Z,350\n2026-01-28T01:00Z,\n2026-01-28T02:00Z,10\n"
    even = regular(_csv(tmp_path, "time,wind direction [degree]\n" + rows))
    assert even.wind_from_direction.values[0, 1] % 360 == pytest.approx(0.0, abs=1e-9)


def test_identical_rows_said_twice_are_dropped(tmp_path: Path) -> None:
    rows = "2026-01-28T00:00Z,1\n2026-01-28T01:00Z,2\n2026-01-28T01:00Z,2\n2026-01-28T02:00Z,3\n"
    data = _csv(tmp_path, "time,temp [degC]\n" + rows)
    assert data.sizes["time"] == 3
    assert assumed.codes(data)["duplicate_rows"] == ["1"]


@pytest.mark.parametrize(
    ("header", "value", "name", "wanted", "code"),
    [
        ("temp [degC]", "272.15", "air_temperature", 272.15, "air_temperature:degC->K"),
        ("cloud [1]", "75", "cloud_area_fraction", 0.75, "cloud_area_fraction:1->%"),
        ("cloud [%]", "0.75", "cloud_area_fraction", 0.75, "cloud_area_fraction:%->1"),
        ("humidity [1]", "80", "relative_humidity", 0.8, "relative_humidity:1->%"),
        ("ghi [W/m2]", "360000", "surface_downwelling_shortwave_flux_in_air", 100.0, None),
        ("longwave [J/m2]", "1080000", "surface_downwelling_longwave_flux_in_air", 300.0, None),
    ],
)
def test_units_are_judged_by_size(
    tmp_path: Path, header: str, value: str, name: str, wanted: float, code: str | None
) -> None:
    data = _csv(tmp_path, f"time,{header}\n" + _hours(4, value))
    assert data[name].values == pytest.approx(wanted)
    if code:
        assert code in assumed.codes(data)["unit"]


def test_a_running_sum_of_radiation_is_differenced(tmp_path: Path) -> None:
    times = pd.date_range("2026-01-28", periods=12, freq="h")
    rows = "\n".join(f"{t:%Y-%m-%dT%H:%MZ},{i * 300 * 3600}" for i, t in enumerate(times))
    data = _csv(tmp_path, "time,longwave [J/m2]\n" + rows)
    values = data.surface_downwelling_longwave_flux_in_air.values[0]
    assert values[1:] == pytest.approx(300.0)
    assert assumed.codes(data)["accumulated"] == ["surface_downwelling_longwave_flux_in_air"]


def test_members_in_a_column(tmp_path: Path) -> None:
    times = ["2026-01-28T00:00Z", "2026-01-28T01:00Z", "2026-01-28T02:00Z"]
    rows = "\n".join(f"{t},{m},{m}" for m in (1, 2) for t in times)
    data = _csv(tmp_path, "time,member,temp [degC]\n" + rows)
    assert data.air_temperature.values - 273.15 == pytest.approx(np.array([[1.0] * 3, [2.0] * 3]))


@pytest.mark.parametrize("dimension", ["number", "realization", "member", "ensemble", "ens"])
def test_netcdf_with_any_usual_name_of_members(tmp_path: Path, dimension: str) -> None:
    times = pd.date_range("2026-01-28", periods=4, freq="h")
    values = 270.0 + np.arange(12.0).reshape(3, 4)
    made = xr.Dataset({"t2m": ((dimension, "time"), values, {"units": "K", "standard_name": "air_temperature"})})
    made.assign_coords(time=times).to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    data = read.weather(tmp_path / "w.nc", SITE)
    assert data.air_temperature.values == pytest.approx(values)


def test_netcdf_members_found_by_standard_name_and_grid_point_by_distance(tmp_path: Path) -> None:
    times = pd.date_range("2026-01-28", periods=3, freq="h")
    latitude, longitude = np.array([35.0, 36.0, 37.0]), np.array([279.0, 280.0, 281.0])  # 280 E is 80 W
    values = np.zeros((2, 3, 3, 3)) + 270.0 + latitude[None, None, :, None] / 100 + longitude / 1000
    made = xr.Dataset(
        {"temp": (("draw", "time", "lat", "lon"), values, {"units": "K", "standard_name": "air_temperature"})},
        coords={
            "time": times,
            "lat": ("lat", latitude, {"standard_name": "latitude"}),
            "lon": ("lon", longitude, {"standard_name": "longitude"}),
            "draw": ("draw", [0, 1], {"standard_name": "realization"}),
        },
    )
    made.to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    data = read.weather(tmp_path / "w.nc", SITE)
    assert data.sizes["realization"] == 2
    assert data.air_temperature.values == pytest.approx(270.0 + 0.36 + 0.280)
    assert assumed.codes(data)["grid_point"][0].startswith(
        "12"
    )  # 0.1 degree of latitude is 11.1 km, 0.05 of longitude 4.5


def test_netcdf_bounds_give_the_end_of_the_interval(tmp_path: Path) -> None:
    ends = pd.date_range("2026-01-28T01:00", periods=3, freq="h")
    bounds = np.stack([ends - pd.Timedelta("1h"), ends], axis=-1)
    made = xr.Dataset(
        {
            "lw": (
                ("time",),
                [300.0] * 3,
                {"units": "W m-2", "standard_name": "surface_downwelling_longwave_flux_in_air"},
            )
        },
        coords={"time": ("time", ends - pd.Timedelta("30min"), {"bounds": "time_bnds"})},
    )
    made["time_bnds"] = (("time", "bnds"), bounds)
    made.to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    assert (read.weather(tmp_path / "w.nc", SITE).time.values == ends.values).all()


def test_netcdf_accumulated_radiation_is_differenced(tmp_path: Path) -> None:
    times = pd.date_range("2026-01-28", periods=12, freq="h")
    attrs = {"units": "W s m-2", "standard_name": "integral_wrt_time_of_surface_downwelling_longwave_flux_in_air"}
    made = xr.Dataset({"strd": (("time",), 250.0 * 3600 * np.arange(12), attrs)}, coords={"time": times})
    made.to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    data = read.weather(tmp_path / "w.nc", SITE)
    assert data.surface_downwelling_longwave_flux_in_air.values[0, 1:] == pytest.approx(250.0)


def _sun_half_an_hour(data: xr.Dataset, minutes: int) -> float:
    """Correlation of global radiation with the sun's height some minutes from the stamp."""
    series = data.surface_downwelling_shortwave_flux_in_air.values[0]
    site = pvlib.location.Location(SITE.latitude, SITE.longitude, "UTC", SITE.elevation)
    index = pd.DatetimeIndex(data.time.values, tz="UTC") + pd.Timedelta(minutes=minutes)
    sun = np.maximum(np.sin(np.deg2rad(site.get_solarposition(index)["elevation"].to_numpy())), 0.0)
    return float(np.corrcoef(series, sun)[0, 1])


def test_typical_year_stamps_are_the_end_of_the_hour() -> None:
    data = read.weather(TMY3, SITE)
    fits = {minutes: _sun_half_an_hour(data, minutes) for minutes in (-90, -30, 30, 90)}
    assert max(fits, key=fits.__getitem__) == -30
    assert data.sizes["time"] == 8760


def test_typical_year_rain_is_what_the_place_gets() -> None:
    data = read.weather(TMY3, SITE)
    rain = float((data.precipitation_flux * 3600).sum())
    # the header says mm, the numbers are tenths (hundredths of an inch): 8,345 would be a rain forest
    assert 500 < rain < 1500
    assert assumed.codes(data)["precipitation_unit"] == ["tenths of mm"]


def test_a_season_of_csv_is_read_within_a_second(tmp_path: Path) -> None:
    times = pd.date_range("2025-10-01", periods=183 * 24, freq="h", tz="UTC")
    frame = pd.DataFrame({"time": times.strftime("%Y-%m-%dT%H:%MZ")})
    for header in ("temp [degC]", "dew point [degC]", "wind [m/s]", "cloud [%]", "rain [mm]", "pressure [hPa]"):
        frame[header] = 950.0 if "hPa" in header else 1.0
    frame.to_csv(tmp_path / "w.csv", index=False)
    spent = []
    for _ in range(3):
        begun = pd.Timestamp.now()
        read.weather(tmp_path / "w.csv", SITE)
        spent.append((pd.Timestamp.now() - begun).total_seconds())
    assert min(spent) < 1.0


def test_members_that_end_early_or_hold_nothing_are_told(tmp_path: Path) -> None:
    times = pd.date_range("2026-01-28", periods=4, freq="h")
    values = 270.0 + np.zeros((4, 4))
    values[1, 2:] = np.nan
    values[2] = np.nan
    made = xr.Dataset({"t2m": (("number", "time"), values, {"units": "K"})}, coords={"time": times})
    made.to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    data = read.weather(tmp_path / "w.nc", SITE)
    codes = assumed.codes(data)
    assert data.sizes["realization"] == 3
    assert codes["dead_members"] == ["1"]
    assert codes["unequal_members"] == ["1"]
    assert np.isnan(regular(data).air_temperature.values[1, 2:]).all()


def test_the_codes_are_all_described() -> None:
    with pytest.raises(KeyError):
        assumed.note(xr.Dataset(attrs={"assumed": ""}), ["made_up=1"])
