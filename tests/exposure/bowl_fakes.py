"""Small stand-ins: a venue's few attributes and bowls whose answers are known by hand."""

from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import xarray as xr

from microclimate import schema
from microclimate.venue.calibration import Calibration


@dataclass(frozen=True)
class FlatBowl:
    """A bowl that sees the same sky from everywhere, with a level crest all round and a shade of our choice."""

    cell_x: np.ndarray
    cell_y: np.ndarray
    cell_zone: np.ndarray
    cell_area: np.ndarray
    sky_view: np.ndarray
    height: float = 0.0
    distance: float = 75.0
    lit: float = 1.0

    def grouped(self, weights: np.ndarray) -> "FlatBowl":
        return replace(self, sky_view=weights @ self.sky_view, cell_x=weights @ self.cell_x)

    @property
    def weathered(self) -> tuple["FlatBowl", "FlatBowl"]:
        return self, self  # as bright wet as dry

    @property
    def open_above(self) -> np.ndarray:
        return np.ones(len(self.sky_view))

    def sun_factor(self, azimuth: np.ndarray, elevation: np.ndarray) -> np.ndarray:
        factor = np.full((len(azimuth), len(self.sky_view)), self.lit)
        return np.where((elevation > 0)[:, None], factor, 0.0)

    def radiance(self, azimuth, elevation, direct_normal, diffuse):
        return diffuse[:, None]  # one patch of sky

    def sky_light_under(self, radiance):
        return radiance * self.sky_view

    def reflected_under(self, radiance, azimuth, elevation, direct_normal):
        horizontal = direct_normal * np.sin(np.radians(elevation)) + radiance[:, 0]
        return 0.3 * horizontal[:, None] * (1.0 - self.sky_view)

    def glint_ends(self, azimuth, elevation):
        return None  # all matte

    def longwave(self, sky_down_open, air_temperature, stand_temperature):
        sky = np.asarray(sky_down_open)[..., None] * self.sky_view
        stands = 5.670374419e-8 * np.asarray(stand_temperature)[..., None] ** 4 * (1.0 - self.sky_view)
        return sky, stands

    def crest(self, count):
        n = len(self.cell_x)
        return np.full((n, count), self.distance), np.full((n, count), self.height)


def flat_bowl(cells: int = 24, zones: int = 2, sky_view: float = 1.0, **more) -> FlatBowl:
    x = np.linspace(-50.0, 50.0, cells)
    zone = np.repeat(np.arange(zones), cells // zones)
    return FlatBowl(x, np.zeros(cells), zone, np.full(cells, 4.0), np.full(cells, sky_view), **more)


def venue(zones: int = 2, draught: float = 0.0, roughness: float = 0.03) -> SimpleNamespace:
    base = SimpleNamespace(draught=draught, air_temperature=None)
    return SimpleNamespace(
        calibration=Calibration.model_validate({}),
        site=SimpleNamespace(latitude=41.0, longitude=-88.0, elevation=200.0, roughness_length=roughness),
        field=SimpleNamespace(zones=tuple(SimpleNamespace(name=f"zone {i}", base=base) for i in range(zones))),
    )


def weather(hours: int = 48, members: int = 3, start: str = "2025-01-15T18:00", every: str = "1h") -> xr.Dataset:
    """A clear cold spell; values by simple formulas so that tests can know them."""
    time = pd.date_range(start, periods=hours + 1, freq=every).values
    hour = (time - time.astype("datetime64[D]")) / np.timedelta64(1, "h")
    shape = (members, len(time))
    day = np.clip(np.sin((hour - 13.2) / 9.5 * np.pi), 0.0, None) * (np.abs(hour - 18.0) < 4.75)
    member = np.arange(members)[:, None]
    values = {
        "air_temperature": 275.0 + 5.0 * np.sin((hour - 15.0) / 12.0 * np.pi) + member,
        "dew_point_temperature": 268.0 + 0.0 * hour + member,
        "wind_speed": 3.0 + np.cos(hour / 12.0 * np.pi) + 0.0 * member,
        "wind_speed_of_gust": 6.0 + np.cos(hour / 12.0 * np.pi) + 0.0 * member,
        "wind_from_direction": 270.0 + 0.0 * hour,
        "surface_air_pressure": 99000.0 + 0.0 * hour,
        "cloud_area_fraction": 0.1 + 0.0 * hour,
        "precipitation_flux": np.where((hour > 3) & (hour < 6), 2e-4, 0.0),
        "snowfall_flux": 0.0 * hour,
        "surface_direct_downwelling_shortwave_flux_in_air": 350.0 * day,
        "surface_diffuse_downwelling_shortwave_flux_in_air": 60.0 * day,
        "surface_downwelling_longwave_flux_in_air": 240.0 + 0.0 * hour,
    }
    values["surface_downwelling_shortwave_flux_in_air"] = 410.0 * day
    return schema.seal(
        xr.Dataset(
            {name: (("realization", "time"), np.broadcast_to(v, shape).copy()) for name, v in values.items()},
            coords={"time": time, "realization": np.arange(members)},
            attrs={"wind_height": 10.0, "temperature_height": 2.0, "source": "made up", "issued": "", "assumed": ""},
        ),
        schema.WEATHER,
        "Weather",
    )
