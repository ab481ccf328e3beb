"""What the venue file says of the ground, through the command line: a cold spell, and what each setting does to it.

Zones lie side by side in one venue and one run, so that one setting alone parts each pair. Directions and bounds are
those of the physics, said at each test.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from typer.testing import CliRunner

from microclimate import cli
from microclimate.actions import plan as plans
from microclimate.learn import replay
from microclimate.schema import Event
from microclimate.simulate import run, start
from microclimate.workflow import files

HEAD = """
name = "Plots side by side"
[site]
latitude = 47.0
longitude = 15.5
elevation = 350
time_zone = "Europe/Vienna"
surroundings = "open country"
[field]
length = {length}
width = 20
zone_columns = {count}
zone_names = [[{names}]]
[turf]
surface = "mown turf"
"""
SAND = 'layers = [{{ material = "sand mix", thickness = "300 mm", water_content = 0.18, freezing_range = {} }}]'
GROUNDS = {
    "still": 'build = "tray"\nbase = "tray over still air"',
    "edge": 'build = "tray"\nbase = { kind = "tray over still air", open_side = 1.2 }',
    "narrow edge": 'build = "tray"\nbase = { kind = "tray over still air", open_side = 0.4 }',
    "draughty": 'build = "tray"\nbase = "tray over draughty air"',
    "heated": 'build = "tray"\nbase = { kind = "heated air below", air_temperature = 15 }',
    "warmer": 'build = "tray"\nbase = { kind = "heated air below", air_temperature = "77 degF" }',
    "ground": 'build = "sand on soil"',
    "insulated": 'build = "sand on soil"\nbase = "insulated"',
    "deep warm": 'build = "sand on soil"\nbase = { kind = "on ground", deep_temperature = 20 }',
    "sharp": SAND.format("0.02"),
    "wide": SAND.format('"1.8 degF"'),
    "perched": 'layers = [{ material = "sand mix", thickness = "300 mm", water_content = 0.18 },'
    ' { material = "gravel", thickness = "100 mm" }]',
    "even": 'layers = [{ material = "sand mix", thickness = "300 mm", water_content = 0.18 },'
    ' { material = "loam", thickness = "100 mm" }]',
}
DEPTHS = (0.025, 0.10, 0.17)


def venue(grounds: dict[str, str], further: str = "") -> str:
    """A row of zones, each with its ground."""
    names = ", ".join(f'"{name}"' for name in grounds)
    head = HEAD.format(length=20 * len(grounds), count=len(grounds), names=names)
    tables = [f'[[ground]]\nzones = ["{name}"]\n{text}' for name, text in grounds.items()]
    return "\n".join([head, *tables, further]) + "\n"


def weather(days: int = 8) -> pd.DataFrame:
    """Two mild days, then clear frost: made up, hourly, UTC."""
    times = pd.date_range("2025-12-01T01:00", periods=24 * days, freq="h")
    hour = np.asarray(times.hour, dtype=float)
    day = np.arange(len(times)) / 24.0
    air = np.where(day < 2.0, 6.0, -7.0) + 4.0 * np.cos(2.0 * np.pi * (hour - 14.0) / 24.0)
    return pd.DataFrame(
        {
            "time": times.strftime("%Y-%m-%dT%H:%MZ"),
            "air_temperature @ 2 m [degC]": air.round(2),
            "dew_point_temperature @ 2 m [degC]": (air - 3.0).round(2),
            "wind_speed @ 10 m [m/s]": 2.0,
            "surface_downwelling_shortwave_flux_in_air [W/m2]": np.clip(
                300.0 * np.sin(np.pi * (hour - 7.0) / 9.0), 0.0, None
            ).round(1)
            * (abs(hour - 11.5) < 4.6),
            "surface_downwelling_longwave_flux_in_air [W/m2]": np.where(day < 2.0, 320.0, 225.0),
            "precipitation_amount [mm]": 0.0,
        }
    )


def replayed(folder: Path, text: str, frame: pd.DataFrame, readings: pd.DataFrame) -> tuple[int, str]:
    (folder / "venue.toml").write_text(text, encoding="utf-8")
    frame.to_csv(folder / "weather.csv", index=False)
    readings.to_csv(folder / "readings.csv", index=False)
    words = ["replay", "venue.toml", "--weather", "weather.csv", "--against", "readings.csv", "--out", "out"]
    words = [str(folder / word) if "." in word or word == "out" else word for word in words]
    done = CliRunner().invoke(cli.app, words)
    return done.exit_code, done.stdout + done.stderr


@pytest.fixture(scope="module")
def spell(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    """Modelled temperatures [degC] of "zone depth", hourly; what is measured is a place holder after the first hour."""
    folder, frame = tmp_path_factory.mktemp("spell"), weather()
    readings = frame[["time"]].copy()
    for name in GROUNDS:
        for depth in DEPTHS:
            readings[f"soil_temperature @ {depth} m @ {name} [degC]"] = 6.0
    code, told = replayed(folder, venue(GROUNDS), frame, readings)
    assert code == 0, told
    traces = pd.read_csv(folder / "out" / "traces.csv", index_col="time", parse_dates=True)
    found = {}
    for name in GROUNDS:
        for depth in DEPTHS:
            (column,) = [head for head in traces if f"{depth} m @ {name} modelled" in head]
            found[f"{name} {depth:g}"] = traces[column]
    return pd.DataFrame(found)


def _coldest(spell: pd.DataFrame, name: str, depth: float) -> float:
    return float(spell[f"{name} {depth:g}"].min())


def _first_frost(spell: pd.DataFrame, name: str, depth: float) -> float:
    """Mean of the first 36 hours of the frost [degC]."""
    return float(spell.loc["2025-12-03T00:00Z":"2025-12-04T12:00Z", f"{name} {depth:g}"].mean())


def test_an_open_side_cools_an_edge_and_a_narrow_one_more(spell: pd.DataFrame) -> None:
    """Through a side 1.2 m deep pass some 0.3 W/m2K, 0.4 m deep 1.6, beside about 8 through leaf and floor."""
    warmth = [_first_frost(spell, name, 0.10) for name in ("still", "edge", "narrow edge")]
    assert (np.diff(warmth) < (-0.04, -0.15)).all()


def test_draught_below_cools_a_tray_and_warm_air_below_warms_it(spell: pd.DataFrame) -> None:
    warmth = [_first_frost(spell, name, 0.17) for name in ("draughty", "still", "heated", "warmer")]
    assert (np.diff(warmth) > (0.1, 3.0, 2.0)).all()
    # the sand's own share of 10 K that the air below is warmer (15 and 77 degF) stays below all of it
    assert warmth[3] - warmth[2] < 10.0


def test_an_insulated_slab_keeps_the_warmth_of_the_ground_from_the_sand(spell: pd.DataFrame) -> None:
    assert float(spell["insulated 0.17"].min()) < float(spell["ground 0.17"].min()) - 0.5


def test_ground_that_is_warm_at_depth_is_warmer_above(spell: pd.DataFrame) -> None:
    """At 0.17 m the 10 K of the deep ground are a small part of the way, and there from the start."""
    warmer = spell["deep warm 0.17"] - spell["ground 0.17"]
    assert ((warmer > 0.2) & (warmer < 5.0)).all()


def test_the_freezing_range_sets_where_freezing_sand_stands(spell: pd.DataFrame) -> None:
    """While its water freezes sand stands between 0 degC and the end of its range: 0.02 K, and 1 K (1.8 degF)."""
    sharp, wide = spell["sharp 0.025"], spell["wide 0.025"]
    stands = (sharp < 0.0) & (sharp > -0.025)
    assert stands.sum() > 12
    assert (wide[stands] < -0.1).mean() > 0.8
    assert (wide[stands] > -1.0).all()


def test_sand_over_gravel_is_drier_at_the_top_and_freezes_sooner(spell: pd.DataFrame) -> None:
    """Water hangs above the gravel, as much as in even sand in all: less of it near the top has to freeze."""
    frozen = [(spell[f"{name} 0.025"] < -0.15).sum() for name in ("perched", "even")]
    assert frozen[0] > frozen[1] + 3


LOOP = "supply_temperature = 40\npower = 200\nset_point = 8\ndepth = 0.15\nprobe_depth = 0.05"
CIRCUITS = {
    "modulates": LOOP,
    "on or off": f"{LOOP}\nhysteresis = 1",
    "deep probe": LOOP.replace("probe_depth = 0.05", 'probe_depth = "120 mm"'),
    "late": f"{LOOP}\nlag = 12",
    "slow": f"{LOOP}\nramp = 1",
    "weak": LOOP.replace("power = 200", "power = 30"),
    "cool water": LOOP.replace("supply_temperature = 40", "supply_temperature = 10"),
    "cool water, dry": LOOP.replace("supply_temperature = 40", "supply_temperature = 10") + "\ndrying = 0.8",
    "wide": LOOP.replace("supply_temperature = 40", "supply_temperature = 12") + "\npitch = 0.5",
    "cable": 'kind = "cable"\npower = 60\nset_point = 8\ndepth = 0.15\nprobe_depth = 0.05',
}


@pytest.fixture(scope="module")
def heated(tmp_path_factory: pytest.TempPathFactory) -> xr.Dataset:
    """States of the zones by name, each with a circuit of its own, and one without; heat is allowed all the time."""
    folder, frame = tmp_path_factory.mktemp("heated"), weather(5)
    grounds = {name: f'build = "sand over gravel"\ncircuit = "{name}"' for name in CIRCUITS}
    circuits = "\n".join(f'[[circuit]]\nname = "{name}"\n{text}' for name, text in CIRCUITS.items())
    text = venue(grounds | {"none": 'build = "sand over gravel"'}, circuits)
    (folder / "venue.toml").write_text(text, encoding="utf-8")
    frame.assign(**{"soil_temperature @ 0.10 m [degC]": 7.0}).to_csv(folder / "station.csv", index=False)
    place = files.described(folder / "venue.toml")
    station = replay.station(place, folder / "station.csv", folder / "station.csv")
    (stretch,) = station.stretches
    sets = {zone.name: zone.circuit is not None for zone in place.field.zones}
    loops = {zone.name: place.equipment.circuit(zone.circuit or "weak") for zone in place.field.zones}
    settings = {
        "heating_allowed": np.array([float(on) for on in sets.values()]),
        "set_point": np.array([loop.set_point for loop in loops.values()]),
        "supply_temperature": np.array([loop.supply_temperature or 308.15 for loop in loops.values()]),
    }
    plan = plans.constant(place, stretch.begin, stretch.end, "heat", settings)
    first = start.states(place, stretch.patches, 1, stretch.begin)
    window = Event("spell", *(pd.Timestamp(moment).to_pydatetime() for moment in (stretch.begin, stretch.end)))
    _, states = run.outcome(place, stretch.forcing, first, plan, [window], states=[(0, 0)])
    assert states is not None
    one = states.isel(plan=0, realization=0)
    return one.assign_coords(name=("patch", one["zone"].values)).swap_dims(patch="name")


def _at(heated: xr.Dataset, name: str, depth: float) -> np.ndarray:
    """Temperature of a zone at a depth [degC], every step."""
    one = heated.sel(name=name)
    layers = one["soil_temperature"].transpose("time", "layer").values
    return np.array([np.interp(depth, one["depth"].values, row) for row in layers]) - 273.15


def _energy(heated: xr.Dataset, name: str) -> float:
    return float(heated["heating_power"].sel(name=name).mean())


def test_each_zone_is_heated_by_its_own_circuit_and_one_without_not_at_all(heated: xr.Dataset) -> None:
    assert _energy(heated, "none") == 0.0
    assert _at(heated, "none", 0.05)[-1] < 2.0
    assert min(_energy(heated, name) for name in CIRCUITS) > 5.0


def test_a_probe_at_any_depth_is_held_at_its_set_point(heated: xr.Dataset) -> None:
    """8 degC where the probe is, on the last two days; a deep probe asks for less."""
    for name, depth in (("modulates", 0.05), ("deep probe", 0.12)):
        last = _at(heated, name, depth)[-576:]
        assert last.min() > 7.95
        assert np.median(last) == pytest.approx(8.0, abs=0.01)  # the sun lifts it at noon
    assert _energy(heated, "deep probe") < _energy(heated, "modulates")


def test_an_on_off_thermostat_swings_in_its_band_and_spends_alike(heated: xr.Dataset) -> None:
    power, probe = heated["heating_power"].sel(name="on or off").values[-576:], _at(heated, "on or off", 0.05)[-576:]
    assert (power == 0.0).any()
    assert (np.diff((power > 0.0).astype(int)) != 0).sum() >= 4
    assert probe.min() < 7.6
    assert probe.max() > 8.4
    assert _energy(heated, "on or off") == pytest.approx(_energy(heated, "modulates"), rel=0.06)


def test_lag_ramp_and_limit_hold_the_heat_back(heated: xr.Dataset) -> None:
    late = heated["heating_power"].sel(name="late").values
    assert (late[: 12 * 12 - 1] == 0.0).all()
    assert _energy(heated, "slow") < _energy(heated, "modulates")
    assert float(heated["heating_power"].sel(name="weak").max()) == pytest.approx(30.0)
    assert float(heated["heating_power"].sel(name="cable").max()) == pytest.approx(60.0)


def test_the_water_gives_what_its_pipes_and_their_sand_let_through(heated: xr.Dataset) -> None:
    """Cooler water gives less, dry sand round the pipes less still, and so do pipes far apart."""
    assert _energy(heated, "cool water") < 0.9 * _energy(heated, "modulates")
    assert _energy(heated, "cool water, dry") < 0.93 * _energy(heated, "cool water")
    assert _energy(heated, "wide") < 0.9 * _energy(heated, "modulates")
