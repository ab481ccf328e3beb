"""Past forecasts and advice against what came: scores by lead and kind of night, beside what else could have been told.

Scores of distributions and chances are those of a kept verification library (`scores`); the parts of a Brier score are
taken from its isotonic fit (Dimitriadis, Gneiting and Jordan 2021, PNAS 118(8)).
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from scipy.stats import beta
from scores.probability import (
    brier_score,
    crps_for_ensemble,
    isotonic_fit,
    rank_histogram,
    relative_economic_value,
    roc_curve_data,
)

from microclimate.constants import ZERO_CELSIUS
from microclimate.learn.compare import CALM, CLEAR
from microclimate.learn.told import Pair

Array = NDArray[np.float64]

LEADS = ((0.0, 12.0), (12.0, 24.0), (24.0, 48.0), (48.0, 1e9))  # [h]
FEWEST = 5  # pairs in a group that are scored (ours)
CLIMATE_DAYS = 30  # days of the year about a night whose readings in other nights make its climatology
BINS = np.array([0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0])  # of chances, for reliability
SOURCES = ("this program", "raw forecast", "climatology", "persistence")
RATIOS = (0.02, 0.1, 0.3)  # cost over loss at which the value is told


@dataclass(frozen=True)
class Verified:
    """Tables of scores. Temperatures in K."""

    scores: (
        pd.DataFrame
    )  # quantity, source, lead, night, n, bias, mae, crps, brier, miscalibration, discrimination, ...
    reliability: pd.DataFrame  # quantity, low, high, n, told, came, came_low, came_high
    roc: pd.DataFrame  # quantity, threshold, false_alarm_rate, hit_rate
    ranks: pd.DataFrame  # quantity, rank, share
    decisions: pd.DataFrame  # see `decisions`


def verify(found: Sequence[Pair]) -> Verified:
    """Scores of all pairs.

    Parameters
    ----------
    found : sequence of Pair
        `told.pairs`, with every lead.
    """
    rows, reliable, rocs, ranks = [], [], [], []
    for quantity in dict.fromkeys(pair.quantity for pair in found):
        some = [pair for pair in found if pair.quantity == quantity]
        told = {name: _others(some, name) for name in SOURCES}
        for lead in ((0.0, 1e9), *LEADS):
            for night in ("all", "clear calm", "other"):
                inside = np.array([lead[0] <= p.lead < lead[1] and night in ("all", kind(p)) for p in some])
                for source, members in told.items():
                    usable = inside & np.array([m.size > 0 for m in members])
                    if usable.sum() >= FEWEST:
                        picked = [(some[k], members[k]) for k in np.flatnonzero(usable)]
                        rows.append(
                            {
                                "quantity": quantity,
                                "source": source,
                                "lead": _lead(lead),
                                "night": night,
                                **_one(picked),
                            }
                        )
        own = [(pair, pair.members) for pair in some]
        if len(own) >= FEWEST:
            reliable += [{"quantity": quantity, **row} for row in _reliability(own)]
            rocs += [{"quantity": quantity, **row} for row in _roc(own)]
            ranks += [{"quantity": quantity, **row} for row in _ranks(own)]
    columns = ["quantity", "source", "lead", "night", "n", "bias", "mae", "crps", "brier", "miscalibration",
               "discrimination", "uncertainty", *(f"value_{ratio:g}" for ratio in RATIOS)]  # fmt: skip
    return Verified(
        pd.DataFrame(rows, columns=columns),
        pd.DataFrame(reliable, columns=["quantity", "low", "high", "n", "told", "came", "came_low", "came_high"]),
        pd.DataFrame(rocs, columns=["quantity", "threshold", "false_alarm_rate", "hit_rate"]),
        pd.DataFrame(ranks, columns=["quantity", "rank", "share"]),
        pd.DataFrame(),
    )


def kind(pair: Pair) -> str:
    """Kind of night as it was forecast: what is known when a forecast is issued, never the outcome."""
    if np.isnan(pair.cloud) or np.isnan(pair.wind):
        return "unknown"
    return "clear calm" if pair.cloud < CLEAR and pair.wind < CALM else "other"


def _lead(lead: tuple[float, float]) -> str:
    if lead == (0.0, 1e9):
        return "all"
    return f"{lead[0]:g} h and more" if lead[1] > 1e8 else f"{lead[0]:g} to {lead[1]:g} h"


def chance(members: Array) -> float:
    """Chance of a minimum below 0 degC; never 0 or 1, as members are few (their count plus one shares it)."""
    return float(((members < ZERO_CELSIUS).sum() + 0.5) / (members.size + 1.0))


def _others(some: Sequence[Pair], source: str) -> list[Array]:
    """What a source would have told of each window: the program, the forecast, other nights, or the night before.

    The raw forecast is its lowest air as it came, taken for the grass too. The others know only readings: climatology
    those of other nights within a month of the day, in any year; persistence the night before, as read by then.
    """
    if source == "this program":
        return [pair.members for pair in some]
    if source == "raw forecast":
        return [pair.raw for pair in some]
    read: dict[str, dict[np.datetime64, float]] = {}
    for pair in some:
        read.setdefault(pair.zone, {})[pair.start] = pair.observed
    out = []
    for pair in some:
        others = read[pair.zone]
        starts = np.array(list(others))
        values = np.array(list(others.values()))
        if source == "persistence":
            gap = (pair.start - starts).astype("timedelta64[s]").astype(float) / 3600.0
            before = (gap > 12.0) & (gap < 36.0)
            out.append(values[before][-1:])
        else:
            year = 365.25 * 86400.0
            apart = np.abs((starts - pair.start).astype("timedelta64[s]").astype(float))
            season = np.minimum(apart % year, year - apart % year) <= CLIMATE_DAYS * 86400.0
            out.append(values[season & (apart > 43200.0)])
    return out


def _one(picked: Sequence[tuple[Pair, Array]]) -> dict[str, float]:
    """Scores of one group."""
    observed = np.array([pair.observed for pair, _ in picked])
    middle = np.array([float(np.median(members)) for _, members in picked])
    ensemble, truth = _arrays(picked)
    p = np.array([chance(members) for _, members in picked])
    came = (observed < ZERO_CELSIUS).astype(float)
    parts = brier_parts(p, came)
    value = dict.fromkeys((f"value_{ratio:g}" for ratio in RATIOS), np.nan)
    if 0.0 < came.mean() < 1.0:
        for ratio in RATIOS:
            acted = xr.DataArray((p > ratio).astype(float), dims="pair")
            worth = relative_economic_value(acted, xr.DataArray(came, dims="pair"), cost_loss_ratios=[ratio])
            value[f"value_{ratio:g}"] = float(np.asarray(worth).ravel()[0])
    return {
        "n": len(picked),
        "bias": float((middle - observed).mean()),
        "mae": float(np.abs(middle - observed).mean()),
        "crps": float(crps_for_ensemble(ensemble, truth, "member", method="ecdf")),
        **parts,
        **value,
    }


def _arrays(picked: Sequence[tuple[Pair, Array]]) -> tuple[xr.DataArray, xr.DataArray]:
    """Members and readings as the library takes them; ensembles of unlike size are filled up with NaN."""
    width = max(members.size for _, members in picked)
    table = np.full((len(picked), width), np.nan)
    for k, (_, members) in enumerate(picked):
        table[k, : members.size] = members
    observed = np.array([pair.observed for pair, _ in picked])
    return xr.DataArray(table, dims=("pair", "member")), xr.DataArray(observed, dims="pair")


def brier_parts(p: Array, came: Array) -> dict[str, float]:
    """Brier score and its parts: brier = miscalibration - discrimination + uncertainty."""
    forecast, truth = xr.DataArray(p, dims="pair"), xr.DataArray(came, dims="pair")
    brier = float(brier_score(forecast, truth))
    fit = isotonic_fit(forecast, truth)
    recalibrated = np.interp(p, fit["fcst_sorted"], fit["regression_values"])
    best = float(brier_score(xr.DataArray(np.clip(recalibrated, 0.0, 1.0), dims="pair"), truth))
    uncertainty = float(came.mean() * (1.0 - came.mean()))
    return {
        "brier": brier,
        "miscalibration": brier - best,
        "discrimination": uncertainty - best,
        "uncertainty": uncertainty,
    }


def _reliability(own: Sequence[tuple[Pair, Array]]) -> list[dict[str, float]]:
    """Share of freezes by the chance told, with the range that sampling alone gives (90 %, Jeffreys)."""
    p = np.array([chance(members) for _, members in own])
    came = np.array([pair.observed < ZERO_CELSIUS for pair, _ in own])
    rows = []
    for low, high in itertools.pairwise(BINS):
        inside = (p >= low) & ((p < high) | (high == 1.0))
        n, hits = int(inside.sum()), int(came[inside].sum())
        if n:
            bounds = np.asarray(beta.ppf([0.05, 0.95], hits + 0.5, n - hits + 0.5))
            rows.append(
                {
                    "low": low, "high": high, "n": n, "told": float(p[inside].mean()), "came": hits / n,
                    "came_low": float(bounds[0]), "came_high": float(bounds[1]),
                }
            )  # fmt: skip
    return rows


def _roc(own: Sequence[tuple[Pair, Array]]) -> list[dict[str, float]]:
    came = np.array([float(pair.observed < ZERO_CELSIUS) for pair, _ in own])
    if came.min() == came.max():
        return []
    p = xr.DataArray([chance(members) for _, members in own], dims="pair")
    found = roc_curve_data(p, xr.DataArray(came, dims="pair"), thresholds=np.linspace(0.0, 1.0, 11))
    area = float(found["AUC"])
    rows = [
        {"threshold": float(t), "false_alarm_rate": float(f), "hit_rate": float(h)}
        for t, f, h in zip(found["threshold"].values, found["POFD"].values, found["POD"].values, strict=True)
    ]
    return [*rows, {"threshold": np.nan, "false_alarm_rate": np.nan, "hit_rate": area}]


def _ranks(own: Sequence[tuple[Pair, Array]]) -> list[dict[str, float]]:
    """Where readings fall among the members: even shares where the spread is right."""
    sizes = [members.size for _, members in own]
    usual = max(set(sizes), key=sizes.count)
    same = [(pair, members) for pair, members in own if members.size == usual]
    ensemble, truth = _arrays(same)
    found = rank_histogram(ensemble, truth, "member")
    return [{"rank": int(r), "share": float(s)} for r, s in zip(found["rank"].values, found.values, strict=True)]


def decisions(
    advised: Sequence[Mapping[str, object]], trouble: Mapping[str, bool | None], loss: float | None
) -> pd.DataFrame:
    """What was advised against what came.

    Parameters
    ----------
    advised : sequence
        The last advice for each event: event, acted (bool), cost (float or None), chance.
    trouble : mapping
        By event: whether the field was out of its limits; None where nobody saw.
    loss : float or None
        Of an event lost, in the venue's currency.

    Returns
    -------
    DataFrame
        event, acted, chance, trouble, verdict (prevented or not needed, miss, right to wait, lost in spite of it,
        unknown), spent, perfect_low, perfect_high: what perfect foresight would have spent. Whether trouble would have
        come without the action cannot be seen, so of a field that was treated and well it is between nothing and all.
    """
    rows = []
    for one in advised:
        came, acted = trouble.get(str(one["event"])), bool(one["acted"])
        cost = None if one.get("cost") is None else float(str(one["cost"]))
        words = {
            (True, False): "prevented or not needed",
            (True, True): "lost in spite of it",
            (False, True): "miss",
            (False, False): "right to wait",
        }
        verdict = "unknown" if came is None else words[acted, came]
        spent = np.nan if came is None or (acted and cost is None) or (came and loss is None) else 0.0
        if spent == 0.0:
            spent = (cost or 0.0) * acted + (loss or 0.0) * bool(came)
        best = {"prevented or not needed": (0.0, spent), "right to wait": (0.0, 0.0)}.get(verdict, (np.nan, np.nan))
        rows.append(
            {
                "event": one["event"], "acted": acted, "chance": one.get("chance"), "trouble": came, "verdict": verdict,
                "spent": spent, "perfect_low": best[0], "perfect_high": best[1],
            }
        )  # fmt: skip
    return pd.DataFrame(rows)
