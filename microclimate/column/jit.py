"""The one decorator of compiled kernels: where they are cached, how they are compiled, who may run them at once.

numba's disk cache looks at the file of a kernel only, not at the formulas it calls. The cache folder of a kernel's file
therefore carries a hash of that file and of all it imports, so an edited formula is never answered by an old kernel.
"""

import ast
import hashlib
import os
import platform
import shutil
import sys
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import llvmlite
import numba
import numpy as np

from microclimate.physics.elementwise import LanesCompiler

_PACKAGE = Path(__file__).resolve().parent.parent
_KEPT = 3  # newest cache folders of each kernel file

_F = TypeVar("_F", bound=Callable[..., Any])

PARALLEL = Lock()
"""Held round every call of a parallel kernel: numba's plain thread pool aborts on two at once."""


@cache
def _imported(file: Path, package: Path) -> tuple[Path, ...]:
    """Files of ours that a file imports itself."""
    found = []
    for node in ast.walk(ast.parse(file.read_bytes())):
        if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == package.name:
            place = package.joinpath(*(node.module or "").split(".")[1:])
            inside = [place / f"{alias.name}.py" for alias in node.names] if place.is_dir() else []
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
    "pipeline_class": LanesCompiler,
}


def folder_of(file: Path) -> Path:
    """Where the kernels of a file of ours are kept."""
    root = Path(os.environ.get("NUMBA_CACHE_DIR") or cache_root() / "kernels")
    return cache_folder(file.resolve(), _PACKAGE, root)


def _compiled(function: _F, **options: Any) -> _F:
    """numba reads the folder of its cache at the moment a kernel is decorated."""
    before = getattr(numba.config, "CACHE_DIR", "")
    setattr(numba.config, "CACHE_DIR", str(folder_of(Path(function.__code__.co_filename))))  # noqa: B010
    try:
        compiled: _F = numba.njit(**_OPTIONS, **options)(function)
    finally:
        setattr(numba.config, "CACHE_DIR", before)  # noqa: B010
    return compiled


def kernel(function: _F) -> _F:
    """Compile for one thread, free of the interpreter's lock."""
    return _compiled(function)


def parallel_kernel(function: _F) -> _F:
    """Compile with `prange` over all threads; call it inside `PARALLEL`."""
    return _compiled(function, parallel=True)
