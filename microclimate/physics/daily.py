"""The air's temperature over one day from its highest and lowest: a sine by day, a decay by night."""

import numpy as np

from microclimate.physics.elementwise import Value, formula

# Parton & Logan 1981, Agric. Meteorol. 23:205, air at 1.5 m (as many public codes carry them): lag of the highest
# behind noon [h], decay of the night [1], lag of the lowest behind sunrise [h]
LAG_HIGHEST, DECAY, LAG_LOWEST = 1.86, 2.20, -0.17


@formula
def by_day(hours: Value, daylight: Value, lowest: Value, highest: Value) -> Value:
    """Temperature [K] some `hours` after the lowest [h], `daylight` long [h]: Tn + (Tx - Tn) sin(pi m / (Y + 2 a)).

    Source: Parton & Logan 1981; from the lowest, near sunrise, to sunset.
    """
    return lowest + (highest - lowest) * np.sin(np.pi * hours / (daylight + 2.0 * LAG_HIGHEST))


@formula
def by_night(hours: Value, night: Value, lowest: Value, at_sunset: Value) -> Value:
    """Temperature [K] some `hours` after sunset [h], `night` long to the lowest [h].

    d + (Ts - d) exp(-b n / Z) of Parton & Logan 1981 with the level d chosen so that the lowest is reached, not only
    approached: d = (Tn - Ts exp(-b)) / (1 - exp(-b)).
    """
    end = np.exp(-DECAY)
    level = (lowest - at_sunset * end) / (1.0 - end)
    return level + (at_sunset - level) * np.exp(-DECAY * hours / night)
