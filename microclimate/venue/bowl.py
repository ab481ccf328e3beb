"""The stands round the field: tiers in steps, roofs, walls and gaps; or a rough guess, or angles of the skyline."""

import math
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from microclimate.venue.drawing import Drawing
from microclimate.venue.materials import STANDS
from microclimate.venue.model import Model, Unit, unknown

BowlKind = Literal["none", "separate stands", "rounded rectangle", "oval", "horseshoe"]
Side = Literal["left", "right", "head", "foot", "all"]

ROUGH_TREAD = 0.80  # [m] row depth taken for a stand described roughly: common practice, no source
ROUGH_FIRST_ROW = 1.2  # [m] height of its first row: common practice, no source


class StandSurface(Model):
    """A surface of the stands, from the table of materials or as the venue file corrects it."""

    name: str = Field(min_length=1, description="used as `material` of a tier")
    like: str | None = Field(None, description="material of the table whose other numbers hold")
    albedo: Annotated[float, Unit("1", 0.02, 0.95)] = Field(description="share of the sun's light sent back")
    emissivity: Annotated[float, Unit("1", 0.02, 1)] = Field(description="longwave; never 1 - albedo for metal")
    specular: Annotated[float, Unit("1", 0, 1)] = Field(description="mirror-like share of the light sent back")
    roughness: Annotated[float, Unit("1", 0, 0.6)] = Field(description="width of the mirror's lobe, 0 a mirror")
    thermal: Literal["plank", "slab"] = Field(description="plank (thin, follows the air) or slab (heavy)")
    heat_capacity: Annotated[float, Unit("1", 500, 5e6)] = Field(description="of the whole thickness, J/m2K")
    thickness: Annotated[float, Unit("m", 0.0005, 2)] = Field(description="of sheet or slab")
    conductivity: Annotated[float, Unit("W/m/K", 0.01, 400)] = Field(description="of it")

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        like = str(data.get("like", data.get("name")))
        if like in STANDS:
            return vars(STANDS[like]) | data
        if data.get("like") is not None:
            raise unknown("like", like, STANDS)
        return data


class Tier(Model):
    """Rows of steps with one slope."""

    front_height: Annotated[float, Unit("m", -20, 80)] = Field(
        description="of the first row's floor above the field's surface"
    )
    tread: Annotated[float, Unit("m", 0.3, 3)] = Field(description="depth of a row")
    riser: Annotated[float, Unit("m", 0.01, 1.5)] = Field(description="height of a step")
    rows: int = Field(ge=1, le=150, description="number of rows")
    setback: Annotated[float, Unit("m", -30, 60)] = Field(
        0.0, description="from the back of the tier in front to this one's first row; overhang is negative"
    )
    material: str = Field("concrete", description="of the steps, or of what covers them")
    seats: str | None = Field(None, description="material of bench planks or seats on the steps, if any")
    seat_width: Annotated[float, Unit("m", 0.05, 1)] = Field(0.25, description="depth of a bench plank")
    seat_backs: bool = Field(False, description="the seats have backs")

    @model_validator(mode="after")
    def _rake(self) -> Self:
        if self.seat_backs and self.seats is None:
            raise PydanticCustomError("tier", "seat_backs needs seats, the material they are made of", {})
        if not 1.0 <= self.rake <= 50.0:
            raise PydanticCustomError(
                "tier",
                "riser and tread make a slope of {rake} degree; wanted 1..50",
                {"rake": f"{self.rake:.0f}"},
            )
        return self

    @property
    def depth(self) -> float:
        """From the first row's front to the last row's back, in plan [m]."""
        return self.rows * self.tread

    @property
    def top(self) -> float:
        """Height of the last row's floor above the field [m]."""
        return self.front_height + (self.rows - 1) * self.riser

    @property
    def rake(self) -> float:
        """Slope [degree]."""
        return math.degrees(math.atan2(self.riser, self.tread))


class Roof(Model):
    """A roof slab over a stand. Heights are of its underside, above the field."""

    depth: Annotated[float, Unit("m", 0.5, 120)] = Field(description="from the back of the stand towards the field")
    height_front: Annotated[float, Unit("m", 2, 120)] = Field(description="at the edge towards the field")
    height_back: Annotated[float, Unit("m", 2, 120)] = Field(description="at the back of the stand")
    thickness: Annotated[float, Unit("m", 0.05, 6)] = Field(0.5, description="of the slab with its beams")
    transmittance: Annotated[float, Unit("1", 0, 0.9)] = Field(0.0, description="share of light let through")
    albedo: Annotated[float, Unit("1", 0.02, 0.95)] = Field(0.5, description="of its underside")
    sides: tuple[str, ...] = Field((), description="of a ring: the sides it is over; not given: all of the ring")


