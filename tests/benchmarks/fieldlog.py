"""Bars of the field log in one run: `python tests/benchmarks/fieldlog.py [PART ...]`. Ends with one line of JSON.

Parts: store, wind, recovery, bondville. `TRIALS=40` in the environment makes fewer than the 200 trials, `SEED=9000`
others. The truths are
made (known factors, sensors with the noise of the trade notes); Bondville 1998 is measured (tests/reference/README.md).
"""

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1] / "learn"))
import made_station as made
import test_wind_fit as winds

from microclimate.fieldlog.store import Store
from microclimate.learn import decide, fit, residual, wind_fit
from microclimate.learn.from_nights import with_factors
from microclimate.learn.nightdata import Gather, shuffled
from microclimate.learn.trusted import trusted
from microclimate.risk.missed import correction
from microclimate.workflow import fieldlog
from tests.benchmarks.bars import Bars
from tests.skill import conftest

TABLE = Bars("fieldlog")
TRIALS = int(os.environ.get("TRIALS", "200"))
SEED = int(os.environ.get("SEED", "0"))  # of the first trial of recovery
NAMES = fit.FACTORS
PRIOR = np.array([p.spread for p in fit.parameters(NAMES)])
LINES, COLUMNS = 86_400, 10  # one day of seconds, ten probes: 864,000 readings


def store() -> None:
    """Import, kill, two processes, ten years."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "big.csv"
        stamps = pd.date_range("2026-01-05", periods=LINES, freq="s").strftime("%Y-%m-%d %H:%M:%SZ")
        table = pd.DataFrame({"time": stamps})
        for k in range(COLUMNS):
            table[f"soil_temperature @ {25 * (k + 1)} mm [degC]"] = np.round(4 + np.sin(np.arange(LINES) / 9e3 + k), 2)
        table.to_csv(path, index=False)
        walls = []
        for turn in range(3):
            began = time.perf_counter()
            fieldlog.add(path, log=folder / f"log{turn}.db", timezone="UTC")
            walls.append(time.perf_counter() - began)
        with Store(folder / "log0.db") as log:
            assert log.count("reading") == LINES * COLUMNS
        TABLE.row("864,000 readings from a CSV into the log, best of 3", min(walls), "s", "<= 5")
        _kills(folder)
        _two(folder)
        _ten_years(folder)


_WRITER = """
import sys
from pathlib import Path
import numpy as np
from microclimate.fieldlog.store import Store
with Store(Path(sys.argv[1])) as store:
    source = store.source("a", b"a", np.datetime64(0, "s"))
    print("on", flush=True)
    for i in range(int(sys.argv[2]), 10**6):
        times = (i * 100 + np.arange(100)).astype("datetime64[s]")
        store.add_series("P", "soil_temperature", times, np.full(100, 270.0), source)
        print(i, flush=True)
"""


def _kills(folder: Path) -> None:
    """kill -9 in 50 tries: every acknowledged batch is whole, and at most one more."""
    path, done, lost = folder / "kill.db", 0, 0
    rng = np.random.default_rng(0)
    for _ in range(50):
        child = subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(path), str(done)], stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        child.stdout.readline()
        for _ in range(3):
            done = int(child.stdout.readline()) + 1
        time.sleep(float(rng.uniform(0.0, 0.05)))
        os.kill(child.pid, signal.SIGKILL)
        rest = child.stdout.read().split()
        done = max(done, int(rest[-1]) + 1) if rest else done
        child.wait()
        with Store(path) as log:
            rows = log.count("reading")
        lost += rows not in (100 * done, 100 * done + 100)
        done = rows // 100
    TABLE.row("kill -9 in 50 tries: tries that lost an acknowledged row", lost, "1", "<= 0")


_IMPORT = """
import sys, numpy as np
from pathlib import Path
from microclimate.fieldlog.store import Store
with Store(Path(sys.argv[1])) as store:
    source = store.source("big", b"big", np.datetime64(0, "s"))
    print("on", flush=True)
    times = np.arange(2_000_000).astype("datetime64[s]")
    store.add_series("P", "soil_temperature", times, np.full(2_000_000, 275.0), source)
