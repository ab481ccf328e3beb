"""`microclimate replay` on four measured days at Bondville (tests/reference/README.md), through the command line."""

import gzip
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from microclimate import cli

REFERENCE = Path(__file__).parents[1] / "reference"
FIRST, LAST = "1998-11-05", "1998-11-09"
FILES = ["freezes.csv", "nights.csv", "replay.svg", "scores.csv", "traces.csv"]


def days(name: str) -> str:
    """Rows of four days, as the file has them."""
    with gzip.open(REFERENCE / f"bondville_1998_{name}.csv.gz", "rt", encoding="utf-8") as file:
        head, *rows = file.read().splitlines()
    return "\n".join([head, *(row for row in rows if FIRST <= row[:10] < LAST)]) + "\n"


def replay(folder: Path, *words: str, system: str = "metric", **texts: str) -> tuple[int, str, str]:
    folder.mkdir(exist_ok=True)
    for name in ("weather", "readings"):
        (folder / f"{name}.csv").write_text(texts.get(name, days(name)), encoding="utf-8")
    venue = (REFERENCE / "bondville.toml").read_text(encoding="utf-8")
    (folder / "venue.toml").write_text(f'units = "{system}"\n{venue}', encoding="utf-8")
    files = [str(folder / name) for name in ("venue.toml", "weather.csv", "readings.csv", "out")]
    call = ["replay", files[0], "--weather", files[1], "--against", files[2], "--out", files[3], *words]
    done = CliRunner().invoke(cli.app, call)
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture(scope="module")
def metric(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("metric")
    code, text, error = replay(folder)
    assert code == 0, error
    return folder / "out", text


def test_all_files_are_written(metric: tuple[Path, str]) -> None:
    out, text = metric
    assert sorted(path.name for path in out.iterdir()) == FILES
    assert all(f"{out / name}: " in text for name in FILES)
    assert text.startswith("Station on stubble: modelled less measured\n")
    assert "Heat from the sky was measured." in text


def test_scores_are_those_of_the_traces(metric: tuple[Path, str]) -> None:
    """Worked out again from the series written beside them, with the textbook formulas; and the screen has the same."""
    out, text = metric
    scores, pairs = pd.read_csv(out / "scores.csv"), pd.read_csv(out / "traces.csv")
    row = scores[(scores["variable"] == "soil_temperature") & (scores["depth"] == 0.08) & (scores["subset"] == "all")]
    (seen,) = [name for name in pairs if name.startswith("soil_temperature @ 0.08 m") and "measured" in name]
    (told,) = [name for name in pairs if name.startswith("soil_temperature @ 0.08 m") and "modelled" in name]
    both = pairs[[seen, told]].dropna()
    error = both[told] - both[seen]
    assert int(row["n"].iloc[0]) == len(both) == 172  # four days of half hours less what settles and the first stamp
    for name, value in (("bias", error.mean()), ("mae", error.abs().mean()), ("rmse", np.sqrt((error**2).mean()))):
        assert float(row[name].iloc[0]) == pytest.approx(value, abs=1e-3)  # files are written to 0.001 K
    assert float(row["corr"].iloc[0]) == pytest.approx(both[told].corr(both[seen]), abs=1e-3)
    shown = f"{float(row['rmse'].iloc[0]):.2f}"
    line = next(line for line in text.splitlines() if line.startswith("soil 0.08 m [K] ") and " all " in line)
    assert line.split()[-2] == shown


def test_measured_values_are_those_of_the_file(metric: tuple[Path, str]) -> None:
    pairs = pd.read_csv(metric[0] / "traces.csv").set_index("time")
    (seen,) = [name for name in pairs if name.startswith("soil_temperature @ 0.08 m") and "measured" in name]
    given = [row.split(",") for row in days("readings").splitlines()]
    column = given[0].index("soil_temperature @ 0.08 m [degC]")
    noon = next(row for row in given if row[0] == "1998-11-07T12:00-06:00")
    assert pairs.loc["1998-11-07T18:00Z", seen] == pytest.approx(float(noon[column]))


def test_a_us_reader_gets_fahrenheit_and_differences_as_differences(metric: tuple[Path, str], tmp_path: Path) -> None:
    code, text, _ = replay(tmp_path, system="US")
    assert code == 0
    assert "[°F]" in text
    assert "[K]" not in text
    us, si = (pd.read_csv(out / "scores.csv") for out in (tmp_path / "out", metric[0]))
    warm = si["variable"].str.contains("temperature")
    assert set(us.loc[warm, "unit"]) == {"degF"}
    # both are rounded to 0.001, and 1.8 times one half of it is 0.0009
    np.testing.assert_allclose(us.loc[warm, "rmse"], 1.8 * si.loc[warm, "rmse"], atol=0.0015)
    for name in FILES[:2] + FILES[3:]:
        assert "degC" not in (tmp_path / "out" / name).read_text(encoding="utf-8")


def test_naive_stamps_at_the_start_of_their_interval_give_the_same(metric: tuple[Path, str], tmp_path: Path) -> None:
    """The same half hours named by their start on a clock six hours behind UTC."""

    def moved(text: str) -> str:
        head, *rows = text.splitlines()
        out = []
        for row in rows:
            stamp, _, rest = row.partition(",")
            start = pd.Timestamp(stamp[:16]) - pd.Timedelta("30min")
            out.append(f"{start:%Y-%m-%d %H:%M},{rest}")
        return "\n".join([head, *out]) + "\n"

    texts = {name: moved(days(name)) for name in ("weather", "readings")}
    code, _, error = replay(tmp_path, "--timezone", "UTC-6", "--stamp", "start", **texts)
    assert code == 0, error
    same = pd.read_csv(tmp_path / "out" / "scores.csv")
    pd.testing.assert_frame_equal(same, pd.read_csv(metric[0] / "scores.csv"))


def test_longwave_that_was_not_measured_is_worked_out_and_said(tmp_path: Path) -> None:
    weather = days("weather").replace("surface_downwelling_longwave_flux_in_air [W/m2]", "note")
    code, text, _ = replay(tmp_path, weather=weather)
    assert code == 0
    assert "Heat from the sky was not measured: it was worked out, see below." in text
    assert "Heat from the sky worked out from air, dew point and cloud" in " ".join(text.split())


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        ({"readings": "time,colour [K]\n1998-11-05T00:30-06:00,1\n"}, "readings.csv"),
        ({"readings": ""}, "readings.csv"),
        ({"weather": "time,air_temperature [degC]\n1998-11-05T00:30-06:00,1\n"}, "weather.csv"),
    ],
)
def test_files_that_cannot_be_used(tmp_path: Path, texts: dict[str, str], told: str) -> None:
    code, text, error = replay(tmp_path, **texts)
    assert (code, text) == (2, "")
    assert told in error
    assert "Traceback" not in error
    assert not (tmp_path / "out").exists()


