"""Tasks on processes and on a dask cluster: same bits, nothing lost with a worker, clear words when none is there."""

import json
import multiprocessing
import os
import platform
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.exposure.bowl import bowl
from microclimate.sizing import cluster, tasks, winter_run
from microclimate.sizing import options as opt

sys.path.insert(0, str(Path(__file__).parent))
import lawn

HERE = tasks.Where(processes=1)


def _quiet(done: int, count: int, left: float) -> None:
    pass


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> list[winter_run.Job]:
    bowl(lawn.venue())  # traced once, for all processes
    return lawn.jobs(lawn.climate(tmp_path_factory.mktemp("r") / "r.csv", years=4))


@pytest.fixture(scope="module")
def alone(jobs: list[winter_run.Job], tmp_path_factory: pytest.TempPathFactory) -> list[xr.Dataset]:
    return tasks.run(jobs, tmp_path_factory.mktemp("alone"), HERE, _quiet)


def _same(found: list[xr.Dataset], wanted: list[xr.Dataset]) -> None:
    for one, other in zip(found, wanted, strict=True):
        xr.testing.assert_identical(one, other)


def test_files_are_whole_and_a_task_that_is_there_is_not_run_again(
    jobs: list[winter_run.Job], alone: list[xr.Dataset], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _same(tasks.run(jobs[:2], tmp_path, HERE, _quiet), alone[:2])
    assert len(list(tmp_path.iterdir())) == 2
    ran = []
    real = winter_run.run
    monkeypatch.setattr(winter_run, "run", lambda job: ran.append(job.name) or real(job))
    _same(tasks.run(jobs[:3], tmp_path, HERE, _quiet), alone[:3])
    assert ran == [jobs[2].name]


def test_another_grid_or_winter_has_another_file(jobs: list[winter_run.Job], tmp_path: Path) -> None:
    names = {tasks.path(tmp_path, job).name for job in jobs}
    assert len(names) == len(jobs)
    other = opt.grid(opt.Asked(power="61", policy=(opt.FROST,), covers=False), lawn.venue())
    changed = winter_run.Job(jobs[0].venue, jobs[0].climate, other, jobs[0].events, jobs[0].shifts)
    assert tasks.path(tmp_path, changed).name not in names


def test_a_task_is_named_by_what_decides_it_and_by_nothing_else(
    jobs: list[winter_run.Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Prices, plant and a name move no winter; wetter ground, wind told at another height and other sources do."""
    job, known = jobs[0], tasks.path(tmp_path, jobs[0])

    def of(**changed: object) -> Path:
        return tasks.path(tmp_path, replace(job, **changed))  # type: ignore[arg-type]

    dearer = lawn.TEXT.replace("energy = 0.10", "energy = 0.20").replace("efficiency = 0.9", "efficiency = 0.8")
    assert of(venue=lawn.venue(dearer.replace("An open lawn", "Another"))) == known
    assert of(venue=lawn.venue(lawn.TEXT.replace('"-3 degC"', '"-2 degC"'))) != known
    wet = lawn.TEXT.replace('build = "sand over gravel"', 'build = "sand over gravel"\nwater_content = 0.25')
    assert of(venue=lawn.venue(wet)) != known
    higher = job.climate.weather.assign_attrs(wind_height=2.0)
    assert of(climate=replace(job.climate, weather=higher)) != known
    gustier = job.climate.weather.assign(wind_speed=1.1 * job.climate.weather["wind_speed"])
    assert of(climate=replace(job.climate, weather=gustier)) != known
    monkeypatch.setattr(tasks, "_sources", lambda: "edited")
    assert of() != known


def test_a_write_that_fails_leaves_nothing(alone: list[xr.Dataset], tmp_path: Path) -> None:
    broken = alone[0].assign(bad=("x", [object()]))
    with pytest.raises(Exception):  # noqa: B017 the library's own
        tasks.keep(broken, tmp_path / "a.nc")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_a_killed_process_loses_nothing(jobs: list[winter_run.Job], alone: list[xr.Dataset], tmp_path: Path) -> None:
    """kill -9 of one of our own workers after the first task: the rest is done by a new pool, same bits."""
    killed: list[int] = []

    def strike(done: int, count: int, left: float) -> None:
        if done == 1 and not killed:
            child = multiprocessing.active_children()[0]
            assert child.pid is not None
            killed.append(child.pid)
            os.kill(child.pid, signal.SIGKILL)

    found = tasks.run(jobs, tmp_path, tasks.Where(processes=2), strike)
    assert killed
    _same(found, alone)


@pytest.mark.slow
def test_ctrl_c_leaves_finished_tasks_and_a_second_run_ends_the_same(
    jobs: list[winter_run.Job], alone: list[xr.Dataset], tmp_path: Path
) -> None:
    def stop(done: int, count: int, left: float) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        tasks.run(jobs, tmp_path, HERE, stop)
    assert len(list(tmp_path.glob("*.nc"))) == 2
    assert not list(tmp_path.glob("*.part"))
    _same(tasks.run(jobs, tmp_path, HERE, _quiet), alone)


@pytest.mark.slow
def test_a_dask_cluster_gives_the_same_bits_though_a_worker_is_killed(
    jobs: list[winter_run.Job], alone: list[xr.Dataset], tmp_path: Path
) -> None:
    distributed = pytest.importorskip("distributed")
    options = {"n_workers": 2, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
    with distributed.LocalCluster(**options) as local:
        pids: list[int] = []

        def strike(done: int, count: int, left: float) -> None:
            if done == 1 and not pids:
                pids.append(next(iter(local.workers.values())).pid)
                os.kill(pids[0], signal.SIGKILL)

        where = tasks.Where(scheduler=local.scheduler_address)
        found = tasks.run(jobs, tmp_path, where, strike)
        assert pids
    _same(found, alone)


@pytest.mark.slow
def test_a_scheduler_is_found_by_its_file_and_by_the_environment(
    jobs: list[winter_run.Job],
    alone: list[xr.Dataset],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=1, processes=False, dashboard_address=None) as local:
        file = tmp_path / "scheduler.json"
        file.write_text(json.dumps(local.scheduler.identity()), encoding="utf-8")
        (tmp_path / "a").mkdir()
        _same(tasks.run(jobs[:1], tmp_path / "a", tasks.Where(scheduler_file=file), _quiet), alone[:1])
        monkeypatch.setenv(cluster.VARIABLE, local.scheduler_address)
        (tmp_path / "b").mkdir()
        _same(tasks.run(jobs[:1], tmp_path / "b", tasks.Where(), _quiet), alone[:1])


@pytest.mark.slow
@pytest.mark.skipif(platform.machine() not in ("x86_64", "AMD64"), reason="an older processor of that family")
def test_an_older_processor_comes_to_the_same_numbers(alone: list[xr.Dataset], tmp_path: Path) -> None:
    """Compiled for AVX2 and with numpy's own AVX-512 paths shut: within 1e-9, as asked."""
    older = {
        "NUMBA_CPU_NAME": "haswell",
        "NUMBA_CPU_FEATURES": "+avx2,+fma,+avx,+sse4.2,+bmi,+bmi2,+f16c,+popcnt,+lzcnt",
        "NUMBA_CACHE_DIR": str(tmp_path / "kernels"),
        "NPY_DISABLE_CPU_FEATURES": "X86_V4 AVX512F AVX512CD AVX512_SKX AVX512_CLX AVX512_CNL AVX512_ICL AVX512_SPR",
    }
    here = str(Path(__file__).parent)
    code = f"import sys; sys.path.insert(0, {here!r}); import lawn; lawn.first_winter({str(tmp_path)!r})"
    subprocess.run([sys.executable, "-W", "ignore", "-c", code], env=os.environ | older, check=True, timeout=600)
    (file,) = tmp_path.glob("*.nc")
    for name, values in tasks.kept(file).items():
        np.testing.assert_allclose(values, alone[0][name], rtol=1e-9, atol=1e-9)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_ctrl_c_ends_the_command_with_130_and_a_second_call_goes_on(tmp_path: Path) -> None:
    """From a terminal: the winter that was done is kept as it was, and the table is that of an untouched run."""
    (tmp_path / "lawn.toml").write_text(lawn.TEXT, encoding="utf-8")
    record = lawn.record(tmp_path / "record.csv", years=6)
    command = [sys.executable, "-m", "microclimate", "sizing", str(tmp_path / "lawn.toml"), "--climate", str(record)]
    command += ["--season", "12-01/12-20", "--power", "80", "--policy", "frost hold", "--no-covers", "--out"]
    begun = subprocess.Popen([*command, str(tmp_path / "a")], stderr=subprocess.PIPE, text=True)
    done: list[Path] = []
    while begun.poll() is None and not done:
        time.sleep(0.05)
        done = list((tmp_path / "a" / "winters").glob("*.nc"))
    begun.send_signal(signal.SIGINT)
    _, words = begun.communicate(timeout=120)
    assert begun.returncode == 130, words
    assert "Traceback" not in words
    assert not (tmp_path / "a" / "sizing.csv").exists()
    kept = {path: path.stat().st_mtime_ns for path in (tmp_path / "a" / "winters").glob("*.nc")}
    assert 1 <= len(kept) < 6
    for folder in ("a", "b"):
        subprocess.run([*command, str(tmp_path / folder)], check=True, capture_output=True, timeout=300)
    assert all(path.stat().st_mtime_ns == when for path, when in kept.items())
    assert (tmp_path / "a" / "sizing.csv").read_bytes() == (tmp_path / "b" / "sizing.csv").read_bytes()


def test_a_scheduler_that_is_not_there_is_told_within_seconds() -> None:
    pytest.importorskip("distributed")
    with cluster_import():
        began = time.monotonic()
        with pytest.raises(InputError, match="does not answer"), cluster.client("tcp://127.0.0.1:9"):
            pass
        assert time.monotonic() - began < 2.0 * cluster.PATIENCE


def cluster_import():  # type: ignore[no-untyped-def]
    """The library is loaded before the clock starts."""
    import contextlib

    import distributed  # noqa: F401

    return contextlib.nullcontext()


@pytest.mark.parametrize("address", ["nonsense", "tcp://no.such.host.invalid:8786"])
def test_a_wrong_address_is_refused_in_words(address: str) -> None:
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="scheduler"), cluster.client(address):
        pass


def test_a_scheduler_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="no such file"), cluster.client(file=tmp_path / "none.json"):
        pass


class _Told:
    """A client whose workers tell what a test wants."""

    def __init__(self, told: dict[str, object]) -> None:
        self.told = told

    def run(self, function: object, on_error: str) -> dict[str, object]:
        return self.told


def test_workers_with_other_versions_are_named() -> None:
    pytest.importorskip("distributed")
    here = cluster.versions()
    cluster._agree(_Told({"a": here}), "x")
    with pytest.raises(InputError, match=r"numpy 0\.1.*as here"):
        cluster._agree(_Told({"a": here, "b": here | {"numpy": "0.1"}}), "x")
    with pytest.raises(InputError, match="no workers"):
        cluster._agree(_Told({}), "x")
    with pytest.raises(InputError, match="cannot run"):
        cluster._agree(_Told({"a": ModuleNotFoundError("microclimate")}), "x")


def test_the_environment_names_a_scheduler(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(cluster.VARIABLE, raising=False)
    assert not tasks.Where().cluster
    monkeypatch.setenv(cluster.VARIABLE, "tcp://127.0.0.1:9")
    assert tasks.Where().cluster
