"""A winter of nights for `decide.py`: each noon an event of its own, planned 48 h before from a forecast with errors.

The worst zone of a bowl: sky view 0.6, no sun, 0.4 of the wind, stands of emissivity 0.95 half a kelvin below the air.
Sand over gravel with pipes at 225 mm, 120 W/m2, and one cover; 8,000 m2. The truth is the station's own weather, run
through the same column, so that what is measured is the choice and not the physics (wrong physics is a row apart).
Rain and snow fall when and as much as the station had them, in every member too (`ensemble.members` has them shared);
which of the two, each member takes from its own wet bulb. The trial that the bars come from had none.
A forecast is one of 31 members drawn round the truth, its own 31 members are drawn round it and pulled to the season's
climate (`weather.ensemble`). Loss of an event in money: crust half of it, white frost 0.15 of it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pvlib
import xarray as xr

from microclimate.actions import case as cases
from microclimate.actions import plan as plans
from microclimate.actions.case import Case
from microclimate.actions.choice import NOTHING, Choice, Spell
from microclimate.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS
from microclimate.learn import observed
from microclimate.physics import vapour
from microclimate.schema import Event, Site
from microclimate.simulate import run
from microclimate.venue.equipment import Crew, Prices
from microclimate.venue.limits import SPECIES
from microclimate.weather import complete, dress, ensemble, history, read
from tests.simulate import world

REFERENCE = Path(__file__).parents[1] / "reference"
GUST = 1.66  # gust over mean wind, where gusts are not measured (as `weather.complete` fills them)
AREA, LEAD = 8000.0, timedelta(hours=48)
LONGWAVE, SIGMA = "surface_downwelling_longwave_flux_in_air", STEFAN_BOLTZMANN
SITES = {
    "Bondville 1998": (
        REFERENCE / "bondville_1998_weather.csv.gz",
        Site("Bondville", 40.01, -88.37, 219.0, "America/Chicago"),
        18,
        ("1998-01-04", "1998-03-28", "1998-11-04", "1998-12-28"),
    ),
    "Greensboro typical year": (
        Path(pvlib.__file__).parent / "data" / "723170TYA.CSV",
        Site("Greensboro", 36.10, -79.95, 273.0, "America/New_York"),
        17,
        ("01-04", "03-28", "11-04", "12-28"),
    ),
}


@dataclass(frozen=True)
class Truth:
    """What the world does that the plan does not know."""

    air: float = 0.0  # [K]
    wind: float = 1.0
    resistance: float = 1.0
    power: float = 1.0


def prices(loss: float) -> Prices:
    """Crew 280 a movement, 0.10 a kWh."""
    return Prices.model_validate({"crew_hour": 28, "energy": 0.10, "event_lost": loss, "poor_surface": 0.5 * loss})


def venue(truth: Truth) -> Any:
    """One zone, one cover of resistance 0.10 m2K/W, one circuit."""
    circuit = {"name": "pipes", "depth": 0.225, "pitch": 0.2, "power": 120.0 * truth.power, "probe_depth": 0.05}
    circuit |= {"set_point": "2 degC", "ceiling": "12 degC"}
    cover = {"name": "cover", "kind": "insulated", "resistance": 0.10 * truth.resistance, "people": 10, "minutes": 60}
    made = world.venue(world.zone("A", circuit="pipes", water_content=0.16), covers=[cover], circuits=[circuit])
    made.crew = Crew.model_validate({"people": 10, "notice": "2 h", "earliest": 6, "latest": 22})
    made.species = lambda turf: SPECIES[turf.species]
    made.prices, made.site = None, SimpleNamespace(time_zone="UTC")
    return made


def forcing(weather: xr.Dataset, truth: Truth) -> xr.Dataset:
    """The shaded patch under any weather (realization, time)."""
    air = weather["air_temperature"].values + truth.air
    dew = np.minimum(weather["dew_point_temperature"].values + truth.air, air)
    pressure = weather["surface_air_pressure"].values
    sky = weather[LONGWAVE].values + 4.0 * SIGMA * air**3 * truth.air
    scattered = weather["surface_diffuse_downwelling_shortwave_flux_in_air"].values
    stands = 0.4 * (0.95 * SIGMA * (air - 0.5) ** 4 + 0.05 * sky)
    values = {
        "air_temperature": air,
        "specific_humidity": vapour.specific_humidity(vapour.saturation_pressure_water(dew), pressure),
        "wind_speed": 0.4 * truth.wind * weather["wind_speed"].values,
        "wind_speed_of_gust": 0.4 * truth.wind * weather["wind_speed_of_gust"].values,
        "surface_air_pressure": pressure,
        "precipitation_flux": weather["precipitation_flux"].values,
        "snowfall_flux": weather["snowfall_flux"].values,
        "shortwave_sun_down": 0.0,
        "shortwave_sky_down": 0.6 * scattered,
        "shortwave_stands_down": 0.0,
        "longwave_sky_down": 0.6 * sky,
        "longwave_stands_down": stands,
        "sunlit_fraction": 0.0,
        "under_tray_air_temperature": air,
    }
    shape = air.shape
    return xr.Dataset(
        {
            k: (("realization", "patch", "time"), np.broadcast_to(v, shape)[:, None, :].copy())
            for k, v in values.items()
        },
        coords={
            "time": weather["time"].values,
            "realization": np.arange(shape[0]),
            "zone": ("patch", ["A"]),
            "zone_index": ("patch", [0]),
            "area": ("patch", [AREA]),
        },
        attrs={"wind_height": 10.0, "temperature_height": 2.0},
    )


@dataclass(frozen=True)
class Night:
    """One event to plan for."""

    day: np.datetime64
    event: Event
    issue: datetime
    forecast: xr.Dataset  # Weather, one realization
    members: xr.Dataset  # Weather
    real: xr.Dataset  # Weather
    climate: dress.Climate
    initial: xr.Dataset
    coldest: float  # lowest air of the one forecast in the last 24 h before the event [degC]

    def case(self, loss: float, tolerated: float) -> Case:
        """The planning problem, from the members."""
        return self._case(self.members, Truth(), loss, tolerated)

    def truth(self, loss: float, truth: Truth | None = None) -> Case:
        """The same problem for the one realization that came."""
        return self._case(self.real, truth or Truth(), loss, 0.05)

    def at(
        self,
        weather: xr.Dataset,
        now: datetime,
        history: tuple[tuple[int, Choice], ...],
        booked: datetime | None,
        loss: float,
        tolerated: float,
    ) -> Case:
        """The problem as it is at a later hour, after what has been done."""
        block = forcing(weather, Truth())
        return cases.case(
            venue(Truth()), [block], self.initial, [self.event], now,
            tolerated=tolerated, prices=prices(loss), booked=booked, history=history,
        )  # fmt: skip

    def _case(self, weather: xr.Dataset, truth: Truth, loss: float, tolerated: float) -> Case:
        block = forcing(weather, truth)
        return cases.case(
            venue(truth), [block], self.initial, [self.event], self.issue, tolerated=tolerated, prices=prices(loss)
        )


def season(name: str, seed: int, every: int) -> Iterator[Night]:
    """Nights of a winter, each with its own draw of errors; `every` n-th day."""
    path, site, noon, spans = SITES[name]
    whole = _whole(path, site)
    year = whole["time"].values[len(whole["time"]) // 2].astype("datetime64[Y]")
    full = [span if len(span) > 5 else f"{year}-{span}" for span in spans]
    for first, last in (full[:2], full[2:]):
        ground: xr.Dataset | None = None
        days = np.arange(np.datetime64(first), np.datetime64(last))
        for number, day in enumerate(days):
            start = np.datetime64(f"{day}T{noon:02d}", "ns") - np.timedelta64(LEAD)
            ground = _base(whole, start, ground)
            if number % every == 0:
                yield _night(whole, site, day, start, ground, seed)


def _whole(path: Path, site: Site) -> xr.Dataset:
    """The station's weather; what is still missing is taken from the hour before, gusts go with the wind."""
    measured = path.suffix == ".gz"
    weather = observed.weather(path, site).weather if measured else complete.weather(read.weather(path, site), site)
    weather = weather.ffill("time").bfill("time")
    return weather.assign(wind_speed_of_gust=GUST * weather["wind_speed"])


