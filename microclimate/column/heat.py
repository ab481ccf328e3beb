"""Root-zone heating: a source in the layers round the pipes, as strong as its probe asks and its water allows.

What the layers and the surface do is linear within a pass, T = T0 + P r with r their answer to one more W m-2, so the
power that brings the probe to its set point is found at once, and so is the most the water can give.

Soil beside a pipe is warmer than the mean at its depth, by a wave along the row that takes its time to build up and to
fade (`heating.row_spreading`): HEAT_CROWDED. The wave has no mean, so it holds no heat.
"""

from microclimate.column import rows as s
from microclimate.column.ground import probed
from microclimate.column.lanes import larger, put, smaller
from microclimate.column.vector import anywhere
from microclimate.physics.elementwise import Value, choose, formula

FADED = 1e-3  # [K] crowding below it is none


@formula
def may_heat(surface: Value) -> Value:
    """Lanes that may heat in this step."""
    return (surface[s.HEATING_ALLOWED] > 0.0) & (surface[s.HEAT_LIMIT] > 0.0)


@formula
def begin(surface: Value, layer: Value, lowest: Value, step: Value) -> None:
    """At the start of a step: the set point that holds now; on or off where the plant knows only that."""
    probe, allowed = probed(layer, lowest), may_heat(surface)
    waited, target = surface[s.HEAT_WAIT], surface[s.SET_POINT_NOW]
    # a set point that begins to rise starts from where the probe is
    target = choose(waited > 0.0, target, probe) + surface[s.HEAT_RAMP] * step
    target = smaller(surface[s.SET_POINT], larger(target, probe))
    band = 0.5 * surface[s.HEAT_BAND]
    on = choose(probe < target - band, 1.0, choose(probe > target + band, 0.0, surface[s.HEAT_ON]))
    waited = choose(allowed, waited + step, 0.0)
    surface[s.SET_POINT_NOW], surface[s.HEAT_WAIT] = target, waited
    coupling, pace = surface[s.HEAT_COUPLING], 1.0 / (1.0 + step * surface[s.HEAT_SPREADING])
    surface[s.COUPLING_NOW] = coupling / (1.0 + coupling * surface[s.HEAT_CROWDING] * (1.0 - pace))
    surface[s.SUPPLY_NOW] = surface[s.SUPPLY] - pace * surface[s.HEAT_CROWDED]
    put(surface, s.HEAT, ~allowed | (waited <= surface[s.HEAT_LAG]), 0.0)
    surface[s.HEAT_ON] = choose(allowed, on, 0.0)


@formula
def rest(surface: Value) -> None:
    """No lane of the block may heat: nothing runs."""
    if anywhere(surface[s.HEAT_WAIT] > 0.0):
        nothing = 0.0 * surface[s.HEAT]
        surface[s.HEAT], surface[s.HEAT_ON], surface[s.HEAT_WAIT] = nothing, nothing, nothing


@formula
def decide(surface: Value, going: Value, found: Value, leaf_step: Value, leaf_answer: Value) -> Value:
    """Change of the heating in this pass [W m-2]; `found` by `ground.eliminate`, canopy's step and answer as well."""
    pushed, pipe, pipe_answer, probe, probe_answer, probe_share = found
    pipe, answer = pipe + pushed * leaf_step, pipe_answer + pushed * leaf_answer
    probe, probe_answer = probe + probe_share * leaf_step, probe_answer + probe_share * leaf_answer
    running = may_heat(surface) & (surface[s.HEAT_WAIT] > surface[s.HEAT_LAG]) & going
    now, most = surface[s.HEAT], surface[s.HEAT_LIMIT]
    # P = coupling (water - pipe - (P - now) answer)
    coupling = surface[s.COUPLING_NOW]
    drawn = coupling * (surface[s.SUPPLY_NOW] - pipe + now * answer) / (1.0 + coupling * answer)
    most = choose(coupling > 0.0, larger(smaller(most, drawn), 0.0), most)
    # what brings the probe to its set point; without an answer at the probe, all or nothing
    wanted = now + (surface[s.SET_POINT_NOW] - probe) / larger(probe_answer, 1e-9)
    wanted = choose(surface[s.HEAT_BAND] > 0.0, most * surface[s.HEAT_ON], wanted)
    change = choose(running, larger(smaller(wanted, most), 0.0) - now, 0.0)
    surface[s.HEAT] = now + change
    return change


@formula
def settle(surface: Value, step: Value) -> None:
    """At the end of a step: what the heat that ran leaves crowded round the pipes."""
    share = step * surface[s.HEAT_SPREADING]
    crowded = (surface[s.HEAT_CROWDED] + share * surface[s.HEAT_CROWDING] * surface[s.HEAT]) / (1.0 + share)
    surface[s.HEAT_CROWDED] = choose(crowded > FADED, crowded, 0.0)
