"""Water, frost, snow and covers: what comes onto a column before a step and what leaves or settles after it.

Enthalpy 0 is liquid water at 0 degC, so melt water that drains at 0 degC takes nothing with it. Whatever else comes or
goes with a mass is summed in ADVECTED, so that a column's energy closes.
"""

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature
from microclimate.column.lanes import larger, put, smaller
from microclimate.column.surface import FILM_RANGE
from microclimate.column.vector import anywhere, take
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
UNDER_FULL = 0.1  # [kg m-2] of dew that hangs below a sheet before it drips (from memory: 0.05-0.1 on films)

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
    return -stretch + smaller(temperature + SNOW_RANGE, 0.0) / frozen


# what a cover is, in the order of its row in `covers`
COVER_ROWS = (
    s.COVER_CONDUCTANCE,
    s.GAP_UP,
    s.GAP_DOWN,
    s.COVER_SUN,
    s.COVER_LONGWAVE,
    s.COVER_EMISSIVITY,
    s.COVER_ALBEDO,
    s.COVER_CAPACITY,
    s.COVER_RAIN,
    s.COVER_SHEETS,
    s.BETWEEN_UP,
    s.BETWEEN_DOWN,
    s.FLAPPING_UP,
    s.FLAPPING_DOWN,
    s.FLAPS_FROM,
    s.COVER_EDGE,
    s.COVER_PORES,
    s.COVER_PASSES,
    s.COVER_WASTES,
)
COVER_NUMBERS = len(COVER_ROWS)


@formula
def change_cover(surface: Value, covers: Value) -> None:
    """Lay or lift: a new sheet comes with the temperature of the air, a lifted one takes its dew along."""
    wanted = surface[s.COVERED]
    changes = surface[s.COVER_LYING] != wanted
    if anywhere(changes):
        laid = changes & (wanted > 0.0)
        air, first = surface[s.AIR], larger(wanted - 1.0, 0.0) * COVER_NUMBERS
        for number in range(COVER_NUMBERS):
            put(surface, COVER_ROWS[number], laid, take(covers, first + number))
        capacity = surface[s.COVER_CAPACITY]
        inner = choose(laid, capacity * air, 0.0)
        outer = choose(laid, film_enthalpy(air, capacity, 0.0 * air), 0.0)
        came = inner + outer - (surface[s.OUTER_ENTHALPY] + surface[s.INNER_ENTHALPY])
        surface[s.ADVECTED] = surface[s.ADVECTED] + choose(changes, came, 0.0)
        put(surface, s.INNER_ENTHALPY, changes, inner)
        put(surface, s.OUTER_ENTHALPY, changes, outer)
        put(surface, s.COVER_FILM, changes, 0.0)
        put(surface, s.COVER_FROST, changes, 0.0)
        put(surface, s.UNDER_FILM, changes, 0.0)
        surface[s.COVER_LYING] = wanted


@formula
def receive(surface: Value, step: Value) -> None:
    """Rain and snow of a `step` [s] onto cover, snow or leaf; snow swept away; a snow layer forms."""
    air, covered = surface[s.AIR], surface[s.COVER_LYING] > 0.0
    rain, fall = surface[s.RAIN] * step, surface[s.SNOWFALL] * step
    warm = HEAT_CAPACITY_WATER * larger(air, 0.0) * rain
    cold = (HEAT_CAPACITY_ICE * smaller(air, 0.0) - LATENT_FUSION) * fall
    stays = choose(covered, 1.0 - surface[s.COVER_RAIN], 0.0)
    caught = choose(covered, fall, 0.0)
    on_sheet = stays * warm + choose(covered, cold, 0.0)
    surface[s.COVER_FILM] = surface[s.COVER_FILM] + stays * rain
    surface[s.COVER_FROST] = surface[s.COVER_FROST] + caught
    surface[s.OUTER_ENTHALPY] = surface[s.OUTER_ENTHALPY] + on_sheet
    rain, warm = (1.0 - stays) * rain, (1.0 - stays) * warm
    fall, cold = fall - caught, choose(covered, 0.0, cold)
    surface[s.ADVECTED] = surface[s.ADVECTED] + on_sheet + warm + cold
    swept = (surface[s.SNOW_REMOVED] > 0.0) & (surface[s.SNOW] > 0.0)
    if anywhere(swept):
        gone = surface[s.NODE_ENTHALPY] + surface[s.SKIN_ENTHALPY]
        surface[s.ADVECTED] = surface[s.ADVECTED] - choose(swept, gone, 0.0)
        for row in (s.NODE_ENTHALPY, s.SKIN_ENTHALPY, s.SNOW, s.SNOW_DEPTH):
            put(surface, row, swept, 0.0)
    lies = surface[s.SNOW] > 0.0
    water = choose(lies, 0.0, rain)
    surface[s.LEAF_FILM] = surface[s.LEAF_FILM] + water
    surface[s.LEAF_FROST] = surface[s.LEAF_FROST] + choose(lies, 0.0, fall)
    surface[s.LEAF_ENTHALPY] = surface[s.LEAF_ENTHALPY] + choose(lies, 0.0, warm + cold)
    if anywhere(lies):
        surface[s.SNOW] = surface[s.SNOW] + choose(lies, rain + fall, 0.0)
        surface[s.NODE_ENTHALPY] = surface[s.NODE_ENTHALPY] + choose(lies, warm + cold, 0.0)
    if anywhere(fall > 0.0):
        fresh = 1.0 / snow.fresh_density(air + ZERO_CELSIUS)
        renewed = surface[s.SNOW_ALBEDO] + fall * ((ALBEDO_FRESH - ALBEDO_OLD) / ALBEDO_RENEWS)
        snows = lies & (fall > 0.0)
        put(surface, s.SNOW_DEPTH, snows, surface[s.SNOW_DEPTH] + fall * fresh)
        put(surface, s.SNOW_ALBEDO, snows, smaller(renewed, ALBEDO_FRESH))
        _form_layer(surface, ~lies & (fall > 0.0) & (surface[s.LEAF_FROST] >= SNOW_LEAST), fresh)


