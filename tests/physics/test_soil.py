"""Root zone: the freezing curve turns round exactly and holds its heat; conductivities keep between their ends."""

import numpy as np
from numpy.testing import assert_allclose

from microclimate.physics import soil

# dT/dE unfrozen, first stretch, its slope, second stretch, its slope, frozen; a moist layer, J m-3 and K
WATER = 0.2
WARM = float(soil.heat_capacity(0.4, 2.13e6, WATER, 0.0))
COLD = float(soil.heat_capacity(0.4, 2.13e6, WATER, 1.0))
LATENT = float(soil.latent_store(WATER))
FIRST, SECOND = 0.9 * LATENT + WARM * 0.05, 0.1 * LATENT + COLD * 0.25
CURVE = (1.0 / WARM, FIRST, 0.05 / FIRST, SECOND, 0.25 / SECOND, 1.0 / COLD)


def test_freezing_takes_the_latent_heat_and_the_sensible_heat() -> None:
    """From +1 to -1 K: warm capacity, all latent heat, and the sensible heat of both stretches and the frozen layer."""
    below = LATENT + WARM * 0.05 + COLD * 0.25 + COLD * (1.0 - 0.3)
    assert_allclose(soil.temperature_of_enthalpy(np.array([WARM, -below]), *CURVE), [1.0, -1.0], rtol=1e-9)


def test_the_curve_rises_without_a_jump() -> None:
    enthalpy = np.linspace(-2e8, 1e8, 4001)
    rise = np.diff(soil.temperature_of_enthalpy(enthalpy, *CURVE))
    assert (rise > 0.0).all()
    assert rise.max() <= (enthalpy[1] - enthalpy[0]) / COLD * (1.0 + 1e-9)


def test_heat_capacity_of_ice_is_half_that_of_water() -> None:
    """1.88 MJ m-3 K-1 of ice over 4.18 of water (Moene & van Dam 2014, Table 2.2), at the density of ice."""
    frozen = float(soil.heat_capacity(1.0, 0.0, 0.917, 1.0))
    assert_allclose(frozen / 1e6, 1.88, rtol=5e-3)


def test_conductivity_grows_with_water_and_with_frost_when_wet() -> None:
    water = np.linspace(0.02, 0.4, 20)
    for formula in (soil.conductivity_sand, soil.conductivity_loam):
        thawed = formula(0.4, 0.8, 1600.0, water, 0.0)
        assert (np.diff(thawed) >= 0.0).all()
        assert formula(0.4, 0.8, 1600.0, 0.4, 1.0) > thawed[-1]
        dry = float(soil.conductivity_dry_johansen(1600.0))
        full = float(soil.conductivity_saturated(0.4, soil.conductivity_solids(0.8), 0.0))
        assert_allclose([formula(0.4, 0.8, 1600.0, w, 0.0) for w in (1e-9, 0.4, 0.6)], [dry, full, full], rtol=1e-9)
        half = formula(0.4, 0.8, 1600.0, 0.3, np.array([0.0, 0.5, 1.0]))
        assert_allclose(half[1], 0.5 * (half[0] + half[2]), rtol=1e-12)


def test_frozen_soil_conducts_alike_fine_or_coarse() -> None:
    """Johansen: the Kersten number of frozen soil is Sr for both."""
    fine, coarse = (f(0.4, 0.6, 1600.0, 0.2, 1.0) for f in (soil.conductivity_loam, soil.conductivity_sand))
    assert_allclose(fine, coarse, rtol=1e-12)


def test_fine_soil_conducts_less_than_sand_when_half_wet() -> None:
    """Johansen: log10 Sr + 1 for fine soil; .7 log10 Sr + 1 for coarse. At Sr .1 the fine is dry."""
    assert_allclose(soil.kersten_fine(np.array([0.1, 0.5, 1.0])), [0.0, 0.69897, 1.0], atol=1e-5)
    assert (soil.conductivity_loam(0.4, 0.5, 1600.0, 0.2, 0.0)) < soil.conductivity_sand(0.4, 0.5, 1600.0, 0.2, 0.0)


def test_solids_without_quartz_are_the_dull_kind() -> None:
    """Johansen: other minerals 2.0, and 3.0 where quartz is a fifth or less; pure quartz 7.7."""
    assert_allclose(soil.conductivity_solids(np.array([0.0, 0.2, 0.21, 1.0])), [3.0, 3.6223, 2.6543, 7.7], atol=1e-3)
    assert_allclose(soil.conductivity_solids(0.202), 7.7**0.202 * 2.0**0.798, rtol=1e-9)


def test_thawed_water_is_not_pulled() -> None:
    assert soil.freezing_potential(280.0) == 0.0
    assert_allclose(soil.freezing_head(272.15) * 9.80665 * 1000.0, -soil.freezing_potential(272.15))


def test_retention_runs_from_full_to_residual() -> None:
    head = np.geomspace(1e-4, 1e4, 30)
    found = soil.retained_water(head, 0.045, 0.43, 14.5, 2.68)
    assert (np.diff(found) <= 0.0).all()
    assert_allclose(soil.retained_water(0.0, 0.045, 0.43, 14.5, 2.68), 0.43)
    assert_allclose(found[-1], 0.045, atol=1e-6)
    # at alpha h = 1 the formula is theta_r + (n - theta_r) 2^-(1 - 1/N)
    assert_allclose(soil.retained_water(1.0 / 14.5, 0.045, 0.43, 14.5, 2.68), 0.045 + 0.385 * 2.0 ** (1.0 / 2.68 - 1.0))


def test_unfrozen_water_shrinks_with_cold_and_grows_with_surface() -> None:
    cold = soil.unfrozen_water(np.array([272.65, 271.15, 265.15]), 20.0)
    assert (np.diff(cold) < 0.0).all()
    assert soil.unfrozen_water(271.15, 50.0) > soil.unfrozen_water(271.15, 5.0)
