"""The whole venue: as its file has it (`VenueFile`) and ready to use (`Venue`)."""

import hashlib
import json
from pathlib import Path
from typing import Any, Literal

from pydantic import ConfigDict, Field

from microclimate import schema
from microclimate.units import Shown, System
from microclimate.venue.bowl import Bowl, BowlTable, Gap, Skyline, StandSurface, StandTable, Wall
from microclimate.venue.calibration import Calibration
from microclimate.venue.drawing import MeshTable
from microclimate.venue.equipment import Circuit, Cover, Crew, Equipment, Plant, Prices
from microclimate.venue.events import EventTable
from microclimate.venue.field import Field as PlayingField
from microclimate.venue.field import FieldTable, Turf, ZoneTable
from microclimate.venue.grass import Grass, Lamp
from microclimate.venue.ground import Ground
from microclimate.venue.kit import Clearing, Floor, Skirts
from microclimate.venue.limits import SPECIES, Limits, Species
from microclimate.venue.model import Model
from microclimate.venue.modules import Module, Modules
from microclimate.venue.notify import Notify
from microclimate.venue.site import Site
from microclimate.venue.work import Work


class VenueFile(Model):
    """venue.toml, table by table."""

    format: int = Field(1, ge=1, description="of this file")
    name: str = Field(min_length=1, description="printed at the head of every page")
    units: Literal["metric", "US"] = Field("metric", description="of everything that is printed")
    clock: Literal[12, 24] = Field(24, description="hours on the clock that is printed")
    guessed: tuple[str, ...] = Field((), description="questions that were answered with 'don't know'")
    site: Site
    field: FieldTable
    turf: Turf = Field(default_factory=lambda: Turf.model_validate({}))
    zone: tuple[ZoneTable, ...] = ()
    ground: tuple[Ground, ...] = ()
    bowl: BowlTable = BowlTable.model_validate({})
    stand: tuple[StandTable, ...] = ()
    wall: tuple[Wall, ...] = ()
    mesh: tuple[MeshTable, ...] = ()
    gap: tuple[Gap, ...] = ()
    skyline: Skyline | None = None
    material: tuple[StandSurface, ...] = ()
    grass: tuple[Grass, ...] = ()
    lamp: tuple[Lamp, ...] = ()
    modules: Modules | None = None
    module: tuple[Module, ...] = ()
    cover: tuple[Cover, ...] = ()
    circuit: tuple[Circuit, ...] = ()
    plant: Plant | None = None
    skirts: Skirts | None = None
    snow: Clearing | None = None
    floor: tuple[Floor, ...] = ()
    crew: Crew = Crew.model_validate({})
    limits: Limits = Limits.model_validate({})
    work: Work = Work.model_validate({})
    prices: Prices | None = None
    notify: Notify | None = None
    event: tuple[EventTable, ...] = ()


class Venue(Model):
    """What the user described, checked, SI, frozen."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    name: str
    units: System
    clock: Literal[12, 24]
    site: Site
    field: PlayingField
    bowl: Bowl
    equipment: Equipment
    events: tuple[schema.Event, ...]
    limits: Limits
    prices: Prices | None
    crew: Crew
    work: Work = Work.model_validate({})
    notify: Notify | None = None
    grasses: tuple[Grass, ...] = ()
    lamps: tuple[Lamp, ...] = ()
    modules: Modules | None = None
    module: tuple[Module, ...] = ()
    calibration: Calibration
    directory: Path
    guessed: tuple[str, ...] = Field((), description="parts that were not known: they get a wider range")
    assumed: tuple[str, ...] = Field((), description="plain sentences: what the file left open and was filled in")

    @property
    def shown(self) -> Shown:
        """How this venue's reader wants numbers and clock times."""
        return Shown(self.units, self.clock, self.site.time_zone)

    def species(self, turf: Turf | None = None) -> Species:
        """What the grass (of the field, or of one zone) bears."""
        name = (turf or self.field.turf).species
        known = SPECIES[name]
        for grass in self.grasses:
            known = grass.over(known) if grass.species == name else known
        return known

    def digest(self, part: Literal["site", "geometry", "material", "all"] = "all") -> str:
        """Content hash of one part, for caches: the same text whenever the same numbers were described.

        "site" is position and surroundings; "geometry" is shape alone (field, zones, stands, walls); "material" is what
        surfaces are made of. Names, limits and equipment move none of these.
        """
        return hashlib.sha256(json.dumps(self._part(part), sort_keys=True, default=str).encode()).hexdigest()[:24]

    def _part(self, part: str) -> Any:
        field, bowl = self.field, self.bowl
        if part == "site":
            return self.site.model_dump(exclude={"name", "forecast", "observed", "clear_sky"})
        if part == "geometry":
            plan = field.model_dump(include={"length", "width", "bearing", "cell_size", "elevation_offset"})
            made_of = {"name", "material", "seats", "transmittance", "albedo", "rough", "surfaces", "fascia_material"}
            shape = _without(bowl.model_dump(), made_of | {"apron_albedo", "ground_albedo", "path"})
            benches = [[tier.seats is not None for tier in stand.tiers] for stand in bowl.stands]
            return [plan, [zone.polygon for zone in field.zones], shape, benches]
        if part == "material":
            layout = [[(tier.material, tier.seats) for tier in stand.tiers] for stand in bowl.stands]
            used = {name for stand in layout for pair in stand for name in pair if name} | {bowl.fascia_material}
            used |= {wall.material for wall in bowl.walls} | {name for mesh in bowl.meshes for name in mesh.materials}
            numbers = {name: bowl.surface(name).model_dump(exclude={"name", "like"}) for name in sorted(used)}
            roofs = [stand.roof and (stand.roof.transmittance, stand.roof.albedo) for stand in bowl.stands]
            walls = [wall.material for wall in bowl.walls]
            drawn = [
                (mesh.material, [(p.group, p.material, p.transmittance) for p in mesh.parts]) for mesh in bowl.meshes
            ]
            floor = [bowl.apron_albedo, bowl.ground_albedo, bowl.fascia_material]
            return [layout, numbers, roofs, walls, drawn, floor, [_floor(zone.turf) for zone in field.zones]]
        return self.model_dump(exclude={"directory", "assumed", "guessed", "notify"})


def _floor(turf: Turf) -> tuple[float, float]:
    return turf.albedo, turf.emissivity


def _without(tree: Any, keys: set[str]) -> Any:
    if isinstance(tree, dict):
        return {key: _without(value, keys) for key, value in tree.items() if key not in keys}
    if isinstance(tree, list | tuple):
        return [_without(value, keys) for value in tree]
    return tree
