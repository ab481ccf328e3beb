"""What the venue file says of the ground, through the command line: a cold spell, and what each setting does to it.

Zones lie side by side in one venue and one run, so that one setting alone parts each pair. Directions and bounds are
those of the physics, said at each test.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from microclimate import cli

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
