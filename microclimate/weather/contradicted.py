"""Units that the other columns of a file contradict, beside what place and season tell of its air (`season`).

Only what no weather does is refused, so that true storms pass; a breeze in the wrong unit passes too.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from microclimate.errors import Problem
from microclimate.physics.longwave import black_body

Floats = NDArray[np.float64]

MOST_SKY = 1.2  # [1] longwave over a black body at air temperature: 1 under low cloud, a little more in warm air; ours
STORM = 20.0  # [m s-1] as the middle of a whole series: force 8 to 9 on the Beaufort scale (WMO-No. 306)
BREEZE = 3.0  # [m s-1] from which a gust is held against its mean wind
LONG = 6  # values from which a series is judged; ours


def problems(have: Mapping[str, Floats], source: str) -> list[Problem]:
    """What contradicts the units of a raw series (realization, time), SI."""
    air, wind = have["air_temperature"], have["wind_speed"]
    found: list[Problem] = []
    down = have.get("surface_downwelling_longwave_flux_in_air")
    if down is not None and (share := _middle(down / black_body(air))) > MOST_SKY:
        told = f"is so low that the sky's longwave is {share:.1f} of a black body's"
        found.append(Problem(f"{source}: air_temperature", told, f"at most {MOST_SKY:g}", "is it degC? Label it so"))
    if (usual := _middle(wind)) > STORM:
        told = f"is {usual:.0f} m/s or more in half of the series"
        found.append(Problem(f"{source}: wind_speed", told, f"{STORM:g} at most", "is it km/h, mph or kt? Label it so"))
    gust = have.get("wind_speed_of_gust")
    if gust is not None and _middle(np.where(wind > BREEZE, gust / np.maximum(wind, BREEZE), np.nan)) < 1.0:
        told = "is mostly below the mean wind"
        found.append(
            Problem(f"{source}: wind_speed_of_gust", told, "above it", "are both in the unit they are labelled?")
        )
    return found


def _middle(values: Floats) -> float:
    """Median of what is known; NaN, which contradicts nothing, where too little is."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size >= LONG else float("nan")
