"""Covers: the air layer below one, radiation between its faces, and how it shields the ground."""

import numpy as np

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.physics.elementwise import Value, choose, formula


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
