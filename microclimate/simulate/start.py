"""The first state of the ground with its range: readings laid over a saved state, past weather, or else the season.

Never a spin-up on the forecast itself. What was used stands in the attributes, as codes that `report` turns to words.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.column import layers
from microclimate.constants import ZERO_CELSIUS
from microclimate.fieldlog.readings import Spot
from microclimate.schema import INITIAL_VARIABLES, seal
from microclimate.simulate import start_file, start_past, start_readings, start_season, start_water
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

MODEL_ERROR = 0.7  # [K] of ground that past weather was run through, one standard deviation (ours: 0.6-1.2 K measured)
AGEING = 1.0  # [K] what a saved state loses in 36 h (ours)
_SEED = 11
_TEMPERATURE, _WATER, _ERROR, _READING = range(4)  # each laid over the realizations in its own order
_SHOWN_DEPTH = 0.05  # [m] at which the spread is told


@dataclass(frozen=True)
class _Guess:
    """A first guess, its range already laid over the realizations."""

    source: str
    soil_temperature: Array  # (realization, patch, layer) [K]
    frozen_fraction: Array
    water_content: Array
    surface: dict[str, Array]  # (realization, patch) the other variables of schema.INITIAL_VARIABLES
    spread: float  # [K] least standard deviation of its error, for weighing readings
    attrs: dict[str, object]


def states(
    venue: Venue,
    patches: xr.Dataset,
    realizations: int,
    when: np.datetime64,
    *,
    readings: Sequence[Spot] = (),
    past: Iterable[xr.Dataset] | None = None,
    saved: xr.Dataset | None = None,
    ahead: Iterable[xr.Dataset] | None = None,
) -> xr.Dataset:
    """The ground at the start of a run.

    Parameters
    ----------
    venue : Venue
        Zones, their layers and base.
    patches : Dataset
        `patch` with coordinates `zone` and `zone_index`.
    realizations : int
        How many; the range of the start is laid over them. One alone gets the middle.
    when : datetime64
        UTC, the start.
    readings : sequence of Spot
        Taken within 12 h of the start.
    past : iterable of Forcing Datasets, optional
        The last 10 to 30 days on the same patches; its first realization is used, up to `when`.
    saved : Dataset, optional
        States of an earlier run (`start_file.load`); used when not older than 36 h.
    ahead : iterable of Forcing Datasets, optional
        Of the run itself. Readings taken after `when` are held against where its first realization has carried the
        guess by then, not against the guess at `when`; the few hours are all that is taken from it.

    Returns
    -------
    Dataset
        `schema.INITIAL_VARIABLES`; coordinates `depth` and `thickness` (patch, layer) [m], `zone` (patch), and
        `start_anomaly` (realization) [K]; attributes `start_source` (readings, saved, past or season), `start_guess`
        (what the readings were laid over), `start_count`, `start_when`, `start_days`, `start_spread` [K at 50 mm],
        `water_source` (readings, rain, saved or build).
    """
    when = when.astype("datetime64[ns]")
    zone_index = patches["zone_index"].values.astype(int)
    zones = [venue.field.zones[index] for index in zone_index]
    grids = {built: _wetted(layers.grid(built), venue) for built in dict.fromkeys(zone.layers for zone in zones)}
    cuts = [grids[zone.layers] for zone in zones]
    depth = np.stack([cut.depth for cut in cuts])
    builds: dict[object, int] = {}
    build = np.array([builds.setdefault((zone.layers, zone.base, zone.circuit), len(builds)) for zone in zones])
    grid = start_readings.Grid(depth, np.array([zone.name for zone in zones]), build)
    guess = _guess(venue, patches, cuts, realizations, when, past, saved)
    readings = [spot for spot in readings if spot.zone in grid.zone]
    wet = start_readings.usable(readings, when, ["water_content"])
    warm = start_readings.usable(readings, when, ["soil_temperature", "canopy_temperature"])
    water, water_source = guess.water_content, str(guess.attrs["water_source"])
    if wet:
        share = start_readings.factor(wet, grid, water.mean(axis=0))
        water = np.where(_holds(cuts), np.clip(water * share[:, None], 0.0, _porosity(cuts)), water)
        water_source = "readings"
    temperature, frozen = guess.soil_temperature, guess.frozen_fraction
    attrs: dict[str, object] = {**guess.attrs, "start_source": guess.source, "start_guess": guess.source}
    if warm:
        spread = np.maximum(temperature.std(axis=0), guess.spread)
        later = [spot.time for spot in warm if spot.time > when]
        change = {} if ahead is None else start_past.changes(ahead, venue, _middle(guess, patches, cuts), when, later)
        temperature = start_readings.adjusted(temperature, spread, grid, warm, when, _SEED + _READING, change)
        last = max(spot.time for spot in warm)
        attrs |= {"start_source": "readings", "start_count": len(warm), "start_when": _iso(last)}
        guess.surface["canopy_temperature"] += temperature[..., 0] - guess.soil_temperature[..., 0]
    frozen = _consistent(cuts, water, temperature, frozen)
    shown = np.stack([_interpolated(temperature[:, p], depth[p], _SHOWN_DEPTH) for p in range(len(zones))], axis=-1)
    attrs |= {"start_spread": float(shown.std(axis=0).mean()), "water_source": water_source}
    dataset = _dataset(patches, cuts, temperature, frozen, water, guess.surface).assign_attrs(attrs)
    anomaly = ("realization", shown.mean(axis=1) - shown.mean(), {"units": "K"})
    dataset = dataset.assign_coords(realization=np.arange(realizations), start_anomaly=anomaly)
    return seal(dataset, INITIAL_VARIABLES, "start state")


def _wetted(cut: layers.Grid, venue: Venue) -> layers.Grid:
    """Layers with the water as built times what readings have taught of it."""
    factor = venue.calibration.water_factor
    return cut if factor == 1.0 else replace(cut, water_content=np.minimum(factor * cut.water_content, cut.porosity))


def share(initial: xr.Dataset, lowest: Array) -> float:
    """Share of the range of an answer that hangs on the start [0..1], NaN where nothing can be said.

    Parameters
    ----------
    initial : Dataset
        From `states`.
    lowest : (realization,)
        The answer of each realization, for example its lowest canopy temperature [K].

    Returns
    -------
    float
        Squared correlation with the start's anomaly, less what chance alone gives (adjusted for one regressor).
    """
    anomaly = initial["start_anomaly"].values
    known = np.isfinite(lowest)
    count = int(known.sum())
    if count < 8 or anomaly[known].std() < 1e-9 or lowest[known].std() < 1e-9:
        return float("nan")
    squared = float(np.corrcoef(anomaly[known], lowest[known])[0, 1] ** 2)
    return max(0.0, 1.0 - (1.0 - squared) * (count - 1) / (count - 2))


def _guess(
    venue: Venue,
    patches: xr.Dataset,
    cuts: Sequence[layers.Grid],
    realizations: int,
    when: np.datetime64,
    past: Iterable[xr.Dataset] | None,
    saved: xr.Dataset | None,
) -> _Guess:
    scores = start_readings.normal_scores(realizations, 3, _SEED)
    begun: xr.Dataset | None = None
    if saved is not None and 0.0 <= start_file.age(saved, when) <= start_file.OLDEST:
        begun = start_file.matched(saved, patches, cuts)
    lived = (
        None if past is None else start_past.trimmed(past, when, None if begun is None else start_file.moment(begun))
    )
    if lived is not None:
        return _from_past(venue, patches, cuts, when, lived, begun, scores)
    if begun is not None:
        return _from_saved(begun, cuts, when, scores)
    return _from_season(venue, patches, cuts, when, scores)


def _from_season(
    venue: Venue, patches: xr.Dataset, cuts: Sequence[layers.Grid], when: np.datetime64, scores: Array
) -> _Guess:
    middle = season(venue, patches, cuts, when)
    temperature = middle["soil_temperature"].values + start_season.SPREAD * scores[:, None, None, _TEMPERATURE]
    water = _spread_water(cuts, middle["water_content"].values, scores)
    surface = _surface(middle, len(scores))
    surface["canopy_temperature"] = temperature[..., 0].copy()
    frozen = _consistent(cuts, water, temperature, np.zeros_like(temperature))
    return _Guess("season", temperature, frozen, water, surface, start_season.SPREAD, {"water_source": "build"})


def _from_saved(begun: xr.Dataset, cuts: Sequence[layers.Grid], when: np.datetime64, scores: Array) -> _Guess:
    rows = np.resize(np.arange(begun.sizes["realization"]), len(scores))
    chosen = begun.isel(realization=rows)
    aged = AGEING * start_file.age(begun, when) / start_file.OLDEST
    temperature = chosen["soil_temperature"].values + aged * scores[:, None, None, _ERROR]
    water = chosen["water_content"].values
    frozen = _consistent(cuts, water, temperature, chosen["frozen_fraction"].values)
    attrs: dict[str, object] = {"start_when": _iso(start_file.moment(begun)), "water_source": "saved"}
    return _Guess("saved", temperature, frozen, water, _surface(chosen, len(scores)), MODEL_ERROR, attrs)


def _from_past(
    venue: Venue,
    patches: xr.Dataset,
    cuts: Sequence[layers.Grid],
    when: np.datetime64,
    lived: start_past.Lived,
    begun: xr.Dataset | None,
    scores: Array,
) -> _Guess:
    """Past weather run from a middle start and from one a standard deviation to each side; straight lines between."""
    middle = season(venue, patches, cuts, lived.start) if begun is None else begun.mean("realization", keepdims=True)
    if begun is None:
        middle = start_past.warmed(middle, np.stack([cut.depth for cut in cuts]), lived)
    porosity, holds = _porosity(cuts), _holds(cuts)
    drained = middle["water_content"].values[0]
    wet = start_past.water(lived, np.stack([cut.depth for cut in cuts]), drained, porosity, holds)
    spread = start_season.SPREAD if begun is None else MODEL_ERROR

    def run(warmer: float, wetter: float) -> tuple[xr.Dataset, Array]:
        moist = np.where(holds, np.clip(wet + wetter * start_water.SPREAD, 0.02, porosity), wet)[None]
        warm = middle["soil_temperature"].values + warmer * spread
        first = middle.assign(
            soil_temperature=(middle["soil_temperature"].dims, warm),
            water_content=(middle["water_content"].dims, moist),
            frozen_fraction=(
                middle["frozen_fraction"].dims,
                _consistent(cuts, moist, warm, middle["frozen_fraction"].values),
            ),
        )
        done = lived.run(venue, first)
        return done, _tau(cuts, done)

    count = len(scores)
    about = ((0.0, 0.0), (1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)) if count > 1 else ((0.0, 0.0),)
    (done, tau), *beside = (run(*way) for way in about)
    if beside:
        by_start, by_water = (0.5 * (beside[up][1] - beside[up + 1][1]) for up in (0, 2))
        own = scores[:, None, None, :]
        tau = tau + own[..., _TEMPERATURE] * by_start + own[..., _WATER] * by_water
    water = _spread_water(cuts, wet[None], scores)
    temperature, frozen = _from_tau(cuts, water, tau)
    error = MODEL_ERROR * scores[:, None, None, _ERROR]
    frozen = _consistent(cuts, water, temperature + error, frozen)
    surface = _surface(done, count)
    surface["canopy_temperature"] = surface["canopy_temperature"] + error[..., 0]
    attrs: dict[str, object] = {"start_days": round(lived.days, 0 if lived.days >= 2.0 else 2), "water_source": "rain"}
    return _Guess("past", temperature + error, frozen, water, surface, MODEL_ERROR, attrs)


def season(venue: Venue, patches: xr.Dataset, cuts: Sequence[layers.Grid], when: np.datetime64) -> xr.Dataset:
    """One realization of the ground as the season would have it, dry leaf, no snow, water as built."""
    rows = []
    for index, cut in zip(patches["zone_index"].values.astype(int), cuts, strict=True):
        known = layers.properties(cut, cut.water_content)
        resistance = (cut.thickness / known.conductivity_unfrozen).sum()
        capacity = (cut.thickness * known.capacity_unfrozen).sum()
        diffusivity = float(cut.thickness.sum() ** 2 / (resistance * capacity))
        base = venue.field.zones[index].base
        rows.append(start_season.profile(venue.site.site, base, cut.depth, diffusivity, when))
    temperature = np.stack(rows)[None]
    water = np.stack([cut.water_content for cut in cuts])[None]
    plain = [name for name, var in INITIAL_VARIABLES.items() if "layer" not in var.dims]
    surface = dict.fromkeys(plain, np.zeros(temperature.shape[:2])) | {"canopy_temperature": temperature[..., 0]}
    frozen = _consistent(cuts, water, temperature, np.zeros_like(temperature))
    return _dataset(patches, cuts, temperature, frozen, water, surface)


def _dataset(
    patches: xr.Dataset,
    cuts: Sequence[layers.Grid],
    temperature: Array,
    frozen: Array,
    water: Array,
    surface: Mapping[str, Array],
) -> xr.Dataset:
    three, two = ("realization", "patch", "layer"), ("realization", "patch")
    return xr.Dataset(
        {
            "soil_temperature": (three, temperature),
            "frozen_fraction": (three, frozen),
            "water_content": (three, water),
            **{name: (two, values) for name, values in surface.items()},
        },
        coords={
            "depth": (("patch", "layer"), np.stack([cut.depth for cut in cuts]), {"units": "m"}),
            "thickness": (("patch", "layer"), np.stack([cut.thickness for cut in cuts]), {"units": "m"}),
            **{
                name: ("patch", patches[name].values)
                for name in ("zone", "zone_index", "part")
                if name in patches.coords
            },
        },
    )


def _middle(guess: _Guess, patches: xr.Dataset, cuts: Sequence[layers.Grid]) -> xr.Dataset:
    """The mean of a guess's realizations as one."""

    def mean(values: Array) -> Array:
        kept: Array = values.mean(axis=0, keepdims=True)
        return kept

    temperature, water = mean(guess.soil_temperature), mean(guess.water_content)
    frozen = _consistent(cuts, water, temperature, mean(guess.frozen_fraction))
    surface = {name: mean(values) for name, values in guess.surface.items()}
    return _dataset(patches, cuts, temperature, frozen, water, surface)


