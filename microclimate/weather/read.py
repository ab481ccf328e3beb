"""Any weather file to a raw Dataset: the format is told by the content, the name is only a hint."""

import gzip
import json
import zlib
from collections.abc import Mapping
from pathlib import Path

import xarray as xr

from microclimate.errors import refuse
from microclimate.schema import Site
from microclimate.weather import season, table
from microclimate.weather.formats import csv, grib, metar, metno, mosmix, netcdf, nws, nws_observed, surfrad, typical

MOST_BYTES = 400_000_000  # a point forecast is far smaller; more is a mistake or an attack


def weather(path: str | Path, site: Site, *, mapping: Mapping[str, str] | None = None) -> xr.Dataset:
    """The weather of a file: canonical names, SI, (realization, time), stamps UTC at the END of their interval.

    Parameters
    ----------
    path : path
        Any of `formats.FORMATS`; may be gzipped once.
    site : Site
        The venue: its zone serves stamps without offset, its place chooses among grid points.
    mapping : mapping, optional
        For CSV: header in the file -> `name [unit]`.

    Returns
    -------
    Dataset
        Whatever the file has of `names.RAW`, each with `cell_methods`; `time_bnds`; attributes `source`, `issued`,
        `assumed`, and `wind_height`, `temperature_height` [m] where the file says them.

    Raises
    ------
    InputError
        Every fault of the file at once.
    """
    path = Path(path)
    return weather_of(_bytes(path), path, site, mapping=mapping)


def weather_of(data: bytes, name: Path, site: Site, *, mapping: Mapping[str, str] | None = None) -> xr.Dataset:
    """The same of bytes that are in no file yet; `name` is for messages and for dates in it."""
    if not data.strip():
        raise refuse(name.name, "is empty", "a weather file")
    return season.judged(table.dataset(_table(data, name, site, mapping)), site.latitude, name.name)


def _bytes(path: Path) -> bytes:
    if not path.exists():
        raise refuse(path.name, "no such file", "a weather file", f"looked in {path.parent.resolve()}")
    if path.is_dir():
        raise refuse(path.name, "is a folder", "a weather file")
    if path.stat().st_size > MOST_BYTES:
        raise refuse(
            path.name,
            f"has {path.stat().st_size / 1e6:.0f} MB",
            f"at most {MOST_BYTES / 1e6:.0f} MB",
            "cut it to the venue's point",
        )
    try:
        data = path.read_bytes()
    except OSError as error:
        raise refuse(path.name, f"cannot be read ({error.strerror})", "a readable file") from error
    if data[:2] == b"\x1f\x8b":
        data = _unzipped(data, path)
        if data[:2] == b"\x1f\x8b":
            raise refuse(path.name, "is gzipped twice", "a file gzipped once or not at all", "run gunzip on it once")
    return data


def _unzipped(data: bytes, path: Path) -> bytes:
    unpacker = zlib.decompressobj(wbits=31)
    try:
        out = unpacker.decompress(data, MOST_BYTES)
    except (zlib.error, gzip.BadGzipFile) as error:
        raise refuse(path.name, f"is a broken gzip file ({error})", "a whole file", "fetch it again") from error
    if unpacker.unconsumed_tail:
        raise refuse(path.name, "unpacks to more than a weather file can hold", f"at most {MOST_BYTES / 1e6:.0f} MB")
    if not unpacker.eof:
        raise refuse(path.name, "ends in the middle (gzip)", "a whole file", "fetch it again")
    return out


def _table(data: bytes, path: Path, site: Site, mapping: Mapping[str, str] | None) -> table.Table:
    head = data[:4096]
    if head.startswith((b"\x89HDF\r\n\x1a\n", b"CDF\x01", b"CDF\x02", b"CDF\x05")):
        return netcdf.table(data, path, site)
    if head.startswith(b"GRIB"):
        return grib.table(data, path, site)
    if head.startswith(b"PK") or (head.lstrip()[:1] == b"<" and b"kml" in head.lower()):
        return mosmix.table(data, path, site)
    if head.lstrip()[:1] == b"{":
        return _json(data, path, site)
    if head.startswith(b"LOCATION,"):
        return typical.epw(data, path, site)
    second = data.split(b"\n", 2)[1:2]
    if second and second[0].startswith(b"Date (MM/DD/YYYY),Time (HH:MM)"):
        return typical.tmy3(data, path, site)
    if surfrad.known(head):
        return surfrad.table(data, path, site)
    if metar.known(head):
        return metar.table(data, path)
    return csv.table(data, path, site, mapping)


def _json(data: bytes, path: Path, site: Site) -> table.Table:
    try:
        document = json.loads(data)
    except (ValueError, RecursionError) as error:
        told = str(error).splitlines()[0][:100]
        raise refuse(path.name, f"is broken JSON ({told})", "a whole reply of a service", "fetch it again") from error
    if nws.known(document):
        return nws.table(document, path, site)
    if metno.known(document):
        return metno.table(document, path, site)
    if nws_observed.known(document):
        return nws_observed.table(document, path, site)
    title = str(document.get("title") or document.get("detail") or "") if isinstance(document, dict) else ""
    found = f"is the service's answer {title[:80]!r}, no forecast" if title else "is JSON of a kind not known here"
    raise refuse(path.name, found, "a gridpoint forecast or a locationforecast", "fetch it again")
