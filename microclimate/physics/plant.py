"""What a plant makes of fuel and current, and what readings tell of it."""

import numpy as np

from microclimate.physics.elementwise import Value, formula

_AIR = (6.81, -0.121, 0.000630)  # 15 to 60 K
_GROUND = (8.77, -0.150, 0.000734)  # 20 to 60 K
_AIR_LEAST, _GROUND_LEAST, _MOST = 15.0, 20.0, 60.0  # [K]


@formula
def heat_pump_air(lift: Value) -> Value:
    """Coefficient of performance [1] of a heat pump on outdoor air, by the `lift` [K] from air to supply water.

    6.81 - 0.121 x + 0.000630 x2 for 15 to 60 K; held at the ends outside. Source: Staffell et al. 2012, Energy Environ.
    Sci. 5:9291 (read in three open energy models that quote it).
    """
    x = np.minimum(np.maximum(lift, _AIR_LEAST), _MOST)
    return _AIR[0] + _AIR[1] * x + _AIR[2] * x * x


@formula
def heat_pump_ground(lift: Value) -> Value:
    """The same on ground: 8.77 - 0.150 x + 0.000734 x2 for 20 to 60 K; held at the ends outside. Same source."""
    x = np.minimum(np.maximum(lift, _GROUND_LEAST), _MOST)
    return _GROUND[0] + _GROUND[1] * x + _GROUND[2] * x * x


@formula
def heat_of_flow(flow: Value, heat_capacity: Value, supply: Value, back: Value) -> Value:
    """Heat [W] that a `flow` [m3 s-1] of `heat_capacity` [J m-3 K-1] leaves between supply and return [K]."""
    return flow * heat_capacity * (supply - back)
