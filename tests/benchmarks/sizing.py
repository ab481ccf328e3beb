"""How fast options are tried over many winters, in what memory, and how it grows.

    python tests/benchmarks/sizing.py

30 winters of 120 days at 10 min, 9 representative columns, 20 options: 93.3 million column steps. What is timed is from
the forcing and first states of all winters to what every window saw of every option, two winters side by side on two
threads (best of 5); what reaches the columns (sun, sky, stands, air in the bowl) is worked out once for all options and
told apart. Rows: time and peak memory, forcing, growth from 1 to 30 winters (processor time of one thread, so that a
busy machine moves it less), two processes of a local dask cluster against one (tasks of at least 1 s). The load of the
machine is told: on a busy one wall times are upper bounds. Exit status 1 when a bar is missed.
"""

import multiprocessing
import os
import resource
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from datetime import datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

sys.path.insert(0, str(Path(__file__).parents[2]))

from microclimate.schema import WEATHER, Event, seal
from microclimate.simulate import start
from microclimate.sizing import options as opt
from microclimate.sizing import tasks, winter_run, winters
from microclimate.venue import load
from microclimate.venue.load import Venue
from tests.benchmarks.bars import Bars

WINTERS, DAYS, COLUMNS, OPTIONS, REPEATS = 30, 120, 9, 20, 5
TOGETHER, TASKS = 2, 8  # winters held at a time, one a thread; tasks of the two processes
VENUE = Path(__file__).parents[2] / "data_demo" / "venue.toml"
HOUR = np.timedelta64(1, "h")


def venue() -> Venue:
    """The demo's bowl with its middle parted in two circuits: three groups, nine columns."""
    text = VENUE.read_text(encoding="utf-8")
    flank = [f"West flank {n}" for n in range(1, 5)] + ["North-west corner"]
    parted = f"""
[[ground]]
zones = {flank!r}
build = "sand over gravel"
water_content = 0.17
circuit = "west"
[[circuit]]
name = "west"
depth = "250 mm"
pitch = "200 mm"
power = 120
supply_temperature = "35 degC"
probe_depth = "100 mm"
ceiling = "16 degC"
""".replace("'", '"')
    return load.text(text + parted)


def season(count: int, days: int = DAYS) -> xr.Dataset:
    """Hourly weather of made-up winters: yearly, daily and week-long waves, wind, cloud, some rain and snow."""
    hours = np.arange(24 * days + 1)
    stamps = np.datetime64("2025-11-01T05:00", "ns") + hours * HOUR
    rng = np.random.default_rng(8)
    shape = (count, hours.size)

    def slow(spread: float, over: float) -> np.ndarray:
        knots = rng.standard_normal((count, int(hours.size / over) + 3))
        return spread * np.stack([np.interp(hours / over, np.arange(row.size), row) for row in knots])

    air = (
        275.0 - 4.0 * np.sin(np.pi * hours / hours.size) + 4.0 * np.cos(2 * np.pi * (hours - 9) / 24) + slow(4.0, 60.0)
    )
    cloud = np.clip(0.5 + slow(0.4, 18.0), 0.0, 1.0)
    day = np.clip(np.sin(2 * np.pi * (hours - 7) / 24), 0.0, None)
    light = 420.0 * day * (1.0 - 0.7 * cloud)
    wet = (slow(1.0, 10.0) > 1.1) * 2e-4
    wind = np.abs(3.0 + slow(2.0, 12.0))
    values = {
        "air_temperature": air,
        "dew_point_temperature": air - 3.0,
        "wind_speed": wind,
        "wind_speed_of_gust": 1.6 * wind,
        "wind_from_direction": (200.0 + slow(90.0, 30.0)) % 360.0,
        "surface_air_pressure": np.full(shape, 98000.0),
        "cloud_area_fraction": cloud,
        "precipitation_flux": wet,
        "snowfall_flux": wet * (air < 273.5),
        "surface_downwelling_shortwave_flux_in_air": light,
        "surface_direct_downwelling_shortwave_flux_in_air": 0.6 * light * (1.0 - cloud),
        "surface_diffuse_downwelling_shortwave_flux_in_air": light - 0.6 * light * (1.0 - cloud),
        "surface_downwelling_longwave_flux_in_air": 5.67e-8 * air**4 * (0.72 + 0.24 * cloud),
    }
    bounds = np.stack([stamps - HOUR, stamps], axis=1)
    made = xr.Dataset(
        {name: (("realization", "time"), np.broadcast_to(values[name], shape)) for name in WEATHER}
        | {"time_bnds": (("time", "bnds"), bounds)},
        coords={"realization": np.arange(count), "time": stamps},
        attrs={"wind_height": 10.0, "temperature_height": 2.0, "source": "made up", "assumed": ""},
    )
    return seal(made, WEATHER, "weather")