class Stand(Model):
    """One stand along one side of the field, in the field's own frame."""

    name: str = Field(description="as the crew calls it")
    side: Side = Field(description="left, right, head or foot as seen along the long axis; or a compass direction")
    start: Annotated[float, Unit("m", -400, 400)] = Field(
        description="along the side, from the middle: x for left and right, y for head and foot"
    )
    end: Annotated[float, Unit("m", -400, 400)] = Field(description="the other end")
    setback: Annotated[float, Unit("m", 0, 200)] = Field(description="from the field's edge to the first row")
    tiers: tuple[Tier, ...] = Field(min_length=1, max_length=6, description="from the field upwards")
    parapet_height: Annotated[float, Unit("m", 0, 10)] = Field(1.1, description="above the last row")
    roof: Roof | None = Field(None, description="if there is one")
    back_wall: bool = Field(True, description="closed to the ground behind the last row")
    rough: bool = Field(False, description="came from a rough description")

    @property
    def tier_fronts(self) -> tuple[float, ...]:
        """Distance of each tier's first row from the field's edge [m]."""
        fronts, back = [], self.setback
        for tier in self.tiers:
            fronts.append(back + tier.setback)
            back = fronts[-1] + tier.depth
        return tuple(fronts)

    @property
    def back(self) -> float:
        """Distance of the last row's back from the field's edge [m]."""
        return self.tier_fronts[-1] + self.tiers[-1].depth

    @property
    def top(self) -> float:
        """Height of the highest row's floor above the field [m]."""
        return max(tier.top for tier in self.tiers)


class Wall(Model):
    """A standing wall: a scoreboard, an end wall, a building, or a piece of skyline. Field frame."""

    name: str = Field("", description="as the crew calls it")
    start: tuple[Annotated[float, Unit("m")], Annotated[float, Unit("m")]] = Field(description="x, y of one end")
    end: tuple[Annotated[float, Unit("m")], Annotated[float, Unit("m")]] = Field(description="x, y of the other end")
    bottom: Annotated[float, Unit("m", -30, 100)] = Field(0.0, description="height of its lower edge above the field")
    top: Annotated[float, Unit("m", -20, 150)] = Field(description="height of its upper edge above the field")
    material: str = Field("concrete", description="of the face towards the field")

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.top <= self.bottom:
            raise PydanticCustomError("wall", "top must be above bottom", {})
        if math.dist(self.start, self.end) < 0.1:
            raise PydanticCustomError("wall", "start and end are the same point", {})
        return self


class Gap(Model):
    """An opening cut through all tiers of a ring of stands."""

    side: str = Field(description="left, right, head or foot along the long axis, or a compass direction")
    centre: Annotated[float, Unit("m", -400, 400)] = Field(0.0, description="along the side, from the middle")
    width: Annotated[float, Unit("m", 0.5, 200)] = Field(description="clear opening")


class Bowl(Model):
    """All that stands round the field."""

    kind: BowlKind = "none"
    stands: tuple[Stand, ...] = ()
    walls: tuple[Wall, ...] = ()
    gaps: tuple[Gap, ...] = ()
    meshes: tuple[Drawing, ...] = ()
    corner_radius: Annotated[float, Unit("m", 0, 100)] = 15.0
    open_end: Literal["left", "right", "head", "foot"] = "foot"
    apron_albedo: Annotated[float, Unit("1", 0.02, 0.9)] = 0.20
    ground_albedo: Annotated[float, Unit("1", 0.02, 0.9)] = 0.20
    fascia_material: str = "concrete"
    surfaces: tuple[StandSurface, ...] = ()

    @property
    def materials(self) -> tuple[str, ...]:
        """What steps and seats are made of, by name."""
        pairs = [(tier.material, tier.seats) for stand in self.stands for tier in stand.tiers]
        drawn = [name for drawing in self.meshes for name in drawing.materials]
        return tuple(sorted({name for pair in pairs for name in pair if name} | set(drawn)))

    def surface(self, name: str) -> StandSurface:
        """The numbers of a material, as the venue has them."""
        for surface in self.surfaces:
            if surface.name == name:
                return surface
        return StandSurface.model_validate({"name": name, "like": name})


class BowlTable(Model):
    """[bowl] as the file has it."""

    kind: BowlKind | None = Field(
        None, description="none, separate stands, rounded rectangle, oval or horseshoe; not given: from the stands"
    )
    corner_radius: Annotated[float, Unit("m", 0, 100)] = Field(
        15.0, description="of the first row round a corner (rounded rectangle, horseshoe)"
    )
    open_end: str = Field(
        "foot", description="open side of a horseshoe: left, right, head, foot or a compass direction"
    )
    apron_albedo: Annotated[float, Unit("1", 0.02, 0.9)] = Field(0.20, description="of the floor round the field")
    ground_albedo: Annotated[float, Unit("1", 0.02, 0.9)] = Field(0.20, description="of the ground outside")
    fascia_material: str = Field("concrete", description="of fascias, parapets and back walls")


