"""`microclimate fieldlog` as a manager runs it: add with a question, again, list, quality, export, note, withdraw."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from command_line import DEMO, called
from typer.testing import CliRunner

from microclimate import cli

LOGGER = "Date;Time;P1;P2\n" + "".join(
    f"{20 + k // 48:02d}.01.2026;{k // 2 % 24:02d}:{30 * (k % 2):02d};4,{k % 5};40,{1 + k % 5}\n" for k in range(192)
)
SENSORS = (
    "--sensor", "P1 = soil @ 25 mm @ East middle 2 [degC]",
    "--sensor", "P2 = soil @ 100 mm @ East middle 2 [degF]",
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "venue.toml").write_bytes((DEMO / "venue.toml").read_bytes())
    (tmp_path / "probe.csv").write_text(LOGGER, encoding="utf-8")
    return tmp_path


def log(folder: Path, *words: object) -> str:
    done = called("fieldlog", *words, "--venue", folder / "venue.toml")
    assert done.exit_code == 0, done.stderr
    return done.stdout


def test_nothing_is_stored_before_a_yes(folder: Path) -> None:
    words = ["fieldlog", "add", str(folder / "probe.csv"), "--venue", str(folder / "venue.toml"), *SENSORS]
    refused = CliRunner().invoke(cli.app, words, input="n\n")
    assert refused.exit_code == 0
    assert "Three rows, as they would be stored:" in refused.stdout
    assert "line 2: Tue 20 Jan 2026, 00:00 (UTC\u221205:00)" in refused.stdout
    assert "A comma is the decimal mark." in refused.stdout
    assert "Nothing was added." in refused.stdout
    assert not (folder / "fieldlog.db").exists()
    taken = CliRunner().invoke(cli.app, words, input="y\n")
    assert "384 new readings" in taken.stdout


def test_a_mapping_is_written_once_and_used_again(folder: Path) -> None:
    mapping = folder / "probe.toml"
    first = log(folder, "add", folder / "probe.csv", "--yes", "--mapping", mapping, *SENSORS)
    assert mapping.exists()
    assert str(mapping) in first.replace("\n  ", " ")
    again = log(folder, "add", folder / "probe.csv", "--yes", "--mapping", mapping)
    assert "0 new readings" in again
    assert "384 stood there already" in again


def test_the_log_comes_out_as_it_went_in(folder: Path) -> None:
    log(folder, "add", folder / "probe.csv", "--yes", *SENSORS)
    log(folder, "note", "battery changed", "--about", "P1", "--who", "A", "--time", "2026-01-21T08:00")
    text = log(folder, "export", folder / "out")
    assert sorted(p.name for p in (folder / "out").iterdir()) == [
        "note.csv",
        "readings.csv",
        "readings.nc",
        "source.csv",
    ]
    assert all(name in text for name in ("readings.csv", "readings.nc"))
    table = pd.read_csv(folder / "out" / "readings.csv")
    first = table[(table["sensor"] == "P2") & (table["line"] == 2)].iloc[0]
    assert (first["time"], first["shown"], first["shown_unit"]) == ("2026-01-20T05:00:00Z", 4.5, "degC")  # 40.1 degF
    assert first["value"] == pytest.approx((40.1 - 32) / 1.8 + 273.15)
    ragged = xr.open_dataset(folder / "out" / "readings.nc", group="soil_temperature", engine="h5netcdf")
    assert ragged["soil_temperature"].attrs["units"] == "K"
    assert ragged["row_size"].values.tolist() == [192, 192]
    shallow = ragged["soil_temperature"].values[:192]
    cells = [float(row.split(";")[2].replace(",", ".")) for row in LOGGER.splitlines()[1:]]
    np.testing.assert_allclose(shallow, np.array(cells) + 273.15)
    assert ragged["time"].values[0] == np.datetime64("2026-01-20T05:00")
    assert "battery changed" in (folder / "out" / "note.csv").read_text(encoding="utf-8")


def test_what_was_read_wrongly_is_taken_back_and_read_again(folder: Path) -> None:
    log(folder, "add", folder / "probe.csv", "--yes", *SENSORS)
    assert "1: probe.csv" in log(folder, "list")
    assert "384 readings taken back" in log(folder, "withdraw", "1", "--reason", "probes swapped")
    right = [word.replace("25 mm", "x").replace("100 mm", "25 mm").replace("x", "100 mm") for word in SENSORS]
    assert "384 new readings" in log(folder, "add", folder / "probe.csv", "--yes", *right)
    listing = " ".join(log(folder, "list").split())
    assert "768 readings of 4 sensors" in listing
    assert "192 readings, 192 flagged" in listing


def test_quality_flags_and_writes_a_page(folder: Path) -> None:
    rows = LOGGER.splitlines()
    rows[101] = rows[101].rsplit(";", 2)[0] + ";39,0;41,1"
    (folder / "probe.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    log(folder, "add", folder / "probe.csv", "--yes", *SENSORS)
    text = " ".join(log(folder, "quality", "--out", folder / "out").split())
    assert "East middle 2, 25 mm, root zone: a single reading far from both beside it; 1 reading" in text
    page = (folder / "out" / "flagged.html").read_text(encoding="utf-8")
    assert "<svg" in page
    assert "A single reading far from both beside it" in page
    assert "script" not in page
    assert "0 new flags" in log(folder, "quality")


def test_a_flag_is_lifted_with_a_note_and_stays_lifted(folder: Path) -> None:
    rows = LOGGER.splitlines()
    rows[101] = rows[101].rsplit(";", 2)[0] + ";39,0;41,1"
    (folder / "probe.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    log(folder, "add", folder / "probe.csv", "--yes", *SENSORS)
    assert "1 new flag" in log(folder, "quality")
    assert "192 readings, 1 flagged" in " ".join(log(folder, "list").split())
    note = ("--note", "hot water from the hose", "--who", "A")
    assert "No flag stands there" in log(folder, "lift", "P1", *note, "--to", "2026-01-21T08:00")
    place = "East middle 2, 25 mm, root zone"
    assert f"- {place} (P1): " in " ".join(log(folder, "list").split())
    assert "No flag stands there" in log(folder, "lift", place, *note, "--check", "stuck")
    assert "1 reading counts again" in log(folder, "lift", place, *note, "--check", "spike")
    log(folder, "quality")
    assert "flagged" not in log(folder, "list")
    log(folder, "export", folder / "out")
    kept = pd.read_csv(folder / "out" / "lifted.csv")
    assert kept["note"].tolist() == ["hot water from the hose"]
    assert pd.read_csv(folder / "out" / "readings.csv")["flags"].dropna().tolist() == ["spike (lifted)"]


def test_a_flag_cannot_be_lifted_blindly(folder: Path) -> None:
    log(folder, "add", folder / "probe.csv", "--yes", *SENSORS)
    for words, told in (
        (("P9", "--note", "x"), "no sensor is called 'P9'; wanted one of"),
        (("P1", "--note", " "), "an empty note"),
        (("P1", "--note", "x", "--check", "withdrawn"), "no check is called 'withdrawn'; wanted range, step"),
        (("P1", "--note", "x", "--from", "yesterday-ish"), "--from"),
        (("P1", "--note", "x", "--from", "2026-01-22T00:00", "--to", "2026-01-21T00:00"), "is after --to"),
    ):
        done = called("fieldlog", "lift", *words, "--venue", folder / "venue.toml")
        assert done.exit_code == 2
        assert told in " ".join(done.stderr.split())
        assert "Traceback" not in done.stderr


def test_a_half_good_file_says_which_rows_it_left(folder: Path) -> None:
    text = LOGGER.replace("20.01.2026;01:00;4,2", "20.01.2026;01:00;warm").replace("20.01.2026;02:00", "someday;02:00")
    (folder / "probe.csv").write_text(text, encoding="utf-8")
    said = " ".join(log(folder, "add", folder / "probe.csv", "--yes", *SENSORS).split())
    assert "2 of 192 rows are not taken, or not whole" in said
    assert "line 4: P1: 'warm' is no number" in said
    assert "line 6: time cannot be read" in said
    assert "381 new readings" in said


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("add", "nowhere.csv"), "cannot be read"),
        (("export", "out"), "there is no field log"),
        (("quality",), "there is no field log"),
        (("list",), "there is no field log"),
        (("withdraw", "1", "--reason", "x"), "there is no field log"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(folder: Path, words: tuple[str, ...], told: str) -> None:
    done = called("fieldlog", *words, "--venue", folder / "venue.toml")
    assert done.exit_code == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr


def test_the_demos_own_log_and_sheet_are_read_without_a_word_of_help(folder: Path) -> None:
    assert "2,166 new readings" in log(folder, "add", DEMO / "fieldlog.csv", "--yes")
    assert "6 new readings" in log(folder, "add", DEMO / "readings.csv", "--yes")
    assert "Nothing to flag" in log(folder, "quality")
