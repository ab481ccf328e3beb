"""What reaches each patch: venue and weather in, sealed blocks of Forcing out.

A block holds a few realizations at the model step; no array of all realizations, patches and times ever exists, and
the blocks can be asked for again. Fluxes are downwelling, above any cover. A venue without stands takes a short way.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate import schema
from microclimate.exposure import air as inside
from microclimate.exposure import bowl as geometry
from microclimate.exposure import shelter, sunlit
from microclimate.exposure.basin import Basin, field_gives
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.learned import air_known, wind_known
from microclimate.exposure.patches import PATCH_COORDINATES, morning_sun
from microclimate.exposure.patches import patches as join
from microclimate.exposure.place import Place, mean_by
from microclimate.exposure.steps import Steps, lay, spread, sunlight
from microclimate.exposure.weathered import Cover, cover
from microclimate.physics import vapour
from microclimate.venue.described import Venue
from microclimate.weather import assumed

Array = NDArray[np.float64]

STEP = 300.0  # [s]
BLOCK_BYTES = 48e6  # of one block's variables
LOOKS = 1000  # at the sun told of at a time, for the sake of memory
TRAY_LAG = 6 * 3600.0  # [s] by which still air under trays follows the air above; ours, no source
SEED = 20  # of the parameters drawn for each realization


@dataclass(frozen=True)
class Laid:
    """Weather of a block of realizations on the model's steps, by kind (realization, step); light at looks."""

    part: slice
    realizations: NDArray[np.int64]
    point: dict[str, Array]
    amount: dict[str, Array]
    sunlit: tuple[Array, Array]  # direct normal and diffuse (realization, look) [W m-2]


