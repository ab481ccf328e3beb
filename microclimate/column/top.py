"""The top of each column, where it meets the air: what it is, how it exchanges, Newton's rule for its enthalpy."""

import numpy as np

from microclimate.column import rows as s
from microclimate.column import sheet
from microclimate.column.ground import layer_temperature
from microclimate.column.lanes import larger, put, smaller
from microclimate.column.sheet import NEVER
from microclimate.column.surface import balance, wet_share
from microclimate.column.vector import anywhere, take
from microclimate.constants import HEAT_CAPACITY_AIR, ZERO_CELSIUS
from microclimate.physics import canopy, turbulence
from microclimate.physics.elementwise import Value, choose, formula

TOP_PASSES = 6  # most passes of Newton's rule over the top in each over the layers
LAST_STEP = 0.1  # [K] a last step of the rule: what it leaves is of its square, some 0.02 W m-2
CALM = 0.1  # [m s-1] the wind is never taken below this (ours)
SNOW_TABLE, SHEET_TABLE = 0.0, 1.0  # exchange tables; those of the kinds of grass follow
SNOW_EMISSIVITY = 0.98  # from memory: 0.97-0.99
SNOW_HIDES = 0.01  # [m] depth of snow that hides half of the grass (ours)
SNOW_FLOOR = 2.0  # [W m-2 K-1] exchange of snow with still air (Jordan 1991, CRREL Special Report 91-16; from memory)
FROZEN_LEAF = 5e3  # [s m-1] resistance of a frozen leaf (ours)


@formula
def begin(surface: Value, tables: Value, snowing: Value, sheeted: Value) -> None:
    """What of each column meets the air in this step: the leaf, or the snow or the cover on it."""
    sun, air = surface[s.SUN], surface[s.AIR]
    film = surface[s.LEAF_FILM] + surface[s.LEAF_FROST]
    resistance = canopy.surface_resistance(sun, surface[s.RESISTANCE_DAY], surface[s.RESISTANCE_NIGHT])
    wind = larger(surface[s.WIND], CALM)
    surface[s.DRY_RESISTANCE] = choose(surface[s.LEAF] < 0.0, FROZEN_LEAF, resistance)
    surface[s.WATER] = film
    surface[s.WET] = wet_share(film, surface[s.FILM_FULL])
    surface[s.TOP_SUN] = (1.0 - surface[s.ALBEDO]) * sun
    surface[s.TOP_EMISSIVITY] = surface[s.EMISSIVITY]
    surface[s.TOP_TABLE] = surface[s.LEAF_TABLE]
    surface[s.TOP_WIND] = wind
    surface[s.STILL] = surface[s.FLOOR] / (surface[s.DENSITY] * HEAT_CAPACITY_AIR)
    surface[s.RICHARDSON] = turbulence.bulk_richardson(
        air + ZERO_CELSIUS,
        air + (ZERO_CELSIUS - 1.0),
        wind,
        surface[s.WIND_HEIGHT],
        surface[s.TEMPERATURE_HEIGHT],
    )
    if snowing:
        _snow(surface)
    if sheeted:
        _sheet(surface)
    table = surface[s.TOP_TABLE] * (1.0 * tables.shape[1])
    surface[s.TABLE_START] = table
    surface[s.TABLE_LOW] = take(tables, table)
    surface[s.TABLE_HIGH] = take(tables, table + 1.0)


@formula
def albedo_of_ground(surface: Value) -> Value:
    """Albedo [1] of grass, with what snow hides of it."""
    albedo, depth = surface[s.ALBEDO], surface[s.SNOW_DEPTH]
    return albedo + depth / (depth + SNOW_HIDES) * (surface[s.SNOW_ALBEDO] - albedo)


@formula
def _snow(surface: Value) -> None:
    """The snow is the top."""
    snowy = surface[s.SNOWY] > 0.0
    put(surface, s.TOP_SUN, snowy, (1.0 - albedo_of_ground(surface)) * surface[s.SUN])
    put(surface, s.TOP_EMISSIVITY, snowy, SNOW_EMISSIVITY)
    put(surface, s.WATER, snowy, surface[s.SNOW])
    put(surface, s.WET, snowy, 1.0)
    put(surface, s.DRY_RESISTANCE, snowy, NEVER)
    put(surface, s.TOP_TABLE, snowy, SNOW_TABLE)
    put(surface, s.STILL, snowy, SNOW_FLOOR / (surface[s.DENSITY] * HEAT_CAPACITY_AIR))


