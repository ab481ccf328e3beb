"""The words of `calibrate`: what the readings taught about wind and air in the bowl, and what to read next."""

import textwrap
from collections.abc import Sequence

import numpy as np
import xarray as xr

from microclimate.report.words import between, glued, number
from microclimate.units import Shown

WIDTH = 80
_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


def calibrated(
    venue: str,
    told: xr.Dataset,
    flagged: Sequence[tuple[str, str]],
    directions: Sequence[tuple[float, float]],
    nights: str,
    shown: Shown,
    path: str,
) -> str:
    """The whole answer of `calibrate`.

    Parameters
    ----------
    told : Dataset
        wind_factor and prior_wind_factor (zone, direction, quantile) [1]: wind at 2 m over the forecast's at 10 m;
        air_difference and prior_air_difference (night, quantile) [K], where there are readings of air.
    flagged : sequence
        Readings to be trusted less: where, why.
    directions : sequence
        Wind directions [degree] in which a visit helps most, each with the mean log error left after it.
    nights : str
        The kind of night whose readings of air would help most, or "".
    """
    lines = [f"{venue}: what the readings say", ""]
    lines += _wrapped(
        "Wind 2 m over the grass as a share of the forecast's at 10 m, mean over all directions (nine times in ten it "
        "lies in the range):"
    )
    width = max(len(str(zone)) for zone in told["zone"].values)
    for zone in told["zone"].values:
        now, before = (_share(told[name].sel(zone=zone)) for name in ("wind_factor", "prior_wind_factor"))
        lines.append(f"  {str(zone).ljust(width)}  {now}; without readings {before}")
    if "air_difference" in told:
        lines += ["", "Air in the bowl against outside, at the last reading of each night:"]
        for night in range(told.sizes["night"]):
            now, before = (_degrees(told[name].isel(night=night), shown) for name in _AIR)
            lines.append(f"  night {night + 1}: {now}; without readings {before}")
    if flagged:
        lines += ["", "Laid aside or trusted less:", *(f"- {where}: {why}" for where, why in flagged)]
    if directions:
        lines += ["", *_wrapped("A visit to all zones would help most with wind from, in this order:")]
        lines += [
            f"- {_POINTS[round(angle / 22.5) % 16]} ({angle:.0f}°): the typical error then is a factor of "
            f"{np.exp(error):.2f}"
            for angle, error in directions
        ]
    if nights:
        lines += ["", *_wrapped(f"Readings of air in more {nights} nights, inside and outside, would help most.")]
    lines += ["", f"Written: {path}"]
    return "\n".join(lines).replace("\u00a0", " ") + "\n"


_AIR = ("air_difference", "prior_air_difference")


def _share(factor: xr.DataArray) -> str:
    low, middle, high = np.exp(np.log(factor.transpose("quantile", "direction").values).mean(axis=1))
    return f"{middle:.2f} ({low:.2f} to {high:.2f})"


def _degrees(difference: xr.DataArray, shown: Shown) -> str:
    kind = "temperature difference"
    low, middle, high = (float(value) for value in difference.values)
    symbol = shown.symbol(kind)
    return f"{number(middle, kind, shown)} {symbol} ({between(low, high, kind, shown)})"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(glued(text), WIDTH, break_on_hyphens=False)
