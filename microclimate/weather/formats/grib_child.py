"""The child process that reads GRIB: eccodes and NumPy only, one point of each message, to an .npz file.

eccodes and pyproj each bring their own PROJ library and crash each other in one process (seen in 15 of 15 runs with
both loaded), so nothing else of this package is imported here. What eccodes works out slowly (names, units, step
ranges, the nearest point) is asked once for each kind of message and kept.

    python -m microclimate.weather.formats.grib_child FILE LATITUDE LONGITUDE OUT.npz PART PARTS
"""

import sys
from datetime import datetime, timedelta
from pathlib import Path

import eccodes
import numpy as np

SECONDS = {"s": 1, "m": 60, "h": 3600, "3h": 10800, "6h": 21600, "12h": 43200, "D": 86400}
SURFACE = {"surface", "heightAboveGround", "meanSea", "entireAtmosphere", "atmosphere", "atmosphereSingleLayer"}
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


def main(path: str, latitude: float, longitude: float, out: str, part: int, parts: int) -> None:
    """Reads every surface message at the point nearest to a place and writes rows of numbers and of text."""
    data = Path(path).read_bytes()
    every = spans(data)
    numbers: list[tuple[float, ...]] = []
    names: list[tuple[str, ...]] = []
    kinds: dict[tuple[str, ...], tuple[str, ...]] = {}
    steps: dict[tuple[str, ...], tuple[float, float, float]] = {}
    grids: dict[str, tuple[int, float, float, float]] = {}
    for begin, end in every[len(every) * part // parts : len(every) * (part + 1) // parts]:
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
    main(sys.argv[1], float(sys.argv[2]), float(sys.argv[3]), sys.argv[4], int(sys.argv[5]), int(sys.argv[6]))
