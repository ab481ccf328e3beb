"""What the work windows hand to the reader: for each job, zone and hour the share of forecasts within the limits."""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Kind = Literal["dry", "leaf", "air", "gust", "ground", "vehicles", "snow", "light", "crew"]
Job = Literal[
    "mowing",
    "line marking",
    "brushing and rolling",
    "watering by hand",
    "spraying",
    "laying covers",
    "lifting covers",
    "clearing snow",
]


@dataclass(frozen=True)
class Condition:
    """One limit of a job: its value (SI; None where it is yes or no) and where it comes from."""

    kind: Kind
    value: float | None = None
    basis: str = ""


@dataclass(frozen=True)
class Worked:
    """Hours of work ahead, nothing laid and no heat.

    Attributes
    ----------
    hours : array of datetime64 (hour)
        Beginnings, UTC, whole hours one after the other.
    zones : tuple of str
    jobs : mapping of job to its conditions
    share : array (job, zone, hour)
        Of the forecasts in which the hour is within the job's limits all over the zone.
    wanted : float
        Share from which an hour counts.
    frost : array (hour)
        Share of the forecasts in which the bowl's coldest air is below 0 degC in that hour.
    coldest : array (hour)
        Middle of that air's lowest over the forecasts [K].
    tolerated : float
        Chance of frost in pipes from which the reminder counts the hour.
    scarce : mapping of job to one of its conditions
        The one that holds most seldom while it is light and the crew is there.
    """

    hours: NDArray[np.datetime64]
    zones: tuple[str, ...]
    jobs: dict[Job, tuple[Condition, ...]]
    share: NDArray[np.float64]
    wanted: float
    frost: NDArray[np.float64]
    coldest: NDArray[np.float64]
    tolerated: float
    scarce: dict[Job, Condition]

    @cached_property
    def holds(self) -> NDArray[np.bool_]:
        """Whether enough of the forecasts hold, (job, zone, hour)."""
        return np.asarray(self.share >= self.wanted - 1e-9)
