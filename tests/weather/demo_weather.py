"""How the demo's weather files were made: `python tests/weather/demo_weather.py` writes them again, a test compares.

Source: the typical year 723170TYA.CSV (TMY3, US National Renewable Energy Laboratory, US-government data) that pvlib
ships. Its hours of 12 to 30 January are moved one day on and set into 2026: the 27th becomes Wednesday the 28th.
"""

from pathlib import Path

import pandas as pd
import pvlib
import xarray as xr

from microclimate.schema import Site
from microclimate.weather import complete, history, read
from microclimate.weather.ensemble import members

FOLDER = Path(__file__).parents[2] / "data_demo"
ZONE = "America/New_York"
SITE = Site("demo", 36.10, -79.95, 273.0, ZONE)
SEED = 20260128
ISSUED = "2026-01-27T12:00:00-05:00"
MONTHS = {"december.csv": 12, "july.csv": 7}
SOURCE = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def hours(first: str, last: str) -> pd.DataFrame:
    """Hours of the typical year by their stamp in the demo, hour-ending, local standard time."""
    frame, _ = pvlib.iotools.read_tmy3(str(SOURCE), coerce_year=2026, map_variables=True)
    frame.index = frame.index + pd.Timedelta(days=1)
    return frame.loc[first:last]


def _stamps(index: pd.DatetimeIndex) -> list[str]:
    return [stamp.isoformat(timespec="minutes") for stamp in index]


def _common(frame: pd.DataFrame) -> dict[str, object]:
    return {
        "time": _stamps(frame.index),
        "air_temperature [degC]": frame["temp_air"].round(1),
        "dew_point_temperature [degC]": frame["temp_dew"].round(1),
        "wind_speed [m/s]": frame["wind_speed"].round(1),
        "wind_from_direction [degree]": frame["wind_direction"],
        "cloud_area_fraction [%]": frame["TotCld (tenths)"] * 10,
        # the file's numbers are hundredths of an inch in tenths of a millimetre, whatever its header says
        "precipitation [mm]": (frame["Lprecip depth (mm)"] * 0.1).round(1),
        "surface_air_pressure [hPa]": frame["pressure"],
    }


def past() -> str:
    """The fortnight before, as observed at a station with radiation."""
    return _station(hours("2026-01-13 13:00", "2026-01-27 12:00"))


def _station(frame: pd.DataFrame) -> str:
    table = _common(frame) | {
        "shortwave [W/m2]": frame["ghi"],
        "direct_normal [W/m2]": frame["dni"],
        "diffuse [W/m2]": frame["dhi"],
    }
    head = "# source: invented station (typical year, dates moved)\n# wind height: 10 m\n# temperature height: 2 m\n"
    return head + pd.DataFrame(table).to_csv(index=False, lineterminator="\n")


def month(number: int) -> str:
    """A month of the typical year, set into 2025, as a station with radiation has it."""
    frame, _ = pvlib.iotools.read_tmy3(str(SOURCE), coerce_year=2025, map_variables=True)
    return _station(frame[frame.index.month == number])


def forecast() -> str:
    """Three days as a forecast service gives them: no radiation."""
    frame = hours("2026-01-27 12:00", "2026-01-30 12:00")
    head = (
        f"# source: invented forecast (typical year, dates moved)\n# issued: {ISSUED}\n"
        "# wind height: 10 m\n# temperature height: 2 m\n"
    )
    return head + pd.DataFrame(_common(frame)).to_csv(index=False, lineterminator="\n")


def ensemble(forecast_file: Path) -> xr.Dataset:
    """31 members round the forecast, pulled to the January of the typical year; numbers packed to 0.01."""
    run = complete.weather(read.weather(forecast_file, SITE), SITE)
    usual = complete.weather(read.weather(SOURCE, SITE), SITE)
    made = members(run, SITE, 31, SEED, climate=history.climate(usual, run["time"].values))
    made = made.drop_vars([n for n in made.data_vars if str(n) not in KEPT]).astype("float32")
    for name in made.data_vars:
        made[name] = made[name].round(PLACES.get(str(name), 2))
        if name != "time_bnds":
            made[name].encoding = {"zlib": True, "complevel": 9, "shuffle": True}
    made.attrs = {
        "Conventions": "CF-1.8",
        "source": "invented ensemble (typical year, dates moved)",
        "issued": run.attrs["issued"],
        "assumed": made.attrs["assumed"],
        "wind_height": 10.0,
        "temperature_height": 2.0,
    }
    return made


KEPT = (
    "air_temperature", "dew_point_temperature", "wind_speed", "wind_from_direction", "surface_air_pressure",
    "cloud_area_fraction", "precipitation_flux", "surface_downwelling_shortwave_flux_in_air",
    "surface_downwelling_longwave_flux_in_air",
)  # fmt: skip
PLACES = {"precipitation_flux": 8, "surface_air_pressure": 0, "cloud_area_fraction": 3}


def main() -> None:
    """Writes the files."""
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / "past.csv").write_text(past(), encoding="utf-8", newline="\n")
    for name, number in MONTHS.items():
        (FOLDER / name).write_text(month(number), encoding="utf-8", newline="\n")
    (FOLDER / "forecast.csv").write_text(forecast(), encoding="utf-8", newline="\n")
    ensemble(FOLDER / "forecast.csv").to_netcdf(FOLDER / "ensemble.nc", engine="h5netcdf")


if __name__ == "__main__":
    main()
