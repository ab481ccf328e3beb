"""What is kept of a run while it goes: for each window the worst, the lowest, the sums. Lanes side by side.

One account per window and block; its size knows nothing of the number of steps.
"""

import numpy as np
from numpy.typing import NDArray

from microclimate.column import rows as s
from microclimate.column.ground import frozen_share, ice_of
from microclimate.column.lanes import (
    IN_SEARCH,
    IN_STUDS,
    IN_TOP,
    LAYER_VARIABLES,
    TEMPERATURE,
    at,
    larger,
    put,
    smaller,
)
from microclimate.column.vector import own_row
from microclimate.constants import ZERO_CELSIUS
from microclimate.physics import ladder
from microclimate.physics.elementwise import Value, choose, formula
from microclimate.schema import REPORT_DEPTHS, SurfaceState

STATES = len(SurfaceState)
DEPTHS = len(REPORT_DEPTHS)

# rows of an account
WORST, FINAL, CANOPY, CANOPY_WHEN, ONSET, ENERGY, POWER, STEPS, HEATED = range(9)
HOURS = 9  # one row for each state
SOIL = HOURS + STATES  # lowest at each depth
SOIL_WHEN = SOIL + DEPTHS
ACCOUNT = SOIL_WHEN + DEPTHS

# rows of a report: what holds at the end of a step
STATE = 0
REPORT_SOIL = 1
REPORT = REPORT_SOIL + DEPTHS

NEVER = -1.0


def by_column(accounts: NDArray[np.float64], columns: int) -> NDArray[np.float64]:
    """Accounts as the kernel fills them, (block, window, account, lane), as (column, window, ACCOUNT)."""
    blocks, windows, _, lanes = accounts.shape
    return accounts.transpose(0, 3, 1, 2).reshape(blocks * lanes, windows, ACCOUNT)[:columns]


@formula
def open_account(account: Value, first: Value) -> None:
    """A fresh account; its rows begin at `first`."""
    nothing = 0.0 * account[first]
    for row in range(ACCOUNT):
        account[first + row] = nothing
    account[first + WORST] = nothing + NEVER
    account[first + CANOPY] = nothing + np.inf
    account[first + CANOPY_WHEN] = nothing + NEVER
    account[first + ONSET] = nothing + NEVER
    for depth in range(DEPTHS):
        account[first + SOIL + depth] = nothing + np.inf
        account[first + SOIL_WHEN + depth] = nothing + NEVER


@formula
def report(surface: Value, layer: Value, shallow: Value, places: Value, thresholds: Value, told: Value) -> None:
    """Surface state and root-zone temperatures [degC] at the end of a step.

    `shallow` layers are looked at for ice; `places` holds place and share of the report depths for each lane.
    """
    top = 0.0 * surface[s.LEAF]
    least, most = top + 1.0, top
    for place in range(1, shallow + 1):
        ice = ice_of(layer, place)
        top = top + layer[at(place, IN_TOP)] * ice
        least = choose(layer[at(place, IN_STUDS)] > 0.0, smaller(ice, least), least)
        most = choose(layer[at(place, IN_SEARCH)] > 0.0, larger(ice, most), most)
    for depth in range(DEPTHS):
        row = places[2 * depth] * LAYER_VARIABLES + TEMPERATURE
        above, below = own_row(layer, row), own_row(layer, row + LAYER_VARIABLES)
        told[REPORT_SOIL + depth] = above + places[2 * depth + 1] * (below - above)
    leaf, frost = surface[s.LEAF], surface[s.LEAF_FROST]
    ice = frozen_share(surface[s.LEAF_ENTHALPY], surface[s.LEAF_STRETCH])
    told[STATE] = ladder.surface_state(
        surface[s.SNOW],
        ice * (surface[s.LEAF_FILM] + frost) - frost,
        frost,
        leaf + ZERO_CELSIUS,
        top,
        least,
        most,
        smaller(leaf, told[REPORT_SOIL]) + ZERO_CELSIUS,
        thresholds,
    )


@formula
def enter(surface: Value, told: Value, living: Value, when: Value, hours: Value, account: Value, first: Value) -> None:
    """Enter one step of `hours` into an account whose rows begin at `first`; lanes not `living` stay as they are."""
    state, leaf, heat = told[STATE], surface[s.LEAF], surface[s.HEAT]
    lasted = choose(living, hours + 0.0 * account[first], 0.0)
    account[first + STEPS] = account[first + STEPS] + lasted
    account[first + ENERGY] = account[first + ENERGY] + lasted * 3600.0 * heat
    account[first + HEATED] = account[first + HEATED] + choose(heat > 0.0, lasted, 0.0)
    power, worst = account[first + POWER], account[first + WORST]
    account[first + POWER] = choose(living & (heat > power), heat, power)
    account[first + WORST] = choose(living & (state > worst), state, worst)
    put(account, first + FINAL, living, state)
    _lowest(account, first + CANOPY, first + CANOPY_WHEN, living, leaf, when)
    put(account, first + ONSET, living & (leaf < 0.0) & (account[first + ONSET] < 0.0), when)
    for kind in range(STATES):
        row = first + HOURS + kind
        account[row] = account[row] + choose(state == kind, lasted, 0.0)
    for depth in range(DEPTHS):
        soil = told[REPORT_SOIL + depth]
        _lowest(account, first + SOIL + depth, first + SOIL_WHEN + depth, living, soil, when)


@formula
def _lowest(account: Value, row: Value, then: Value, living: Value, degrees: Value, when: Value) -> None:
    """The lowest temperature so far, and when."""
    colder = living & (degrees < account[row])
    put(account, row, colder, degrees)
    put(account, then, colder, when)
