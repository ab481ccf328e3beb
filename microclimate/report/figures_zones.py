"""Maps of the field and strips of days for `zones`: in one hue, pale at 0 degC, and of differences pale at 0.

Each takes an Axes to draw on and gives it back. What they have in common: cells is a Dataset over cell with `x`, `y`
[m] and attributes as `answer.CELLS` has them; outlines is a mapping of zone name to corners [m], in
the order that `zone` over cell counts in; label stands under the scale; shown holds the reader's units. Zones carry the
mean of their cells.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm, ListedColormap
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
from microclimate.report.words import day
from microclimate.units import Shown

MOST = 8  # classes of a map


@dataclass(frozen=True)
class _Scale:
    """Rising borders of the classes, and a colour for each."""

    borders: NDArray[np.float64]
    colours: ListedColormap
    norm: BoundaryNorm

    @property
    def digits(self) -> int:
        """That tell neighbouring borders apart."""
        step = self.borders[1] - self.borders[0]
        return 0 if step >= 1.0 else 1 if step >= 0.1 else 2


def _one_hue(borders: NDArray[np.float64]) -> _Scale:
    """The darker the less."""
    count = len(borders) - 1
    colours = ListedColormap([SHARE(value) for value in np.linspace(0.0, 1.0, count)])
    return _Scale(borders, colours, BoundaryNorm(borders, count))


def _two_hues(borders: NDArray[np.float64], whole: BoundaryNorm) -> _Scale:
    """As a scale about its middle has them, and none for classes that do not come up."""
    middle = 0.5 * (borders[1:] + borders[:-1])
    colours = ListedColormap([TEMPERATURE(int(whole(value))) for value in middle])
    return _Scale(borders, colours, BoundaryNorm(borders, len(middle)))


def share_map(
    axes: Axes, cells: xr.Dataset, name: str, outlines: Mapping[str, Corners], label: str, *, scale: float = 1.0
) -> Axes:
    """A quantity that has no sign, the darker the less; `name` times `scale` is what is drawn."""
    values = scale * cells[name].values
    classed = _one_hue(classes(values[np.isfinite(values)]))
    _painted(axes, cells, values, outlines, classed, classed.digits)
    _bar(axes, classed, label)
    return axes


def canopy_map(
    axes: Axes, cells: xr.Dataset, name: str, outlines: Mapping[str, Corners], label: str, shown: Shown
) -> Axes:
    """A temperature [K], pale at 0 degC."""
    values = np.asarray(shown.number(cells[name].values, "temperature"), dtype=float)
    borders = levels(values, shown, MOST)
    classed = _two_hues(borders, about_freezing(borders, shown))
    x, y, table = _painted(axes, cells, values, outlines, classed, 1, line="white")
    where = freezing_contour(axes, x, y, table, shown)
    _bar(axes, classed, f"{label} [{shown.symbol('temperature')}], {where}")
    return axes


def difference_map(
    axes: Axes,
    cells: xr.Dataset,
    values: NDArray[np.float64],
    outlines: Mapping[str, Corners],
    label: str,
    unsure: NDArray[np.bool_] | None = None,
) -> Axes:
    """A difference (cell,) in the reader's unit, pale at 0; hatched where `unsure` (cell,): its sign is not known."""
    borders = classes(np.append(values[np.isfinite(values)], 0.0))
    classed = _two_hues(borders, about(borders, 0.0))
    x, y, _ = _painted(axes, cells, values, outlines, classed, 1)
    if unsure is not None and unsure.any():
        open_sign = grid(cells.assign(unsure=("cell", unsure.astype(float))), "unsure")[2]
        axes.contourf(x, y, open_sign, levels=[0.5, 1.5], colors="none", hatches=["///"])
    _bar(axes, classed, label)
    return axes


