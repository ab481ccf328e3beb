"""Wall time and memory of the demo's `tonight`, as whole processes: the first ever run, the next ones, and `--help`.

    python tests/benchmarks/tonight.py

31 members x 24 zones x 48 h at 5 min, with the briefing and the state files written. The first run starts with empty
caches (kernels and bowl); the others are the best of 5. Ends with one JSON line; exit status 1 when a bar is missed.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.bars import Bars

DEMO = Path(__file__).parents[2] / "data_demo"
ARGUMENTS = [
    "tonight",
    str(DEMO / "venue.toml"),
    *("--weather", str(DEMO / "ensemble.nc")),
    *("--past", str(DEMO / "past.csv")),
    *("--night", "2026-01-27"),
    *("--event", "2026-01-29T09:00/11:30"),  # near the forecast's end, so that all 48 h and more are run
]


def run(arguments: list[str], caches: Path) -> tuple[float, float]:
    """Wall time [s] and peak memory [MB] of one process."""
    environment = {**os.environ, "XDG_CACHE_HOME": str(caches), "MPLBACKEND": "Agg"}
    environment.pop("NUMBA_CACHE_DIR", None)
    began = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-m", "microclimate", *arguments], env=environment, stdout=subprocess.DEVNULL
    )
    _, status, usage = os.wait4(child.pid, 0)
    wall = time.perf_counter() - began
    if status != 0:
        raise SystemExit(f"{arguments[0]} ended with status {status}")
    scale = 1.0 if sys.platform == "darwin" else 1024.0
    return wall, usage.ru_maxrss * scale / 1e6


def main() -> int:
    folder = Path(tempfile.mkdtemp())
    try:
        caches, out = folder / "cache", folder / "out"
        caches.mkdir()
        first, first_memory = run([*ARGUMENTS, "--out", str(out)], caches)
        # a folder each: a state saved there would spare the fortnight before
        again = [run([*ARGUMENTS, "--out", str(folder / f"out{number}")], caches) for number in range(5)]
        helped = [run(["--help"], caches) for _ in range(5)]
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    rows = Bars("tonight")
    rows.row("tonight, caches warm, best of 5", min(wall for wall, _ in again), "s", "<= 6")
    rows.row("tonight, first ever run", first, "s", "<= 45")
    rows.row("peak memory", max(first_memory, *(memory for _, memory in again)), "MB", "<= 700")
    rows.row("--help, best of 5", min(wall for wall, _ in helped), "s", "<= 0.4")
    print(f"load average {os.getloadavg()}")
    return rows.end()


if __name__ == "__main__":
    sys.exit(main())
