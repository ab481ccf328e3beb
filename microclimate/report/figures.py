"""The figures of the briefing. Each takes an Axes and Datasets and gives the Axes back."""

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.patches import Polygon
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.report.canvas import (
    GRID,
    INK,
    TEMPERATURE,
    about_freezing,
    clock_axis,
    freezing_line,
    hours,
    levels,
    mark_windows,
    size_of,
)
from microclimate.report.tables import FROZEN_SHARE, in_zone
from microclimate.report.words import depth
from microclimate.schema import Event
from microclimate.units import Shown

Corners = Sequence[tuple[float, float]]
_LETTER = 0.6  # width of a letter in heights, for wide letters
DEEPEST = 0.20  # [m] of the section; below it a night changes little
_DASHES = ("-", (0, (6, 2)), (0, (6, 2, 1.5, 2)), (0, (3, 1.5)), (0, (8, 2, 1, 2, 1, 2)))


def grid(cells: xr.Dataset, name: str) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Cells as columns x, rows y and values (y, x), edges carried out to the cells' own edges; NaN where no cell is."""
    size = float(cells.attrs["cell_size"])
    x, y, values = cells["x"].values, cells["y"].values, cells[name].values
    column, row = np.round((x - x.min()) / size).astype(int), np.round((y - y.min()) / size).astype(int)
    table = np.full((row.max() + 1, column.max() + 1), np.nan)
    table[row, column] = values
    table = np.pad(table, 1, mode="edge")

    def ticks(first: float, count: int) -> NDArray[np.float64]:
        inner = first + size * np.arange(count)
        return np.concatenate([[first - size / 2], inner, [inner[-1] + size / 2]])

    return ticks(float(x.min()), column.max() + 1), ticks(float(y.min()), row.max() + 1), table


def field_map(
    axes: Axes,
    cells: xr.Dataset,
    outlines: Mapping[str, Corners],
    order: Sequence[str],
    shown: Shown,
    *,
    halo: bool = True,
) -> Axes:
    """Lowest canopy temperature over the field, a line at 0 degC, zones outlined, numbered and named.

    Parameters
    ----------
    axes : Axes
        To draw on.
    cells : Dataset
        `answer.CELLS`.
    outlines : mapping
        Zone name to corners [m].
    order : sequence of str
        Zone names; a zone's number is its place here, from 1.
    shown : Shown
        Units.
    halo : bool
        Draw a pale rim round letters; it turns them into outlines, so a page that keeps letters draws its own.
    """
    x, y, kelvin = grid(cells, "canopy_temperature_min")
    values = shown.number(kelvin, "temperature")
    borders = levels(values, shown)
    filled = axes.contourf(
        x, y, np.ma.masked_invalid(values), levels=borders, cmap=TEMPERATURE, norm=about_freezing(borders, shown)
    )
    axes.contour(
        x, y, np.ma.masked_invalid(values), levels=borders[1:-1], colors="white", linewidths=0.5, linestyles="solid"
    )
    where = freezing_contour(axes, x, y, np.ma.masked_invalid(values), shown)
    outline_zones(axes, outlines)
    frame(axes, cells)
    for count, zone in enumerate(order, 1):
        inside = values_of(cells, outlines[zone])
        text = whole_degrees(float(inside.min()), shown) if inside.size else "?"
        dark = bool(inside.size) and luminance(_colour(filled, shown, inside)) < 0.3
        label_zone(axes, outlines[zone], zone, f"{count}: {text}", dark=dark, halo=halo)
    bar = axes.figure.colorbar(filled, ax=axes, orientation="horizontal", fraction=0.05, pad=0.02, aspect=40)
    bar.minorticks_off()
    bar.set_label(f"Lowest canopy tonight [{shown.symbol('temperature')}], {where}", fontsize=8)
    freezing = float(shown.number(ZERO_CELSIUS, "temperature"))
    every = max(1, len(borders) // 8)
    anchor = int(np.argmin(np.abs(borders - freezing))) % every
    bar.set_ticks(borders[anchor::every].tolist(), labels=[_tick(b) for b in borders[anchor::every]])
    bar.ax.tick_params(labelsize=8, length=2)
    return axes


def freezing_contour(
    axes: Axes, x: NDArray[np.float64], y: NDArray[np.float64], values: NDArray[np.float64], shown: Shown
) -> str:
    """A thick line at 0 degC where the values (in the reader's unit) cross it; what is to be said of it."""
    if not np.ma.count(values):
        return "nothing known"
    freezing = float(shown.number(ZERO_CELSIUS, "temperature"))
    if values.min() < freezing < values.max():
        axes.contour(x, y, values, levels=[freezing], colors=INK, linewidths=2.0)
        return "thick line: freezing"
    return "all below freezing" if values.max() <= freezing else "all above freezing"


def _tick(value: float) -> str:
    return f"{value:g}".replace("-", "\u2212")


def outline_zones(axes: Axes, outlines: Mapping[str, Corners]) -> Axes:
    """Thin outlines of all zones."""
    for corners in outlines.values():
        axes.add_patch(Polygon(np.asarray(corners), closed=True, fill=False, edgecolor=INK, linewidth=0.6))
    return axes


def frame(axes: Axes, cells: xr.Dataset) -> Axes:
    """The field's frame without axes, an arrow to the north beside it."""
    size = float(cells.attrs["cell_size"])
    half_x, half_y = float(cells.attrs["length"]) / 2, float(cells.attrs["width"]) / 2
    room = 0.11 * float(cells.attrs["length"])
    axes.set_xlim(-half_x - size / 2, half_x + size / 2 + room)
    axes.set_ylim(-half_y - size / 2, half_y + size / 2)
    axes.set_aspect("equal")
    axes.set_axis_off()
    angle = np.deg2rad(float(cells.attrs["bearing"]))  # north stands at this angle, counter-clockwise from x
    reach = 0.035 * float(cells.attrs["length"])
    centre = np.array([half_x + size / 2 + room / 2, half_y - 2.4 * reach])
    step = reach * np.array([np.cos(angle), np.sin(angle)])
    axes.annotate(
        "", _xy(centre + step), _xy(centre - step), arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.2}
    )
    axes.text(*_xy(centre + 2.0 * step), "N", ha="center", va="center", fontsize=8.5, fontweight="bold")
    return axes


