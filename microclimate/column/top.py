"""The top of each column, where it meets the air: what it is, how it exchanges, Newton's rule for its enthalpy."""

import numpy as np

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature
from microclimate.column.lanes import LANES, larger, on
from microclimate.column.store import COVER_FILM
from microclimate.column.surface import balance
from microclimate.constants import HEAT_CAPACITY_AIR, ZERO_CELSIUS
from microclimate.physics import canopy, turbulence
from microclimate.physics.elementwise import Value, choose, formula

LAST_STEP = 0.1  # [K] a last step of the rule: what it leaves is of its square, some 0.02 W m-2
CALM = 0.1  # [m s-1] the wind is never taken below this (ours)
SNOW_TABLE, SHEET_TABLE = 0.0, 1.0  # exchange tables; those of the kinds of grass follow
SNOW_EMISSIVITY = 0.98  # from memory: 0.97-0.99
SNOW_HIDES = 0.01  # [m] depth of snow that hides half of the grass (ours)
SNOW_FLOOR = 2.0  # [W m-2 K-1] exchange of snow with still air (Jordan 1991, CRREL Special Report 91-16; from memory)
NEVER = 1e9  # [s m-1] resistance of what has no pores
FROZEN_LEAF = 5e3  # [s m-1] resistance of a frozen leaf (ours)


@formula
def begin(surface: Value, tables: Value, snowing: Value, sheeted: Value) -> None:
    """What of each column meets the air in this step: the leaf, or the snow or the cover on it."""
    for lane in range(LANES):
        sun, air = surface[on(s.SUN, lane)], surface[on(s.AIR, lane)]
        film = surface[on(s.LEAF_FILM, lane)] + surface[on(s.LEAF_FROST, lane)]
        resistance = canopy.surface_resistance(
            sun, surface[on(s.RESISTANCE_DAY, lane)], surface[on(s.RESISTANCE_NIGHT, lane)]
        )
        wind = larger(surface[on(s.WIND, lane)], CALM)
        surface[on(s.DRY_RESISTANCE, lane)] = FROZEN_LEAF if surface[on(s.LEAF, lane)] < 0.0 else resistance
        surface[on(s.WATER, lane)] = film
        surface[on(s.WET, lane)] = canopy.fast_wet_share(film, surface[on(s.FILM_FULL, lane)])
        surface[on(s.TOP_SUN, lane)] = (1.0 - surface[on(s.ALBEDO, lane)]) * sun
        surface[on(s.TOP_EMISSIVITY, lane)] = surface[on(s.EMISSIVITY, lane)]
        surface[on(s.TOP_TABLE, lane)] = surface[on(s.LEAF_TABLE, lane)]
        surface[on(s.TOP_WIND, lane)] = wind
        surface[on(s.BELOW_SUN, lane)] = 0.0 * sun
        surface[on(s.BELOW_EMISSIVITY, lane)] = 0.0 * sun
        surface[on(s.STILL, lane)] = surface[on(s.FLOOR, lane)] / (surface[on(s.DENSITY, lane)] * HEAT_CAPACITY_AIR)
        surface[on(s.RICHARDSON, lane)] = turbulence.bulk_richardson(
            air + ZERO_CELSIUS,
            air + (ZERO_CELSIUS - 1.0),
            wind,
            surface[on(s.WIND_HEIGHT, lane)],
            surface[on(s.TEMPERATURE_HEIGHT, lane)],
        )
    if snowing:
        for lane in range(LANES):
            if surface[on(s.SNOWY, lane)] > 0.0:
                _snow(surface, lane)
    if sheeted:
        _sheet(surface)
    for lane in range(LANES):
        table = np.uint64(surface[on(s.TOP_TABLE, lane)])
        surface[on(s.TABLE_LOW, lane)] = tables[table, 0]
        surface[on(s.TABLE_HIGH, lane)] = tables[table, 1]


