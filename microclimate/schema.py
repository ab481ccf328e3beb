"""The sealed Datasets that travel between rooms, and the small frozen types several rooms speak of.

A Dataset is described once, here: dimensions in order, unit, CF standard name, plausible range. `seal` checks one
against its description, labels it, or refuses it with every fault named. Inside the package everything is SI with
kelvin; time is UTC and names the END of its interval; direction is in the name.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum

import numpy as np
import xarray as xr

from microclimate.errors import InputError, Problem

FORMAT = 1  # of every file we write: older ones are read, newer ones refused by name


class SurfaceState(IntEnum):
    """What a patch of surface is, mildest first; each patch is in exactly one at every time (`physics.ladder`)."""

    OPEN = 0
    NEAR_FREEZING = 1
    COLD_AND_DRY = 2
    WHITE_FROST = 3
    CRUST = 4
    FROZEN_LAYER = 5
    THAWED_OVER_FROZEN = 6
    ICE_FILM = 7
    SNOW_OR_SLUSH = 8


STATE_WORDS: Mapping[SurfaceState, str] = {
    SurfaceState.OPEN: "open",
    SurfaceState.NEAR_FREEZING: "near freezing",
    SurfaceState.COLD_AND_DRY: "cold and dry",
    SurfaceState.WHITE_FROST: "white frost",
    SurfaceState.CRUST: "crust",
    SurfaceState.FROZEN_LAYER: "frozen layer",
    SurfaceState.THAWED_OVER_FROZEN: "thawed over frozen",
    SurfaceState.ICE_FILM: "ice film",
    SurfaceState.SNOW_OR_SLUSH: "snow or slush",
}
STATE_NAMES = tuple(STATE_WORDS[state] for state in SurfaceState)

REPORT_DEPTHS = (0.025, 0.050, 0.100)  # [m] root-zone depths every answer gives


@dataclass(frozen=True)
class Site:
    """Where a weather series belongs."""

    name: str
    latitude: float  # [degree north]
    longitude: float  # [degree east]
    elevation: float  # [m]
    time_zone: str  # IANA name
    clear_sky: str = ""  # formula of the clear sky's longwave, a key of `weather.sky.CLEAR_SKIES`; "": the default


@dataclass(frozen=True)
class Event:
    """A use of the field; a window in which its state matters. Times are UTC, naive datetime64-compatible."""

    name: str
    start: datetime
    end: datetime
    kind: str = "game"
    marks: tuple[tuple[str, datetime], ...] = ()  # gates, warm-up, walk-through: what comes before it, by name


@dataclass(frozen=True)
class Advice:
    """One line of advice: what, where, by when, and why."""

    action: str
    zones: tuple[str, ...]
    start_by: datetime | None
    reason: str


@dataclass(frozen=True)
class Var:
    """One variable: dimensions in order, unit, CF standard name, meaning and plausible range."""

    dims: tuple[str, ...]
    units: str
    standard_name: str | None
    long_name: str
    low: float = -np.inf
    high: float = np.inf
    cell_methods: str = "time: point"
    gaps: bool = False  # may hold NaN


SERIES = ("realization", "time")
PATCH = ("realization", "patch", "time")
PLAN = ("plan", "zone", "time")
OUTCOME = ("plan", "realization", "patch", "event")
STATES = ("plan", "realization", "patch", "time")
RISK = ("zone", "event")

MEAN = "time: mean"

WEATHER: Mapping[str, Var] = {
    "air_temperature": Var(SERIES, "K", "air_temperature", "air temperature at 2 m", 200, 340, gaps=True),
    "dew_point_temperature": Var(SERIES, "K", "dew_point_temperature", "dew point at 2 m", 180, 320, gaps=True),
    "wind_speed": Var(SERIES, "m s-1", "wind_speed", "wind at `wind_height`", 0, 75, gaps=True),
    "wind_speed_of_gust": Var(SERIES, "m s-1", "wind_speed_of_gust", "gust at `wind_height`", 0, 110, gaps=True),
    "wind_from_direction": Var(SERIES, "degree", "wind_from_direction", "where the wind comes from", 0, 360, gaps=True),
    "surface_air_pressure": Var(SERIES, "Pa", "surface_air_pressure", "air pressure", 5e4, 1.1e5, gaps=True),
    "cloud_area_fraction": Var(SERIES, "1", "cloud_area_fraction", "cloud cover", 0, 1, gaps=True),
    "precipitation_flux": Var(SERIES, "kg m-2 s-1", "precipitation_flux", "rain and snow", 0, 0.2, MEAN, True),
    "snowfall_flux": Var(SERIES, "kg m-2 s-1", "snowfall_flux", "snow in it", 0, 0.2, MEAN, True),
    "surface_downwelling_shortwave_flux_in_air": Var(
        SERIES, "W m-2", "surface_downwelling_shortwave_flux_in_air", "sun and sky on open ground", 0, 1600, MEAN, True
    ),
    "surface_direct_downwelling_shortwave_flux_in_air": Var(
        SERIES, "W m-2", "surface_direct_downwelling_shortwave_flux_in_air", "sun on open ground", 0, 1400, MEAN, True
    ),
    "surface_diffuse_downwelling_shortwave_flux_in_air": Var(
        SERIES, "W m-2", "surface_diffuse_downwelling_shortwave_flux_in_air", "sky on open ground", 0, 900, MEAN, True
    ),
    "surface_downwelling_longwave_flux_in_air": Var(
        SERIES, "W m-2", "surface_downwelling_longwave_flux_in_air", "longwave of the open sky", 80, 600, MEAN, True
    ),
}

FORCING: Mapping[str, Var] = {
    "air_temperature": Var(PATCH, "K", "air_temperature", "air over the patch", 200, 340, MEAN, True),
    "specific_humidity": Var(PATCH, "1", "specific_humidity", "humidity over the patch", 0, 0.05, MEAN, True),
    "wind_speed": Var(
        PATCH, "m s-1", "wind_speed", "sheltered wind over the patch at `wind_height`", 0, 75, MEAN, True
    ),
    "wind_speed_of_gust": Var(PATCH, "m s-1", "wind_speed_of_gust", "sheltered gust", 0, 110, MEAN, True),
    "surface_air_pressure": Var(PATCH, "Pa", "surface_air_pressure", "air pressure", 5e4, 1.1e5, MEAN, True),
    "precipitation_flux": Var(PATCH, "kg m-2 s-1", "precipitation_flux", "after roofs", 0, 0.2, MEAN, True),
    "snowfall_flux": Var(PATCH, "kg m-2 s-1", "snowfall_flux", "after roofs", 0, 0.2, MEAN, True),
    "shortwave_sun_down": Var(
        PATCH, "W m-2", None, "shortwave straight from the sun, above any cover", 0, 1400, MEAN, True
    ),
    "shortwave_sky_down": Var(PATCH, "W m-2", None, "shortwave from the sky, above any cover", 0, 900, MEAN, True),
    "shortwave_stands_down": Var(PATCH, "W m-2", None, "shortwave off the stands, above any cover", 0, 900, MEAN, True),
    "longwave_sky_down": Var(PATCH, "W m-2", None, "longwave from the visible sky", 0, 600, MEAN, True),
    "longwave_stands_down": Var(PATCH, "W m-2", None, "longwave from the stands", 0, 700, MEAN, True),
    "sunlit_fraction": Var(PATCH, "1", None, "share of the interval and patch in direct sun", 0, 1, MEAN, True),
    "under_tray_air_temperature": Var(PATCH, "K", None, "air below trays", 200, 340, MEAN, True),
}

PLAN_VARIABLES: Mapping[str, Var] = {
    "cover": Var(PLAN, "1", None, "0 none, else 1 + number of the cover in the venue", 0, 99, MEAN),
    "cover_raised": Var(PLAN, "1", None, "cover raised off the leaf", 0, 1, MEAN),
    "warm_air_flow": Var(PLAN, "m3 m-2 s-1", None, "warm air blown under the cover", 0, 1, MEAN),
    "warm_air_temperature": Var(PLAN, "K", None, "of that air", 250, 400, MEAN),
    "heating_allowed": Var(PLAN, "1", None, "root-zone heating may run", 0, 1, MEAN),
    "set_point": Var(PLAN, "K", None, "of the heating's probe", 250, 320, MEAN),
    "supply_temperature": Var(PLAN, "K", None, "of the heating water", 250, 370, MEAN),
    "skirts_closed": Var(PLAN, "1", None, "space below trays closed against draught", 0, 1, MEAN),
    "snow_removed": Var(PLAN, "1", None, "snow cleared in the interval", 0, 1, MEAN),
}

OUTCOME_VARIABLES: Mapping[str, Var] = {
    "worst_surface_state": Var(OUTCOME, "1", None, "worst surface state in the window", 0, 8, gaps=True),
    "final_surface_state": Var(OUTCOME, "1", None, "surface state at the end of the window", 0, 8, gaps=True),
    "hours_in_state": Var((*OUTCOME, "state"), "h", None, "time spent in each state", 0, 1e5, "time: sum", True),
    "canopy_temperature_min": Var(OUTCOME, "K", "canopy_temperature", "lowest", 180, 350, "time: minimum", True),
    "canopy_temperature_min_time": Var(OUTCOME, "", None, "when"),
    "soil_temperature_min": Var(
        (*OUTCOME, "depth"), "K", "soil_temperature", "lowest in the root zone", 180, 350, "time: minimum", True
    ),
    "soil_temperature_min_time": Var((*OUTCOME, "depth"), "", None, "when"),
    "onset_time": Var(OUTCOME, "", None, "first time the canopy is below 0 degC in the window (NaT: never)"),
    "heating_energy": Var(OUTCOME, "J m-2", None, "heat put into the root zone", 0, np.inf, "time: sum", True),
    "heating_power_max": Var(OUTCOME, "W m-2", None, "highest heating power", 0, 5000, "time: maximum", True),
    "heating_hours": Var(OUTCOME, "h", None, "time in which heat ran", 0, 1e5, "time: sum", True),
    "coverage": Var(OUTCOME, "1", None, "share of the window that could be simulated", 0, 1, "time: mean"),
}

RISK_VARIABLES: Mapping[str, Var] = {
    "probability": Var((*RISK, "state"), "1", None, "chance that this is the zone's worst state", 0, 1, gaps=True),
    "probability_low": Var((*RISK, "state"), "1", None, "its range, low", 0, 1, gaps=True),
    "probability_high": Var((*RISK, "state"), "1", None, "its range, high", 0, 1, gaps=True),
    "probability_reached": Var(
        (*RISK, "state"),
        "1",
        None,
        "chance that this state or a worse one occurs anywhere in the zone",
        0,
        1,
        gaps=True,
    ),
    "probability_reached_low": Var((*RISK, "state"), "1", None, "its range, low", 0, 1, gaps=True),
    "probability_reached_high": Var((*RISK, "state"), "1", None, "its range, high", 0, 1, gaps=True),
    "canopy_temperature_worst": Var(
        (*RISK, "quantile"), "K", "canopy_temperature", "lowest canopy, coldest patch", 180, 350, gaps=True
    ),
    "canopy_temperature_median": Var(
        (*RISK, "quantile"), "K", "canopy_temperature", "lowest canopy, median patch", 180, 350, gaps=True
    ),
    "canopy_temperature_worst_time": Var(RISK, "", None, "when, in the median realization"),
    "soil_temperature_worst": Var(
        (*RISK, "depth", "quantile"), "K", "soil_temperature", "lowest root zone, coldest patch", 180, 350, gaps=True
    ),
    "soil_temperature_median": Var(
        (*RISK, "depth", "quantile"), "K", "soil_temperature", "lowest root zone, median patch", 180, 350, gaps=True
    ),
    "soil_temperature_worst_time": Var((*RISK, "depth"), "", None, "when, in the median realization"),
    "onset_time": Var(RISK, "", None, "median time of first canopy frost, where it comes in at least half the cases"),
    "worst_area": Var(RISK, "m2", None, "area of the patches that share the zone's worst likely state", 0, 1e6),
    "coverage": Var(RISK, "1", None, "share of realizations that reach the end of the window", 0, 1),
}

INITIAL_LAYER = ("realization", "patch", "layer")
INITIAL_PATCH = ("realization", "patch")
INITIAL_VARIABLES: Mapping[str, Var] = {
    "soil_temperature": Var(INITIAL_LAYER, "K", "soil_temperature", "at the start", 200, 340),
    "frozen_fraction": Var(INITIAL_LAYER, "1", None, "share of the water that is ice", 0, 1),
    "water_content": Var(
        INITIAL_LAYER, "1", "volume_fraction_of_condensed_water_in_soil", "water and ice, held through the run", 0, 1
    ),
    "canopy_temperature": Var(INITIAL_PATCH, "K", "canopy_temperature", "at the start", 200, 340),
    "leaf_water": Var(INITIAL_PATCH, "kg m-2", None, "water on the leaf", 0, 10),
    "leaf_frost": Var(INITIAL_PATCH, "kg m-2", None, "frost and ice on the leaf", 0, 50),
    "snow_amount": Var(INITIAL_PATCH, "kg m-2", "surface_snow_amount", "snow lying", 0, 1000),
    "snow_depth": Var(INITIAL_PATCH, "m", "surface_snow_thickness", "snow lying", 0, 10),
}

STATES_VARIABLES: Mapping[str, Var] = {
    "canopy_temperature": Var(STATES, "K", "canopy_temperature", "leaf", 180, 360, gaps=True),
    "surface_temperature": Var(
        STATES, "K", "surface_temperature", "what faces the sky: leaf, snow or cover", 180, 360, gaps=True
    ),
    "surface_state": Var(STATES, "1", None, "surface state", 0, 8, gaps=True),
    "soil_temperature": Var((*STATES, "layer"), "K", "soil_temperature", "root zone", 180, 360, gaps=True),
    "frozen_fraction": Var((*STATES, "layer"), "1", None, "share of the water that is ice", 0, 1, gaps=True),
    "leaf_water": Var(STATES, "kg m-2", None, "water on the leaf", 0, 20, gaps=True),
    "leaf_frost": Var(STATES, "kg m-2", None, "frost and ice on the leaf", 0, 50, gaps=True),
    "snow_amount": Var(STATES, "kg m-2", "surface_snow_amount", "snow lying", 0, 1000, gaps=True),
    "snow_depth": Var(STATES, "m", "surface_snow_thickness", "snow lying", 0, 10, gaps=True),
    "heating_power": Var(STATES, "W m-2", None, "heat put into the root zone", 0, 5000, MEAN, True),
    "net_radiation": Var(
        STATES, "W m-2", "surface_net_downward_radiative_flux", "down positive", -1e4, 1e4, MEAN, True
    ),
    "sensible_heat_up": Var(STATES, "W m-2", "surface_upward_sensible_heat_flux", "to the air", -1e4, 1e4, MEAN, True),
    "latent_heat_up": Var(STATES, "W m-2", "surface_upward_latent_heat_flux", "to the air", -1e4, 1e4, MEAN, True),
    "ground_heat_down": Var(STATES, "W m-2", "downward_heat_flux_in_soil", "into the soil", -1e4, 1e4, MEAN, True),
}

DAY = ("patch", "day")
SUM, COUNT = "time: sum", "time: sum within days"

DAYS: Mapping[str, Var] = {
    "sunlit_hours": Var(DAY, "h", None, "direct sun", 0, 25, SUM),
    "energy_sun": Var(DAY, "J m-2", None, "shortwave straight from the sun, above any cover", 0, 1e8, SUM),
    "energy_sky": Var(DAY, "J m-2", None, "shortwave from the sky, above any cover", 0, 1e8, SUM),
    "energy_stands": Var(DAY, "J m-2", None, "shortwave off the stands, above any cover", 0, 1e8, SUM),
    "light_integral": Var(DAY, "mol m-2", None, "photons for growth, above any cover", 0, 200, SUM),
    "longwave_sky": Var(DAY, "W m-2", None, "longwave from the visible sky", 0, 600, MEAN),
    "longwave_stands": Var(DAY, "W m-2", None, "longwave from the stands", 0, 700, MEAN),
    "air_temperature": Var(DAY, "K", "air_temperature", "air over the patch", 180, 340, MEAN),
    "air_temperature_min": Var(DAY, "K", "air_temperature", "air over the patch, lowest", 180, 340, "time: minimum"),
    "air_temperature_max": Var(DAY, "K", "air_temperature", "air over the patch, highest", 180, 340, "time: maximum"),
    "canopy_temperature": Var(DAY, "K", "canopy_temperature", "leaf", 180, 360, MEAN),
    "canopy_temperature_min": Var(DAY, "K", "canopy_temperature", "leaf, lowest", 180, 360, "time: minimum"),
    "canopy_temperature_max": Var(DAY, "K", "canopy_temperature", "leaf, highest", 180, 360, "time: maximum"),
    "soil_temperature": Var((*DAY, "depth"), "K", "soil_temperature", "root zone", 180, 360, MEAN),
    "soil_temperature_min": Var((*DAY, "depth"), "K", "soil_temperature", "lowest", 180, 360, "time: minimum"),
    "soil_temperature_max": Var((*DAY, "depth"), "K", "soil_temperature", "highest", 180, 360, "time: maximum"),
    "crown_temperature": Var(DAY, "K", None, "top layer of the root zone, where crowns sit", 180, 360, MEAN),
    "crown_temperature_min": Var(DAY, "K", None, "the same, lowest", 180, 360, "time: minimum"),
    "hours_in_state": Var((*DAY, "state"), "h", None, "time spent in each surface state", 0, 25, COUNT),
    "hours_frost": Var(DAY, "h", None, "canopy below 0 degC", 0, 25, COUNT),
    "hours_outside": Var(DAY, "h", None, "canopy or 25 mm below the limits for play", 0, 25, COUNT),
    "hours_shoot_cold": Var(DAY, "h", None, "100 mm too cold for shoots to grow", 0, 25, COUNT),
    "hours_root_cold": Var(DAY, "h", None, "100 mm too cold for roots to grow", 0, 25, COUNT),
    "hours_shoot_hot": Var(DAY, "h", None, "canopy too hot for shoots to grow", 0, 25, COUNT),
    "hours_root_hot": Var(DAY, "h", None, "100 mm too hot for roots to grow", 0, 25, COUNT),
    "hours_root_trouble": Var(DAY, "h", None, "100 mm so hot that roots suffer", 0, 25, COUNT),
    "hours_wet": Var(DAY, "h", None, "water or frost on the leaf", 0, 25, COUNT),
    "hours_mould": Var(DAY, "h", None, "leaf wet in the band of pink snow mould", 0, 25, COUNT),
    "hours_snow": Var(DAY, "h", None, "snow lying", 0, 25, COUNT),
    "snow_depth": Var(DAY, "m", "surface_snow_thickness", "snow lying", 0, 10, MEAN),
    "growth_index": Var(DAY, "1", None, "growth that the day's mean air temperature allows", 0, 1),
    "degree_days": Var(DAY, "K d", None, "growing degree days", 0, 60, SUM),
    "reference_evaporation": Var(DAY, "kg m-2", None, "of short grass under the patch's sky and air", -2, 30, SUM),
    "heating_energy": Var(DAY, "J m-2", None, "heat put into the root zone", 0, 1e9, SUM),
    "net_radiation": Var(DAY, "J m-2", None, "down positive", -1e8, 1e8, SUM),
    "sensible_heat_up": Var(DAY, "J m-2", None, "to the air", -1e8, 1e8, SUM),
    "latent_heat_up": Var(DAY, "J m-2", None, "to the air", -1e8, 1e8, SUM),
    "ground_heat_down": Var(DAY, "J m-2", None, "into the soil", -1e8, 1e8, SUM),
    "lt50": Var(DAY, "K", None, "crown that kills half the plants, as hardened: tender end", 220, 290),
    "lt50_low": Var(DAY, "K", None, "the same, hard end", 220, 290),
    "hardening_index": Var(DAY, "1", None, "0 tender, 1 as hard as the grass becomes", 0, 1),
}

OPTION = ("option",)
WINTER = ("option", "winter")
SIZING_VARIABLES: Mapping[str, Var] = {
    "held": Var(OPTION, "1", None, "share of event windows within the limits", 0, 1, gaps=True),
    "held_low": Var(OPTION, "1", None, "its range, low", 0, 1, gaps=True),
    "held_high": Var(OPTION, "1", None, "its range, high", 0, 1, gaps=True),
    "unfrozen": Var(OPTION, "1", None, "share of event windows without crust or worse", 0, 1, gaps=True),
    "margin": Var(OPTION, "K", None, "above the limit in nine of ten event windows", gaps=True),
    "held_by_event": Var(("option", "event"), "1", None, "share within the limits, by event", 0, 1, gaps=True),
    "held_by_group": Var(("option", "group"), "1", None, "share within the limits, by group", 0, 1, gaps=True),
    "held_by_limit": Var(("option", "limit"), "1", None, "share within each limit alone", 0, 1, gaps=True),
    "nights_lost": Var(WINTER, "1", None, "nights outside the limits", 0, 400, "time: sum"),
    "nights_frozen": Var(WINTER, "1", None, "nights with crust or worse", 0, 400, "time: sum"),
    "run_hours": Var(WINTER, "h", None, "longest of any group", 0, 1e5, "time: sum"),
    "heat": Var(WINTER, "J", None, "put into the root zone", 0, np.inf, "time: sum"),
    "heat_per_area": Var(WINTER, "J m-2", None, "the same over the heated area", 0, np.inf, "time: sum"),
    "power_mean": Var(WINTER, "W m-2", None, "over the whole season and the heated area", 0, 5000, MEAN),
    "power_max": Var(WINTER, "W m-2", None, "highest, over the heated area", 0, 5000, "time: maximum"),
    "fuel": Var(WINTER, "J", None, "fuel or current of the plant", 0, np.inf, "time: sum"),
    "cost": Var(WINTER, "1", None, "of fuel, current and crew", 0, np.inf, "time: sum", True),
    "co2": Var(WINTER, "kg", None, "of fuel and current", 0, np.inf, "time: sum", True),
    "laid": Var(WINTER, "1", None, "times the cover is laid and lifted", 0, 400, "time: sum"),
    "current": Var(WINTER, "J", None, "current of cables, beside the plant", 0, np.inf, "time: sum"),
}

OBSERVATIONS: Mapping[str, Var] = {
    "value": Var(("sensor", "time"), "", None, "reading in the SI unit of its sensor", gaps=True),
    "flag": Var(("sensor", "time"), "1", None, "0 unflagged, else why (bits)", 0, 65535),
}


def seal(dataset: xr.Dataset, variables: Mapping[str, Var], stage: str, *, extra: bool = False) -> xr.Dataset:
    """Check a Dataset against its description, label it and give it back.

    Parameters
    ----------
    dataset : Dataset
        Holds every name of `variables`, dimensions in any order.
    variables : mapping
        The description, one of those above.
    stage : str
        Name of the stage, for the message.
    extra : bool
        Other variables may ride along (they are left as they are).

    Returns
    -------
    Dataset
        The same data, dimensions in the described order, with `units`, `standard_name`, `long_name` and `cell_methods`.

    Raises
    ------
    InputError
        Every missing or surplus variable, wrong dimension, gap and value out of range, all at once.
    """
    problems: list[Problem] = []
    sealed: dict[str, xr.DataArray] = {}
    for name, var in variables.items():
        if name not in dataset:
            problems.append(Problem(name, "missing", f"{var.long_name} [{var.units or 'time'}]"))
            continue
        array = dataset[name]
        if set(array.dims) != set(var.dims):
            problems.append(Problem(name, f"dimensions {tuple(map(str, array.dims))}", str(var.dims)))
            continue
        array = array.transpose(*var.dims)
        if array.dtype.kind in "fiu":
            problems.extend(_out_of_range(name, var, array.values))
        attrs = {**array.attrs, "long_name": var.long_name, "cell_methods": var.cell_methods}
        if array.dtype.kind != "M":
            attrs["units"] = var.units
        if var.standard_name:
            attrs["standard_name"] = var.standard_name
        sealed[name] = array.assign_attrs(attrs)
    surplus = (
        [] if extra else [str(name) for name in dataset.data_vars if name not in variables and name != "time_bnds"]
    )
    problems.extend(Problem(name, "is not a variable of this stage") for name in surplus)
    if "time" in dataset.dims and dataset["time"].dtype.kind == "M" and dataset.sizes["time"] > 1:
        steps = np.diff(dataset["time"].values)
        if (steps <= np.timedelta64(0)).any():
            problems.append(Problem("time", "not rising", "each stamp later than the one before"))
    if problems:
        raise InputError(stage, problems)
    return dataset.assign(sealed)


def _out_of_range(name: str, var: Var, values: np.ndarray) -> list[Problem]:
    values = values if values.dtype.kind == "f" else values.astype(float)  # an integer has no infinity to start from
    finite = np.isfinite(values)
    if not finite.any():
        return [] if var.gaps else [Problem(name, "no value at all", f"[{var.units}]")]
    problems = []
    if not var.gaps and not finite.all():
        problems.append(Problem(name, f"{(~finite).sum()} of {values.size} values missing", "no gaps"))
    low, high = (
        float(np.min(values, where=finite, initial=np.inf)),
        float(np.max(values, where=finite, initial=-np.inf)),
    )
    if low < var.low or high > var.high:
        hint = "a Celsius series?" if var.units == "K" and high < 150 else ""
        problems.append(Problem(name, f"{low:g} to {high:g}", f"{var.low:g} to {var.high:g} {var.units}".strip(), hint))
    return problems
