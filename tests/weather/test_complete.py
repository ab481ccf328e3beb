"""What is added to a forecast: each number by a published formula, conserved and physical."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import psychrolib
import pvlib
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.physics import rain, vapour
from microclimate.schema import WEATHER, Site
from microclimate.weather import assumed, complete, read, sky
from microclimate.weather.complete import DIFFUSE, DIRECT, GLOBAL, LONGWAVE
from microclimate.weather.regular import regular

SITE = Site("field", 36.1, -79.95, 273.0, "America/New_York")
REFERENCE = Path(__file__).parents[1] / "reference" / "weather"
DEMO = Path(__file__).parents[2] / "data_demo"
TMY3 = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def _weather(folder: Path, header: str, rows: str, hours: int = 48, clear_sky: str = "") -> xr.Dataset:
    stamps = pd.date_range("2026-01-28T00:00Z", periods=hours, freq="h")
    text = f"time,{header}\n" + "\n".join(f"{t:%Y-%m-%dT%H:%MZ},{rows}" for t in stamps)
    (folder / "w.csv").write_text(text, encoding="utf-8")
    return complete.weather(read.weather(folder / "w.csv", SITE), replace(SITE, clear_sky=clear_sky))


def test_a_bare_forecast_is_completed_and_every_addition_is_said(tmp_path: Path) -> None:
    made = _weather(tmp_path, "temp [degC],wind [m/s],cloud [%]", "1,2,50")
    assert set(WEATHER) <= set(made)
    assert all(np.isfinite(made[name].values).all() for name in WEATHER if name != "wind_from_direction")
    assert np.isnan(made["wind_from_direction"].values).all()  # unknown stays unknown: no direction is invented
    codes = assumed.codes(made)
    assert codes["dew_point"] == ["daily_minimum"]
    assert codes["direction"] == ["unknown"]
    assert codes["longwave"] == [sky.DEFAULT_CLEAR_SKY]
    assert {"pressure", "gust", "shortwave", "split", "precipitation", "wind_height"} <= set(codes)


def test_nothing_is_added_to_what_the_file_has(tmp_path: Path) -> None:
    header = (
        "temp [degC],dew [degC],wind [m/s],gust [m/s],wind direction [degree],pressure [hPa],cloud [%],rain [mm],"
        "snow water [mm],ghi [W/m2],dhi [W/m2],longwave [W/m2]"
    )
    text = "# wind height: 2 m\n# temperature height: 1.5 m\n"
    rows = "1,0,2,4,90,980,50,1,0.2,0,0,280"
    stamps = pd.date_range("2026-01-28T00:00Z", periods=8, freq="h")
    text += f"time,{header}\n" + "\n".join(f"{t:%Y-%m-%dT%H:%MZ},{rows}" for t in stamps)
    (tmp_path / "w.csv").write_text(text, encoding="utf-8")
    made = complete.weather(read.weather(tmp_path / "w.csv", SITE), SITE)
    assert assumed.codes(made) == {}
    assert made[LONGWAVE].values == pytest.approx(280.0)
    assert made.snowfall_flux.values == pytest.approx(0.2 / 3600)
    assert made.attrs["wind_height"] == 2.0


def test_dew_point_from_humidity_agrees_with_an_independent_library(tmp_path: Path) -> None:
    made = _weather(tmp_path, "temp [degC],rh [%],wind [m/s],cloud [%]", "10,60,2,0")
    psychrolib.SetUnitSystem(psychrolib.SI)
    wanted = psychrolib.GetTDewPointFromRelHum(10.0, 0.60)  # PsychroLib 2.5, ASHRAE Fundamentals
    assert made.dew_point_temperature.values - 273.15 == pytest.approx(wanted, abs=0.05)


def test_pressure_from_elevation_is_the_standard_atmosphere(tmp_path: Path) -> None:
    high = Site("high", 36.1, -79.95, 2000.0, "UTC")
    (tmp_path / "w.csv").write_text(
        "time,temp [degC],wind [m/s],cloud [%]\n2026-01-28T00:00Z,1,2,0\n2026-01-28T01:00Z,1,2,0\n", encoding="utf-8"
    )
    made = complete.weather(read.weather(tmp_path / "w.csv", high), high)
    assert made.surface_air_pressure.values == pytest.approx(79495, abs=10)  # ISO 2533 table, 2000 m: 794.95 hPa


def test_wet_bulb_agrees_with_the_worked_example_of_fao_56() -> None:
    # FAO-56, Example 4: dry 25.6, wet 19.5 degC, 1200 m (87.9 kPa), aspirated: vapour pressure 1.91 kPa
    assert vapour.wet_bulb(1910.0, 298.75, 87900.0) - 273.15 == pytest.approx(19.5, abs=0.1)


def test_snow_is_told_by_the_wet_bulb(tmp_path: Path) -> None:
    assert rain.snow_share(273.15 + 0.815) == pytest.approx(0.5, abs=0.01)  # Wang et al. 2019, Eq. 1 solved for 1/2
    dry = _weather(tmp_path, "temp [degC],rh [%],wind [m/s],cloud [%],rain [mm]", "2.5,40,2,100,1")
    wet = _weather(tmp_path, "temp [degC],rh [%],wind [m/s],cloud [%],rain [mm]", "2.5,99,2,100,1")
    assert (dry.snowfall_flux > 0.9 * dry.precipitation_flux).all()  # dry air cools the flakes: wet-bulb -1.2 degC
    assert (wet.snowfall_flux < 0.1 * wet.precipitation_flux).all()


def test_direct_and_diffuse_add_up_to_the_global() -> None:
    for file in ("forecast.csv", "past.csv"):
        made = complete.weather(read.weather(DEMO / file, SITE), SITE)
        assert made[DIRECT].values + made[DIFFUSE].values == pytest.approx(made[GLOBAL].values, abs=1e-9)
        assert (made[DIRECT].values >= 0).all()
        assert (made[DIFFUSE].values >= 0).all()


def test_the_split_is_erbs_as_pvlib_has_it() -> None:
    ends = pd.date_range("2026-01-28T13:10", "2026-01-28T21:00", freq="10min")
    sun = sky.sun(ends.values, np.full(len(ends), 600.0), SITE)
    total = 0.6 * sun.outside
    _, diffuse = sky.split(total, sun)
    zenith = np.rad2deg(np.arccos(sun.height))
    wanted = pvlib.irradiance.erbs(total, zenith, ends - pd.Timedelta("5min"), max_zenith=90, min_cos_zenith=0.0)
    assert diffuse == pytest.approx(
        wanted["dhi"].to_numpy(), rel=0.016
    )  # solar constants 0.4 % apart, x 3.5 in the slope of Erbs


def test_the_split_of_a_typical_year_is_near_what_its_makers_have() -> None:
    raw = read.weather(TMY3, SITE)
    made = complete.weather(raw.drop_vars(["direct_normal_irradiance", DIFFUSE]), SITE)
    own, ours = raw[DIFFUSE].values[0], made[DIFFUSE].values[0]
    day = own > 0
    # Erbs against the file's own split (its makers' model): published spread of such splits about 10-30 % of the mean
    assert np.sqrt(np.mean((ours - own)[day] ** 2)) < 0.30 * own[day].mean()
    assert abs((ours - own)[day].mean()) < 0.12 * own[day].mean()


def test_clear_sky_shortwave_is_reached_on_clear_days_of_the_typical_year() -> None:
    raw = read.weather(TMY3, SITE)
    bounds = raw["time_bnds"].values
    sun = sky.sun(raw.time.values, np.full(len(bounds), 3600.0), SITE)
    clear = (raw.cloud_area_fraction.values[0] == 0) & (sun.height > 0.3)
    ratio = raw[GLOBAL].values[0][clear] / sun.clear[clear]
    assert np.median(ratio) == pytest.approx(1.0, abs=0.05)  # clear-sky models: within 5 % (Reno et al. 2012)


def test_cloud_shades_as_the_paper_says() -> None:
    assert rain.shortwave_through_cloud(1.0) == pytest.approx(0.25)  # Kasten & Czeplak 1980: a quarter under overcast
    assert rain.shortwave_through_cloud(0.0) == 1.0


def test_more_cloud_means_more_longwave_and_less_sun(tmp_path: Path) -> None:
    clear = _weather(tmp_path, "temp [degC],rh [%],wind [m/s],cloud [%]", "0,70,2,0")
    grey = _weather(tmp_path, "temp [degC],rh [%],wind [m/s],cloud [%]", "0,70,2,100")
    assert (grey[LONGWAVE] > clear[LONGWAVE] + 50).all()
    assert float(grey[GLOBAL].max()) == pytest.approx(0.25 * float(clear[GLOBAL].max()), rel=1e-6)
    assert grey[LONGWAVE].values == pytest.approx(5.670374419e-8 * 273.15**4)  # overcast: black at air temperature


@pytest.mark.parametrize("formula", sky.CLEAR_SKIES)
def test_the_clear_sky_formula_can_be_chosen(tmp_path: Path, formula: str) -> None:
    made = _weather(tmp_path, "temp [degC],rh [%],wind [m/s],cloud [%]", "0,70,2,0", clear_sky=formula)
    assert assumed.codes(made)["longwave"] == [formula]
    # 0 degC, e 4.3 hPa: the usual formulas lie within 215 to 240 W/m2 (Brutsaert 216.6 by hand)
    assert 210 < float(made[LONGWAVE].mean()) < 245


def test_cloud_is_told_by_longwave_or_by_the_sun(tmp_path: Path) -> None:
    made = _weather(tmp_path, "temp [degC],rh [%],wind [m/s],longwave [W/m2]", "0,70,2,315.6")  # overcast: sigma T^4
    assert made.cloud_area_fraction.values == pytest.approx(1.0, abs=0.01)
    raw = read.weather(DEMO / "past.csv", SITE).drop_vars("cloud_area_fraction")
    told = complete.weather(raw, SITE)
    assert assumed.codes(told)["cloud"] == ["shortwave"]
    wet = told.cloud_area_fraction.sel(time=slice("2026-01-26T15", "2026-01-26T21"))
    assert float(wet.min()) > 0.5  # the rain day of the fortnight
    unknown = _weather(tmp_path, "temp [degC],wind [m/s]", "0,2")
    assert assumed.codes(unknown)["cloud"] == ["unknown"]


def test_a_calm_step_carries_the_direction_before_it(tmp_path: Path) -> None:
    text = "time,temp [degC],wind [m/s],wind direction [degree],cloud [%]\n"
    text += "2026-01-28T00:00Z,0,3,200,0\n2026-01-28T01:00Z,0,0,0,0\n2026-01-28T02:00Z,0,2,90,0\n"
    (tmp_path / "w.csv").write_text(text, encoding="utf-8")
    made = complete.weather(read.weather(tmp_path / "w.csv", SITE), SITE)
    assert made.wind_from_direction.values.tolist() == [[200.0, 200.0, 90.0]]


def test_a_long_gap_stays_unknown_in_all_that_follows_from_it(tmp_path: Path) -> None:
    stamps = pd.date_range("2026-01-28T00:00Z", periods=24, freq="h")
    rows = [f"{t:%Y-%m-%dT%H:%MZ},{'' if 8 <= i < 14 else 1},70,2,50" for i, t in enumerate(stamps)]
    text = "time,temp [degC],rh [%],wind [m/s],cloud [%]\n" + "\n".join(rows)
    (tmp_path / "w.csv").write_text(text, encoding="utf-8")
    made = complete.weather(read.weather(tmp_path / "w.csv", SITE), SITE)
    for name in ("air_temperature", "dew_point_temperature", LONGWAVE):
        assert np.isnan(made[name].values[0]).tolist() == [8 <= i < 14 for i in range(24)]
    assert assumed.codes(made)["gap"] == ["air_temperature:6"]


def test_weather_without_wind_or_temperature_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="has no wind_speed"):
        _weather(tmp_path, "temp [degC],cloud [%]", "1,50")
    with pytest.raises(InputError, match="has no air_temperature"):
        _weather(tmp_path, "wind [m/s],cloud [%]", "1,50")
    with pytest.raises(InputError, match="one of brutsaert"):
        _weather(tmp_path, "temp [degC],wind [m/s]", "1,2", clear_sky="guess")


STATIONS = [
    # a high, dry, calm valley under a clear sky all day; a desert with cloud by day
    ("slv16001.dat.gz", Site("high valley", 37.70, -105.92, 2317.0, "America/Denver")),
    ("dra24048.dat.gz", Site("desert", 36.62, -116.02, 1007.0, "America/Los_Angeles")),
]


@pytest.mark.parametrize(("file", "site"), STATIONS)
@pytest.mark.parametrize("formula", sky.CLEAR_SKIES)
def test_sky_longwave_against_measured_days(file: str, site: Site, formula: str) -> None:
    raw = read.weather(REFERENCE / file, site)
    measured = complete.weather(raw, site)[LONGWAVE].values[0]
    made = complete.weather(raw.drop_vars(LONGWAVE), replace(site, clear_sky=formula))
    error = made[LONGWAVE].values[0] - measured
    spread = float(np.sqrt((error**2).mean()))
    # cloud told by the day's sun and carried through the night. Root mean square errors of the better clear-sky and
    # all-sky formulas at many stations lie below 23 to 30 W/m2 (Flerchinger et al. 2009, WRR 45:W03423; from memory).
    # Found here: 13.8 and 20.8 (Dilley & O'Brien), 14.5 and 19.0 (Prata), 32.6 and 21.2 (Brutsaert, too dark a sky in
    # very dry air: 29 W/m2 too low in the valley)
    assert spread < {"brutsaert": 36.0, "prata": 23.0, "dilley_obrien": 23.0}[formula]
    assert abs(float(error.mean())) < {"brutsaert": 32.0, "prata": 10.0, "dilley_obrien": 10.0}[formula]


def test_the_split_and_the_clear_sky_against_a_measured_clear_day() -> None:
    # the other day, under thin bright cloud, is one on which Erbs finds a third of the diffuse light there is
    file, site = STATIONS[0]
    raw = regular(read.weather(REFERENCE / file, site))
    hours = raw.sizes["time"] // 12
    total, diffuse = (raw[name].values[0, : 12 * hours].reshape(hours, 12).mean(axis=1) for name in (GLOBAL, DIFFUSE))
    sun = sky.sun(raw.time.values[11 : 12 * hours : 12], np.full(hours, 3600.0), site)
    high = sun.height > 0.2
    _, ours = sky.split(total, sun)
    # hours, as Erbs et al. 1982 were fitted to; their figure scatters by about 0.15 of the global (from memory)
    assert np.sqrt(np.mean((ours - diffuse)[high] ** 2)) < 0.15 * total[high].mean()
    # a clear day at 2,317 m: clear-sky models within 7 % (Reno et al. 2012)
    assert np.median(total[high] / sun.clear[high]) == pytest.approx(1.0, abs=0.07)


def _moved(hours: int) -> xr.Dataset:
    """The fortnight's record with its stamps moved."""
    raw = read.weather(DEMO / "past.csv", SITE)
    moved = raw.assign_coords(time=raw.time + np.timedelta64(hours, "h"))
    moved["time_bnds"] = (("time", "bnds"), raw["time_bnds"].values + np.timedelta64(hours, "h"))
    return moved


def test_sunshine_labelled_by_its_start_is_moved_to_its_end_and_said() -> None:
    right, early = complete.weather(_moved(0), SITE), complete.weather(_moved(-1), SITE)
    assert assumed.codes(early)["labels"] == ["start"]
    assert "labels" not in assumed.codes(right)
    both = {"time": slice("2026-01-15", "2026-01-26")}
    assert early[GLOBAL].sel(both).values == pytest.approx(right[GLOBAL].sel(both).values)


@pytest.mark.parametrize("hours", [-5, 5, 12])
def test_sunshine_in_the_night_is_refused_with_its_cure(hours: int) -> None:
    with pytest.raises(InputError, match=re.escape(f"moved by {-hours:+d} h")) as caught:
        complete.weather(_moved(hours), SITE)
    assert "time zone" in str(caught.value)


@pytest.mark.parametrize(("file", "site"), STATIONS)
def test_measured_days_have_no_light_in_the_dark(file: str, site: Site) -> None:
    assert "labels" not in assumed.codes(complete.weather(read.weather(REFERENCE / file, site), site))


def test_a_typical_year_has_no_light_in_the_dark() -> None:
    assert "labels" not in assumed.codes(complete.weather(read.weather(TMY3, SITE), SITE))
