"""Heat from pipes and cables in the root zone."""

import numpy as np

from microclimate.constants import HEAT_CAPACITY_ICE, HEAT_CAPACITY_WATER, LATENT_FUSION
from microclimate.physics.elementwise import Value, choose, formula


@formula
def row_resistance(
    pitch: Value, outer_radius: Value, conductivity: Value, wall: Value, offset: Value, spacing: Value
) -> Value:
    """Resistance [m2 K W-1] of a field between pipe water and the soil at pipe depth, for a deep row of pipes.

    R = s (ln(s / (2 pi r)) / (2 pi k) + R_wall) + f (1 - f) dz / k. `pitch` s and `outer_radius` r [m],
    `conductivity` k [W m-1 K-1] of the soil round the pipe, `wall` and film [m K W-1]. The pipe lies the share
    `offset` f [1] of the node `spacing` dz [m] below the node above it; f = 0 puts a node on the pipe. The last term
    keeps the answer free of the grid. Source: shape factor of a row of buried pipes (Cengel, Table 3-7) less the slab
    above; trial against a two-dimensional solution: 0.3 % for depth 0.15 to 0.25 m and pitch 0.25 to 0.30 m.
    """
    constriction = pitch * (np.log(pitch / (2.0 * np.pi * outer_radius)) / (2.0 * np.pi * conductivity) + wall)
    return constriction + offset * (1.0 - offset) * spacing / conductivity


@formula
def row_crowding(pitch: Value, outer_radius: Value, conductivity: Value) -> Value:
    """Part [m2 K W-1] of `row_resistance` that has to build up: its wave of one pitch, s exp(-2 pi r/s) / (2 pi k).

    A row of line sources q s leaves waves of s/n with amplitudes q s/(2 pi n k) beside each pipe; all of them together
    are the constriction s ln(s / (2 pi r)) / (2 pi k). `pitch` s, `outer_radius` r [m], `conductivity` k [W m-1 K-1].
    Source: series of plane sources (Carslaw & Jaeger 1959, 10.4 and 14.10), summed by us.
    """
    return pitch * np.exp(-2.0 * np.pi * outer_radius / pitch) / (2.0 * np.pi * conductivity)


@formula
def row_spreading(pitch: Value, outer_radius: Value, diffusivity: Value) -> Value:
    """Time [s] in which a row's heat spreads over its pitch: of one exponential with the delay of all waves.

    Wave n answers a step of heat by erf(2 pi n sqrt(a t) / s), late by s^2 / (8 pi^2 n^2 a) in all; with its weight
    exp(-2 pi n r/s)/n the delay is row_crowding times s^2 / (8 pi^2 a) (1 + x/8 + x^2/27 + x^3/64), x = exp(-2 pi r/s)
    (the rest is below 1 %). `diffusivity` a [m2 s-1]. Two-dimensional solutions for depths of 0.10 to 0.30 m and
    pitches of 0.20 to 0.40 m: heat of the first hour within 5 %, 8 to 19 % without.
    """
    wave = np.exp(-2.0 * np.pi * outer_radius / pitch)
    late = 1.0 + wave / 8.0 + wave**2 / 27.0 + wave**3 / 64.0
    return pitch**2 * late / (8.0 * np.pi**2 * diffusivity)


@formula
def surface_ripple(heat: Value, pitch: Value, depth: Value, conductivity: Value, surface_conductance: Value) -> Value:
    """Peak-to-peak wave [K] that a row of pipes leaves in the surface temperature, first harmonic.

    4 q s/(2 pi k) exp(-2 pi d/s) / (1 + h s/(2 pi k)); `heat` q [W m-2], `pitch` s, `depth` d [m]. Closed form, ours;
    within 5 % of a two-dimensional solution.
    """
    length = pitch / (2.0 * np.pi * conductivity)
    return 4.0 * heat * length * np.exp(-2.0 * np.pi * depth / pitch) / (1.0 + surface_conductance * length)


@formula
def shape_factor_single(length: Value, outer_diameter: Value, depth: Value) -> Value:
    """Conduction shape factor [m] of one pipe under a flat surface: 2 pi L / acosh(2z/D).

    Source: Incropera Table 4.1, case 2.
    """
    return 2.0 * np.pi * length / np.arccosh(2.0 * depth / outer_diameter)


@formula
def shape_factor_row(outer_diameter: Value, depth: Value, pitch: Value) -> Value:
    """Conduction shape factor per metre of pipe [1] of a row under a flat surface.

    2 pi / ln(2w/(pi D) sinh(2 pi z/w)). Source: Cengel, Heat Transfer, Table 3-7.
    """
    return 2.0 * np.pi / np.log(2.0 * pitch / (np.pi * outer_diameter) * np.sinh(2.0 * np.pi * depth / pitch))


@formula
def log_mean_excess(supply: Value, back: Value, surrounding: Value) -> Value:
    """Mean excess [K] of water that cools from `supply` to `back` over a `surrounding` [K]: log mean. EN 1264-2."""
    drop = supply - back
    ratio = (supply - surrounding) / (back - surrounding)
    return choose(np.abs(drop) < 1e-6, supply - surrounding, drop / choose(ratio == 1.0, 1.0, np.log(ratio)))


@formula
def snow_melt_load(snowfall: Value, air_below_freezing: Value, film_above_freezing: Value) -> Value:
    """Heat [W m-2] that warms, melts and drains `snowfall` [kg m-2 s-1]; excesses [K >= 0].

    S (c_i (0 - t_air) + L + c_w t_film). Source: ASHRAE Handbook, HVAC Applications, snow melting (q_s + q_m).
    """
    return snowfall * (
        HEAT_CAPACITY_ICE * air_below_freezing + LATENT_FUSION + HEAT_CAPACITY_WATER * film_above_freezing
    )
