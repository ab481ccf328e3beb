"""Files a job writes: under a temporary name first, then renamed, so that none is ever half-written."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import xarray as xr

from microclimate.errors import refuse
from microclimate.schema import FORMAT
from microclimate.venue import load
from microclimate.venue.load import Venue
from microclimate.workflow import netcdf

CALIBRATION = "calibration.toml"  # beside the venue: what `calibrate` learned there
FIELDLOG = "fieldlog.db"  # beside the venue, or where it is asked for: what was read, told, advised and done


def described(venue_path: Path) -> Venue:
    """The venue, with what was learned about it where that lies beside its file."""
    learned = venue_path.resolve().parent / CALIBRATION
    return load.venue(venue_path, learned if learned.exists() else None)


def log(venue_path: Path | None, named: Path | None) -> Path:
    """The field log's file: the one named, else beside the venue, else in this folder."""
    if named is not None:
        return named
    return Path(FIELDLOG) if venue_path is None else venue_path.resolve().parent / FIELDLOG


def folder(path: Path) -> None:
    """Make a folder, or say why it cannot be made."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise refuse(f"--out {path}", f"cannot be made ({error.strerror})", "a folder that can be written") from None


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A temporary name beside `path`, renamed to it when all went well and removed otherwise."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        temporary.chmod(0o644)
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def write_text(text: str, path: Path) -> None:
    """Write a text file, whole or not at all."""
    with whole(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def write_results(states: xr.Dataset, outcome: xr.Dataset, risk: xr.Dataset, path: Path) -> None:
    """One CF NetCDF file: the states of the middle realization, and the groups `outcome` and `risk`."""
    groups = {"": states, "outcome": outcome, "risk": risk}
    told = {"Conventions": "CF-1.11", "format": FORMAT}
    with whole(path) as temporary:
        netcdf.write(temporary, {name: dataset.assign_attrs(told) for name, dataset in groups.items()})
