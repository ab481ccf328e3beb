"""What lies under the grass: layers from the surface down, kinds of build, and what is below."""

from collections.abc import Iterable
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from microclimate.venue.limits import SPECIES
from microclimate.venue.materials import GROUND
from microclimate.venue.model import Model, Unit, unknown

MOST_LAYERS = 16  # of the 20 that a column is cut into, so that some can be cut finer; ours
PROFILE_DEPTH = 2.5  # [m] to which layers on the ground are carried down; ours (yearly wave damps with about 2 m)

# [K] sand freezes between 0 and -0.1 degC (from memory), loam between 0 and -0.3 degC (trial on measured soils)
_FREEZING = {True: 0.1, False: 0.3}

BaseKind = Literal["on ground", "insulated", "tray over still air", "tray over draughty air", "heated air below"]


class Layer(Model):
    """One layer of the root zone. What is not given comes from the table of materials."""

    material: str = Field(description="name in the table of materials, for example 'sand mix' or 'gravel'")
    thickness: Annotated[float, Unit("m", 0.001, 5)] = Field(description="of the layer")
    porosity: Annotated[float, Unit("1", 0, 0.95)] = Field(description="pore space, share of the volume")
    water_content: Annotated[float, Unit("1", 0, 0.95)] = Field(description="water, share of the volume")
    quartz: Annotated[float, Unit("1", 0, 1)] = Field(description="quartz in the solids, share of their volume")
    dry_density: Annotated[float, Unit("kg/m3", 10, 3000)] = Field(description="dry mass of the layer per volume")
    solid_heat_capacity: Annotated[float, Unit("1", 1e4, 5e6)] = Field(description="of the solids alone, J/m3K")
    coarse: bool = Field(
        strict=True, description="sand or gravel (true), or fine soil (false): how wetting raises conductivity"
    )
    conductivity: Annotated[float, Unit("W/m/K", 0.01, 5)] | None = Field(
        description="fixed conductivity for what is no soil (boards, concrete); not given: from water and quartz"
    )
    freezing_range: Annotated[float, Unit("delta_K", 0.005, 2)] = Field(
        description="how far below 0 degC its last water freezes: 0.1 K in sand and gravel, 0.3 K in fine soil"
    )

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, data: Any) -> Any:
        if not isinstance(data, dict) or not isinstance(data.get("material"), str):
            return data
        known = GROUND.get(data["material"].strip())
        if known is None:
            raise unknown("material", data["material"], GROUND)
        found = known.defaults() | data
        return {"freezing_range": _FREEZING[found["coarse"] is True]} | found

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.water_content > self.porosity + 1e-9:
            raise PydanticCustomError(
                "layer",
                "water_content {water} does not fit into a porosity of {porosity}",
                {"water": f"{self.water_content:g}", "porosity": f"{self.porosity:g}"},
            )
        return self


class Base(Model):
    """What is below the lowest layer, and how heat passes to it."""

    kind: BaseKind = Field("on ground", description="on ground, insulated, tray over still or draughty air, ...")
    conductance: Annotated[float, Unit("W/m2/K", 0.01, 100)] = Field(
        description="heat passage between the underside of the layers and what is below"
    )
    air_gap: Annotated[float, Unit("m", 0, 5)] = Field(description="height of the air space below (0: none)")
    draught: Annotated[float, Unit("1", 0, 1)] = Field(
        description="share of outside air in the space below trays: 0 tight, 1 as outside"
    )
    air_temperature: Annotated[float, Unit("degC", -30, 60)] | None = Field(
        None, description="of the air blown below, for 'heated air below' only"
    )
    air_flow: Annotated[float, Unit("m3/h", 0.1, 2000)] | None = Field(
        None, description="of that air for each m2; left out: as much as keeps the space at its temperature"
    )
    air_leak: Annotated[float, Unit("1", 0, 0.95)] = Field(
        0.1, description="share of that air that gets away before it has warmed anything"
    )
    open_side: Annotated[float, Unit("m", 0.1, 20)] | None = Field(
        None, description="width of an edge module whose side is open to the air, if it is one"
    )
    deep_temperature: Annotated[float, Unit("degC", -20, 40)] | None = Field(
        None, description="of the ground at depth, if known; else the yearly mean of the air"
    )

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, data: Any) -> Any:
        if isinstance(data, str):
            data = {"kind": data}
        if isinstance(data, dict):
            return _BASES.get(str(data.get("kind", "on ground")), _BASES["on ground"]) | data
        return data

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.kind == "heated air below" and self.air_temperature is None:
            raise PydanticCustomError("base", "air_temperature is missing: it is needed for 'heated air below'", {})
        if self.kind != "heated air below" and self.air_temperature is not None:
            raise PydanticCustomError("base", "air_temperature belongs to 'heated air below' only", {})
        foreign = {"open_side": self.open_side, "draught": self.draught or None, "air_gap": self.air_gap or None}
        if self.over_air:
            foreign = {"deep_temperature": self.deep_temperature}
        where = "on the ground" if self.over_air else "over air"
        for name in (name for name, value in foreign.items() if value is not None):
            context = {"name": name, "where": where, "kind": self.kind}
            raise PydanticCustomError("base", "{name} belongs to layers {where}, not to '{kind}'", context)
        if self.kind != "heated air below" and self.air_flow is not None:
            raise PydanticCustomError("base", "air_flow belongs to 'heated air below' only", {})
        if self.air_flow is None and "air_leak" in self.model_fields_set:
            raise PydanticCustomError("base", "air_leak goes with air_flow", {})
        return self

    @property
    def over_air(self) -> bool:
        """The layers hang over an air space."""
        return self.kind not in ("on ground", "insulated")


