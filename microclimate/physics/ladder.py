"""The surface state: one of nine for every patch at every time, the first that holds, worst first."""

import numpy as np

from microclimate.constants import ZERO_CELSIUS
from microclimate.physics.elementwise import Value, choose, formula

OPEN = 0
NEAR_FREEZING = 1
COLD_AND_DRY = 2
WHITE_FROST = 3
CRUST = 4
FROZEN_LAYER = 5
THAWED_OVER_FROZEN = 6
ICE_FILM = 7
SNOW_OR_SLUSH = 8

# snow lying [kg m-2], ice film [kg m-2], ice share [1], frost on the leaf [kg m-2], near freezing [K above 0 degC]:
# ours, no source; a venue may set its own
THRESHOLDS = (1.0, 0.1, 0.3, 0.005, 0.5)


@formula
def surface_state(
    snow_amount: Value,
    ice_film: Value,
    leaf_frost: Value,
    canopy_temperature: Value,
    ice_top: Value,
    ice_least: Value,
    ice_most: Value,
    coldest: Value,
    thresholds: tuple[float, float, float, float, float],
) -> Value:
    """The state of a patch as a number, 0 open to 8 snow or slush; NaN where an input is NaN.

    Parameters
    ----------
    snow_amount : snow lying [kg m-2]
    ice_film : frozen rain and refrozen melt water on leaf and soil [kg m-2]
    leaf_frost : frost on the leaf [kg m-2]
    canopy_temperature : [K]
    ice_top : frozen share of the water [1] in 0 to 10 mm
    ice_least : lowest frozen share [1] of any layer in 0 to 25 mm
    ice_most : highest frozen share [1] of any layer from below the crust (10 mm) down to 50 mm
    coldest : the lower of surface temperature and temperature at 25 mm [K]
    thresholds : as `THRESHOLDS`
    """
    snow, film, ice, frost, near = thresholds
    canopy_frozen = canopy_temperature < ZERO_CELSIUS
    state = choose(coldest <= ZERO_CELSIUS + near, NEAR_FREEZING, OPEN)
    state = choose(canopy_frozen, choose(leaf_frost >= frost, WHITE_FROST, COLD_AND_DRY), state)
    state = choose(ice_top >= ice, CRUST, state)
    state = choose(ice_least >= ice, FROZEN_LAYER, state)
    state = choose((ice_top < ice) & (ice_most >= ice), THAWED_OVER_FROZEN, state)
    state = choose(ice_film >= film, ICE_FILM, state)
    state = choose(snow_amount >= snow, SNOW_OR_SLUSH, state)
    total = snow_amount + ice_film + leaf_frost + canopy_temperature + ice_top + ice_least + ice_most + coldest
    return choose(np.isnan(total), np.nan, state)
