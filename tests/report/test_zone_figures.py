"""Maps and strips of the zones: labels are means of a zone's own cells; one hue without a sign, pale at 0 with one."""

import numpy as np
import pytest
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb

from microclimate.report import canvas, figures_zones
from microclimate.report.figures import luminance
from microclimate.units import Shown

LEFT, RIGHT = (
    ((-11.0, -5.0), (0.0, -5.0), (0.0, 5.0), (-11.0, 5.0)),
    ((0.0, -5.0), (11.0, -5.0), (11.0, 5.0), (0.0, 5.0)),
)
OUTLINES = {"Foot": LEFT, "Head": RIGHT}


@pytest.fixture
def cells() -> xr.Dataset:
    """22 x 10 m in cells of 2 m, so that a column of centres lies on the border of the two zones."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(-10.0, 10.1, 2.0), np.arange(-4.0, 4.1, 2.0)))
    zone = (x >= 0.0).astype(int)
    found = {"light_integral": ("cell", 10.0 * zone), "coldest": ("cell", 273.15 - 2.0 + 4.0 * zone)}
    place = {"x": ("cell", x), "y": ("cell", y), "zone": ("cell", zone)}
    return xr.Dataset(found, place, {"cell_size": 2.0, "length": 22.0, "width": 10.0, "bearing": 0.0})


def _axes() -> Axes:
    return canvas.figure(4.0, 2.75)[1]


def _labels(axes: Axes) -> str:
    return " ".join(text.get_text().replace("\n", " ") for text in axes.texts)


def test_a_zone_is_told_by_its_own_cells(cells: xr.Dataset) -> None:
    """Cells on a border belong to one zone: they were counted in both."""
    with canvas.style():
        axes = figures_zones.difference_map(_axes(), cells, cells["light_integral"].values, OUTLINES, "x")
        assert "Foot 0.0" in _labels(axes)
        assert "Head 10.0" in _labels(axes)
        axes = figures_zones.canopy_map(_axes(), cells, "coldest", OUTLINES, "Canopy", Shown())
        assert "\u22122.0" in _labels(axes)
        axes = figures_zones.share_map(_axes(), cells, "light_integral", OUTLINES, "x")
        assert "Head 10" in _labels(axes)


def test_light_is_one_hue_and_darker_the_less() -> None:
    scale = figures_zones._one_hue(figures_zones.classes(np.array([0.0, 8.0])))
    bright = [luminance(to_rgb(colour)) for colour in scale.colours.colors]
    assert bright == sorted(bright)
    assert len(set(bright)) == len(bright) == len(scale.borders) - 1


def test_a_difference_is_blue_below_zero_brown_above_and_pale_beside_it() -> None:
    borders = figures_zones.classes(np.array([-3.0, 3.0]))
    scale = figures_zones._two_hues(borders, canvas.about(borders, 0.0))
    low, high = (to_rgb(scale.colours.colors[k]) for k in (0, -1))
    assert low[2] > low[0]
    assert high[0] > high[2]
    beside = [luminance(to_rgb(scale.colours(int(scale.norm(v))))) for v in (-0.2, 0.2)]
    assert min(beside) > max(luminance(low), luminance(high))


def test_strips_have_a_row_for_each_zone_and_a_column_for_each_day() -> None:
    days = np.array(["2026-01-16", "2026-01-17", "2026-01-18"], dtype="datetime64[ns]")
    values = (("zone", "day"), np.array([[3.0, 9.0, 20.0], [4.0, 8.0, 25.0]]))
    kelvin = (values[0], values[1] + 262.0)
    daily = xr.Dataset(
        {"light_integral": values, "canopy_temperature_min": kelvin}, {"zone": list(OUTLINES), "day": days}
    )
    with canvas.style():
        for draw in (figures_zones.strips, figures_zones.light_strips):
            axes = draw(_axes(), daily, list(OUTLINES), Shown())
            assert [tick.get_text() for tick in axes.get_yticklabels()] == ["Foot", "Head"]
            assert axes.collections[0].get_array().shape == (2, 3)
            assert "16" in axes.get_xticklabels()[0].get_text()
