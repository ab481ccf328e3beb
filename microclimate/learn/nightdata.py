"""Readings and a run as what a fit may compare: one number a night, or half a day, for each sensor."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from microclimate.learn import compare, held
from microclimate.learn.replay import Station

Array = NDArray[np.float64]

SOIL_DEPTH = 0.35  # [m] deeper probes tell of the season, not of what is fitted (ours)
PRESENT = 0.75  # of the readings of half a day that must be there (ours)


@dataclass(frozen=True)
class NightData:
    """What was read, number by number."""

    observed: Array  # [K]
    sensor: NDArray[np.int64]  # place in `labels`
    night: NDArray[np.datetime64]  # date of its evening; of a day's mean, of the evening after it
    surface: NDArray[np.bool_]  # the lowest surface temperature of a night, else a mean in the ground
    labels: tuple[str, ...]
    zones: tuple[str, ...]
    offset_known: tuple[float, ...]  # [K] zero check of each sensor, NaN where there was none

    def take(self, rows: NDArray[np.bool_]) -> "NightData":
        """Some of the numbers."""
        parts = (self.observed[rows], self.sensor[rows], self.night[rows], self.surface[rows])
        return NightData(*parts, self.labels, self.zones, self.offset_known)

    @property
    def nights(self) -> NDArray[np.datetime64]:
        """Each night once, in order."""
        return np.unique(self.night)


class Gather:
    """The same numbers from readings and from any run of one station, in one order.

    Parameters
    ----------
    station : Station
    first : DataFrame
        A run, `Station.modelled`: its nights are compared to see which of the readings cannot be used.
    """

    def __init__(self, station: Station, first: pd.DataFrame) -> None:
        self.station = station
        self._times = pd.DatetimeIndex(first.index)
        site = station.site
        self._night = pd.Series(compare.night_of(self._times, site.time_zone), index=first.index)
        standard = compare.local_standard(self._times - pd.Timedelta(nanoseconds=1), site.time_zone)
        self._day = pd.Series(standard.normalize(), index=first.index).where(self._night.isna())
        self.around = held.surroundings(station.observed.weather, self._times)
        self._rows: list[tuple[held.Sensor, str, pd.Index]] = []
        self.offsets: dict[str, tuple[float, int]] = {}
        self._seen = {s.label: s.values.reindex(first.index) for s in station.sensors}
        for sensor in station.sensors:
            self._one(sensor, first)

    def _one(self, sensor: held.Sensor, first: pd.DataFrame) -> None:
        seen, told, air = self._seen[sensor.label], first[sensor.label], self.around
        if sensor.kind in held.SURFACES and sensor.interval > 0.0:
            zero = compare.zero_check(
                seen, air["air"], air["cloud"], air["wind_10m"], air["shortwave"], self.station.site.latitude
            )
            self.offsets[sensor.label] = zero
            found = compare.nights(
                seen - zero[0], told, air["air"], air["cloud"], air["wind_2m"], self.station.site.time_zone
            )
            cold = compare.cold_season(pd.DatetimeIndex(found.index), self.station.site.latitude)
            self._rows.append((sensor, "minimum", found.index[(found["screened"] == "") & cold]))
        elif sensor.kind == "soil_temperature" and 0.0 < sensor.depth <= SOIL_DEPTH and sensor.interval > 0.0:
            for part, groups in (("night", self._night), ("day", self._day)):
                count = (seen.notna() & told.notna()).groupby(groups).sum()
                self._rows.append(
                    (sensor, part, count.index[count >= PRESENT * count.max()] if len(count) else count.index)
                )

    def observed(self) -> NightData:
        """The readings, with the offset of a zero check taken off."""
        values, sensors, nights, surface = [], [], [], []
        labels = list(dict.fromkeys(sensor.label for sensor, _, _ in self._rows))
        for sensor, part, keys in self._rows:
            series = self._seen[sensor.label] - self.offsets.get(sensor.label, (0.0, 0))[0]
            values.append(self._fold(series, self._seen[sensor.label].notna(), part, keys))
            sensors.append(np.full(len(keys), labels.index(sensor.label)))
            nights.append(pd.DatetimeIndex(keys).to_numpy().astype("datetime64[D]"))
            surface.append(np.full(len(keys), part == "minimum"))
        by_label = {sensor.label: sensor for sensor, _, _ in self._rows}
        known = tuple(
            self.offsets[label][0] if self.offsets.get(label, (0.0, 0))[1] >= compare.ZERO_COUNT else np.nan
            for label in labels
        )
        return NightData(
            np.concatenate(values or [np.zeros(0)]),
            np.concatenate(sensors or [np.zeros(0)]).astype(np.int64),
            np.concatenate(nights or [np.zeros(0, "datetime64[D]")]),
            np.concatenate(surface or [np.zeros(0)]).astype(bool),
            tuple(labels),
            tuple(by_label[label].zone for label in labels),
            known,
        )

    def modelled(self, told: pd.DataFrame) -> Array:
        """The same numbers of a run."""
        parts = [
            self._fold(told[sensor.label], self._seen[sensor.label].notna(), part, keys)
            for sensor, part, keys in self._rows
        ]
        return np.concatenate(parts or [np.zeros(0)])

    def _fold(self, series: pd.Series, seen: pd.Series, part: str, keys: pd.Index) -> Array:
        """A series as one number for each key, over the intervals that were read."""
        kept = series.where(seen)
        if part == "minimum":
            return np.asarray(kept.groupby(self._night).min().reindex(keys), dtype=float)
        groups = self._night if part == "night" else self._day
        return np.asarray(kept.groupby(groups).mean().reindex(keys), dtype=float)

    def kinds(self, nights: Sequence[np.datetime64] | NDArray[np.datetime64]) -> pd.DataFrame:
        """What kind of night each was: lowest air [K], mean wind at 2 m [m s-1], mean cloud [1], clear and calm."""
        by_night = self.around.groupby(self._night)
        clear = compare.night_kinds(self._night, self.around["cloud"], self.around["wind_2m"])
        found = pd.DataFrame(
            {
                "air": by_night["air"].min(),
                "wind": by_night["wind_2m"].mean(),
                "cloud": by_night["cloud"].mean(),
                "clear_calm": clear,
            }
        )
        return found.reindex(pd.DatetimeIndex(np.asarray(nights)))


def shuffled(data: NightData, seed: int) -> NightData:
    """The same readings given to other nights, whole nights together: nothing is left to learn from them."""
    rng = np.random.default_rng(seed)
    observed = data.observed.copy()
    for sensor in range(len(data.labels)):
        for surface in (False, True):
            rows = np.flatnonzero((data.sensor == sensor) & (data.surface == surface))
            observed[rows] = observed[rng.permutation(rows)]
    parts = (observed, data.sensor, data.night, data.surface, data.labels, data.zones, data.offset_known)
    return NightData(*parts)
