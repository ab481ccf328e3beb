"""A machine's first run: kernels are compiled, and the bowl traced, in two child processes side by side.

One child runs the time loop for two steps, so that it is compiled for just the types that real runs have, and touches
nothing of the bowl; the other traces the venue's bowl and lays two hours of weather on it. Both leave what they made in
the caches on disk, and take the compiler's memory with them. The parent goes on as on any later run; should a child
fail, it works for itself.
"""

import subprocess
import sys
from pathlib import Path

import numpy as np
import xarray as xr

from microclimate.actions import plan as plans
from microclimate.column import jit
from microclimate.exposure import bowl as sight
from microclimate.exposure import box, force, patches, rays, windows
from microclimate.schema import FORCING, WEATHER, Event, seal
from microclimate.simulate import loop, run, start
from microclimate.venue import load

TRIED = "tried"  # file in the folder of kernels that a child was started for

_LAWN = """
name = "one zone"
[site]
latitude = 45
longitude = 0
elevation = 0
time_zone = "Europe/Paris"
[field]
length = 10
width = 10
[[ground]]
build = "sand over gravel"
"""
_NOON = np.datetime64("2026-01-01T12:00", "ns")
_HOUR = np.timedelta64(3600, "s")
_FORCING = {
    "air_temperature": 275.0,
    "under_tray_air_temperature": 275.0,
    "specific_humidity": 0.003,
    "wind_speed": 2.0,
    "wind_speed_of_gust": 3.0,
    "surface_air_pressure": 1e5,
    "longwave_sky_down": 250.0,
}
_WEATHER = {
    "air_temperature": 275.0,
    "dew_point_temperature": 272.0,
    "wind_speed": 2.0,
    "wind_speed_of_gust": 3.0,
    "surface_air_pressure": 1e5,
    "surface_downwelling_shortwave_flux_in_air": 100.0,
    "surface_direct_downwelling_shortwave_flux_in_air": 50.0,
    "surface_diffuse_downwelling_shortwave_flux_in_air": 50.0,
    "surface_downwelling_longwave_flux_in_air": 250.0,
}


def up(venue: Path) -> None:
    """Have the kernels that are not on disk yet made there; nothing to do on any later run."""
    jobs = {"loop": (loop,), "bowl": (box, rays, windows)}
    cold = {job: [folder for folder in map(_kernels, of) if not _made(folder)] for job, of in jobs.items()}
    command = [sys.executable, "-m", "microclimate.workflow.warm"]
    quiet = subprocess.DEVNULL
    children = [
        subprocess.Popen([*command, job, str(venue)], stdout=quiet, stderr=quiet)
        for job, folders in cold.items()
        if folders
    ]
    for child in children:
        child.wait()
    for folder in (folder for folders in cold.values() for folder in folders):
        (folder / TRIED).touch()


def _kernels(module: object) -> Path:
    """Folder of the kernels of a module."""
    return jit.folder_of(Path(str(getattr(module, "__file__", ""))))


def _made(folder: Path) -> bool:
    """A kernel is on disk, or was found not to be needed here: with a ray engine, or where no stand hides the sky."""
    return (folder / TRIED).exists() or any(folder.rglob("*.nbc"))


def _forcing() -> xr.Dataset:
    """Two steps of a quiet hour on one patch."""
    dims, stamps = ("realization", "patch", "time"), _NOON + _HOUR * np.arange(1, 3)
    data = {name: (dims, np.full((1, 1, 2), _FORCING.get(name, 0.0))) for name in FORCING}
    coords = {"realization": [0], "time": stamps, "zone_index": ("patch", [0]), "zone": ("patch", ["A1"])}
    return seal(xr.Dataset(data, coords=coords), FORCING, "forcing")


def _weather() -> xr.Dataset:
    """Two quiet hours."""
    stamps = _NOON + _HOUR * np.arange(3)
    data = {name: (("realization", "time"), np.full((1, 3), _WEATHER.get(name, 0.0))) for name in WEATHER}
    bounds = np.stack([stamps - _HOUR, stamps], axis=1)
    quiet = xr.Dataset(
        {**data, "time_bnds": (("time", "bnds"), bounds)},
        coords={"realization": [0], "time": stamps},
        attrs={"wind_height": 10.0, "temperature_height": 2.0},
    )
    return seal(quiet, WEATHER, "weather")


def main(job: str, path: str) -> None:
    """What a child does: "loop", or "bowl" with the path of a venue file."""
    if job == "loop":
        return _loop()
    venue = load.venue(path)
    seen = sight.bowl(venue)
    sun = patches.morning_sun(seen, venue.site.latitude, venue.site.longitude, _NOON.astype("datetime64[D]").item())
    joined = patches.patches(venue.field.zones, seen, sun)
    for _ in force.forcing(venue, _weather(), seen, joined):
        pass
    return None


def _loop() -> None:
    lawn, forcing = load.text(_LAWN), _forcing()
    whole = Event("two hours", *(t.astype("datetime64[us]").item() for t in (_NOON, _NOON + 2 * _HOUR)))
    first = start.states(lawn, forcing, 1, _NOON)
    run.outcome(lawn, [forcing], first, plans.nothing(lawn, _NOON, _NOON + 2 * _HOUR), [whole], states="canopy")


if __name__ == "__main__":
    main(*sys.argv[1:])
