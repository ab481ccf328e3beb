"""Covers: the air layer below one, radiation between its faces, and how it shields the ground."""

import numpy as np

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.physics.elementwise import Value, choose, formula

_TINY = 1e-12  # keeps a lane without a cover from dividing by nothing


@formula
def plate_emissivity(first: Value, second: Value) -> Value:
    """Effective emissivity [1] between two wide plates of emissivity > 0: 1/(1/e1 + 1/e2 - 1)."""
    return 1.0 / (1.0 / first + 1.0 / second - 1.0)


@formula
def plate_exchange(warm: Value, cold: Value, first: Value, second: Value) -> Value:
    """Radiation [W m-2] from a plate at `warm` [K] to one at `cold` [K], emissivities `first` and `second` [1]."""
    return plate_emissivity(first, second) * STEFAN_BOLTZMANN * (warm**4 - cold**4)


@formula
def radiation_conductance(mean_temperature: Value, emissivity: Value) -> Value:
    """Radiation between two faces as a conductance [W m-2 K-1]: 4 e sigma T^3. ISO 6946:2007, Annex B."""
    return 4.0 * emissivity * STEFAN_BOLTZMANN * mean_temperature * mean_temperature * mean_temperature


@formula
def air_layer_convection(thickness: Value, heat_up: Value) -> Value:
    """Conduction and convection across an unventilated wide air layer [W m-2 K-1]; `thickness` [m].

    The larger of 0.025/d and 1.95 (heat flows up) or 0.12 d^-0.44 (down). Source: ISO 6946:2007, Table B.1.
    `heat_up` > 0: the ground is warmer than the cover.
    """
    still = 0.025 / thickness
    return np.maximum(still, choose(heat_up > 0.0, 1.95, 0.12 * thickness**-0.44))


@formula
def air_layer_convection_across(thickness: Value) -> Value:
    """The same when heat flows across an upright layer: the larger of 0.025/d and 1.25. ISO 6946:2007, Table B.1."""
    return np.maximum(0.025 / thickness, 1.25)


@formula
def air_layer_conductance(
    thickness: Value, heat_up: Value, mean_temperature: Value, first: Value, second: Value
) -> Value:
    """Convection and radiation across an unventilated air layer [W m-2 K-1]. ISO 6946:2007, Annex B."""
    return air_layer_convection(thickness, heat_up) + radiation_conductance(
        mean_temperature, plate_emissivity(first, second)
    )


@formula
def longwave_reflectance(emissivity: Value, transmittance: Value) -> Value:
    """What a cover neither emits nor passes [1], at least 0."""
    return np.maximum(1.0 - emissivity - transmittance, 0.0)


@formula
def protection_index(net_covered: Value, net_open: Value) -> Value:
    """Share of the open ground's night loss that a cover saves [1]: 1 - Rn_covered/Rn_open. Hanson 1963."""
    return 1.0 - net_covered / net_open


@formula
def absorbed_between(
    upper_through: Value,
    upper_top: Value,
    upper_under: Value,
    lower_through: Value,
    lower_top: Value,
    lower_under: Value,
    ground: Value,
) -> Value:
    """Where radiation ends between sky, an upper sheet, a lower sheet and the ground, all wide and diffuse [1].

    `*_through`: transmittance; `*_top`, `*_under`: absorptance from above and from below; `ground`: its absorptance.
    No lower sheet: through 1, absorptances 0. Every bounce is counted (sums of geometric series).

    Returns
    -------
    (sky to ground, sky to lower, sky to upper), (upper to ground, upper to lower, lower to ground)
        Shares of what comes from the sky; for longwave also exchange factors: F sigma (T1^4 - T2^4) [W m-2] passes
        (Kirchhoff). One opaque sheet: upper to ground is `plate_emissivity`.
    """
    echo = 1.0 - ground
    lower_back = 1.0 - lower_through - lower_under
    below = lower_through / (1.0 - lower_back * echo)
    in_ground = below * ground
    in_lower = lower_top + below * echo * lower_under
    back = 1.0 - lower_through - lower_top + lower_through * below * echo
    upper_back = 1.0 - upper_through - upper_under
    between = 1.0 / (1.0 - upper_back * back)
    entered, emitted = upper_through * between, upper_under * between
    sky = entered * in_ground, entered * in_lower, upper_top + entered * back * upper_under
    nearest = lower_under * ground / (1.0 - lower_back * echo) + in_lower * upper_back * between * in_ground
    return sky, (emitted * in_ground, emitted * in_lower, nearest)


