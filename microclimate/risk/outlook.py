"""Chances of each surface state, zone by zone and window by window, from the outcomes of all realizations.

The worst patch decides: within one realization a zone is as bad as its worst patch, and only then are realizations
counted. A realization that could not be simulated to the end of a window is unknown, never "no freeze".
"""

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import betaincinv

from microclimate.risk.missed import Missed, corrected
from microclimate.schema import RISK_VARIABLES, STATE_NAMES, SurfaceState, seal

QUANTILES = (0.1, 0.5, 0.9)  # of the realizations, for temperatures
RANGE = (0.05, 0.95)  # of the chance itself
KNOWN_SHARE = 0.5  # below this share of realizations that reach the end of a window its chances are unknown; ours


def assess(outcome: xr.Dataset, plan: int = 0, missed: Missed | None = None) -> xr.Dataset:
    """Chances and worst temperatures of every zone in every window.

    Parameters
    ----------
    outcome : Dataset
        Sealed by `schema.OUTCOME_VARIABLES`; patch coordinates `zone`, `zone_index` and `area`.
    plan : int
        Which plan of it to assess.
    missed : Missed, optional
        What the venue's own nights have taught that the model misses; laid on before chances are counted.

    Returns
    -------
    Dataset
        Sealed by `schema.RISK_VARIABLES`, dimensions zone, event, state, quantile, depth.

    Notes
    -----
    A chance is a Dirichlet posterior mean with the prior weight of one realization spread evenly over the states
    (Perks 1947, J. Inst. Actuaries 73:285), because a count of 0 in 31 is not a chance of 0. Its range is the 5 to
    95 % range of the Beta marginal, widened by the realizations that are unknown.
    """
    chosen = outcome.isel(plan=plan)
    if missed is not None:
        chosen = corrected(chosen, missed)
    index = chosen["zone_index"].values.astype(int)
    area = chosen["area"].values
    zones = [int(z) for z in np.unique(index)]
    parts = [_zone(chosen.isel(patch=np.flatnonzero(index == z)), area[index == z]) for z in zones]
    risk = xr.concat(parts, dim="zone", coords="minimal", compat="override")
    names = [str(chosen["zone"].values[np.flatnonzero(index == z)[0]]) for z in zones]
    risk = risk.assign_coords(
        zone=names, state=[int(s) for s in SurfaceState], quantile=list(QUANTILES), event=chosen["event"].values
    )
    risk["state"].attrs = {
        "flag_values": risk["state"].values,
        "flag_meanings": " ".join(n.replace(" ", "_") for n in STATE_NAMES),
    }
    return seal(risk, RISK_VARIABLES, "risk")


def _zone(outcome: xr.Dataset, area: NDArray[np.float64]) -> xr.Dataset:
    """One zone: `outcome` has (realization, patch, event) left, with the patches of this zone alone."""
    states = outcome["worst_surface_state"].transpose("realization", "patch", "event").values
    reaches_the_end = outcome["coverage"].transpose("realization", "patch", "event").values > 1 - 1e-6
    known = np.asarray(reaches_the_end.all(axis=1))
    coverage = known.mean(axis=0)
    worst = np.where(known, np.max(np.where(np.isfinite(states), states, -1), axis=1), np.nan)
    exact, reached = _chances(worst, known)
    canopy = outcome["canopy_temperature_min"].transpose("realization", "patch", "event").values
    canopy_time = outcome["canopy_temperature_min_time"].transpose("realization", "patch", "event").values
    soil = outcome["soil_temperature_min"].transpose("realization", "patch", "event", "depth").values
    soil_time = outcome["soil_temperature_min_time"].transpose("realization", "patch", "event", "depth").values
    onset = outcome["onset_time"].transpose("realization", "patch", "event").values
    hidden, hidden_depth = ~known, ~known[:, :, None]
    dims = ("event", "state")
    return xr.Dataset(
        {
            "probability": (dims, exact[0]),
            "probability_low": (dims, exact[1]),
            "probability_high": (dims, exact[2]),
            "probability_reached": (dims, reached[0]),
            "probability_reached_low": (dims, reached[1]),
            "probability_reached_high": (dims, reached[2]),
            "canopy_temperature_worst": (("event", "quantile"), _quantiles(canopy.min(axis=1), hidden)),
            "canopy_temperature_median": (("event", "quantile"), _quantiles(_middle(canopy, area), hidden)),
            "canopy_temperature_worst_time": (("event",), _when(canopy, canopy_time, hidden)),
            "soil_temperature_worst": (("event", "depth", "quantile"), _quantiles(soil.min(axis=1), hidden_depth)),
            "soil_temperature_median": (
                ("event", "depth", "quantile"),
                _quantiles(_middle(soil, area), hidden_depth),
            ),
            "soil_temperature_worst_time": (("event", "depth"), _when(soil, soil_time, hidden_depth)),
            "onset_time": (("event",), _median_time(onset, hidden)),
            "worst_area": (("event",), _worst_area(states, known, area)),
            "coverage": (("event",), coverage),
        },
        coords={"depth": outcome["depth"].values},
    )


