"""The layers: resistances, elimination from the bottom up, substitution from the top down.

Each layer holds its enthalpy E; backward Euler by Newton's rule in E. With d the change of a temperature, R the
resistance to the centre above, g and F what passes from a layer to those below it (per kelvin that it warms, and at no
change of it),

    (c/dt + g_below + G_side + 1/R) d = (E_old - E)/dt - F_below + (T_up + d_up - T)/R + q

so that, from below, a layer answers a change above it by d = CHANGE + SHARE d_up with SHARE = 1/(1 + R (c/dt + g_below
+ G_side)), and all below the surface look to the canopy like one conductance and one flow. E += c d keeps the energy
exact however far the passes went.
"""

from microclimate.column.lanes import (
    CAPACITY,
    CAPACITY_FREEZING,
    CAPACITY_FROZEN,
    CAPACITY_UNFROZEN,
    CHANGE,
    ENTHALPY,
    ENTHALPY_OLD,
    FREEZING,
    HEATED,
    PER_FREEZING,
    PROBED,
    RESISTANCE,
    RESISTANCE_FROZEN,
    RESISTANCE_UNFROZEN,
    RESPONSE,
    SHARE,
    SIDE,
    SLOPE_FREEZING,
    SLOPE_FROZEN,
    SLOPE_UNFROZEN,
    TEMPERATURE,
    at,
    larger,
    smaller,
)
from microclimate.column.vector import anywhere
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
def ice_of(layer: Value, place: Value) -> Value:
    """Frozen share of the water [1] of a layer."""
    return smaller(larger(-layer[at(place, ENTHALPY)] * layer[at(place, PER_FREEZING)], 0.0), 1.0)


@formula
def _temperature_of(layer: Value, place: Value, enthalpy: Value) -> Value:
    """`layer_temperature` of a layer; where no lane's water freezes the first of the three lines is all."""
    degrees = enthalpy * layer[at(place, SLOPE_UNFROZEN)]
    if anywhere(enthalpy <= 0.0):
        degrees = layer_temperature(
            enthalpy,
            layer[at(place, SLOPE_UNFROZEN)],
            layer[at(place, SLOPE_FREEZING)],
            layer[at(place, SLOPE_FROZEN)],
            layer[at(place, FREEZING)],
        )
    return degrees


@formula
def _capacity_of(layer: Value, place: Value, enthalpy: Value) -> Value:
    """The heat capacity of a layer that holds at an enthalpy."""
    capacity = layer[at(place, CAPACITY_UNFROZEN)]
    if anywhere(enthalpy <= 0.0):
        capacity = on_stretch(
            enthalpy,
            capacity,
            layer[at(place, CAPACITY_FREEZING)],
            layer[at(place, CAPACITY_FROZEN)],
            layer[at(place, FREEZING)],
        )
    return capacity


@formula
def settle(layer: Value, count: Value) -> None:
    """Temperatures from enthalpies, where a run begins."""
    for place in range(1, count + 1):
        layer[at(place, TEMPERATURE)] = _temperature_of(layer, place, layer[at(place, ENTHALPY)])


@formula
def halves(frozen: Value, unfrozen: Value, iced: Value, above: Value, here: Value, below: Value) -> Value:
    """Resistances from a layer's centre to its upper and its lower face [m2 K W-1].

    `frozen` share [1] of its water; `unfrozen` and `iced` resistance of half the layer; temperatures of the three
    layers. A layer that is freezing holds a front: with frost going one way through it, its ice lies on the cold side
    and its temperature is that of the front. Three quarters of the way from the even mixture to that picture serve
    freezing that goes one way and freezing that comes and goes (trial against fine grids; ours).
    """
    even = unfrozen + frozen * (iced - unfrozen)
    up, down = even, even
    part = (frozen > 0.0) & (frozen < 1.0)
    if anywhere(part):
        ice, rest = 2.0 * frozen * iced, 2.0 * (1.0 - frozen) * unfrozen
        from_above = (above < here) & (here < below)
        from_below = (above > here) & (here > below)
        weight = choose((from_above | from_below) & part, FRONT, 0.0)
        up = even + weight * (choose(from_above, ice, rest) - even)
        down = even + weight * (choose(from_above, rest, ice) - even)
    return up, down