def _surface(states: xr.Dataset, count: int) -> dict[str, Array]:
    names = [name for name, var in INITIAL_VARIABLES.items() if "layer" not in var.dims]
    rows = np.resize(np.arange(states.sizes["realization"]), count)
    return {name: states[name].transpose("realization", "patch").values[rows].copy() for name in names}


def _porosity(cuts: Sequence[layers.Grid]) -> Array:
    return np.stack([cut.porosity for cut in cuts])


def _holds(cuts: Sequence[layers.Grid]) -> NDArray[np.bool_]:
    """(patch, layer) True where the root zone's water comes and goes."""
    return np.stack(
        [(cut.porosity > 0.0) & np.isnan(cut.fixed_conductivity) & (cut.depth <= start_water.DEPTH) for cut in cuts]
    )


def _spread_water(cuts: Sequence[layers.Grid], water: Array, scores: Array) -> Array:
    laid = water + start_water.SPREAD * scores[:, None, None, _WATER]
    return np.where(_holds(cuts), np.clip(laid, 0.02, _porosity(cuts)), water)


def _parameters(cuts: Sequence[layers.Grid], water: Array) -> Array:
    """(realization, patch, layer, parameter)"""
    found = np.empty((*water.shape, layers.LAYER_PARAMETERS))
    for cut in {id(cut): cut for cut in cuts}.values():  # patches of one build in one go
        mine = [p for p, own in enumerate(cuts) if own is cut]
        found[:, mine] = layers.kernel_parameters(layers.properties(cut, water[:, mine]))
    return found


