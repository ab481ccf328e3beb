"""A venue's bowl as its air meets it: the size of the box, the stands and the floor, and what drives them."""

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import LATENT_VAPORISATION
from microclimate.exposure import air, shelter, sky
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.stands import Stands, Surfaces, apparent_temperature, stands
from microclimate.exposure.steps import Steps, spread
from microclimate.physics.longwave import black_body
from microclimate.venue.described import Venue

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Basin:
    """Box, stands and floor of one bowl; `field_area` [m2] is the part of the floor that the patches cover."""

    bowl: Bowl
    box: air.Box
    stands: Stands
    field_area: float

    def outside(
        self,
        steps: Steps,
        point: dict[str, Array],
        wind: Array,
        floor_wind: Array,
        down: Array,
        sunlit: tuple[Array, Array],
        field_flux: tuple[Array, Array] | None = None,
    ) -> air.Outside:
        """What drives the box, from weather laid on the model's steps.

        Parameters
        ----------
        steps : Steps
        point : dict
            air_temperature [K], specific_humidity, surface_air_pressure [Pa], direction [degree] (realization, time).
        wind, floor_wind : array (realization, time)
            At 10 m over the site and at 2 m over the field [m s-1].
        down : array (realization, time)
            Longwave of the open sky [W m-2].
        sunlit : pair of arrays (realization, look)
            Direct normal and diffuse light [W m-2].
        field_flux : pair of arrays (realization, time), optional
            Sensible and latent heat that the field gave in a run before [W m-2]; it takes the floor's place.
        """
        outside = point["air_temperature"]
        up = steps.look_share @ steps.elevation > 0.0
        after = air.since_sunset(up, steps.seconds)
        absorbed = self.stands.absorbed(self.bowl.field_angle(steps.azimuth), np.radians(steps.elevation), *sunlit)
        heat, moisture = np.zeros(outside.shape), np.zeros(outside.shape)
        if field_flux is not None:
            heat = np.nan_to_num(field_flux[0]) * self.field_area
            moisture = np.nan_to_num(field_flux[1]) * self.field_area / LATENT_VAPORISATION
        gaps = np.broadcast_to(self.box.gap_area, (len(outside), 1, len(self.box.gap_area)))
        return air.Outside(
            temperature=outside,
            rim_excess=air.rim_excess(wind, black_body(outside) - down, after),
            humidity=point["specific_humidity"],
            pressure=point["surface_air_pressure"],
            wind=wind,
            floor_wind=floor_wind,
            gap_area=shelter.lookup(gaps, point["direction"])[:, 0],
            sky=down,
            low_sky=sky.low_sky_slope(down, outside),
            absorbed=stepped(steps, absorbed),
            field_heat=heat,
            field_vapour=moisture,
        )

    def inside(self, seconds: float, outside: air.Outside, parameters: Array, *, with_field: bool = True) -> air.Inside:
        """Air, stands and floor through time; without the field when its own flux is in `outside`."""
        surfaces = self.stands.surfaces if with_field else self._without_field()
        return air.run(seconds, self.box, surfaces, outside, parameters)

    def _without_field(self) -> Surfaces:
        """The surfaces with the apron alone as floor."""
        surfaces = self.stands.surfaces
        apron = np.maximum(surfaces.area - self.field_area, 1.0)
        return replace(surfaces, area=np.where(surfaces.floor > 0.0, apron, surfaces.area))

    def stand_temperature(self, outside: Array, inside: air.Inside) -> Array:
        """Temperature of every surface of the bowl as it shines (realization, time, surface) [K]; roofs as the air."""
        shining = apparent_temperature(self.stands.surfaces, inside.surfaces, inside.film, inside.received)
        temperature = np.repeat(outside[..., None], len(self.bowl.surfaces), axis=-1)
        temperature[..., self.stands.index] = np.moveaxis(shining, 1, -1)
        return temperature


def basin(venue: Venue, bowl: Bowl, distance: Array, height: Array, field_area: float) -> Basin | None:
    """The basin of a venue, or None where nothing holds air back.

    distance, height (azimuth,): of the crest from the middle of the field [m].
    """
    if height.max() < air.LOWEST:
        return None
    areas = list(zip(bowl.mesh.facets, bowl.geometry.exchange.area, strict=True))
    floor = sum(area for facet, area in areas if facet.part in ("field", "apron"))
    roof = sum(area for facet, area in areas if facet.part == "roof under")
    box = air.box(distance, height, float(floor), float(roof))
    return Basin(bowl, box, stands(bowl, venue.bowl, venue.field.turf), field_area)


def stepped(steps: Steps, values: Array) -> Array:
    """Values at looks (..., look) averaged over steps (..., step)."""
    if steps.look_share.shape[0] == values.shape[-1]:
        return np.ascontiguousarray(values)
    return spread(steps.look_share, values.reshape(-1, values.shape[-1])).reshape(*values.shape[:-1], -1)


def field_gives(flux: xr.Dataset, part: slice) -> tuple[Array, Array]:
    """Sensible and latent heat (realization, time) of a block out of a run's area means; the first plan, if several."""
    one = flux.isel(plan=0) if "plan" in flux.dims else flux
    sensible, latent = (
        one[name].transpose("realization", "time").values[part] for name in ("sensible_heat_up", "latent_heat_up")
    )
    return sensible, latent
