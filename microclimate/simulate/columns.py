"""From the venue and the first state to the numbers the kernel holds of each column."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.column import layers, rows
from microclimate.column.lanes import HEATED, IN_SEARCH, IN_STUDS, IN_TOP, LAYER_GIVEN, PROBED, SIDE
from microclimate.column.store import COVER_NUMBERS, SKIN_CAPACITY, film_enthalpy, snow_enthalpy
from microclimate.constants import ZERO_CELSIUS
from microclimate.errors import InputError, Problem
from microclimate.physics import cover, heating, turbulence
from microclimate.schema import INITIAL_VARIABLES, REPORT_DEPTHS
from microclimate.venue.equipment import Circuit, Cover
from microclimate.venue.field import Zone, signed_area
from microclimate.venue.load import Venue

Array = NDArray[np.float64]

# what similarity needs of a surface. Snow 1 mm: 0.2-2 mm (from memory); a sheet 2 mm: ours. Heat a tenth of momentum:
# Garratt & Francey 1978, Boundary-Layer Meteorol. 15:399
SNOW_ROUGHNESS, SHEET_ROUGHNESS, HEAT_ROUGHNESS = 0.001, 0.002, 0.1
FILM_FULL = 0.3  # [kg m-2] water that a mown leaf holds (`physics.canopy`)
# pipe 25 x 2.3 mm of polyethylene, 0.35 W/mK: ln(25/20.4)/(2 pi 0.35) and the water's film: 0.1 (computed; ours)
PIPE_WALL = 0.1  # [m K W-1]
LEAF_CONTACT = 0.01  # [m] air between leaf and a sheet that lies on it (ours)
RAISED_LEAST = 0.5  # [m] air under a raised sheet is at least this (ours), and twice what it is lying
SHEET_HEAT = 1500.0  # [J kg-1 K-1] polyethylene and polyester 1300-1900 (from memory)
FLAPPING = 0.5  # [1] what flapping leaves of the air under a sheet (common practice, no source)
STILL_AIR = 5.0  # [W m-2 K-1] under trays with the skirts closed (ISO 6946, R about 0.2, from memory)
SIDE_FACE = 10.0  # [W m-2 K-1] open side of an edge module: inside surface plus some wind (from memory)
# exchange of the air below trays with outside, still and for a full draught: ours, no source
LEAK, DRAUGHT = 2.0, 30.0  # [W m-2 K-1]
SKIRTS_LEAVE = 0.2  # [1] of the exchange below trays that closed skirts leave, where a venue has none of its own (ours)
HEAT_OF_AIR = 1.2 * 1005.0  # [J m-3 K-1] of blown air near 20 degC
SNOW_ALBEDO = 0.75  # [1] of snow that lies already (ours)
DRY = 0.02  # [m3 m-3] layers with less water cannot be said to freeze (ours)


@dataclass(frozen=True)
class Columns:
    """Kernel inputs that do not change with time."""

    given: Array  # (patch, rows.GIVEN)
    layers: Array  # (patch, layer, LAYER_GIVEN)
    state: Array  # (patch, rows.KEPT)
    heat: Array  # (patch, layer)
    depth_places: Array  # (patch, 2 depths)
    shallow: int
    tables: Array  # (table, place)


def columns(
    venue: Venue, zone_index: NDArray[np.int64], initial: xr.Dataset, wind_height: float, temperature_height: float
) -> Columns:
    """Everything of all (realization, patch) pairs of a block, realizations outermost.

    `initial` has `schema.INITIAL_VARIABLES` for those realizations and patches.
    """
    zones = venue.field.zones
    count = initial.sizes["layer"]
    grids = {built: layers.grid(built, count) for built in dict.fromkeys(zone.layers for zone in zones)}
    cuts = [grids[zone.layers] for zone in zones]
    realizations = initial.sizes["realization"]
    pairs = realizations * zone_index.size
    turfs = list(dict.fromkeys(zone.turf.roughness_length for zone in zones))
    shape = (realizations, zone_index.size)
    given = np.zeros((*shape, rows.GIVEN))
    kernel = np.zeros((*shape, count, LAYER_GIVEN))
    heat = np.zeros((*shape, count))
    places = np.zeros((*shape, 2 * len(REPORT_DEPTHS)))
    state = np.zeros((*shape, rows.KEPT))
    shallow = 1
    known_of = {
        name: initial[name].variable.transpose("realization", "patch", ...).values for name in INITIAL_VARIABLES
    }
    for index in np.unique(zone_index):
        zone, cut = zones[index], cuts[index]
        mine = np.flatnonzero(zone_index == index)
        start = {name: values[:, mine] for name, values in known_of.items()}
        water = start["water_content"]
        known = _conducting(layers.properties(cut, _dried(water, zone, cut, venue)), cut, venue)
        one = np.zeros((realizations, mine.size, count, LAYER_GIVEN))
        one[..., : layers.LAYER_PARAMETERS] = layers.kernel_parameters(known)
        if zone.base.open_side is not None:
            one[..., SIDE] = side_conductance(known, zone.base.open_side)
        degrees = start["soil_temperature"] - ZERO_CELSIUS
        heat[:, mine] = layers.enthalpy(one[..., : layers.LAYER_PARAMETERS], degrees, start["frozen_fraction"])
        _ladder_rows(one, cut, water, venue)
        shallow = max(shallow, int(np.flatnonzero(cut.faces[:-1] < venue.limits.thaw_search_depth)[-1]) + 1)
        places[:, mine] = np.ravel([place(cut, depth) for depth in REPORT_DEPTHS])
        face = np.broadcast_to(_turf(zone, venue), (realizations, mine.size, rows.GIVEN)).copy()
        face[..., rows.LEAF_TABLE] = 2.0 + turfs.index(zone.turf.roughness_length)
        face[..., rows.BELOW_OPEN] = zone.base.conductance
        closed = zone.base.kind == "tray over draughty air"
        face[..., rows.BELOW_CLOSED] = STILL_AIR if closed else zone.base.conductance
        face[..., rows.SIDED] = 0.0 if zone.base.open_side is None else 1.0
        face[..., rows.BELOW_LEAK] = LEAK + DRAUGHT * zone.base.draught if zone.base.over_air else 0.0
        skirts = venue.equipment.skirts
        face[..., rows.SKIRTS_LEAVE] = SKIRTS_LEAVE if skirts is None else skirts.leak
        if zone.base.air_flow is not None and zone.base.air_temperature is not None:
            face[..., rows.BELOW_FLOW] = HEAT_OF_AIR * zone.base.air_flow * (1.0 - zone.base.air_leak)
            face[..., rows.BELOW_WARM] = zone.base.air_temperature - ZERO_CELSIUS
        face[..., rows.WIND_HEIGHT] = wind_height
        face[..., rows.TEMPERATURE_HEIGHT] = temperature_height
        if zone.circuit is not None:
            _heating(face, one, cut, venue.equipment.circuit(zone.circuit), known)
        given[:, mine], kernel[:, mine] = face, one
        state[:, mine] = _surface_state(zone, start)
    roughness = [SNOW_ROUGHNESS, SHEET_ROUGHNESS, *turfs]
    tables = [_exchange(wind_height, temperature_height, z) for z in roughness]

    def flat(array: Array) -> Array:
        return array.reshape(pairs, *array.shape[2:])

    return Columns(flat(given), flat(kernel), flat(state), flat(heat), flat(places), shallow, np.array(tables))


_cut = cache(layers.grid)  # the same build again and again, in runs of many variants


@cache
def _exchange(wind_height: float, temperature_height: float, roughness: float) -> Array:
    """Exchange table of a surface; its numbers do not change."""
    found: Array = turbulence.transfer_table(wind_height, temperature_height, roughness, HEAT_ROUGHNESS * roughness)
    return found


def side_conductance(known: layers.Properties, width: float) -> Array:
    """Conductance of each layer to the air at the open side of a strip [W m-2 K-1], per area of field.

    Half the `width` [m] through the layer, then its side face: dz / (w (w / 2k + 1/h)).
    """
    return known.thickness / (width * (0.5 * width / known.conductivity_unfrozen + 1.0 / SIDE_FACE))


def _dried(water: Array, zone: Zone, cut: layers.Grid, venue: Venue) -> Array:
    """Water content with what long heating drives from the two layers round the pipes, where the venue says so."""
    circuit = None if zone.circuit is None else venue.equipment.circuit(zone.circuit)
    if circuit is None or circuit.drying == 0.0 or circuit.depth >= cut.faces[-1]:
        return water
    first = int(place(cut, circuit.depth)[0]) - 1
    return np.where(np.isin(np.arange(cut.depth.size), (first, first + 1)), (1.0 - circuit.drying) * water, water)


def _conducting(known: layers.Properties, cut: layers.Grid, venue: Venue) -> layers.Properties:
    """Layers with what readings have taught of the conductivity of sand and soil; a material's fixed one stays."""
    learned = venue.calibration.conductivity_factor
    if learned == 1.0:
        return known
    factor = np.where(np.isnan(cut.fixed_conductivity), learned, 1.0)
    return replace(
        known,
        conductivity_unfrozen=factor * known.conductivity_unfrozen,
        conductivity_frozen=factor * known.conductivity_frozen,
    )


