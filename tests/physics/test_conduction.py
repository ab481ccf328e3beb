"""Closed forms: each solves the heat equation, meets its start and its surface, and keeps its limits."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.special import erfc

from microclimate.physics import conduction, heating

CONDUCTIVITY, CAPACITY = 1.5, 2.0e6
DIFFUSIVITY = CONDUCTIVITY / CAPACITY
HOUR, DAY = 3600.0, 86400.0
GAMMA = conduction.front_parameter(2.5, 2.0e6, 2.0, 2.5e6, 6.68e7, 4.0, -5.0)

Field = Callable[[np.ndarray, np.ndarray], np.ndarray]
FIELDS: dict[str, Field] = {
    "step": lambda z, t: conduction.step_response(z, DIFFUSIVITY, t),
    "flux": lambda z, t: conduction.flux_response(-60.0, z, CONDUCTIVITY, CAPACITY, t),
    "film": lambda z, t: conduction.convective_response(z, 9.0, CONDUCTIVITY, CAPACITY, t),
    "wave": lambda z, t: conduction.wave(8.0, z, conduction.damping_depth(DIFFUSIVITY, DAY), t, DAY),
    "year": lambda z, t: conduction.ground_temperature(10.0, 12.0, DIFFUSIVITY, 30.0, z * 15.0, t * 225.0 / DAY),
    "slab": lambda z, t: np.vectorize(
        lambda zz, tt: conduction.slab_response(9.0 * 0.15 / CONDUCTIVITY, DIFFUSIVITY * tt / 0.15**2, zz / 0.15)
    )(z, t),
}


@pytest.mark.parametrize("name", FIELDS)
def test_it_solves_the_heat_equation(name: str) -> None:
    """dT/dt = a d2T/dz2 by central differences; `year` in stretched depth and time, which leave the ratio."""
    field = FIELDS[name]
    z, t = np.meshgrid(np.array([0.02, 0.05, 0.11]), np.array([2.0, 5.0, 11.0]) * HOUR)
    dz, dt = 1e-3, 20.0
    rate = (field(z, t + dt) - field(z, t - dt)) / (2.0 * dt)
    bend = (field(z + dz, t) - 2.0 * field(z, t) + field(z - dz, t)) / dz**2
    assert_allclose(rate, DIFFUSIVITY * bend, rtol=3e-3, atol=3e-3 * np.abs(rate).max())


def test_fluxes_at_the_surface() -> None:
    t, dz = 5.0 * HOUR, 1e-6
    gradient = (conduction.step_response(0.0, DIFFUSIVITY, t) - conduction.step_response(dz, DIFFUSIVITY, t)) / dz
    assert_allclose(conduction.step_flux(1.0, CONDUCTIVITY, CAPACITY, t), CONDUCTIVITY * gradient, rtol=1e-4)
    warm = conduction.flux_response(40.0, np.array([0.0, dz]), CONDUCTIVITY, CAPACITY, t)
    assert_allclose(CONDUCTIVITY * (warm[0] - warm[1]) / dz, 40.0, rtol=1e-4)
    film = conduction.convective_response(np.array([0.0, dz]), 9.0, CONDUCTIVITY, CAPACITY, t)
    assert_allclose(CONDUCTIVITY * (film[0] - film[1]) / dz, 9.0 * (1.0 - film[0]), rtol=1e-4)


def test_the_wave_of_the_flux() -> None:
    """The flux into a swinging surface peaks an eighth of a period early with A sqrt(kC omega)."""
    damping = conduction.damping_depth(DIFFUSIVITY, DAY)
    time = np.linspace(0.0, DAY, 2001)
    dz = 1e-6
    flux = CONDUCTIVITY * (conduction.wave(5.0, 0.0, damping, time, DAY) - conduction.wave(5.0, dz, damping, time, DAY))
    flux = flux / dz
    assert_allclose(flux.max(), conduction.wave_flux_amplitude(5.0, CONDUCTIVITY, CAPACITY, DAY), rtol=1e-4)
    assert_allclose(time[flux.argmax()] / DAY, 0.125, atol=1e-3)


def test_a_stiff_film_is_a_step_and_no_film_is_nothing() -> None:
    stiff = conduction.convective_response(0.05, 1e6, CONDUCTIVITY, CAPACITY, 5.0 * HOUR)
    assert_allclose(stiff, conduction.step_response(0.05, DIFFUSIVITY, 5.0 * HOUR), rtol=1e-4)
    assert_allclose(conduction.convective_response(0.05, 0.0, CONDUCTIVITY, CAPACITY, 5.0 * HOUR), 0.0, atol=1e-12)


def test_a_short_slab_is_a_half_space() -> None:
    """Long before the cold faces feel each other, the slab is the half-space under a film."""
    half, film, time = 0.5, 9.0, 1.0 * HOUR
    fourier = DIFFUSIVITY * time / half**2
    found = 1.0 - conduction.slab_response(film * half / CONDUCTIVITY, fourier, 1.0)
    assert_allclose(found, conduction.convective_response(0.0, film, CONDUCTIVITY, CAPACITY, time), atol=2e-4)


def test_the_depth_of_a_step_turns_it_round() -> None:
    depth = conduction.step_depth(0.37, DIFFUSIVITY, 7.0 * HOUR)
    assert_allclose(conduction.step_response(depth, DIFFUSIVITY, 7.0 * HOUR), 0.37, rtol=1e-9)


def test_equal_bodies_meet_in_the_middle_and_the_stronger_wins() -> None:
    assert conduction.contact_temperature(10.0, 500.0, 0.0, 500.0) == 5.0
    assert conduction.contact_temperature(10.0, 1500.0, 0.0, 500.0) == 7.5
    # flux out of one equals the flux into the other
    warm, cold = conduction.effusivity(2.5, 2.96e6), conduction.effusivity(1.4, 2.0e6)
    joint = conduction.contact_temperature(8.0, warm, -4.0, cold)
    out = conduction.step_flux(8.0 - joint, 2.5, 2.96e6, HOUR)
    assert_allclose(out, conduction.step_flux(joint + 4.0, 1.4, 2.0e6, HOUR), rtol=1e-12)


def test_the_front_sets_free_its_latent_heat() -> None:
    """Stefan's condition: k_f dT/dz behind the front less k_u dT/dz before it equals L dX/dt; both sides are at 0."""
    time, dz, dt = 1.0 * DAY, 1e-7, 1.0
    front = float(conduction.front_depth(GAMMA, 2.5 / 2.0e6, time))

    def at(depth: float) -> float:
        return float(conduction.front_temperature(depth, time, GAMMA, 2.5 / 2.0e6, 2.0 / 2.5e6, 4.0, -5.0))

    assert_allclose([at(front - 1e-12), at(front + 1e-12)], 0.0, atol=1e-8)
    speed = (conduction.front_depth(GAMMA, 2.5 / 2.0e6, time + dt) - front) / dt
    balance = 2.5 * -at(front - dz) / dz - 2.0 * at(front + dz) / dz
    assert_allclose(balance, 6.68e7 * speed, rtol=1e-4)
    assert_allclose([at(0.0), at(5.0)], [-5.0, 4.0], atol=1e-9)


