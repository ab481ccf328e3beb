"""What falls: the share that is snow, and the light that cloud lets through."""

import numpy as np

from microclimate.constants import ZERO_CELSIUS
from microclimate.physics.elementwise import Value, formula


@formula
def snow_share(wet_bulb: Value) -> Value:
    """Share of precipitation that falls as snow [1] at `wet_bulb` temperature [K].

    1 / (1 + 6.99e-5 exp(2.0 (Tw + 3.97))), Tw [degC]; half at +0.81 degC.
    Source: Wang, Broxton, Fang et al. 2019, Geophys. Res. Lett. 46:13825, Eq. 1 (as coded in a public land model).
    """
    return 1.0 / (1.0 + 6.99e-5 * np.exp(np.minimum(2.0 * (wet_bulb - ZERO_CELSIUS + 3.97), 80.0)))


@formula
def shortwave_through_cloud(cloud: Value) -> Value:
    """Share of the clear-sky shortwave that reaches the ground [1] under `cloud` cover c [1]: 1 - 0.75 c^3.4.

    Source: Kasten & Czeplak 1980, Sol. Energy 24:177. Not to be turned round near clear: it is flat there.
    """
    return 1.0 - 0.75 * cloud**3.4
