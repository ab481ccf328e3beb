"""The layers: conductances, elimination from the bottom up, substitution from the top down. Lanes side by side.

Each layer holds its enthalpy E; backward Euler by Newton's rule in E. With d the change of a temperature,

    (c/dt + g_below + G_side + G_up) d = -(E - E_old)/dt + G_up (T_up + d_up - T) - G_dn (T - T_dn - d_dn) + q

so that, from below, a layer answers a change above it by d = CHANGE + SHARE d_up, and all below the surface look to the
canopy like one conductance and one temperature. E += c d keeps the energy exact however far the passes went.
"""

from microclimate.column.lanes import (
    ADMITTANCE,
    ANSWER,
    CAPACITY,
    CAPACITY_FREEZING,
    CAPACITY_FROZEN,
    CAPACITY_UNFROZEN,
    CHANGE,
    CONDUCTANCE,
    ENTHALPY,
    ENTHALPY_OLD,
    FORESEEN,
    FREEZING,
    HALF,
    HEATED,
    HEATING,
    INCREMENT,
    INVERSE,
    LANES,
    MISFIT,
    OPEN_LANE,
    PER_FREEZING,
    RESISTANCE_FROZEN,
    RESISTANCE_UNFROZEN,
    RESPONSE,
    SHARE,
    SIDE,
    SLOPE_FREEZING,
    SLOPE_FROZEN,
    SLOPE_UNFROZEN,
    SOURCE,
    TEMPERATURE,
    at,
    larger,
    smaller,
)
from microclimate.physics.elementwise import Value, choose, formula

FRONT = 0.75  # how far a freezing layer is taken as holding a front, rather than an even mixture (ours)


@formula
def layer_temperature(enthalpy: Value, unfrozen: Value, freezing: Value, frozen: Value, stretch: Value) -> Value:
    """Temperature above 0 degC [K] from enthalpy [J m-2]: three straight lines, as `soil.temperature_of_enthalpy`."""
    ice = larger(smaller(enthalpy, 0.0), -stretch)
    return larger(enthalpy, 0.0) * unfrozen + ice * freezing + smaller(enthalpy + stretch, 0.0) * frozen


@formula
def on_stretch(enthalpy: Value, unfrozen: Value, freezing: Value, frozen: Value, stretch: Value) -> Value:
    """The one of three values (slopes or capacities) that holds at an enthalpy [J m-2]."""
    return choose(enthalpy > 0.0, unfrozen, choose(enthalpy > -stretch, freezing, frozen))


@formula
def frozen_share(enthalpy: Value, stretch: Value) -> Value:
    """Frozen share of the water [1] at an enthalpy [J m-2]."""
    return smaller(larger(-enthalpy / stretch, 0.0), 1.0)


@formula
def settle(layer: Value, rows: Value) -> None:
    """Temperatures from enthalpies, where a run begins."""
    for row in range(1, rows + 1):
        for lane in range(LANES):
            layer[at(row, TEMPERATURE, lane)] = layer_temperature(
                layer[at(row, ENTHALPY, lane)],
                layer[at(row, SLOPE_UNFROZEN, lane)],
                layer[at(row, SLOPE_FREEZING, lane)],
                layer[at(row, SLOPE_FROZEN, lane)],
                layer[at(row, FREEZING, lane)],
            )


@formula
def halves(frozen: Value, unfrozen: Value, iced: Value, above: Value, here: Value, below: Value) -> Value:
    """Resistances from a layer's centre to its upper and its lower face [m2 K W-1].

    `frozen` share [1] of its water; `unfrozen` and `iced` resistance of half the layer; temperatures of the three
    layers. A layer that is freezing holds a front: with frost going one way through it, its ice lies on the cold side
    and its temperature is that of the front. Three quarters of the way from the even mixture to that picture serve
    freezing that goes one way and freezing that comes and goes (trial against fine grids; ours).
    """
    even = unfrozen + frozen * (iced - unfrozen)
    ice, rest = 2.0 * frozen * iced, 2.0 * (1.0 - frozen) * unfrozen
    from_above = (above < here) & (here < below)
    from_below = (above > here) & (here > below)
    weight = choose((from_above | from_below) & (frozen > 0.0) & (frozen < 1.0), FRONT, 0.0)
    up = even + weight * (choose(from_above, ice, rest) - even)
    down = even + weight * (choose(from_above, rest, ice) - even)
    return up, down


@formula
def begin(layer: Value, rows: Value) -> None:
    """Keep the old enthalpy; conductances between centres with the ice as it is now.

    Row 0 and the row below the last bring their own HALF: of the way into the canopy, and to what is below.
    """
    for row in range(1, rows + 1):
        for lane in range(LANES):
            enthalpy = layer[at(row, ENTHALPY, lane)]
            layer[at(row, ENTHALPY_OLD, lane)] = enthalpy
            up, down = halves(
                smaller(larger(-enthalpy * layer[at(row, PER_FREEZING, lane)], 0.0), 1.0),
                layer[at(row, RESISTANCE_UNFROZEN, lane)],
                layer[at(row, RESISTANCE_FROZEN, lane)],
                layer[at(row - 1, TEMPERATURE, lane)],
                layer[at(row, TEMPERATURE, lane)],
                layer[at(row + 1, TEMPERATURE, lane)],
            )
            layer[at(row, HALF, lane)] = down
            layer[at(row, CONDUCTANCE, lane)] = 1.0 / (up + layer[at(row - 1, HALF, lane)])
    for lane in range(LANES):
        half = layer[at(rows + 1, HALF, lane)] + layer[at(rows, HALF, lane)]
        layer[at(rows + 1, CONDUCTANCE, lane)] = 1.0 / half
        layer[at(rows + 1, ADMITTANCE, lane)] = 1.0 / half
        layer[at(rows + 1, CHANGE, lane)] = 0.0