def _without(column: str, missing: str, keep: int) -> str:
    """The weather with a column missing but for one row in `keep`."""
    head, *rows = days("weather").splitlines()
    place = next(number for number, name in enumerate(head.split(",")) if name.startswith(column))
    out = [head]
    for number, row in enumerate(rows):
        cells = row.split(",")
        cells[place] = cells[place] if keep and number % keep == 0 else missing
        out.append(",".join(cells))
    return "\n".join(out) + "\n"


@pytest.mark.parametrize(
    ("column", "missing", "keep", "told"),
    [
        ("air_temperature", "NaN", 0, "air_temperature [degC]: holds no value at all; wanted numbers"),
        ("surface_downwelling_shortwave", "", 0, "holds no value at all"),
        ("wind_speed", "NaN", 17, "no stretch of 12 h without a gap; wanted air_temperature, "),
    ],
)
def test_weather_that_has_not_what_the_ground_needs(
    tmp_path: Path, column: str, missing: str, keep: int, told: str
) -> None:
    """Nothing in a column, and a value every 8.5 h alone: gaps are bridged up to 3 h."""
    code, text, error = replay(tmp_path, weather=_without(column, missing, keep))
    assert (code, text) == (2, "")
    assert error.startswith("weather.csv: ")
    assert told in error
    assert "Traceback" not in error
    assert not (tmp_path / "out").exists()


def test_readings_of_another_year(tmp_path: Path) -> None:
    code, text, error = replay(tmp_path, readings=days("readings").replace("1998-", "1997-"))
    assert (code, text) == (2, "")
    assert "readings.csv: readings of 1997-11-05" in error
    assert "wanted some within the weather's 1998-11-05" in error
    assert "check the years and the time zone" in error
