"""`microclimate calibrate` on a sheet of invented readings in the demo's bowl."""

import re
from pathlib import Path

import pytest
from command_line import DEMO, called

from microclimate.venue import load

HEAD = (
    "time,zone,height [m],wind [m/s],minutes,reference wind [m/s],reference height [m],reference direction,"
    "air [degC],air outside [degC],aspirated,note\n"
)
SHEET = HEAD + (
    "2026-01-28T10:00,West middle 1,1,0.6,2.5,4,10,270,,,,\n"
    "2026-01-28T10:05,East middle 2,1,0.9,2.5,4,10,270,,,,\n"
    "2026-01-28T10:10,East flank 2,1,0.1,2.5,4,10,270,,,,\n"
    "2026-01-29T10:00,West middle 1,1,0.5,2.5,4,10,270,,,,\n"
    "2026-01-29T06:00,West middle 1,,,,,,,-6,-5,no,\n"
)


def calibrate(folder: Path, sheet: bytes) -> tuple[int, str, str]:
    (folder / "readings.csv").write_bytes(sheet)
    words = (
        "--bowl-air",
        folder / "readings.csv",
        "--weather",
        DEMO / "forecast.csv",
        "--out",
        folder / "learned.toml",
    )
    done = called("calibrate", DEMO / "venue.toml", *words)
    return done.exit_code, done.stdout, done.stderr


def test_readings_become_a_file_that_the_venue_takes(tmp_path: Path) -> None:
    (tmp_path / "learned.toml").write_text("air_offset = -0.5\n", encoding="utf-8")
    code, text, _ = calibrate(tmp_path, SHEET.encode())
    assert code == 0
    learned = load.venue(DEMO / "venue.toml", tmp_path / "learned.toml").calibration
    assert learned.air_offset == -0.5  # what the file held besides is kept
    assert learned.wind is not None
    assert (learned.wind.readings, learned.wind.visits, learned.wind.first) == (4, 2, "2026-01-28")
    assert learned.air is None  # of one night none can be held out
    assert "The air: not taken, 1 night is too few" in text
    assert "readings.csv: line 4: below 0.15 m/s" in text
    found = re.search(
        r"West middle 1 +([\d.]+) \(([\d.]+) to ([\d.]+)\); without readings ([\d.]+) \(([\d.]+) to", text
    )
    assert found is not None
    now, low, high, before, before_low = map(float, found.groups())
    # 0.6 m/s at 1 m under 4 m/s at 10 m is far below the prior of that zone: it falls, and is known better
    assert low < now < before
    assert high / now < before / before_low
    assert sorted(path.name for path in tmp_path.iterdir()) == ["learned.toml", "readings.csv"]


@pytest.mark.parametrize(
    ("sheet", "told"),
    [
        (SHEET.replace("East flank 2", "East flunk 2").encode(), "readings.csv: line 4"),
        (SHEET.replace("-01-28T", "-03-28T").replace("4,10,270", ",,").encode(), "give weather of that day"),
        (HEAD.encode() + b"2026-01-28T10:00,Stra\xdfe,1,1,2,4,10,270,,,,\n", "is not UTF-8 text"),
        (HEAD.encode(), "holds no reading"),
        (b"", "empty"),
    ],
)
def test_a_sheet_that_cannot_be_used_writes_nothing(tmp_path: Path, sheet: bytes, told: str) -> None:
    code, text, error = calibrate(tmp_path, sheet)
    assert (code, text) == (2, "")
    assert told in error
    assert "Traceback" not in error
    assert [path.name for path in tmp_path.iterdir()] == ["readings.csv"]


def test_a_sheet_that_is_not_there(tmp_path: Path) -> None:
    words = ("--bowl-air", tmp_path / "none.csv", "--weather", DEMO / "forecast.csv", "--out", tmp_path / "x.toml")
    done = called("calibrate", DEMO / "venue.toml", *words)
    assert done.exit_code == 2
    assert "none.csv: cannot be read" in done.stderr
