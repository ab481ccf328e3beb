"""Water, frost, snow and covers: what comes onto a column before a step and what leaves or settles after it.

Enthalpy 0 is liquid water at 0 degC, so melt water that drains at 0 degC takes nothing with it. Whatever else comes or
goes with a mass is summed in ADVECTED, so that a column's energy closes.
"""

import numpy as np

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature
from microclimate.column.lanes import LANES, larger, on, smaller
from microclimate.column.surface import FILM_RANGE
from microclimate.constants import HEAT_CAPACITY_ICE, HEAT_CAPACITY_WATER, LATENT_FUSION, ZERO_CELSIUS
from microclimate.physics import canopy, snow
from microclimate.physics.elementwise import Value, choose, formula

SNOW_RANGE = 0.01  # [K] the same for snow; only to have a slope
SKIN_MASS = 0.1  # [kg m-2] of snow that follows the sky at once (ours)
SNOW_LEAST = 1.0  # [kg m-2] snow that makes a layer of its own; less lies in the leaf as ice (ours)
SNOW_GONE = 0.5  # [kg m-2] a layer thinner than this falls into the leaf (ours)
SNOW_HOLDS = 0.08  # [1] melt water held, share of the mass (from memory: 0.03 to 0.1)
ALBEDO_FRESH, ALBEDO_OLD = 0.85, 0.50  # Douville et al. 1995
ALBEDO_RENEWS = 10.0  # [kg m-2] of new snow makes it fresh again (Douville et al. 1995)
COVER_FILM = 0.2  # [kg m-2] that stays on a sheet (ours)

SKIN_CAPACITY = SKIN_MASS * HEAT_CAPACITY_ICE


@formula
def film_curve(capacity: Value, film: Value) -> Value:
    """Slopes and freezing stretch of a face of heat `capacity` [J m-2 K-1] with a `film` of water or ice [kg m-2]."""
    unfrozen = capacity + HEAT_CAPACITY_WATER * film
    frozen = capacity + HEAT_CAPACITY_ICE * film
    stretch = LATENT_FUSION * film + 0.5 * (unfrozen + frozen) * FILM_RANGE
    return 1.0 / unfrozen, FILM_RANGE / stretch, 1.0 / frozen, stretch


@formula
def film_enthalpy(temperature: Value, capacity: Value, film: Value) -> Value:
    """Enthalpy [J m-2] of that face at a temperature [degC]."""
    unfrozen = capacity + HEAT_CAPACITY_WATER * film
    frozen = capacity + HEAT_CAPACITY_ICE * film
    freezing = LATENT_FUSION * film / FILM_RANGE + 0.5 * (unfrozen + frozen)
    ice = larger(smaller(temperature, 0.0), -FILM_RANGE)
    return larger(temperature, 0.0) * unfrozen + ice * freezing + smaller(temperature + FILM_RANGE, 0.0) * frozen


@formula
def snow_curve(amount: Value) -> Value:
    """Slopes and freezing stretch of a snow layer of `amount` [kg m-2], its skin apart."""
    rest = amount - SKIN_MASS
    unfrozen, frozen = HEAT_CAPACITY_WATER * rest, HEAT_CAPACITY_ICE * rest
    stretch = LATENT_FUSION * amount + 0.5 * (unfrozen + frozen) * SNOW_RANGE
    return 1.0 / unfrozen, SNOW_RANGE / stretch, 1.0 / frozen, stretch


@formula
def snow_enthalpy(temperature: Value, amount: Value) -> Value:
    """Enthalpy [J m-2] of a snow layer, its skin apart, with no melt water, at a temperature [degC <= 0]."""
    _, _, frozen, stretch = snow_curve(amount)
    return -stretch + min(temperature + SNOW_RANGE, 0.0) / frozen


@formula
def change_cover(surface: Value, lane: Value, covers: Value) -> None:
    """Lay or lift: a new sheet comes with the temperature of the air, a lifted one takes its dew along."""
    lying, wanted = surface[on(s.COVER_LYING, lane)], surface[on(s.COVERED, lane)]
    if lying != wanted:
        gone = surface[on(s.OUTER_ENTHALPY, lane)] + surface[on(s.INNER_ENTHALPY, lane)]
        surface[on(s.ADVECTED, lane)] -= gone
        surface[on(s.OUTER_ENTHALPY, lane)] = 0.0
        surface[on(s.INNER_ENTHALPY, lane)] = 0.0
        surface[on(s.COVER_FILM, lane)] = 0.0
        surface[on(s.COVER_FROST, lane)] = 0.0
        surface[on(s.COVER_LYING, lane)] = wanted
        if wanted > 0.0:
            kind = np.uint64(wanted - 0.5)
            surface[on(s.COVER_CONDUCTANCE, lane)] = covers[kind, 0]
            surface[on(s.GAP_UP, lane)] = covers[kind, 1]
            surface[on(s.GAP_DOWN, lane)] = covers[kind, 2]
            surface[on(s.COVER_SUN, lane)] = covers[kind, 3]
            surface[on(s.COVER_LONGWAVE, lane)] = covers[kind, 4]
            surface[on(s.COVER_EMISSIVITY, lane)] = covers[kind, 5]
            surface[on(s.COVER_ALBEDO, lane)] = covers[kind, 6]
            surface[on(s.COVER_CAPACITY, lane)] = covers[kind, 7]
            surface[on(s.COVER_RAIN, lane)] = covers[kind, 8]
            brought = covers[kind, 7] * surface[on(s.AIR, lane)]
            surface[on(s.INNER_ENTHALPY, lane)] = brought
            surface[on(s.OUTER_ENTHALPY, lane)] = film_enthalpy(surface[on(s.AIR, lane)], covers[kind, 7], 0.0)
            surface[on(s.ADVECTED, lane)] += brought + surface[on(s.OUTER_ENTHALPY, lane)]