@formula
def _form_layer(surface: Value, forms: Value, fresh: Value) -> None:
    """The ice in the leaf becomes a snow layer on it where it `forms`; `fresh` snow's volume [m3 kg-1]."""
    amount, degrees = surface[s.LEAF_FROST], smaller(surface[s.LEAF], 0.0)
    moved, skin = amount * (HEAT_CAPACITY_ICE * degrees - LATENT_FUSION), SKIN_CAPACITY * degrees
    put(surface, s.LEAF_ENTHALPY, forms, surface[s.LEAF_ENTHALPY] - moved)
    put(surface, s.LEAF_FROST, forms, 0.0)
    put(surface, s.NODE_ENTHALPY, forms, moved - skin)
    put(surface, s.SKIN_ENTHALPY, forms, skin)
    put(surface, s.SNOW, forms, amount)
    put(surface, s.SNOW_DEPTH, forms, amount * fresh)
    put(surface, s.SNOW_ALBEDO, forms, ALBEDO_FRESH)


@formula
def settle_snow(surface: Value, step: Value) -> None:
    """After a step: melt of the skin joins the layer, vapour, drainage, settling, ageing; a thin layer falls in."""
    lies = surface[s.SNOW] > 0.0
    amount, depth = choose(lies, surface[s.SNOW], 1.0), choose(lies, surface[s.SNOW_DEPTH], 1.0)
    melt = larger(surface[s.SKIN_ENTHALPY], 0.0)
    heat, skin = surface[s.NODE_ENTHALPY] + melt, surface[s.SKIN_ENTHALPY] - melt
    # vapour takes its share of the layer along
    open_sky = surface[s.COVER_LYING] == 0.0
    left = larger(amount - choose(open_sky, surface[s.VAPOUR_WET], surface[s.FILM_VAPOUR]) * step, SKIN_MASS)
    share = left / amount
    vapour = heat * (share - 1.0)
    heat, depth, amount = heat + vapour, depth * share, left
    ice = smaller(larger(-heat / LATENT_FUSION, 0.0), amount)
    kept = smaller(amount, ice * (1.0 + SNOW_HOLDS))
    density = smaller(larger(amount / depth, 50.0), 900.0)
    wet = choose(kept > ice, 1.0, 0.0)
    put(surface, s.SNOW_ALBEDO, lies, snow.aged_albedo(surface[s.SNOW_ALBEDO], step, wet))
    surface[s.ADVECTED] = surface[s.ADVECTED] + choose(lies, vapour, 0.0)
    stays, gone = lies & (kept >= SNOW_GONE), lies & (kept < SNOW_GONE)
    put(surface, s.LEAF_ENTHALPY, gone, surface[s.LEAF_ENTHALPY] + heat + skin)
    put(surface, s.LEAF_FROST, gone, surface[s.LEAF_FROST] + ice)
    put(surface, s.LEAF_FILM, gone, surface[s.LEAF_FILM] + kept - ice)
    put(surface, s.SNOW_DEPTH, lies, choose(stays, kept / snow.settled_density(density, step), 0.0))
    put(surface, s.SKIN_ENTHALPY, lies, choose(stays, skin, 0.0))
    put(surface, s.NODE_ENTHALPY, lies, choose(stays, heat, 0.0))
    put(surface, s.SNOW, lies, choose(stays, kept, 0.0))


