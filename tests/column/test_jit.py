"""An edited formula is never answered by an old kernel: a copy of the package is compiled, edited, and run again."""

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from microclimate.column import jit

PACKAGE = Path(jit.__file__).parents[1]

PROBE = """
from microclimate.column.jit import kernel
from microclimate.column.surface import longwave_up


@kernel
def probe(temperature):
    return longwave_up(temperature, 1.0)[0]
"""
RUN = "from microclimate.column.probe import probe; print(probe(0.0), len(probe.stats.cache_hits))"


def _copy(folder: Path) -> Path:
    """The rooms a kernel is made of, with a small kernel in them."""
    copy = folder / "microclimate"
    for room in ("physics", "column"):
        shutil.copytree(PACKAGE / room, copy / room, ignore=shutil.ignore_patterns("__pycache__"))
    for file in ("__init__.py", "constants.py", "errors.py"):
        shutil.copy(PACKAGE / file, copy / file)
    (copy / "column" / "probe.py").write_text(PROBE, encoding="utf-8")
    return copy


def _told(folder: Path) -> tuple[float, int]:
    """What the kernel answers in a new process, and how often it came from the cache."""
    environment = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), "PYTHONDONTWRITEBYTECODE": "1"}
    environment.pop("NUMBA_CACHE_DIR", None)
    done = subprocess.run(
        [sys.executable, "-c", RUN], cwd=folder, env=environment, check=True, capture_output=True, text=True
    )
    value, hits = done.stdout.split()
    return float(value), int(hits)


def test_an_edited_formula_changes_the_kernel(tmp_path: Path) -> None:
    copy = _copy(tmp_path)
    first, hits = _told(tmp_path)
    assert hits == 0
    again, hits = _told(tmp_path)
    assert (again, hits) == (first, 1)
    formula = copy / "column" / "surface.py"
    text = formula.read_text(encoding="utf-8")
    assert "4.0 * cube" in text
    formula.write_text(text.replace("return cube * kelvin", "return 2.0 * cube * kelvin"), encoding="utf-8")
    edited, hits = _told(tmp_path)
    assert (edited, hits) == (2.0 * first, 0)


def test_constants_count_as_well(tmp_path: Path) -> None:
    copy = _copy(tmp_path)
    before = jit.source_hash(copy / "column" / "probe.py", copy)
    constants = copy / "constants.py"
    constants.write_text(constants.read_text(encoding="utf-8").replace("5.670374419e-8", "5.7e-8"), encoding="utf-8")
    jit._imported.cache_clear()
    assert jit.source_hash(copy / "column" / "probe.py", copy) != before


def test_no_import_is_overlooked() -> None:
    """The imports read off a file's text are those that Python's own parser finds."""
    for file in PACKAGE.rglob("*.py"):
        found = set()
        for node in ast.walk(ast.parse(file.read_bytes())):
            if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == PACKAGE.name:
                place = PACKAGE.joinpath(*(node.module or "").split(".")[1:])
                found |= {place.with_suffix(".py"), *(place / f"{alias.name}.py" for alias in node.names)}
        assert set(jit._imported(file, PACKAGE)) == {path for path in found if path.is_file()}, file


def test_every_row_once_whatever_the_threads() -> None:
    for count, threads in ((0, 2), (1, 2), (7, 1), (7, 2), (100, 3), (3, 16)):
        done = np.zeros(count, dtype=int)
        calls: list[tuple[int, int]] = []

        def kernel(first: int, end: int, into: np.ndarray, calls: list[tuple[int, int]] = calls) -> None:
            calls.append((first, end))
            into[first:end] += 1

        jit.over_threads(kernel, count, done, threads=threads)
        assert (done == 1).all()
        assert len(calls) <= jit.PARTS * threads


def test_what_a_part_raises_is_raised() -> None:
    def kernel(first: int, end: int) -> None:
        raise MemoryError(f"{first} to {end}")

    with pytest.raises(MemoryError):
        jit.over_threads(kernel, 10, threads=2)


def test_the_three_newest_folders_are_kept(tmp_path: Path) -> None:
    file = PACKAGE / "column" / "jit.py"
    for age in range(5):
        old = tmp_path / f"column-jit-{age}"
        old.mkdir()
        os.utime(old, (1000.0 + age, 1000.0 + age))
    folder = jit.cache_folder(file, PACKAGE, tmp_path)
    left = {path.name for path in tmp_path.iterdir()}
    assert left == {folder.name, "column-jit-4", "column-jit-3"}


def test_a_folder_that_cannot_be_written_falls_back(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("not a folder", encoding="utf-8")
    folder = jit.cache_folder(PACKAGE / "column" / "jit.py", PACKAGE, blocked)
    assert folder.is_dir()
    assert tmp_path not in folder.parents
