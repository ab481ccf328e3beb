"""The one decorator of compiled kernels: where they are cached, how they are compiled, who may run them at once.

numba's disk cache looks at the file of a kernel only, not at the formulas it calls. The cache folder therefore carries
a hash of every source a kernel is made of, so an edited formula can never be answered by an old kernel.
"""

import hashlib
import os
import platform
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import llvmlite
import numba
import numpy as np

_ROOMS = ("physics", "column", "simulate", "exposure")
_KEPT = 3  # newest cache folders

_F = TypeVar("_F", bound=Callable[..., Any])

PARALLEL = Lock()
"""Held round every call of a parallel kernel: numba's plain thread pool aborts on two at once."""


def source_hash(package: Path) -> str:
    """What decides whether a compiled kernel may be used again: our sources, the compiler and the machine."""
    digest = hashlib.sha256()
    for path in sorted([package / "constants.py", *(p for room in _ROOMS for p in (package / room).rglob("*.py"))]):
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


def cache_folder(package: Path, root: Path) -> Path:
    """Make and give back the folder for this source; keep the three newest, fall back to a temporary one."""
    folder = root / source_hash(package)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)
        with tempfile.TemporaryFile(dir=folder):
            pass
        old = sorted((p for p in root.iterdir() if p.is_dir()), key=lambda p: p.stat().st_mtime, reverse=True)
        for path in old[_KEPT:]:
            shutil.rmtree(path, ignore_errors=True)
    except OSError:
        folder = Path(tempfile.mkdtemp(prefix="microclimate-"))
    return folder


if not os.environ.get("NUMBA_CACHE_DIR"):
    setattr(numba.config, "CACHE_DIR", str(cache_folder(Path(__file__).parent.parent, cache_root())))  # noqa: B010

# contracted multiply-add keeps NaN and the order of sums, so results do not depend on lanes; numpy's rule for a zero
# divisor leaves no branch in a loop
_OPTIONS: dict[str, Any] = {"cache": True, "fastmath": {"contract"}, "error_model": "numpy", "nogil": True}


def kernel(function: _F) -> _F:
    """Compile for one thread, free of the interpreter's lock."""
    compiled: _F = numba.njit(**_OPTIONS)(function)
    return compiled


def parallel_kernel(function: _F) -> _F:
    """Compile with `prange` over all threads; call it inside `PARALLEL`."""
    compiled: _F = numba.njit(parallel=True, **_OPTIONS)(function)
    return compiled