def _base(whole: xr.Dataset, start: np.datetime64, ground: xr.Dataset | None) -> xr.Dataset:
    """The ground at `start`, a base of 1.5 degC held until then; from the day before, or from ten days."""
    made = venue(Truth())
    back = np.timedelta64(24 if ground is not None else 240, "h")
    past = forcing(_span(whole, start - back, start), Truth())
    if ground is None:
        ground = world.initial(made).assign_coords(zone=("patch", ["A"]))
    hold = plans.laid(made, past["time"].values, [Choice(heat=(0,), boost=-0.5)], past.sizes["time"])
    return run.final_states(made, [past], ground, hold)


def _span(whole: xr.Dataset, start: np.datetime64, end: np.datetime64) -> xr.Dataset:
    time = whole["time"].values
    return whole.isel(time=np.flatnonzero((time > start) & (time <= end)))


def _night(
    whole: xr.Dataset, site: Site, day: np.datetime64, start: np.datetime64, ground: xr.Dataset, seed: int
) -> Night:
    issue = start.astype("datetime64[us]").item()
    event = Event("noon game", issue + LEAD, issue + LEAD + timedelta(hours=3))
    real = _span(whole, start, np.datetime64(event.end, "ns") + np.timedelta64(1, "h"))
    real = real.assign_attrs(issued=issue.isoformat() + "Z")
    number = int(day.astype("datetime64[D]").astype(int))
    one = forecast(real, site, [seed, number])
    climate = history.climate(whole, real["time"].values)
    members = seen(one, site, seed, number, climate)
    times = one["time"].values
    before = (times > start + np.timedelta64(24, "h")) & (times <= np.datetime64(event.start, "ns"))
    coldest = float(one["air_temperature"].values[0, before].min()) - ZERO_CELSIUS
    return Night(day, event, issue, one, members, real, climate, ground, coldest)


