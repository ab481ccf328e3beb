"""What the venue knows better than the table about its grass, and lamps that it sets up over it."""

from dataclasses import replace
from typing import Annotated, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from microclimate.venue.limits import BY_SEASON, SPECIES, Species
from microclimate.venue.model import Model, Unit, unknown

_Degrees = Annotated[float, Unit("degC", -60, 60)] | None
_Light = Annotated[float, Unit("1", 0, 100)] | None


class Grass(Model):
    """[[grass]]: a species' thresholds as the venue has them; what is not given stays as in the table.

    Survival (lt50, kill) and growth belong to the grass; limits for play stand under [limits] and are not touched.
    """

    species: str = Field(description="as in [turf] or [[ground]]")
    lt50_hardened: _Degrees = Field(None, description="crown temperature that kills half the plants, hardened")
    lt50_growing: _Degrees = Field(None, description="the same while it grows")
    kill_soil: _Degrees = Field(None, description="soil at which kill is possible")
    root_growth_low: _Degrees = Field(None, description="best root growth at 100 mm, from")
    root_growth_high: _Degrees = Field(None, description="best root growth at 100 mm, to")
    root_stop_cold: _Degrees = Field(None, description="no root growth below this at 100 mm")
    root_trouble: _Degrees = Field(None, description="roots suffer above this at 100 mm")
    root_stop_hot: _Degrees = Field(None, description="no root growth above this at 100 mm")
    shoot_stop_cold: _Degrees = Field(None, description="no shoot growth below this at 100 mm")
    shoot_stop_hot: _Degrees = Field(None, description="no shoot growth in a canopy above this")
    rootzone_ceiling: _Degrees = Field(None, description="heating should not pass this at 100 mm")
    growth_best: _Degrees = Field(None, description="mean air of best growth")
    growth_width: Annotated[float, Unit("delta_K", 0.5, 30)] | None = Field(None, description="of the growth index")
    degree_day_base: _Degrees = Field(None, description="base of growing degree days")
    light_min: _Light = Field(None, description="light it needs, mol/m2 a day")
    light_winter: _Light = Field(None, description="light it needs while it hardly grows, mol/m2 a day")
    light_best: _Light = Field(None, description="light for best quality, mol/m2 a day")
    light_fail: _Light = Field(None, description="light at which a field fails, mol/m2 a day")

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.species not in SPECIES:
            raise unknown("species", self.species, SPECIES)
        known = self.over(SPECIES[self.species])
        rising = ("lt50_hardened", "lt50_growing"), ("root_stop_cold", "root_stop_hot"), ("light_min", "light_best")
        for low, high in (*rising, ("shoot_stop_cold", "shoot_stop_hot"), ("root_growth_low", "root_growth_high")):
            if getattr(known, low) > getattr(known, high):
                raise PydanticCustomError("grass", "{low} lies above {high}", {"low": low, "high": high})
        return self

    def over(self, species: Species) -> Species:
        """The species with what is given here."""
        names = ("lt50_hardened", "lt50_growing", *BY_SEASON)
        return replace(species, **{name: getattr(self, name) for name in names if getattr(self, name) is not None})


class Lamp(Model):
    """[[lamp]]: light rigs over some zones for some hours of each day."""

    name: str = Field(min_length=1, description="as the crew calls it")
    zones: tuple[str, ...] = Field(min_length=1, description="zones it stands over")
    photon_flux: Annotated[float, Unit("1", 1, 3000)] = Field(description="at the leaf, umol/m2 a second")
    heat: Annotated[float, Unit("W/m2", 0, 2000)] = Field(description="light and warmth that reach the leaf together")
    hours: Annotated[float, Unit("h", 0, 24)] = Field(description="a day")
    from_hour: Annotated[float, Unit("h", 0, 24, kept=True)] = Field(
        18.0, description="local hour at which it is switched on"
    )