@formula
def receive(surface: Value, step: Value) -> None:
    """Rain and snow of a `step` [s] onto cover, snow or leaf; snow swept away; a snow layer forms."""
    for lane in range(LANES):
        air = surface[on(s.AIR, lane)]
        rain, fall = surface[on(s.RAIN, lane)] * step, surface[on(s.SNOWFALL, lane)] * step
        warm = HEAT_CAPACITY_WATER * (air if air > 0.0 else 0.0) * rain
        cold = (HEAT_CAPACITY_ICE * (air if air < 0.0 else 0.0) - LATENT_FUSION) * fall
        through = 1.0
        if surface[on(s.COVER_LYING, lane)] > 0.0:
            through = surface[on(s.COVER_RAIN, lane)]
            stays = 1.0 - through
            surface[on(s.COVER_FILM, lane)] += stays * rain
            surface[on(s.COVER_FROST, lane)] += fall
            surface[on(s.OUTER_ENTHALPY, lane)] += stays * warm + cold
            surface[on(s.ADVECTED, lane)] += stays * warm + cold
            fall, cold = 0.0, 0.0
        rain, warm = through * rain, through * warm
        surface[on(s.ADVECTED, lane)] += warm + cold
        if surface[on(s.SNOW_REMOVED, lane)] > 0.0 and surface[on(s.SNOW, lane)] > 0.0:
            surface[on(s.ADVECTED, lane)] -= surface[on(s.NODE_ENTHALPY, lane)] + surface[on(s.SKIN_ENTHALPY, lane)]
            surface[on(s.NODE_ENTHALPY, lane)] = 0.0
            surface[on(s.SKIN_ENTHALPY, lane)] = 0.0
            surface[on(s.SNOW, lane)] = 0.0
            surface[on(s.SNOW_DEPTH, lane)] = 0.0
        if surface[on(s.SNOW, lane)] > 0.0:
            surface[on(s.SNOW, lane)] += rain + fall
            surface[on(s.NODE_ENTHALPY, lane)] += warm + cold
            if fall > 0.0:
                surface[on(s.SNOW_DEPTH, lane)] += fall / snow.fresh_density(air + ZERO_CELSIUS)
                renewed = surface[on(s.SNOW_ALBEDO, lane)] + fall / ALBEDO_RENEWS * (ALBEDO_FRESH - ALBEDO_OLD)
                surface[on(s.SNOW_ALBEDO, lane)] = min(renewed, ALBEDO_FRESH)
        else:
            surface[on(s.LEAF_FILM, lane)] += rain
            surface[on(s.LEAF_FROST, lane)] += fall
            surface[on(s.LEAF_ENTHALPY, lane)] += warm + cold
            if fall > 0.0 and surface[on(s.LEAF_FROST, lane)] >= SNOW_LEAST:
                _form_layer(surface, lane, air)


@formula
def _form_layer(surface: Value, lane: Value, air: Value) -> None:
    """The ice in the leaf becomes a snow layer on it."""
    amount = surface[on(s.LEAF_FROST, lane)]
    degrees = min(surface[on(s.LEAF, lane)], 0.0)
    moved = amount * (HEAT_CAPACITY_ICE * degrees - LATENT_FUSION)
    skin = SKIN_CAPACITY * degrees
    surface[on(s.LEAF_ENTHALPY, lane)] -= moved
    surface[on(s.LEAF_FROST, lane)] = 0.0
    surface[on(s.NODE_ENTHALPY, lane)] = moved - skin
    surface[on(s.SKIN_ENTHALPY, lane)] = skin
    surface[on(s.SNOW, lane)] = amount
    surface[on(s.SNOW_DEPTH, lane)] = amount / snow.fresh_density(air + ZERO_CELSIUS)
    surface[on(s.SNOW_ALBEDO, lane)] = ALBEDO_FRESH


