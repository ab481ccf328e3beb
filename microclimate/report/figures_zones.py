"""Maps of the field for `zones`: in one hue, about 0 degC, and of differences about 0.

Each takes an Axes and Datasets and gives the Axes back.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.contour import ContourSet
from numpy.typing import NDArray

from microclimate.report.canvas import INK, SHARE, TEMPERATURE, about, about_freezing, levels
from microclimate.report.figures import (
    Corners,
    frame,
    freezing_contour,
    grid,
    label_zone,
    luminance,
    outline_zones,
)
from microclimate.report.tables import in_zone
from microclimate.report.words import day
from microclimate.units import Shown

MOST = 8  # classes of a map


def share_map(
    axes: Axes, cells: xr.Dataset, name: str, outlines: Mapping[str, Corners], label: str, *, scale: float = 1.0
) -> Axes:
    """A quantity that has no sign over the field, the darker the less; each zone holds its mean.

    Parameters
    ----------
    axes : Axes
        To draw on.
    cells : Dataset
        Variable `name`, `x`, `y` [m] over cell; attributes as `answer.CELLS` has them.
    name : str
        Which.
    outlines : mapping
        Zone name to corners [m].
    label : str
        Under the colour bar, with the unit.
    scale : float
        The variable times this is what is drawn.
    """
    x, y, values = grid(cells, name)
    borders = classes(scale * values[np.isfinite(values)])
    masked = np.ma.masked_invalid(scale * values)
    norm = BoundaryNorm(borders, SHARE.N)
    filled = axes.contourf(x, y, masked, levels=borders, cmap=SHARE, norm=norm)
    if len(borders) > 2:
        axes.contour(x, y, masked, levels=borders[1:-1], colors=INK, linewidths=0.35)
    outline_zones(axes, outlines)
    frame(axes, cells)
    digits = 0 if borders[1] - borders[0] >= 1.0 else 1 if borders[1] - borders[0] >= 0.1 else 2
    for zone, corners in outlines.items():
        inside = scale * cells[name].values[in_zone(cells, corners)]
        if inside.size:
            dark = luminance(SHARE(float(norm(inside.mean())) / SHARE.N)) < 0.3
            label_zone(axes, corners, zone, f"{inside.mean():.{digits}f}", dark=dark, halo=False)
    bar = axes.figure.colorbar(filled, ax=axes, orientation="horizontal", fraction=0.05, pad=0.02, aspect=40)
    bar.minorticks_off()
    every = -(-len(borders) // MOST)
    bar.set_ticks(borders[::every].tolist(), labels=[f"{b:.{digits}f}" for b in borders[::every]])
    bar.set_label(label, fontsize=8)
    bar.ax.tick_params(labelsize=8, length=2)
    return axes


def classes(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rising borders at round steps that hold the values."""
    low, high = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
    for step in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0):
        first, last = int(np.floor(low / step + 1e-9)), int(np.ceil(high / step - 1e-9))
        if last - first <= MOST:
            break
    return np.asarray(step * np.arange(first, max(last, first + 1) + 1), dtype=float)


BRIGHT = 15.0  # [W m-2] off bare metal from which spots are dotted; ours