def around(chance: float, members: int) -> tuple[float, float]:
    """Low and high of a chance counted over realizations and one more in which every state is equally likely."""
    if not 0.0 < chance < 1.0:
        return chance, chance
    hits, misses = chance * (members + 1.0), (1.0 - chance) * (members + 1.0)
    low, high = (float(betaincinv(hits, misses, at)) for at in RANGE)
    return min(low, chance), max(high, chance)


def _chances(worst: NDArray[np.float64], known: NDArray[np.bool_]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Chance, low and high of each state being the worst, and of each state or a worse one: two (3, event, state)."""
    states = len(STATE_NAMES)
    counts = np.stack([(worst == s).sum(axis=0) for s in range(states)], axis=-1).astype(float)
    tail = counts[:, ::-1].cumsum(axis=1)[:, ::-1]
    prior = np.full(states, 1.0 / states)
    prior_tail = prior[::-1].cumsum()[::-1]
    total, missing = known.sum(axis=0)[:, None], (~known).sum(axis=0)[:, None]
    unknown = known.mean(axis=0)[:, None] < KNOWN_SHARE
    result = []
    for hits, weight in ((counts, prior), (tail, prior_tail)):
        misses = total - hits
        rest = 1.0 - weight
        centre = (hits + weight) / (total + 1.0)
        with np.errstate(invalid="ignore"):
            low = betaincinv(hits + weight, misses + missing + rest, RANGE[0])
            high = betaincinv(hits + missing + weight, misses + rest, RANGE[1])
        certain = rest <= 0  # "open or worse" always holds
        low, high = np.where(certain, 1.0, low), np.where(certain, 1.0, high)
        # the posterior mean of a rare state can lie above its 95 % point: the range always holds the chance
        bounds = np.stack([centre, np.minimum(low, centre), np.maximum(high, centre)])
        result.append(np.where(unknown, np.nan, np.clip(bounds, 0.0, 1.0)))
    return result[0], result[1]


def _quantiles(values: NDArray[np.float64], hidden: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Quantiles over realizations (first axis) of what is known, quantile last; NaN where too little is known."""
    values = np.where(hidden, np.nan, values)
    enough = (~hidden).mean(axis=0) >= KNOWN_SHARE
    filled = np.where(enough & np.isnan(values).all(axis=0), 0.0, values)
    safe = np.where(enough, filled, 0.0)
    quantiles = np.nanquantile(safe, QUANTILES, axis=0)
    return np.where(enough[..., None], np.moveaxis(quantiles, 0, -1), np.nan)


def _middle(values: NDArray[np.float64], area: NDArray[np.float64]) -> NDArray[np.float64]:
    """Area-weighted median over patches (axis 1)."""
    order = np.argsort(values, axis=1)
    shape = (1, -1) + (1,) * (values.ndim - 2)
    weight = np.take_along_axis(np.broadcast_to(area.reshape(shape), values.shape), order, axis=1).cumsum(axis=1)
    pick = np.argmax(weight >= 0.5 * area.sum(), axis=1)
    return np.take_along_axis(np.take_along_axis(values, order, axis=1), np.expand_dims(pick, 1), axis=1).squeeze(1)


def _when(
    values: NDArray[np.float64], times: NDArray[np.datetime64], hidden: NDArray[np.bool_]
) -> NDArray[np.datetime64]:
    """The time of the lowest value in the worst patch of the realization nearest the median."""
    patch = np.argmin(np.where(np.isfinite(values), values, np.inf), axis=1)
    lowest = np.take_along_axis(values, np.expand_dims(patch, 1), axis=1).squeeze(1)
    when = np.take_along_axis(times, np.expand_dims(patch, 1), axis=1).squeeze(1)
    lowest = np.where(hidden, np.nan, lowest)
    known = np.isfinite(lowest)
    median = np.nanmedian(np.where(known.any(axis=0), lowest, 0.0), axis=0)
    pick = np.argmin(np.where(known, np.abs(lowest - median), np.inf), axis=0)
    chosen = np.take_along_axis(when, np.expand_dims(pick, 0), axis=0).squeeze(0)
    enough = known.mean(axis=0) >= KNOWN_SHARE
    return np.where(enough, chosen, np.datetime64("NaT")).astype("datetime64[ns]")


def _median_time(onset: NDArray[np.datetime64], hidden: NDArray[np.bool_]) -> NDArray[np.datetime64]:
    """Median first time over realizations, NaT where fewer than half of the known ones have one."""
    far = np.iinfo(np.int64).max
    stamps = np.where(np.isnat(onset), far, onset.astype("datetime64[ns]").astype(np.int64)).min(axis=1)
    result = np.full(stamps.shape[1], np.datetime64("NaT"), dtype="datetime64[ns]")
    for event in range(stamps.shape[1]):
        seen = np.sort(stamps[~hidden[:, event], event])
        if seen.size and seen[(seen.size - 1) // 2] != far:
            result[event] = np.datetime64(int(seen[(seen.size - 1) // 2]), "ns")
    return result


def _worst_area(
    states: NDArray[np.float64], known: NDArray[np.bool_], area: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Area of the patches whose usual worst state (upper median over realizations) is the zone's worst."""
    result = np.zeros(states.shape[2])
    for event in range(states.shape[2]):
        seen = states[known[:, event], :, event]
        if seen.size:
            usual = np.quantile(seen, 0.5, axis=0, method="higher")
            result[event] = area[usual == usual.max()].sum()
    return result