@formula
def settle_snow(surface: Value, step: Value) -> None:
    """After a step: melt of the skin joins the layer, vapour, drainage, settling, ageing; a thin layer falls in."""
    for lane in range(LANES):
        amount = surface[on(s.SNOW, lane)]
        if amount > 0.0:
            melt = max(surface[on(s.SKIN_ENTHALPY, lane)], 0.0)
            heat = surface[on(s.NODE_ENTHALPY, lane)] + melt
            surface[on(s.SKIN_ENTHALPY, lane)] -= melt
            if surface[on(s.COVER_LYING, lane)] == 0.0:
                left = max(amount - surface[on(s.VAPOUR_WET, lane)] * step, SKIN_MASS)
                surface[on(s.ADVECTED, lane)] += heat * (left / amount - 1.0)
                surface[on(s.SNOW_DEPTH, lane)] *= left / amount
                heat, amount = heat * left / amount, left
            ice = min(max(-heat / LATENT_FUSION, 0.0), amount)
            kept = min(amount, ice * (1.0 + SNOW_HOLDS))
            density = min(max(amount / surface[on(s.SNOW_DEPTH, lane)], 50.0), 900.0)
            surface[on(s.SNOW_DEPTH, lane)] = kept / snow.settled_density(density, step)
            wet = 1.0 if kept > ice else 0.0
            surface[on(s.SNOW_ALBEDO, lane)] = snow.aged_albedo(surface[on(s.SNOW_ALBEDO, lane)], step, wet)
            if kept < SNOW_GONE:
                surface[on(s.LEAF_ENTHALPY, lane)] += heat + surface[on(s.SKIN_ENTHALPY, lane)]
                surface[on(s.LEAF_FROST, lane)] += ice
                surface[on(s.LEAF_FILM, lane)] += kept - ice
                surface[on(s.SKIN_ENTHALPY, lane)] = 0.0
                heat, kept = 0.0, 0.0
                surface[on(s.SNOW_DEPTH, lane)] = 0.0
            surface[on(s.NODE_ENTHALPY, lane)] = heat
            surface[on(s.SNOW, lane)] = kept


@formula
def settle_film(enthalpy: Value, capacity: Value, film: Value, frost: Value, vapour: Value, full: Value) -> Value:
    """Film and frost [kg m-2] of a face after `vapour` [kg m-2] left it (or came, negative) and the rest dripped off.

    Vapour comes as frost below 0 degC, else as dew; it leaves from the film first. Frost that melted has become film.
    The temperature stays; returns enthalpy, film, frost, and what came or went with the water [J m-2].
    """
    unfrozen, freezing, frozen, stretch = film_curve(capacity, film + frost)
    degrees = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    came, left = larger(-vapour, 0.0), larger(vapour, 0.0)
    off_film = smaller(left, film)
    film = film - off_film + choose(degrees < 0.0, 0.0, came)
    frost = frost - smaller(left - off_film, frost) + choose(degrees < 0.0, came, 0.0)
    total = film + frost
    ice = smaller(larger(-degrees / FILM_RANGE, 0.0), 1.0) * total
    frost = smaller(frost, ice)
    film = total - frost
    film = film - smaller(canopy.drip(total - ice, full), film)
    new = film_enthalpy(degrees, capacity, film + frost)
    return new, film, frost, new - enthalpy


@formula
def settle_leaf(surface: Value, step: Value) -> None:
    """After a step: dew, frost, evaporation and drip of the leaf."""
    for lane in range(LANES):
        bare = surface[on(s.COVER_LYING, lane)] + surface[on(s.SNOWY, lane)] == 0.0
        heat, film, frost, brought = settle_film(
            surface[on(s.LEAF_ENTHALPY, lane)],
            surface[on(s.LEAF_CAPACITY, lane)],
            surface[on(s.LEAF_FILM, lane)],
            surface[on(s.LEAF_FROST, lane)],
            surface[on(s.VAPOUR_WET, lane)] * step if bare else 0.0 * step,
            surface[on(s.FILM_FULL, lane)],
        )
        surface[on(s.LEAF_ENTHALPY, lane)] = heat
        surface[on(s.LEAF_FILM, lane)] = film
        surface[on(s.LEAF_FROST, lane)] = frost
        surface[on(s.ADVECTED, lane)] += brought


@formula
def settle_sheet(surface: Value, step: Value) -> None:
    """The same on the upper face of a cover."""
    for lane in range(LANES):
        covered = surface[on(s.COVER_LYING, lane)] > 0.0
        before, dew, rime = (
            surface[on(s.OUTER_ENTHALPY, lane)],
            surface[on(s.COVER_FILM, lane)],
            surface[on(s.COVER_FROST, lane)],
        )
        off = surface[on(s.VAPOUR_WET, lane)] * step
        heat, film, frost, brought = settle_film(
            before, surface[on(s.COVER_CAPACITY, lane)], dew, rime, off, COVER_FILM
        )
        surface[on(s.OUTER_ENTHALPY, lane)] = choose(covered, heat, before)
        surface[on(s.COVER_FILM, lane)] = choose(covered, film, dew)
        surface[on(s.COVER_FROST, lane)] = choose(covered, frost, rime)
        surface[on(s.ADVECTED, lane)] += choose(covered, brought, 0.0)
