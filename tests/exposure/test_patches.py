"""Cells joined into patches: by light, complete, and counted in area."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from bowl_fakes import flat_bowl

from microclimate.exposure.patches import morning_sun, patches

ZONES = (SimpleNamespace(name="north"), SimpleNamespace(name="south"))


def shaded():
    bowl = flat_bowl(cells=200, zones=2)
    bowl.sky_view[:100] = np.linspace(0.6, 0.95, 100)  # zone 0 varies, zone 1 is alike
    return bowl


def test_a_zone_alike_throughout_is_one_patch() -> None:
    made = patches(ZONES, flat_bowl(), np.ones(24))
    assert list(made["zone"].values) == ["north", "south"]
    assert set(made["part"].values) == {"whole"}
    np.testing.assert_allclose(made["area"], 48.0)


def test_a_shaded_zone_has_its_darkest_and_lightest_tenth() -> None:
    made = patches(ZONES, shaded(), np.ones(200))
    assert list(made["part"].values) == ["darkest", "middle", "lightest", "whole"]
    np.testing.assert_allclose(made["area"].values[:3], [40.0, 320.0, 40.0])
    dark, middle, light = made["sky_view_factor"].values[:3]
    assert dark < middle < light
    assert dark == pytest.approx(np.linspace(0.6, 0.95, 100)[:10].mean())


def test_morning_sun_counts_where_the_sky_does_not() -> None:
    bowl = flat_bowl(cells=200, zones=2)
    sun = np.where(np.arange(200) < 30, 0.1, 0.9)
    made = patches(ZONES, bowl, sun)
    assert made["morning_sun"].values[0] == pytest.approx(0.1)


def test_every_cell_is_in_one_patch_and_weights_go_by_area() -> None:
    bowl = shaded()
    bowl.cell_area[:50] = 2.0
    made = patches(ZONES, bowl, np.ones(200))
    weights = made["weights"].values
    np.testing.assert_allclose(weights.sum(axis=1), 1.0)
    assert ((weights > 0).sum(axis=0) == 1).all()
    assert (made["cell_patch"].values >= 0).all()
    assert made["area"].sum() == pytest.approx(bowl.cell_area.sum())
    assert made["cells"].sum() == 200


def test_a_small_zone_is_not_cut() -> None:
    bowl = flat_bowl(cells=8, zones=1)
    bowl.sky_view[:] = np.linspace(0.5, 1.0, 8)
    assert patches(ZONES[:1], bowl, np.ones(8)).sizes["patch"] == 1


def test_morning_sun_of_an_open_field_is_whole() -> None:
    np.testing.assert_allclose(morning_sun(flat_bowl(), 41.0, -88.0, date(2025, 1, 16)), 1.0)


def test_polar_night_has_no_morning_sun() -> None:
    np.testing.assert_array_equal(morning_sun(flat_bowl(), 78.0, 15.0, date(2025, 1, 1)), 0.0)
