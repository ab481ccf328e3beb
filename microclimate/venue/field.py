"""The field: size, lie, grass and zones."""

import math
from typing import Annotated, Any, Literal

from pydantic import Field as Setting
from pydantic import model_validator
from pydantic_core import PydanticCustomError

from microclimate.venue.ground import Base, Layer
from microclimate.venue.limits import SPECIES
from microclimate.venue.model import Model, Unit, unknown

Point = tuple[float, float]
Surface = Literal["mown turf", "meadow", "stubble", "bare soil", "hard"]

# What a surface is to sun, sky and air. Albedo: ASCE/FAO reference grass .23, measured lawn .19, wet clay .12-.15, so
# .21 for turf. Emissivity .97 (0.97-0.98: Agronomy Journal 58, 1966). Canopy conductance: lawn 5 (Moene & van Dam 2014,
# textbook; 4-6 found on a measured lawn), meadow 5-10, stubble 10-20, bare soil 15 (skin layer of a weather model's
# table, from memory), hard 30 (ours, no source). Exchange floor: 2 W/m2K windless (Jordan 1991), 2-3 found on a lawn,
# 4-8 on meadow and stubble. Resistances: reference grass 50 day, 200 night (ASCE 2005), lawn 50-70 by day, dormant or
# dry 150-500, wet bare soil 50, and stubble on moist ground by day as grass (250 heats its soil by 1 K from spring to
# autumn: tried on measured soil). Others from memory.
SURFACES: dict[str, dict[str, float]] = {
    "mown turf": {
        "albedo": 0.21,
        "emissivity": 0.97,
        "canopy_conductance": 5.0,
        "exchange_floor": 3.0,
        "leaf_heat_capacity": 3000.0,
        "resistance_day": 70.0,
        "resistance_night": 200.0,
    },
    "meadow": {
        "albedo": 0.21,
        "emissivity": 0.97,
        "canopy_conductance": 7.0,
        "exchange_floor": 5.0,
        "leaf_heat_capacity": 4000.0,
        "resistance_day": 70.0,
        "resistance_night": 200.0,
    },
    "stubble": {
        "albedo": 0.20,
        "emissivity": 0.97,
        "canopy_conductance": 14.0,
        "exchange_floor": 5.0,
        "leaf_heat_capacity": 3000.0,
        "resistance_day": 70.0,
        "resistance_night": 200.0,
    },
    "bare soil": {
        "albedo": 0.15,
        "emissivity": 0.96,
        "canopy_conductance": 15.0,
        "exchange_floor": 3.0,
        "leaf_heat_capacity": 2000.0,
        "resistance_day": 150.0,
        "resistance_night": 150.0,
    },
    "hard": {
        "albedo": 0.20,
        "emissivity": 0.94,
        "canopy_conductance": 30.0,
        "exchange_floor": 3.0,
        "leaf_heat_capacity": 2000.0,
        "resistance_day": 2000.0,
        "resistance_night": 2000.0,
    },
}
_HEIGHTS = {"mown turf": 0.028, "meadow": 0.12, "stubble": 0.05, "bare soil": 0.01, "hard": 0.005}  # [m]


class Turf(Model):
    """What grows on the field, and how it trades heat."""

    surface: Surface = Setting("mown turf", description="mown turf, meadow, stubble, bare soil or hard")
    species: str = Setting("perennial ryegrass", description=f"grass: {', '.join(SPECIES)}")
    mowing_height: Annotated[float, Unit("mm", 2, 500)] = Setting(description="height of cut (or of the stand)")
    albedo: Annotated[float, Unit("1", 0.02, 0.6)] = Setting(description="share of the sun's light sent back")
    emissivity: Annotated[float, Unit("1", 0.85, 1)] = Setting(description="longwave emissivity")
    canopy_conductance: Annotated[float, Unit("W/m2/K", 1, 200)] = Setting(
        description="heat passage between leaf and soil surface"
    )
    exchange_floor: Annotated[float, Unit("W/m2/K", 0, 20)] = Setting(
        description="heat exchange with still air, added to that of the wind"
    )
    leaf_heat_capacity: Annotated[float, Unit("1", 200, 5e4)] = Setting(description="of leaf and skin, J/m2K")
    leaf_area: Annotated[float, Unit("1", 0, 10)] = Setting(description="leaf area per ground area")
    roughness_length: Annotated[float, Unit("m", 1e-5, 0.2)] = Setting(description="for wind over the surface")
    resistance_day: Annotated[float, Unit("1", 0, 1e5)] = Setting(description="to evaporation by day, s/m")
    resistance_night: Annotated[float, Unit("1", 0, 1e5)] = Setting(description="to evaporation by night, s/m")

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, data: Any) -> Any:
        """Fill in what follows from the kind of surface and the height of cut."""
        if not isinstance(data, dict):
            return data
        surface = str(data.get("surface", "mown turf"))
        if surface not in SURFACES:
            return SURFACES["mown turf"] | {"mowing_height": 28, "leaf_area": 1, "roughness_length": 0.003} | data
        data = SURFACES[surface] | {"mowing_height": 1000 * _HEIGHTS[surface]} | data
        try:
            height = Unit("mm", 2, 500).convert(data["mowing_height"])
        except PydanticCustomError:
            height = _HEIGHTS[surface]  # the fault is reported with its field
        # FAO-56 (Allen et al. 1998): leaf area 24 h for clipped grass, roughness length 0.123 h (box 4)
        grass = surface in ("mown turf", "meadow")
        return {"leaf_area": min(24.0 * height, 10.0) if grass else 0.0, "roughness_length": 0.123 * height} | data

    @model_validator(mode="after")
    def _known(self) -> "Turf":
        if self.species not in SPECIES:
            raise unknown("species", self.species, SPECIES)
        return self


