"""From a sheet of readings to calibration.toml: invented readings in an invented bowl whose truth is known."""

import tomllib
from pathlib import Path

import air_venue
import numpy as np
import pytest
import xarray as xr

from microclimate.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS
from microclimate.errors import InputError
from microclimate.exposure import air, shelter
from microclimate.exposure.force import forcing
from microclimate.fieldlog.bowl_readings import table
from microclimate.learn.calibrate import bowl_air
from microclimate.venue.calibration import Calibration, text

ZONES = ("south", "middle", "north")


def week() -> xr.Dataset:
    """Six calm clear nights with weak winds from many sides."""
    begin, end = np.datetime64("2025-01-10T18:00", "ns"), np.datetime64("2025-01-17T00:00", "ns")
    time = np.arange(begin, end, np.timedelta64(1, "h"))
    hour = (time - time.astype("datetime64[D]")) / np.timedelta64(1, "h")
    day = (time - time[0]) / np.timedelta64(1, "D")
    temperature = ZERO_CELSIUS + 4.0 * np.cos((hour - 21.0) / 12.0 * np.pi)
    nothing = 0.0 * hour
    wind = 0.9 + 0.5 * np.sin(day * 2.1)
    values = {
        "air_temperature": temperature,
        "dew_point_temperature": nothing + 268.0,
        "wind_speed": wind,
        "wind_speed_of_gust": 1.6 * wind,
        "wind_from_direction": (40.0 * day) % 360.0,
        "surface_air_pressure": nothing + 99000.0,
        "cloud_area_fraction": nothing,
        "precipitation_flux": nothing,
        "snowfall_flux": nothing,
        "surface_downwelling_shortwave_flux_in_air": nothing,
        "surface_direct_downwelling_shortwave_flux_in_air": nothing,
        "surface_diffuse_downwelling_shortwave_flux_in_air": nothing,
        "surface_downwelling_longwave_flux_in_air": 0.72 * STEFAN_BOLTZMANN * temperature**4,
    }
    return xr.Dataset(
        {name: (("realization", "time"), value[None].copy()) for name, value in values.items()},
        coords={"time": time, "realization": [0]},
        attrs={"wind_height": 10.0, "temperature_height": 2.0},
    )


@pytest.fixture(scope="module")
def force():
    return forcing(air_venue.venue("closed"), week(), air_venue.bowl("closed"))


def wind_rows(force, least: float = 0.4, visits: int = 4, seed: int = 0) -> list[str]:
    """A sheet of readings 1 m over the grass under a 5 m/s mast wind, the bowl's truth being another `least`."""
    rng = np.random.default_rng(seed)
    distance, height, patch = force.place.crest
    table_ = shelter.factor(distance, height, shelter.Wind(least=least))
    zone = force.patches["zone"].values[patch]
    rows = []
    for visit in range(visits):
        direction = 360.0 * visit / visits + 20.0
        for name in ZONES * 2:
            share = table_[zone == name].mean(axis=0)[round(direction / 5.0)]
            speed = 5.0 * np.log(1.0 / 0.01) / np.log(10.0 / 0.01) * share * np.exp(0.2 * rng.standard_normal())
            when = f"2025-01-{11 + visit}T10:{len(rows) % 6 * 4:02d}"
            rows.append(f"{when},{name},1,{speed:.3f},2.5,5,10,{direction:.0f},,,,")
    return rows


HEAD = (
    "time,zone,height [m],wind [m/s],minutes,reference wind [m/s],reference height [m],reference direction,"
    "air [degC],air outside [degC],aspirated,note"
)


def sheet(folder: Path, rows: list[str], head: str = HEAD):
    path = folder / "readings.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return table(path, "America/Chicago", ZONES)


