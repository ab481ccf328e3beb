"""A made winter on an invented lawn: weather, a truth with known factors, sensors with the noise of the trade notes.

Probes: 0.1 K of their own and 0.05 K a reading; an infrared sensor: 1 K of its own and 0.2 K a reading (trade notes:
+-0.1 to 0.2 degC thermistors, +-1 to 2 degC infrared; what changes from one hourly mean to the next is less, ours).
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from pvlib import solarposition

from microclimate.learn import held, replay
from microclimate.learn.replay import Station
from microclimate.venue import load
from microclimate.venue.load import Venue

VENUE = """
name = "A lawn"
[site]
latitude = 40.0
longitude = -80.0
elevation = 300
time_zone = "America/New_York"
surroundings = "open country"
[field]
length = 20
width = 20
[[ground]]
build = "sand over gravel"
water_content = 0.17
"""
PROBES = (0.025, 0.10)  # [m]
PROBE_OWN, PROBE_EACH, INFRARED_OWN, INFRARED_EACH = 0.1, 0.05, 1.0, 0.2  # [K]


def weather(days: int, seed: int) -> pd.DataFrame:
    """Winter days of changing cloud, wind and warmth, hourly, UTC, made up."""
    rng = np.random.default_rng(seed)
    times = pd.date_range("2026-01-05T00:00", periods=24 * days, freq="h")

    def slow(hours: float) -> np.ndarray:
        """A Gaussian series that forgets in `hours`."""
        keep = np.exp(-1.0 / hours)
        out, value = np.empty(len(times)), rng.normal()
        for k in range(len(times)):
            value = keep * value + np.sqrt(1 - keep**2) * rng.normal()
            out[k] = value
        return out

    cloud = 1.0 / (1.0 + np.exp(-2.0 * slow(12.0)))
    hour = np.asarray(times.hour) - 5.33
    middle = (times - pd.Timedelta("30min")).tz_localize("UTC")
    height = np.sin(np.radians(solarposition.get_solarposition(middle, 40.0, -80.0)["elevation"].to_numpy()))
    sun = 850.0 * np.maximum(height, 0.0) * (1.0 - 0.7 * cloud)
    air = 275.0 + 3.5 * slow(60.0) + 3.5 * (1 - cloud) * np.cos(2 * np.pi * (hour - 15.0) / 24.0)
    sky = 5.67e-8 * air**4 * (0.74 + 0.24 * cloud)
    return pd.DataFrame(
        {
            "time": times.strftime("%Y-%m-%dT%H:%MZ"),
            "air_temperature [K]": air.round(2),
            "relative_humidity [%]": 72.0,
            "wind_speed @ 10 m [m/s]": np.exp(1.0 + 0.6 * slow(9.0)).round(2),
            "surface_downwelling_shortwave_flux_in_air [W/m2]": sun.round(1),
            "surface_downwelling_longwave_flux_in_air [W/m2]": sky.round(1),
            "precipitation_amount [mm]": 0.0,
        }
    )


def station(
    folder: Path, days: int = 24, seed: int = 0, step: float = 600.0, *, longwave: bool = True
) -> tuple[Venue, Station]:
    """The lawn under made weather, its sensors empty; without `longwave` nobody measured the sky's."""
    venue = load.text(VENUE)
    frame = weather(days, seed)
    if not longwave:
        frame = frame.drop(columns="surface_downwelling_longwave_flux_in_air [W/m2]")
    readings = pd.DataFrame({"time": frame["time"], "surface_temperature [K]": 275.0})
    for depth in PROBES:
        readings[f"soil_temperature @ {depth} m [K]"] = 275.0
    frame.to_csv(folder / "weather.csv", index=False)
    readings.to_csv(folder / "readings.csv", index=False)
    return venue, replay.station(venue, folder / "weather.csv", folder / "readings.csv", step=step)


def with_factors(venue: Venue, factors: dict[str, float]) -> Venue:
    """The venue with some of its learned factors set."""
    return venue.model_copy(update={"calibration": venue.calibration.model_copy(update=factors)})


def read(made: Station, truth: pd.DataFrame, seed: int) -> Station:
    """The station with what noisy sensors read of a truth."""
    rng = np.random.default_rng(seed)
    sensors = []
    for sensor in made.sensors:
        surface = sensor.kind in held.SURFACES
        own, each = (INFRARED_OWN, INFRARED_EACH) if surface else (PROBE_OWN, PROBE_EACH)
        seen = truth[sensor.label] + rng.normal(0.0, own) + rng.normal(0.0, each, len(truth))
        # before the run is scored the log has what the truth began with
        sensors.append(replace(sensor, values=seen.reindex(sensor.values.index).fillna(sensor.values)))
    return replace(made, sensors=sensors)
