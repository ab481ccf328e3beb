"""Where things lie in the workspace of one block of lanes.

A block carries `LANES` columns side by side. Two flat arrays hold it: `layer` with rows 0 (the canopy's image), 1..N
(the layers from the top) and N+1 (what is below), and `surface` with one row for each of its variables. Fixed sizes and
unsigned indices let the compiler turn every loop over lanes into vector instructions.
"""

import numpy as np

from microclimate.physics.elementwise import Value, choose, formula

LANES = 32

# of every layer
(
    SLOPE_UNFROZEN,  # dT/dE [K m2 J-1]
    SLOPE_FREEZING,
    SLOPE_FROZEN,
    CAPACITY_UNFROZEN,  # their inverses, which cost a division each time otherwise [J m-2 K-1]
    CAPACITY_FREEZING,
    CAPACITY_FROZEN,
    FREEZING,  # enthalpy of the freezing stretch [J m-2]
    RESISTANCE_UNFROZEN,  # of half the layer [m2 K W-1]
    RESISTANCE_FROZEN,
    PER_FREEZING,  # inverse of FREEZING
    SIDE,  # conductance to the side face [W m-2 K-1]
    HEATED,  # share of the heating put in here [1]
    IN_TOP,  # share of the uppermost 10 mm that is in here [1]
    IN_STUDS,  # 1: counts for a frozen layer (0 to 25 mm)
    IN_SEARCH,  # 1: counts for ice below a thawed top (to 50 mm)
    ENTHALPY,  # E [J m-2], 0 = all liquid at 0 degC
    ENTHALPY_OLD,
    TEMPERATURE,  # [degC]
    CAPACITY,  # the one that holds in this pass [J m-2 K-1]
    CONDUCTANCE,  # to the row above [W m-2 K-1]
    INVERSE,  # of the pivot
    SHARE,  # of a change above that arrives here
    CHANGE,  # of temperature with nothing changing above [K]
    ADMITTANCE,  # what the row above sees of all below [W m-2 K-1]
    INCREMENT,  # [K]
    HALF,  # resistance from the centre to a face [m2 K W-1]
    RESPONSE,  # of temperature to one more W m-2 of heating, nothing changing above [K]
    ANSWER,  # the same with what changes above
    FORESEEN,  # temperature that the pass comes to, before its change of heating [degC]
    HEATING,  # change of the heating in the pass, handed down [W m-2]
    SOURCE,  # [W m-2]
    OPEN_LANE,  # 1 while the lane still iterates
    MISFIT,  # largest so far of |T(E) - linear T| [K]
    LAYER_VARIABLES,
) = range(34)
LAYER_GIVEN = IN_SEARCH + 1  # of these, the first, are given and stay


@formula
def at(row: Value, variable: Value, lane: Value) -> Value:
    """Index into `layer`."""
    return np.uint64((row * LAYER_VARIABLES + variable) * LANES + lane)


@formula
def on(variable: Value, lane: Value) -> Value:
    """Index into `surface`."""
    return np.uint64(variable * LANES + lane)


@formula
def larger(first: Value, second: Value) -> Value:
    """The larger of two, plainly: np.maximum also looks for NaN, which costs a lane more than the choice itself."""
    return choose(first > second, first, second)


@formula
def smaller(first: Value, second: Value) -> Value:
    """The smaller of two, as `larger`."""
    return choose(first < second, first, second)
