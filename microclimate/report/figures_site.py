"""Figures of a place, whatever the weather: how much sky and sun each spot gets, and how the stands break the wind.

Each takes an Axes and Datasets and gives the Axes back.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.projections.polar import PolarAxes
from numpy.typing import NDArray

from microclimate.report.canvas import INK, SHARE, hours
from microclimate.report.figures import Corners, frame, grid, outline_zones
from microclimate.report.words import clock, day
from microclimate.units import Shown

_DASHES = ("-", (0, (6, 2)), (0, (6, 2, 1.5, 2)), (0, (3, 1.5)), (0, (8, 2, 1, 2, 1, 2)))


def sky_view_map(axes: Axes, cells: xr.Dataset, outlines: Mapping[str, Corners]) -> Axes:
    """Share of the sky that each spot of the field sees.

    Parameters
    ----------
    axes : Axes
        To draw on.
    cells : Dataset
        `sky_view_factor` [1], `x`, `y` [m] over cell; attributes as `answer.CELLS` has them.
    outlines : mapping
        Zone name to corners [m].
    """
    x, y, share = grid(cells, "sky_view_factor")
    low = np.floor(20 * np.nanmin(share)) / 20
    borders = np.linspace(low, 1.0, round((1.0 - low) * 20) + 1) if low < 1 else np.array([0.95, 1.0])
    filled = _filled(axes, x, y, share, borders, cells, outlines)
    every = max(1, len(borders) // 8)
    _bar(
        axes, filled, borders[::every], [f"{100 * b:.0f} %" for b in borders[::every]], "Share of the sky that is seen"
    )
    return axes


def sun_map(axes: Axes, cells: xr.Dataset, outlines: Mapping[str, Corners]) -> Axes:
    """Hours of direct sun on each spot of the field in one day under a clear sky.

    Parameters
    ----------
    axes : Axes
        To draw on.
    cells : Dataset
        `sunlit_hours` [h], `x`, `y` [m] over cell; attributes as `answer.CELLS` has them.
    outlines : mapping
        Zone name to corners [m].
    """
    x, y, sun = grid(cells, "sunlit_hours")
    borders = np.arange(0.0, max(1.0, np.ceil(np.nanmax(sun))) + 0.5)
    filled = _filled(axes, x, y, sun, borders, cells, outlines)
    _bar(axes, filled, borders, [f"{b:.0f}" for b in borders], "Hours of direct sun under a clear sky")
    return axes


def shade_map(axes: Axes, cells: xr.Dataset, outlines: Mapping[str, Corners], shown: Shown) -> Axes:
    """When direct sun first reaches each spot of the field on one day; hatched where none does.

    Parameters
    ----------
    axes : Axes
        To draw on.
    cells : Dataset
        `first_sun` (datetime64, UTC; NaT where no sun comes), `x`, `y` [m] over cell; attributes as `answer.CELLS`.
    outlines : mapping
        Zone name to corners [m].
    shown : Shown
        Clock.
    """
    when = cells["first_sun"].values
    none = np.isnat(when)
    hour = np.where(
        none, np.nan, hours(np.where(none, when[~none][0] if (~none).any() else np.datetime64(0, "s"), when))
    )
    x, y, first = grid(cells.assign(hour=("cell", hour), none=("cell", none.astype(float))), "hour")
    if none.any():
        mask = grid(cells.assign(none=("cell", none.astype(float))), "none")[2]
        axes.contourf(x, y, mask, levels=[0.5, 1.5], colors="none", hatches=["///"])
    if none.all():
        outline_zones(axes, outlines)
        frame(axes, cells)
        axes.set_title("no direct sun on this day")
        return axes
    span = float(np.nanmax(first) - np.nanmin(first))
    step = next(s for s in (0.25, 0.5, 1.0, 2.0) if span / s <= 10 or s == 2.0)
    borders = step * np.arange(np.floor(np.nanmin(first) / step), np.ceil(np.nanmax(first) / step) + 1)
    borders = borders if len(borders) > 1 else np.array([borders[0], borders[0] + step])
    filled = _filled(axes, x, y, first, borders, cells, outlines, reverse=True)
    every = -(-len(borders) // 5)
    ticks = borders[::every]
    names = [clock(np.datetime64(round(3600 * tick), "s"), shown) for tick in ticks]
    label = f"First direct sun, {day(np.datetime64(round(3600 * float(borders[0])), 's'), shown)}"
    _bar(axes, filled, ticks, names, label + (", hatched: none that day" if none.any() else ""))
    return axes


def _filled(
    axes: Axes,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    values: NDArray[np.float64],
    borders: NDArray[np.float64],
    cells: xr.Dataset,
    outlines: Mapping[str, Corners],
    *,
    reverse: bool = False,
) -> ContourSet:
    shade = SHARE.reversed() if reverse else SHARE
    masked = np.ma.masked_invalid(values)
    filled = axes.contourf(x, y, masked, levels=borders, cmap=shade)
    if len(borders) > 2:
        axes.contour(x, y, masked, levels=borders[1:-1], colors=INK, linewidths=0.4)
    outline_zones(axes, outlines)
    frame(axes, cells)
    return filled


def _bar(axes: Axes, filled: ContourSet, ticks: NDArray[np.float64], names: Sequence[str], label: str) -> None:
    bar = axes.figure.colorbar(filled, ax=axes, orientation="horizontal", fraction=0.05, pad=0.02, aspect=40)
    bar.minorticks_off()
    bar.set_ticks(ticks.tolist(), labels=list(names))
    bar.set_label(label, fontsize=8)
    bar.ax.tick_params(labelsize=8, length=2)


def shelter_rose(axes: PolarAxes, shelter: xr.Dataset, zones: Sequence[str] = ()) -> PolarAxes:
    """Share of the open wind that is left over some zones, by the direction the wind comes from, north up.

    Parameters
    ----------
    axes : PolarAxes
        To draw on, for example `figure.add_subplot(projection="polar")`.
    shelter : Dataset
        `shelter_factor` [1] over zone, direction [degree from north, clockwise].
    zones : sequence of str
        Which zones, at most five; without them the first, the middle and the last.
    """
    names = [str(zone) for zone in shelter["zone"].values]
    chosen = list(zones) or list(dict.fromkeys((names[0], names[len(names) // 2], names[-1])))
    angle = np.deg2rad(np.append(shelter["direction"].values, shelter["direction"].values[0] + 360.0))
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    for zone, dash in zip(chosen, _DASHES, strict=False):
        factor = shelter["shelter_factor"].sel(zone=zone).values
        axes.plot(angle, np.append(factor, factor[0]), color=INK, linestyle=dash, linewidth=1.4, label=zone)
    top = max(1.0, float(np.nanmax(shelter["shelter_factor"].values)))
    axes.set_ylim(0.0, top)
    axes.set_yticks([0.25, 0.5, 0.75, 1.0], ["25 %", "50 %", "75 %", "100 %"])
    axes.set_xticks(np.deg2rad(np.arange(0, 360, 45)), ["N", "NE", "E", "SE", "S", "SW", "W", "NW"])
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.08), frameon=False, fontsize=8)
    return axes
