"""The demo's log through add, quality, replay, calibrate, tonight and verify, as its README has it."""

import tomllib
from pathlib import Path

import pytest
from command_line import DEMO, called


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("walk")
    for path in DEMO.iterdir():
        (place / path.name).write_bytes(path.read_bytes())
    for name in ("fieldlog.csv", "readings.csv"):
        done = called("fieldlog", "add", place / name, "--venue", place / "venue.toml", "--yes")
        assert done.exit_code == 0, done.stderr
    return place


def said(folder: Path, *words: object) -> str:
    done = called(*words)
    assert done.exit_code == 0, done.stderr
    return " ".join(done.stdout.split())


def test_nothing_is_flagged(folder: Path) -> None:
    weather = ("--weather", folder / "past.csv")
    assert "Nothing to flag" in said(folder, "fieldlog", "quality", "--venue", folder / "venue.toml", *weather)


def test_replay_against_the_log_says_what_it_says_against_the_file(folder: Path) -> None:
    def table(readings: str) -> list[str]:
        done = called("replay", folder / "venue.toml", "--weather", folder / "past.csv", "--against", folder / readings)
        assert done.exit_code == 0, done.stderr
        return sorted(line for line in done.stdout.splitlines() if line.startswith(("East", "West", "South")))

    assert table("fieldlog.db") == table("fieldlog.csv")


@pytest.mark.slow
def test_calibrate_finds_what_was_laid_on_and_the_briefing_says_it(folder: Path) -> None:
    text = said(
        folder,
        "calibrate",
        folder / "venue.toml",
        "--weather",
        folder / "past.csv",
        "--against",
        folder / "fieldlog.db",
    )
    assert "Taken: nights that the fit never saw are told" in text
    learned = tomllib.loads((folder / "calibration.toml").read_text(encoding="utf-8"))
    # data_demo/README.md: +0.2, -0.1 and +0.05 K were laid on by zone; the ground is the model's own, so factors are 1
    for zone, offset in (("South goal left", 0.2), ("East middle 2", -0.1), ("West flank 3", 0.05)):
        for depth in ("0.025", "0.1"):
            assert learned["sensor_offset"][f"soil_temperature @ {depth} m @ {zone}"] == pytest.approx(offset, abs=0.1)
    for name in ("canopy_conductance_factor", "exchange_floor_factor", "water_factor"):
        assert learned["fitted"][name]["low"] * 0.9 <= 1.0 <= learned["fitted"][name]["high"] * 1.1
    for night in ("2026-01-24", "2026-01-25"):
        told = said(folder, "tonight", folder / "venue.toml", "--weather", folder / "past.csv", "--night", night)
        assert "Learned from" in told
    scored = said(folder, "verify", folder / "venue.toml")
    assert "Lowest root zone at 25 mm, 6 pairs of zone and window" in scored  # two nights, three zones with probes
    again = said(
        folder, "tonight", folder / "venue.toml", "--weather", folder / "forecast.csv", "--night", "2026-01-27"
    )
    assert "The last 2 nights that were read: lowest root zone at 25 mm told within" in again