def test_sensible_heat_slows_the_front() -> None:
    time = 1.0 * DAY
    assert conduction.front_depth(GAMMA, 2.5 / 2.0e6, time) < conduction.stefan_depth(2.5, 5.0, time, 6.68e7)
    # with hardly any sensible heat Neumann is Stefan
    gamma = conduction.front_parameter(2.5, 2.0, 2.5, 2.0, 6.68e7, 0.0, -5.0)
    found = conduction.front_depth(gamma, 2.5 / 2.0, time)
    assert_allclose(found, conduction.stefan_depth(2.5, 5.0, time, 6.68e7), rtol=1e-6)
    assert_allclose(conduction.berggren_factor(0.0, 1e-6), 1.0, rtol=1e-5)


def test_a_row_of_pipes_far_apart_is_a_single_pipe_and_a_deep_one_has_its_resistance() -> None:
    single = heating.shape_factor_single(1.0, 0.03, 0.4)
    assert_allclose(heating.shape_factor_row(0.03, 0.4, 60.0), single, rtol=2e-3)
    # per area: row resistance and the slab of soil above it make the shape factor of the row
    pitch, depth, k = 0.25, 0.30, 1.6
    shape = heating.shape_factor_row(0.025, depth, pitch)
    apart = heating.row_resistance(pitch, 0.0125, k, 0.0, 0.0, 0.05) + depth / k
    assert_allclose(apart, pitch / (shape * k), rtol=1e-3)


