"""How fast the column runs, against plain Python, NumPy and the machine; one JSON line at the end.

    python tests/benchmarks/column.py

Everything in one run, quiet or not: ratios are of best times. Rows: `naive_ratio` (column-steps/s, float64, one thread,
over a plain loop), `numpy_ratio` (over NumPy across columns at its best size), `f32_ratio`, `peak_fraction` (arithmetic
of one lane over the FMA peak of one thread), `tonight_s` (231 columns x 51 members x 12 plans x 72 h at 5 min, all
threads, float64 and float32, best of 5), `second_start_s` (import and first call in a second process), `peak_rss_mb`.
Exit status 1 when a bar is missed.
"""

import json
import os
import pickle
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any
from unittest import mock

import numba
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from microclimate.column import rows
from microclimate.column import step as steps
from microclimate.column.jit import THREADS, over_threads
from microclimate.column.lanes import ENTHALPY, LAYER_GIVEN, LAYER_VARIABLES, TEMPERATURE
from microclimate.column.vector import lanes_of
from microclimate.physics import elementwise
from microclimate.simulate import loop
from tests.benchmarks.bars import Bars
from tests.benchmarks.column_case import Case, blocks, case, kernel, naive_columns, vectorised_columns

MEMBERS = 51
MEMBERS_AT_ONCE = 3  # forcing of more is not held at a time, as in `run.outcome`


def rate_of_kernel(work: Case, kind: Any, repeats: int = 5) -> float:
    """Column-steps a second on one thread, best of `repeats`."""
    best = np.inf
    for _ in range(repeats):
        job = kernel(work, kind)
        began = time.perf_counter()
        loop.run(0, blocks(work, kind), job)
        best = min(best, time.perf_counter() - began)
    return float(work.columns.shape[0] * work.lengths.size / best)


