"""GRIB, single runs and ensembles, read in a child process (`grib_child` says why).

Sums and averages are told from values at a time by their step range; sums since the start of the run (0-1, 0-2 ...)
from averages over 3 or 6 hours in turn (0-3, 0-6, 6-9 ...) by how the ranges share their starts. A unit is believed
only where the size agrees: some centres label J m-2 as W m-2.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import Site
from microclimate.weather.formats import layers
from microclimate.weather.place import DEGREE, nearest
from microclimate.weather.table import Column, Table

Floats = NDArray[np.float64]

TIME_OUT = 300.0  # [s]
LARGEST_FLUX = 1600.0  # [W m-2]

NAMES = {
    "2t": "air_temperature", "t2m": "air_temperature",
    "2d": "dew_point_temperature", "d2m": "dew_point_temperature",
    "2r": "relative_humidity", "r2": "relative_humidity",
    "10u": "eastward_wind", "u10": "eastward_wind", "10v": "northward_wind", "v10": "northward_wind",
    "10si": "wind_speed", "10fg": "wind_speed_of_gust", "i10fg": "wind_speed_of_gust", "gust": "wind_speed_of_gust",
    "fg10": "wind_speed_of_gust", "10wdir": "wind_from_direction",
    "sp": "surface_air_pressure", "msl": "air_pressure_at_mean_sea_level", "prmsl": "air_pressure_at_mean_sea_level",
    "tcc": "cloud_area_fraction",
    "tp": "precipitation_flux", "sf": "snowfall_flux", "prate": "precipitation_flux", "tprate": "precipitation_flux",
    "ssrd": "surface_downwelling_shortwave_flux_in_air", "dswrf": "surface_downwelling_shortwave_flux_in_air",
    "sdswrf": "surface_downwelling_shortwave_flux_in_air", "avg_sdswrf": "surface_downwelling_shortwave_flux_in_air",
    "fdir": "surface_direct_downwelling_shortwave_flux_in_air",
    "strd": "surface_downwelling_longwave_flux_in_air", "dlwrf": "surface_downwelling_longwave_flux_in_air",
    "sdlwrf": "surface_downwelling_longwave_flux_in_air", "avg_sdlwrf": "surface_downwelling_longwave_flux_in_air",
}  # fmt: skip
MEANS = {name for name in NAMES.values() if name.endswith(("flux", "flux_in_air"))}
UNITS = {
    "K": "K", "m s**-1": "m/s", "Pa": "Pa", "%": "%", "(0 - 1)": "1", "1": "1", "Degree true": "degree",
    "m": "m", "kg m**-2": "kg/m2", "kg m**-2 s**-1": "kg/m2/s", "J m**-2": "J/m2", "W m**-2": "W/m2",
    "m of water equivalent": "m",
}  # fmt: skip


def table(data: bytes, path: Path, site: Site) -> Table:
    """The point of a GRIB file nearest to the site, with its members, before its numbers are judged."""
    where = path.name
    numbers, names, seen = _child(data, path, site)
    keep = [
        row
        for row, label in enumerate(names)
        if label[0] in NAMES and not (label[0] in ("r", "tmp") and label[4] == "surface")
    ]
    if not keep:
        told = ", ".join(sorted(seen)[:4]) or "no message"
        raise refuse(where, f"holds nothing of use here ({told})", "near-surface temperature, wind, cloud, radiation")
    numbers, names = numbers[keep], names[keep]
    spacing = float(np.max(numbers[:, 6]))
    _, code = nearest(numbers[:, 4][:1], numbers[:, 5][:1], site, where, reach=max(1.5 * DEGREE * spacing, 5.0))
    runs = np.unique(numbers[:, 0])
    began = numbers[:, 0] - runs[-1]
    starts, ends = numbers[:, 1] + began, numbers[:, 2] + began
    axis = np.unique(ends)
    members = np.array([int(label[3]) if label[3].lstrip("-").isdigit() else 0 for label in names])
    labels = np.unique(members)
    made = Table(
        (np.datetime64(int(runs[-1]), "s") + axis.astype("timedelta64[s]")).astype("datetime64[ns]"),
        [],
        f"GRIB ({where})",
    )
    for short in dict.fromkeys(str(label[0]) for label in names):
        if NAMES[short] in [column.name for column in made.columns]:
            made.codes.append(f"ignored={short}")
            continue
        rows = np.flatnonzero(names[:, 0] == short)
        unit = str(names[rows[0], 1])
        place = f"{where}: {short}"
        if unit not in UNITS:
            made.problems.append(Problem(place, f"is in [{unit}]", "a unit known here"))
            continue
        values = np.full((len(labels), len(axis)), np.nan)
        shown = UNITS[unit]
        for at, member in enumerate(labels):
            own = rows[members[rows] == member]
            kinds = {str(names[row, 2]) for row in own}
            if NAMES[short] in MEANS:
                values[at], shown = _mean(axis, starts[own], ends[own], numbers[own, 3], kinds, UNITS[unit])
            else:
                values[at, np.searchsorted(axis, ends[own])] = numbers[own, 3]
        made.columns.append(Column(NAMES[short], shown, values, place, running_sum=False))
    made.wind_height, made.temperature_height = 10.0, 2.0
    made.issued = f"{np.datetime64(int(runs[-1]), 's')}Z"
    made.codes += [code] if code else []
    return made


def _mean(axis: Floats, starts: Floats, ends: Floats, values: Floats, kinds: set[str], unit: str) -> tuple[Floats, str]:
    """Messages of one member as means over each step of the axis, and the unit they then have."""
    length = ends - starts
    if kinds == {"instant"} or not (length > 0).any():
        # rates at a time hold from the stamp before; a sum that calls itself instant is told by its size later
        out = np.full(len(axis), np.nan)
        out[np.searchsorted(axis, ends)] = values
        return out, unit
    spans = length > 0
    starts, ends, values, length = starts[spans], ends[spans], values[spans], length[spans]
    rate = unit in ("W/m2", "kg/m2/s") and not (unit == "W/m2" and np.nanmax(np.abs(values)) > LARGEST_FLUX)
    begin, end, amount = layers.pieces(starts, ends, values * length if rate else values)
    origin = np.datetime64(0, "s")
    stamp = [(origin + v.astype("timedelta64[s]")).astype("datetime64[ns]") for v in (axis, begin, end)]
    flux = layers.rates(stamp[0], stamp[1], stamp[2], amount)
    if unit in ("m", "kg/m2"):
        return flux * (1000.0 if unit == "m" else 1.0), "kg/m2/s"
    return flux, "W/m2" if unit in ("W/m2", "J/m2") else unit


def _child(data: bytes, path: Path, site: Site) -> tuple[Floats, NDArray[np.str_], list[str]]:
    where = path.name
    with tempfile.TemporaryDirectory() as folder:
        source, out = Path(folder) / "in.grib", Path(folder) / "out.npz"
        source.write_bytes(data)
        command = [sys.executable, "-m", "microclimate.weather.formats.grib_child", str(source)]
        command += [str(site.latitude), str(site.longitude), str(out)]
        try:
            done = subprocess.run(
                command, capture_output=True, text=True, timeout=TIME_OUT, env=_environment(), check=False
            )
        except subprocess.TimeoutExpired as error:
            found = f"took more than {TIME_OUT:.0f} s to read"
            raise refuse(where, found, "a smaller file", "cut it to the venue's point") from error
        if done.returncode or not out.exists():
            raise _told(done.stderr, where)
        with np.load(out, allow_pickle=False) as file:
            return file["numbers"], file["names"].reshape(-1, 5), sorted(str(v) for v in file["seen"])


def _told(errors: str, where: str) -> InputError:
    """What the child said last, in words."""
    last = (errors.strip().splitlines() or ["no reason given"])[-1]
    if "No module named 'eccodes'" in errors:
        cure = 'pip install "microclimate[grib]"'
        return refuse(where, "is GRIB, and its reader is not installed", "the extra 'grib'", cure)
    if "OutOfArea" in errors:
        return refuse(where, "the venue lies outside its grid", "a file that covers it", "fetch the right region")
    return refuse(where, f"cannot be read as GRIB ({last[:120]})", "a whole GRIB file", "fetch it again")


def _environment() -> dict[str, str]:
    """The child finds the package where this process did."""
    paths = [path for path in (os.getcwd(), *sys.path) if path]  # noqa: PTH109
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}
