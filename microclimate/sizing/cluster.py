"""Tasks on a dask cluster that is there already: found by address, by file or by the environment."""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from importlib import import_module, metadata
from importlib.util import find_spec
from pathlib import Path
from typing import Any, TypeVar

from microclimate import __version__
from microclimate.errors import InputError, Problem, refuse

VARIABLE = "DASK_SCHEDULER_ADDRESS"  # as dask itself reads it
PATIENCE = 2.0  # [s] for a scheduler that does not answer
_SAME = ("numpy", "numba", "xarray", "dask", "distributed", "pvlib")  # versions that must agree everywhere

Task = TypeVar("Task")
Result = TypeVar("Result")


@contextmanager
def client(address: str = "", file: Path | None = None) -> Iterator[Any]:
    """A client of the cluster, its workers' versions checked.

    Raises
    ------
    InputError
        No `distributed` installed, no answer within two seconds, no workers, or other versions there than here.
    """
    if find_spec("distributed") is None:
        raise refuse(
            "--scheduler", "dask is not installed", "dask and distributed", "pip install 'microclimate[cluster]'"
        )
    where = address or (str(file) if file is not None else os.environ.get(VARIABLE, ""))
    if file is not None and not file.exists():
        raise refuse(f"--scheduler-file {file}", "there is no such file", "the file a dask scheduler wrote")
    distributed = import_module("distributed")
    given = {"scheduler_file": str(file)} if file is not None and not address else {"address": where}
    try:
        found = distributed.Client(**given, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        told = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise refuse(
            f"scheduler {where}",
            f"does not answer within {PATIENCE:.0f} s ({told})",
            "the address of a running dask scheduler, such as tcp://10.0.0.5:8786",
            "start one with `dask scheduler`, or leave --scheduler out to use this machine",
        ) from None
    try:
        _agree(found, where)
        yield found
    finally:
        found.close()


def versions() -> dict[str, str]:
    """What decides whether two machines give the same numbers."""
    return {"microclimate": __version__} | {name: metadata.version(name) for name in _SAME}


def _agree(found: Any, where: str) -> None:
    """Every worker has the versions of this machine."""
    here = versions()
    try:
        there = found.run(versions, on_error="return")
    except Exception as error:  # a worker without the package fails while it unpickles
        raise refuse(
            f"scheduler {where}", f"its workers cannot run microclimate ({error})", "the same package"
        ) from None
    if not there:
        raise refuse(f"scheduler {where}", "has no workers", "at least one", "start some with `dask worker`")
    problems = []
    for worker, told in there.items():
        if not isinstance(told, dict):
            problems.append(Problem(f"worker {worker}", f"cannot run microclimate ({told})", "the same package there"))
            continue
        problems += [
            Problem(f"worker {worker}", f"has {name} {told[name]}", f"{name} {version} as here")
            for name, version in here.items()
            if told[name] != version
        ]
    if problems:
        raise InputError("dask workers", problems)


def results(found: Any, function: Callable[[Task], Result], todo: Sequence[Task]) -> Iterator[tuple[Task, Result]]:
    """Tasks and what they gave, as they are done; dask itself sends a task of a dead worker to another."""
    distributed = import_module("distributed")
    futures = {found.submit(function, task, pure=False): task for task in todo}
    try:
        for future in distributed.as_completed(futures, loop=found.loop):
            yield futures[future], future.result()
            future.release()
    finally:
        found.cancel(list(futures))
