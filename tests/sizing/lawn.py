"""An invented open lawn with pipes, and records of made-up winters, for tests of sizing."""

from datetime import datetime
from pathlib import Path

import numpy as np

from microclimate.schema import Event
from microclimate.sizing import options as opt
from microclimate.sizing import tasks, winter_run, winters
from microclimate.sizing.winters import Climate, Season
from microclimate.venue import load
from microclimate.venue.load import Venue

TEXT = """
name = "An open lawn"
units = "metric"
[site]
latitude = 45.0
longitude = 15.0
elevation = 100
time_zone = "Europe/Zagreb"
[field]
length = 60
width = 40
cell_size = 5
zone_columns = 2
zone_names = [["West", "East"]]
[[ground]]
build = "sand over gravel"
circuit = "pipes"
[[circuit]]
name = "pipes"
depth = "200 mm"
power = 100
supply_temperature = "35 degC"
probe_depth = "100 mm"
ceiling = "18 degC"
[plant]
kind = "gas"
efficiency = 0.9
[[cover]]
name = "quilt"
kind = "insulated"
people = 4
minutes = 30
[limits]
canopy_min = "-3 degC"
rootzone_min = "0.5 degC"
[prices]
currency = "EUR"
energy = 0.10
crew_hour = 30
"""
SEASON = Season((12, 1), 30)


def venue(text: str = TEXT) -> Venue:
    """The lawn."""
    return load.text(text, "lawn.toml")


def record(path: Path, years: int = 2, first: int = 2018, cold: float = -2.0, missing: slice | None = None) -> Path:
    """Hourly CSV of made-up years: a yearly and a daily wave, clear sky, each winter a little colder."""
    start = np.datetime64(f"{first}-07-01T00:00")
    stamps = start + np.arange(24 * 365 * years + 24) * np.timedelta64(1, "h")
    day = (stamps - stamps.astype("datetime64[Y]")) / np.timedelta64(1, "D")
    hour = (stamps - stamps.astype("datetime64[D]")) / np.timedelta64(1, "h")
    winter = (stamps - start) / np.timedelta64(365, "D")
    air = cold + 10.0 - 10.0 * np.cos(2 * np.pi * (day - 15) / 365) + 4.0 * np.cos(2 * np.pi * (hour - 13) / 24)
    air = air - np.floor(winter)
    rows = ["time,air_temperature [degC],dew_point_temperature [degC],wind_speed [m/s],cloud_area_fraction [%]"]
    for place, stamp in enumerate(stamps):
        if missing is not None and missing.start <= place < missing.stop:
            continue
        rows.append(f"{stamp}:00Z,{air[place]:.2f},{air[place] - 2:.2f},2.0,20")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def climate(path: Path, **told: object) -> Climate:
    """The winters of such a record."""
    return winters.climate(record(path, **told), venue().site.site, SEASON, 2025, 10.0)  # type: ignore[arg-type]


def evening(day: int, hours: tuple[int, int] = (18, 20)) -> Event:
    """A match in December 2025, UTC."""
    return Event(f"match {day}", datetime(2025, 12, day, hours[0]), datetime(2025, 12, day, hours[1]))


def jobs(found: Climate) -> list[winter_run.Job]:
    """One for each winter: frost hold at 60 W m-2, or no heat."""
    grid = opt.grid(opt.Asked(power="60", policy=(opt.FROST,), covers=False), venue())
    return [
        winter_run.Job(venue(), winters.of_winter(found, number), grid, (evening(12),), (0,))
        for number in range(len(found.winters))
    ]


def first_winter(folder: str) -> None:
    """Run the first of four winters and keep it in a folder, as another machine would."""
    job = jobs(climate(Path(folder) / "r.csv", years=4))[0]
    tasks.keep(winter_run.run(job), Path(folder) / "winter.nc")
