"""What is kept of a run while it goes: for each window the worst, the lowest, the sums. Lanes side by side.

One account per window and block; its size knows nothing of the number of steps.
"""

import numpy as np
from numpy.typing import NDArray

from microclimate.column import rows as s
from microclimate.column.ground import frozen_share
from microclimate.column.heat import between_rows
from microclimate.column.lanes import (
    ENTHALPY,
    IN_SEARCH,
    IN_STUDS,
    IN_TOP,
    LANES,
    PER_FREEZING,
    TEMPERATURE,
    at,
    larger,
    on,
    smaller,
)
from microclimate.constants import ZERO_CELSIUS
from microclimate.physics import ladder
from microclimate.physics.elementwise import Value, formula
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


@formula
def slot(row: Value, lane: Value) -> Value:
    """Index into an account or a report."""
    return np.uint64(row * LANES + lane)


def by_column(accounts: NDArray[np.float64], columns: int) -> NDArray[np.float64]:
    """Accounts as the kernel fills them, (block, window, account of lanes), as (column, window, ACCOUNT)."""
    blocks, windows = accounts.shape[:2]
    by_lane = accounts.reshape(blocks, windows, ACCOUNT, LANES).transpose(0, 3, 1, 2)
    return by_lane.reshape(blocks * LANES, windows, ACCOUNT)[:columns]


@formula
def open_account(account: Value) -> None:
    """A fresh account."""
    for lane in range(LANES):
        for row in range(ACCOUNT):
            account[slot(row, lane)] = 0.0
        account[slot(WORST, lane)] = -1.0
        account[slot(CANOPY, lane)] = np.inf
        account[slot(CANOPY_WHEN, lane)] = NEVER
        account[slot(ONSET, lane)] = NEVER
        for depth in range(DEPTHS):
            account[slot(SOIL + depth, lane)] = np.inf
            account[slot(SOIL_WHEN + depth, lane)] = NEVER


@formula
def report(surface: Value, layer: Value, shallow: Value, places: Value, thresholds: Value, told: Value) -> None:
    """Surface state and root-zone temperatures [degC] at the end of a step.

    `shallow` rows are looked at for ice; `places` holds row and share of the report depths for each lane.
    """
    for lane in range(LANES):
        told[slot(STATE, lane)] = 0.0
        told[slot(REPORT, lane)] = 1.0
        told[slot(REPORT + 1, lane)] = 0.0
    for row in range(1, shallow + 1):
        for lane in range(LANES):
            ice = smaller(larger(-layer[at(row, ENTHALPY, lane)] * layer[at(row, PER_FREEZING, lane)], 0.0), 1.0)
            told[slot(STATE, lane)] += layer[at(row, IN_TOP, lane)] * ice
            least, most = told[slot(REPORT, lane)], told[slot(REPORT + 1, lane)]
            in_studs, in_search = layer[at(row, IN_STUDS, lane)], layer[at(row, IN_SEARCH, lane)]
            least = ice if in_studs > 0.0 and ice < least else least
            most = ice if in_search > 0.0 and ice > most else most
            told[slot(REPORT, lane)], told[slot(REPORT + 1, lane)] = least, most
    for depth in range(DEPTHS):
        for lane in range(LANES):
            told[slot(REPORT_SOIL + depth, lane)] = between_rows(
                layer, TEMPERATURE, places[slot(2 * depth, lane)], places[slot(2 * depth + 1, lane)], lane
            )
    for lane in range(LANES):
        leaf, soil = surface[on(s.LEAF, lane)], told[slot(REPORT_SOIL, lane)]
        frost = surface[on(s.LEAF_FROST, lane)]
        ice = frozen_share(surface[on(s.LEAF_ENTHALPY, lane)], surface[on(s.LEAF_STRETCH, lane)])
        film = ice * (surface[on(s.LEAF_FILM, lane)] + frost) - frost
        told[slot(STATE, lane)] = ladder.surface_state(
            surface[on(s.SNOW, lane)],
            film,
            frost,
            leaf + ZERO_CELSIUS,
            told[slot(STATE, lane)],
            told[slot(REPORT, lane)],
            told[slot(REPORT + 1, lane)],
            (leaf if leaf < soil else soil) + ZERO_CELSIUS,
            thresholds,
        )


@formula
def enter(surface: Value, told: Value, alive: Value, when: Value, hours: Value, account: Value) -> None:
    """Enter one step of `hours` into an account; lanes that are not `alive` stay as they are."""
    for lane in range(LANES):
        living = alive[lane] > 0.0
        state, leaf = told[slot(STATE, lane)], surface[on(s.LEAF, lane)]
        heat = surface[on(s.HEAT, lane)]
        lasted = hours if living else 0.0
        account[slot(STEPS, lane)] += lasted
        account[slot(ENERGY, lane)] += lasted * 3600.0 * heat
        account[slot(HEATED, lane)] += lasted if heat > 0.0 else 0.0
        power = account[slot(POWER, lane)]
        account[slot(POWER, lane)] = heat if living and heat > power else power
        worst, final = account[slot(WORST, lane)], account[slot(FINAL, lane)]
        account[slot(WORST, lane)] = state if living and state > worst else worst
        account[slot(FINAL, lane)] = state if living else final
        coldest, then = account[slot(CANOPY, lane)], account[slot(CANOPY_WHEN, lane)]
        colder = living and leaf < coldest
        account[slot(CANOPY, lane)] = leaf if colder else coldest
        account[slot(CANOPY_WHEN, lane)] = when if colder else then
        onset = account[slot(ONSET, lane)]
        account[slot(ONSET, lane)] = when if living and leaf < 0.0 and onset < 0.0 else onset
        for kind in range(STATES):
            account[slot(HOURS + kind, lane)] += lasted if state == kind else 0.0
    for depth in range(DEPTHS):
        for lane in range(LANES):
            soil = told[slot(REPORT_SOIL + depth, lane)]
            coldest, then = account[slot(SOIL + depth, lane)], account[slot(SOIL_WHEN + depth, lane)]
            colder = alive[lane] > 0.0 and soil < coldest
            account[slot(SOIL + depth, lane)] = soil if colder else coldest
            account[slot(SOIL_WHEN + depth, lane)] = when if colder else then
