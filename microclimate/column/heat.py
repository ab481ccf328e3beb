"""Root-zone heating: a source in the layers round the pipes, as strong as its probe asks and its water allows.

What the layers and the surface do is linear within a pass, T = T0 + P r with r their answer to one more W m-2, so the
power that brings the probe to its set point is found at once, and so is the most the water can give.
"""

import numpy as np

from microclimate.column import rows as s
from microclimate.column.lanes import (
    ANSWER,
    FORESEEN,
    HEATED,
    HEATING,
    LANES,
    SIDE,
    SOURCE,
    TEMPERATURE,
    at,
    larger,
    on,
    smaller,
)
from microclimate.physics.elementwise import Value, choose, formula


@formula
def between_rows(layer: Value, variable: Value, row: Value, share: Value, lane: Value) -> Value:
    """A layer variable at a depth: the `share` [1] of the way from `row` to the one below it."""
    first = np.uint64(row)
    above = layer[at(first, variable, lane)]
    return above + share * (layer[at(first + np.uint64(1), variable, lane)] - above)


@formula
def begin(surface: Value, layer: Value, step: Value) -> None:
    """At the start of a step: the set point that holds now; on or off where the plant knows only that."""
    for lane in range(LANES):
        probe = between_rows(layer, TEMPERATURE, surface[on(s.PROBE_ROW, lane)], surface[on(s.PROBE_SHARE, lane)], lane)
        if surface[on(s.HEATING_ALLOWED, lane)] > 0.0 and surface[on(s.HEAT_LIMIT, lane)] > 0.0:
            wanted = surface[on(s.SET_POINT, lane)]
            risen = surface[on(s.SET_POINT_NOW, lane)] + surface[on(s.HEAT_RAMP, lane)] * step
            surface[on(s.SET_POINT_NOW, lane)] = min(wanted, max(risen, probe))
            surface[on(s.HEAT_WAIT, lane)] += step
            band = 0.5 * surface[on(s.HEAT_BAND, lane)]
            target = surface[on(s.SET_POINT_NOW, lane)]
            if probe < target - band:
                surface[on(s.HEAT_ON, lane)] = 1.0
            elif probe > target + band:
                surface[on(s.HEAT_ON, lane)] = 0.0
            if surface[on(s.HEAT_WAIT, lane)] <= surface[on(s.HEAT_LAG, lane)]:
                surface[on(s.HEAT, lane)] = 0.0
        else:
            surface[on(s.HEAT, lane)] = 0.0
            surface[on(s.HEAT_ON, lane)] = 0.0
            surface[on(s.HEAT_WAIT, lane)] = 0.0
            surface[on(s.SET_POINT_NOW, lane)] = probe


@formula
def sources(surface: Value, layer: Value, rows: Value) -> None:
    """What comes into each layer from its side and from the heating that ran at the end of the last step."""
    for row in range(1, rows + 1):
        for lane in range(LANES):
            layer[at(row, SOURCE, lane)] = (
                layer[at(row, SIDE, lane)] * surface[on(s.AIR, lane)]
                + layer[at(row, HEATED, lane)] * surface[on(s.HEAT, lane)]
            )


@formula
def deepest(surface: Value) -> Value:
    """The lowest layer that pipes or probes of the block touch."""
    row = surface[on(s.PIPE_ROW, 0)]
    for lane in range(LANES):
        row = larger(row, larger(surface[on(s.PIPE_ROW, lane)], surface[on(s.PROBE_ROW, lane)]))
    return int(row) + 1


@formula
def decide(surface: Value, layer: Value) -> None:
    """Change of the heating in this pass."""
    for lane in range(LANES):
        row, share = surface[on(s.PIPE_ROW, lane)], surface[on(s.PIPE_SHARE, lane)]
        surface[on(s.PIPE, lane)] = between_rows(layer, FORESEEN, row, share, lane)
        surface[on(s.PIPE_ANSWER, lane)] = between_rows(layer, ANSWER, row, share, lane)
        row, share = surface[on(s.PROBE_ROW, lane)], surface[on(s.PROBE_SHARE, lane)]
        surface[on(s.PROBE, lane)] = between_rows(layer, FORESEEN, row, share, lane)
        surface[on(s.PROBE_ANSWER, lane)] = between_rows(layer, ANSWER, row, share, lane)
    for lane in range(LANES):
        running = (
            (surface[on(s.HEATING_ALLOWED, lane)] > 0.0)
            & (surface[on(s.HEAT_WAIT, lane)] > surface[on(s.HEAT_LAG, lane)])
            & (surface[on(s.OPEN_LANE, lane)] > 0.0)
        )
        now, most = surface[on(s.HEAT, lane)], surface[on(s.HEAT_LIMIT, lane)]
        # P = coupling (water - pipe - (P - now) answer)
        coupling, answer = surface[on(s.HEAT_COUPLING, lane)], surface[on(s.PIPE_ANSWER, lane)]
        drawn = coupling * (surface[on(s.SUPPLY, lane)] - surface[on(s.PIPE, lane)] + now * answer)
        drawn = larger(smaller(most, drawn / (1.0 + coupling * answer)), 0.0)
        most = choose(coupling > 0.0, drawn, most)
        # what brings the probe to its set point; without an answer at the probe, all or nothing
        lack = surface[on(s.SET_POINT_NOW, lane)] - surface[on(s.PROBE, lane)]
        wanted = now + lack / larger(surface[on(s.PROBE_ANSWER, lane)], 1e-9)
        wanted = choose(surface[on(s.HEAT_BAND, lane)] > 0.0, most * surface[on(s.HEAT_ON, lane)], wanted)
        change = choose(running, larger(smaller(wanted, most), 0.0) - now, 0.0)
        surface[on(s.HEAT, lane)] = now + change
        surface[on(s.HEAT_CHANGE, lane)] = change
        layer[at(0, HEATING, lane)] = change


@formula
def rest(surface: Value, layer: Value) -> None:
    """No lane of the block may heat: nothing runs, a set point to come would rise from where the probe is."""
    for lane in range(LANES):
        probe = between_rows(layer, TEMPERATURE, surface[on(s.PROBE_ROW, lane)], surface[on(s.PROBE_SHARE, lane)], lane)
        surface[on(s.HEAT, lane)] = 0.0
        surface[on(s.HEAT_ON, lane)] = 0.0
        surface[on(s.HEAT_WAIT, lane)] = 0.0
        surface[on(s.SET_POINT_NOW, lane)] = probe


@formula
def wanted_anywhere(surface: Value) -> Value:
    """1 where any lane of the block may heat in this step."""
    found = 0.0
    for lane in range(LANES):
        found = max(found, surface[on(s.HEATING_ALLOWED, lane)] * surface[on(s.HEAT_LIMIT, lane)])
    return found > 0.0