class RoughStand(Model):
    """A stand paced out by eye: enough for shade and shelter within some metres."""

    first_row_distance: Annotated[float, Unit("m", 0, 200)] = Field(description="from the field's edge")
    top_row_distance: Annotated[float, Unit("m", 1, 300)] = Field(description="from the field's edge")
    top_row_height: Annotated[float, Unit("m", 0.5, 100)] = Field(description="above the field")
    roof: bool = Field(False, description="is there one over the seats")
    seat: str = Field("concrete", description="what the rows are made of: a material of the table")

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.top_row_distance <= self.first_row_distance:
            raise PydanticCustomError("rough", "top_row_distance must be more than first_row_distance", {})
        return self

    def expanded(self) -> dict[str, Any]:
        """As keys of a stand described in full."""
        depth = self.top_row_distance - self.first_row_distance
        rows = max(round(depth / ROUGH_TREAD) + 1, 2)
        first = min(ROUGH_FIRST_ROW, 0.5 * self.top_row_height)
        riser = (self.top_row_height - first) / (rows - 1)
        tread = depth / (rows - 1)
        tier = {"front_height": first, "tread": tread, "riser": riser, "rows": rows, "material": self.seat}
        stand: dict[str, Any] = {"setback": self.first_row_distance, "tiers": [tier], "rough": True}
        if self.roof:
            # clear 3.5 m over the top row, over the rear two thirds of the rows: common practice, no source
            height = self.top_row_height + 3.5
            roof = {"depth": max(2 * (depth + tread) / 3, 0.5), "height_front": height, "height_back": height}
            stand["roof"] = roof
        return stand


class StandTable(Model):
    """[[stand]] as the file has it."""

    name: str = Field("", description="as the crew calls it")
    side: str = Field(description="left, right, head or foot along the long axis, a compass direction, or all (ring)")
    start: Annotated[float, Unit("m", -400, 400)] | None = Field(
        None, description="along the side, from its middle; not given: the field's own corner"
    )
    end: Annotated[float, Unit("m", -400, 400)] | None = Field(None, description="the other end")
    setback: Annotated[float, Unit("m", 0, 200)] | None = Field(
        None, description="from the field's edge to the first row"
    )
    tier: tuple[Tier, ...] = Field((), max_length=6, description="[[stand.tier]] from the field upwards")
    rough: RoughStand | None = Field(None, description="[stand.rough] a guess instead of tiers")
    parapet_height: Annotated[float, Unit("m", 0, 10)] = Field(1.1, description="above the last row")
    roof: Roof | None = Field(None, description="[stand.roof] if there is one")
    back_wall: bool = Field(True, description="closed to the ground behind the last row")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if bool(self.tier) == (self.rough is not None):
            raise PydanticCustomError("stand", "needs [[stand.tier]] or [stand.rough], one of them", {})
        if self.tier and self.setback is None:
            raise PydanticCustomError("stand", "setback is missing (it has no default)", {})
        if self.rough is not None and (self.setback is not None or self.roof is not None):
            raise PydanticCustomError("stand", "setback and roof are inside [stand.rough] when that is used", {})
        return self


class Skyline(Model):
    """Angles of what hides the sky, read with a phone from one spot of the field."""

    spot: tuple[Annotated[float, Unit("m")], Annotated[float, Unit("m")]] = Field(
        (0.0, 0.0), description="x, y of the spot, from the field's centre"
    )
    zone: str | None = Field(None, description="in place of spot: the zone in whose middle the angles were read")
    eye_height: Annotated[float, Unit("m", 0, 3)] = Field(1.6, description="of the phone above the field")
    angles: tuple[tuple[Annotated[float, Unit("degree", 0, 360)], Annotated[float, Unit("degree", 0, 85)]], ...] = (
        Field(min_length=3, description="pairs: compass direction, height of the skyline above level")
    )
    distance: Annotated[float, Unit("m", 1, 300)] = Field(
        15.0, description="from the field's edge to what hides the sky; a guess will do"
    )
    material: str = Field("concrete", description="of most of what is seen")


def side_name(side: str, bearing: float) -> Side:
    """'left', 'right', 'head', 'foot' or 'all' from that word or a compass direction.

    Raises
    ------
    ValueError
        When the word is neither, or the direction lies between two sides.
    """
    word = side.strip().lower()
    sides: dict[str, Side] = {"left": "left", "right": "right", "head": "head", "foot": "foot", "all": "all"}
    if word in sides:
        return sides[word]
    points = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")
    word = word.replace("-", "").replace(" ", "")
    if word not in points:
        raise ValueError(f"must be left, right, head, foot, all or a compass direction, got {side!r}")
    azimuth = 45.0 * points.index(word)
    ways: dict[Side, float] = {"head": bearing, "right": bearing + 90, "foot": bearing + 180, "left": bearing - 90}
    off = sorted((abs((azimuth - way + 180) % 360 - 180), name) for name, way in ways.items())
    if off[1][0] - off[0][0] < 2.0:
        raise ValueError(f"{side!r} lies between two sides of a field with bearing {bearing:g}; say left, right, ...")
    return off[0][1]