# a film of water is opaque to longwave: 0.95-0.96 (Incropera Table A.11; from memory)
_WATER_EMISSIVITY = 0.96
# drops on a film send back some 10 % of the light (8-15 % in greenhouses: Pieters 1996; from memory)
_DROPS = 0.1
_FRESH = 100.0  # [kg m-3] snow on a sheet, to have a depth of it (from memory: 50-150)
_HIDES = 0.01  # [m] depth of it that hides half of the sheet (ours)
_SNOW_ALBEDO = 0.8  # of what is hidden so (ours)


@formula
def wetted_longwave(through: Value, emissivity: Value, top: Value, under: Value) -> Value:
    """A sheet's longwave numbers with wet shares `top` and `under` of its faces [1].

    Transmittance, absorptance from above and from below [1]: a film takes up what reaches it; the rest of the face is
    as dry, and what passes it meets the film on the other face.
    """
    dry_top, dry_under = 1.0 - top, 1.0 - under
    from_above = top * _WATER_EMISSIVITY + dry_top * (emissivity + through * under * _WATER_EMISSIVITY)
    from_below = under * _WATER_EMISSIVITY + dry_under * (emissivity + through * top * _WATER_EMISSIVITY)
    return through * dry_top * dry_under, from_above, from_below


@formula
def wetted_shortwave(through: Value, albedo: Value, drops: Value, ice: Value) -> Value:
    """A sheet's transmittance and albedo for light [1], with a share of it in `drops` [1] and `ice` on it [kg m-2]."""
    scattered = _DROPS * drops * through
    depth = ice / _FRESH
    hidden = depth / (depth + _HIDES)
    seen = 1.0 - hidden
    return seen * (through - scattered), seen * (albedo + scattered) + hidden * _SNOW_ALBEDO


# what of the wind's pressure 0.5 rho u2 pushes air through a lying sheet, in one half of it and out of the other (ours)
_GUST_PRESSURE = 0.1
# air in below an open edge over the wind: sharp-edged opening 0.6 (Idelchik; from memory), half of the edge takes in
_EDGE = 0.3


@formula
def edge_exchange(height: Value, perimeter: Value, area: Value) -> Value:
    """Outside air that comes in below a sheet's edges [m3 m-2 s-1], per [m s-1] of wind.

    0.3 h P / A: mean open `height` h of the edge [m], `perimeter` P [m], `area` A [m2]; orifice flow of the wind's
    whole pressure through half of the edge. The size is ours; the form is the orifice equation.
    """
    return _EDGE * height * perimeter / area


@formula
def pore_exchange(permeability: Value) -> Value:
    """Outside air through a lying fabric [m3 m-2 s-1], per [m2 s-2] of wind squared.

    `permeability` [m s-1] at 100 Pa, as ISO 9237 tells it; flow taken as straight in pressure. 0.1 of 0.5 rho u2 with
    rho 1.25 kg m-3, in through half of the sheet (ours).
    """
    return permeability / 100.0 * _GUST_PRESSURE * 0.5 * 1.25 * 0.5


@formula
def gap_star(face: Value, supply: Value) -> Value:
    """Two faces and air that passes between them, well mixed: direct link and link to the supply [W m-2 K-1].

    `face`: convection from each face to that air; `supply`: heat capacity of what passes. The mixed air eliminated:
    f^2 / (2 f + s) between the faces, f s / (2 f + s) from each to the supply. Of the heat supplied the faces take
    NTU / (1 + NTU), NTU = 2 f / s (mixed-flow effectiveness: Kays & London; Incropera ch. 11).
    """
    both = 2.0 * face + supply + _TINY
    return face * face / both, face * supply / both


@formula
def gap_humidity(
    below_held: Value,
    below_gives: Value,
    under_held: Value,
    under_gives: Value,
    face: Value,
    vent: Value,
    outside: Value,
) -> Value:
    """Specific humidity of the air under a sheet [kg kg-1], and the conductances of both faces to it [m s-1].

    `below_held`, `under_held`: at saturation at the surface below and at the sheet's underside [kg kg-1];
    `below_gives`, `under_gives`: their conductances where they give off, `face` where vapour comes to them (dew needs
    no water there); `vent`: of air and pores to the `outside` humidity. Steady: what comes in goes out.
    """
    held, weight = (
        below_gives * below_held + under_gives * under_held + vent * outside,
        below_gives + under_gives + vent,
    )
    first = held / (weight + _TINY)
    below = choose(first > below_held, face, below_gives)
    under = choose(first > under_held, face, under_gives)
    held, weight = below * below_held + under * under_held + vent * outside, below + under + vent
    return held / (weight + _TINY), below, under