def shade_picture(axes: Axes, cells: xr.Dataset, outlines: Mapping[str, Corners], azimuth: float) -> Axes:
    """Where the sun's beam falls at one instant: shade dark and hatched, an arrow the way the light goes.

    Spots that bare metal brightens are dotted, where `stands_best` is in the cells and far above its mean.

    Parameters
    ----------
    axes : Axes
        To draw on.
    cells : Dataset
        `sun_factor` [1], `x`, `y` [m] over cell; attributes as `answer.CELLS` has them.
    outlines : mapping
        Zone name to corners [m].
    azimuth : float
        Of the sun, compass [degree].
    """
    x, y, lit = grid(cells, "sun_factor")
    masked = np.ma.masked_invalid(lit)
    axes.contourf(x, y, masked, levels=[-0.01, 0.5, 1.01], colors=["#7a7f94", "#faf3e3"])
    if (masked < 0.5).any():
        axes.contourf(x, y, masked, levels=[-0.01, 0.5], colors="none", hatches=["///"])
        if (masked >= 0.5).any():
            axes.contour(x, y, masked, levels=[0.5], colors=INK, linewidths=1.4)
    if "stands_best" in cells and float(cells["stands_best"].max()) >= BRIGHT:
        light = np.ma.masked_invalid(grid(cells, "stands_best")[2])
        level = max(BRIGHT, 0.5 * float(light.max()))
        axes.contourf(x, y, light, levels=[level, np.inf], colors="none", hatches=["..."])
        axes.contour(x, y, light, levels=[level], colors=INK, linewidths=0.8, linestyles=":")
    outline_zones(axes, outlines)
    frame(axes, cells)
    length, width = float(cells.attrs["length"]), float(cells.attrs["width"])
    turn = np.deg2rad(float(cells.attrs["bearing"]) - azimuth)  # towards the sun, counter-clockwise from x
    towards = np.array([np.cos(turn), np.sin(turn)])
    beside = np.array([0.5 * length + 0.06 * length, -0.5 * width + 0.16 * width])
    reach = 0.035 * length
    begin, end = beside + reach * towards, beside - reach * towards
    axes.annotate(
        "",
        (float(end[0]), float(end[1])),
        (float(begin[0]), float(begin[1])),
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.2, "linestyle": "--"},
    )
    axes.text(
        float(beside[0]), float(beside[1] - 1.9 * reach), "sun\nray", ha="center", va="top", fontsize=7.5, linespacing=1
    )
    return axes


def canopy_map(
    axes: Axes, cells: xr.Dataset, name: str, outlines: Mapping[str, Corners], label: str, shown: Shown
) -> Axes:
    """A temperature over the field, pale at 0 degC, each zone with its mean.

    Parameters
    ----------
    axes : Axes
        To draw on.
    cells : Dataset
        Variable `name` [K], `x`, `y` [m] over cell; attributes as `answer.CELLS` has them.
    name : str
        Which.
    outlines : mapping
        Zone name to corners [m].
    label : str
        Under the colour bar.
    shown : Shown
        Units.
    """
    x, y, kelvin = grid(cells, name)
    values = np.ma.masked_invalid(shown.number(kelvin, "temperature"))
    borders = levels(np.asarray(values.filled(np.nan)), shown, MOST)
    colours, norm = _classed(borders, about_freezing(borders, shown))
    filled = axes.contourf(x, y, values, levels=borders, cmap=colours, norm=norm)
    if len(borders) > 2:
        axes.contour(x, y, values, levels=borders[1:-1], colors="white", linewidths=0.5, linestyles="solid")
    where = freezing_contour(axes, x, y, values, shown)
    told = shown.number(cells[name].values, "temperature")
    _labelled(axes, cells, np.asarray(told), outlines, colours, norm, 1)
    _bar(axes, filled, borders, f"{label} [{shown.symbol('temperature')}], {where}")
    return axes


def difference_map(
    axes: Axes,
    cells: xr.Dataset,
    values: NDArray[np.float64],
    outlines: Mapping[str, Corners],
    label: str,
    unsure: NDArray[np.bool_] | None = None,
) -> Axes:
    """A difference over the field, pale at 0, each zone with its mean; hatched where its sign is not known.

    Parameters
    ----------
    axes : Axes
        To draw on.
    cells : Dataset
        `x`, `y` [m] over cell; attributes as `answer.CELLS` has them.
    values : array (cell,)
        In the reader's unit.
    outlines : mapping
        Zone name to corners [m].
    label : str
        Under the colour bar, with the unit.
    unsure : array (cell,), optional
        Where what is not known is larger than the difference.
    """
    x, y, table = grid(cells.assign(apart=("cell", values)), "apart")
    borders = classes(np.append(values[np.isfinite(values)], 0.0))
    colours, norm = _classed(borders, about(borders, 0.0))
    filled = axes.contourf(x, y, np.ma.masked_invalid(table), levels=borders, cmap=colours, norm=norm)
    if len(borders) > 2:
        axes.contour(x, y, np.ma.masked_invalid(table), levels=borders[1:-1], colors=INK, linewidths=0.35)
    if unsure is not None and unsure.any():
        open_sign = grid(cells.assign(unsure=("cell", unsure.astype(float))), "unsure")[2]
        axes.contourf(x, y, open_sign, levels=[0.5, 1.5], colors="none", hatches=["///"])
    _labelled(axes, cells, values, outlines, colours, norm, 1)
    _bar(axes, filled, borders, label)
    return axes