def place(cut: layers.Grid, depth: float) -> tuple[float, float]:
    """Kernel row (the first layer is 1) above a depth [m], and the share of the way to the next."""
    row = int(np.clip(np.searchsorted(cut.depth, depth) - 1, 0, cut.depth.size - 2))
    share = (depth - cut.depth[row]) / (cut.depth[row + 1] - cut.depth[row])
    return row + 1.0, float(np.clip(share, 0.0, 1.0))


def _turf(zone: Zone, venue: Venue) -> Array:
    """Surface parameters of a zone, learned factors applied."""
    turf, learned = zone.turf, venue.calibration
    found = np.zeros(rows.GIVEN)
    found[rows.LEAF_BED] = turf.canopy_conductance * learned.canopy_conductance_factor
    found[rows.FLOOR] = turf.exchange_floor * learned.exchange_floor_factor
    found[rows.ALBEDO] = turf.albedo
    found[rows.EMISSIVITY] = turf.emissivity
    found[rows.LEAF_CAPACITY] = turf.leaf_heat_capacity
    found[rows.RESISTANCE_DAY] = turf.resistance_day
    found[rows.RESISTANCE_NIGHT] = turf.resistance_night
    found[rows.FILM_FULL] = FILM_FULL
    return found


def _ladder_rows(kernel: Array, cut: layers.Grid, water: Array, venue: Venue) -> None:
    """Which layers the surface state looks at."""
    top, bottom = cut.faces[:-1], cut.faces[1:]
    limits = venue.limits
    wet = water >= DRY
    inside = np.clip(np.minimum(bottom, limits.crust_depth) - top, 0.0, None) * wet
    kernel[..., IN_TOP] = inside / np.maximum(inside.sum(axis=-1, keepdims=True), 1e-9)
    kernel[..., IN_STUDS] = (cut.depth < limits.frozen_layer_depth) & wet
    # below the crust alone: a front that comes from above is no thaw, though it has ice in its first millimetres
    below = (cut.depth >= limits.crust_depth) & (cut.depth < limits.thaw_search_depth)
    kernel[..., IN_SEARCH] = below & wet


