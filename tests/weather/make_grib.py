"""Writes small GRIB 2 ensembles after the encoding rules; run as a process of its own (eccodes beside pyproj crashes).

python make_grib.py OUT MEMBERS HOURS KIND: KIND 'sums' has radiation as J m-2 since the start of the run, 'turns' as
averages over 3 and 6 hours in turn, 'wrong' is a pressure level, 'one' has the temperature alone.
"""

import sys
from pathlib import Path

import eccodes
import numpy as np

LONGWAVE = 250.0  # [W m-2] in every hour
RAIN = 1.0  # [kg m-2] in every hour


def _message(member: int, step: str, key: tuple[int, int], level: tuple[str, float], value: float, kind: str) -> bytes:
    grib = eccodes.codes_grib_new_from_samples("GRIB2")
    settings: dict[str, object] = {
        "gridType": "regular_ll", "Ni": 3, "Nj": 3, "latitudeOfFirstGridPointInDegrees": 36.5,
        "longitudeOfFirstGridPointInDegrees": 279.5, "latitudeOfLastGridPointInDegrees": 35.5,
        "longitudeOfLastGridPointInDegrees": 280.5, "iDirectionIncrementInDegrees": 0.5,
        "jDirectionIncrementInDegrees": 0.5, "centre": 7, "dataDate": 20260127, "dataTime": 1200, "stepUnits": "h",
        "productDefinitionTemplateNumber": 11 if kind != "instant" else 1,
    }  # fmt: skip
    settings |= {"discipline": 0, "parameterCategory": key[0], "parameterNumber": key[1]}
    settings |= {"typeOfFirstFixedSurface": level[0], "level": level[1], "perturbationNumber": member}
    for name, setting in settings.items():
        eccodes.codes_set(grib, name, setting)
    if kind != "instant":
        eccodes.codes_set(grib, "typeOfStatisticalProcessing", {"accum": 1, "avg": 0}[kind])
    eccodes.codes_set(grib, "stepRange", step)
    eccodes.codes_set(grib, "packingType", "grid_ieee" if kind == "accum" else "grid_simple")
    eccodes.codes_set_values(grib, np.full(9, value) + np.arange(9) * 1e-3)
    data: bytes = eccodes.codes_get_message(grib)
    eccodes.codes_release(grib)
    return data


def main(out: Path, members: int, hours: int, kind: str) -> None:
    """Writes the file."""
    ground, two, ten = ("1", 0), ("103", 2), ("103", 10)
    parts = []
    for member in range(members):
        for hour in range(hours):
            warm = 270.0 + member * 0.1 + hour * 0.01
            if kind == "wrong":
                parts.append(_message(member, str(hour), (0, 0), ("100", 50000), warm, "instant"))
                continue
            parts.append(_message(member, str(hour), (0, 0), two, warm, "instant"))
            if kind == "one":
                continue
            parts.append(_message(member, str(hour), (0, 6), two, warm - 3.0, "instant"))
            parts.append(_message(member, str(hour), (2, 2), ten, 3.0, "instant"))
            parts.append(_message(member, str(hour), (2, 3), ten, -4.0, "instant"))
            if hour and kind == "sums":
                parts.append(_message(member, f"0-{hour}", (1, 8), ground, RAIN * hour, "accum"))
                parts.append(_message(member, f"0-{hour}", (5, 3), ground, LONGWAVE * 3600 * hour, "accum"))
            if hour and hour % 3 == 0 and kind == "turns":
                start = (hour - 1) // 6 * 6
                # averages from the last multiple of six: each half differs, so that a wrong reading shows
                first, second = LONGWAVE - 20.0, LONGWAVE + 20.0
                mean = first if hour - start == 3 else (first + second) / 2
                parts.append(_message(member, f"{start}-{hour}", (5, 3), ground, mean, "avg"))
    out.write_bytes(b"".join(parts))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), sys.argv[4])