def whole_degrees(kelvin: float, shown: Shown) -> str:
    """A temperature to the whole degree, for a place too small for more."""
    return f"{float(shown.number(kelvin, 'temperature')):.0f}°".replace("-0°", "0°").replace("-", "\u2212")


def _xy(point: NDArray[np.float64]) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def label_zone(
    axes: Axes, corners: Corners, name: str, told: str, *, size: float = 7.5, dark: bool = False, halo: bool = True
) -> Axes:
    """A zone's name, where it fits, over what is told of it; pale letters on a dark ground."""
    points = np.asarray(corners)
    width, height = np.ptp(points, axis=0) * _scale(axes)
    lines = textwrap.wrap(name, max(1, int(width / (_LETTER * size))), break_long_words=False)
    lines.append(told)
    fits = max(map(len, lines)) * _LETTER * size <= width and len(lines) * 1.2 * size <= height
    text = "\n".join(lines) if fits else told
    x, y = centre_of(points)
    ink, rim = ("white", INK) if dark else (INK, "white")
    letters = axes.text(x, y, text, ha="center", va="center", fontsize=size, linespacing=1.1, color=ink)
    if halo:
        letters.set_path_effects([withStroke(linewidth=1.6, foreground=rim, alpha=0.6)])
    return axes


def _scale(axes: Axes) -> float:
    """Points in a metre of a map that fills its figure but for a colour bar below it."""
    width, height = size_of(axes)
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    return float(min(0.97 * width / (right - left), (height - 48.0) / (high - low)))