def _heating(given: Array, kernel: Array, cut: layers.Grid, circuit: Circuit, known: layers.Properties) -> None:
    """Where the pipes and the probe are, what the water can give."""
    for weights, depth in ((PROBED, circuit.probe_depth), (HEATED, circuit.depth)):
        row, share = place(cut, depth)
        first = int(row) - 1
        kernel[..., first, weights], kernel[..., first + 1, weights] = 1.0 - share, share
    given[..., rows.HEAT_LIMIT] = circuit.power
    given[..., rows.HEAT_BAND] = circuit.hysteresis
    given[..., rows.HEAT_RAMP] = 1e3 if circuit.ramp is None else circuit.ramp / 86400.0
    given[..., rows.HEAT_LAG] = circuit.lag
    if circuit.supply_temperature is not None:
        near = first if share < 0.5 else first + 1
        conductivity, capacity = known.conductivity_unfrozen[..., near], known.capacity_unfrozen[..., near]
        spacing = cut.depth[first + 1] - cut.depth[first]
        pitch, radius = circuit.pitch, 0.5 * circuit.pipe_outer_diameter
        crowding = heating.row_crowding(pitch, radius, conductivity)
        resistance = heating.row_resistance(pitch, radius, conductivity, PIPE_WALL, share, spacing) - crowding
        given[..., rows.HEAT_COUPLING] = 1.0 / resistance
        given[..., rows.HEAT_CROWDING] = crowding
        given[..., rows.HEAT_SPREADING] = 1.0 / heating.row_spreading(pitch, radius, conductivity / capacity)


