"""Places on the field: where a point reading cannot stand for its zone, and the fewest points that bound it."""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

Array = NDArray[np.float64]

REACH = 2.5  # [m] round a point within which a reading should not change: a walk's own error; ours
EDGE = 1.0  # [h] of sun a day by which it does, then: ours
APART = 6.0  # [m] points nearer than this are one: ours


@dataclass(frozen=True)
class Probe:
    """One point worth a probe: why (coldest, mildest, darkest, brightest, lit side, shaded side), and where."""

    why: str
    x: float  # [m] from the centre towards the head end
    y: float  # [m] to the left of it
    zone: str


def contrast(cells: xr.Dataset, name: str, reach: float = REACH) -> Array:
    """Highest less lowest value within `reach` of each cell (cell,)."""
    values = cells[name].values
    near = _near(cells, reach)
    return np.array([np.ptp(values[row]) for row in near])


def edge_share(cells: xr.Dataset, count: int) -> Array:
    """Share of each zone's area where hours of sun change by `EDGE` within `REACH` (zone,)."""
    sharp = contrast(cells, "sunlit_hours") > EDGE
    zone, area = cells["zone"].values.astype(int), cells["area"].values
    return np.array([area[sharp & (zone == k)].sum() / max(area[zone == k].sum(), 1e-9) for k in range(count)])


def probes(cells: xr.Dataset, names: list[str]) -> tuple[Probe, ...]:
    """The fewest points that bound the coldest, sunniest and steepest places.

    Parameters
    ----------
    cells : Dataset
        `light_integral`, `sunlit_hours`, `x`, `y`, `zone`, and `coldest` [K] (the coldest night) where it is known.
    names : list of str
        Zones in the venue's order.

    Returns
    -------
    tuple of Probe
        An extreme is taken where its surroundings are alike, so that a reading stands for more than its point; the two
        sides of the sharpest shadow edge come as a pair, where there is one.
    """
    steep = contrast(cells, "sunlit_hours")
    wanted = [("darkest", "light_integral", 1.0), ("brightest", "light_integral", -1.0)]
    if "coldest" in cells:
        wanted = [("coldest", "coldest", 1.0), ("mildest", "coldest", -1.0), *wanted]
    found: list[Probe] = []
    for why, name, sign in wanted:
        values = sign * cells[name].values
        best = np.flatnonzero(values <= values.min() + 0.05 * max(float(np.ptp(values)), 1e-12))
        middle = np.array([cells["x"].values[best].mean(), cells["y"].values[best].mean()])
        away = np.hypot(cells["x"].values[best] - middle[0], cells["y"].values[best] - middle[1])
        _add(found, why, int(best[np.lexsort((away, np.round(steep[best], 1)))[0]]), cells, names)
    sharpest = int(np.argmax(steep))
    if steep[sharpest] > EDGE:
        near = np.flatnonzero(_near(cells, REACH)[sharpest])
        hours = cells["sunlit_hours"].values[near]
        for why, cell in (("lit side", near[int(np.argmax(hours))]), ("shaded side", near[int(np.argmin(hours))])):
            found.append(_probe(why, int(cell), cells, names))
    return tuple(found)


def _near(cells: xr.Dataset, reach: float) -> NDArray[np.bool_]:
    """Which cells lie within `reach` of which (cell, cell)."""
    x, y = cells["x"].values, cells["y"].values
    return np.asarray((x[:, None] - x) ** 2 + (y[:, None] - y) ** 2 <= reach**2 + 1e-9)


def _add(found: list[Probe], why: str, cell: int, cells: xr.Dataset, names: list[str]) -> None:
    new = _probe(why, cell, cells, names)
    for k, old in enumerate(found):
        if np.hypot(new.x - old.x, new.y - old.y) < APART:
            found[k] = Probe(f"{old.why} and {why}", old.x, old.y, old.zone)
            return
    found.append(new)


def _probe(why: str, cell: int, cells: xr.Dataset, names: list[str]) -> Probe:
    zone = names[int(cells["zone"].values[cell])]
    return Probe(why, float(cells["x"].values[cell]), float(cells["y"].values[cell]), zone)