@formula
def albedo_of_ground(surface: Value, lane: Value) -> Value:
    """Albedo [1] of grass, with what snow hides of it."""
    albedo, depth = surface[on(s.ALBEDO, lane)], surface[on(s.SNOW_DEPTH, lane)]
    return albedo + depth / (depth + SNOW_HIDES) * (surface[on(s.SNOW_ALBEDO, lane)] - albedo)


@formula
def _snow(surface: Value, lane: Value) -> None:
    """The snow is the top."""
    surface[on(s.TOP_SUN, lane)] = (1.0 - albedo_of_ground(surface, lane)) * surface[on(s.SUN, lane)]
    surface[on(s.TOP_EMISSIVITY, lane)] = SNOW_EMISSIVITY
    surface[on(s.WATER, lane)] = surface[on(s.SNOW, lane)]
    surface[on(s.WET, lane)] = 1.0
    surface[on(s.DRY_RESISTANCE, lane)] = NEVER
    surface[on(s.TOP_TABLE, lane)] = SNOW_TABLE
    surface[on(s.STILL, lane)] = SNOW_FLOOR / (surface[on(s.DENSITY, lane)] * HEAT_CAPACITY_AIR)


@formula
def _sheet(surface: Value) -> None:
    """A cover is the top; what was before it lies below."""
    for lane in range(LANES):
        covered = surface[on(s.COVER_LYING, lane)] > 0.0
        sun, below = surface[on(s.SUN, lane)], surface[on(s.TOP_SUN, lane)]
        emissivity = surface[on(s.TOP_EMISSIVITY, lane)]
        through, back = surface[on(s.COVER_SUN, lane)], surface[on(s.COVER_ALBEDO, lane)]
        albedo = albedo_of_ground(surface, lane)
        # light that bounces between sheet and ground; the sheet keeps its part of what comes back from below
        caught = through / (1.0 - albedo * back)
        absorbed = (1.0 - through - back) * (1.0 + caught * albedo) * sun
        film = surface[on(s.COVER_FILM, lane)] + surface[on(s.COVER_FROST, lane)]
        wet = canopy.fast_wet_share(film, COVER_FILM)
        surface[on(s.BELOW_SUN, lane)] = choose(covered, caught * below, 0.0)
        surface[on(s.BELOW_EMISSIVITY, lane)] = choose(covered, surface[on(s.COVER_LONGWAVE, lane)] * emissivity, 0.0)
        surface[on(s.TOP_SUN, lane)] = choose(covered, absorbed, below)
        surface[on(s.TOP_EMISSIVITY, lane)] = choose(covered, surface[on(s.COVER_EMISSIVITY, lane)], emissivity)
        surface[on(s.WATER, lane)] = choose(covered, film, surface[on(s.WATER, lane)])
        surface[on(s.WET, lane)] = choose(covered, wet, surface[on(s.WET, lane)])
        surface[on(s.DRY_RESISTANCE, lane)] = choose(covered, NEVER, surface[on(s.DRY_RESISTANCE, lane)])
        surface[on(s.TOP_TABLE, lane)] = choose(covered, SHEET_TABLE, surface[on(s.TOP_TABLE, lane)])


@formula
def look_up(surface: Value, tables: Value) -> None:
    """The stretch of its exchange table each top is on, at its present temperature."""
    for lane in range(LANES):
        warmer = surface[on(s.AIR, lane)] - surface[on(s.TOP, lane)]
        place, quickness = turbulence.transfer_place(
            surface[on(s.RICHARDSON, lane)] * warmer, surface[on(s.TABLE_LOW, lane)], surface[on(s.TABLE_HIGH, lane)]
        )
        surface[on(s.PLACE, lane)] = place
        surface[on(s.QUICKNESS, lane)] = quickness
    last = tables.shape[1] - 2
    for lane in range(LANES):  # memory at any place: lane by lane
        table, left = np.uint64(surface[on(s.TOP_TABLE, lane)]), np.uint64(surface[on(s.PLACE, lane)])
        left = left if left < last else np.uint64(last)
        low = tables[table, left]
        surface[on(s.PLACE_REST, lane)] = surface[on(s.PLACE, lane)] - left
        surface[on(s.TRANSFER, lane)] = low
        surface[on(s.TRANSFER_RISE, lane)] = tables[table, left + np.uint64(1)] - low


