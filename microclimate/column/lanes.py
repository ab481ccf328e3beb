"""Where things lie in the workspace of one block of columns, a lane each.

Two arrays of rows hold it (`vector`): `layer` with places 0 (the canopy's image), 1..N (the layers from the top) and
N+1 (what is below), each of `LAYER_VARIABLES` rows, and `surface` with one row for each name of `rows`.
"""

from microclimate.physics.elementwise import Value, choose, formula

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
    HEATED,  # share of the heating put in here, and weight of this layer in the pipes' temperature [1]
    PROBED,  # weight of this layer in the probe's temperature [1]
    IN_TOP,  # share of the uppermost 10 mm that is in here [1]
    IN_STUDS,  # 1: counts for a frozen layer (0 to 25 mm)
    IN_SEARCH,  # 1: counts for ice below a thawed top (crust to 50 mm)
    ENTHALPY,  # E [J m-2], 0 = all liquid at 0 degC
    ENTHALPY_OLD,
    TEMPERATURE,  # [degC]
    CAPACITY,  # the one that holds in this pass [J m-2 K-1]
    RESISTANCE,  # to the centre above [m2 K W-1]
    SHARE,  # of a change above that arrives here
    CHANGE,  # of temperature with nothing changing above [K]
    RESPONSE,  # of temperature to one more W m-2 of heating, nothing changing above [K]
    LAYER_VARIABLES,
) = range(25)
LAYER_GIVEN = IN_SEARCH + 1  # of these, the first, are given and stay


@formula
def at(place: Value, variable: Value) -> Value:
    """Row of `layer`."""
    return place * LAYER_VARIABLES + variable


@formula
def larger(first: Value, second: Value) -> Value:
    """The larger of two, plainly: np.maximum also looks for NaN, which costs a lane more than the choice itself."""
    return choose(first > second, first, second)


@formula
def smaller(first: Value, second: Value) -> Value:
    """The smaller of two, as `larger`."""
    return choose(first < second, first, second)


@formula
def put(surface: Value, row: Value, where: Value, value: Value) -> None:
    """Set a row in the lanes where a condition holds."""
    surface[row] = choose(where, value, surface[row])