def rate_of_naive(work: Case, seconds: float = 3.0) -> float:
    """The same of the plain loop, over columns of every plan, best of 3."""
    best = 0.0
    for _ in range(3):
        numbers = range(0, work.columns.shape[0], work.columns.shape[0] // 12)  # one of each plan
        columns, done = naive_columns(work, numbers), 0
        zones = work.columns[list(numbers)]
        began = time.perf_counter()
        for now in range(work.lengths.size):
            for column, (pair, zone) in zip(columns, zones, strict=True):
                column.step(work.forcing[now, :, pair], work.plans[now, :, zone], work.lengths[now], work.thresholds)
            done += len(columns)
            if time.perf_counter() - began > seconds:
                break
        best = max(best, done / (time.perf_counter() - began))
    return best


def rate_of_numpy(sizes: tuple[int, ...] = (32, 100, 250, 800), seconds: float = 3.0) -> float:
    """The same with NumPy at its best number of columns (12 plans each of so many pairs)."""
    best = 0.0
    for size in sizes:
        work = case(size, 1, 12, 24.0)
        pair, zone = work.columns[:, 0], work.columns[:, 1]
        for _ in range(2):
            columns, told = vectorised_columns(work)
            began, done = time.perf_counter(), 0
            for now in range(work.lengths.size):
                columns.step(
                    work.forcing[now][:, pair], work.plans[now][:, zone], work.lengths[now], work.thresholds, told
                )
                done += pair.size
                if time.perf_counter() - began > seconds:
                    break
            best = max(best, done / (time.perf_counter() - began))
    return best


@numba.njit(fastmath=True)  # type: ignore[untyped-decorator,unused-ignore]
def _multiply_add(held, factor, term, repeats):  # type: ignore[no-untyped-def]
    for _ in range(repeats):
        for i in range(held.size):
            x = held[i]
            x = x * factor + term
            x = x * factor + term
            x = x * factor + term
            x = x * factor + term
            x = x * factor + term
            x = x * factor + term
            x = x * factor + term
            x = x * factor + term
            held[i] = x


def fma_peak() -> float:
    """Most additions and multiplications a second that one thread does in fused pairs, float64."""
    held, repeats, best = np.ones(256), 20000, np.inf
    _multiply_add(held, 0.999, 0.001, 1)
    for _ in range(7):
        began = time.perf_counter()
        _multiply_add(held, 0.999, 0.001, repeats)
        best = min(best, time.perf_counter() - began)
    return held.size * repeats * 16 / best


class Counted:
    """A number that counts what is done with it: the kernel's own text, run in Python, tells its arithmetic."""

    done = 0
    __slots__ = ("value",)

    def __init__(self, value: float) -> None:
        self.value = float(value)

    @staticmethod
    def _of(other: Any) -> float:
        return float(other.value if isinstance(other, Counted) else other)

    def _made(self, value: float) -> "Counted":
        Counted.done += 1
        return Counted(value)

    def __add__(self, other: Any) -> "Counted":
        return self._made(self.value + self._of(other))

    def __sub__(self, other: Any) -> "Counted":
        return self._made(self.value - self._of(other))

    def __rsub__(self, other: Any) -> "Counted":
        return self._made(self._of(other) - self.value)

    def __mul__(self, other: Any) -> "Counted":
        return self._made(self.value * self._of(other))

    def __truediv__(self, other: Any) -> "Counted":
        return self._made(self.value / self._of(other))

    def __rtruediv__(self, other: Any) -> "Counted":
        return self._made(self._of(other) / self.value)

    __radd__, __rmul__ = __add__, __mul__

    def __neg__(self) -> "Counted":
        return Counted(-self.value)

    def __abs__(self) -> "Counted":
        return Counted(abs(self.value))

    def __pow__(self, power: int) -> "Counted":
        Counted.done += int(power) - 1
        return Counted(self.value**power)

    def sqrt(self) -> "Counted":
        return self._made(np.sqrt(self.value))

    def __gt__(self, other: Any) -> bool:  # a comparison chooses: a min or a max
        Counted.done += 1
        return self.value > self._of(other)

    def __lt__(self, other: Any) -> bool:
        Counted.done += 1
        return self.value < self._of(other)

    def __ge__(self, other: Any) -> bool:
        return self.value >= self._of(other)

    def __le__(self, other: Any) -> bool:
        return self.value <= self._of(other)

    def __eq__(self, other: object) -> bool:
        return self.value == self._of(other)

    def __ne__(self, other: object) -> bool:
        return self.value != self._of(other)

    __hash__ = None  # type: ignore[assignment]

    def __float__(self) -> float:
        return self.value

    def __int__(self) -> int:
        return int(self.value)

    def __index__(self) -> int:
        return int(self.value)


_ROOT = np.sqrt


def _root(number: Any) -> Any:
    """Square root of lanes, some of which a choice left as plain numbers."""
    if not isinstance(number, np.ndarray) or number.dtype != object:
        return number.sqrt() if isinstance(number, Counted) else _ROOT(number)
    return np.frompyfunc(lambda one: one.sqrt() if isinstance(one, Counted) else Counted(one).sqrt(), 1, 1)(number)


def arithmetic(work: Case, count: int = 3) -> float:
    """Additions, multiplications, divisions, square roots, minima and maxima of one column in one step."""
    layers, lanes = work.fixed.layers.shape[1], lanes_of(np.float64)
    surface, layer = np.zeros((rows.VARIABLES, lanes)), np.zeros((layers + 2, LAYER_VARIABLES, lanes))
    pair, zone = work.columns[:lanes].T
    surface[: rows.GIVEN] = work.fixed.given[pair].T
    surface[rows.COVER_LYING : rows.COVER_LYING + rows.KEPT] = work.fixed.state[pair].T
    layer[1:-1, :LAYER_GIVEN], layer[1:-1, ENTHALPY] = (
        work.fixed.layers[pair].transpose(1, 2, 0),
        work.fixed.heat[pair].T,
    )
    surface[rows.COVER_CAPACITY] = 1.0
    layer[1:-1, TEMPERATURE] = layer[1:-1, ENTHALPY] * layer[1:-1, 0]
    counted = np.frompyfunc(Counted, 1, 1)
    flat, deep, total = counted(surface), counted(layer.reshape(-1, lanes)), 0
    for now in range(count):
        flat[rows.AIR : rows.AIR + rows.FORCED] = counted(work.forcing[now][:, pair])
        flat[rows.COVERED : rows.COVERED + rows.PLANNED] = counted(work.plans[now][:, zone])
        flat[rows.BELOW_CONDUCTANCE] = counted(np.full(lanes, 0.2))
        Counted.done = 0
        lowest = steps.lowest_heated(deep, layers)
        with mock.patch.object(elementwise.np, "sqrt", _root):
            steps.advance(flat, deep, layers, lowest, work.fixed.tables, work.covers, float(work.lengths[0]), now == 0)
        total = Counted.done
    return total / lanes


def tonight(kind: Any, repeats: int = 5) -> float:
    """The night's whole search on all threads, best of `repeats` [s]; the kernel alone."""
    best = np.full(repeats, 0.0)
    for first in range(0, MEMBERS, MEMBERS_AT_ONCE):
        work = case(231, min(MEMBERS_AT_ONCE, MEMBERS - first), 12, 72.0)
        for repeat in range(repeats):
            job = kernel(work, kind)
            if first == 0 and repeat == 0:
                over_threads(loop.run, blocks(work, kind), job)
                job = kernel(work, kind)
            began = time.perf_counter()
            over_threads(loop.run, blocks(work, kind), job)
            best[repeat] += time.perf_counter() - began
    return float(best.min())


def child(task: str) -> dict[str, float]:
    """One task in a process of its own."""
    told = subprocess.run([sys.executable, __file__, task], check=True, capture_output=True, text=True).stdout
    found: dict[str, float] = json.loads(told.splitlines()[-1])
    return found


_START = """
import sys, time
began = time.perf_counter()
import pickle
from microclimate.column.jit import over_threads
from microclimate.simulate import loop
with open(sys.argv[1], "rb") as file:
    over_threads(loop.run, *pickle.load(file))
print(time.perf_counter() - began)
"""


def second_start() -> float:
    """Seconds to import the kernel and call it once, in a process that finds it compiled; best of 3."""
    work = case(8, 1, 2, 1.0)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "arguments"
        file.write_bytes(pickle.dumps((blocks(work), kernel(work))))
        told = [
            float(
                subprocess.run([sys.executable, "-c", _START, file], check=True, capture_output=True, text=True).stdout
            )
            for _ in range(4)
        ]
    return min(told[1:])


def main(task: str) -> int:
    """The benchmark, or one child's task."""
    if task in ("f64", "f32"):
        seconds = tonight(np.float64 if task == "f64" else np.float32)
        # of this process alone: ru_maxrss starts from the parent's size at the fork, here that of the NumPy rival
        status = Path("/proc/self/status")
        if status.exists():
            peak = next(float(line.split()[1]) for line in status.read_text().splitlines() if "VmHWM" in line) / 1024.0
        else:
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(json.dumps({"seconds": seconds, "peak_rss_mb": peak}))
        return 0
    work = case(64, 8, 12, 24.0)
    fast, slow, wide = rate_of_kernel(work, np.float64), rate_of_naive(work), rate_of_numpy()
    single, peak, each = rate_of_kernel(work, np.float32), fma_peak(), arithmetic(work)
    bars = Bars("column")
    bars.row("column_steps_per_s", fast, "1/s", "reported")
    bars.row("naive_ratio", fast / slow, "1", ">= 1,000 (2,000)")
    bars.row("numpy_ratio", fast / wide, "1", ">= 10 (15)")
    bars.row("f32_ratio", single / fast, "1", ">= 1.6")
    bars.row("operations of a column-step", each, "1", "reported")
    bars.row("peak_fraction", fast * each / peak, "1", "reported")
    for kind, bar in (("f64", "<= 8 (5)"), ("f32", "<= 4 (2.5)")):
        found = child(kind)
        bars.row(f"tonight_s, {kind}", found["seconds"], "s", bar)
        bars.row(f"peak_rss_mb, {kind}", found["peak_rss_mb"], "MB", "<= 500")
    bars.row("second_start_s", second_start(), "s", "<= 1.0")
    print(f"threads {THREADS}, load average {os.getloadavg()}")
    return bars.end()


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1] if len(sys.argv) > 1 else ""))
