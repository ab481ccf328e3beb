"""What a log of nights teaches about a venue: a few factors, each sensor's own offset, and what is still missed."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from microclimate.learn import decide, residual
from microclimate.learn.decide import Decision
from microclimate.learn.fit import PARAMETERS, Z90, parameters
from microclimate.learn.held import WATER
from microclimate.learn.nightdata import Gather, NightData
from microclimate.learn.replay import Station
from microclimate.learn.residual import Learned
from microclimate.venue.calibration import Calibration, Fitted
from microclimate.venue.load import Venue

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Taught:
    """The calibration that follows, and what to tell of it."""

    calibration: Calibration
    decision: Decision
    residual: Learned | None  # None where no surface was read at night
    zero: Mapping[str, tuple[float, int]]  # by infrared sensor: offset [K], intervals it rests on
    surface_nights: int


def taught(venue: Venue, station: Station, today: str) -> Taught:
    """Learn from a station's log.

    Parameters
    ----------
    venue : Venue
        With what was learned before, which the new fit must tell held-out nights at least as well as.
    station : Station
        Observed weather and the log, `replay.station`.
    today : str
        ISO date, for the file.
    """
    gather = Gather(station, station.modelled(venue))
    data = gather.observed()
    names = _names(data, station)

    def model(factors: Mapping[str, float]) -> Array:
        return gather.modelled(station.modelled(with_factors(venue, factors)))

    before = {name: float(getattr(venue.calibration, name)) for name in names}
    decision = decide.decide(data, model, names, before)
    learned = venue.calibration
    factors = before
    if decision.taken:
        factors = decision.fit.factors()
        learned = learned.model_copy(update=_fields(data, decision, gather, station, today))
    told = model(factors) if len(data.observed) else np.zeros(0)
    offset = decision.fit.offset if decision.taken else np.zeros(len(data.labels))
    missed = _missed(data, told + offset[data.sensor], gather)
    if missed is not None and np.isfinite(missed.after):
        update = {"residual": missed.residual, "canopy_offset": missed.offset, "canopy_spread": min(missed.spread, 5.0)}
        learned = learned.model_copy(update=update | {"made": today})
    return Taught(learned, decision, missed, gather.offsets, int(np.unique(data.night[data.surface]).size))


def with_factors(venue: Venue, factors: Mapping[str, float]) -> Venue:
    """The venue with some of its learned factors set."""
    return venue.model_copy(update={"calibration": venue.calibration.model_copy(update=dict(factors))})


def _names(data: NightData, station: Station) -> tuple[str, ...]:
    """Numbers that the kinds of readings there are can speak of.

    Probes in the ground tell of one of two: its water, or where that was read its conductivity beyond the water's.
    The sky's longwave is learned of where it had to be worked out, as it will be for a forecast without it.
    """
    ground = bool((~data.surface).any())
    measured = bool((station.log["kind"].values == WATER).any())
    speak = {
        "water_factor": ground and not measured,
        "conductivity_factor": ground and measured,
        "longwave_offset": not station.observed.longwave_measured,
    }
    return tuple(p.name for p in PARAMETERS if speak.get(p.name, True))


def _fields(data: NightData, decision: Decision, gather: Gather, station: Station, today: str) -> dict[str, object]:
    fit = decision.fit
    fitted = {}
    for one in parameters(fit.names):
        name = one.name
        numbers = (fit.factors()[name], *fit.interval(name), one.value(-Z90), one.value(Z90))
        keys = ("value", "low", "high", "before_low", "before_high")
        fitted[name] = Fitted.model_validate({k: float(f"{v:.4g}") for k, v in zip(keys, numbers, strict=True)})
    offsets = {
        label: round(float(gather.offsets.get(label, (0.0, 0))[0] + fit.offset[k]), 3)
        for k, label in enumerate(data.labels)
    }
    nights = data.nights
    return {
        **{name: float(f"{value:.4g}") for name, value in fit.factors().items()},
        "fitted": fitted,
        "sensor_offset": {label: value for label, value in offsets.items() if abs(value) <= 8.0},
        "nights": int(nights.size),
        "readings": int(sum(sensor.values.notna().sum() for sensor in station.sensors)),
        "made": today,
        "first": str(nights[0]),
        "last": str(nights[-1]),
    }


def _missed(data: NightData, told: Array, gather: Gather) -> Learned | None:
    """What is missed of surface minima, in order of nights."""
    rows = np.flatnonzero(data.surface & np.isfinite(data.observed) & np.isfinite(told))
    if not rows.size:
        return None
    rows = rows[np.argsort(data.night[rows], kind="stable")]
    kinds = gather.kinds(data.night[rows])[["air", "wind", "cloud"]]
    return residual.learn(data.night[rows], data.observed[rows], told[rows], pd.DataFrame(kinds).to_numpy(dtype=float))
