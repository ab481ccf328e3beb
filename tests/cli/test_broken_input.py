"""Broken venue and weather files through the command line: one clear message, exit code 2, nothing written.

The samples are those of the rooms that read them: tests/venue/broken.toml and tests/weather/test_broken.py.
"""

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest
from click.testing import Result
from command_line import called

TESTS = Path(__file__).parents[1]


def _samples(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"samples_{path.parent.name}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


VENUES = _samples(TESTS / "venue" / "test_broken_files.py")
WEATHERS = _samples(TESTS / "weather" / "test_broken.py")


def _refused(done: Result, folder: Path, before: list[Path], words: str) -> None:
    assert done.exit_code == 2, done.output
    assert done.stdout == ""
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(folder.rglob("*")) == before


def test_there_are_enough_samples() -> None:
    assert len(VENUES.CASES) + len(WEATHERS.TEXTS) >= 40


@pytest.mark.parametrize("command", ["tonight", "check"])
@pytest.mark.parametrize("case", VENUES.CASES, ids=[case["name"] for case in VENUES.CASES])
def test_a_broken_venue(tmp_path: Path, case: dict[str, str], command: str) -> None:
    venue, weather = tmp_path / "venue.toml", tmp_path / "weather.csv"
    venue.write_text(VENUES.WHOLE.replace(case["old"], case["new"], 1), encoding="utf-8")
    weather.write_text(WEATHERS.HEAD + WEATHERS.GOOD, encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    out = ["--out", tmp_path / "out"] if command == "tonight" else []
    done = called(command, venue, "--weather", weather, *out)
    _refused(done, tmp_path, before, case["wanted"])
    assert done.stderr.count("\n") == 1  # one fault, one line


@pytest.mark.parametrize("kind", WEATHERS.TEXTS)
def test_a_broken_weather_file(tmp_path: Path, kind: str) -> None:
    text, words = WEATHERS.TEXTS[kind]
    venue, weather = tmp_path / "venue.toml", tmp_path / "weather.csv"
    # the samples were made for a place in this zone, where one of their hours does not exist
    here = VENUES.WHOLE.replace("Europe/Berlin", "America/New_York").replace("longitude = 8.0", "longitude = -79.95")
    venue.write_text(here, encoding="utf-8")
    weather.write_text(text, encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    done = called("tonight", venue, "--weather", weather, "--night", "2026-01-27", "--out", tmp_path / "out")
    _refused(done, tmp_path, before, words)
    assert "weather.csv" in done.stderr


def test_many_faults_are_told_at_once(tmp_path: Path) -> None:
    venue = tmp_path / "venue.toml"
    text = VENUES.WHOLE.replace("bearing = 0", "bering = 0").replace("riser = 0.4", "riser = 9", 1)
    venue.write_text(text, encoding="utf-8")
    done = called("check", venue)
    assert done.exit_code == 2
    assert done.stderr.splitlines() == [
        "venue.toml: 2 things to mend",
        "  - venue.toml: [field]: bering is not a setting; did you mean bearing?",
        "  - venue.toml: [[stand]] 1, tier 1: riser must be 0.01..1.5 m, got 9",
    ]


def test_debug_shows_the_traceback(tmp_path: Path) -> None:
    done = called("check", tmp_path / "none.toml", "--debug")
    assert "there is no such file" in str(done.exception)