def forecast(real: xr.Dataset, site: Site, key: list[int]) -> xr.Dataset:
    """One run with the errors of its lead, drawn round what came."""
    drawn = ensemble.members(real, site, 31, seed=int(np.random.SeedSequence(key).generate_state(1)[0]))
    pick = int(np.random.default_rng(key).integers(31))
    return drawn.isel(realization=[pick]).assign_coords(realization=[0])


def seen(one: xr.Dataset, site: Site, seed: int, number: int, climate: dress.Climate) -> xr.Dataset:
    """What the planner makes of it: members, with the same draws for one event in every issue."""
    return ensemble.members(one, site, 31, seed=500_000 + 1000 * seed + number, climate=climate)


def fixed_plans(case: Case) -> dict[str, Choice]:
    """The rules' plans and a grid of others, by name; the same slots every night."""
    lay, lift = case.allow.lay[0], case.allow.lift[0]
    evening = [slot for slot in lay if case.clock.begins(slot).hour in (21, 22, 23, 0, 1, 2, 3)]
    ons = sorted({*evening[::3], *lay[::8]})
    offs = sorted({*lift[-1:], *lift[-4:-3], *lift[len(lift) // 2 : len(lift) // 2 + 1]})
    made = [Choice((Spell(1, on, off),)) for on in ons for off in offs]
    spells = [NOTHING, *(choice for choice in made if case.possible(choice))]
    heats = [((), 0.0), *(((start,), boost) for start in range(0, 96, 8) for boost in (0.0, 4.0, 8.0))]
    grid = [replace(choice, heat=heat, boost=boost) for choice in spells for heat, boost in heats]
    last_evening = [slot for slot in lay if case.clock.begins(slot) >= case.events[0].start - timedelta(hours=20)]
    cover = Choice((Spell(1, last_evening[0], lift[-1]),)) if last_evening and lift else NOTHING
    named = {"nothing": NOTHING, "cover": cover, "thermostat": Choice(heat=(0,), boost=2.0)}
    return named | {f"grid {number}": choice for number, choice in enumerate(grid)}