def test_the_wall_and_the_place_between_nodes_add_to_the_resistance_of_a_row() -> None:
    bare = heating.row_resistance(0.25, 0.0125, 1.6, 0.0, 0.0, 0.05)
    assert_allclose(heating.row_resistance(0.25, 0.0125, 1.6, 0.05, 0.0, 0.05) - bare, 0.25 * 0.05, rtol=1e-9)
    assert_allclose(heating.row_resistance(0.25, 0.0125, 1.6, 0.0, 0.5, 0.05) - bare, 0.25 * 0.05 / 1.6, rtol=1e-9)


@pytest.mark.parametrize(("pitch", "radius"), [(0.15, 0.0125), (0.25, 0.0125), (0.40, 0.016)])
def test_what_crowds_round_a_row_of_pipes_and_how_late(pitch: float, radius: float) -> None:
    """Against 400 waves summed and their delay integrated by scipy: all of them make the constriction of a deep row,
    each answers a step of heat by erf (Carslaw & Jaeger 1959, 10.4), and one exponential has the delay of them all."""
    n = np.arange(1, 400)
    waves = pitch / (2.0 * np.pi * 1.6 * n) * np.exp(-2.0 * np.pi * n * radius / pitch)
    # above a pipe the mean has fallen over the radius by half of the heat's slope, which the row does not count
    constriction = heating.row_resistance(pitch, radius, 1.6, 0.0, 0.0, 0.05)
    assert_allclose(waves.sum() - radius / (2.0 * 1.6), constriction, rtol=0.02)
    assert_allclose(waves[0], heating.row_crowding(pitch, radius, 1.6), rtol=1e-12)

    def lacking(time: float, count: int) -> float:
        late = erfc(2.0 * np.pi * n * np.sqrt(DIFFUSIVITY * time) / pitch)
        return float((waves * late)[:count].sum())

    found = heating.row_crowding(pitch, radius, 1.6) * heating.row_spreading(pitch, radius, DIFFUSIVITY)
    for count, rtol in ((4, 1e-6), (n.size, 0.01)):
        assert_allclose(found, quad(lacking, 0.0, 20.0 * HOUR, args=(count,), limit=400)[0], rtol=rtol)


def test_a_row_warms_the_surface_as_a_two_dimensional_solution_did() -> None:
    """k 1.6, wall 0.05 mK/W, film 10, water 35, air 0 degC. Finite volumes of 8000 cells (a trial of ours) gave the
    heat of the pipes, of which a little goes down, the mean of the surface and its ripple: here 0.05 K and 10 %."""
    for pitch, depth, heat, surface, ripple in ((0.25, 0.25, 124.8, 11.69, 0.019), (0.30, 0.10, 165.9, 15.97, 1.95)):
        plane = 35.0 - heat * heating.row_resistance(pitch, 0.0125, 1.6, 0.05, 0.0, 0.05)
        assert_allclose(plane / (depth / 1.6 + 0.1) / 10.0, surface, atol=0.05)
        assert_allclose(heating.surface_ripple(heat, pitch, depth, 1.6, 10.0), ripple, rtol=0.1)


def test_the_ripple_is_the_first_wave_of_a_row_of_lines_under_a_film() -> None:
    """Sources q (1 + 2 cos kx + ...) at depth d under a film h: amplitude 2 q exp(-kd) / (k c + h), c conducts."""
    q, pitch, depth, conductivity, film = 150.0, 0.28, 0.16, 1.4, 11.0
    k = 2.0 * np.pi / pitch
    closed = 4.0 * q * np.exp(-k * depth) / (conductivity * k + film)
    assert_allclose(heating.surface_ripple(q, pitch, depth, conductivity, film), closed, rtol=1e-12)


def test_the_mean_excess_has_a_limit_where_water_does_not_cool() -> None:
    assert_allclose(heating.log_mean_excess(308.15, 308.15, 288.15), 20.0)
    assert_allclose(heating.log_mean_excess(308.15, 308.1499, 288.15), 20.0, rtol=1e-5)
    assert heating.log_mean_excess(308.15, 298.15, 288.15) < 15.0


def test_no_snow_needs_no_heat() -> None:
    assert heating.snow_melt_load(0.0, 5.0, 1.0) == 0.0