"""


def _two(folder: Path) -> None:
    """A long import, and a page beside it that reads and writes all the while."""
    path = folder / "two.db"
    Store(path).close()
    child = subprocess.Popen([sys.executable, "-c", _IMPORT, str(path)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    child.stdout.readline()
    waits, turn = [0.0], 0
    with Store(path) as log:
        while child.poll() is None:
            began = time.perf_counter()
            log.add_state(np.datetime64(turn, "s"), "West", 0, "seen")
            log.series("soil_temperature", start=np.datetime64(0, "s"), end=np.datetime64(3600, "s"))
            waits.append(time.perf_counter() - began)
            turn += 1
            time.sleep(0.01)
        assert log.count("observed_state") == turn
    TABLE.row("two processes: longest wait for the other", max(waits), "s", "<= 2")


def _ten_years(folder: Path) -> None:
    """Twelve probes every half hour for ten years: 2.1 million readings."""
    path = folder / "ten.db"
    times = np.datetime64("2016-01-01", "s") + np.arange(10 * 365 * 48) * np.timedelta64(1800, "s")
    with Store(path) as log:
        source = log.source("ten", b"ten", times[0])
        for k in range(12):
            log.add_series(f"P{k}", "soil_temperature", times, np.full(times.size, 275.0 + k), source, "West", 0.025)
    walls = []
    for _ in range(5):
        began = time.perf_counter()
        with Store(path) as log:
            assert len(log.sensors()) == 12
            log.series("soil_temperature", "P3", times[-1] - np.timedelta64(14, "D"))
        walls.append(time.perf_counter() - began)
    TABLE.row("a log of ten years opens, sensors and a fortnight read", min(walls), "s", "<= 1")


def wind() -> None:
    """Four visits, six points each, on invented venues."""
    errors, inside = [], []
    for seed in range(TRIALS):
        rng = np.random.default_rng(seed)
        truth = winds.venue(rng)
        found = wind_fit.fit(winds.readings(truth, 4, 6, rng), winds.ROSE, winds.ANGLES)
        errors.append(found.mean - truth[:, ::6])
        inside.append(np.abs(errors[-1]) <= fit.Z90 * found.spread)
    TABLE.row(
        f"wind factor, rms log error, {TRIALS} trials", float(np.sqrt(np.mean(np.square(errors)))), "1", "<= 0.23"
    )
    TABLE.row("wind factor, share of truths in the 90 % interval", float(np.mean(inside)), "1", "0.85..0.95")


def recovery() -> None:
    """Known factors drawn from the priors, 24 winter days, an infrared sensor and two probes."""
    with tempfile.TemporaryDirectory() as name:
        venue, station = made.station(Path(name), 24, 0)
    base = station.modelled(venue)
    errors, inside = [], []
    for trial in range(TRIALS):
        z = np.clip(np.random.default_rng(SEED + trial).normal(size=len(NAMES)), -2.0, 2.0)
        truth = dict(zip(NAMES, np.exp(z * PRIOR), strict=True))
        seen = made.read(station, station.modelled(with_factors(venue, truth)), SEED + trial)
        gather = Gather(seen, base)
        data = gather.observed()

        def model(factors: Mapping[str, float], gather: Gather = gather) -> np.ndarray:
            return gather.modelled(gather.station.modelled(with_factors(venue, factors)))

        run = fit.remembered(model, NAMES)
        found = fit.fit(data, run, np.isfinite(data.observed), NAMES)
        errors.append((found.mean - z) * PRIOR)
        half = fit.Z90 * np.sqrt(np.diag(found.covariance)) * PRIOR
        inside.append(np.abs(errors[-1]) <= half)
    off, held = np.abs(np.array(errors)), np.array(inside)
    for k, what in ((0, "canopy conductance"), (2, "water of the root zone"), (1, "exchange on calm nights")):
        bar = "<= 0.2" if k != 1 else "reported"
        TABLE.row(f"{what}: error that nine in ten trials keep", float(np.expm1(np.quantile(off[:, k], 0.9))), "1", bar)
        TABLE.row(f"{what}: share of truths in the 90 % interval", float(held[:, k].mean()), "1", "0.85..0.95")
    TABLE.row(f"all factors in their 90 % intervals, {TRIALS} trials", float(held.mean()), "1", "0.85..0.95")


def bondville() -> None:
    """Odd weeks fitted and even tested, and the reverse; before: nothing learned, the sensor as it reads."""
    venue, station = conftest.venue("bondville"), conftest.read("bondville")
    late = pd.Timestamp("1998-09-20T06:00")  # the probes lay bare before: tests/reference/README.md
    sensors = [
        replace(s, values=s.values.where(s.values.index > late)) if s.kind == "soil_temperature" else s
        for s in station.sensors
        if s.kind != "soil_temperature" or s.depth < 0.2
    ]
    station, _ = trusted(replace(station, sensors=sensors))  # as `calibrate` does with a CSV
    gather = Gather(station, station.modelled(venue))
    data = gather.observed()

    def model(factors: Mapping[str, float]) -> np.ndarray:
        return gather.modelled(station.modelled(with_factors(venue, factors)))

    run = fit.remembered(model, NAMES)
    none = run(np.zeros(len(NAMES)))
    decision = decide.decide(data, lambda factors: run(np.log([factors[n] for n in NAMES]) / PRIOR), NAMES)
    TABLE.row("Bondville: the fit is taken", float(decision.taken), "1", ">= 1", decision.why)
    TABLE.row("Bondville: held-out improvement, surface and ground", 100 * decision.gain, "%", ">= 10 (15)")
    zero = np.array([gather.offsets.get(label, (0.0, 0))[0] for label in data.labels])[data.sensor]
    kinds = gather.kinds(data.night)[["air", "wind", "cloud"]].to_numpy(dtype=float)
    half = decide.halves(data.night)
    left: dict[str, list[np.ndarray]] = {"raw": [], "zeroed": [], "fitted": [], "residual": []}
    for part, name in ((half, "even"), (~half, "odd")):
        learned = fit.fit(data, run, part & np.isfinite(data.observed), NAMES)
        told = run(learned.mean) + learned.offset[data.sensor]
        rest, train = data.surface & ~part, data.surface & part
        features = np.column_stack([told, kinds])
        ridge = residual.ridge((data.observed - told)[train], features[train])
        found = {
            "raw": (data.observed + zero - none)[rest],
            "zeroed": (data.observed - none)[rest],
            "fitted": (data.observed - told)[rest],
            "residual": (data.observed - told - correction(ridge, features))[rest],
        }
        for key, errors in found.items():
            left[key].append(errors)
        gain = 100 * (1 - _rms(found["fitted"]) / _rms(found["raw"]))
        TABLE.row(f"Bondville: untouched {name} weeks, surface minima, improvement", gain, "%", ">= 10 (15)")
        other = 100 * (1 - _rms(found["fitted"]) / _rms(found["zeroed"]))
        TABLE.row(f"Bondville: the same beyond the sensor's zero check, {name}", other, "%", "reported")
        TABLE.row(
            f"Bondville: untouched {name} weeks with the learned residual", _rms(found["residual"]), "K", "reported"
        )
    TABLE.row(
        "Bondville: untouched nights with the learned residual, rmse",
        _rms(np.concatenate(left["residual"])),
        "K",
        "<= 0.9",
    )
    wrong = [decide.decide(shuffled(data, seed), model, NAMES).taken for seed in range(5)]
    TABLE.row("readings shuffled between nights: fits taken of 5", float(sum(wrong)), "1", "<= 0")
    TABLE.row("held-out worse: fits taken", _worse(), "1", "<= 0")


def _worse() -> float:
    """A model whose factor helps one half and harms the other."""
    rng = np.random.default_rng(2)
    nights = np.datetime64("2026-01-01") + np.arange(40)
    weather, noise = 270.0 + 4.0 * rng.normal(size=40), np.abs(rng.normal(size=40))
    half = decide.halves(nights)
    effect = np.where(half, 1.0, -1.0) * noise
    data = decide.NightData(
        weather + 0.3 * rng.normal(size=40), np.zeros(40, np.int64), nights, np.ones(40, bool), ("P",), ("",), (0.0,)
    )

    def model(factors: Mapping[str, float]) -> np.ndarray:
        return weather - effect + 3.0 * np.log(factors[NAMES[0]]) * noise

    return float(decide.decide(data, model, NAMES[:1]).taken)


def _rms(errors: np.ndarray) -> float:
    return float(np.sqrt(np.nanmean(np.square(errors))))


def main() -> int:
    parts = {"store": store, "wind": wind, "bondville": bondville, "recovery": recovery}
    for name in sys.argv[1:] or parts:
        parts[name]()
    return TABLE.end()


if __name__ == "__main__":
    raise SystemExit(main())
