"""What a stand's surface trades with the air, the sky and what lies below: formulas for one square metre of plan.

A bench plank, a deck of sheet metal or a plastic seat is one temperature, open on both sides; concrete is a stack of
layers. Frost and dew raise the emissivity of bare metal, which then loses far more heat to the sky.
"""

import numpy as np

from microclimate.constants import HEAT_CAPACITY_AIR
from microclimate.physics.elementwise import Value, formula

LENGTH = 0.28  # [m] of a plank or tread along the wind: common bench width
OUTDOORS = 1.4  # [1] outdoor turbulence against the wind-tunnel plate (from memory; measurements scatter by x/ 1.4)
FILM_EMISSIVITY = 0.95  # [1] of frost, dew or wet dirt on metal (handbook: frost .98, water .96, thin films less)
FILM = 0.005  # [kg m-2] of frost or dew that hides the metal; ours, no source


@formula
def forced_conductance(speed: Value) -> Value:
    """Heat exchange of a plate in wind [W m-2 K-1]: 1.4 * 3.85 sqrt(u / L); `speed` at the seat [m s-1].

    Laminar flat plate at 0 degC, Nu = 0.664 Re^0.5 Pr^0.33, times 1.4 for turbulence outdoors (from memory).
    """
    return OUTDOORS * 3.85 * np.sqrt(speed / LENGTH)


@formula
def free_conductance(difference: Value) -> Value:
    """Heat exchange of a horizontal plate in still air [W m-2 K-1]: 1.32 (|dT| / L)^(1/4); `difference` [K].

    Simplified formula of the heat-transfer handbooks for a hot plate facing up (from memory).
    """
    return 1.32 * np.sqrt(np.sqrt(np.abs(difference) / LENGTH))


@formula
def conductance(forced: Value, difference: Value) -> Value:
    """Both together [W m-2 K-1]: (h_forced^3 + h_free^3)^(1/3), the usual blend of mixed convection."""
    free = free_conductance(difference)
    return np.cbrt(forced * forced * forced + free * free * free)


@formula
def vapour_conductance(heat_conductance: Value) -> Value:
    """Vapour exchange [kg m-2 s-1 per kg kg-1] beside a heat exchange [W m-2 K-1]: h / c_p (Lewis relation, Le = 1)."""
    return heat_conductance / HEAT_CAPACITY_AIR


@formula
def film_emissivity(emissivity: Value, film: Value) -> Value:
    """Longwave emissivity [1] of a surface with `film` [kg m-2] of dew or frost: its own to 0.95 at 5 g m-2."""
    share = np.minimum(np.maximum(film, 0.0) / FILM, 1.0)
    return emissivity + np.maximum(FILM_EMISSIVITY - emissivity, 0.0) * share
