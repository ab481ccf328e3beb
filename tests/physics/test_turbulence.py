"""Exchange with the air: it solves its own equations, keeps its limits, and the fast form keeps its promise."""

import itertools

import numpy as np
import pytest
from numpy.testing import assert_allclose

from microclimate.constants import GRAVITY, VON_KARMAN
from microclimate.physics import canopy, turbulence
from microclimate.physics.elementwise import fast_cube_root

ZETA = np.linspace(0.02, 3.0, 60)


def slope(function: object, at: np.ndarray, step: float = 1e-5) -> np.ndarray:
    return (function(at + step) - function(at - step)) / (2.0 * step)  # type: ignore[operator]


def test_stability_functions_integrate_their_gradients() -> None:
    """dpsi/dzeta = (1 - phi)/zeta with the phi of Dyer 1974 and Beljaars & Holtslag 1991, Eqs. (26), (31)."""
    a, b, c, d = 1.0, 0.667, 5.0, 0.35
    decay = b * ZETA * np.exp(-d * ZETA) * (1.0 + c - d * ZETA)
    stable_momentum = 1.0 + a * ZETA + decay
    stable_heat = 1.0 + a * ZETA * np.sqrt(1.0 + 2.0 / 3.0 * a * ZETA) + decay
    assert_allclose(slope(turbulence.psi_momentum, ZETA), (1.0 - stable_momentum) / ZETA, rtol=1e-6)
    assert_allclose(slope(turbulence.psi_heat, ZETA), (1.0 - stable_heat) / ZETA, rtol=1e-6)
    unstable = 1.0 + 16.0 * ZETA
    assert_allclose(slope(turbulence.psi_momentum, -ZETA), (1.0 - unstable**-0.25) / -ZETA, rtol=1e-6)
    assert_allclose(slope(turbulence.psi_heat, -ZETA), (1.0 - unstable**-0.5) / -ZETA, rtol=1e-6)


@pytest.mark.parametrize("inverse", [-0.8, -0.05, -0.002, 0.0, 0.003, 0.05, 0.4])
def test_any_two_heights_on_one_profile_give_the_same_conductance(inverse: float) -> None:
    """A profile is built from its friction velocity and length; the solver must find them from any pair of heights."""
    roughness, heat, air = 0.02, 0.002, 280.0
    friction = 0.25

    def momentum(z: float) -> float:
        psi = turbulence.psi_momentum
        return float(np.log(z / roughness) - psi(z * inverse) + psi(roughness * inverse))

    def warmth(z: float) -> float:
        return float(np.log(z / heat) - turbulence.psi_heat(z * inverse) + turbulence.psi_heat(heat * inverse))

    for wind_height, temperature_height in ((2.0, 2.0), (10.0, 1.5), (2.0, 5.0)):
        speed = friction / VON_KARMAN * momentum(wind_height)
        scale = inverse * friction**2 * air / (VON_KARMAN * GRAVITY)
        surface = air - scale / VON_KARMAN * warmth(temperature_height)
        found = turbulence.exchange_conductance(speed, air, surface, wind_height, temperature_height, roughness, heat)
        assert_allclose(found, VON_KARMAN * friction / warmth(temperature_height), rtol=1e-7)


def test_neutral_air_follows_the_log_law() -> None:
    found = turbulence.exchange_conductance(3.0, 280.0, 280.0, 2.0, 2.0, 0.01, 0.001)
    assert_allclose(found, VON_KARMAN**2 * 3.0 / (np.log(200.0) * np.log(2000.0)), rtol=1e-9)


def test_a_warm_surface_exchanges_more_and_a_cold_one_less() -> None:
    surface = np.linspace(265.0, 295.0, 61)
    found = turbulence.exchange_conductance(2.0, 280.0, surface, 2.0, 2.0, 0.01, 0.001)
    assert (np.diff(found) > 0).all()
    assert found[0] > 0.0


@pytest.mark.parametrize("surface", [260.0, 280.0, 300.0])
def test_calm_air_exchanges_nothing_by_similarity(surface: float) -> None:
    assert turbulence.exchange_conductance(0.0, 280.0, surface, 2.0, 2.0, 0.01, 0.001) == 0.0


