"""Units that contradict the sun, the sky or each other are refused; true heat, true cold and real files are not."""

from pathlib import Path

import numpy as np
import pvlib
import pytest

from microclimate.errors import InputError
from microclimate.schema import Site
from microclimate.weather import complete, read

DEMO = Path(__file__).parents[2] / "data_demo"
SAMPLES = Path(pvlib.__file__).parent / "data"
SITE = Site("place", 42.4, -71.0, 10.0, "UTC")


def _made(folder: Path, header: str, rows: list[str], site: Site = SITE, day: str = "2026-01-28") -> None:
    lines = [f"{day}T{hour:02d}:00Z,{row}" for hour, row in enumerate(rows)]
    (folder / "w.csv").write_text("\n".join([f"time,{header}", *lines]) + "\n", encoding="utf-8")
    complete.weather(read.weather(folder / "w.csv", site), site)


def _refused(folder: Path, header: str, rows: list[str], site: Site = SITE, day: str = "2026-01-28") -> str:
    with pytest.raises(InputError) as caught:
        _made(folder, header, rows, site, day)
    return str(caught.value)


NIGHT = [f"{value},2" for value in (34, 33, 31, 30, 29, 28, 27, 26, 25, 25, 24, 26, 30, 34, 38, 41)]


def test_a_winter_night_in_degf_under_degc_is_refused(tmp_path: Path) -> None:
    told = _refused(tmp_path, "temp [degC],wind [m/s]", NIGHT)
    assert "never falls below 24 degC" in told
    assert "degF" in told
    _made(tmp_path, "temp [degF],wind [m/s]", NIGHT)


def test_the_same_numbers_are_heat_in_summer_and_in_the_tropics(tmp_path: Path) -> None:
    _made(tmp_path, "temp [degC],wind [m/s]", NIGHT, day="2026-07-28")
    _made(tmp_path, "temp [degC],wind [m/s]", NIGHT, Site("warm", 13.0, 100.0, 10.0, "UTC"))
    _made(tmp_path, "temp [degC],wind [m/s]", NIGHT, Site("south", -37.8, 145.0, 10.0, "UTC"))
    assert "degF" in _refused(
        tmp_path, "temp [degC],wind [m/s]", NIGHT, Site("south", -42.0, 145.0, 10.0, "UTC"), "2026-07-28"
    )


@pytest.mark.parametrize(
    ("latitude", "day", "lowest"), [(32.8, "2025-12-25", 21.0), (40.7, "2015-12-24", 17.2), (42.4, "2015-12-24", 15.6)]
)
def test_the_warmest_winter_nights_known_pass(tmp_path: Path, latitude: float, day: str, lowest: float) -> None:
    # Dallas, New York, Boston: warmest December nights, from memory, no source
    _made(tmp_path, "temp [degC],wind [m/s]", [f"{lowest},2"] * 12, Site("city", latitude, -80.0, 10.0, "UTC"), day)


def test_the_sky_tells_the_unit_of_the_air(tmp_path: Path) -> None:
    # 0 degC under 230 W m-2 is a clear sky (0.73 of a black body's); as 38 "degC" it would be 0.43,
    # and 15 degC under 390 W m-2 of low cloud read as degF would make it 1.4
    header = "temp [{}],wind [m/s],longwave_down [W/m2]".format
    _made(tmp_path, header("degC"), ["0,2,230"] * 12)
    assert "black body" in _refused(tmp_path, header("degC"), ["38,2,230"] * 12, day="2026-07-28")
    assert "black body" in _refused(tmp_path, header("degF"), ["15,2,390"] * 12)


def test_a_dew_point_far_above_the_air_is_another_unit(tmp_path: Path) -> None:
    header = "temp [degC],dew point [degC],wind [m/s]"
    assert "above the air" in _refused(tmp_path, header, ["-1,25,2"] * 12)
    _made(tmp_path, header, ["-1,-0.5,2"] * 12)


def test_wind_in_other_units_is_told_as_far_as_size_can(tmp_path: Path) -> None:
    assert "km/h, mph or kt" in _refused(tmp_path, "temp [degC],wind [m/s]", ["1,28"] * 12)
    assert "mean wind" in _refused(tmp_path, "temp [degC],wind [m/s],gust [m/s]", ["1,18,12"] * 12)
    _made(tmp_path, "temp [degC],wind [m/s],gust [m/s]", ["1,17,26"] * 12)


@pytest.mark.parametrize("name", ["forecast.csv", "past.csv", "ensemble.nc"])
def test_the_demo_weather_passes(name: str) -> None:
    site = Site("demo", 36.1, -79.95, 273.0, "America/New_York")
    made = complete.weather(read.weather(DEMO / name, site), site)
    assert np.isfinite(made["air_temperature"].values).all()


@pytest.mark.parametrize(
    ("name", "latitude", "longitude"), [("703165TY.csv", 55.317, -160.517), ("723170TYA.CSV", 36.1, -79.95)]
)
def test_years_that_pvlib_ships_pass(name: str, latitude: float, longitude: float) -> None:
    site = Site("station", latitude, longitude, 0.0, "UTC")
    made = complete.weather(read.weather(SAMPLES / name, site), site)
    assert made.sizes["time"] > 8000
