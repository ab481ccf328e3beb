"""What a span shows that practitioners' numbers can be held against: the darkest strip beside the open."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.exposure import daylight, force
from microclimate.report.words_beside import Beside
from microclimate.report.zones import Variant
from microclimate.workflow import zones_days
from microclimate.workflow.zones_apart import Field
from microclimate.workflow.zones_days import Days
from microclimate.workflow.zones_run import LEAD, STEP, Lived, within

DAYS_OF_WIND = timedelta(days=4)  # before the coldest day, whose mean wind is told; ours
WINTER, SUMMER = (11, 12, 1, 2), (5, 6, 7, 8)  # months of the northern year


def beside(field: Field, own: Lived, pair: tuple[str, str], variants: tuple[Variant, ...] = ()) -> Beside:
    """The darker of two zones, at its darkest patch, beside the middle of the other.

    Parameters
    ----------
    field : Field
        With weather.
    own : Lived
        The field as it is.
    pair : tuple of str
        Names of two zones.
    variants : tuple of Variant
        Among them may be `concrete`.
    """
    assert field.weather is not None
    days, site, weather = own.days, field.base.venue.site.site, field.weather

    def of(name: str) -> NDArray[np.float64]:
        return np.asarray(days[name].transpose("patch", "day").values)

    light, zone, area = of("light_integral").mean(axis=1), days["zone"].values, days["area"].values
    patches = [np.flatnonzero(zone == name) for name in pair]
    darker, other = sorted((0, 1), key=lambda k: np.average(light[patches[k]], weights=area[patches[k]]))
    strip = int(patches[darker][np.argmin(light[patches[darker]])])
    centre = int(patches[other][np.argmax(area[patches[other]])])
    down, sky, longwave = _outside(weather, field.days)
    energy = sum(of(f"energy_{part}")[strip].mean() for part in ("sun", "sky", "stands"))
    frost = of("hours_frost")
    frosty = frost[[strip, centre]].max(axis=0) > 0.0
    high, low = of("canopy_temperature_max"), of("canopy_temperature_min")
    air = _air(weather, field.days)
    hottest = int(np.argmax(high[centre]))
    noon = field.days.dates[field.days.count // 2]
    around = pd.date_range(pd.Timestamp(noon), periods=144, freq="10min", tz=ZoneInfo(site.time_zone))
    metal = next((v for v in variants if v.key == "concrete"), None)
    return Beside(
        strip=str(zone[strip]),
        centre=str(zone[centre]),
        season=_season(noon.month, site.latitude),
        lost=1.0 - float(energy) / down,
        from_sky=sky / down,
        sky_seen=float(field.joined["sky_view_factor"].values[strip]),
        sun=(float(of("sunlit_hours")[strip].mean()), float(of("sunlit_hours")[centre].mean())),
        noon=float(daylight.sun(site, around.tz_convert("UTC"))[1].max()),
        day=float((high[centre] - high[strip]).max()),
        night=float((low[strip] - low[centre]).mean()),
        longwave=(
            float(of("longwave_stands")[strip].mean()),
            longwave - float(of("longwave_sky")[strip].mean()),
        ),
        frost=float((frost[strip] - frost[centre])[frosty].mean()) if frosty.any() else None,
        hottest=(float(high[centre, hottest]), float(air[hottest, 1])),
        bowl_day=float((of("air_temperature_max")[centre] - air[:, 1]).mean()),
        bowl_night=float((air[:, 0] - of("air_temperature_min")[centre]).max()),
        wind=_wind(field, own),
        metal=None if metal is None else _less_longwave(own, metal, field),
    )


def _season(month: int, latitude: float) -> str:
    northern = month if latitude >= 0.0 else (month + 5) % 12 + 1
    return "winter" if northern in WINTER else "summer" if northern in SUMMER else "between"


def _inside(weather: xr.Dataset, days: Days) -> NDArray[np.bool_]:
    time = weather["time"].values
    return np.asarray((time > days.edges[0]) & (time <= days.edges[-1]))


def _outside(weather: xr.Dataset, days: Days) -> tuple[float, float, float]:
    """Shortwave and the sky's part of it on open ground [J m-2 a day], longwave of its sky [W m-2]."""
    inside = _inside(weather, days)
    step = float((weather["time"].values[1] - weather["time"].values[0]) / np.timedelta64(1, "s"))
    names = ("surface_downwelling_shortwave_flux_in_air", "surface_diffuse_downwelling_shortwave_flux_in_air")
    down, sky = (float(weather[name].values[0, inside].sum()) * step / days.count for name in names)
    return down, sky, float(weather["surface_downwelling_longwave_flux_in_air"].values[0, inside].mean())


def _air(weather: xr.Dataset, days: Days) -> NDArray[np.float64]:
    """Lowest and highest air outside, of each day (day, 2) [K]."""
    inside = _inside(weather, days)
    air, day = weather["air_temperature"].values[0, inside], days.of(weather["time"].values[inside])
    return np.array([[end(air[day == k]) for end in (np.min, np.max)] for k in range(days.count)])


def _wind(field: Field, own: Lived) -> float:
    """Mean wind at 2 m over the field's area, of that at 10 m outside, in the days up to the coldest."""
    assert field.weather is not None
    coldest, _ = own.looked()
    some = Days(max(field.days.first, coldest - DAYS_OF_WIND), coldest, field.days.time_zone)
    begin, end = some.edges[[0, -1]]
    part = zones_days.part(field.weather, begin - LEAD, end)
    block = within(next(iter(force.forcing(field.base.venue, part, field.base.bowl, field.joined, STEP))), begin, end)
    here = block["wind_speed"].isel(realization=0).weighted(block["area"]).mean("patch").mean("time")
    there = part["wind_speed"].values[0, _inside(part, some)].mean()
    return float(here) / max(float(there), 1e-6)


def _less_longwave(own: Lived, concrete: Variant, field: Field) -> float:
    """Most longwave that a zone gets less than with concrete [W m-2]."""
    cells = own.cells["longwave_sky"] + own.cells["longwave_stands"]
    number = own.cells["zone"].values.astype(int)
    other = (concrete.light["longwave_sky"] + concrete.light["longwave_stands"]).values
    return float(max(other[k] - cells.values[number == k].mean() for k in range(len(field.base.venue.field.zones))))
