"""The child process that reads GRIB: eccodes and NumPy only, one point of each message, to an .npz file.

eccodes and pyproj each bring their own PROJ library and crash each other in one process (seen in 15 of 15 runs with
both loaded), so nothing else of this package is imported here. What eccodes works out slowly (names, units, step
ranges, the nearest point) is asked once for each kind of message and kept. Messages of edition 2 that differ in nothing
but the member and the numbers are not opened again: where they are simply packed, one number is unpacked from bytes.

    python -m microclimate.weather.formats.grib_child FILE LATITUDE LONGITUDE OUT.npz
"""

import struct
import sys
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import eccodes
import numpy as np

SECONDS = {"s": 1, "m": 60, "h": 3600, "3h": 10800, "6h": 21600, "12h": 43200, "D": 86400}
SURFACE = {"surface", "heightAboveGround", "meanSea", "entireAtmosphere", "atmosphere", "atmosphereSingleLayer"}
ENSEMBLE = {1, 11}  # product templates of one member, at a time and over an interval
MEMBER = 35  # octet 36 of their section holds its number
EPOCH = datetime(1970, 1, 1)

# cheap keys that decide the costly ones, by edition; those of a sum or mean over an interval beside
KIND = {
    1: ("indicatorOfParameter", "table2Version", "indicatorOfTypeOfLevel", "timeRangeIndicator", "centre"),
    2: (
        "discipline", "parameterCategory", "parameterNumber", "typeOfFirstFixedSurface", "centre",
        "scaledValueOfFirstFixedSurface", "productDefinitionTemplateNumber",
    ),
}  # fmt: skip
STEP = {
    1: ("dataDate", "dataTime", "P1", "P2", "timeRangeIndicator", "indicatorOfUnitOfTimeRange"),
    2: ("dataDate", "dataTime", "forecastTime", "indicatorOfUnitOfTimeRange"),
}
SPAN = ("lengthOfTimeRange", "numberOfTimeRange", "indicatorOfUnitForTimeRange", "typeOfStatisticalProcessing")
SPANNING = {str(number) for number in (*range(8, 16), 34, 42, 43, 46, 47, 61, 67, 68, 72, 73, 78, 79)}  # templates


def spans(data: bytes) -> list[tuple[int, int]]:
    """Where each message of a file begins and ends, by the lengths the messages state (WMO-No. 306)."""
    found, at = [], data.find(b"GRIB")
    while at >= 0:
        size = data[at + 8 : at + 16] if data[at + 7 : at + 8] == b"\x02" else data[at + 4 : at + 7]
        end = at + int.from_bytes(size, "big")
        if end <= at or end > len(data):
            raise ValueError("a message ends beyond the file")
        found.append((at, end))
        at = data.find(b"GRIB", end)
    return found


def _key(message: int, name: str, otherwise: str = "") -> str:
    try:
        return str(eccodes.codes_get(message, name, str))
    except eccodes.KeyValueNotFoundError:
        return otherwise


