"""Two days of surface-radiation stations, started from the first measured hour of the night: one day, unknown soil.

Data and licence: tests/reference/weather/README.md. Longwave up is what the surface shows of its temperature. Of the
ground nothing is known: the start is the season's with the first reading laid over it, and the bar is the error of
taking the air for the surface. Found: Alamosa 2.4 W/m2 (clear, -22 degC), Desert Rock 13 W/m2 (broken cloud).
"""

import gzip
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pvlib import iotools

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.learn.replay import replay
from microclimate.venue import load
from tests.skill.conftest import REFERENCE

VENUE = """
name = "Station on dry ground"
[site]
latitude = {latitude}
longitude = {longitude}
elevation = {elevation}
time_zone = "America/{zone}"
surroundings = "open country"
[field]
length = 20
width = 20
[turf]
surface = "bare soil"
[[ground]]
build = "native soil"
water_content = 0.20
"""
STATIONS = {
    "slv16001": {"latitude": 37.70, "longitude": -105.92, "elevation": 2317, "zone": "Denver"},
    "dra24048": {"latitude": 36.62, "longitude": -116.02, "elevation": 1007, "zone": "Los_Angeles"},
}


@pytest.mark.parametrize("name", STATIONS)
def test_longwave_up_at_night(name: str, tmp_path: Path) -> None:
    day = tmp_path / f"{name}.dat"
    day.write_bytes(gzip.decompress((REFERENCE / "weather" / f"{name}.dat.gz").read_bytes()))
    data, _ = iotools.read_surfrad(str(day), map_variables=False)
    station = pd.DataFrame(
        {
            "time": data.index.strftime("%Y-%m-%dT%H:%MZ"),
            "air_temperature @ 2 m [degC]": data["temp"].to_numpy(),
            "relative_humidity @ 2 m [%]": data["rh"].to_numpy(),
            "wind_speed @ 10 m [m/s]": data["windspd"].to_numpy(),
            "surface_air_pressure [hPa]": data["pressure"].to_numpy(),
            "surface_downwelling_shortwave_flux_in_air [W/m2]": data["dw_solar"].clip(lower=0.0).to_numpy(),
            "surface_downwelling_longwave_flux_in_air [W/m2]": data["dw_ir"].to_numpy(),
            "surface_upwelling_longwave_flux_in_air [W/m2]": data["uw_ir"].to_numpy(),
        }
    )
    path = tmp_path / "station.csv"
    station.to_csv(path, index=False)
    traces = replay(load.text(VENUE.format(**STATIONS[name])), path, path).traces
    dark = data["dw_solar"].reindex(traces.index.tz_localize("UTC")).to_numpy() < 5.0
    night = traces[dark]
    label = "surface_temperature from surface_upwelling_longwave_flux_in_air [W/m2]"
    assert len(night) > 100

    def off(told: pd.Series) -> float:
        """Error of longwave up [W m-2] by that surface temperature; the reflected part is the same in both."""
        error = 0.96 * STEFAN_BOLTZMANN * (told**4 - night[f"{label} measured"] ** 4)
        return float(np.sqrt((error**2).mean()))

    assert off(night[f"{label} modelled"]) < off(night["air_temperature"])
