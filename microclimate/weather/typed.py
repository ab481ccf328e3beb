"""A forecast typed by hand from any weather page: a low, a high, a dew point, a wind and a word for the sky."""

import re
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pvlib
import xarray as xr
from numpy.typing import NDArray

from microclimate import units
from microclimate.errors import InputError, Problem, refuse
from microclimate.physics import daily
from microclimate.schema import Site
from microclimate.weather import assumed

Floats = NDArray[np.float64]

# words of weather pages as cover; the middle of the usual classes in oktas (WMO-No. 306), common practice
SKY = {
    "clear": 0.0, "sunny": 0.0, "fair": 0.1, "mostly clear": 0.2, "mostly sunny": 0.2, "partly cloudy": 0.45,
    "partly sunny": 0.6, "mostly cloudy": 0.75, "cloudy": 0.95, "overcast": 1.0, "fog": 1.0,
}  # fmt: skip
HOURS = 30  # from noon of the evening's day to the evening after


def typed(
    site: Site, evening: date, *, low: str, high: str, wind: str, cloud: str, dew: str | None = None
) -> xr.Dataset:
    """One night as a raw Dataset: temperature along a published daily curve, everything else held.

    Parameters
    ----------
    site : Site
    evening : date
        On which the night begins; `low` is of that night, `high` of the days on both sides.
    low, high, dew, wind : str
        With their units: "26 degF", "3 mph". Without `dew` the dew point is taken at the low.
    cloud : str
        "clear", "partly cloudy" ... or a number with its unit ("30 %", "3 oktas").

    Raises
    ------
    InputError
        All that cannot be read, and a low above the high.
    """
    problems: list[Problem] = []

    def number(name: str, text: str, unit: str) -> float:
        try:
            if not re.search(r"[A-Za-z%°]", text):
                raise units.UnknownUnit("no unit")
            return units.quantity(text, unit)
        except units.UnknownUnit as error:
            problems.append(Problem(f"--{name}", f"{text!r} ({error})", f"a number and its unit, as in '1 {unit}'"))
            return float("nan")

    lowest, highest = number("low", low, "degC"), number("high", high, "degC")
    point = number("dew", dew, "degC") if dew is not None else lowest
    speed = number("wind", wind, "m/s")
    word = " ".join(cloud.lower().split())
    cover = SKY[word] if word in SKY else number("cloud", cloud, "%")
    if lowest > highest:
        problems.append(Problem("--low", f"{low} is above --high {high}", "the night's lowest and the day's highest"))
    for name, value, least, most in (("low", lowest, 200, 320), ("high", highest, 200, 330), ("dew", point, 190, 310)):
        if not np.isnan(value) and not least <= value <= most:
            problems.append(
                Problem(f"--{name}", f"{value - 273.15:.0f} degC", "a temperature on Earth", "mind the unit")
            )
    if not np.isnan(speed) and not 0 <= speed <= 60:
        problems.append(Problem("--wind", wind, "0 to 60 m/s"))
    if not np.isnan(cover) and not 0 <= cover <= 1:
        problems.append(Problem("--cloud", cloud, "0 to 100 %, or " + ", ".join(SKY)))
    if problems:
        raise InputError("typed forecast", problems)
    times, temperature = _curve(site, evening, lowest, highest)
    held = {"dew_point_temperature": point, "wind_speed": speed, "cloud_area_fraction": cover}
    attrs = {"cell_methods": "time: point"}
    data = xr.Dataset(
        {
            "air_temperature": (("realization", "time"), temperature[None], attrs),
            **{name: (("realization", "time"), np.full((1, len(times)), v), attrs) for name, v in held.items()},
        },
        coords={"time": times},
        attrs={"source": "typed by hand", "issued": f"{times[0]}"[:19] + "Z", "assumed": ""},
    )
    data["time_bnds"] = (("time", "bnds"), np.stack([times - np.timedelta64(1, "h"), times], axis=-1))
    notes = ["typed_by_hand", *([] if dew is not None else ["dew_point=daily_minimum"])]
    return assumed.note(data, notes)


def _curve(site: Site, evening: date, lowest: float, highest: float) -> tuple[NDArray[np.datetime64], Floats]:
    """Hourly stamps from noon on, and the temperature along the day's and the night's curve."""
    zone = ZoneInfo(site.time_zone)
    noon = datetime.combine(evening, time(12), zone)
    days = pd.DatetimeIndex([noon + timedelta(days=d) for d in (0, 1)])
    found = pvlib.solarposition.sun_rise_set_transit_spa(days, site.latitude, site.longitude)
    if found[["sunrise", "sunset"]].isna().to_numpy().any():
        raise refuse("typed forecast", "the sun does not rise and set there on that day", "a night", "give a file")
    rise, fall = ([pd.Timestamp(v) for v in found[name]] for name in ("sunrise", "sunset"))
    hour = pd.Timedelta(hours=1)
    daylight = (fall[0] - rise[0]) / hour
    deepest = [moment + daily.LAG_LOWEST * hour for moment in rise]
    dusk = float(daily.by_day((fall[0] - deepest[0]) / hour, daylight, lowest, highest))
    stamps = pd.date_range(noon, periods=HOURS + 1, freq="h")
    values = []
    for stamp in stamps:
        if fall[0] <= stamp < deepest[1]:
            span = ((stamp - fall[0]) / hour, (deepest[1] - fall[0]) / hour)
            values.append(float(daily.by_night(*span, lowest, dusk)))
        elif stamp >= fall[1]:
            values.append(float(daily.by_night((stamp - fall[1]) / hour, (deepest[1] - fall[0]) / hour, lowest, dusk)))
        else:
            since = deepest[1] if stamp >= deepest[1] else deepest[0]
            values.append(float(daily.by_day((stamp - since) / hour, daylight, lowest, highest)))
    times = stamps.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[ns]")
    return times, np.array(values)