def _labelled(
    axes: Axes,
    cells: xr.Dataset,
    values: NDArray[np.float64],
    outlines: Mapping[str, Corners],
    colours: ListedColormap,
    norm: BoundaryNorm,
    digits: int,
) -> None:
    """The field's frame, and each zone with the mean of its cells."""
    outline_zones(axes, outlines)
    frame(axes, cells)
    for zone, corners in outlines.items():
        inside = values[in_zone(cells, corners)]
        if inside.size:
            dark = luminance(colours(int(norm(inside.mean())))) < 0.3
            told = f"{round(float(inside.mean()), digits) + 0.0:.{digits}f}".replace("-", "\u2212")
            label_zone(axes, corners, zone, told, dark=dark, halo=False)


def _bar(axes: Axes, filled: ContourSet, borders: NDArray[np.float64], label: str) -> None:
    """The classes' scale under a map."""
    bar = axes.figure.colorbar(filled, ax=axes, orientation="horizontal", fraction=0.05, pad=0.02, aspect=40)
    bar.minorticks_off()
    bar.set_ticks(borders.tolist(), labels=[f"{round(b, 2) + 0.0:g}".replace("-", "\u2212") for b in borders])
    bar.set_label(label, fontsize=8)
    bar.ax.tick_params(labelsize=8, length=2)


def _classed(borders: NDArray[np.float64], whole: BoundaryNorm) -> tuple[ListedColormap, BoundaryNorm]:
    """One colour for each class, as a scale about its middle has it, and none for classes that do not come up."""
    middle = 0.5 * (borders[1:] + borders[:-1])
    colours = ListedColormap([TEMPERATURE(int(whole(value))) for value in middle])
    return colours, BoundaryNorm(borders, len(middle))


def strips(axes: Axes, daily: xr.Dataset, zones: Sequence[str], shown: Shown) -> Axes:
    """Lowest canopy of each day, one strip a zone, pale at 0 degC.

    Parameters
    ----------
    axes : Axes
        To draw on.
    daily : Dataset
        `canopy_temperature_min` (zone, day) [K].
    zones : sequence of str
        Order from the top.
    shown : Shown
        Units and order of day and month.
    """
    values = shown.number(daily["canopy_temperature_min"].sel(zone=list(zones)).values, "temperature")
    borders = levels(values, shown, MOST)
    colours, norm = _classed(borders, about_freezing(borders, shown))
    filled = axes.pcolormesh(
        np.arange(values.shape[1] + 1),
        np.arange(len(zones) + 1),
        values,
        cmap=colours,
        norm=norm,
        edgecolors="face",
        linewidth=0.3,
    )
    axes.invert_yaxis()
    axes.set_yticks(np.arange(len(zones)) + 0.5, [zone[:18] for zone in zones], fontsize=6.5)
    axes.tick_params(length=0)
    when = daily["day"].values
    every = max(1, -(-len(when) // 4))
    axes.set_xticks(
        np.arange(0, len(when), every) + 0.5,
        [day(t + np.timedelta64(12, "h"), shown).partition(" ")[2] for t in when[::every]],
        fontsize=7.5,
    )
    bar = axes.figure.colorbar(
        filled, ax=axes, orientation="horizontal", fraction=0.04, pad=0.02, aspect=40, boundaries=borders
    )
    bar.minorticks_off()
    bar.set_ticks(borders.tolist(), labels=[f"{b:g}".replace("-", "\u2212") for b in borders])
    bar.set_label(f"Lowest canopy [{shown.symbol('temperature')}]", fontsize=8)
    bar.ax.tick_params(labelsize=8, length=2)
    return axes
