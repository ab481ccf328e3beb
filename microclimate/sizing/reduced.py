"""A venue reduced to few columns: zones of like ground, heating and covers become one group of up to three patches.

The darkest tenth of a group stays a column of its own, so the worst patch is never averaged away.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from microclimate.exposure import patches
from microclimate.exposure.bowl import Bowl
from microclimate.schema import Site
from microclimate.sizing.winters import Climate
from microclimate.venue.equipment import Circuit
from microclimate.venue.field import Zone
from microclimate.venue.load import Venue

PLANNED = "planned"  # the circuit of a venue that has none yet


@dataclass(frozen=True)
class Reduced:
    """What the runs use in place of the venue."""

    venue: Venue  # one zone for each group, the climate's place and deep ground
    bowl: Bowl
    patches: xr.Dataset
    members: dict[str, tuple[str, ...]]  # group -> zones of the venue
    area: dict[str, float]  # group -> [m2]
    covered: dict[str, tuple[bool, ...]]  # group -> whether each cover is for it
    planned: bool  # the venue has no circuit: a usual one is taken everywhere

    @property
    def heated(self) -> tuple[str, ...]:
        """Groups with a circuit."""
        return tuple(zone.name for zone in self.venue.field.zones if zone.circuit is not None)

    @property
    def heated_area(self) -> float:
        """[m2]."""
        return sum(self.area[name] for name in self.heated)


def equipped(venue: Venue) -> tuple[Venue, bool]:
    """The venue, with a usual hydronic circuit everywhere where it has none at all."""
    if venue.equipment.circuits:
        return venue, False
    circuit = Circuit.model_validate({"name": PLANNED, "kind": "hydronic", "supply_temperature": 35})
    zones = tuple(zone.model_copy(update={"circuit": PLANNED}) for zone in venue.field.zones)
    equipment = venue.equipment.model_copy(update={"circuits": (circuit,)})
    field = venue.field.model_copy(update={"zones": zones})
    return venue.model_copy(update={"equipment": equipment, "field": field}), True


def reduced(given: Venue, bowl: Bowl, climate: Climate) -> Reduced:
    """Group the zones of a venue and set it into a climate.

    Parameters
    ----------
    given : Venue
    bowl : Bowl
        Of that venue.
    climate : Climate
        Its place gives the sun; its yearly mean the deep ground, where the venue knows no better.
    """
    venue, planned = equipped(given)
    keys = [_key(venue, zone) for zone in venue.field.zones]
    kinds = list(dict.fromkeys(keys))
    group = np.array([kinds.index(key) for key in keys])
    names = _names(venue, kinds)
    zones, members, factors = [], {}, {}
    for place, (name, kind) in enumerate(zip(names, kinds, strict=True)):
        inside = [zone for zone, number in zip(venue.field.zones, group, strict=True) if number == place]
        one = inside[0]
        base = one.base
        if base.deep_temperature is None and not base.over_air and np.isfinite(climate.deep):
            base = base.model_copy(update={"deep_temperature": climate.deep})
        zones.append(one.model_copy(update={"name": name, "base": base}))
        members[name] = tuple(zone.name for zone in inside)
        by_hand = venue.calibration.zone_wind_factor
        factors[name] = float(np.mean([by_hand.get(zone.name, 1.0) for zone in inside]))
        assert kind == _key(venue, one)
    cell_zone = np.where(bowl.cell_zone >= 0, group[bowl.cell_zone], -1)
    joined = replace(bowl, cell_zone=cell_zone)
    set_in = venue.model_copy(
        update={
            "field": venue.field.model_copy(update={"zones": tuple(zones)}),
            "site": venue.site.model_copy(update=_of(climate.site)),
            "calibration": venue.calibration.model_copy(update={"zone_wind_factor": factors, "wind": _wind(venue)}),
        }
    )
    middle = (climate.weather["time"].values[climate.weather.sizes["time"] // 2]).astype("datetime64[D]").item()
    sun = patches.morning_sun(joined, climate.site.latitude, climate.site.longitude, middle)
    parts = patches.patches(tuple(zones), joined, sun)
    area = {name: float(parts["area"].values[parts["zone"].values == name].sum()) for name in names}
    covered = {name: kind[-1] for name, kind in zip(names, kinds, strict=True)}
    return Reduced(set_in, joined, parts, members, area, covered, planned)


def _key(venue: Venue, zone: Zone) -> tuple[Any, ...]:
    """What zones of one group have in common."""
    covers = tuple(not cover.zones or zone.name in cover.zones for cover in venue.equipment.covers)
    return zone.layers, zone.base, zone.turf, zone.circuit, covers


def _names(venue: Venue, kinds: list[tuple[Any, ...]]) -> list[str]:
    """A name for each group: its circuit's, numbered where several groups share it."""
    circuits = [str(kind[3]) if kind[3] is not None else "without heating" for kind in kinds]
    return [
        name if circuits.count(name) == 1 else f"{name} {circuits[: place + 1].count(name)}"
        for place, name in enumerate(circuits)
    ]


def _of(site: Site) -> dict[str, object]:
    return {
        "latitude": site.latitude,
        "longitude": site.longitude,
        "elevation": site.elevation,
        "time_zone": site.time_zone,
    }


def _wind(venue: Venue) -> object:
    """What readings taught of the wind, without what they taught of single zones (groups have other names)."""
    wind = venue.calibration.wind
    return None if wind is None else wind.model_copy(update={"offset": {}, "spread": {}})
