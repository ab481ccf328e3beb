"""The plain reasons of a night: facts about weather, place and ground, the weightiest first.

Borders between "clear" and "cloudy", "calm" and "windy" are those of published radiation-frost rules where one exists;
the others are ours and marked so. A fact is a key and its values; the sentence is made in `report.words_reasons`.
"""

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray
from pvlib.solarposition import get_solarposition

from microclimate.constants import ZERO_CELSIUS
from microclimate.exposure.bowl import Bowl
from microclimate.report.answer import Fact
from microclimate.schema import Event
from microclimate.venue.load import Venue

CLEAR = (
    0.3  # [1] mean cloud below it; FAO frost book vol. 1 speaks of cloudless, a New Zealand scheme of < 1/4 low cloud
)
CLOUDY = 0.7  # [1] ours
CALM = 2.6  # [m s-1] at 10 m: 2 m/s at 2 m (Snyder & de Melo-Abreu 2005, FAO) over short grass
WINDY = 5.0  # [m s-1] at 10 m, ours
DRY, WET = 0.10, 0.22  # [1] water in the sand; class borders of a sand-field study, Crop Science 2018
SPELL = 2  # looks, 5 minutes apart, that sunlight must last: ten minutes; ours
SUN_MATTERS = 0.5  # [1] share of the beam from which a patch counts as sunlit


def facts(
    venue: Venue, weather: xr.Dataset, window: Event, risk: xr.Dataset, initial: xr.Dataset, bowl: Bowl, zone: str
) -> tuple[Fact, ...]:
    """Why the coldest zone is the coldest and the night is what it is.

    Parameters
    ----------
    weather : Dataset
        Sealed Weather of all members, open ground.
    window : Event
        The night.
    zone : str
        The coldest zone.
    """
    start, end = np.datetime64(window.start, "ns"), np.datetime64(window.end, "ns")
    night = weather.sel(time=slice(start, end))
    found = _sky(night, risk, zone)
    found += _place(venue, bowl, window, zone)
    found += _ground(venue, initial, zone)
    return tuple(found)


def _sky(night: xr.Dataset, risk: xr.Dataset, zone: str) -> list[Fact]:
    cloud, wind = float(night["cloud_area_fraction"].mean()), float(night["wind_speed"].mean())
    coldest = float(night["air_temperature"].min("time").median())
    found = []
    if cloud < CLEAR and wind < CALM:
        found.append(Fact("clear and calm", {"cloud": cloud, "wind": wind}))
    elif cloud < CLEAR:
        found.append(Fact("clear", {"cloud": cloud}))
    elif cloud > CLOUDY:
        found.append(Fact("cloudy", {"cloud": cloud}))
    elif wind < CALM:
        found.append(Fact("calm", {"wind": wind}))
    if wind > WINDY:
        found.append(Fact("windy", {"wind": wind}))
    found.append(Fact("cold air" if coldest < ZERO_CELSIUS + 2.0 else "mild air", {"air": coldest}))
    canopy = float(risk["canopy_temperature_worst"].sel(zone=zone, quantile=0.5).isel(event=0))
    if np.isfinite(canopy) and coldest - canopy > 1.0:
        found.append(Fact("canopy below air", {"difference": coldest - canopy}))
    dew = float(night["dew_point_temperature"].mean())
    if float(night["air_temperature"].mean()) - dew > 8.0:  # K, ours
        found.append(Fact("dry air", {"dew_point": dew}))
    if float((night["snowfall_flux"].fillna(0.0).mean("realization") * 3600.0).sum()) > 0.5:  # kg m-2, ours
        found.append(Fact("snow coming", {}))
    return found


def _place(venue: Venue, bowl: Bowl, window: Event, zone: str) -> list[Fact]:
    """When the sun comes, what lies below, how much sky is seen."""
    index = [z.name for z in venue.field.zones].index(zone)
    cells = np.flatnonzero(bowl.cell_zone == index)
    sky = bowl.sky_view[cells].mean()
    found = []
    morning = pd.date_range(pd.Timestamp(window.end) - pd.Timedelta("4h"), periods=145, freq="5min", tz="UTC")
    sun = get_solarposition(morning, venue.site.latitude, venue.site.longitude)
    up = sun["elevation"].to_numpy() > 0.0
    if up.any() and float(bowl.sky_view.min()) < 0.999:
        share = bowl.sun_factor(sun["azimuth"].to_numpy()[up], sun["elevation"].to_numpy()[up])[:, cells].mean(axis=1)
        lit = lasting(share >= SUN_MATTERS)
        if lit is None:
            found.append(Fact("shaded all day", {"zone": zone}))
        elif lit > 6:  # half an hour after sunrise and more
            when = morning[up][lit].tz_localize(None).to_pydatetime()
            found.append(Fact("shaded until", {"zone": zone, "time": when}))
    base = venue.field.zones[index].base
    if base.kind == "tray over draughty air":
        found.append(Fact("tray open below", {"zone": zone}))
    elif base.kind == "tray over still air":
        found.append(Fact("tray closed below", {"zone": zone}))
    elif base.kind == "insulated":
        found.append(Fact("insulated below", {"zone": zone}))
    if sky >= bowl.sky_view.mean() + 0.02:  # ours: 0.02 of sky is about 1.5 W/m2
        found.append(Fact("high sky view", {"zone": zone, "sky_view": float(sky)}))
    elif sky <= bowl.sky_view.mean() - 0.02:
        found.append(Fact("low sky view", {"zone": zone, "sky_view": float(sky)}))
    return found


def lasting(lit: NDArray[np.bool_]) -> int | None:
    """First look from which the sun stays for `SPELL`; None where it never does.

    A low sun slips under a first row of seats or through a gap for minutes, and warms nothing.
    """
    if lit.size < SPELL + 1:
        return None
    stays = np.flatnonzero(np.lib.stride_tricks.sliding_window_view(lit, SPELL + 1).all(axis=-1))
    return int(stays[0]) if stays.size else None


def _ground(venue: Venue, initial: xr.Dataset, zone: str) -> list[Fact]:
    patch = np.flatnonzero(initial["zone"].values == zone)[0]
    one = initial.isel(patch=patch)
    depth = one["depth"].values
    temperature = float(np.interp(0.05, depth, one["soil_temperature"].mean("realization").values))
    water = float(np.interp(0.05, depth, one["water_content"].mean("realization").values))
    found = []
    if temperature > ZERO_CELSIUS + 6.0:  # ours
        found.append(Fact("warm ground", {"soil": temperature, "depth": 0.05}))
    elif temperature < ZERO_CELSIUS + 2.0:
        found.append(Fact("cold ground", {"soil": temperature, "depth": 0.05}))
    if water < DRY:
        found.append(Fact("dry root zone", {"zone": zone, "water": water}))
    elif water > WET:
        found.append(Fact("wet root zone", {"zone": zone, "water": water}))
    if float(one["snow_amount"].mean()) >= 1.0:
        found.append(Fact("snow lying", {}))
    if venue.equipment.circuits and venue.field.zone(zone).circuit is None:
        found.append(Fact("not heated", {"zone": zone}))
    return found
