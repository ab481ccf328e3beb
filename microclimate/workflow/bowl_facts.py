"""What the bowl does to a night: wind and air against the forecast with their range, and what hangs on them."""

from datetime import datetime

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.exposure import air, force
from microclimate.exposure.shelter import lookup
from microclimate.exposure.told import told
from microclimate.report.answer import Fact
from microclimate.schema import Event
from microclimate.simulate import run

SMALL = 0.3  # [K] of canopy below which an effect is not worth a sentence; ours
LEAST = 0.1  # [1] share of the range that is told as a number: 31 members know no smaller one; ours
FEWEST = 12  # realizations from which a share of the range is told; ours


def facts(
    forcing: force.Forcing,
    outcome: xr.Dataset,
    risk: xr.Dataset,
    states: xr.Dataset,
    initial: xr.Dataset,
    plan: xr.Dataset,
    window: Event,
    zone: str,
    chosen: int,
) -> tuple[Fact, ...]:
    """Wind, air and what hangs on them, for the coldest zone at its coldest; nothing for a field without stands.

    Parameters
    ----------
    forcing, outcome, risk, initial, plan : of the run
    states : of the middle realization (`pictures.states`)
    window : Event
        The night.
    zone : str
        The coldest zone.
    chosen : int
        The middle realization, which the effect in kelvin is worked out for.
    """
    if forcing.open_field:
        return ()
    stamp = risk["canopy_temperature_worst_time"].sel(zone=zone).isel(event=0).values.astype("datetime64[us]").item()
    when = window.end if stamp is None else stamp
    found = told(forcing, np.datetime64(when, "ns"))
    low, middle, high = (float(v) for v in found["wind_factor_now"].values)
    out = [Fact("bowl wind", {"factor": middle, "low": low, "high": high})]
    if np.isfinite(found["air_difference"].values).all():
        out.append(air_fact(found["air_difference"].values, when))
    effect = _effect(forcing, states, initial, plan, window, zone, chosen)
    if np.isfinite(effect) and abs(effect) >= SMALL:
        out.append(Fact("bowl colder" if effect < 0.0 else "bowl milder", {"zone": zone, "difference": abs(effect)}))
    share = _share(forcing, outcome, zone, np.datetime64(when, "ns"))
    if share is not None:
        known = (
            Fact("bowl range", {"share": round(share, 1)})
            if share >= LEAST
            else Fact("bowl range small", {"share": LEAST})
        )
        out.append(known)
    if float(found["frost_on_seats"]) > 0.5:
        out.append(Fact("frost on seats", {}))
    return tuple(out)


def air_fact(difference: NDArray[np.float64], when: datetime) -> Fact:
    """Bowl air against the forecast (low, middle, high) [K]: colder, warmer, or near where zero lies within."""
    low, middle, high = (float(v) for v in difference)
    if high < 0.0:
        return Fact("bowl air colder", {"middle": -middle, "low": -high, "high": -low, "time": when})
    if low > 0.0:
        return Fact("bowl air warmer", {"middle": middle, "low": low, "high": high, "time": when})
    return Fact("bowl air near", {"colder": max(-low, 0.0), "warmer": max(high, 0.0), "time": when})


def _effect(
    forcing: force.Forcing,
    states: xr.Dataset,
    initial: xr.Dataset,
    plan: xr.Dataset,
    window: Event,
    zone: str,
    chosen: int,
) -> float:
    """Lowest canopy of the zone less what it would be under the open wind and the forecast's air [K]."""
    time, of_zone = states["time"].values, states["zone"].values == zone
    inside = (time > np.datetime64(window.start, "ns")) & (time <= np.datetime64(window.end, "ns"))
    within = states["canopy_temperature"].isel(plan=0, realization=0).transpose("patch", "time").values
    one, first = forcing.weather.isel(realization=[chosen]), initial.isel(realization=[chosen])
    without = forcing.again(one, bowl_air=False, sheltered=False)
    result, _ = run.outcome(forcing.venue, without, first, plan, (window,))
    of_open = (
        result["canopy_temperature_min"].isel(plan=0, realization=0, event=0).values[result["zone"].values == zone]
    )
    return float(within[of_zone][:, inside].min() - of_open.min())


def _share(forcing: force.Forcing, outcome: xr.Dataset, zone: str, when: np.datetime64) -> float | None:
    """Share of the variance of the zone's lowest canopy that goes with what was drawn for the bowl [1].

    Adjusted coefficient of determination of a linear fit on the logarithms of the zone's shelter for the wind of that
    time, of the exchange under a pool and of the inversion, each drawn apart from the weather. None where too few are
    known.
    """
    of_zone = np.flatnonzero(outcome["zone"].values == zone)
    lowest = outcome["canopy_temperature_min"].isel(plan=0, event=0, patch=of_zone).min("patch").values
    known = np.isfinite(lowest)
    if forcing.seed is None or forcing.basin is None or known.sum() < FEWEST or np.ptp(lowest[known]) < 1e-6:
        return None
    direction = forcing.weather["wind_from_direction"].sel(time=when, method="nearest").values[:, None]
    wind = np.log(lookup(forcing.shelter[:, of_zone], direction).mean(axis=1)[:, 0])
    drawn = np.log(forcing.exchange(forcing.weather["realization"].values))
    shut, calm, inversion = (drawn[:, air.AIR_NAMES.index(name)] for name in ("shut", "calm", "inversion"))
    columns = np.stack([np.ones(len(lowest)), wind, shut + calm, inversion], axis=1)[known]
    fitted = columns @ np.linalg.lstsq(columns, lowest[known], rcond=None)[0]
    count, used = columns.shape
    left = np.sum((lowest[known] - fitted) ** 2) / (count - used)
    return max(0.0, 1.0 - float(left / np.var(lowest[known], ddof=1)))