def test_wind_readings_move_the_factor_to_the_truth_and_narrow_it(force, tmp_path: Path) -> None:
    found = bowl_air(force, sheet(tmp_path, wind_rows(force)))
    now, before = found.told["wind_factor"], found.told["prior_wind_factor"]
    distance, height, _ = force.place.crest
    ratio = shelter.to_patch_height()
    wanted = ratio * shelter.factor(distance, height, shelter.Wind(least=0.4)).mean()
    middle, prior = (float(v.sel(quantile=0.5).mean()) for v in (now, before))
    assert abs(middle - wanted) < 0.4 * abs(prior - wanted)
    width = [float((v.sel(quantile=0.95) - v.sel(quantile=0.05)).mean()) for v in (now, before)]
    assert width[0] < 0.6 * width[1]
    assert found.calibration.wind is not None
    assert found.calibration.wind.readings == 24
    assert found.calibration.wind.visits == 4
    assert found.calibration.air is None
    assert len(found.next_directions) == 3


def test_the_file_written_is_the_file_applied(force, tmp_path: Path) -> None:
    found = bowl_air(force, sheet(tmp_path, wind_rows(force)))
    again = Calibration.model_validate(tomllib.loads(text(found.calibration)))
    taught = air_venue.venue("closed").model_copy(update={"calibration": again})
    applied = forcing(taught, week(), air_venue.bowl("closed"))
    names = applied.patches["zone"].values
    by_zone = np.stack([applied.shelter[0][names == z].mean(axis=0)[::6] for z in ZONES])
    told = found.told["wind_factor"].sel(quantile=0.5).values / shelter.to_patch_height()
    np.testing.assert_allclose(by_zone, told, rtol=0.03)


def air_rows(force, exchange: air.Air, nights: int = 6) -> list[str]:
    outside = force.outside(force.laid(slice(0, 1)))
    difference = force.basin.inside(300.0, outside, air.table(1, exchange)).temperature[0] - outside.temperature[0]
    rows = []
    for night in range(nights):
        for hour in (2, 8, 12):  # UTC: 20:00, 02:00, 06:00 local
            stamp = np.datetime64("2025-01-11T00:00") + np.timedelta64(night * 24 + hour, "h")
            at = int(np.searchsorted(force.steps.time, stamp))
            local = stamp - np.timedelta64(6, "h")
            rows.append(f"{local},middle,,,,,,,{1.0 + difference[at]:.2f},1.0,,")
    return rows


def test_thermometer_readings_teach_the_exchange(force, tmp_path: Path) -> None:
    truth = air.Air(shut=0.3, calm=0.005)
    found = bowl_air(force, sheet(tmp_path, air_rows(force, truth)))
    learned = found.calibration.air
    assert learned is not None
    assert learned.nights == 6
    assert learned.readings == 18
    assert learned.calm > 1.5 * air.Air().calm
    now, before = found.told["air_difference"], found.told["prior_air_difference"]
    spread = [float((v.sel(quantile=0.95) - v.sel(quantile=0.05)).mean()) for v in (now, before)]
    assert spread[0] < 0.75 * spread[1]


def test_one_visit_or_three_nights_leave_what_was_known(force, tmp_path: Path) -> None:
    rows = [row for row in wind_rows(force) if row.startswith("2025-01-11")]
    found = bowl_air(force, sheet(tmp_path, rows + air_rows(force, air.Air(shut=0.3, calm=0.005), nights=3)))
    assert found.calibration == force.venue.calibration
    assert found.declined == (("wind", "few", 1), ("air", "few", 3))


def test_differences_of_no_night_are_declined(force, tmp_path: Path) -> None:
    """Readings as wide as those of calm nights, in an order that chance gave them."""
    taken = 0
    for seed in range(3):
        rng = np.random.default_rng(seed)
        rows = [row.split(",") for row in air_rows(force, air.Air(shut=0.3, calm=0.005))]
        for row in rows:
            row[8] = f"{1.0 + rng.normal(0.0, 2.0):.2f}"
        found = bowl_air(force, sheet(tmp_path, [",".join(row) for row in rows]))
        taken += found.calibration.air is not None
    assert taken == 0


