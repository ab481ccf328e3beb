"""`microclimate cache`: what is kept on disk so that it need not be worked out again, and how to empty it."""

import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

from microclimate.column.jit import cache_root, kernel_root
from microclimate.exposure import cache as kept
from microclimate.report.words_check import Stored, cleared, stored

_KERNELS = re.compile(r"(.+)-[0-9a-f]{16}")  # folder of one kernel file, named by the hash of its sources


def cache(*, clear: bool) -> str:
    """List the cache, or empty it, and tell.

    Only files and folders that this program named are counted and removed.
    """
    found = [*_geometry(), *_kernels()]
    folder = str(cache_root())
    if not clear:
        return stored(folder, found, time.time())
    kept.clear()
    for path in _kernel_folders():
        shutil.rmtree(path, ignore_errors=True)
    left = [*_geometry(), *_kernels()]
    return cleared(folder, found, left)


def _geometry() -> Iterator[Stored]:
    kinds = {"bowl": "what the stands hide", "gain": "light and heat between the stands", "writing": "being written"}
    for entry in kept.entries():
        yield Stored(kinds[entry.path.name.partition("-")[0]], entry.size, entry.used)


def _kernel_folders() -> list[Path]:
    root = kernel_root()
    if not root.is_dir():
        return []
    return [path for path in sorted(root.iterdir()) if path.is_dir() and _KERNELS.fullmatch(path.name)]


def _kernels() -> Iterator[Stored]:
    for folder in _kernel_folders():
        sizes = []
        for path in folder.rglob("*"):
            try:
                if path.is_file():
                    sizes.append(path.stat().st_size)
            except OSError:
                continue  # another process cleared it meanwhile
        yield Stored("compiled formulas", sum(sizes), folder.stat().st_mtime)