def _surface_state(zone: Zone, start: Mapping[str, Array]) -> Array:
    """State between steps (..., rows.KEPT), from what lies on leaf and ground."""
    film, frost = start["leaf_water"], start["leaf_frost"]
    degrees = start["canopy_temperature"] - ZERO_CELSIUS
    amount, depth = start["snow_amount"], start["snow_depth"]
    capacity = zone.turf.leaf_heat_capacity
    found = np.zeros((*degrees.shape, rows.KEPT))
    first = rows.COVER_LYING
    found[..., rows.SET_POINT_NOW - first] = -99.0
    for here in np.ndindex(degrees.shape):
        leaf = film_enthalpy(degrees[here], capacity, film[here] + frost[here])
        found[(*here, rows.LEAF_ENTHALPY - first)] = leaf
        if amount[here] > 0.0:
            cold = min(float(degrees[here]), 0.0)
            found[(*here, rows.NODE_ENTHALPY - first)] = snow_enthalpy(cold, amount[here])
            found[(*here, rows.SKIN_ENTHALPY - first)] = SKIN_CAPACITY * cold
    found[..., rows.LEAF_FILM - first] = film
    found[..., rows.LEAF_FROST - first] = frost
    found[..., rows.SNOW - first] = amount
    found[..., rows.SNOW_DEPTH - first] = np.where(amount > 0.0, np.maximum(depth, amount / 500.0), 0.0)
    found[..., rows.SNOW_ALBEDO - first] = SNOW_ALBEDO
    return found


def thresholds(venue: Venue) -> tuple[float, float, float, float, float]:
    """Borders of the surface states as `physics.ladder` takes them, the last in degC."""
    limits = venue.limits
    return (
        limits.snow_amount,
        limits.ice_film_amount,
        limits.frozen_fraction,
        limits.frost_amount,
        limits.near_freezing - ZERO_CELSIUS,
    )


def cover_kinds(venue: Venue) -> Array:
    """What each cover is, lying (even rows) and raised (odd rows): the numbers of `store.change_cover`."""
    sheets = venue.equipment.sheets
    found = np.zeros((max(2 * len(sheets), 1), COVER_NUMBERS))
    for number, sheet in enumerate(sheets):
        edge = cover.edge_exchange(sheet.edge_gap, *_outline(venue, sheet))
        for raised in (0, 1):
            lies = raised == 0 and sheet.kind != "raised"
            gap = max(sheet.air_gap, LEAF_CONTACT)
            gap = gap if lies else max(gap if sheet.kind == "raised" else 2.0 * gap, RAISED_LEAST)
            two = sheet.sheets == 2
            found[2 * number + raised] = (
                1.0 / max(sheet.resistance, 1e-3),
                cover.air_layer_convection(gap, 1.0),
                cover.air_layer_convection(gap, -1.0),
                sheet.shortwave_transmittance,
                sheet.longwave_transmittance,
                sheet.emissivity,
                sheet.albedo,
                (1.0 if two else 0.5) * SHEET_HEAT * sheet.mass,
                sheet.rain_through,
                1.0 * sheet.sheets,
                cover.air_layer_convection(sheet.sheet_gap, 1.0) if two else 0.0,
                cover.air_layer_convection(sheet.sheet_gap, -1.0) if two else 0.0,
                cover.air_layer_convection(FLAPPING * gap, 1.0),
                cover.air_layer_convection(FLAPPING * gap, -1.0),
                sheet.flaps_from,
                edge,
                cover.pore_exchange(sheet.air_permeability) if lies else 0.0,
                0.0 if sheet.vapour_resistance is None else 1.0 / (sheet.sheets * sheet.vapour_resistance),
                sheet.warm_air_leak,
            )
    return found