@formula
def next_enthalpy(
    over: Value,
    enthalpy: Value,
    temperature: Value,
    stiffness: Value,
    unfrozen: Value,
    freezing: Value,
    frozen: Value,
    stretch: Value,
    rate: Value,
) -> Value:
    """Where Newton's rule takes the enthalpy of a top [J m-2], and dT/dE there [K m2 J-1].

    Solves rate (E' - E) + stiffness (T(E') - T(E)) = over for E', with the fluxes straight and T(E) its three straight
    lines: a film that begins to freeze takes the step to its end, not beyond.
    """
    target = over + rate * enthalpy + stiffness * temperature
    border = -(rate + stiffness * freezing) * stretch
    slope = choose(target > 0.0, unfrozen, choose(target > border, freezing, frozen))
    start, from_there = choose(target > border, 0.0, -stretch), choose(target > border, target, target - border)
    return start + from_there / (rate + stiffness * slope), slope


@formula
def newton(surface: Value, rate: Value) -> Value:
    """One pass of Newton's rule for the enthalpy of the top; gives back how far it is from its end [K]."""
    for lane in range(LANES):
        top, linear = surface[on(s.TOP, lane)], surface[on(s.TOP_LINEAR, lane)]
        air, wind = surface[on(s.AIR, lane)], surface[on(s.TOP_WIND, lane)]
        rise = surface[on(s.TRANSFER_RISE, lane)]
        exchange = wind * (surface[on(s.TRANSFER, lane)] + surface[on(s.PLACE_REST, lane)] * rise)
        exchange += turbulence.fast_free_convection_conductance(top - air) + surface[on(s.STILL, lane)]
        exchange_slope = -wind * rise * surface[on(s.QUICKNESS, lane)] * surface[on(s.RICHARDSON, lane)]
        dry, moist = balance(
            top,
            air,
            surface[on(s.HUMIDITY, lane)],
            surface[on(s.PRESSURE, lane)],
            surface[on(s.DENSITY, lane)],
            exchange,
            exchange_slope,
            surface[on(s.TOP_SUN, lane)],
            surface[on(s.LONGWAVE, lane)],
            surface[on(s.TOP_EMISSIVITY, lane)],
            surface[on(s.WET, lane)],
            surface[on(s.WATER, lane)],
            surface[on(s.DRY_RESISTANCE, lane)],
            rate,
        )
        radiation, radiation_slope, heat, heat_slope = dry
        latent, latent_slope, film, film_slope = moist

        going = surface[on(s.ITERATING, lane)]
        admittance = surface[on(s.ADMITTANCE, lane)]
        enthalpy = surface[on(s.TOP_ENTHALPY, lane)]
        unfrozen, freezing = surface[on(s.TOP_UNFROZEN, lane)], surface[on(s.TOP_FREEZING, lane)]
        frozen, stretch = surface[on(s.TOP_FROZEN, lane)], surface[on(s.TOP_STRETCH, lane)]
        down = surface[on(s.DOWNWARD, lane)] + admittance * (top - surface[on(s.TOP_START, lane)])
        over = radiation - heat - latent - down - (enthalpy - surface[on(s.TOP_OLD, lane)]) * rate
        stiffness = heat_slope + latent_slope - radiation_slope + admittance
        whole, slope = next_enthalpy(over, enthalpy, top, stiffness, unfrozen, freezing, frozen, stretch, rate)
        reached = layer_temperature(whole, unfrozen, freezing, frozen, stretch)
        step = reached - top
        # between kinks (dew or not, still or buoyant air) the rule may go to and fro: then half a step
        before = surface[on(s.TOP_OVER, lane)]
        surface[on(s.TOP_OVER, lane)] = over
        damped = (over * before < 0.0) & (abs(step) > LAST_STEP)
        half = 0.5 * (whole + enthalpy)
        keep = going > 0.0
        surface[on(s.TOP_ENTHALPY, lane)] = choose(keep, choose(damped, half, whole), enthalpy)
        halfway = layer_temperature(half, unfrozen, freezing, frozen, stretch)
        surface[on(s.TOP, lane)] = choose(keep, choose(damped, halfway, reached), top)
        moved = abs(step) * going
        surface[on(s.TOP_STEP, lane)] = moved
        surface[on(s.ITERATING, lane)] = choose(moved > LAST_STEP, 1.0, 0.0)

        # a lane that rests keeps what its last pass found
        surface[on(s.TOP_LINEAR, lane)] = reached if keep else linear
        surface[on(s.TOP_SLOPE, lane)] = slope if keep else surface[on(s.TOP_SLOPE, lane)]
        surface[on(s.STIFFNESS, lane)] = stiffness if keep else surface[on(s.STIFFNESS, lane)]
        found = radiation + radiation_slope * step
        surface[on(s.NET_RADIATION, lane)] = found if keep else surface[on(s.NET_RADIATION, lane)]
        found = heat + heat_slope * step
        surface[on(s.SENSIBLE, lane)] = found if keep else surface[on(s.SENSIBLE, lane)]
        found = latent + latent_slope * step
        surface[on(s.LATENT, lane)] = found if keep else surface[on(s.LATENT, lane)]
        found = film + film_slope * step
        surface[on(s.VAPOUR_WET, lane)] = found if keep else surface[on(s.VAPOUR_WET, lane)]
        surface[on(s.RADIATION_SLOPE, lane)] = radiation_slope if keep else surface[on(s.RADIATION_SLOPE, lane)]
        surface[on(s.SENSIBLE_SLOPE, lane)] = heat_slope if keep else surface[on(s.SENSIBLE_SLOPE, lane)]
        surface[on(s.LATENT_SLOPE, lane)] = latent_slope if keep else surface[on(s.LATENT_SLOPE, lane)]
        surface[on(s.VAPOUR_WET_SLOPE, lane)] = film_slope if keep else surface[on(s.VAPOUR_WET_SLOPE, lane)]
    worst = surface[on(s.TOP_STEP, 0)]
    for lane in range(1, LANES):
        worst = larger(worst, surface[on(s.TOP_STEP, lane)])
    return worst