def _painted(
    axes: Axes,
    cells: xr.Dataset,
    values: NDArray[np.float64],
    outlines: Mapping[str, Corners],
    classed: _Scale,
    digits: int,
    line: str = INK,
) -> tuple[NDArray[np.float64], NDArray[np.float64], np.ma.MaskedArray]:
    """The classes over the field, its frame, and each zone with the mean of its cells; the values as a grid."""
    x, y, table = grid(cells.assign(painted=("cell", values)), "painted")
    masked = np.ma.masked_invalid(table)
    axes.contourf(x, y, masked, levels=classed.borders, cmap=classed.colours, norm=classed.norm)
    if len(classed.borders) > 2:
        axes.contour(x, y, masked, levels=classed.borders[1:-1], colors=line, linewidths=0.4, linestyles="solid")
    outline_zones(axes, outlines)
    frame(axes, cells)
    for number, (zone, corners) in enumerate(outlines.items()):
        inside = values[cells["zone"].values == number]
        if inside.size:
            dark = float(np.mean([luminance(classed.colours(int(classed.norm(value)))) for value in inside])) < 0.3
            told = f"{round(float(inside.mean()), digits) + 0.0:.{digits}f}".replace("-", "\u2212")
            label_zone(axes, corners, zone, told, dark=dark, halo=False)
    return x, y, masked


def _bar(axes: Axes, classed: _Scale, label: str, size: float = 0.05) -> None:
    """The classes' scale below."""
    filled = ScalarMappable(norm=classed.norm, cmap=classed.colours)
    bar = axes.figure.colorbar(filled, ax=axes, orientation="horizontal", fraction=size, pad=0.02, aspect=40)
    bar.minorticks_off()
    told = [f"{round(b, 2) + 0.0:.{classed.digits}f}".replace("-", "\u2212") for b in classed.borders]
    bar.set_ticks(classed.borders.tolist(), labels=told)
    bar.set_label(label, fontsize=8)
    bar.ax.tick_params(labelsize=8, length=2)


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

    cells holds `sun_factor` [1]; azimuth is the sun's, compass [degree].
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


def strips(axes: Axes, daily: xr.Dataset, zones: Sequence[str], shown: Shown) -> Axes:
    """Lowest canopy of each day, `canopy_temperature_min` (zone, day) [K], one strip a zone, pale at 0 degC."""
    kelvin = daily["canopy_temperature_min"].sel(zone=list(zones)).values
    values = np.asarray(shown.number(kelvin, "temperature"), dtype=float)
    borders = levels(values, shown, MOST)
    label = f"Lowest canopy [{shown.symbol('temperature')}]"
    return _strips(axes, values, daily, zones, _two_hues(borders, about_freezing(borders, shown)), label, shown)


def light_strips(axes: Axes, daily: xr.Dataset, zones: Sequence[str], shown: Shown) -> Axes:
    """Light of each day, `light_integral` (zone, day) [mol m-2], one strip a zone, the darker the less."""
    values = daily["light_integral"].sel(zone=list(zones)).values
    return _strips(axes, values, daily, zones, _one_hue(classes(values)), "Light for growth [mol/m² a day]", shown)


def _strips(
    axes: Axes,
    values: NDArray[np.float64],
    daily: xr.Dataset,
    zones: Sequence[str],
    classed: _Scale,
    label: str,
    shown: Shown,
) -> Axes:
    """Values (zone, day), the first zone on top, the days below."""
    across, down = np.arange(values.shape[1] + 1), np.arange(len(zones) + 1)
    axes.pcolormesh(across, down, values, cmap=classed.colours, norm=classed.norm, edgecolors="face", linewidth=0.3)
    axes.invert_yaxis()
    axes.set_yticks(down[:-1] + 0.5, [zone[:18] for zone in zones], fontsize=6.5)
    axes.tick_params(length=0)
    when = daily["day"].values
    every = max(1, -(-len(when) // 4))
    told = [day(t + np.timedelta64(12, "h"), shown).partition(" ")[2] for t in when[::every]]
    axes.set_xticks(across[:-1:every] + 0.5, told, fontsize=7.5)
    _bar(axes, classed, label, size=0.04)
    return axes