@formula
def eliminate(layer: Value, rows: Value, rate: Value) -> None:
    """From the bottom up; `rate` is 1/dt [s-1]."""
    for row in range(rows, 0, -1):
        for lane in range(LANES):
            enthalpy = layer[at(row, ENTHALPY, lane)]
            here = layer[at(row, TEMPERATURE, lane)]
            up = layer[at(row, CONDUCTANCE, lane)]
            down = layer[at(row + 1, CONDUCTANCE, lane)]
            side = layer[at(row, SIDE, lane)]
            capacity = on_stretch(
                enthalpy,
                layer[at(row, CAPACITY_UNFROZEN, lane)],
                layer[at(row, CAPACITY_FREEZING, lane)],
                layer[at(row, CAPACITY_FROZEN, lane)],
                layer[at(row, FREEZING, lane)],
            )
            layer[at(row, CAPACITY, lane)] = capacity
            own = capacity * rate + layer[at(row + 1, ADMITTANCE, lane)] + side
            rest = (
                (layer[at(row, ENTHALPY_OLD, lane)] - enthalpy) * rate
                + up * (layer[at(row - 1, TEMPERATURE, lane)] - here)
                - down * (here - layer[at(row + 1, TEMPERATURE, lane)] - layer[at(row + 1, CHANGE, lane)])
                + layer[at(row, SOURCE, lane)]
                - side * here
            )
            inverse = 1.0 / (own + up)
            share = up * inverse
            layer[at(row, INVERSE, lane)] = inverse
            layer[at(row, SHARE, lane)] = share
            layer[at(row, CHANGE, lane)] = rest * inverse
            layer[at(row, ADMITTANCE, lane)] = own * share


@formula
def respond(layer: Value, deepest: Value) -> None:
    """From the lowest heated layer up: answer of each layer to one more W m-2 of heating, nothing changing above it."""
    for lane in range(LANES):
        layer[at(deepest + 1, RESPONSE, lane)] = 0.0
    for row in range(deepest, 0, -1):
        for lane in range(LANES):
            heat = layer[at(row, HEATED, lane)]
            below = layer[at(row + 1, CONDUCTANCE, lane)] * layer[at(row + 1, RESPONSE, lane)]
            layer[at(row, RESPONSE, lane)] = (heat + below) * layer[at(row, INVERSE, lane)]


@formula
def foresee(layer: Value, deepest: Value) -> None:
    """From the top down to where pipes and probes are: the temperature this pass comes to, and its answer to heating.

    Row 0 holds the canopy's increment and answer.
    """
    for row in range(1, deepest + 1):
        for lane in range(LANES):
            share = layer[at(row, SHARE, lane)]
            step = layer[at(row, CHANGE, lane)] + share * layer[at(row - 1, INCREMENT, lane)]
            layer[at(row, INCREMENT, lane)] = step
            layer[at(row, FORESEEN, lane)] = layer[at(row, TEMPERATURE, lane)] + step
            layer[at(row, ANSWER, lane)] = layer[at(row, RESPONSE, lane)] + share * layer[at(row - 1, ANSWER, lane)]


@formula
def heated(layer: Value, deepest: Value) -> None:
    """Add to each layer what it does by itself of this pass's change of heating; row 0 holds the change."""
    for row in range(1, deepest + 1):
        for lane in range(LANES):
            change = layer[at(row - 1, HEATING, lane)]
            layer[at(row, HEATING, lane)] = change
            layer[at(row, CHANGE, lane)] += change * layer[at(row, RESPONSE, lane)]
            layer[at(row, SOURCE, lane)] += change * layer[at(row, HEATED, lane)]


@formula
def update(layer: Value, rows: Value) -> None:
    """E += c d, the new temperature, and the largest misfit with the straight line.

    The increment of row 0 is given.
    """
    for row in range(1, rows + 1):
        for lane in range(LANES):
            enthalpy = layer[at(row, ENTHALPY, lane)]
            unfrozen = layer[at(row, SLOPE_UNFROZEN, lane)]
            freezing = layer[at(row, SLOPE_FREEZING, lane)]
            frozen = layer[at(row, SLOPE_FROZEN, lane)]
            stretch = layer[at(row, FREEZING, lane)]
            going = layer[at(row - 1, OPEN_LANE, lane)]
            change = layer[at(row, CHANGE, lane)] + layer[at(row, SHARE, lane)] * layer[at(row - 1, INCREMENT, lane)]
            step = change * going
            line = layer[at(row, TEMPERATURE, lane)] + step
            enthalpy = enthalpy + step * layer[at(row, CAPACITY, lane)]
            new = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
            misfit = abs(new - line)
            worst = layer[at(row - 1, MISFIT, lane)]
            layer[at(row, MISFIT, lane)] = larger(misfit, worst)
            layer[at(row, OPEN_LANE, lane)] = going
            layer[at(row, ENTHALPY, lane)] = enthalpy
            layer[at(row, TEMPERATURE, lane)] = new
            layer[at(row, INCREMENT, lane)] = change
