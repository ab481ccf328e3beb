"""Many winters at once: one task for each, its result in a file of its own, on local processes or a dask cluster.

A file is written under another name and renamed when whole, and a task whose file is there is not run again: what was
finished when a worker died, the power failed or someone pressed Ctrl-C is never lost, and a second run ends with the
same numbers.
"""

import hashlib
import multiprocessing
import os
import re
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numba
import xarray as xr

from microclimate.column import jit
from microclimate.errors import refuse
from microclimate.schema import FORMAT
from microclimate.sizing import cluster, winter_run
from microclimate.sizing.winter_run import Job
from microclimate.venue.equipment import Crew

RESTARTS = 3  # of the local pool after a worker died; ours
Progress = Callable[[int, int, float], None]  # tasks done, in all, seconds left


@dataclass(frozen=True)
class Where:
    """What runs the tasks: this machine, or a dask scheduler by address or file."""

    scheduler: str = ""
    scheduler_file: Path | None = None
    processes: int = 0  # of this machine; 0: one for each processor

    @property
    def cluster(self) -> bool:
        """A scheduler is named, here or in the environment."""
        return bool(self.scheduler or self.scheduler_file or os.environ.get(cluster.VARIABLE))


def check(where: Where) -> None:
    """Whether the cluster that is named answers, before anything else is done."""
    if where.cluster:
        with cluster.client(where.scheduler, where.scheduler_file):
            pass


def path(folder: Path, job: Job) -> Path:
    """The file of a task: readable name, and a hash of everything that decides its result, our own sources among it.

    What turns results into money (prices, plant, crew) and the venue's own events are not in it: a winter stays good
    when they change.
    """
    digest = hashlib.sha256()
    weather, equipment = job.climate.weather, job.venue.equipment.model_copy(update={"plant": None})
    bare = {"equipment": equipment, "prices": None, "crew": Crew.model_validate({}), "events": (), "name": ""}
    told = (
        job.venue.model_copy(update=bare).digest(),
        job.grid,
        job.events,
        job.shifts,
        job.climate.site,
        job.climate.season,
        job.climate.deep,
    )
    digest.update(repr((told, str(weather["time"].values[0]), dict(weather.attrs), _sources(), FORMAT)).encode())
    for name in sorted(str(name) for name in weather.data_vars):
        digest.update(weather[name].values.tobytes())
    plain = re.sub(r"[^A-Za-z0-9]+", "-", job.name).strip("-")
    return folder / f"{plain}_{digest.hexdigest()[:16]}.nc"


@cache
def _sources() -> str:
    """Of all that a winter is worked out with: files of ours, compiler, machine."""
    file = Path(winter_run.__file__).resolve()
    return jit.source_hash(file, file.parent.parent)


def run(jobs: Sequence[Job], folder: Path, where: Where, progress: Progress) -> list[xr.Dataset]:
    """Results of all tasks, in order; those whose file is in the folder are read.

    Raises
    ------
    InputError
        A scheduler that does not answer, or workers whose versions differ.
    """
    todo = [job for job in jobs if not path(folder, job).exists()]
    began = time.monotonic()
    progress(len(jobs) - len(todo), len(jobs), 0.0)
    with _stopping() as asked:
        for done, (job, result) in enumerate(_results(todo, where), start=1):
            keep(result, path(folder, job))
            each = (time.monotonic() - began) / done
            progress(len(jobs) - len(todo) + done, len(jobs), each * (len(todo) - done))
            if asked:
                raise KeyboardInterrupt
    return [kept(path(folder, job)) for job in jobs]


@contextmanager
def _stopping() -> Iterator[list[int]]:
    """A first Ctrl-C is noted, to stop after the winter at hand; a second stops at once.

    Raised wherever it happens to fall it may be lost in a finaliser, or leave a file's half-made object to complain.
    """
    asked: list[int] = []
    if threading.current_thread() is not threading.main_thread():
        yield asked
        return

    def note(number: int, frame: object) -> None:
        if asked:
            raise KeyboardInterrupt
        asked.append(number)

    before = signal.signal(signal.SIGINT, note)
    try:
        yield asked
    finally:
        signal.signal(signal.SIGINT, before)


def _results(todo: Sequence[Job], where: Where) -> Iterator[tuple[Job, xr.Dataset]]:
    """Tasks and what they gave, as they are done."""
    if where.cluster:
        with cluster.client(where.scheduler, where.scheduler_file) as client:
            yield from cluster.results(client, winter_run.run, todo)
        return
    processes = min(where.processes or os.cpu_count() or 1, len(todo))
    if processes < 2:
        for job in todo:
            yield job, winter_run.run(job)
        return
    yield from _local(todo, processes)


def _local(todo: Sequence[Job], processes: int) -> Iterator[tuple[Job, xr.Dataset]]:
    """The same on processes of this machine; a pool that lost a worker is set up again for what is left."""
    left = list(todo)
    for _ in range(RESTARTS + 1):
        pool = ProcessPoolExecutor(processes, multiprocessing.get_context("spawn"), initializer=_alone)
        try:
            futures = {pool.submit(winter_run.run, job): job for job in left}
            for future in as_completed(futures):
                result = future.result()
                left.remove(futures[future])
                yield futures[future], result
            return
        except BrokenProcessPool:
            continue
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    raise refuse("local processes", f"died {RESTARTS + 1} times", "memory for each of them", "try fewer options")


def _alone() -> None:
    """A worker has one thread, and leaves Ctrl-C to the process that started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    numba.set_num_threads(1)


def keep(result: xr.Dataset, file: Path) -> None:
    """Write a result, whole or not at all."""
    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        result.assign_attrs(format=FORMAT).to_netcdf(part, engine="h5netcdf")
        part.replace(file)
    finally:
        part.unlink(missing_ok=True)


def kept(file: Path) -> xr.Dataset:
    """A result as it was written."""
    try:
        return xr.load_dataset(file, engine="h5netcdf")
    except (OSError, ValueError) as error:
        raise refuse(
            str(file), f"cannot be read ({error})", "a whole result", "delete it: it is worked out again"
        ) from None