def test_similarity_stays_finite_at_its_ends() -> None:
    low, high = turbulence.inverse_obukhov_length(np.array([-1e9, 1e9]), 2.0, 2.0, 0.01, 0.001)
    assert_allclose([low, high], [turbulence.MOST_UNSTABLE, turbulence.MOST_STABLE], atol=1e-9)
    found = turbulence.transfer_coefficient(np.array([-1e9, 1e9]), 2.0, 2.0, 0.01, 0.001)
    assert np.isfinite(found).all()
    assert (found > 0.0).all()


def test_the_fast_form_is_within_half_a_percent() -> None:
    richardson = np.concatenate([-np.geomspace(500.0, 1e-5, 400), [0.0], np.geomspace(1e-5, 100.0, 400)])
    for wind, temperature, roughness, share in itertools.product((1.5, 10.0), (1.5, 10.0), (0.003, 0.1), (0.2, 0.01)):
        pair = (wind, temperature, roughness, roughness * share)
        table = turbulence.transfer_table(*pair)
        fast, _ = turbulence.fast_transfer(richardson, table)
        assert_allclose(fast, turbulence.transfer_coefficient(richardson, *pair), rtol=5e-3, err_msg=str(pair))


def test_the_fast_form_is_exact_in_neutral_air_and_at_its_ends() -> None:
    table = turbulence.transfer_table(2.0, 2.0, 0.01, 0.001)
    nodes = np.array([table[0], 0.0, table[1], 2.0 * table[1]])
    assert_allclose(
        turbulence.fast_transfer(nodes, table)[0],
        turbulence.transfer_coefficient(nodes, 2.0, 2.0, 0.01, 0.001),
        rtol=1e-6,
    )


def test_the_fast_form_knows_its_own_slope() -> None:
    table = turbulence.transfer_table(2.0, 2.0, 0.01, 0.001)
    richardson = np.array([-3.0, -0.4101, -0.01203, 0.00207, 0.0513, 0.2503, 0.9])
    low, high = (turbulence.fast_transfer(richardson + d, table)[0] for d in (-1e-9, 1e-9))
    assert_allclose(turbulence.fast_transfer(richardson, table)[1], (high - low) / 2e-9, rtol=1e-4)


def test_wind_moves_there_and_back() -> None:
    there = turbulence.wind_at_height(4.0, 10.0, 2.0, 0.03)
    assert_allclose(turbulence.wind_at_height(there, 2.0, 10.0, 0.03), 4.0, rtol=1e-12)
    assert_allclose(
        turbulence.friction_velocity(there, 2.0, 0.03), turbulence.friction_velocity(4.0, 10.0, 0.03), rtol=1e-12
    )


def test_free_convection_needs_a_warm_surface() -> None:
    """0.14 Ra^(1/3) k/L over rho c_p for air at 10 degC gives 0.0014 dT^(1/3): the remembered 0.0015 is near."""
    assert turbulence.free_convection_conductance(280.0, 279.0) == 0.0
    conductivity, viscosity, diffusivity, mass_heat = 0.0251, 1.42e-5, 2.0e-5, 1.25 * 1005.0
    nusselt = 0.14 * (GRAVITY / 283.0 * 8.0 / (viscosity * diffusivity)) ** (1.0 / 3.0)
    closed = nusselt * conductivity / mass_heat
    assert_allclose(turbulence.free_convection_conductance(280.0, 288.0), closed, rtol=0.1)


def test_unstable_factor_of_louis_meets_the_stable_one_at_neutral() -> None:
    for factor in (2.0, 3.0):
        assert turbulence.louis_unstable(0.0, factor, 10.0, 0.1) == 1.0
    assert turbulence.louis_stable_heat(0.0) == 1.0
    assert turbulence.louis_stable_momentum(0.0) == 1.0


def test_cube_roots_without_a_call_keep_their_promise() -> None:
    number = np.concatenate([np.geomspace(1e-3, 80.0, 4000), np.linspace(0.0, 80.0, 4001)[1:]])
    assert_allclose(fast_cube_root(number), np.cbrt(number), rtol=2e-4)
    assert fast_cube_root(0.0) == 0.0
    excess = np.linspace(-20.0, 80.0, 5001)
    assert_allclose(
        turbulence.fast_free_convection_conductance(excess),
        turbulence.free_convection_conductance(0.0, excess),
        atol=1e-6,
    )
    film = np.linspace(0.0, 0.5, 5001)
    assert_allclose(canopy.fast_wet_share(film, 0.3), canopy.wet_share(film, 0.3), atol=5e-4)