class Zone(Model):
    """One named part of the field, ready to use: outline, layers, base, heating and grass."""

    name: str
    polygon: tuple[Point, ...] = Setting(description="corners [m], field frame, counter-clockwise")
    layers: tuple[Layer, ...]
    base: Base
    circuit: str | None = None
    turf: Turf

    @property
    def area(self) -> float:
        """[m2]."""
        return signed_area(self.polygon)


class Field(Model):
    """The playing surface in its own frame: x along the long axis, y to the left of it, metres from the centre."""

    length: Annotated[float, Unit("m", 2, 400)]
    width: Annotated[float, Unit("m", 2, 400)]
    bearing: Annotated[float, Unit("degree", 0, 360)]
    cell_size: Annotated[float, Unit("m", 0.25, 10)]
    elevation_offset: Annotated[float, Unit("m", -30, 10)]
    turf: Turf
    zones: tuple[Zone, ...]

    def zone(self, name: str) -> Zone:
        """The zone of that name."""
        return next(zone for zone in self.zones if zone.name == name)


class FieldTable(Model):
    """[field] as the file has it."""

    length: Annotated[float, Unit("m", 2, 400)] = Setting(description="of the long axis")
    width: Annotated[float, Unit("m", 2, 400)] = Setting(description="across")
    bearing: Annotated[float, Unit("degree", 0, 360)] = Setting(
        0.0, description="compass direction of the long axis, seen from the foot end to the head end (0 north, 90 east)"
    )
    cell_size: Annotated[float, Unit("m", 0.25, 10)] = Setting(2.0, description="of the mesh of cells")
    elevation_offset: Annotated[float, Unit("m", -30, 10)] = Setting(
        0.0, description="of the field against the ground outside; a sunken field is negative"
    )
    zone_rows: int = Setting(1, ge=1, le=26, description="rows of zones, counted from the left side to the right")
    zone_columns: int = Setting(1, ge=1, le=50, description="columns of zones, counted from the foot end to the head")
    zone_names: tuple[tuple[str, ...], ...] | None = Setting(
        None, description="one list of names for each row; not given: A1, A2, ... B1, ..."
    )


class ZoneTable(Model):
    """[[zone]] as the file has it: an outline instead of the grid."""

    name: str = Setting(min_length=1, description="as the crew calls it")
    outline: tuple[tuple[Annotated[float, Unit("m")], Annotated[float, Unit("m")]], ...] = Setting(
        min_length=3, description="corners x, y from the field's centre, x towards the head end, y to its left"
    )


def signed_area(polygon: tuple[Point, ...]) -> float:
    """Area of an outline [m2], positive when it runs counter-clockwise."""
    pairs = zip(polygon, polygon[1:] + polygon[:1], strict=True)
    return 0.5 * math.fsum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)


def middle(polygon: tuple[Point, ...]) -> Point:
    """Centre of an outline's area [m]; its first corner where it has none."""
    pairs = zip(polygon, polygon[1:] + polygon[:1], strict=True)
    parts = [((x0 + x1), (y0 + y1), x0 * y1 - x1 * y0) for (x0, y0), (x1, y1) in pairs]
    times = 6.0 * signed_area(polygon)
    if times == 0.0:
        return polygon[0]
    return math.fsum(x * turn for x, _, turn in parts) / times, math.fsum(y * turn for _, y, turn in parts) / times


def grid(field: FieldTable) -> list[tuple[str, tuple[Point, ...]]]:
    """Names and outlines of the rows x columns grid; row 1 lies along the left side."""
    rows, columns = field.zone_rows, field.zone_columns
    names = field.zone_names or tuple(
        tuple(f"{chr(65 + row)}{column + 1}" for column in range(columns)) for row in range(rows)
    )
    dx, dy = field.length / columns, field.width / rows
    cells: list[tuple[str, tuple[Point, ...]]] = []
    for row in range(rows):
        top = 0.5 * field.width - row * dy
        for column in range(columns):
            left = -0.5 * field.length + column * dx
            cells.append((names[row][column], ((left, top - dy), (left + dx, top - dy), (left + dx, top), (left, top))))
    return cells