def centre_of(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Centre of area of a polygon."""
    following = np.roll(points, -1, axis=0)
    cross = points[:, 0] * following[:, 1] - following[:, 0] * points[:, 1]
    if abs(cross.sum()) < 1e-9:
        return np.asarray(points.mean(axis=0))
    return np.asarray(((points + following) * cross[:, None]).sum(axis=0) / (3 * cross.sum()))


def _colour(filled: ContourSet, shown: Shown, kelvin: NDArray[np.float64]) -> Sequence[float]:
    """The colour a map gives the mean of some values."""
    mean = float(shown.number(float(kelvin.mean()), "temperature"))
    return [float(part) for part in filled.cmap(filled.norm(np.array(mean)))]


def values_of(cells: xr.Dataset, corners: Corners) -> NDArray[np.float64]:
    """Lowest canopy of the known cells of a zone. [K]"""
    inside = cells["canopy_temperature_min"].values[in_zone(cells, corners)]
    return np.asarray(inside[np.isfinite(inside)])


def luminance(colour: Sequence[float]) -> float:
    """How light a colour is, 0 to 1 (WCAG 2, relative luminance)."""
    rgb = np.asarray(colour[:3], dtype=float)
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def zone_curves(
    axes: Axes, curves: xr.Dataset, sky: xr.Dataset, zones: Sequence[str], windows: Sequence[Event], shown: Shown
) -> Axes:
    """Canopy temperature of some zones over time, the first with its range, all others pale, and the air.

    Parameters
    ----------
    axes : Axes
        To draw on.
    curves, sky : Dataset
        `answer.CURVES`, `answer.SKY`.
    zones : sequence of str
        Zones to name, the coldest first; at most five.
    windows : sequence of Event
        The first is the night, the others are shaded.
    shown : Shown
        Units and clock.
    """
    curves, sky = thinned(curves), thinned(sky)
    at = hours(curves["time"].values)
    canopy = shown.number(curves["canopy_temperature"].values, "temperature")
    names = [str(zone) for zone in curves["zone"].values]
    mid = _middle(curves)
    for k in range(len(names)):
        axes.plot(at, canopy[k, mid], color=GRID, linewidth=0.7, zorder=1)
    cold = canopy[names.index(zones[0])]
    axes.fill_between(at, cold[0], cold[-1], color="#4f86b8", alpha=0.22, linewidth=0, zorder=1.5)
    ends = []
    for zone, dash, width in zip(zones, _DASHES, (2.0, 1.5, 1.5, 1.3, 1.3), strict=False):
        series = canopy[names.index(zone), mid]
        colour = "#173f6b" if zone == zones[0] else "#6e4516"
        axes.plot(at, series, color=colour, linestyle=dash, linewidth=width, zorder=3)
        ends.append((_last(series), zone, colour))
    air = shown.number(sky["air_temperature"].values[_middle(sky)], "temperature")
    air_at = hours(sky["time"].values)
    axes.plot(air_at, air, color=INK, linestyle=(0, (1, 1.6)), linewidth=1.4, zorder=2.5)
    ends.append((_last(np.interp(at, air_at, air)), "air, open ground", INK))
    freezing_line(axes, shown)
    axes.set_ylabel(shown.symbol("temperature"))
    axes.margins(y=0.06)
    axes.grid(axis="y", color=GRID, linewidth=0.5)
    axes.spines[["top", "right"]].set_visible(False)
    clock_axis(axes, curves["time"].values[0], curves["time"].values[-1], shown, most=5 if shown.clock == 24 else 7)
    mark_windows(axes, windows)
    return end_labels(axes, ends)


def thinned(data: xr.Dataset, most: int = 160) -> xr.Dataset:
    """The same with every n-th time left, the last one among them: a picture four inches wide shows no more."""
    every = -(-data.sizes["time"] // most)
    return data.isel(time=slice((data.sizes["time"] - 1) % every, None, every))


def _middle(data: xr.Dataset) -> int:
    return int(np.argmin(np.abs(data["quantile"].values - 0.5)))


def _last(series: NDArray[np.float64]) -> float:
    finite = series[np.isfinite(series)]
    return float(finite[-1]) if finite.size else float("nan")


def end_labels(axes: Axes, ends: Sequence[tuple[float, str, str]], size: float = 8) -> Axes:
    """Names at the right ends of curves, moved apart so that none lies on another."""
    low, high = axes.get_ylim()
    box = axes.get_position().height * size_of(axes)[1]
    gap = 1.15 * size / (0.75 * box) * (high - low)
    known = sorted(end for end in ends if np.isfinite(end[0]))
    places: list[float] = []
    for value, _, _ in known:
        places.append(max(value, places[-1] + gap) if places else value)
    if places and places[-1] > high:
        places = [place - (places[-1] - high) for place in places]
        for k in range(len(places) - 2, -1, -1):
            places[k] = min(places[k], places[k + 1] - gap)
    for place, (_, name, colour) in zip(places, known, strict=True):
        short = textwrap.shorten(name, 22, placeholder="…") if " " in name else name[:22]
        axes.annotate(
            short,
            (1.0, place),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            color=colour,
            fontsize=size,
            annotation_clip=False,
        )
    return axes


def depth_section(axes: Axes, section: xr.Dataset, windows: Sequence[Event], shown: Shown) -> Axes:
    """Root-zone temperature over depth and time, a line at 0 degC, frozen layers hatched.

    Parameters
    ----------
    axes : Axes
        To draw on.
    section : Dataset
        `answer.SECTION`.
    windows : sequence of Event
        As in `zone_curves`.
    shown : Shown
        Units and clock.
    """
    section = thinned(section)
    at, deep = hours(section["time"].values), section["depth"].values
    keep = deep <= max(DEEPEST, float(deep[0]))
    soil = np.ma.masked_invalid(shown.number(section["soil_temperature"].values[keep], "temperature"))
    ice = np.nan_to_num(section["frozen_fraction"].values[keep])
    y = shown.number(deep[keep], "depth")
    borders = levels(np.asarray(soil.filled(np.nan)), shown)
    filled = axes.contourf(at, y, soil, levels=borders, cmap=TEMPERATURE, norm=about_freezing(borders, shown))
    where = freezing_contour(axes, at, y, soil, shown)
    if (ice >= FROZEN_SHARE).any():
        axes.contourf(at, y, ice, levels=[FROZEN_SHARE, 1.01], colors="none", hatches=["///"])
    axes.set_ylim(float(y[-1]), 0.0)
    ticks = [d for d in (0.025, 0.050, 0.100, 0.150, 0.200) if d <= deep[keep][-1] + 1e-6]
    axes.set_yticks([float(shown.number(d, "depth")) for d in ticks], [depth(d, shown) for d in ticks])
    axes.set_ylabel("depth")
    clock_axis(axes, section["time"].values[0], section["time"].values[-1], shown, most=5 if shown.clock == 24 else 6)
    mark_windows(axes, windows, shaded=False)
    bar = axes.figure.colorbar(filled, ax=axes, orientation="horizontal", fraction=0.05, pad=0.02, aspect=40)
    bar.minorticks_off()
    bar.set_label(f"[{shown.symbol('temperature')}], {where}, hatched: frozen", fontsize=8)
    bar.ax.tick_params(labelsize=8, length=2)
    return axes
