"""What days bring to the grass of each patch: light, warmth, growth, frost, wetness and water, from one run.

A digest is taken stretch by stretch, so that no season's steps are ever held; `hardened` then follows the days.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS
from microclimate.physics import evaporation, hardening, light, vapour
from microclimate.schema import DAYS, REPORT_DEPTHS, STATE_NAMES, SurfaceState, seal
from microclimate.venue.limits import Limits, Species

Array = NDArray[np.float64]
Numbers = NDArray[np.int64]

GROWTH_DEPTH = 0.100  # [m] at which the growth limits hold: NC State turf council list 2005
# ASCE-EWRI 2005, short grass, an hour: numerator, denominator by day and by night; share of net radiation that goes
# into the soil; reference albedo
SHORT, SHORT_DAY, SHORT_NIGHT, SOIL_DAY, SOIL_NIGHT, ALBEDO = 37.0, 0.24, 0.96, 0.1, 0.5, 0.23
_HOUR = 3600.0


def digest(
    block: xr.Dataset, states: xr.Dataset, day: Numbers, count: int, species: Sequence[Species], limits: Limits
) -> xr.Dataset:
    """The days of one stretch.

    Parameters
    ----------
    block : Dataset
        `schema.FORCING`, one realization, even steps of which a whole number makes an hour.
    states : Dataset
        Of the same steps, as `simulate.run.through` gives them, one realization.
    day : array (time,)
        Number of the day each step belongs to, rising from 0 to `count` - 1; each day at least once.
    count : int
        How many days.
    species : sequence (patch,)
        The grass of each patch.
    limits : Limits
        The venue's limits for play and for wetness.

    Returns
    -------
    Dataset (patch, day)
        `schema.DAYS` but for `lt50`, `lt50_low` and `hardening_index`.
    """
    forced = {str(n): block[n].isel(realization=0).transpose("time", "patch").values for n in block.data_vars}
    told = {str(n): states[n].isel(realization=0).transpose("time", "patch", ...).values for n in states.data_vars}
    seconds = float((block["time"].values[1] - block["time"].values[0]) / np.timedelta64(1, "s"))
    fold = _Days(day, count, seconds)
    canopy = told["canopy_temperature"]
    soil, crown = told["soil_temperature"], told["crown_temperature"]
    growth = soil[..., REPORT_DEPTHS.index(GROWTH_DEPTH)]
    wet = told["leaf_water"] + told["leaf_frost"] >= limits.leaf_wet_amount
    mould = wet & (canopy > limits.snow_mould_low) & (canopy < limits.snow_mould_high)
    of = {name: np.array([getattr(s, name) for s in species]) for name in _NEEDED}
    air = forced["air_temperature"]
    shortwave = {part: forced[f"shortwave_{part}_down"] for part in ("sun", "sky", "stands")}
    found = {
        "sunlit_hours": fold.sum(forced["sunlit_fraction"]) / _HOUR,
        **{f"energy_{part}": fold.sum(values) for part, values in shortwave.items()},
        "light_integral": light.photon_flux(fold.sum(_whole(shortwave))),
        "longwave_sky": fold.mean(forced["longwave_sky_down"]),
        "longwave_stands": fold.mean(forced["longwave_stands_down"]),
        **fold.all("air_temperature", air),
        **fold.all("canopy_temperature", canopy),
        **fold.all("soil_temperature", soil),
        "crown_temperature": fold.mean(crown),
        "crown_temperature_min": fold.low(crown),
        "hours_in_state": np.stack([fold.hours(told["surface_state"] == s) for s in SurfaceState], axis=-1),
        "hours_frost": fold.hours(canopy < ZERO_CELSIUS),
        "hours_outside": fold.hours((canopy < limits.canopy_min) | (soil[..., 0] < limits.rootzone_min)),
        "hours_shoot_cold": fold.hours(growth < of["shoot_stop_cold"]),
        "hours_root_cold": fold.hours(growth < of["root_stop_cold"]),
        "hours_shoot_hot": fold.hours(canopy > of["shoot_stop_hot"]),
        "hours_root_hot": fold.hours(growth > of["root_stop_hot"]),
        "hours_root_trouble": fold.hours(growth > of["root_trouble"]),
        "hours_wet": fold.hours(wet),
        "hours_mould": fold.hours(mould),
        "hours_snow": fold.hours(told["snow_amount"] >= limits.snow_amount),
        "snow_depth": fold.mean(told["snow_depth"]),
        "growth_index": light.growth_index(fold.mean(air), of["growth_best"], of["growth_width"]),
        "degree_days": light.degree_days(fold.high(air), fold.low(air), of["degree_day_base"]),
        "reference_evaporation": _evaporation(forced, day, count, seconds),
        "heating_energy": fold.sum(told["heating_power"]),
        **{name: fold.sum(told[name]) for name in _FLUXES},
    }
    dims = {name: tuple(d for d in var.dims if d != "patch") for name, var in DAYS.items()}
    coords = {name: block[name] for name in ("zone", "zone_index", "part", "area", "x", "y") if name in block.coords}
    return xr.Dataset(
        {
            name: (
                (dims[name][0], "patch", *dims[name][1:]),
                np.broadcast_to(values, _shape(name, count, len(species))),
            )
            for name, values in found.items()
        },
        coords={**coords, "depth": list(REPORT_DEPTHS), "state": list(STATE_NAMES)},
    )


def _whole(shortwave: Mapping[str, Array]) -> Array:
    return shortwave["sun"] + shortwave["sky"] + shortwave["stands"]


def _shape(name: str, days: int, patches: int) -> tuple[int, ...]:
    more = {"depth": len(REPORT_DEPTHS), "state": len(SurfaceState)}
    return (days, patches, *(more[d] for d in DAYS[name].dims if d in more))


_NEEDED = (
    "shoot_stop_cold",
    "root_stop_cold",
    "shoot_stop_hot",
    "root_stop_hot",
    "root_trouble",
    "growth_best",
    "growth_width",
    "degree_day_base",
)
_FLUXES = ("net_radiation", "sensible_heat_up", "latent_heat_up", "ground_heat_down")


class _Days:
    """Steps (time, patch, ...) folded to days (day, patch, ...)."""

    def __init__(self, day: Numbers, count: int, seconds: float) -> None:
        self.first = np.searchsorted(day, np.arange(count))
        self.steps = np.diff(np.append(self.first, len(day)))
        self.seconds = seconds

    def sum(self, values: Array) -> Array:
        """Integral over time, values times seconds."""
        return np.asarray(self.seconds * np.add.reduceat(values, self.first, axis=0))

    def mean(self, values: Array) -> Array:
        lasts = self.steps.reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray(np.add.reduceat(values, self.first, axis=0) / lasts)

    def low(self, values: Array) -> Array:
        return np.asarray(np.minimum.reduceat(values, self.first, axis=0))

    def high(self, values: Array) -> Array:
        return np.asarray(np.maximum.reduceat(values, self.first, axis=0))

    def hours(self, when: NDArray[np.bool_]) -> Array:
        return self.sum(when.astype(float)) / _HOUR

    def all(self, name: str, values: Array) -> Mapping[str, Array]:
        return {name: self.mean(values), f"{name}_min": self.low(values), f"{name}_max": self.high(values)}


def _evaporation(forced: Mapping[str, Array], day: Numbers, count: int, seconds: float) -> Array:
    """Reference evaporation of each day (day, patch) [kg m-2]: ASCE-EWRI 2005, hour by hour, short grass.

    Net radiation from the patch's own light and longwave, the grass as warm as the air; its own wind, at 2 m.
    """
    steps = round(_HOUR / seconds)
    whole = len(day) // steps * steps

    def hourly(values: Array) -> Array:
        return np.asarray(values[:whole].reshape(-1, steps, *values.shape[1:]).mean(axis=1))

    names = ("air_temperature", "wind_speed", "surface_air_pressure", "specific_humidity")
    air, wind, pressure, humidity = (hourly(forced[name]) for name in names)
    down = hourly(_whole({part: forced[f"shortwave_{part}_down"] for part in ("sun", "sky", "stands")}))
    warmth = hourly(forced["longwave_sky_down"] + forced["longwave_stands_down"])
    net = _HOUR * ((1.0 - ALBEDO) * down + warmth - STEFAN_BOLTZMANN * air**4)
    by_day = net > 0.0
    deficit = evaporation.saturation_pressure_fao(air) - vapour.vapour_pressure(humidity, pressure)
    found = evaporation.reference_evaporation(
        net,
        np.where(by_day, SOIL_DAY, SOIL_NIGHT) * net,
        air,
        wind,
        np.maximum(deficit, 0.0),
        evaporation.slope_fao(air),
        evaporation.psychrometric_constant_fao(pressure),
        SHORT,
        np.where(by_day, SHORT_DAY, SHORT_NIGHT),
    )
    first = np.searchsorted(day[steps - 1 : whole : steps], np.arange(count))
    return np.asarray(np.add.reduceat(found, first, axis=0))


def hardened(days: xr.Dataset, species: Sequence[Species], before: Array, *, north: bool = True) -> xr.Dataset:
    """The days with `lt50`, `lt50_low` and `hardening_index`, sealed.

    Parameters
    ----------
    days : Dataset
        All stretches' digests one after the other.
    species : sequence (patch,)
    before : array (day,)
        Mean air of the days before the first, the oldest first [K]; the crown is taken as warm as it. None: tender.
    north : bool
        Of the equator: when winter is.

    Returns
    -------
    Dataset
        `lt50` is the tenderer of winter wheat's and timothy's courses, `lt50_low` the harder; the index goes by `lt50`.
    """
    tender, hardest = (np.array([getattr(s, f"lt50_{k}") for s in species]) for k in ("growing", "hardened"))
    crown = days["crown_temperature"].transpose("day", "patch").values
    snow = days["snow_depth"].transpose("day", "patch").values
    lived = np.concatenate([np.repeat(before[:, None], len(species), axis=1), crown])
    depth = np.concatenate([np.zeros((len(before), len(species))), snow])
    first = days["day"].values[0].astype("datetime64[D]")
    number = (first - first.astype("datetime64[Y]")).astype(int) + 1.0 - len(before)
    of_year = number + np.arange(len(lived)) + (0.0 if north else 182.5)
    courses = np.stack(
        [
            killing_temperature(lived, depth, tender, hardest)[len(before) :],
            grass_killing_temperature(lived, of_year, tender, hardest)[len(before) :],
        ]
    )
    most, least = courses.max(axis=0), courses.min(axis=0)
    index = np.clip((tender - most) / (tender - hardest), 0.0, 1.0)
    dims = ("day", "patch")
    told = days.assign(lt50=(dims, most), lt50_low=(dims, least), hardening_index=(dims, index))
    return seal(told, DAYS, "days")


def grass_killing_temperature(crown: Array, day_of_year: Array, tender: Array, hardest: Array) -> Array:
    """LT50 at the end of each day (day, patch) [K] as timothy's course has it, from tender on day one.

    Parameters
    ----------
    crown : array (day, patch)
        Daily means [K].
    day_of_year : array (day,)
        Of the northern year.
    tender, hardest : array (patch,)
        As in `killing_temperature`.
    """
    lt50, left = tender.copy(), hardening.hardening_left(day_of_year)
    found = np.empty_like(crown)
    for day, here in enumerate(crown):
        change = hardening.grass_softening(lt50, tender, here)
        change -= hardening.grass_hardening(lt50, hardest, here, left[day])
        lt50 = np.clip(lt50 + change, hardest, tender)
        found[day] = lt50
    return found


def killing_temperature(crown: Array, snow_depth: Array, tender: Array, hardest: Array) -> Array:
    """LT50 at the end of each day (day, patch) [K] as winter wheat's course has it, from tender on day one.

    Parameters
    ----------
    crown : array (day, patch)
        Daily means [K].
    snow_depth : array (day, patch)
        [m]
    tender, hardest : array (patch,)
        What the grass is while it grows, and at its hardest [K].
    """
    lt50, cold = tender.copy(), np.zeros(crown.shape[1])
    found = np.empty_like(crown)
    for day, (here, snow) in enumerate(zip(crown, snow_depth, strict=True)):
        winter = hardening.winter_had(cold) >= hardening.VERNALISED
        warmest = ZERO_CELSIUS + np.where(winter, hardening.COLDEST_SOFTENING, hardening.WARMEST_HARDENING)
        change = np.where(here > warmest, hardening.dehardening(lt50, tender, here), 0.0)
        change -= np.where(winter, 0.0, hardening.hardening(lt50, hardest, here))
        change += hardening.frost_stress(lt50, here) + hardening.snow_stress(here, snow)
        lt50 = np.clip(lt50 + change, hardest, tender)
        cold += hardening.cold_had(here)
        found[day] = lt50
    return found