def _consistent(cuts: Sequence[layers.Grid], water: Array, temperature: Array, frozen: Array) -> Array:
    """The frozen share that goes with a temperature [K]; inside the freezing range the share given."""
    known = _parameters(cuts, np.broadcast_to(water, temperature.shape))
    heat = layers.enthalpy(known, temperature - ZERO_CELSIUS, np.broadcast_to(frozen, temperature.shape))
    return layers.temperature(known, heat)[1]


def _tau(cuts: Sequence[layers.Grid], states: xr.Dataset) -> Array:
    """Enthalpy over unfrozen heat capacity [K]: goes on evenly through freezing, so that states may be mixed."""
    known = _parameters(cuts, states["water_content"].values)
    degrees = states["soil_temperature"].values - ZERO_CELSIUS
    return layers.enthalpy(known, degrees, states["frozen_fraction"].values) * known[..., 0]


def _from_tau(cuts: Sequence[layers.Grid], water: Array, tau: Array) -> tuple[Array, Array]:
    known = _parameters(cuts, water)
    degrees, frozen = layers.temperature(known, np.broadcast_to(tau, water.shape) / known[..., 0])
    return degrees + ZERO_CELSIUS, frozen


def _interpolated(profiles: Array, depth: Array, wanted: float) -> Array:
    return np.array([np.interp(wanted, depth, profile) for profile in profiles])


def _iso(time: np.datetime64) -> str:
    return str(time.astype("datetime64[s]")) + "Z"
