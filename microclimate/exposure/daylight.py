"""Shade at an instant, and what a day or span brings to each cell: sunlit hours, light and heat by origin."""

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike, NDArray
from pvlib import clearsky
from pvlib.atmosphere import alt2pres, get_absolute_airmass, get_relative_airmass
from pvlib.irradiance import get_extra_radiation
from pvlib.solarposition import get_solarposition

from microclimate.exposure.bowl import Bowl
from microclimate.physics.light import photon_flux
from microclimate.schema import Site

Array = NDArray[np.float64]

STEP = pd.Timedelta("10min")
# Linke turbidity of a clear winter day at mid latitudes: 2 to 3.5 (from memory); moves the sums by 10 %
TURBIDITY = 3.0
CHUNK = 144  # instants at once: memory


def sun(site: Site, times: pd.DatetimeIndex) -> tuple[Array, Array]:
    """Compass azimuth and refracted elevation [degree] at UTC instants, both (time,)."""
    found = get_solarposition(times, site.latitude, site.longitude, site.elevation)
    return found["azimuth"].to_numpy(), found["apparent_elevation"].to_numpy()


def clear_sky(site: Site, times: pd.DatetimeIndex) -> tuple[Array, Array]:
    """Direct normal and diffuse light of a clear sky [W m-2], both (time,): Ineichen & Perez 2002, through pvlib."""
    _, elevation = sun(site, times)
    zenith = 90.0 - np.maximum(elevation, 0.5)  # the model has no sun on the horizon itself
    mass = get_absolute_airmass(get_relative_airmass(zenith), alt2pres(site.elevation))
    extra = get_extra_radiation(times).to_numpy()
    found = clearsky.ineichen(zenith, mass, TURBIDITY, site.elevation, extra)
    direct, diffuse = (np.where(elevation > 0.0, np.asarray(found[name], float), 0.0) for name in ("dni", "dhi"))
    return direct, diffuse


def shade(bowl: Bowl, site: Site, when: pd.Timestamp) -> xr.Dataset:
    """Share of the sun's beam on each cell at one UTC instant, with the sun's place as attributes."""
    azimuth, elevation = sun(site, pd.DatetimeIndex([when]))
    found = _cells(bowl, {"sun_factor": bowl.sun_factor(azimuth, elevation)[0]})
    return found.assign_attrs(sun_azimuth=float(azimuth[0]), sun_elevation=float(elevation[0]))


def span(
    bowl: Bowl,
    site: Site,
    begin: pd.Timestamp,
    end: pd.Timestamp,
    direct_normal: ArrayLike | None = None,
    diffuse: ArrayLike | None = None,
) -> xr.Dataset:
    """What a span brings to each cell.

    Parameters
    ----------
    begin, end : Timestamp
        UTC; the span is cut in steps of ten minutes, looked at in their middle.
    direct_normal, diffuse : array (step,), optional
        Open light [W m-2]; a clear sky when left out.

    Returns
    -------
    Dataset (cell)
        sunlit_hours [h]; energy off sun, sky and stands [J m-2]; light_integral [mol m-2]; sky_view_factor [1].
    """
    times = pd.date_range(begin, end - STEP, freq=STEP) + STEP / 2
    azimuth, elevation = sun(site, times)
    if direct_normal is None or diffuse is None:
        direct_normal, diffuse = clear_sky(site, times)
    direct, spread = (np.broadcast_to(np.asarray(v, float), len(times)) for v in (direct_normal, diffuse))
    seconds = STEP.total_seconds()
    sums = {name: np.zeros(bowl.rows) for name in ("hours", "sun", "sky", "stands")}
    for part in np.array_split(np.flatnonzero(elevation > 0.0), max(1, len(times) // CHUNK)):
        if not len(part):
            continue
        light = (azimuth[part], elevation[part], direct[part], spread[part])
        lit = bowl.sun_factor(azimuth[part], elevation[part])
        sums["hours"] += lit.sum(axis=0) * seconds / 3600.0
        sums["sun"] += seconds * (direct[part] * np.sin(np.radians(elevation[part]))) @ lit
        sky, stands = bowl.diffuse(*light)
        sums["sky"] += seconds * sky.sum(axis=0)
        sums["stands"] += seconds * stands.sum(axis=0)
    whole = sums["sun"] + sums["sky"] + sums["stands"]
    found = {
        "sunlit_hours": sums["hours"],
        "energy_sun": sums["sun"],
        "energy_sky": sums["sky"],
        "energy_stands": sums["stands"],
        "light_integral": photon_flux(whole),
        "sky_view_factor": bowl.sky_view,
    }
    return _cells(bowl, found)


def by_zone(cells: xr.Dataset, names: tuple[str, ...]) -> xr.Dataset:
    """Mean, lowest and highest of each zone's cells (zone, which)."""
    zone = cells["zone"].values
    picked = [np.flatnonzero(zone == k) for k in range(len(names))]
    found = {
        str(name): (
            ("zone", "which"),
            np.array([[f(cells[name].values[index]) for f in (np.mean, np.min, np.max)] for index in picked]),
        )
        for name in cells.data_vars
    }
    return xr.Dataset(found, coords={"zone": list(names), "which": ["mean", "lowest", "highest"]})


def _cells(bowl: Bowl, values: dict[str, Array]) -> xr.Dataset:
    coordinates = {"x": bowl.cell_x, "y": bowl.cell_y, "area": bowl.cell_area, "zone": bowl.cell_zone}
    return xr.Dataset(
        {name: ("cell", value) for name, value in values.items()},
        coords={name: ("cell", value) for name, value in coordinates.items()},
    )
