"""Readings of a table held against the same checks as those of the log, before anything is learned from them."""

from dataclasses import replace

import numpy as np

from microclimate.fieldlog import quality
from microclimate.fieldlog.kinds import KINDS
from microclimate.learn.held import Sensor
from microclimate.learn.replay import Station


def trusted(station: Station) -> tuple[Station, dict[tuple[str, str, str], int]]:
    """The station without what a check of one series would flag, and how many by sensor, kind and reason.

    A log needs none of this: there `fieldlog quality` flags, and what its keeper lifted again counts.
    """
    left: dict[tuple[str, str, str], int] = {}
    sensors = [_checked(sensor, left) for sensor in station.sensors]
    return replace(station, sensors=sensors), left


def _checked(sensor: Sensor, left: dict[tuple[str, str, str], int]) -> Sensor:
    known = sensor.values.dropna()
    if sensor.kind not in KINDS or known.empty:
        return sensor
    place = quality.Place(sensor.label, sensor.kind, sensor.zone, float(np.nan_to_num(sensor.depth)))
    doubtful = np.zeros(len(known), dtype=bool)
    for reason, mask, _ in quality.one(place, known.index.to_numpy(), known.to_numpy(dtype=float)):
        if mask.any():
            left[sensor.label, sensor.kind, reason] = int(mask.sum())
            doubtful |= mask
    return replace(sensor, values=sensor.values.drop(known.index[doubtful]))
