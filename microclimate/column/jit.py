"""The one decorator of compiled kernels: where they are cached, how they are compiled, how they go over threads.

numba's disk cache looks at the file of a kernel only, not at the formulas it calls. The cache folder of a kernel's file
therefore carries a hash of that file and of all it imports, so an edited formula is never answered by an old kernel.
"""

import hashlib
import os
import platform
import re
import shutil
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar

import llvmlite
import numba
import numpy as np

_PACKAGE = Path(__file__).resolve().parent.parent
_IMPORT = re.compile(r"^ *from ([\w.]+) import (\([^)]*\)|[^(\n]*)", re.MULTILINE)  # the only form in this house
_KEPT = 3  # newest cache folders of each kernel file

_F = TypeVar("_F", bound=Callable[..., Any])

THREADS = int(getattr(numba.config, "NUMBA_NUM_THREADS"))  # noqa: B009  what this process may use
PARTS = 4  # for each thread, so that none waits long for the last (ours)


@cache
def _imported(file: Path, package: Path) -> tuple[Path, ...]:
    """Files of ours that a file imports itself."""
    found = []
    for module, names in _IMPORT.findall(file.read_text(encoding="utf-8")):
        top, *below = module.split(".")
        if top == package.name:
            place = package.joinpath(*below)
            inside = (
                [place / f"{name}.py" for name in re.findall(r"(\w+)(?: as \w+)?", names)] if place.is_dir() else []
            )
            found += [path for path in (place.with_suffix(".py"), *inside) if path.is_file()]
    return tuple(found)


def sources(file: Path, package: Path) -> list[Path]:
    """A kernel's file and every file of ours that it imports, directly or through others, in order of name."""
    found, waiting = {file}, [file]
    while waiting:
        new = [path for path in _imported(waiting.pop(), package) if path not in found]
        found.update(new)
        waiting += new
    return sorted(found)


def source_hash(file: Path, package: Path) -> str:
    """What decides whether a compiled kernel may be used again: its sources, the compiler and the machine."""
    digest = hashlib.sha256()
    for path in sources(file, package):
        digest.update(str(path.relative_to(package)).encode())
        digest.update(path.read_bytes())
    for part in (numba.__version__, llvmlite.__version__, np.__version__, sys.version, platform.machine()):
        digest.update(part.encode())
    return digest.hexdigest()[:16]


def cache_root() -> Path:
    """Where the user's programs keep what can be made again."""
    if sys.platform == "win32":
        home = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData/Local"))
    elif sys.platform == "darwin":
        home = Path.home() / "Library/Caches"
    else:
        home = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache"))
    return home / "microclimate"


def kernel_root() -> Path:
    """Where the folders of compiled kernels are."""
    return Path(os.environ.get("NUMBA_CACHE_DIR") or cache_root() / "kernels")


@cache
def cache_folder(file: Path, package: Path, root: Path) -> Path:
    """Make and give back the folder of one kernel file; keep its three newest, fall back to a temporary one."""
    name = "-".join(file.relative_to(package).with_suffix("").parts)
    folder = root / f"{name}-{source_hash(file, package)}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)
        with tempfile.TemporaryFile(dir=folder):
            pass
        old = sorted(root.glob(f"{name}-*"), key=lambda p: p.stat().st_mtime, reverse=True)
        for path in old[_KEPT:]:
            shutil.rmtree(path, ignore_errors=True)
    except OSError:
        folder = Path(tempfile.mkdtemp(prefix="microclimate-"))
    return folder


# contracted multiply-add keeps NaN and the order of sums, so results do not depend on lanes; numpy's rule for a zero
# divisor leaves no branch in a loop
_OPTIONS: dict[str, Any] = {
    "cache": True,
    "fastmath": {"contract"},
    "error_model": "numpy",
    "nogil": True,
}


def folder_of(file: Path) -> Path:
    """Where the kernels of a file of ours are kept."""
    return cache_folder(file.resolve(), _PACKAGE, kernel_root())


def kernel(function: _F) -> _F:
    """Compile for one thread, free of the interpreter's lock."""
    # numba reads the folder of its cache at the moment a kernel is decorated
    before = getattr(numba.config, "CACHE_DIR", "")
    setattr(numba.config, "CACHE_DIR", str(folder_of(Path(function.__code__.co_filename))))  # noqa: B010
    try:
        compiled: _F = numba.njit(**_OPTIONS)(function)
    finally:
        setattr(numba.config, "CACHE_DIR", before)  # noqa: B010
    return compiled


def over_threads(kernel: Callable[..., Any], count: int, *arguments: Any, threads: int | None = None) -> None:
    """Call `kernel(first, end, *arguments)` until all rows 0 to `count` are done, parts of them side by side.

    Each row is done once, by one thread, into arrays among the arguments: the same bits whatever the number of threads.
    Plain threads in place of numba's own: those compile a kernel three times over, and abort on two calls at once.
    """
    threads = THREADS if threads is None else threads
    parts = min(count, PARTS * threads)
    if threads == 1 or parts < 2:
        kernel(0, count, *arguments)
        return
    edges = [count * part // parts for part in range(parts + 1)]
    with ThreadPoolExecutor(threads) as pool:
        for done in [pool.submit(kernel, *edge, *arguments) for edge in pairwise(edges)]:
            done.result()