@formula
def _sheet(surface: Value) -> None:
    """A cover is the top; what was before it lies below."""
    sheet.lie(surface, albedo_of_ground(surface))
    put(surface, s.TOP_TABLE, surface[s.COVER_LYING] > 0.0, SHEET_TABLE)


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
def exchange(surface: Value, tables: Value, top: Value, warmer: Value) -> Value:
    """Conductance of heat between top and air [m s-1], and its change per kelvin of the top; `warmer` than the air."""
    richardson, wind = surface[s.RICHARDSON], surface[s.TOP_WIND]
    place, quickness = turbulence.transfer_place(-richardson * warmer, surface[s.TABLE_LOW], surface[s.TABLE_HIGH])
    left = np.floor(smaller(place, tables.shape[1] - 2.0))
    start = surface[s.TABLE_START] + left
    low = take(tables, start)
    rise = take(tables, start + 1.0) - low
    found = wind * (low + (place - left) * rise) + surface[s.STILL]
    if anywhere(warmer > 0.0):
        found = found + turbulence.fast_free_convection_conductance(warmer)
    return found, -wind * rise * quickness * richardson


@formula
def solve(surface: Value, tables: Value, going: Value, rate: Value) -> None:
    """Newton's rule for the enthalpy of the top, each lane to its end; a lane that rests keeps what it found."""
    air, admittance = surface[s.AIR], surface[s.ADMITTANCE]
    start, enthalpy = surface[s.TOP], surface[s.TOP_ENTHALPY]
    unfrozen, freezing = surface[s.TOP_UNFROZEN], surface[s.TOP_FREEZING]
    frozen, stretch = surface[s.TOP_FROZEN], surface[s.TOP_STRETCH]
    top, before = start, 0.0 * start
    for _ in range(TOP_PASSES):
        mixing, mixing_slope = exchange(surface, tables, top, top - air)
        dry, moist = balance(
            top,
            air,
            surface[s.HUMIDITY],
            surface[s.PRESSURE],
            surface[s.DENSITY],
            mixing,
            mixing_slope,
            surface[s.TOP_SUN],
            surface[s.LONGWAVE],
            surface[s.TOP_EMISSIVITY],
            surface[s.WET],
            surface[s.WATER],
            surface[s.DRY_RESISTANCE],
            rate,
        )
        radiation, radiation_slope, heat, heat_slope = dry
        latent, latent_slope, film, film_slope = moist

        down = surface[s.DOWNWARD] + admittance * (top - start)
        over = radiation - heat - latent - down - (enthalpy - surface[s.TOP_OLD]) * rate
        stiffness = heat_slope + latent_slope - radiation_slope + admittance
        whole, slope = next_enthalpy(over, enthalpy, top, stiffness, unfrozen, freezing, frozen, stretch, rate)
        reached = layer_temperature(whole, unfrozen, freezing, frozen, stretch)
        step = reached - top
        # between kinks (dew or not, still or buoyant air) the rule may go to and fro: then half a step
        damped = (over * before < 0.0) & (abs(step) > LAST_STEP)
        before = over
        put(surface, s.TOP_LINEAR, going, reached)
        put(surface, s.TOP_SLOPE, going, slope)
        put(surface, s.STIFFNESS, going, stiffness)
        put(surface, s.NET_RADIATION, going, radiation + radiation_slope * step)
        put(surface, s.SENSIBLE, going, heat + heat_slope * step)
        put(surface, s.LATENT, going, latent + latent_slope * step)
        put(surface, s.VAPOUR_WET, going, film + film_slope * step)
        put(surface, s.RADIATION_SLOPE, going, radiation_slope)
        put(surface, s.SENSIBLE_SLOPE, going, heat_slope)
        put(surface, s.LATENT_SLOPE, going, latent_slope)
        put(surface, s.VAPOUR_WET_SLOPE, going, film_slope)
        if anywhere(damped):
            half = 0.5 * (whole + enthalpy)
            whole = choose(damped, half, whole)
            reached = choose(damped, layer_temperature(half, unfrozen, freezing, frozen, stretch), reached)
        top, enthalpy = choose(going, reached, top), choose(going, whole, enthalpy)
        going = going & (abs(step) > LAST_STEP)
        if not anywhere(going):
            break
    surface[s.TOP], surface[s.TOP_ENTHALPY] = top, enthalpy
    surface[s.ITERATING] = choose(going, 1.0, 0.0)


@formula
def heated(surface: Value, change: Value) -> None:
    """Add to the top the answer to this pass's change of heating [W m-2]."""
    enthalpy = surface[s.TOP_ENTHALPY] + change * surface[s.HEAT_ENTHALPY]
    step = change * surface[s.OUTER_REPLY]
    surface[s.TOP_ENTHALPY] = enthalpy
    surface[s.TOP] = layer_temperature(
        enthalpy,
        surface[s.TOP_UNFROZEN],
        surface[s.TOP_FREEZING],
        surface[s.TOP_FROZEN],
        surface[s.TOP_STRETCH],
    )
    surface[s.TOP_LINEAR] = surface[s.TOP_LINEAR] + step
    surface[s.NET_RADIATION] = surface[s.NET_RADIATION] + step * surface[s.RADIATION_SLOPE]
    surface[s.SENSIBLE] = surface[s.SENSIBLE] + step * surface[s.SENSIBLE_SLOPE]
    surface[s.LATENT] = surface[s.LATENT] + step * surface[s.LATENT_SLOPE]
    surface[s.VAPOUR_WET] = surface[s.VAPOUR_WET] + step * surface[s.VAPOUR_WET_SLOPE]