def _cheap(message: int, names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(_key(message, name) for name in names)


def _step(message: int) -> tuple[float, float, float]:
    """When a message's run began [s since 1970], and the start and end of its interval [s since then]."""
    run = datetime.strptime(f"{_key(message, 'dataDate')}{int(_key(message, 'dataTime')):04d}", "%Y%m%d%H%M")
    unit = _key(message, "stepUnits", "h")
    first, _, last = _key(message, "stepRange").partition("-")
    ends = []
    for part in (first, last or first):
        digits = part.rstrip("smhD")
        own = part[len(digits) :] or (unit if unit in SECONDS else "h")
        ends.append(float(digits) * SECONDS[own])
    return (run - EPOCH) / timedelta(seconds=1), ends[0], ends[1]


@dataclass(frozen=True)
class Known:
    """What all members of one variable, step and grid share."""

    step: tuple[float, float, float]
    place: tuple[int, float, float, float]  # index of the nearest point, latitude, longitude, spacing
    names: tuple[str, str, str, str] | None  # short name, unit, kind of step, level; None where it is not wanted


def sections(data: bytes, begin: int, end: int) -> dict[int, tuple[int, int]]:
    """Where the sections of a message of edition 2 begin and end (WMO-No. 306, FM 92); only the first of each."""
    found: dict[int, tuple[int, int]] = {}
    at = begin + 16
    while at + 5 <= end - 4:
        size = int.from_bytes(data[at : at + 4], "big")
        if size < 5 or at + size > end:
            break
        if data[at + 4] in found:
            return {}  # several fields in one message: left to eccodes
        found[data[at + 4]] = (at, at + size)
        at += size
    return found


def likeness(data: bytes, parts: dict[int, tuple[int, int]]) -> tuple[bytes, int] | None:
    """What decides all but the member and the numbers, and the member; None where the template has no member."""
    if not all(number in parts for number in (1, 3, 4, 5, 6, 7)):
        return None
    product = bytearray(data[slice(*parts[4])])
    if int.from_bytes(product[7:9], "big") not in ENSEMBLE:
        return None
    member, product[MEMBER] = product[MEMBER], 0
    return data[slice(*parts[1])] + data[slice(*parts[3])] + bytes(product), member


def unpacked(data: bytes, parts: dict[int, tuple[int, int]], index: int) -> float | None:
    """One number of a simply packed field without bitmap, (R + X 2^E) 10^-D (template 5.0); None for other packings."""
    about, (first, last) = data[slice(*parts[5])], parts[7]
    if int.from_bytes(about[9:11], "big") != 0 or data[parts[6][0] + 5] != 255:
        return None
    (reference,) = struct.unpack(">f", about[11:15])
    binary, decimal = (_signed(int.from_bytes(about[at : at + 2], "big")) for at in (15, 17))
    bits = about[19]
    start = index * bits
    part = data[first + 5 + start // 8 : min(first + 5 + (start + bits + 7) // 8, last)]
    if len(part) * 8 < start % 8 + bits:
        return None
    whole = int.from_bytes(part, "big") >> (-(start + bits) % 8) if bits else 0
    return float((reference + (whole & ((1 << bits) - 1)) * 2.0**binary) * 10.0**-decimal)


def _signed(value: int) -> int:
    """A number of two octets whose first bit is its sign."""
    return -(value & 0x7FFF) if value & 0x8000 else value


def main(path: str, latitude: float, longitude: float, out: str) -> None:
    """Reads every surface message at the point nearest to a place and writes rows of numbers and of text."""
    data = Path(path).read_bytes()
    numbers: list[tuple[float, ...]] = []
    names: list[tuple[str, ...]] = []
    kinds: dict[tuple[str, ...], tuple[str, ...]] = {}
    steps: dict[tuple[str, ...], tuple[float, float, float]] = {}
    grids: dict[str, tuple[int, float, float, float]] = {}
    alike: dict[bytes, Known] = {}
    for begin, end in spans(data):
        where = sections(data, begin, end) if data[begin + 7] == 2 else {}
        like = likeness(data, where)
        if like is not None and like[0] in alike:
            known = alike[like[0]]
            if known.names is None:
                continue
            short, unit, step_type, level = known.names
            plain = unpacked(data, where, known.place[0])
            if plain is not None:
                numbers.append((*known.step, plain, *known.place[1:]))
                names.append((short, unit, step_type, str(like[1]), level))
                continue
        message = eccodes.codes_new_from_message(data[begin:end])
        try:
            edition = data[begin + 7]
            kind = _cheap(message, KIND[edition])
            span = _cheap(message, SPAN) if edition == 2 and kind[-1] in SPANNING else ()
            kind += span[-1:]
            if kind not in kinds:
                kinds[kind] = _cheap(message, ("shortName", "units", "stepType", "typeOfLevel", "name"))
            short, unit, step_type, level, _ = kinds[kind]
            if level not in SURFACE:
                if like is not None:
                    alike[like[0]] = Known((0.0, 0.0, 0.0), (0, 0.0, 0.0, 0.0), None)
                continue
            step = _cheap(message, STEP[edition]) + span
            if step not in steps or (span and span[1] not in ("", "1")):
                steps[step] = _step(message)
            grid = _key(message, "md5GridSection")
            if grid not in grids:
                point = eccodes.codes_grib_find_nearest(message, latitude, longitude)[0]
                spacing = abs(float(_key(message, "jDirectionIncrementInDegrees", "0.25") or 0.25))
                grids[grid] = (int(point["index"]), float(point["lat"]), float(point["lon"]), spacing)
            index, *place = grids[grid]
            if like is not None:
                alike[like[0]] = Known(steps[step], grids[grid], (short, unit, step_type, level))
            value = float(eccodes.codes_get_double_element(message, "values", index))
            if value == float(_key(message, "missingValue", "nan")):
                value = float("nan")
            numbers.append((*steps[step], value, *place))
            names.append((short, unit, step_type, _key(message, "number", "0") or "0", level))
        finally:
            eccodes.codes_release(message)
    seen = sorted({f"{kind[0]} ({kind[4]}, {kind[3]})" for kind in kinds.values()})
    rows = np.array(numbers, float).reshape(-1, 7)
    np.savez(out, numbers=rows, names=np.array(names, str), seen=np.array(seen, str))


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]), float(sys.argv[3]), sys.argv[4])
