"""Readings of the field log as Observations, for replay and calibration."""

from pathlib import Path

import numpy as np
import xarray as xr

from microclimate.errors import InputError, Problem
from microclimate.fieldlog.kinds import KINDS, MODELLED
from microclimate.fieldlog.store import Store
from microclimate.schema import OBSERVATIONS, seal

FEWEST = 3  # readings of a sensor that are worth a row of scores (ours)
HEADER = b"SQLite format 3\x00"


def is_log(path: Path) -> bool:
    """Whether a file is a database rather than a table of text."""
    try:
        with path.open("rb") as file:
            return file.read(len(HEADER)) == HEADER
    except OSError:
        return False


def observations(
    path: Path, start: np.datetime64 | None = None, end: np.datetime64 | None = None, *, flagged: bool = False
) -> xr.Dataset:
    """What the log holds of quantities that the model has too, without what is flagged.

    Parameters
    ----------
    path : Path
    start, end : datetime64, optional
        UTC.
    flagged : bool
        Readings that a check has flagged too.

    Returns
    -------
    Dataset
        `schema.OBSERVATIONS` as `traces.traces` gives it; `interval` [s] stands beside each sensor, 0 for readings by
        hand, which are values of a moment; `number` is the sensor's in the log.

    Raises
    ------
    InputError
        The log holds nothing of the kind.
    """
    with Store(path) as store:
        rows = []
        for sensor in store.sensors():
            if sensor.quantity not in MODELLED:
                continue
            times, values = store.values(sensor.number, start, end, flagged=flagged)
            if times.size >= FEWEST:
                rows.append((sensor, times, values))
    if not rows:
        wanted = ", ".join(name for name in MODELLED if "temperature" in name)
        raise InputError(path.name, [Problem(path.name, "no reading to compare with", f"one of {wanted}")])
    grid = np.unique(np.concatenate([times for _, times, _ in rows]))
    value = np.full((len(rows), grid.size), np.nan)
    for k, (_, times, values) in enumerate(rows):
        value[k, np.searchsorted(grid, times)] = values
    sensors = [sensor for sensor, _, _ in rows]
    steps = [_interval(times) for _, times, _ in rows]
    dataset = xr.Dataset(
        {"value": (("sensor", "time"), value), "flag": (("sensor", "time"), np.zeros(value.shape, dtype=np.int32))},
        coords={
            "time": grid.astype("datetime64[ns]"),
            "sensor": [_label(s.quantity, s.depth, s.zone, s.name) for s in sensors],
            "kind": ("sensor", [s.quantity for s in sensors]),
            "depth": ("sensor", [s.depth if KINDS[s.quantity].buried else np.nan for s in sensors], {"units": "m"}),
            "zone": ("sensor", [s.zone for s in sensors]),
            "units": ("sensor", [KINDS[s.quantity].unit for s in sensors]),
            "interval": ("sensor", steps),
            "number": ("sensor", [s.number for s in sensors]),
        },
        attrs={"interval": max(steps), "stamp": "end", "dropped": "", "ignored": ""},
    )
    return seal(dataset, OBSERVATIONS, path.name)


def _interval(times: np.ndarray) -> float:
    """Usual step of a series [s]; 0 where it is no series."""
    if times.size < 10:
        return 0.0
    step = float(np.median(np.diff(times)) / np.timedelta64(1, "s"))
    return step if step <= 86400.0 else 0.0


def _label(quantity: str, depth: float, zone: str, name: str) -> str:
    """A heading of the sensor in the form that `traces` reads."""
    parts = [quantity, f"{depth:.3g} m" if KINDS[quantity].buried else "", zone]
    label = " @ ".join(filter(None, parts))
    return label if "@" in name or not name else f"{label} ({name})"
