"""What a finished run hands to the reader: everything the words, the figures and the briefing may say.

An `Answer` is made of Datasets and small frozen types only, so `report` needs to know no other room. It is checked
when it is made: a wrong dimension or a value out of range is refused with every fault named (`schema.seal`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any, Literal

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem
from microclimate.report.planned import Planned
from microclimate.report.watered import Watered
from microclimate.report.worked import Worked
from microclimate.schema import RISK_VARIABLES, Advice, Event, SurfaceState, Var, seal
from microclimate.units import Shown

Value = float | str | datetime
EQUIPMENT = frozenset(
    {
        "covers",
        "insulated covers",
        "inflated covers",
        "warm air",
        "cables",
        "hot water",
        "glycol",
        "trays",
        "roofs",
        "irrigation",
        "instruments at height",
        "fuel",
    }
)

CURVES: Mapping[str, Var] = {
    "canopy_temperature": Var(
        ("zone", "quantile", "time"), "K", "canopy_temperature", "leaf, coldest patch of the zone", 180, 360, gaps=True
    ),
}
SKY: Mapping[str, Var] = {
    "air_temperature": Var(
        ("quantile", "time"), "K", "air_temperature", "air at 2 m, open ground", 200, 340, gaps=True
    ),
    "wind_speed": Var(("quantile", "time"), "m s-1", "wind_speed", "wind at 10 m, open ground", 0, 75, gaps=True),
    "wind_speed_of_gust": Var(
        ("quantile", "time"), "m s-1", "wind_speed_of_gust", "gust at 10 m, open ground", 0, 110, gaps=True
    ),
}
CELLS: Mapping[str, Var] = {
    "canopy_temperature_min": Var(
        ("cell",), "K", "canopy_temperature", "lowest canopy in the first window", 180, 350, gaps=True
    ),
    "x": Var(("cell",), "m", None, "along the field's long axis, from its centre", -500, 500),
    "y": Var(("cell",), "m", None, "to the left of x", -500, 500),
}
SECTION: Mapping[str, Var] = {
    "soil_temperature": Var(("depth", "time"), "K", "soil_temperature", "coldest patch", 180, 360, gaps=True),
    "frozen_fraction": Var(("depth", "time"), "1", None, "share of the water that is ice", 0, 1, gaps=True),
}


@dataclass(frozen=True)
class Fact:
    """One thing the run found, as a key of `words_reasons.REASONS` and its values (SI, UTC, names)."""

    key: str
    values: Mapping[str, Value]


@dataclass(frozen=True)
class Start:
    """Where the first state of the ground came from.

    `share` is the share of the variance of tonight's lowest canopy over the realizations that goes with the start
    state (0..1; NaN where it was not worked out), `facts` are counts and times the sentence may use: `count` of
    readings, `days` of past weather, `when` (datetime) of the readings or of the saved state, `spread` [K].
    """

    source: Literal["readings", "saved", "past", "season"]
    share: float
    facts: Mapping[str, Value]


@dataclass(frozen=True)
class Limit:
    """What the manager set: the chance of `state` or worse, in any zone and window, above which they want to act."""

    state: SurfaceState
    chance: float


@dataclass(frozen=True)
class Answer:
    """One run, ready to be told.

    Attributes
    ----------
    venue : str
        Its name.
    shown : Shown
        Units, clock and time zone of every word, table and figure.
    now : datetime
        When the run was made, UTC, naive.
    issued : datetime or None
        When the forecast was issued, UTC, naive.
    source : str
        Name of the weather, for example its file.
    members : int
        Count of realizations.
    windows : tuple of Event
        In the order of `risk.event`; the first is tonight, the others are events. UTC, naive.
    risk : Dataset
        `schema.RISK_VARIABLES`, for the plan told of. Coordinates: zone (names), event, state (ladder order),
        depth [m], quantile (levels between 0 and 1, rising, 0.5 among them).
    outlines : mapping of zone name to corners
        ((x, y), ...) [m] in the field frame, one for each zone of `risk`, in any order.
    curves : Dataset
        `CURVES`: zone, quantile, time.
    sky : Dataset
        `SKY`: quantile, time; the forecast on open ground, wind already at 10 m.
    cells : Dataset
        `CELLS`: lowest canopy of each cell in the first window, median realization. Attributes: `cell_size` [m],
        `length`, `width` [m], `bearing` [degree] of the long axis x.
    section : Dataset
        `SECTION`: depth (centre of layer, m, rising), time; the coldest patch, median realization. Attribute:
        `zone`, its zone.
    start : Start
        Where the first state came from.
    reasons : tuple of Fact
        Why the coldest zone is the coldest and the night is what it is, the weightiest first.
    assumed : tuple of str
        Codes `key` or `key=value` of everything the run assumed (weather, exposure, column), in any order.
    equipment : frozenset of str
        What the venue has, for the cautions: any of `EQUIPMENT`.
    limit : Limit or None
        What the manager set.
    advice : tuple of Advice
        What to do and by when, where it was asked for.
    record : tuple of str
        Sentences: how the last nights were told, how old what was learned is, what was laid on tonight.
    plan : Planned or None
        The plan behind that advice, with its figures.
    work : Worked or None
        Hours of work on the field, where they were asked for.
    watered : Watered or None
        Water before the freeze, where it was to be tried.

    Raises
    ------
    InputError
        Everything that does not fit, at once.
    """

    venue: str
    shown: Shown
    now: datetime
    issued: datetime | None
    source: str
    members: int
    windows: tuple[Event, ...]
    risk: xr.Dataset
    outlines: Mapping[str, Sequence[tuple[float, float]]]
    curves: xr.Dataset
    sky: xr.Dataset
    cells: xr.Dataset
    section: xr.Dataset
    start: Start
    reasons: tuple[Fact, ...] = ()
    assumed: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset()
    limit: Limit | None = None
    advice: tuple[Advice, ...] = ()
    plan: Planned | None = None
    record: tuple[str, ...] = ()
    work: Worked | None = None
    watered: Watered | None = None

    def __post_init__(self) -> None:
        specs = {"risk": RISK_VARIABLES, "curves": CURVES, "sky": SKY, "cells": CELLS, "section": SECTION}
        problems: list[Problem] = []
        for name, spec in specs.items():
            try:
                object.__setattr__(self, name, seal(getattr(self, name), spec, name))
            except InputError as error:
                problems += [Problem(f"{name}: {p.where}", p.found, p.wanted, p.cure) for p in error.problems]
        problems += self._loose_ends()
        if problems:
            raise InputError("answer", problems)

    def _loose_ends(self) -> list[Problem]:
        zones = {str(zone) for zone in self.risk["zone"].values}
        found = []
        if not self.windows or self.risk.sizes.get("event") != len(self.windows):
            count = self.risk.sizes.get("event", 0)
            found.append(Problem("windows", f"{len(self.windows)} for {count} events", "as many, at least one"))
        if missing := sorted(zones - set(self.outlines)):
            found.append(Problem("outlines", f"none for {', '.join(missing)}"))
        if strange := sorted(self.equipment - EQUIPMENT):
            found.append(Problem("equipment", ", ".join(strange), ", ".join(sorted(EQUIPMENT))))
        for name in ("risk", "curves", "sky"):
            levels = np.asarray(getattr(self, name).coords.get("quantile", []), dtype=float)
            if not np.isclose(levels, 0.5).any():
                found.append(Problem(f"{name}: quantile", f"{levels.tolist()}", "levels with 0.5 among them"))
        wanted = {"cells": ("cell_size", "length", "width", "bearing"), "section": ("zone",)}
        for name, attrs in wanted.items():
            absent = [attr for attr in attrs if attr not in getattr(self, name).attrs]
            if absent:
                found.append(Problem(f"{name}: attributes", f"no {', '.join(absent)}"))
        return found

    @cached_property
    def zones(self) -> tuple[str, ...]:
        """Zone names in the order of `risk`."""
        return tuple(str(zone) for zone in self.risk["zone"].values)

    @cached_property
    def coldest_first(self) -> tuple[str, ...]:
        """Zone names, lowest median canopy of the coldest patch in the first window first; unknown zones last."""
        lowest = self.risk["canopy_temperature_worst"].values[:, 0, self.middle]
        return tuple(self.zones[i] for i in np.argsort(np.where(np.isnan(lowest), np.inf, lowest), kind="stable"))

    @cached_property
    def middle(self) -> int:
        """Which of the quantiles of `risk` is the median."""
        return int(np.argmin(np.abs(np.asarray(self.risk["quantile"].values, dtype=float) - 0.5)))

    def told(self, name: str, zone: str, event: int) -> NDArray[Any]:
        """One variable of `risk` for a zone and window, its further dimensions as `schema` orders them."""
        return np.asarray(self.risk[name].values[self.zones.index(zone), event])
