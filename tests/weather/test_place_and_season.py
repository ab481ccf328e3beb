"""Units told by place and season: measured years pass as they are, and not with degF under the label degC."""

from pathlib import Path

import numpy as np
import pvlib
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.schema import Site
from microclimate.weather import read, season

DATA = Path(pvlib.__file__).parent / "data"
SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
YEARS = {
    "Greensboro": (DATA / "723170TYA.CSV", SITE),
    "Sand Point": (DATA / "703165TY.csv", Site("coast", 55.32, -160.52, 7.0, "America/Anchorage")),
}


def fahrenheit(kelvin: np.ndarray) -> np.ndarray:
    """The same in degF and then read as if degC."""
    return (kelvin - 273.15) * 1.8 + 32.0 + 273.15


def windows(year: xr.Dataset) -> list[xr.Dataset]:
    """Every 48 h of a year."""
    return [year.isel(time=slice(start, start + 48)) for start in range(0, year.sizes["time"] - 48, 24)]


@pytest.mark.parametrize("place", YEARS)
def test_measured_years_pass(place: str) -> None:
    path, site = YEARS[place]
    year = read.weather(path, site)
    for part in windows(year):
        season.judged(part, site.latitude, "year")


@pytest.mark.parametrize("place", YEARS)
def test_winter_nights_in_fahrenheit_are_refused(place: str) -> None:
    path, site = YEARS[place]
    year = read.weather(path, site)
    year["air_temperature"] = ("realization", "time"), fahrenheit(year["air_temperature"].values)
    winter = [part for part in windows(year) if part["time"].dt.month.values[0] in (11, 12, 1, 2, 3)]
    told = []
    for part in winter:
        try:
            season.judged(part, site.latitude, "year")
        except InputError as error:
            told.append(str(error))
    assert all("degF" in text for text in told)
    # the hardest spells in degF look like mild days in degC: 128 of 149 and all were told in these two years
    assert len(told) >= 0.85 * len(winter)


@pytest.mark.parametrize(
    ("latitude", "month", "mean"),
    # hottest monthly means of stations, rounded: Furnace Creek July 39, Phoenix July 35, Verkhoyansk July 16,
    # Alice Springs January 29, Miami January 20, Oymyakon January -46 (climate normals, from memory)
    [(36.5, 7, 39.0), (33.4, 7, 35.0), (67.6, 7, 16.0), (-23.8, 1, 29.0), (25.8, 1, 20.0), (63.5, 1, -46.0)],
)
def test_the_hottest_places_pass(latitude: float, month: int, mean: float) -> None:
    times = np.datetime64(f"2026-{month:02d}-10T00", "ns") + np.arange(48) * np.timedelta64(1, "h")
    hot = mean + 8.0 + 8.0 * np.cos(2 * np.pi * (np.arange(48) - 15) / 24)  # 8 K above the month's mean
    weather = xr.Dataset({"air_temperature": (("realization", "time"), hot[None] + 273.15)}, {"time": times})
    season.judged(weather, latitude, "hot")


def test_dew_point_in_another_unit_is_refused(tmp_path: Path) -> None:
    rows = "".join(f"2026-01-28T{h:02d}:00Z,{2 - 0.1 * h:.1f},{30 - 0.2 * h:.1f},2\n" for h in range(12))
    path = tmp_path / "mixed.csv"
    path.write_text("time,temp [degC],dew_point [degC],wind [m/s]\n" + rows)
    with pytest.raises(InputError, match="by itself"):
        read.weather(path, SITE)


def test_typed_nights_in_fahrenheit(tmp_path: Path) -> None:
    rows = "".join(f"2026-01-28T{h:02d}:00Z,{44 - h},2\n" for h in range(16))
    path = tmp_path / "night.csv"
    path.write_text("time,temp [degC],wind [m/s]\n" + rows)
    with pytest.raises(InputError, match="is it degF"):
        read.weather(path, SITE)
    path.write_text("time,temp [degF],wind [m/s]\n" + rows)
    assert float(read.weather(path, SITE)["air_temperature"].max()) == pytest.approx(279.82, abs=0.01)


def test_a_cold_spell_is_told_by_its_sky_and_its_snow() -> None:
    """-5 degC is 23 degF: as 23 degC the season lets it pass, the sky above it (220 W/m2) and the snow do not."""
    times = np.datetime64("2026-01-28T00", "ns") + np.arange(24) * np.timedelta64(1, "h")
    dims = ("realization", "time")
    taken = xr.Dataset({"air_temperature": (dims, np.full((1, 24), 23.0 + 273.15))}, {"time": times})
    season.judged(taken, 36.1, "night")
    sky = taken.assign(surface_downwelling_longwave_flux_in_air=(dims, np.full((1, 24), 215.0)))
    with pytest.raises(InputError, match="longwave from the sky"):
        season.judged(sky, 36.1, "night")
    snow = taken.assign(snowfall_flux=(dims, np.r_[np.zeros(20), np.full(4, 1e-4)][None]))
    with pytest.raises(InputError, match="snow falls at 23 degC"):
        season.judged(snow, 36.1, "night")


@pytest.mark.parametrize(
    ("latitude", "month", "record"),
    # warmest hours known, rounded: Furnace Creek July 57, Verkhoyansk June 38, Lytton June 50, Los Angeles January 35,
    # Boston February 23, Sydney July 26 (weather records, from memory)
    [(36.5, 7, 57.0), (67.5, 6, 38.0), (50.2, 6, 50.0), (34.0, 1, 35.0), (42.4, 2, 23.0), (-33.9, 7, 26.0)],
)
def test_the_warmest_hours_known_are_not_called_another_unit(latitude: float, month: int, record: float) -> None:
    day = np.array([30.4 * (month - 0.5)])
    assert record + 273.15 < season.warmest(latitude, day)[0] + season.HOUR - 2.0


def test_one_hot_hour_tells_a_hard_frost_in_fahrenheit() -> None:
    demo = read.weather(Path(__file__).parents[2] / "data_demo" / "forecast.csv", SITE)
    demo["air_temperature"] = ("realization", "time"), fahrenheit(demo["air_temperature"].values)
    with pytest.raises(InputError, match="comes up to 4"):
        season.judged(demo, SITE.latitude, "forecast")
