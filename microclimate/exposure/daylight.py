"""Shade at an instant, and what a day or span brings to each cell: sunlit hours, light and heat by origin."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from pvlib import clearsky
from pvlib.atmosphere import alt2pres, get_absolute_airmass, get_relative_airmass
from pvlib.irradiance import get_extra_radiation
from pvlib.solarposition import get_solarposition

from microclimate.constants import ZERO_CELSIUS
from microclimate.exposure.basin import stepped
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.force import Forcing
from microclimate.exposure.shine import bright
from microclimate.exposure.weathered import Cover
from microclimate.physics.light import photon_flux
from microclimate.physics.longwave import black_body, clear_sky_idso_jackson
from microclimate.schema import Site

Array = NDArray[np.float64]

STEP = pd.Timedelta("10min")
# Linke turbidity of a clear winter day at mid latitudes: 2 to 3.5 (from memory); moves the sums by 10 %
TURBIDITY = 3.0
CHUNK = 144  # instants at once: memory


@dataclass(frozen=True)
class Open:
    """What open ground gets through a span, in even steps.

    azimuth, elevation (step,): of the sun, compass [degree], refracted; direct_normal, diffuse, longwave (step,)
    [W m-2]; air (step,) [K]; stands [K]: (step,), or (step, surface) in the order of `Bowl.surfaces`.
    cover: of the stands, (step,), dry without it.
    """

    seconds: float
    azimuth: Array
    elevation: Array
    direct_normal: Array
    diffuse: Array
    longwave: Array
    air: Array
    stands: Array
    cover: Cover | None = None

    @property
    def bright(self) -> NDArray[np.int64]:
        """Steps with any daylight."""
        return np.flatnonzero((self.elevation > 0.0) | (self.diffuse > 0.0))


def sun(site: Site, times: pd.DatetimeIndex) -> tuple[Array, Array]:
    """Compass azimuth and refracted elevation [degree] at UTC instants, both (time,)."""
    found = get_solarposition(times, site.latitude, site.longitude, site.elevation)
    return found["azimuth"].to_numpy(), found["apparent_elevation"].to_numpy()


def clear_sky(site: Site, times: pd.DatetimeIndex) -> tuple[Array, Array]:
    """Direct normal and diffuse light of a clear sky [W m-2], both (time,): Ineichen & Perez 2002, through pvlib."""
    _, elevation = sun(site, times)
    zenith = 90.0 - np.maximum(elevation, 0.5)  # the model has no sun on the horizon itself
    mass = get_absolute_airmass(get_relative_airmass(zenith), alt2pres(site.elevation))
    extra = get_extra_radiation(times).to_numpy()
    found = clearsky.ineichen(zenith, mass, TURBIDITY, site.elevation, extra)
    direct, diffuse = (np.where(elevation > 0.0, np.asarray(found[name], float), 0.0) for name in ("dni", "dhi"))
    return direct, diffuse


def clear(site: Site, begin: pd.Timestamp, end: pd.Timestamp, air: float = ZERO_CELSIUS) -> Open:
    """A clear sky from `begin` to `end` (UTC), air and stands at one temperature [K], looked at in the middle of steps.

    Longwave of the sky from the air's temperature alone (Idso & Jackson 1969): fit to compare cells with each other.
    """
    times = pd.date_range(begin, end - STEP, freq=STEP) + STEP / 2
    even = np.full(len(times), float(air))
    down = clear_sky_idso_jackson(even) * black_body(even)
    return Open(STEP.total_seconds(), *sun(site, times), *clear_sky(site, times), down, even, even)


def under(forcing: Forcing, begin: pd.Timestamp, end: pd.Timestamp, realization: int = 0) -> Open:
    """Open ground in the model steps that end within (begin, end] of one realization, with the stands as warm as found.

    The stands' temperatures are those of the bowl's own air and night; without a bowl of its own they follow the air.
    """
    steps, laid = forcing.steps, forcing.laid(slice(realization, realization + 1))
    inside = forcing.bowl_inside(laid)
    air = laid.point["air_temperature"][0]
    stands = air
    if inside is not None and forcing.basin is not None:
        stands = forcing.basin.stand_temperature(laid.point["air_temperature"], inside)[0]
    direct, diffuse = (stepped(steps, light)[0] for light in laid.sunlit)
    east, north = (stepped(steps, part(np.radians(steps.azimuth))) for part in (np.sin, np.cos))
    first, last = (pd.Timestamp(t).tz_convert("UTC").tz_localize(None).to_datetime64() for t in (begin, end))
    some = (steps.time > first) & (steps.time <= last)
    return Open(
        steps.seconds,
        np.degrees(np.arctan2(east, north))[some] % 360.0,
        stepped(steps, steps.elevation)[some],
        direct[some],
        diffuse[some],
        laid.amount["surface_downwelling_longwave_flux_in_air"][0][some],
        air[some],
        stands[some],
        None if forcing.open_field else forcing.cover(laid, inside).of(0, some),
    )


def shade(bowl: Bowl, site: Site, when: pd.Timestamp) -> xr.Dataset:
    """Share of the sun's beam on each cell at one UTC instant, with the sun's place as attributes.

    Where stands are of bare metal also `stands_low`, `stands_best`, `stands_high`: sunlight off them under a clear sky
    with its mirror-like part [W m-2], and `stands_matte`, what it is with all of it spread evenly.
    """
    azimuth, elevation = sun(site, pd.DatetimeIndex([when]))
    values = {"sun_factor": bowl.sun_factor(azimuth, elevation)[0]}
    mirrored = bright(bowl, float(azimuth[0]), float(elevation[0]))
    if mirrored is not None:
        direct = clear_sky(site, pd.DatetimeIndex([when]))[0][0]
        values |= {f"stands_{end}": direct * getattr(mirrored, end) for end in ("low", "best", "high")}
        values["stands_matte"] = direct * bowl.off_matte_stands(azimuth, elevation)[0]
    found = _cells(bowl, values)
    return found.assign_attrs(sun_azimuth=float(azimuth[0]), sun_elevation=float(elevation[0]))


def span(bowl: Bowl, sky: Open) -> xr.Dataset:
    """What a span brings to each cell under `clear` or `under` skies; steps with a gap in the weather are left out.

    Returns
    -------
    Dataset (cell)
        sunlit_hours [h]; energy off sun, sky and stands [J m-2]; light_integral [mol m-2]; longwave off sky and stands,
        means of the span [W m-2]; sky_view_factor [1]. Attributes: hours of the span and what open ground gets.
    """
    known = np.isfinite(sky.direct_normal + sky.diffuse + sky.longwave + sky.air)
    sums = {name: np.zeros(bowl.rows) for name in ("hours", "sun", "sky", "stands")}
    beam = sky.direct_normal * np.sin(np.radians(np.maximum(sky.elevation, 0.0)))
    bright = sky.bright[known[sky.bright]]
    azimuth, elevation = sky.azimuth[bright], np.maximum(sky.elevation[bright], 0.0)
    for part in np.array_split(np.arange(len(bright)), max(1, len(bright) // CHUNK)) if len(bright) else ():
        lit = bowl.sun_factor(azimuth[part], elevation[part])
        sums["hours"] += lit.sum(axis=0)
        sums["sun"] += beam[bright[part]] @ lit
    if len(bright):
        sums["sky"], sums["stands"] = _diffuse(bowl, sky, bright)
    warm = np.full((2, bowl.rows), np.nan)
    if known.any():
        warm = np.asarray(bowl.longwave_mean(sky.longwave[known], sky.air[known], sky.stands[known]))
    seconds = sky.seconds
    energy = {name: seconds * sums[name] for name in ("sun", "sky", "stands")}
    found = {
        "sunlit_hours": sums["hours"] * seconds / 3600.0,
        **{f"energy_{name}": value for name, value in energy.items()},
        "light_integral": photon_flux(energy["sun"] + energy["sky"] + energy["stands"]),
        "longwave_sky": warm[0],
        "longwave_stands": warm[1],
        "sky_view_factor": bowl.sky_view,
    }
    return _cells(bowl, found).assign_attrs(
        hours=float(known.sum() * seconds / 3600.0),
        open_energy=float(seconds * (beam + sky.diffuse)[bright].sum()),
        open_longwave=float(sky.longwave[known].mean()) if known.any() else float("nan"),
    )


def _diffuse(bowl: Bowl, sky: Open, bright: NDArray[np.int64]) -> tuple[Array, Array]:
    """Sums over the bright steps of light from the sky and off the stands, both (row,) [W m-2 steps]."""
    azimuth, elevation = sky.azimuth[bright], np.maximum(sky.elevation[bright], 0.0)
    direct = sky.direct_normal[bright]
    radiance = bowl.radiance(azimuth, elevation, direct, sky.diffuse[bright])
    total = radiance.sum(axis=0)
    off_stands = bowl.reflected_sum(total, azimuth, elevation, direct)
    if sky.cover is not None:
        for share, covered in zip((sky.cover.wet, sky.cover.snow), bowl.weathered, strict=True):
            if (weight := share[bright]).any():
                part = weight @ radiance, azimuth, elevation, weight * direct
                off_stands = off_stands + covered.reflected_sum(*part) - bowl.reflected_sum(*part)
    return bowl.sky_light_under(total), off_stands


def by_zone(cells: xr.Dataset, names: tuple[str, ...]) -> xr.Dataset:
    """Mean, lowest and highest of each zone's cells (zone, which)."""
    zone = cells["zone"].values
    picked = [np.flatnonzero(zone == k) for k in range(len(names))]
    found = {
        str(name): (
            ("zone", "which"),
            np.array([[f(cells[name].values[index]) for f in (np.mean, np.min, np.max)] for index in picked]),
        )
        for name in cells.data_vars
    }
    return xr.Dataset(found, coords={"zone": list(names), "which": ["mean", "lowest", "highest"]})


def _cells(bowl: Bowl, values: dict[str, Array]) -> xr.Dataset:
    coordinates = {"x": bowl.cell_x, "y": bowl.cell_y, "area": bowl.cell_area, "zone": bowl.cell_zone}
    return xr.Dataset(
        {name: ("cell", value) for name, value in values.items()},
        coords={name: ("cell", value) for name, value in coordinates.items()},
    )
