"""Units that other columns contradict are refused; true storms and real files are not."""

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


def test_the_sky_tells_degc_under_degf(tmp_path: Path) -> None:
    # 15 degC under 390 W m-2 of low cloud; read as degF (-9.4 degC, 274 W m-2) it would be 1.4 of a black body's
    header = "temp [{}],wind [m/s],longwave_down [W/m2]".format
    _made(tmp_path, header("degC"), ["15,2,390"] * 12)
    assert "is it degC" in _refused(tmp_path, header("degF"), ["15,2,390"] * 12)


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
