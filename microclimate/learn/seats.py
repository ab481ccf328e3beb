"""Readings of seats in the log as what `seat_fit` takes, and what they teach as `calibration.toml` has it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.fieldlog.store import Store
from microclimate.learn import seat_fit
from microclimate.learn.seat_fit import SeatData, SeatFit
from microclimate.venue.calibration import Calibration, Fitted
from microclimate.venue.load import Venue

KINDS = {"seat_temperature": "seat_emissivity", "seat_reflectance": "seat_albedo"}  # what is read, what it tells


@dataclass(frozen=True)
class Seats:
    """What was learned of each material: (name in the file, material) -> fit."""

    fits: dict[tuple[str, str], SeatFit]
    strange: tuple[str, ...]  # materials read that no stand is of
    days: tuple[str, str]  # of the first and the last reading


def learn(store: Store, described: Venue) -> Seats:
    """Fit each material that was read.

    Parameters
    ----------
    store : Store
    described : Venue
        Without what was learned before: the venue file is the prior.
    """
    fits, strange, days = {}, set(), []
    for quantity, name in KINDS.items():
        rows: dict[str, list[tuple[np.datetime64, float, float, float]]] = {}
        for sensor, row, detail in store.detailed(quantity):
            time = np.datetime64(row["time"], "s")
            days.append(str(time.astype("datetime64[D]")))
            rows.setdefault(sensor.name, []).append((time, *_fluxes(row["value"], detail)))
        for material, read in rows.items():
            if material not in described.bowl.materials:
                strange.add(material)
                continue
            surface = described.bowl.surface(material)
            prior = surface.emissivity if name == "seat_emissivity" else surface.albedo
            fits[name, material] = seat_fit.fit(_data(read, light=name == "seat_albedo"), prior)
    return Seats(fits, tuple(sorted(strange)), (min(days, default=""), max(days, default="")))


def taught(found: Seats, known: Calibration, today: str) -> Calibration:
    """The calibration with what was taken; what was declined leaves what was known before."""
    update: dict[str, object] = {}
    tables = {name: dict(getattr(known, name)) for name in KINDS.values()}
    fitted = dict(known.fitted)
    for (name, material), fit in found.fits.items():
        if not fit.taken:
            continue
        tables[name][material] = round(fit.value, 3)
        ends = (fit.value, fit.low, fit.high, *fit.before)
        keys = ("value", "low", "high", "before_low", "before_high")
        numbers = dict(zip(keys, (round(v, 3) for v in ends), strict=True))
        facts = {"readings": fit.readings, "visits": fit.visits, "made": today, "first": found.days[0]}
        fitted[f"{name} {material}"] = Fitted.model_validate({**numbers, **facts, "last": found.days[1]})
        update = {**tables, "fitted": fitted}
    return known.model_copy(update=update)


def _fluxes(value: float, detail: dict[str, float]) -> tuple[float, float, float]:
    """Seen, own and mirrored as `SeatData` has them."""
    if "light_on" in detail:
        return max(detail["light_off"], 1e-3 * detail["light_on"]), detail["light_on"], 0.0
    setting, body = detail.get("setting", 1.0), detail.get("body", math.nan)
    behind = body if math.isfinite(body) else value  # the instrument takes itself for the surroundings
    received = setting * value**4 + (1.0 - setting) * behind**4
    return tuple(STEFAN_BOLTZMANN * v for v in (received, detail["contact"] ** 4, detail["sky"] ** 4))  # type: ignore[return-value]


def _data(read: list[tuple[np.datetime64, float, float, float]], *, light: bool) -> SeatData:
    """Readings of one day are one visit."""
    times, seen, own, mirrored = (np.array(column) for column in zip(*read, strict=True))
    visit: NDArray[np.int64] = np.unique(times.astype("datetime64[D]"), return_inverse=True)[1]
    return SeatData(visit, seen, own, mirrored, light)
