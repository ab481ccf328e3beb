"""Cutting a profile into layers, and what they are made of."""

import numpy as np
import pytest

from microclimate.column import layers
from tests.simulate.world import zone


@pytest.mark.parametrize("count", [12, 16, 20, 24, 32])
@pytest.mark.parametrize(("build", "base"), [("sand over gravel", "on ground"), ("tray", "tray over still air")])
def test_borders_of_materials_are_kept(build: str, base: str, count: int) -> None:
    profile = zone(build=build, base=base).layers
    cut = layers.grid(profile, count)
    assert cut.thickness.size == count
    borders = np.cumsum([layer.thickness for layer in profile])
    assert all(abs(cut.faces - border).min() < 1e-12 for border in borders)
    assert cut.faces[-1] == pytest.approx(borders[-1])
    assert cut.thickness[0] < 0.011
    assert (cut.thickness > 0.0).all()


def test_water_hangs_above_gravel() -> None:
    """As much of it as stated, more of it low; native soil keeps it even."""
    cut = layers.grid(zone(build="sand over gravel", water_content=0.18).layers)
    sand = (cut.depth > 0.01) & (cut.depth < 0.30)
    assert np.average(cut.water_content[sand], weights=cut.thickness[sand]) == pytest.approx(0.18)
    assert (np.diff(cut.water_content[sand]) > 0.0).all()
    assert cut.water_content[sand][-1] > 1.3 * cut.water_content[sand][0]
    assert (cut.water_content <= cut.porosity).all()
    loam = layers.grid(zone(build="native soil").layers)
    inside = (loam.depth > 0.01) & (loam.depth < 0.30)
    assert np.ptp(loam.water_content[inside]) == 0.0


def test_enthalpy_there_and_back() -> None:
    cut = layers.grid(zone().layers)
    known = layers.kernel_parameters(layers.properties(cut, cut.water_content))
    span = known[:, 1] * known[:, 6]
    for degrees, frozen in ((5.0, 0.0), (-3.0, 1.0), (0.0, 0.0)):
        heat = layers.enthalpy(known, np.full(20, degrees), np.full(20, frozen))
        back, ice = layers.temperature(known, heat)
        np.testing.assert_allclose(back, degrees, atol=1e-12)
        np.testing.assert_allclose(ice, frozen, atol=1e-12)
    back, ice = layers.temperature(known, layers.enthalpy(known, -0.4 * span, np.full(20, 0.4)))
    np.testing.assert_allclose(ice, 0.4)
    np.testing.assert_allclose(back, -0.4 * span)
