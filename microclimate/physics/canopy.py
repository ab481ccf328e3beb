"""The grass: water on the leaf, resistance to evaporation."""

import numpy as np

from microclimate.physics.elementwise import Value, choose, fast_cube_root, formula


@formula
def wet_share(leaf_water: Value, capacity: Value) -> Value:
    """Share of the leaf that is wet [1]: (W/W_max)^(2/3), `leaf_water` and `capacity` [kg m-2].

    Source: Deardorff 1978, J. Geophys. Res. 83:1889, Eq. (47).
    """
    filled = np.minimum(np.maximum(leaf_water / capacity, 0.0), 1.0)
    root = np.cbrt(filled)
    return root * root


@formula
def fast_wet_share(leaf_water: Value, capacity: Value) -> Value:
    """`wet_share` [1] without the cube root. Largest error 5e-4 (tested)."""
    filled = leaf_water / capacity
    filled = choose(filled > 0.0, filled, 0.0)
    root = fast_cube_root(choose(filled < 1.0, filled, 1.0))
    return root * root


@formula
def drip(leaf_water: Value, capacity: Value) -> Value:
    """Water [kg m-2] above what the leaf holds, which runs off; `leaf_water` and `capacity` [kg m-2]."""
    return np.maximum(leaf_water - capacity, 0.0)


@formula
def surface_resistance(sunlit: Value, day: Value, night: Value) -> Value:
    """Resistance of dry grass to evaporation [s m-1]: `day` while the sun is up (`sunlit` > 0), else `night`.

    Well-watered clipped grass: 50 and 200. Source: ASCE-EWRI 2005, Table 1 (hourly, short reference).
    """
    return choose(sunlit > 0.0, day, night) + 0.0 * sunlit  # a missing number stays missing


@formula
def vapour_conductance(air: Value, resistance: Value, wet: Value) -> Value:
    """Conductance of vapour from leaf to air [m s-1]: the `wet` share [1] freely, the rest past `resistance`.

    `resistance` r_s [s m-1];
    g_a (w + (1 - w) / (1 + g_a r_s)), `air` conductance g_a [m s-1]. Source: Deardorff 1978.
    """
    return air * (wet + (1.0 - wet) / (1.0 + air * resistance))
