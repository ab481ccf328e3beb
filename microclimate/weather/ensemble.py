"""Members whose chances mean something: real ones left alone, a single run dressed with a stated error model."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import Problem, WeatherTooOld, refuse
from microclimate.schema import WEATHER, Site, seal
from microclimate.weather import assumed, dress, sky
from microclimate.weather.calibrated import calibrate, probability_below
from microclimate.weather.complete import DIFFUSE, DIRECT, GLOBAL, LONGWAVE, snow_share

__all__ = ["calibrate", "covers", "members", "probability_below"]

Floats = NDArray[np.float64]

TYPED_WIDER = 1.5  # a low and a high typed from a page say less than an hourly run (ours)
RAMP = 3.0  # [h] in which a member's move sets in after sunset and ends after sunrise (ours)
# gust factors of 10 min reach from 1.4 at sea to 1.9 in cities (WMO/TD-No. 1555, Table 1.1, from memory); peaks go with
# means along straight lines (J. Appl. Meteorol. 7, 1968, 372: slope 1.4 at 12 m, read in a comment on it)
GUST_SLOPE = 2.0  # [1]
DIRECTION = "wind_from_direction"
SHARED = "surface_air_pressure precipitation_flux"


def members(
    weather: xr.Dataset, site: Site, count: int = 31, seed: int = 0, *, climate: dress.Climate | None = None
) -> xr.Dataset:
    """Weather with members: real ones as they are, a single run dressed into `count`.

    Parameters
    ----------
    weather : Dataset
        Sealed Weather of `complete.weather`.
    site : Site
    count : int
        Of members, where the run is a single one.
    seed : int
        The same seed gives the same members; it should come from the venue and the event, not from the clock.
    climate : Climate, optional
        To pull towards, for a run that is not shrunk already (`history.climate`).

    Returns
    -------
    Dataset
        Sealed Weather. Longwave, snow and the light of the sun are worked out again from what was changed; pressure and
        precipitation are shared by all members, and said so. Where no wind direction is known, each member gets one of
        its own.
    """
    if weather.sizes["realization"] > 1 or count < 2:
        return _turned(weather, seed) if count > 1 else weather
    codes = assumed.codes(weather)
    wider = TYPED_WIDER if "typed_by_hand" in codes else 1.0
    times = weather["time"].values
    one = {str(name): weather[name].values[0] for name in WEATHER}
    known = np.asarray(np.isfinite([v for name, v in one.items() if name != DIRECTION]).all(axis=0))
    sun = sky.sun(times, seconds(weather), site)
    run = dress.latents(
        one["air_temperature"], one["dew_point_temperature"], one["wind_speed"], one["cloud_area_fraction"]
    )
    lead = (times - begun(weather)) / np.timedelta64(1, "h")
    made, centre, spread = dress.dressed(
        run, times, lead, sun.down, count, seed,
        climate=climate, wider=wider, cloud_unknown="unknown" in codes.get("cloud", []),
    )  # fmt: skip
    temperature = _nights(made.temperature, centre, spread, lead, times, sun, known)
    temperature, dew, wind, cloud = dress.Latents(temperature, made.depression, made.wind, made.cloud).weather()
    out = {name: np.broadcast_to(values, (count, len(times))).copy() for name, values in one.items()}
    out |= {"air_temperature": temperature, "dew_point_temperature": dew, "cloud_area_fraction": cloud}
    out["wind_speed"], out["wind_speed_of_gust"] = _gusts(one["wind_speed"], one["wind_speed_of_gust"], wind)
    relight(out, one, sun, site)
    total = out["precipitation_flux"]
    out["snowfall_flux"] = total * _snow(one, out)
    out = {name: np.where(known, values, np.nan) for name, values in out.items()}
    data = xr.Dataset(
        {name: (("realization", "time"), out[name]) for name in WEATHER},
        coords={"time": times, "realization": np.arange(count)},
        attrs=weather.attrs,
    )
    data["time_bnds"] = weather["time_bnds"]
    notes = [f"dressed={count}", f"not_dressed={SHARED}", *([f"wider={wider:g}"] if wider > 1.0 else [])]
    return _turned(seal(assumed.note(data, notes), WEATHER, "weather"), seed)


def _gusts(mean: Floats, gust: Floats, wind: Floats) -> tuple[Floats, Floats]:
    """Members' wind (realization, time) and its gusts from the run's own, within what is possible [m s-1].

    A gust moves with its mean along a straight line, gust + slope (wind - mean); the slope is the run's own gust
    factor, at most `GUST_SLOPE`: near a calm a gust is no multiple of the mean.
    """
    wind = np.minimum(wind, WEATHER["wind_speed"].high)
    slope = np.clip(gust / np.maximum(mean, dress.CALMEST), 1.0, GUST_SLOPE)
    moved = np.maximum(gust + slope * (wind - mean), wind)
    return wind, np.minimum(moved, WEATHER["wind_speed_of_gust"].high)


def _turned(weather: xr.Dataset, seed: int) -> xr.Dataset:
    """Members without any wind direction given one each, the same through the run: the range of shelter then shows."""
    direction = weather[DIRECTION]
    if np.isfinite(direction.values).any():
        return weather
    turn = np.random.default_rng([seed, 99]).uniform(0.0, 360.0, (weather.sizes["realization"], 1))
    return weather.assign({DIRECTION: direction.copy(data=np.broadcast_to(turn, direction.shape).copy())})


def covers(weather: xr.Dataset, start: np.datetime64, end: np.datetime64, *, now: np.datetime64 | None = None) -> None:
    """Refuses weather that does not reach the window asked for, or that says it was made in the future.

    Parameters
    ----------
    weather : Dataset
        (realization, time).
    start, end : datetime64
        UTC.
    now : datetime64, optional
        UTC; a forecast made more than an hour after it has a wrong stamp.

    Raises
    ------
    InputError
        Made in the future.
    WeatherTooOld
        It ends before the window does (too old, too short), or begins after the window has begun.
    """
    first, last = weather["time"].values[0], weather["time"].values[-1]
    first = weather["time_bnds"].values[0, 0] if "time_bnds" in weather else first
    where = str(weather.attrs.get("source", "weather"))
    if now is not None and weather.attrs.get("issued") and begun(weather) > now + np.timedelta64(1, "h"):
        made = f"says it was issued {weather.attrs['issued'][:16]} UTC, after now ({str(now)[:16]})"
        raise refuse(
            where, made, "a forecast already made", "check the time zone of its stamps, and this machine's clock"
        )
    window = f"{str(start)[:16]} to {str(end)[:16]} UTC"
    if last < end:
        issued = f", issued {weather.attrs['issued'][:16]}" if weather.attrs.get("issued") else ""
        raise WeatherTooOld(
            where, [Problem(where, f"ends {str(last)[:16]} UTC{issued}", f"weather for {window}", "fetch a newer one")]
        )
    if first > start:
        raise WeatherTooOld(
            where,
            [
                Problem(
                    where,
                    f"begins {str(first)[:16]} UTC",
                    f"weather for {window}",
                    "give an earlier one or a later night",
                )
            ],
        )


def seconds(weather: xr.Dataset) -> Floats:
    """Length of each interval [s], (time,)."""
    bounds = weather["time_bnds"].values
    return np.asarray((bounds[:, 1] - bounds[:, 0]) / np.timedelta64(1, "s"))


def begun(weather: xr.Dataset) -> np.datetime64:
    """When the run began: its issue, else its first stamp."""
    issued = str(weather.attrs.get("issued", "")).rstrip("Z")
    return np.datetime64(issued, "ns") if issued else weather["time"].values[0]


def _nights(
    paths: Floats, centre: Floats, spread: Floats, lead: Floats, times: NDArray[np.datetime64], sun: sky.Sun,
    known: NDArray[np.bool_],
) -> Floats:  # fmt: skip
    """Each night's member minima brought to the quantiles of a normal round the run's own minimum."""
    hours = (times - times[0]) / np.timedelta64(1, "h")
    ahead = known & (lead > 0)
    change = np.flatnonzero(np.diff(np.concatenate([[0], sun.down.astype(int), [0]])))
    for first, after in zip(change[::2], change[1::2], strict=True):
        window = np.zeros(len(times), bool)
        window[first : min(after + 1, len(times))] = True
        window &= ahead
        if window.sum() < 3:
            continue
        at = int(np.argmin(np.where(window, centre, np.inf)))
        begin, end = hours[first] - RAMP, hours[min(after, len(times) - 1)] + RAMP
        ramp = np.clip(np.minimum(hours - begin, end - hours) / RAMP, 0.0, 1.0) * ahead
        paths = dress.spread_evenly(paths, window, ramp, float(centre[at]), float(spread[at]))
    return paths


def relight(out: dict[str, Floats], one: dict[str, Floats], sun: sky.Sun, site: Site) -> None:
    """Longwave and light of changed weather moved as the formulas say, from where the run had them; (..., time)."""
    formula = site.clear_sky or sky.DEFAULT_CLEAR_SKY
    base, new = (
        sky.longwave_down(now["air_temperature"], now["dew_point_temperature"], now["cloud_area_fraction"], formula)
        for now in (one, out)
    )
    low, high = WEATHER[LONGWAVE].low, WEATHER[LONGWAVE].high
    out[LONGWAVE] = np.clip(one[LONGWAVE] + new - base, low, high)
    had = np.maximum(sky.shortwave(one["cloud_area_fraction"], sun), 1.0)
    now = sky.shortwave(out["cloud_area_fraction"], sun)
    out[GLOBAL] = np.minimum(one[GLOBAL] * now / had, np.maximum(1.1 * sun.clear, one[GLOBAL]))
    out[DIRECT], out[DIFFUSE] = sky.split(out[GLOBAL], sun)


def _snow(one: dict[str, Floats], out: dict[str, Floats]) -> Floats:
    """Share of snow: the run's own, moved by what the wet-bulb formula says of the change."""
    own = np.where(
        one["precipitation_flux"] > 0, one["snowfall_flux"] / np.maximum(one["precipitation_flux"], 1e-12), 0
    )
    pressure = one["surface_air_pressure"]
    base = snow_share(one["air_temperature"], one["dew_point_temperature"], pressure)
    return np.clip(own + snow_share(out["air_temperature"], out["dew_point_temperature"], pressure) - base, 0.0, 1.0)