@formula
def settle_film(enthalpy: Value, capacity: Value, film: Value, frost: Value, vapour: Value, full: Value) -> Value:
    """Film and frost [kg m-2] of a face after `vapour` [kg m-2] left it (or came, negative) and the rest dripped off.

    Vapour comes as frost below 0 degC, else as dew; it leaves from the film first. Frost that melted has become film.
    The temperature stays; returns enthalpy, film, frost, and what came or went with the water [J m-2].
    """
    busy = (film + frost > 0.0) | (vapour < 0.0)
    if not anywhere(busy):
        return enthalpy, film, frost, 0.0 * enthalpy
    unfrozen, freezing, frozen, stretch = film_curve(capacity, film + frost)
    degrees = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    came, left = larger(-vapour, 0.0), larger(vapour, 0.0)
    off_film = smaller(left, film)
    wet = film - off_film + choose(degrees < 0.0, 0.0, came)
    rime = frost - smaller(left - off_film, frost) + choose(degrees < 0.0, came, 0.0)
    total = wet + rime
    ice = smaller(larger(degrees * (-1.0 / FILM_RANGE), 0.0), 1.0) * total
    rime = smaller(rime, ice)
    wet = total - rime
    wet = wet - smaller(canopy.drip(total - ice, full), wet)
    new = choose(busy, film_enthalpy(degrees, capacity, wet + rime), enthalpy)
    return new, choose(busy, wet, film), choose(busy, rime, frost), new - enthalpy


@formula
def settle_leaf(surface: Value, step: Value) -> None:
    """After a step: dew, frost, evaporation and drip of the leaf."""
    off = choose(surface[s.COVER_LYING] > 0.0, surface[s.FILM_VAPOUR], surface[s.VAPOUR_WET])
    heat, film, frost, brought = settle_film(
        surface[s.LEAF_ENTHALPY],
        surface[s.LEAF_CAPACITY],
        surface[s.LEAF_FILM],
        surface[s.LEAF_FROST],
        choose(surface[s.SNOWY] == 0.0, off * step, 0.0),
        surface[s.FILM_FULL],
    )
    surface[s.LEAF_ENTHALPY] = heat
    surface[s.LEAF_FILM] = film
    surface[s.LEAF_FROST] = frost
    surface[s.ADVECTED] = surface[s.ADVECTED] + brought


@formula
def settle_sheet(surface: Value, step: Value) -> None:
    """The same on the upper face of a cover, and dew below it; what drips off a fabric, or from below, goes on down."""
    covered = surface[s.COVER_LYING] > 0.0
    off, before = surface[s.VAPOUR_WET] * step, surface[s.COVER_FILM] + surface[s.COVER_FROST]
    heat, film, frost, brought = settle_film(
        surface[s.OUTER_ENTHALPY],
        surface[s.COVER_CAPACITY],
        surface[s.COVER_FILM],
        surface[s.COVER_FROST],
        off,
        0.0 * surface[s.COVER_FILM] + COVER_FILM,
    )
    through = larger(before - off - film - frost, 0.0) * surface[s.COVER_RAIN]
    hangs = larger(surface[s.UNDER_FILM] + surface[s.DEW] * step, 0.0)
    drops = larger(hangs - UNDER_FULL, 0.0)
    put(surface, s.OUTER_ENTHALPY, covered, heat)
    put(surface, s.COVER_FILM, covered, film)
    put(surface, s.COVER_FROST, covered, frost)
    put(surface, s.UNDER_FILM, covered, hangs - drops)
    surface[s.ADVECTED] = surface[s.ADVECTED] + choose(covered, brought, 0.0)
    water = choose(covered, through + drops, 0.0)
    if anywhere(water > 0.0):
        warmth = HEAT_CAPACITY_WATER * (through * larger(surface[s.OUTER], 0.0) + drops * larger(surface[s.INNER], 0.0))
        warmth = choose(covered, warmth, 0.0)
        lies = surface[s.SNOW] > 0.0
        put(surface, s.SNOW, lies, surface[s.SNOW] + water)
        put(surface, s.NODE_ENTHALPY, lies, surface[s.NODE_ENTHALPY] + warmth)
        put(surface, s.LEAF_FILM, ~lies, surface[s.LEAF_FILM] + water)
        put(surface, s.LEAF_ENTHALPY, ~lies, surface[s.LEAF_ENTHALPY] + warmth)
        surface[s.ADVECTED] = surface[s.ADVECTED] + warmth