@formula
def begin(layer: Value, count: Value, leaf: Value, below: Value) -> None:
    """Keep the old enthalpy; resistances between centres with the ice as it is now.

    `leaf` and `below`: the way into the canopy and to what is below [m2 K W-1].
    """
    before, above, here = leaf, layer[at(0, TEMPERATURE)], layer[at(1, TEMPERATURE)]
    for place in range(1, count + 1):
        under = layer[at(place + 1, TEMPERATURE)]
        layer[at(place, ENTHALPY_OLD)] = layer[at(place, ENTHALPY)]
        up, down = halves(
            ice_of(layer, place),
            layer[at(place, RESISTANCE_UNFROZEN)],
            layer[at(place, RESISTANCE_FROZEN)],
            above,
            here,
            under,
        )
        layer[at(place, RESISTANCE)] = up + before
        before, above, here = down, here, under
    layer[at(count + 1, RESISTANCE)] = before + below


@formula
def eliminate(layer: Value, count: Value, lowest: Value, sided: Value, air: Value, heat: Value, rate: Value) -> Value:
    """From the bottom up; `rate` is 1/dt [s-1].

    `lowest` layer that pipes or probes touch, 0 where nothing heats; `sided`: some have an open side, to `air` [degC];
    `heat` [W m-2] that runs.

    Returns
    -------
    (conductance from the canopy to all below [W m-2 K-1], flow down into it with nothing changing above [W m-2]),
    (share of one more W m-2 that comes up to the canopy, pipes' temperature, its answer, probe's temperature, its
    answer, its share of a change of the canopy): what this pass comes to with nothing changing above; an answer is to
    one more W m-2 of heating, and the pipes' share of a change of the canopy is the first
    """
    here, under = layer[at(count, TEMPERATURE)], layer[at(count + 1, TEMPERATURE)]
    admittance = 1.0 / layer[at(count + 1, RESISTANCE)]
    flow = admittance * (here - under)
    none = 0.0 * here
    pushed, pipe, pipe_answer, probe, probe_answer, probe_share = none, none, none, none, none, none
    for place in range(count, 0, -1):
        enthalpy, above = layer[at(place, ENTHALPY)], layer[at(place - 1, TEMPERATURE)]
        resistance = layer[at(place, RESISTANCE)]
        capacity = _capacity_of(layer, place, enthalpy)
        own = capacity * rate + admittance
        gain = (layer[at(place, ENTHALPY_OLD)] - enthalpy) * rate - flow
        if sided:
            side = layer[at(place, SIDE)]
            own, gain = own + side, gain + side * (air - here)
        if place <= lowest:
            gain = gain + layer[at(place, HEATED)] * heat
        share = 1.0 / (1.0 + own * resistance)
        change = (gain * resistance + (above - here)) * share
        layer[at(place, CAPACITY)] = capacity
        layer[at(place, SHARE)] = share
        layer[at(place, CHANGE)] = change
        if place <= lowest:
            piped, probed = layer[at(place, HEATED)], layer[at(place, PROBED)]
            arrived = piped + pushed
            pushed = arrived * share
            response = pushed * resistance
            layer[at(place, RESPONSE)] = response
            pipe = pipe + piped * here + arrived * change
            pipe_answer = pipe_answer + arrived * response
            probe_share = probe_share + probed
            probe = probe + probed * here + probe_share * change
            probe_answer = probe_answer + probe_share * response
            probe_share = probe_share * share
        admittance = own * share
        flow = admittance * (above - here) - gain * share
        here = above
    return (admittance, flow), (pushed, pipe, pipe_answer, probe, probe_answer, probe_share)


@formula
def update(
    layer: Value, count: Value, lowest: Value, leaf_step: Value, heat_change: Value, going: Value, misfit: Value
) -> Value:
    """E += c d, the new temperatures, in lanes that are still `going`; back comes the larger misfit with the lines [K].

    `leaf_step` [K] of the canopy and `heat_change` [W m-2] of the heating in this pass.
    """
    step, nothing = leaf_step, 0.0 * leaf_step
    for place in range(1, count + 1):
        step = layer[at(place, CHANGE)] + layer[at(place, SHARE)] * step
        if place <= lowest:
            step = step + heat_change * layer[at(place, RESPONSE)]
        moved = choose(going, step, nothing)
        line = layer[at(place, TEMPERATURE)] + moved
        enthalpy = layer[at(place, ENTHALPY)] + moved * layer[at(place, CAPACITY)]
        now = _temperature_of(layer, place, enthalpy)
        misfit = larger(abs(now - line), misfit)
        layer[at(place, ENTHALPY)] = enthalpy
        layer[at(place, TEMPERATURE)] = now
    return misfit


@formula
def probed(layer: Value, lowest: Value) -> Value:
    """Temperature at the probe [degC]."""
    found = 0.0 * layer[at(1, TEMPERATURE)]
    for place in range(1, lowest + 1):
        found = found + layer[at(place, PROBED)] * layer[at(place, TEMPERATURE)]
    return found
