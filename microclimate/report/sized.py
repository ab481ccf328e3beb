"""What a sizing report is written from: the options of each climate, and what was asked."""

from dataclasses import dataclass
from datetime import date

import xarray as xr

from microclimate.units import Shown


@dataclass(frozen=True)
class WinterTold:
    """One winter of a record."""

    name: str
    coverage: float  # [1]
    lowest: float  # [K] air


@dataclass(frozen=True)
class NightTold:
    """The design night of a climate."""

    years: float  # once in so many
    lowest: float  # [K] air
    low: float  # [K] its 80 % range
    high: float
    winters: int
    short: bool  # for want of winters, fitted to stretches of ten days


@dataclass(frozen=True)
class TrialsTold:
    """Of each option in the coldest spell [h]; infinite: not within five days, NaN: without heat."""

    lowest: float  # [K] air
    outage: float  # [h]
    warm_up: tuple[float, ...]
    holds: tuple[float, ...]
    recovers: tuple[float, ...]


@dataclass(frozen=True)
class CircuitTold:
    """One circuit at full load."""

    name: str
    heat: float  # [W]
    pipe: float  # [m]
    loops: int
    loop: float  # [m]
    flow: float  # [m3 s-1]
    drop: float  # [Pa]
    supply: float  # [K]
    back: float  # [K]
    ripple: float  # [K]


@dataclass(frozen=True)
class ClimateTold:
    """The answer for one climate."""

    name: str
    far: float  # [km] from the venue; 0: the venue's own
    typical: bool
    first: date  # of the season
    last: date
    winters: tuple[WinterTold, ...]
    left_out: tuple[WinterTold, ...]
    filled: int  # hours
    night: NightTold | None
    told: xr.Dataset  # sealed by schema.SIZING_VARIABLES
    chosen: int  # the smallest option that holds the target, else the nearest
    holds: bool
    unfrozen: int | None  # the smallest option that keeps the ground without crust or worse as often; None: none does
    frontier: tuple[int, ...]
    assumed: tuple[str, ...]  # codes of the weather and the bowl
    trials: TrialsTold | None
    by_night: xr.Dataset  # of the chosen option: `energy` [J m-2] and `power` [W m-2] over the heated area, `lost`
    moved: tuple[tuple[str, float, float, float], ...]  # what changed; share held, kWh/m2, cost of the chosen option
    priced: tuple[tuple[float, int, float], ...]  # price factor; the option then chosen, its cost


@dataclass(frozen=True)
class Sized:
    """All that a planner asked for."""

    venue: str
    shown: Shown
    currency: str
    target: float  # share of event windows to hold
    canopy_min: float  # [K] limits
    rootzone_min: float
    heated_area: float  # [m2]
    field_area: float
    groups: dict[str, tuple[str, ...]]  # group -> zones of the venue
    plant: str  # kind, "" where there is none
    efficiency: float
    planned: bool  # no circuit in the venue: a usual one was taken
    events: tuple[str, ...]  # names, in order
    events_given: bool
    shifts: tuple[int, ...]  # [d]
    lead: float  # [s] the longest tried
    installed: tuple[tuple[str, float, float, float], ...]  # how told, value, low, high [W m-2]
    circuits: tuple[CircuitTold, ...]  # of the chosen option of the first climate
    climates: tuple[ClimateTold, ...]
