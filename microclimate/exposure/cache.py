"""What was traced is kept on disk, named by a hash of all it depends on; whatever cannot be trusted is made again.

Three kinds of files: `bowl-` holds the traced geometry, `gain-` the bounces for one set of albedos and emissivities,
`glint-` what mirror-like finishes change.
A file is written under a temporary name and renamed, carries its own key, and its parts are checked by the archive's
checksums on reading. A torn, stale or foreign file is as good as none.
"""

import hashlib
import os
import tempfile
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from microclimate.column.jit import cache_root

FORMAT = 1
LIMIT = 600e6  # [byte] of all files together; the oldest go first
_PATTERNS = ("bowl-*.npz", "gain-*.npz", "glint-*.npz", "writing-*.npz")
_MAKERS = (
    "exchange.py",
    "glint.py",
    "rays.py",
    "sky.py",
    "windows.py",
    "cache.py",
)  # their text decides what a file holds

Parts = dict[str, NDArray[np.generic]]


@dataclass(frozen=True)
class Entry:
    """One file kept."""

    path: Path
    size: int  # [byte]
    used: float  # [s] since 1970, when last read or written


def key(arrays: Iterable[NDArray[np.generic]], *numbers: float) -> str:
    """Hash of arrays, numbers and the code that makes the parts."""
    digest = hashlib.sha256(f"{FORMAT} {numbers!r} {np.__version__}".encode())
    for name in _MAKERS:
        digest.update((Path(__file__).parent / name).read_bytes())
    for array in arrays:
        digest.update(f"{array.shape} {array.dtype}".encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()[:32]


def load(kind: str, name: str) -> Parts | None:
    """The parts kept under a key, or None when there is no file that can be trusted."""
    path = _path(kind, name)
    try:
        with np.load(path, allow_pickle=False) as archive:
            parts = {part: archive[part] for part in archive.files}
        if str(parts.pop("key")) != name:
            return None
        os.utime(path)
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    return parts


def save(kind: str, name: str, parts: Mapping[str, NDArray[np.generic]], limit: float = LIMIT) -> None:
    """Keep parts under a key; a folder that cannot be written is no fault, the work is done again next time."""
    path = _path(kind, name)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix="writing-", suffix=".npz", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, key=np.array(name), **parts)  # type: ignore[arg-type]
            Path(temporary).replace(path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
        shrink(limit)
    except OSError:
        return


def entries() -> list[Entry]:
    """All files kept, the one used last first."""
    found = []
    for pattern in _PATTERNS:
        for path in cache_root().glob(pattern):
            try:
                stat = path.stat()
            except OSError:
                continue  # another process cleared it meanwhile
            found.append(Entry(path, stat.st_size, stat.st_mtime))
    return sorted(found, key=lambda entry: entry.used, reverse=True)


def shrink(limit: float) -> int:
    """Remove the files used longest ago until the rest fits `limit` [byte]; gives back the bytes removed."""
    total, removed = 0, 0
    for entry in entries():
        total += entry.size
        if total > limit:
            entry.path.unlink(missing_ok=True)
            removed += entry.size
    return removed


def clear() -> int:
    """Remove all files kept; gives back the bytes removed."""
    return shrink(0.0)


def _path(kind: str, name: str) -> Path:
    return cache_root() / f"{kind}-{name}.npz"
