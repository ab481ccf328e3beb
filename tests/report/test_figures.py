"""Figures take an Axes and give it back, and show what they are given, also where that is strange."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import xarray as xr
from matplotlib.figure import Figure

from microclimate.report import canvas, figures, figures_site
from microclimate.report.answer import Answer
from microclimate.units import Shown

US, METRIC = Shown("US", 12, "America/New_York"), Shown("metric", 24, "Europe/Oslo")


def texts(drawn: Figure) -> str:
    """Every letter of a figure, as the SVG has them."""
    return canvas.svg(drawn, "x", "title", "description")


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [(-16.4, -12.9, METRIC), (-3.0, 4.0, METRIC), (-2.0, 7.0, US), (0.2, 0.3, METRIC), (-30.0, 35.0, US)],
)
def test_classes_hold_the_values_and_pale_lies_at_freezing(low: float, high: float, shown: Shown) -> None:
    values = shown.number(np.array([low, high]) + 273.15, "temperature")
    borders = canvas.levels(values, shown)
    assert borders[0] <= values.min() + 1e-9
    assert borders[-1] >= values.max() - 1e-9
    assert 2 <= len(borders) <= 16
    freezing = 32.0 if shown.system == "US" else 0.0
    norm = canvas.about_freezing(borders, shown)
    step = borders[1] - borders[0]
    below, above = (canvas.TEMPERATURE(norm(np.array(freezing + side * step / 2))) for side in (-1, 1))
    assert below[2] - below[0] > above[2] - above[0]  # bluer below, browner above
    ends = [
        canvas.TEMPERATURE(norm(np.array(freezing + side * 0.99 * np.abs(borders - freezing).max())))
        for side in (-1, 1)
    ]
    assert ends[0][2] > ends[0][0]
    assert ends[1][0] > ends[1][2]


def test_nothing_known_is_drawn_as_nothing(answer: Answer) -> None:
    """No value anywhere: every figure is still a figure."""
    blank = {
        name: getattr(answer, name)
        .copy(deep=True)
        .map(lambda v: v.where(False) if v.dtype.kind == "f" and v.name not in ("x", "y") else v)
        for name in ("curves", "cells")
    }
    blank["cells"].attrs.update(answer.cells.attrs)
    with canvas.style():
        made, axes = canvas.figure(4, 3)
        figures.zone_curves(axes, blank["curves"], answer.sky, answer.zones[:2], answer.windows, US)
        assert "air, open ground" in texts(made)
        made, axes = canvas.figure(4, 3)
        figures.field_map(axes, blank["cells"], answer.outlines, answer.zones, US, halo=False)
        assert texts(made).count("?") >= 24
        made, axes = canvas.figure(4, 3)
        figures.depth_section(axes, answer.section.map(lambda v: v * np.nan), answer.windows, US)
        assert "nothing known" in texts(made)


def test_the_clock_axis_is_the_clock_at_the_field(answer: Answer) -> None:
    with canvas.style():
        made, axes = canvas.figure(6, 2)
        canvas.clock_axis(axes, answer.curves["time"].values[0], answer.curves["time"].values[-1], US)
    labels = [tick.get_text() for tick in axes.get_xticklabels()]
    assert labels[:3] == ["6 pm\nTue", "midn.\nWed", "6 am"]
    made.clear()


def test_hours_of_a_winter_to_summer_night_stay_full_hours() -> None:
    """US clocks jump on 2027-03-14: ticks stand at 6 hours of the clock, not of the sun."""
    with canvas.style():
        _, axes = canvas.figure(6, 2)
        canvas.clock_axis(axes, np.datetime64("2027-03-13T23:00"), np.datetime64("2027-03-15T05:00"), US)
    labels = [tick.get_text().split("\n")[0] for tick in axes.get_xticklabels()]
    assert set(labels) <= {"midn.", "6 am", "noon", "6 pm"}
    ticks = np.diff(axes.get_xticks())
    assert 5.0 in ticks  # midnight to 6 am is five hours long that night


def test_end_labels_do_not_lie_on_each_other(answer: Answer) -> None:
    with canvas.style():
        made, axes = canvas.figure(4, 2.5)
        axes.set_ylim(0, 10)
        figures.end_labels(
            axes, [(5.0, "one", "black"), (5.1, "two", "black"), (5.05, "three", "black"), (9.9, "four", "black")]
        )
        made.canvas.draw()
        boxes = sorted((text.get_window_extent().y0, text.get_window_extent().y1) for text in axes.texts)
    for (_, top), (bottom, _) in pairwise(boxes):
        assert bottom >= top - 1.0


def test_a_centre_lies_inside_an_odd_shape() -> None:
    """Closed form: an L of three unit squares has its centre at 5/6."""
    shape = np.array([(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)], dtype=float)
    assert figures.centre_of(shape) == pytest.approx([5 / 6, 5 / 6])
    assert figures.centre_of(shape[::-1]) == pytest.approx([5 / 6, 5 / 6])


def test_luminance_of_white_and_black() -> None:
    assert figures.luminance((1, 1, 1)) == pytest.approx(1.0)
    assert figures.luminance((0, 0, 0)) == 0.0


def test_thinning_keeps_the_last_moment(answer: Answer) -> None:
    thin = figures.thinned(answer.curves, most=20)
    assert thin.sizes["time"] <= 20
    assert thin["time"].values[-1] == answer.curves["time"].values[-1]


@pytest.fixture
def place(answer: Answer) -> xr.Dataset:
    """Cells with a sky view, hours of sun and a first sun."""
    x, y = answer.cells["x"], answer.cells["y"]
    first = np.datetime64("2026-12-16T13:00", "ns") + (90 * (y.values + 35)).astype("timedelta64[s]") * 2
    return answer.cells.assign(
        sky_view_factor=0.9 - (y / 100) ** 2, sunlit_hours=4.0 + x / 30, first_sun=("cell", first)
    )


def test_site_maps(answer: Answer, place: xr.Dataset) -> None:
    with canvas.style():
        made, axes = canvas.figure(4, 3)
        assert figures_site.sky_view_map(axes, place, answer.outlines) is axes
        assert "100 %" in texts(made)
        made, axes = canvas.figure(4, 3)
        assert figures_site.sun_map(axes, place, answer.outlines) is axes
        assert "Hours of direct sun" in texts(made)
        for shown, word in ((US, "8:00 am"), (METRIC, "14:00")):
            made, axes = canvas.figure(4, 3)
            assert figures_site.shade_map(axes, place, answer.outlines, shown) is axes
            assert word in texts(made)


def test_shade_all_day(answer: Answer, place: xr.Dataset) -> None:
    dark = place.copy(deep=True)
    dark["first_sun"].values[:100] = np.datetime64("NaT")
    with canvas.style():
        made, axes = canvas.figure(4, 3)
        figures_site.shade_map(axes, dark, answer.outlines, US)
        assert "hatched: none that day" in texts(made)
        dark["first_sun"].values[:] = np.datetime64("NaT")
        made, axes = canvas.figure(4, 3)
        figures_site.shade_map(axes, dark, answer.outlines, US)
        assert "no direct sun" in texts(made)


def test_open_ground_sees_all_the_sky(answer: Answer, place: xr.Dataset) -> None:
    with canvas.style():
        made, axes = canvas.figure(4, 3)
        figures_site.sky_view_map(axes, place.assign(sky_view_factor=xr.ones_like(place["x"])), answer.outlines)
        assert "100 %" in texts(made)


def test_shelter_rose_has_north_up(answer: Answer) -> None:
    direction = np.arange(0, 360, 15.0)
    factor = 0.4 + 0.3 * np.cos(np.deg2rad(direction))[None, :] * np.linspace(0.5, 1, 24)[:, None]
    shelter = xr.Dataset(
        {"shelter_factor": (("zone", "direction"), factor)}, coords={"zone": list(answer.zones), "direction": direction}
    )
    with canvas.style():
        made = Figure(figsize=(3, 3))
        axes = made.add_subplot(projection="polar")
        assert figures_site.shelter_rose(axes, shelter, answer.zones[:3]) is axes
    assert axes.get_theta_direction() == -1
    assert axes.get_theta_offset() == pytest.approx(np.pi / 2)
    named, line = axes.get_lines()[0].get_label(), axes.get_lines()[0].get_xydata()
    assert named == answer.zones[0]
    assert line[0, 1] == line[-1, 1]  # closed


def test_figures_are_the_same_each_time(answer: Answer) -> None:
    def once() -> str:
        with canvas.style():
            made, axes = canvas.figure(4, 3)
            figures.depth_section(axes, answer.section, answer.windows, answer.shown)
            return canvas.svg(made, "x", "t", "d")

    assert once() == once()


def test_all_below_freezing_is_said(answer: Answer) -> None:
    cold = answer.section.assign(soil_temperature=answer.section["soil_temperature"] - 20.0)
    with canvas.style():
        made, axes = canvas.figure(4, 3)
        figures.depth_section(axes, replace(answer, section=cold).section, answer.windows, US)
        assert "all below freezing" in texts(made)