def test_the_file_says_when_and_how_sure(force, tmp_path: Path) -> None:
    readings = sheet(tmp_path, wind_rows(force) + air_rows(force, air.Air(shut=0.3, calm=0.005)))
    learned = bowl_air(force, readings, "2025-02-01").calibration
    assert learned.wind is not None
    assert learned.air is not None
    assert (learned.wind.made, learned.wind.first, learned.wind.last) == ("2025-02-01", "2025-01-11", "2025-01-14")
    assert (learned.air.made, learned.air.first, learned.air.last) == ("2025-02-01", "2025-01-11", "2025-01-16")
    shut = learned.fitted["air shut"]
    assert shut.low < shut.value == pytest.approx(learned.air.shut, rel=1e-3)
    assert shut.high / shut.low < shut.before_high / shut.before_low
    assert Calibration.model_validate(tomllib.loads(text(learned))).fitted == learned.fitted


def test_bad_readings_are_named_and_laid_aside(force, tmp_path: Path) -> None:
    rows = wind_rows(force)
    rows += [
        "2025-01-15T10:00,middle,1,9.0,2.5,5,10,90,,,,",
        "2025-01-15T10:05,middle,1,0.9,2.5,5,10,90,,,,wet wire after rain",
        "2025-01-15T10:10,middle,1,0.05,2.5,5,10,90,,,,",
        "2025-01-15T10:15,middle,,0.9,2.5,5,10,,,,,",
        "2025-01-15T14:00,middle,,,,,,,6,2,,no shade",
    ]
    found = bowl_air(force, sheet(tmp_path, rows))
    reasons = " | ".join(why for _, why in found.flagged)
    for wanted in ("faster than open ground", "wet wire", "below 0.15 m/s", "height missing", "direction missing"):
        assert wanted in reasons
    assert found.calibration.wind is not None
    assert found.calibration.wind.readings == 24 + 2


def test_the_sun_is_seen_on_a_bare_thermometer(force, tmp_path: Path) -> None:
    rows = [*air_rows(force, air.Air()), "2025-01-13T12:00,middle,,,,,,,9,4,,"]
    assert any("sun" in why for _, why in bowl_air(force, sheet(tmp_path, rows)).flagged)


def test_a_reading_beyond_the_weather_is_refused(force, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not reach this reading"):
        bowl_air(force, sheet(tmp_path, ["2025-02-15T10:00,middle,1,0.9,2.5,,,,,,,"]))


def test_units_and_clock_of_the_sheet(tmp_path: Path) -> None:
    """mph and ft in headings, kt in a cell; 10 mph is 4.4704 m/s (exact), 10 kt 5.144 m/s."""
    head = "time,zone,height [ft],wind [mph],reference wind,reference height [ft],reference direction"
    found = sheet(tmp_path, ["2025-07-01 14:30,north,3,1.5,10 kt,33,270"], head)[0]
    assert found.time == np.datetime64("2025-07-01T19:30")  # daylight saving time
    assert found.wind == pytest.approx(1.5 * 0.44704)
    assert found.reference_wind == pytest.approx(10 * 1852 / 3600)
    assert found.height == pytest.approx(0.9144)


@pytest.mark.parametrize(
    ("rows", "head", "wanted"),
    [
        (["2025-01-11T10:00,midle,1,1,2.5,5,10,90,,,,"], HEAD, "did you mean 'middle'"),
        (["2025-01-11T10:00,middle,1,80,2.5,5,10,90,,,,"], HEAD, "wind 80"),
        (["2025-01-11T10:00,middle,1,,2.5,5,10,90,,,,"], HEAD, "neither wind nor air"),
        (["2025-01-11T10:00,middle,,,,,,,3,,,"], HEAD, "air without air outside"),
        (["2025-01-11T10:00,middle,1,1 degC,2.5,5,10,90,,,,"], HEAD, "measures temperature, not speed"),
        (["2025-03-09T02:30,middle,1,1,2.5,5,10,90,,,,"], HEAD, "2:30"),
        (["x"], "time,zone,wnd", "did you mean 'wind'"),
        ([], HEAD, "holds no reading"),
    ],
)
def test_a_broken_sheet_says_what_to_mend(tmp_path: Path, rows: list[str], head: str, wanted: str) -> None:
    with pytest.raises(InputError) as caught:
        sheet(tmp_path, rows, head)
    assert wanted in str(caught.value)
