"""What a stretch of weather brings to each cell of the field: light and longwave by origin, summed over the stretch."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.exposure import daylight
from microclimate.exposure.force import Forcing
from microclimate.physics.longwave import black_body

Array = NDArray[np.float64]

# energies of one cell over a stretch [J m-2]
LIGHT = ("energy_sun", "energy_sky", "energy_stands")
LONGWAVE = ("longwave_energy_sky", "longwave_energy_stands")


def cells(forcing: Forcing, begin: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """Sums over the steps of a forcing that end after `begin` and not after `end`, first realization, no gap.

    Returns
    -------
    Dataset (cell)
        What `daylight.sums` gives, and `longwave_energy_sky` and `longwave_energy_stands` [J m-2].

    Notes
    -----
    Longwave is laid on the cells once, from means over the stretch: exact for what stands emit (mean fourth power of
    their temperature) and for the sky, but for the sky's bend near the horizon, which hangs on air and sky together.
    """
    steps, laid = forcing.steps, forcing.laid(slice(0, 1))
    late = (steps.time > begin) & (steps.time <= end)
    seen = late[steps.look_share.tocsc().indices]
    normal, sky = (part[0, seen] for part in laid.sunlit)
    found = daylight.sums(
        forcing.bowl, steps.azimuth[seen], steps.elevation[seen], normal, sky, steps.look_seconds[seen]
    )
    lasts = steps.seconds * int(late.sum())
    down = laid.amount["surface_downwelling_longwave_flux_in_air"][0, late].mean()
    air = laid.point["air_temperature"][:, None, :][0, 0]
    if forcing.open_field:
        from_sky, from_stands = np.full(forcing.bowl.rows, down), np.zeros(forcing.bowl.rows)
    else:
        from_sky, from_stands = forcing.bowl.longwave(down, air[late].mean(), _shining(forcing, air, late))
    return found.assign(
        longwave_energy_sky=("cell", lasts * from_sky), longwave_energy_stands=("cell", lasts * from_stands)
    )


def _shining(forcing: Forcing, air: Array, late: NDArray[np.bool_]) -> Array:
    """Temperature of each surface of the bowl (surface,) [K] that emits the mean over the stretch."""
    inside = forcing.bowl_inside(forcing.laid(slice(0, 1)))
    if inside is None or forcing.basin is None:
        warm = np.repeat(air[:, None], len(forcing.bowl.surfaces), axis=1)
    else:
        warm = forcing.basin.stand_temperature(air[None], inside)[0]
    return np.asarray((black_body(warm[late]).mean(axis=0) / STEFAN_BOLTZMANN) ** 0.25)


def added(parts: list[xr.Dataset]) -> xr.Dataset:
    """Stretches one after the other as one; what belongs to the place alone stays as it is."""
    first = parts[0]
    total = {name: sum(part[name] for part in parts) for name in first.data_vars if name != "sky_view_factor"}
    return first.assign(total)