def _outline(venue: Venue, sheet: Cover) -> tuple[float, float]:
    """Perimeter [m] and area [m2] of a piece of cover: as given, else of one piece half as long again as wide."""
    if sheet.length is not None and sheet.width is not None:
        return 2.0 * (sheet.length + sheet.width), sheet.length * sheet.width
    zones = venue.field.zones
    area = sum(abs(signed_area(zone.polygon)) for zone in zones if not sheet.zones or zone.name in sheet.zones)
    width = float(np.sqrt(area / 1.5))
    return 5.0 * width, area


def heating_problems(venue: Venue, plan: xr.Dataset) -> list[Problem]:
    """What a plan asks of the heating that the venue cannot do."""
    found = []
    allowed = plan["heating_allowed"].transpose("plan", "zone", "time").values > 0.0
    wanted = plan["set_point"].transpose("plan", "zone", "time").values
    for index, zone in enumerate(venue.field.zones):
        if zone.circuit is None:
            if allowed[:, index].any():
                found.append(Problem(f"plan, zone {zone.name}", "heating without a circuit", "heating_allowed 0"))
            continue
        circuit = venue.equipment.circuit(zone.circuit)
        depth = sum(layer.thickness for layer in zone.layers)
        for what, at in (("probe", circuit.probe_depth), ("pipes", circuit.depth)):
            if at >= depth:
                found.append(
                    Problem(
                        f"circuit {circuit.name}, zone {zone.name}",
                        f"{what} at {at:g} m, below the profile",
                        f"less than {depth:g} m",
                        "give the layers below, or lift it",
                    )
                )
        highest = wanted[:, index][allowed[:, index]].max(initial=-np.inf)
        if highest > circuit.ceiling + 1e-6:
            found.append(
                Problem(
                    f"plan, zone {zone.name}",
                    f"set point {highest - ZERO_CELSIUS:.1f} degC",
                    f"at most the ceiling, {circuit.ceiling - ZERO_CELSIUS:.1f} degC",
                )
            )
    return found


def plan_problems(venue: Venue, plan: xr.Dataset) -> list[Problem]:
    """A plan that is not for these zones, or lays a cover that is not there."""
    missing = [zone.name for zone in venue.field.zones if zone.name not in plan["zone"].values]
    found = [Problem("plan", f"nothing for zone {name}", "every zone of the venue") for name in missing]
    kinds, have = plan["cover"].values, len(venue.equipment.sheets)
    wrong = sorted({int(kind) for kind in np.unique(kinds) if not 0 <= round(kind) <= have})
    return found + [Problem("plan", f"cover {kind}", f"0 to {have}", "0 is none, else 1 + its place") for kind in wrong]


def state_problems(initial: xr.Dataset) -> list[Problem]:
    """First states that miss values."""
    return [
        Problem(name, f"{int(gaps)} values missing in the first state", "no gap")
        for name in INITIAL_VARIABLES
        if (gaps := np.count_nonzero(~np.isfinite(initial[name].values)))
    ]


def layer_problems(venue: Venue, count: int) -> list[Problem]:
    """Profiles that cannot be cut into `count` layers."""
    return [
        Problem(f"zone {zone.name}", f"{len(zone.layers)} layers", f"1 to {count}")
        for zone in venue.field.zones
        if not 1 <= len(zone.layers) <= count
    ]


def check(title: str, problems: Sequence[Problem]) -> None:
    """Refuse with everything that is wrong."""
    if problems:
        raise InputError(title, list(problems))
