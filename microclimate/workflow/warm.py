"""A machine's first run: kernels are compiled, and the bowl traced, in two child processes side by side.

One child runs the time loop for two steps, so that it is compiled for just the types that real runs have; the other
traces the venue's bowl and lays two hours of weather on it. Both leave what they made in the caches on disk, and take
the compiler's memory with them. The parent goes on as on any later run; should a child fail, it works for itself.
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
from microclimate.schema import WEATHER, Event, seal
from microclimate.simulate import loop, run, start
from microclimate.venue import load

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
    asked = []
    if not _compiled(loop):
        asked.append(["loop"])
    if not all(_compiled(module) for module in (box, rays, windows)):
        asked.append(["bowl", str(venue)])
    command = [sys.executable, "-m", "microclimate.workflow.warm"]
    quiet = subprocess.DEVNULL
    children = [subprocess.Popen([*command, *words], stdout=quiet, stderr=quiet) for words in asked]
    for child in children:
        child.wait()


def _compiled(module: object) -> bool:
    """A kernel of this module is on disk."""
    return any(jit.folder_of(Path(str(getattr(module, "__file__", "")))).rglob("*.nbc"))


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


def main(job: str, path: str = "") -> None:
    """What a child does: "loop", or "bowl" with the path of a venue file."""
    venue = load.venue(path) if job == "bowl" else load.text(_LAWN)
    seen = sight.bowl(venue)
    sun = patches.morning_sun(seen, venue.site.latitude, venue.site.longitude, _NOON.astype("datetime64[D]").item())
    joined = patches.patches(venue.field.zones, seen, sun)
    forcing = force.forcing(venue, _weather(), seen, joined)
    if job == "bowl":
        for _ in forcing:
            pass
        return
    first = start.states(venue, joined, 1, _NOON)
    whole = Event(
        "two hours", _NOON.astype("datetime64[us]").item(), (_NOON + 2 * _HOUR).astype("datetime64[us]").item()
    )
    run.outcome(venue, forcing, first, plans.nothing(venue, _NOON, _NOON + 2 * _HOUR), [whole], states="canopy")


if __name__ == "__main__":
    main(*sys.argv[1:])
