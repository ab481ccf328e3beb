"""Units that a column alone does not betray: what the other columns of a file, the sun and the sky say against them.

Only what no weather does is refused, so that true heat and true storms pass; a mild night in the wrong unit passes too.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.errors import Problem
from microclimate.physics.longwave import black_body

Floats = NDArray[np.float64]

LOW_SUN = 35.0  # [degree] elevation at noon below which it is winter
# Warmest night under a winter sun [degC] at two heights of it at noon: three kelvin above the warmest nights that we
# know of (Boston 16, New York 17, Dallas 21), from memory, no source
WARMEST = ((20.0, LOW_SUN), (18.0, 24.0))
SKY_EMITS = (0.45, 1.2)  # [1] longwave over a black body at air temperature: clear and dry 0.6, under cloud 1; ours
DAMP = 2.0  # [K] of dew point over air that rounding and thermometers explain; ours
STORM = 20.0  # [m s-1] as the middle of a whole series: force 8 to 9 on the Beaufort scale (WMO-No. 306)
BREEZE = 3.0  # [m s-1] from which a gust is held against its mean wind
LONG = 6  # values from which a series is judged; ours
CURE = "is it degF under a label of degC, or the other way round?"


def problems(have: Mapping[str, Floats], noon: float, source: str) -> list[Problem]:
    """What contradicts the units of a raw series (realization, time), SI; `noon` [degree] the sun's highest in it."""
    air, wind = have["air_temperature"], have["wind_speed"]
    if np.isfinite(air).sum() < LONG:
        return []
    found: list[Problem] = []
    lowest = float(np.min(air, where=np.isfinite(air), initial=400.0)) - ZERO_CELSIUS
    if noon < LOW_SUN and lowest > (most := float(np.interp(noon, *WARMEST))):
        told = f"never falls below {lowest:.0f} degC under a sun of {max(noon, 0.0):.0f} degrees at noon"
        found.append(Problem(f"{source}: air_temperature", told, f"winter nights below {most:.0f} degC", CURE))
    down = have.get("surface_downwelling_longwave_flux_in_air")
    if down is not None and _outside(share := _middle(down / black_body(air)), *SKY_EMITS):
        told = f"makes the sky's longwave {share:.2f} of a black body's"
        found.append(Problem(f"{source}: air_temperature", told, f"{SKY_EMITS[0]:g} to {SKY_EMITS[1]:g}", CURE))
    dew = have.get("dew_point_temperature")
    if dew is not None and _middle(dew - air) > DAMP:
        told = f"is {_middle(dew - air):.0f} K above the air in most hours"
        found.append(Problem(f"{source}: dew_point_temperature", told, "at most the air's", CURE))
    if _middle(wind) > STORM:
        told = f"is {_middle(wind):.0f} m/s in half of the series"
        found.append(Problem(f"{source}: wind_speed", told, f"up to {STORM:g}", "is it km/h, mph or kt?"))
    gust = have.get("wind_speed_of_gust")
    if gust is not None and _middle(np.where(wind > BREEZE, gust / np.maximum(wind, BREEZE), np.nan)) < 1.0:
        found.append(
            Problem(f"{source}: wind_speed_of_gust", "is below the mean wind in most hours", "above it", "same unit?")
        )
    return found


def _outside(value: float, low: float, high: float) -> bool:
    return value < low or value > high


def _middle(values: Floats) -> float:
    """Median of what is known; NaN, which contradicts nothing, where too little is."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size >= LONG else float("nan")
