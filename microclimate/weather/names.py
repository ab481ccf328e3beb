"""What a column of a weather file may be called, what it must measure, and its plausible range."""

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass

from microclimate.schema import MEAN, WEATHER

POINT = "time: point"
FLUX = ("flux",)
AMOUNT = ("amount", "length", "amount rate")  # a sum over the interval, in water, or its rate


@dataclass(frozen=True)
class Raw:
    """A variable a file may hold."""

    dimensions: tuple[str, ...]  # of units.dimension
    low: float  # [SI]
    high: float  # [SI]
    aliases: tuple[str, ...]
    cell_methods: str = POINT
    standard_names: tuple[str, ...] = ()


def _schema(name: str, dimensions: tuple[str, ...], *aliases: str) -> Raw:
    var = WEATHER[name]
    return Raw(dimensions, var.low, var.high, aliases, var.cell_methods)


RAW: Mapping[str, Raw] = {
    "air_temperature": _schema(
        "air_temperature",
        ("temperature",),
        "temperature",
        "temp",
        "air temp",
        "t",
        "ta",
        "t2m",
        "2m temperature",
        "temperature 2m",
        "dry bulb",
        "tair",
        "t air",
    ),
    "dew_point_temperature": _schema(
        "dew_point_temperature",
        ("temperature",),
        "dew point",
        "dewpoint",
        "dew",
        "td",
        "d2m",
        "2m dewpoint",
        "dewpoint 2m",
        "dew point 2m",
        "dew point temp",
    ),
    "relative_humidity": Raw(
        ("fraction",),
        0.0,
        1.1,
        ("humidity", "rh", "rel humidity", "relative humidity 2m", "relhum"),
    ),
    "wind_speed": _schema("wind_speed", ("speed",), "wind", "windspeed", "ws", "wind speed 10m", "wspd", "ff", "si10"),
    "wind_speed_of_gust": _schema(
        "wind_speed_of_gust",
        ("speed",),
        "gust",
        "gusts",
        "wind gust",
        "wind gusts",
        "gust speed",
        "windgust",
        "fg",
    ),
    "wind_from_direction": _schema(
        "wind_from_direction",
        ("angle",),
        "wind direction",
        "direction",
        "winddirection",
        "wd",
        "wdir",
        "wind dir",
        "wind direction 10m",
        "dd",
    ),
    "eastward_wind": Raw(("speed",), -75, 75, ("u10", "10u", "u wind", "u"), POINT, ("x_wind",)),
    "northward_wind": Raw(("speed",), -75, 75, ("v10", "10v", "v wind", "v"), POINT, ("y_wind",)),
    "surface_air_pressure": _schema(
        "surface_air_pressure",
        ("pressure",),
        "pressure",
        "station pressure",
        "surface pressure",
        "sp",
        "barometer",
    ),
    "air_pressure_at_mean_sea_level": Raw(
        ("pressure",),
        8.5e4,
        1.1e5,
        ("sea level pressure", "mslp", "msl", "altimeter", "qnh", "slp"),
        POINT,
        ("air_pressure_at_sea_level",),
    ),
    "cloud_area_fraction": _schema(
        "cloud_area_fraction",
        ("fraction",),
        "cloud",
        "clouds",
        "cloud cover",
        "cloudcover",
        "sky cover",
        "cloudiness",
        "total cloud cover",
        "tcc",
        "skycover",
    ),
    "precipitation_flux": Raw(
        AMOUNT,
        0.0,
        0.2,
        (
            "precipitation",
            "precip",
            "rain",
            "rainfall",
            "precipitation amount",
            "total precipitation",
            "tp",
            "prcp",
            "precipitation rate",
            "rain rate",
        ),
        MEAN,
        ("precipitation_amount", "lwe_thickness_of_precipitation_amount", "lwe_precipitation_rate"),
    ),
    "snowfall_flux": Raw(
        AMOUNT,
        0.0,
        0.2,
        ("snowfall water", "snow water", "snow water equivalent", "snowfall amount", "sf"),
        MEAN,
        ("snowfall_amount", "lwe_thickness_of_snowfall_amount", "lwe_snowfall_rate"),
    ),
    "thickness_of_snowfall_amount": Raw(
        ("length",),
        0.0,
        1.0,
        ("snow", "snowfall", "new snow", "fresh snow", "snowfall depth"),
        MEAN,
    ),
    "surface_downwelling_shortwave_flux_in_air": _schema(
        "surface_downwelling_shortwave_flux_in_air",
        FLUX,
        "shortwave",
        "shortwave down",
        "solar",
        "solar radiation",
        "global radiation",
        "ghi",
        "sw in",
        "sw down",
        "swdown",
        "ssrd",
        "shortwave radiation",
        "dw solar",
    ),
    "surface_direct_downwelling_shortwave_flux_in_air": _schema(
        "surface_direct_downwelling_shortwave_flux_in_air",
        FLUX,
        "direct",
        "direct radiation",
        "direct horizontal",
        "beam horizontal",
    ),
    "surface_diffuse_downwelling_shortwave_flux_in_air": _schema(
        "surface_diffuse_downwelling_shortwave_flux_in_air",
        FLUX,
        "diffuse",
        "diffuse radiation",
        "dhi",
        "diffuse horizontal",
    ),
    "direct_normal_irradiance": Raw(
        FLUX,
        0.0,
        1400,
        ("dni", "direct normal", "beam", "direct n"),
        MEAN,
        ("surface_direct_along_beam_shortwave_flux_in_air",),
    ),
    "surface_downwelling_longwave_flux_in_air": _schema(
        "surface_downwelling_longwave_flux_in_air",
        FLUX,
        "longwave",
        "longwave down",
        "lw in",
        "lw down",
        "lwdown",
        "strd",
        "thermal radiation",
        "sky longwave",
        "dw ir",
        "infrared",
    ),
}

TIME = ("time", "date", "datetime", "date time", "timestamp", "valid time", "stamp", "utc", "when")
MEMBER = ("realization", "member", "number", "ensemble", "ens", "ensemble member", "run", "scenario")


def plain(text: str) -> str:
    """A header as the table spells it: lower case, words apart by one blank."""
    return re.sub(r"[\s_.\-]+", " ", text.strip().lower()).strip()


_LOOKUP = {plain(alias): name for name, raw in RAW.items() for alias in (name, *raw.aliases, *raw.standard_names)}


def canonical(text: str) -> str | None:
    """The canonical name for a header, a CF standard name or a plain alias; None where it is none of them."""
    return _LOOKUP.get(plain(text).removeprefix("integral wrt time of "))


def is_time(text: str) -> bool:
    """Whether a header names the column of stamps."""
    return plain(text) in TIME


def is_member(text: str) -> bool:
    """Whether a name is a usual one for the dimension of members."""
    return plain(text) in MEMBER


def nearest(text: str) -> str:
    """'did you mean ...?' where a known name is near, else ''."""
    near = difflib.get_close_matches(plain(text), [*_LOOKUP, *TIME], n=1, cutoff=0.75)
    return f"did you mean {near[0]!r}?" if near else ""
