"""`microclimate cache`: only what the program named itself is counted and removed."""

import os
from pathlib import Path

import pytest
from typer.testing import CliRunner

from microclimate import cli

NOW = 1_800_000_000.0


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of its own, so that nobody's is emptied."""
    monkeypatch.setattr("microclimate.workflow.cache.cache_root", lambda: tmp_path)
    monkeypatch.setattr("microclimate.exposure.cache.cache_root", lambda: tmp_path)
    monkeypatch.setattr("microclimate.column.jit.cache_root", lambda: tmp_path)
    monkeypatch.setattr("microclimate.workflow.cache.time.time", lambda: NOW)
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    return tmp_path


def put(path: Path, size: int, age: float) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(bytes(size))
    for touched in (path, path.parent):
        os.utime(touched, (NOW - age, NOW - age))


def cache(*words: str) -> str:
    done = CliRunner().invoke(cli.app, ["cache", *words])
    assert done.exit_code == 0
    return done.output


def test_an_empty_cache(home: Path) -> None:
    assert cache() == f"Nothing is kept in {home}.\n"
    assert cache("--clear") == f"Removed 0.0 kB from {home}.\n"


def test_sizes_and_ages(home: Path) -> None:
    put(home / "kernels" / "simulate-loop-0123456789abcdef" / "a.nbc", 1_500_000, 7200.0)
    put(home / "bowl-1.npz", 2_000_000, 90.0)
    put(home / "bowl-2.npz", 1_000_000, 172800.0)
    lines = [line.split() for line in cache().splitlines()]
    assert ["what", "the", "stands", "hide", "2", "files", "3.0", "MB", "2", "min", "to", "2", "d", "old"] in lines
    assert ["compiled", "formulas", "1", "file", "1.5", "MB", "2", "h", "old"] in lines
    assert ["in", "all", "3", "4.5", "MB"] in lines


def test_clear_leaves_what_is_not_ours(home: Path) -> None:
    put(home / "kernels" / "simulate-loop-0123456789abcdef" / "a.nbc", 500_000, 1.0)
    put(home / "kernels" / "mine" / "notes.txt", 10, 1.0)
    put(home / "gain-1.npz", 1_000_000, 1.0)
    put(home / "letter.txt", 10, 1.0)
    assert cache("--clear") == f"Removed 1.5 MB from {home}.\n"
    left = sorted(str(path.relative_to(home)) for path in home.rglob("*") if path.is_file())
    assert left == ["kernels/mine/notes.txt", "letter.txt"]
    assert cache() == f"Nothing is kept in {home}.\n"


def test_a_folder_of_the_users_own_choice(home: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    other = tmp_path_factory.mktemp("numba")
    put(other / "column-step-fedcba9876543210" / "a.nbc", 200_000, 1.0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("NUMBA_CACHE_DIR", str(other))
        assert "compiled formulas" in cache()
        cache("--clear")
    assert list(other.iterdir()) == []
