"""Cells of one zone with like sun, sky and wind, joined into patches: the units the column runs on.

At most three a zone: the darkest tenth, the middle and the lightest tenth, by night sky view and by the sun of one
morning (a default of ours, no source). A zone that is alike throughout is one patch. The worst patch is never
averaged away; areas are counted in cells.
"""

from datetime import date

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from pvlib import solarposition

from microclimate.exposure.bowl import Bowl
from microclimate.venue.field import Zone

Array = NDArray[np.float64]

PARTS = ("darkest", "middle", "lightest")
TAIL = 0.10  # [1] share of a zone's area in the darkest and in the lightest patch
FEWEST_CELLS = 10  # a smaller zone is one patch
ALIKE_SKY = 0.03  # [1] range of sky view within which cells count as alike: about 2 W/m2 of longwave
ALIKE_SUN = 0.10  # [1] the same for the share of a morning's beam energy


def morning_sun(bowl: Bowl, latitude: float, longitude: float, day: date) -> Array:
    """Share of the open field's beam energy from sunrise to solar noon that reaches each cell (cell,) [1].

    Clear sky; the beam is weighted with the sine of the sun's height alone, which is what sorting cells needs.
    """
    noon = pd.Timestamp(day, tz="UTC") + pd.Timedelta(hours=12.0 - longitude / 15.0)
    sun = solarposition.get_solarposition(
        pd.date_range(noon - pd.Timedelta("9h"), noon, freq="10min"), latitude, longitude
    )
    up = sun["elevation"].to_numpy() > 0.0
    if not up.any():
        return np.zeros(len(bowl.cell_x))
    weight = np.sin(np.radians(sun["elevation"].to_numpy()[up]))
    factor = bowl.sun_factor(sun["azimuth"].to_numpy()[up], sun["elevation"].to_numpy()[up])
    return np.asarray(weight @ factor / weight.sum())


def _parts(sky_view: Array, sun: Array, area: Array) -> NDArray[np.int64]:
    """Part (0 darkest, 1 middle, 2 lightest) of each cell of one zone."""
    part = np.ones(len(area), int)
    alike = np.ptp(sky_view) <= ALIKE_SKY and np.ptp(sun) <= ALIKE_SUN
    if alike or len(area) < FEWEST_CELLS:
        return part
    light = _rank(sky_view) + _rank(sun)
    order = np.argsort(light, kind="stable")
    below = np.cumsum(area[order]) / area.sum()
    part[order[below <= TAIL]] = 0
    part[order[below > 1.0 - TAIL]] = 2
    part[order[0]], part[order[-1]] = 0, 2
    return part


def _rank(values: Array) -> Array:
    """Place of each value among the different ones, above 0 to 1."""
    different, place = np.unique(values, return_inverse=True)
    return np.asarray((place + 1.0) / len(different))


def patches(zones: tuple[Zone, ...], bowl: Bowl, sun: Array) -> xr.Dataset:
    """Join cells into patches.

    Parameters
    ----------
    zones : tuple
        The field's zones in order; `bowl.cell_zone` counts in it.
    bowl : Bowl
    sun : array (cell,)
        Share of a morning's beam energy that reaches each cell [1] (`morning_sun`).

    Returns
    -------
    Dataset
        Coordinates (patch): zone, zone_index, part, area [m2], x, y [m], sky_view_factor, morning_sun, cells; (cell):
        cell_x, cell_y, cell_area, cell_zone, cell_sky_view_factor. Variables: cell_patch (cell) and weights
        (patch, cell), rows summing to 1, by area.
    """
    cell_patch = np.full(len(bowl.cell_x), -1)
    zone_index: list[int] = []
    part_name: list[str] = []
    for zone in range(len(zones)):
        members = np.flatnonzero(bowl.cell_zone == zone)
        part = _parts(bowl.sky_view[members], sun[members], bowl.cell_area[members])
        for number in np.unique(part):
            cell_patch[members[part == number]] = len(zone_index)
            zone_index.append(zone)
            part_name.append(PARTS[number] if len(np.unique(part)) > 1 else "whole")
    count = len(zone_index)
    weights = (cell_patch == np.arange(count)[:, None]) * bowl.cell_area
    area = weights.sum(axis=1)
    weights = weights / area[:, None]
    index = np.array(zone_index)
    return xr.Dataset(
        {"cell_patch": ("cell", cell_patch), "weights": (("patch", "cell"), weights)},
        coords={
            "zone": ("patch", np.array([zones[i].name for i in zone_index])),
            "zone_index": ("patch", index),
            "part": ("patch", np.array(part_name)),
            "area": ("patch", area, {"units": "m2"}),
            "x": ("patch", weights @ bowl.cell_x, {"units": "m"}),
            "y": ("patch", weights @ bowl.cell_y, {"units": "m"}),
            "sky_view_factor": ("patch", weights @ bowl.sky_view, {"units": "1"}),
            "morning_sun": (
                "patch",
                weights @ sun,
                {"units": "1", "long_name": "share of a morning's sun that arrives"},
            ),
            "cells": ("patch", np.bincount(cell_patch[cell_patch >= 0], minlength=count)),
            "cell_x": ("cell", bowl.cell_x, {"units": "m"}),
            "cell_y": ("cell", bowl.cell_y, {"units": "m"}),
            "cell_area": ("cell", bowl.cell_area, {"units": "m2"}),
            "cell_zone": ("cell", bowl.cell_zone),
            "cell_sky_view_factor": ("cell", bowl.sky_view, {"units": "1"}),
        },
    )


PATCH_COORDINATES = ("zone", "zone_index", "part", "area", "x", "y", "sky_view_factor")
