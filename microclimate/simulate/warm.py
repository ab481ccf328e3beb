"""Compile the time loop beside other work: on a machine's first run a child process does it while the bowl is traced.

The child runs one field of one zone for two steps, so the loop is compiled for just the types that real runs have, and
leaves it in the kernel cache; the parent then loads it. It also keeps the compiler's memory out of the parent.
"""

import subprocess
import sys
from pathlib import Path

import numpy as np
import xarray as xr

from microclimate.column import jit
from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import FORCING, PLAN_VARIABLES, Event
from microclimate.simulate import loop, run, start
from microclimate.venue import load

_FIELD = """
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
_QUIET = {
    "air_temperature": 275.0,
    "under_tray_air_temperature": 275.0,
    "specific_humidity": 0.004,
    "wind_speed": 1.0,
    "wind_speed_of_gust": 2.0,
    "surface_air_pressure": 1e5,
    "longwave_sky_down": 250.0,
}
_PLAN = {"warm_air_temperature": ZERO_CELSIUS, "set_point": ZERO_CELSIUS, "supply_temperature": ZERO_CELSIUS}


def begin() -> subprocess.Popen[bytes] | None:
    """Start the child where the loop is not in the kernel cache yet; None where it is."""
    if any(jit.folder_of(Path(loop.__file__)).rglob("*.nbc")):
        return None
    return subprocess.Popen([sys.executable, "-m", "microclimate.simulate.warm"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def wait(child: subprocess.Popen[bytes] | None) -> None:
    """Wait for the child of `begin`; should it have failed, the parent will compile for itself."""
    if child is not None:
        child.wait()


def main() -> None:
    """The smallest run there is."""
    venue = load.text(_FIELD)
    stamps = np.datetime64("2026-01-01T00:00", "ns") + np.timedelta64(300, "s") * np.arange(1, 3)
    patch = {"zone": ("patch", ["A1"]), "zone_index": ("patch", [0])}
    dims = ("realization", "patch", "time")
    forcing = xr.Dataset(
        {name: (dims, np.full((1, 1, 2), _QUIET.get(name, 0.0))) for name in FORCING},
        coords={"realization": [0], "time": stamps, **patch},
        attrs={"wind_height": 2.0, "temperature_height": 2.0},
    )
    plan = xr.Dataset(
        {name: (("plan", "zone", "time"), np.full((1, 1, 1), _PLAN.get(name, 0.0))) for name in PLAN_VARIABLES},
        coords={"plan": ["nothing"], "zone": ["A1"], "time": stamps[1:]},
    )
    patches = xr.Dataset(coords=patch)
    first = start.states(venue, patches, 1, stamps[0])
    whole = Event("both steps", stamps[0].astype("datetime64[us]").item(), stamps[1].astype("datetime64[us]").item())
    run.outcome(venue, [forcing], first, plan, [whole], states="canopy")


if __name__ == "__main__":
    main()