@dataclass(frozen=True)
class Forcing:
    """Iterate to get sealed Datasets (`schema.FORCING`), a block of realizations each, any number of times."""

    place: Place
    weather: xr.Dataset
    step: float = STEP
    field_flux: xr.Dataset | None = None
    seed: int | None = SEED
    bowl_air: bool = True
    sheltered: bool = True

    @property
    def venue(self) -> Venue:
        """Its venue."""
        return self.place.venue

    @property
    def bowl(self) -> Bowl:
        """Its bowl, by cells."""
        return self.place.bowl

    @property
    def patches(self) -> xr.Dataset:
        """Its patches."""
        return self.place.patches

    @property
    def sight(self) -> Bowl:
        """The bowl as the patches see it."""
        return self.place.sight

    @property
    def open_field(self) -> bool:
        """No stand hides any of the sky."""
        return self.place.open_field

    @property
    def basin(self) -> Basin | None:
        """The bowl as its air meets it; None where nothing holds air back, or where it is left out."""
        return self.place.basin if self.bowl_air else None

    def again(self, weather: xr.Dataset, *, bowl_air: bool = True, sheltered: bool = True) -> "Forcing":
        """The same place and step under other weather."""
        return forcing(self.venue, weather, step=self.step, bowl_air=bowl_air, sheltered=sheltered, place=self.place)

    @cached_property
    def steps(self) -> Steps:
        """Model steps, and how the weather is laid on them."""
        site = self.venue.site
        return lay(self.weather, self.step, site.latitude, site.longitude, site.elevation)

    @cached_property
    def _lit(self) -> Array:
        """Share of the beam that reaches each patch at each look (look, patch)."""
        steps, up = self.steps, np.flatnonzero(self.steps.elevation > 0.0)
        lit = np.zeros((len(steps.elevation), self.patches.sizes["patch"]))
        for part in np.array_split(up, len(up) // LOOKS + 1):
            lit[part] = np.clip(self.sight.sun_factor(steps.azimuth[part], steps.elevation[part]), 0.0, 1.0)
        return lit

    @property
    def assumed(self) -> str:
        """Codes of all that was assumed on the way, the weather's first, one a line."""
        codes = [str(self.weather.attrs.get("assumed", ""))]
        if not self.open_field:
            learned = self.venue.calibration
            codes.append("bowl_wind=prior" if learned.wind is None else f"bowl_wind={learned.wind.readings} readings")
            told = "prior" if learned.air is None else f"{learned.air.readings} readings"
            codes.append(f"bowl_air={told if self.bowl_air else 'forecast'}")
        if not np.isfinite(self.weather["wind_from_direction"].values).any():
            codes.append("bowl_wind=all_directions")
        return "\n".join(code for code in codes if code)

    def parts(self) -> Iterator[slice]:
        """The blocks of realizations."""
        count = self.weather.sizes["realization"]
        one = 8.0 * len(schema.FORCING) * self.patches.sizes["patch"] * len(self.steps.time)
        size = max(1, int(BLOCK_BYTES / one))
        yield from (slice(first, first + size) for first in range(0, count, size))

    def __iter__(self) -> Iterator[xr.Dataset]:
        for part in self.parts():
            yield self._block(part)

    @cached_property
    def shelter(self) -> Array:
        """Shelter factor (realization, patch, direction), drawn for each realization when there is a seed."""
        if not self.sheltered:
            shape = (self.weather.sizes["realization"], self.patches.sizes["patch"], len(shelter.DIRECTIONS))
            return np.broadcast_to(1.0, shape)
        distance, height, patch = self.place.crest
        known = wind_known(self.venue, self.patches["zone_index"].values)
        realizations = self.weather["realization"].values
        if self.seed is None:
            table = mean_by(shelter.factor(distance, height, shelter.at(known.position)), patch) * known.times
            return np.broadcast_to(table, (len(realizations), *table.shape))
        tables = []
        for realization in realizations:
            rng = np.random.default_rng([self.seed, int(realization)])
            drawn = shelter.at(known.position + known.root @ rng.standard_normal(3))
            table = mean_by(shelter.factor(distance, height, drawn), patch) * known.times
            tables.append(shelter.draws(table, self.patches["zone_index"].values, rng, known.spread))
        return np.stack(tables)

    def laid(self, part: slice) -> Laid:
        """The weather of some realizations laid on the model's steps."""
        weather, steps = self.weather.isel(realization=part), self.steps
        point = {name: spread(steps.point, weather[name].values) for name in _POINTS}
        amount = {name: spread(steps.mean, weather[name].values) for name in _AMOUNTS}
        if "longwave" in assumed.codes(weather):  # worked out by the formula that was learned of
            amount["surface_downwelling_longwave_flux_in_air"] += self.venue.calibration.longwave_offset
        vapour_pressure = vapour.saturation_pressure_water(point["dew_point_temperature"])
        point["specific_humidity"] = vapour.specific_humidity(vapour_pressure, point["surface_air_pressure"])
        point["direction"] = self._direction(weather)
        sunlit = sunlight(
            steps,
            weather["surface_direct_downwelling_shortwave_flux_in_air"].values,
            weather["surface_diffuse_downwelling_shortwave_flux_in_air"].values,
        )
        return Laid(part, weather["realization"].values, point, amount, sunlit)

    def _block(self, part: slice) -> xr.Dataset:
        laid, steps = self.laid(part), self.steps
        point, amount = laid.point, laid.amount
        down, pressure = amount["surface_downwelling_longwave_flux_in_air"], point["surface_air_pressure"]
        bowl = self.bowl_inside(laid)
        fields = self._air(point, bowl) | self._wind(point, part, bowl) | self._sunlight(laid, bowl)
        fields |= self._longwave(point["air_temperature"], down, bowl)
        fields["surface_air_pressure"] = pressure[:, None, :]
        under_sky = np.ones(self.patches.sizes["patch"]) if self.open_field else self.sight.open_above
        for name in ("precipitation_flux", "snowfall_flux"):
            fields[name] = amount[name][:, None, :] * under_sky[:, None]
        shape = (len(laid.realizations), self.patches.sizes["patch"], len(steps.time))
        dims = ("realization", "patch", "time")
        block = xr.Dataset(
            {name: (dims, np.broadcast_to(values, shape)) for name, values in fields.items()},
            coords={"realization": laid.realizations, "time": steps.time}
            | {name: self.patches[name].variable for name in PATCH_COORDINATES},
            attrs={
                "wind_height": shelter.PATCH_HEIGHT,
                "temperature_height": float(self.weather.attrs.get("temperature_height", 2.0)),
                "step": steps.seconds,
                "source": self.weather.attrs.get("source", ""),
                "assumed": self.assumed,
            },
        )
        return schema.seal(block, schema.FORCING, "Forcing")

    def outside(self, laid: Laid) -> inside.Outside | None:
        """What drives the bowl's air; None where there is none of its own."""
        if self.basin is None:
            return None
        point, down = laid.point, laid.amount["surface_downwelling_longwave_flux_in_air"]
        wind = self.site_wind(point["wind_speed"])
        mean_share = shelter.lookup(self.shelter[laid.part].mean(axis=1, keepdims=True), point["direction"])[:, 0]
        floor_wind = np.maximum(wind * shelter.to_patch_height() * mean_share, shelter.FLOOR)
        given = None if self.field_flux is None else field_gives(self.field_flux, laid.part)
        return self.basin.outside(self.steps, point, wind, floor_wind, down, laid.sunlit, given)

    def bowl_inside(self, laid: Laid) -> inside.Inside | None:
        """Air, stands and floor of the bowl, each realization with its own parameters."""
        outside = self.outside(laid)
        if self.basin is None or outside is None:
            return None
        parameters = self.exchange(laid.realizations)
        found = self.basin.inside(self.steps.seconds, outside, parameters, with_field=self.field_flux is None)
        by_hand = self.venue.calibration.air_offset * outside.rim_excess  # on clear calm nights
        return replace(found, temperature=found.temperature + by_hand)

    def exchange(self, realizations: NDArray[np.int64]) -> Array:
        """Parameters of the bowl's air (realization, parameter), drawn for each when there is a seed."""
        seed = self.seed
        rngs = None if seed is None else [np.random.default_rng([seed, int(r), 1]) for r in realizations]
        return inside.table(len(realizations), *air_known(self.venue, rngs))

    def site_wind(self, speed: Array) -> Array:
        """Wind at 10 m over the site's surroundings [m s-1]."""
        height = float(self.weather.attrs["wind_height"])
        return shelter.site_wind(speed, height, self.venue.site.roughness_length)

    def _air(self, point: dict[str, Array], bowl: inside.Inside | None) -> dict[str, Array]:
        """Air over the patches and below trays (realization, patch or 1, time)."""
        temperature, humidity = (point[name][:, None, :] for name in ("air_temperature", "specific_humidity"))
        if bowl is not None:
            # a patch at an open end stands in the air outside
            through = shelter.lookup(
                np.broadcast_to(self.place.through, (len(temperature), *self.place.through.shape)), point["direction"]
            )
            temperature = bowl.temperature[:, None] + through * (temperature - bowl.temperature[:, None])
            humidity = bowl.humidity[:, None] + through * (humidity - bowl.humidity[:, None])
        return {
            "air_temperature": temperature,
            "specific_humidity": humidity,
            "under_tray_air_temperature": self._under_trays(point["air_temperature"]),
        }

    def _under_trays(self, temperature: Array) -> Array:
        """Air below the trays of each patch: the draught's share of the air above, the rest following 6 h behind."""
        keep = np.exp(-self.steps.seconds / TRAY_LAG)
        lagged = np.empty_like(temperature)
        below = temperature[:, 0]
        for step, above in enumerate(temperature.T):
            below = keep * below + (1.0 - keep) * above
            lagged[:, step] = below
        out = []
        for index in self.patches["zone_index"].values:
            base = self.venue.field.zones[index].base
            mixed = base.draught * temperature + (1.0 - base.draught) * lagged
            out.append(mixed if base.air_temperature is None else np.full_like(mixed, base.air_temperature))
        return np.stack(out, axis=1)

    def _wind(self, point: dict[str, Array], part: slice, bowl: inside.Inside | None) -> dict[str, Array]:
        """Mean wind and gust at 2 m over each patch, from the forecast wind and its direction."""
        mean, gust = (
            self.site_wind(point[name])[:, None, :] * shelter.to_patch_height()
            for name in ("wind_speed", "wind_speed_of_gust")
        )
        if self.open_field or not self.sheltered:
            return {"wind_speed": mean, "wind_speed_of_gust": gust}
        share = shelter.lookup(self.shelter[part], point["direction"])
        if bowl is not None:
            share = share * bowl.shut[:, None]  # under a pool the wind passes above
        sheltered = np.maximum(mean * share, shelter.FLOOR)
        ratio = np.divide(gust, mean, out=np.ones_like(mean), where=mean > 0.0)
        gusty = np.minimum(sheltered * shelter.gust_ratio(share, ratio), np.maximum(gust, sheltered))
        return {"wind_speed": np.where(np.isnan(mean), np.nan, sheltered), "wind_speed_of_gust": gusty}

    def _direction(self, weather: xr.Dataset) -> Array:
        """Wind direction at each step (realization, time): that of the mean of the directions as vectors."""
        angle = np.radians(weather["wind_from_direction"].values)
        east, north = (spread(self.steps.point, part(angle)) for part in (np.sin, np.cos))
        return np.degrees(np.arctan2(east, north)) % 360.0

    def _sunlight(self, laid: Laid, bowl: inside.Inside | None) -> dict[str, Array]:
        """Shortwave by origin, and the sunlit share, on each patch (realization, patch, time)."""
        steps, (normal, sky) = self.steps, laid.sunlit
        if self.open_field:
            return sunlit.open_ground(steps, normal, sky)
        metal = sunlit.metal(self.seed, laid.realizations.tolist())
        return sunlit.shortwave(self.place, steps, self._lit, normal, sky, metal, self.cover(laid, bowl))

    def cover(self, laid: Laid, bowl: inside.Inside | None) -> Cover:
        """Water and snow on the stands; their dew and frost where the bowl has an air of its own."""
        point, amount = laid.point, laid.amount
        skin, film = point["air_temperature"], np.zeros_like(point["air_temperature"])
        if bowl is not None and self.basin is not None:
            surfaces = self.basin.stands.surfaces
            share = surfaces.area * (surfaces.floor < 0.5)
            share = share / share.sum() if share.any() else share + 1.0 / len(share)
            skin, film = (np.einsum("s,rst->rt", share, v) for v in (bowl.surfaces, bowl.film))
        return cover(
            self.steps.seconds,
            rain=amount["precipitation_flux"] - amount["snowfall_flux"],
            snowfall=amount["snowfall_flux"],
            air=point["air_temperature"],
            humidity=point["specific_humidity"],
            pressure=point["surface_air_pressure"],
            wind=self.site_wind(point["wind_speed"]),
            skin=skin,
            film=film,
        )

    def _longwave(self, air: Array, down: Array, bowl: inside.Inside | None) -> dict[str, Array]:
        """Longwave from the visible sky and from the stands (realization, patch, time)."""
        if self.open_field:
            return {"longwave_sky_down": down[:, None, :], "longwave_stands_down": np.zeros((1, 1, 1))}
        stand_temperature = air if bowl is None or self.basin is None else self.basin.stand_temperature(air, bowl)
        sky_part, stands_part = self.sight.longwave(down, air, stand_temperature)
        return {
            "longwave_sky_down": np.moveaxis(sky_part, -1, 1),
            "longwave_stands_down": np.moveaxis(stands_part, -1, 1),
        }


_POINTS = (
    "air_temperature",
    "dew_point_temperature",
    "wind_speed",
    "wind_speed_of_gust",
    "surface_air_pressure",
)
_AMOUNTS = ("precipitation_flux", "snowfall_flux", "surface_downwelling_longwave_flux_in_air")


def forcing(
    venue: Venue,
    weather: xr.Dataset,
    bowl: Bowl | None = None,
    patches: xr.Dataset | None = None,
    step: float = STEP,
    field_flux: xr.Dataset | None = None,
    seed: int | None = SEED,
    bowl_air: bool = True,
    sheltered: bool = True,
    place: Place | None = None,
) -> Forcing:
    """What reaches each patch of the venue under this weather.

    Parameters
    ----------
    venue : Venue
    weather : Dataset
        `schema.WEATHER`, with `wind_height` in its attributes; at least two stamps.
    bowl, patches : optional
        Built when not given; give them when several forcings of one venue are made.
    step : float
        Of the model [s].
    field_flux : Dataset, optional
        The field's own area-mean `sensible_heat_up` and `latent_heat_up` (realization, time) [W m-2] from a run before.
    seed : int or None
        Of the parameters drawn for each realization, so that chances carry what is not known of the bowl; None takes
        the best values for all, as a single realization always does.
    bowl_air : bool
        False: the air of the forecast in the bowl too, to see what the bowl's own air changes.
    sheltered : bool
        False: the wind of open ground in the bowl too, to see what shelter changes.
    place : Place, optional
        Of an earlier forcing, in place of bowl and patches.
    """
    if weather.sizes["realization"] == 1:
        seed = None
    if place is not None:
        return Forcing(place, weather, step, field_flux, seed, bowl_air, sheltered)
    bowl = geometry.bowl(venue) if bowl is None else bowl
    if patches is None:
        times = weather["time"].values
        day = venue.events[0].start.date() if venue.events else times[len(times) // 2].astype("datetime64[D]").item()
        patches = join(venue.field.zones, bowl, morning_sun(bowl, venue.site.latitude, venue.site.longitude, day))
    return Forcing(Place(venue, bowl, patches), weather, step, field_flux, seed, bowl_air, sheltered)
