"""Which point of a file serves a venue, and whether it is near enough."""

import numpy as np
from numpy.typing import NDArray

from microclimate.errors import refuse
from microclimate.schema import Site

EARTH_RADIUS = 6371.0  # [km] mean, WGS 84
DEGREE = 111.2  # [km] of latitude
SAME_PLACE = 1.0  # [km] nearer than this is not worth a word (ours)
STATION_REACH = 100.0  # [km] a single station or point farther away is not this venue's weather (ours)


def distance(latitude: NDArray[np.float64], longitude: NDArray[np.float64], site: Site) -> NDArray[np.float64]:
    """Great-circle distance to the site [km], longitudes in either convention (haversine formula)."""
    phi, phi0 = np.deg2rad(latitude), np.deg2rad(site.latitude)
    half = np.deg2rad((longitude - site.longitude + 180.0) % 360.0 - 180.0) / 2.0
    a = np.sin((phi - phi0) / 2.0) ** 2 + np.cos(phi) * np.cos(phi0) * np.sin(half) ** 2
    return np.asarray(2.0 * EARTH_RADIUS * np.arcsin(np.sqrt(np.minimum(a, 1.0))))


def nearest(
    latitude: NDArray[np.float64], longitude: NDArray[np.float64], site: Site, where: str, *, reach: float | None = None
) -> tuple[int, str]:
    """Index of the nearest point and its code ('' where it is the same place).

    `reach` [km] says how far is too far; without it, the points' own spacing does where they are a grid.

    Raises
    ------
    InputError
        The site lies outside the points: farther than one and a half times their spacing, or than `STATION_REACH`.
    """
    away = distance(np.asarray(latitude, float), np.asarray(longitude, float), site)
    at = int(np.nanargmin(away))
    if reach is None:
        rows, columns = np.unique(latitude), np.unique(longitude)
        steps = [float(np.min(np.diff(axis))) for axis in (rows, columns) if len(axis) > 1]
        reach = max(1.5 * DEGREE * max(steps), 5.0) if len(rows) > 1 and len(columns) > 1 else STATION_REACH
    if away[at] > reach:
        raise refuse(
            where,
            f"its nearest point, {latitude[at]:.2f} {longitude[at]:.2f}, is {away[at]:.0f} km from the venue",
            f"within {reach:.0f} km of {site.latitude:.2f} {site.longitude:.2f}",
            "fetch the file for the venue's own point",
        )
    return at, f"grid_point={away[at]:.1f} km" if away[at] > SAME_PLACE else ""
