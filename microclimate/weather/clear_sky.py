"""Which formula of the clear sky's longwave a place's own measured longwave bears out."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from microclimate.schema import Site
from microclimate.weather import complete, sky

FEWEST = 14  # days of measured longwave below which nothing is chosen (ours)
WORTH = 1.0  # [W m-2] by which another formula must be better on either half of the days (ours)
HALVES = 2


@dataclass(frozen=True)
class Choice:
    """What measured longwave says of the formulas."""

    formula: str  # "": none is better than the one in use, or too few days
    days: int
    errors: Mapping[str, float]  # root mean square error by formula [W m-2], all days


def chosen(raw: xr.Dataset, site: Site) -> Choice:
    """The formula nearest to measured longwave, where it is so on odd and on even days alike.

    Parameters
    ----------
    raw : Dataset
        Of `read.weather`: (realization, time); its first realization is used. Cloud is the file's, or told by its
        sunshine, never by the longwave that is judged.
    site : Site
        Its `clear_sky` is the formula in use.
    """
    if complete.LONGWAVE not in raw:
        return Choice("", 0, {})
    raw = raw.isel(realization=slice(0, 1))
    measured = complete.weather(raw, site)[complete.LONGWAVE]
    day = (measured["time"].values - np.datetime64("2000-01-01")) // np.timedelta64(1, "D")
    blind = raw.drop_vars(complete.LONGWAVE)
    squares = {}
    for formula in sky.CLEAR_SKIES:
        made = complete.weather(blind, replace(site, clear_sky=formula))[complete.LONGWAVE]
        squares[formula] = ((made - measured.sel(time=made["time"])) ** 2).values[0]
    known = np.isfinite(next(iter(squares.values())))
    days = len(np.unique(day[known]))
    errors = {name: float(np.sqrt(np.mean(square[known]))) for name, square in squares.items()} if days else {}
    if days < FEWEST:
        return Choice("", days, errors)
    halves = [known & (day % HALVES == half) for half in range(HALVES)]
    usual = [np.sqrt(squares[site.clear_sky or sky.DEFAULT_CLEAR_SKY][half].mean()) for half in halves]
    best = min(errors, key=lambda name: errors[name])
    better = all(np.sqrt(squares[best][half].mean()) < usual[i] - WORTH for i, half in enumerate(halves))
    return Choice(best if better else "", days, errors)