def jobs(count: int, grid: opt.Grid | None = None, days: int = DAYS) -> list[winter_run.Job]:
    """One for each winter, 20 options."""
    site = venue()
    told = tuple(winters.Winter(str(n), 1.0, 260.0, 275.0) for n in range(count))
    length = winters.Season((11, 15), days - winters.SETTLING)
    weather = season(count, days)
    first = datetime(2025, 11, 15)
    climate = winters.Climate(
        "made up", site.site.site, 0.0, False, length, first.date(), weather, told, (), 284.0, 0, None
    )
    night = first + timedelta(days=20, hours=24)
    events = (Event("match", night, night + timedelta(hours=2)),)
    chosen = grid or opt.Grid(
        tuple(opt.Design(power) for power in (60.0, 100.0, 140.0)),
        (opt.Policy(opt.FROST), opt.Policy(opt.LED, 86400.0), opt.Policy(opt.BASE, 86400.0)),
        (0, 2),
    )
    return [winter_run.Job(site, winters.of_winter(climate, n), chosen, events, (0,)) for n in range(count)]


def compute(prepared: list[Any], threads: int) -> float:
    """Seconds for all options through these winters; of the processor where one thread works."""
    clock = time.perf_counter if threads > 1 else time.process_time
    began = clock()
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(lambda one: winter_run.outcomes(*one), prepared))
    return clock() - began


def prepared(some: list[winter_run.Job]) -> list[Any]:
    """Forcing and first state of each winter."""
    found = []
    for job in some:
        site, block = winter_run.site_and_forcing(job)
        small = block.astype(np.float32, keep_attrs=True)
        first = start.states(site.venue, site.patches, 1, job.climate.weather["time"].values[0])
        found.append((job, site, small, first))
    return found


def two_workers() -> tuple[float | None, str]:
    """Speed-up of two dask processes over the ideal two, tasks of forcing and options of a winter each."""
    try:
        distributed = import_module("distributed")
    except ImportError:
        return None, "dask is not installed"
    took = []
    for workers in (1, 2):
        options = {"n_workers": workers, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
        with (
            distributed.LocalCluster(**options, silence_logs=50) as local,
            tempfile.TemporaryDirectory() as folder,
            distributed.Client(local) as client,
        ):
            for place in client.run(winter_run.run, jobs(1)[0]):  # bowl and kernel are loaded
                assert place
            where, work = tasks.Where(scheduler=local.scheduler_address), jobs(TASKS)
            began = time.perf_counter()
            tasks.run(work, Path(folder), where, lambda done, count, left: None)
            took.append(time.perf_counter() - began)
    each = took[0] / TASKS
    return took[0] / (2.0 * took[1]), f"tasks of {each:.1f} s; load {os.getloadavg()[0]:.1f}"


def main() -> int:
    bars = Bars("sizing")
    busy = f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors before the run"
    # compiled and traced in a child, as the command has it
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as child:
        child.submit(winter_run.run, jobs(1)[0]).result()
    work, first = jobs(WINTERS), None
    alone: list[float] = []
    wall, single, forcing, spent = np.zeros(REPEATS), 0.0, 0.0, 0.0
    for part in range(0, WINTERS, TOGETHER):
        began = time.process_time()
        ready = prepared(work[part : part + TOGETHER])
        forcing += (time.process_time() - began) / WINTERS
        began = time.process_time()
        wall += [compute(ready, 2) for _ in range(REPEATS)]
        spent += (time.process_time() - began) / REPEATS
        single += min(compute(ready, 1) for _ in range(2))
        alone.append(min(compute(ready[:1], 1) for _ in range(REPEATS)))
        first = first or ready[0]
    assert first is not None
    job, site, block, _ = first
    columns = site.patches.sizes["patch"]
    assert (len(job.grid.options), columns) == (OPTIONS, COLUMNS), "not the case of the bar"
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    bars.row("column steps", block.sizes["time"] * columns * OPTIONS * WINTERS / 1e6, "M", "reported")
    bars.row("30 winters x 20 options, two threads, best of 5", float(wall.min()), "s", "<= 8", busy)
    bars.row("the same in processor time, shared by two", spent / 2.0, "s", "reported")
    bars.row("peak memory of the process", memory, "MB", "<= 600")
    bars.row("forcing of a winter, processor time", forcing, "s", "reported")
    growth = single / (WINTERS * float(np.mean(alone)))
    bars.row("30 winters over 30 times one", growth, "1", "0.85..1.15", busy)
    bars.row("two dask processes: speed-up over ideal", *_row(two_workers()))
    return bars.end()


def _row(found: tuple[float | None, str]) -> tuple[float | None, str, str, str]:
    value, why = found
    return value, "1", ">= 0.7", why


if __name__ == "__main__":
    sys.exit(main())
