"""What trying water before a freeze hands to the reader: each window without and with it."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Seen:
    """One window in its coldest zone, all SI."""

    frozen: float  # chance of a frozen layer or worse in the zone most at risk
    canopy: float  # middle of the lowest canopy [K]
    soil: float  # middle of the lowest root zone at 25 mm [K]
    ice: float  # in the top 50 mm when it ends, middle realization, icier patch [kg m-2]


@dataclass(frozen=True)
class Watered:
    """`amount` [m] at `when` (UTC), of `temperature` [K] or as the ground is; (window, without, with)."""

    amount: float
    when: datetime
    temperature: float | None
    windows: tuple[tuple[str, Seen, Seen], ...]