@formula
def heated(surface: Value) -> None:
    """Add to the top the answer to this pass's change of heating."""
    for lane in range(LANES):
        change = surface[on(s.HEAT_CHANGE, lane)]
        enthalpy = surface[on(s.TOP_ENTHALPY, lane)] + change * surface[on(s.HEAT_ENTHALPY, lane)]
        surface[on(s.TOP_ENTHALPY, lane)] = enthalpy
        surface[on(s.TOP, lane)] = layer_temperature(
            enthalpy,
            surface[on(s.TOP_UNFROZEN, lane)],
            surface[on(s.TOP_FREEZING, lane)],
            surface[on(s.TOP_FROZEN, lane)],
            surface[on(s.TOP_STRETCH, lane)],
        )
        step = change * surface[on(s.OUTER_REPLY, lane)]
        surface[on(s.TOP_LINEAR, lane)] += step
        surface[on(s.NET_RADIATION, lane)] += step * surface[on(s.RADIATION_SLOPE, lane)]
        surface[on(s.SENSIBLE, lane)] += step * surface[on(s.SENSIBLE_SLOPE, lane)]
        surface[on(s.LATENT, lane)] += step * surface[on(s.LATENT_SLOPE, lane)]
        surface[on(s.VAPOUR_WET, lane)] += step * surface[on(s.VAPOUR_WET_SLOPE, lane)]