# Conductance of an air space seen from the underside: still 1/(0.16..0.21 m2K/W) (ISO 6946 table of unventilated air
# layers, from memory), draughty 10 W/m2K (inside surface plus wind, from memory). Draught shares: common practice, no
# source. On ground: 0.2 W/m2K to the yearly mean below 2.5 m (tried on measured soil; k 1.0 over a further 5 m).
_BASES: dict[str, dict[str, Any]] = {
    "on ground": {"conductance": 0.2, "air_gap": 0.0, "draught": 0.0},
    "insulated": {"conductance": 0.2, "air_gap": 0.0, "draught": 0.0},
    "tray over still air": {"conductance": 5.0, "air_gap": 0.15, "draught": 0.2},
    "tray over draughty air": {"conductance": 10.0, "air_gap": 0.15, "draught": 0.9},
    "heated air below": {"conductance": 8.0, "air_gap": 0.15, "draught": 0.1},
}


def _layers(*rows: tuple[str, float]) -> tuple[dict[str, Any], ...]:
    return tuple({"material": material, "thickness": thickness} for material, thickness in rows)


# Depths: layered sand 300 mm over at least 100 mm gravel (United States Golf Association recommendations 2018); sports
# sand 200-300 mm (trade magazine); trays 150-300 mm (common practice, no source); thatch 10 mm (from memory).
BUILDS: dict[str, tuple[dict[str, Any], ...]] = {
    "sand over gravel": _layers(("thatch", 0.01), ("sand mix", 0.29), ("gravel", 0.10)),
    "sand on soil": _layers(("thatch", 0.01), ("sand mix", 0.19)),
    "native soil": _layers(("thatch", 0.01), ("loam", 0.29)),
    "tray": _layers(("thatch", 0.01), ("sand mix", 0.19), ("tray floor", 0.01)),
}


class Ground(Model):
    """The build of some zones (or of all that no other build names)."""

    zones: tuple[str, ...] = Field((), description="names of the zones built so; none: all others")
    build: str | None = Field(None, description=f"kind of build: {', '.join(BUILDS)}")
    layers: tuple[Layer, ...] = Field(
        (), max_length=MOST_LAYERS, description=f"from the surface down, instead of `build`; at most {MOST_LAYERS}"
    )
    water_content: Annotated[float, Unit("1", 0, 0.6)] | None = Field(
        None, description="water in the root zone if measured; else the material's usual one"
    )
    base: Base = Field(description="what is below: a kind, or a table")
    subgrade: str = Field("clay loam", description="soil below the build, down to 2.5 m (on ground or insulated)")
    circuit: str | None = Field(None, description="name of the heating circuit below these zones, if any")
    species: str | None = Field(None, description="grass here, if another than in [turf]")
    mowing_height: Annotated[float, Unit("mm", 2, 200)] | None = Field(None, description="if another than in [turf]")

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        data = {"base": "on ground"} | data
        build = data.get("build")
        if build is None and not data.get("layers"):
            raise PydanticCustomError("ground", "needs `build` (a kind of build) or `layers`", {})
        if build is not None and data.get("layers"):
            raise PydanticCustomError("ground", "has both `build` and `layers`: give one of them", {})
        if build is not None and (not isinstance(build, str) or build not in BUILDS):
            raise unknown("build", build, BUILDS)
        if build is not None:
            data["layers"] = [_wetted(layer, data.get("water_content")) for layer in BUILDS[build]]
        if str(data.get("subgrade", "clay loam")) not in GROUND:
            raise unknown("subgrade", data["subgrade"], GROUND)
        return data

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.species is not None and self.species not in SPECIES:
            raise unknown("species", self.species, SPECIES)
        return self

    @property
    def profile(self) -> tuple[Layer, ...]:
        """The layers, on the ground carried down to 2.5 m through the subgrade."""
        if self.base.over_air:
            return self.layers
        layers = [*self.layers]
        if self.base.kind == "insulated":
            layers.append(Layer.model_validate({"material": "board", "thickness": 0.05}))
        rest = PROFILE_DEPTH - depth(layers)
        if rest > 0.05:
            layers.append(Layer.model_validate({"material": self.subgrade, "thickness": round(rest, 6)}))
        return tuple(layers)


def depth(layers: Iterable[Layer]) -> float:
    """Of all layers together [m]."""
    return sum(layer.thickness for layer in layers)


def _wetted(layer: dict[str, Any], water_content: Any) -> dict[str, Any]:
    """A build's root zone with the water that was measured in it."""
    if water_content is None or layer["material"] not in ("sand mix", "loam"):
        return layer
    return layer | {"water_content": water_content}
