"""The nodes above the layers (leaf, snow and its skin, the two faces of a cover) and Newton's rule at the top one.

The nodes form a chain. From below, each that is present folds into the conductance (ADMITTANCE) and the heat flow
(DOWNWARD, at no change) that the next one sees; a lane without the node passes both on. The top node alone meets the
air: its balance is solved for one number a lane. Then the chain unfolds downwards.
"""

import numpy as np

from microclimate.column import rows as s
from microclimate.column.ground import layer_slope, layer_temperature
from microclimate.column.lanes import (
    ADMITTANCE,
    CHANGE,
    CONDUCTANCE,
    HALF,
    INCREMENT,
    LANES,
    MISFIT,
    OPEN_LANE,
    RESPONSE,
    TEMPERATURE,
    at,
    on,
)
from microclimate.column.store import COVER_FILM, SKIN_CAPACITY, SNOW_GONE, film_curve, snow_curve
from microclimate.column.surface import balance, longwave_up
from microclimate.constants import HEAT_CAPACITY_AIR, ZERO_CELSIUS
from microclimate.physics import canopy, cover, snow, turbulence
from microclimate.physics.elementwise import Value, formula

CALM = 0.1  # [m s-1] the wind is never taken below this (ours)
SNOW_TABLE, SHEET_TABLE = 0.0, 1.0  # exchange tables; those of the kinds of grass follow
NEVER = 1e9  # [s m-1] resistance of what has no pores
SNOW_HIDES = 0.01  # [m] depth of snow that hides half of the grass (ours)
SNOW_EMISSIVITY = 0.98  # from memory: 0.97-0.99
MELTING = 1e4  # [W m-2 K-1] a melting skin below a cover is held at 0 degC as firmly as this (ours)
TOP_TOLERANCE = 0.02  # [K] the balance of the top is solved to this
FROZEN_LEAF = 5e3  # [s m-1] resistance of a frozen leaf (ours)


@formula
def begin(surface: Value, layer: Value) -> None:
    """Temperatures, curves and links at the start of a step."""
    for lane in range(LANES):
        water = surface[on(s.LEAF_FILM, lane)] + surface[on(s.LEAF_FROST, lane)]
        unfrozen, freezing, frozen, stretch = film_curve(surface[on(s.LEAF_CAPACITY, lane)], water)
        surface[on(s.LEAF_UNFROZEN, lane)] = unfrozen
        surface[on(s.LEAF_FREEZING, lane)] = freezing
        surface[on(s.LEAF_FROZEN, lane)] = frozen
        surface[on(s.LEAF_STRETCH, lane)] = stretch
        enthalpy = surface[on(s.LEAF_ENTHALPY, lane)]
        surface[on(s.LEAF_OLD, lane)] = enthalpy
        surface[on(s.LEAF, lane)] = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
        layer[at(0, HALF, lane)] = 1.0 / surface[on(s.LEAF_BED, lane)]
    for lane in range(LANES):
        amount = surface[on(s.SNOW, lane)]
        surface[on(s.SNOWY, lane)] = 1.0 if amount > 0.0 else 0.0
        unfrozen, freezing, frozen, stretch = snow_curve(amount if amount > SNOW_GONE else SNOW_GONE)
        surface[on(s.NODE_UNFROZEN, lane)] = unfrozen
        surface[on(s.NODE_FREEZING, lane)] = freezing
        surface[on(s.NODE_FROZEN, lane)] = frozen
        surface[on(s.NODE_STRETCH, lane)] = stretch
        enthalpy = surface[on(s.NODE_ENTHALPY, lane)]
        surface[on(s.NODE_OLD, lane)] = enthalpy
        surface[on(s.NODE, lane)] = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
        skin = surface[on(s.SKIN_ENTHALPY, lane)]
        surface[on(s.SKIN_OLD, lane)] = skin
        surface[on(s.SKIN, lane)] = layer_temperature(skin, 0.0, 0.0, 1.0 / SKIN_CAPACITY, 0.0)
    for lane in range(LANES):
        water = surface[on(s.COVER_FILM, lane)] + surface[on(s.COVER_FROST, lane)]
        unfrozen, freezing, frozen, stretch = film_curve(surface[on(s.COVER_CAPACITY, lane)], water)
        surface[on(s.OUTER_UNFROZEN, lane)] = unfrozen
        surface[on(s.OUTER_FREEZING, lane)] = freezing
        surface[on(s.OUTER_FROZEN, lane)] = frozen
        surface[on(s.OUTER_STRETCH, lane)] = stretch
        enthalpy = surface[on(s.OUTER_ENTHALPY, lane)]
        surface[on(s.OUTER_OLD, lane)] = enthalpy
        surface[on(s.OUTER, lane)] = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
        inner = surface[on(s.INNER_ENTHALPY, lane)]
        surface[on(s.INNER_OLD, lane)] = inner
        surface[on(s.INNER, lane)] = inner / surface[on(s.COVER_CAPACITY, lane)]
    _link(surface)
    _top(surface)


@formula
def _link(surface: Value) -> None:
    """Conductances between the nodes of the chain [W m-2 K-1]."""
    for lane in range(LANES):
        if surface[on(s.SNOWY, lane)] > 0.0:
            depth = surface[on(s.SNOW_DEPTH, lane)]
            half = 2.0 * snow.conductivity(surface[on(s.SNOW, lane)] / depth) / depth
            surface[on(s.LINK_SKIN, lane)] = half
            surface[on(s.LINK_LEAF, lane)] = half
        if surface[on(s.COVER_LYING, lane)] > 0.0:
            snowy = surface[on(s.SNOWY, lane)] > 0.0
            below = surface[on(s.SKIN, lane)] if snowy else surface[on(s.LEAF, lane)]
            inner = surface[on(s.INNER, lane)]
            emissivity = cover.plate_emissivity(surface[on(s.COVER_EMISSIVITY, lane)], surface[on(s.EMISSIVITY, lane)])
            opaque = 1.0 - surface[on(s.COVER_LONGWAVE, lane)]
            radiative = opaque * cover.radiation_conductance(0.5 * (below + inner) + ZERO_CELSIUS, emissivity)
            convective = surface[on(s.GAP_UP, lane)] if below > inner else surface[on(s.GAP_DOWN, lane)]
            # two faces and blown air as a star: h = 2 convective from each face to the air of the gap
            face, flow = 2.0 * convective, surface[on(s.WARM_FLOW, lane)]
            surface[on(s.LINK_GAP, lane)] = radiative + face * face / (2.0 * face + flow)
            surface[on(s.LINK_WARM, lane)] = face * flow / (2.0 * face + flow)
            surface[on(s.LINK_SHEET, lane)] = surface[on(s.COVER_CONDUCTANCE, lane)]
            if not snowy:
                surface[on(s.LINK_LEAF, lane)] = surface[on(s.LINK_GAP, lane)]


@formula
def _top(surface: Value) -> None:
    """What of each column meets the air, and how."""
    for lane in range(LANES):
        sun = surface[on(s.SUN, lane)]
        air = surface[on(s.AIR, lane)]
        covered = surface[on(s.COVER_LYING, lane)] > 0.0
        snowy = surface[on(s.SNOWY, lane)] > 0.0
        frozen = surface[on(s.LEAF, lane)] < 0.0
        albedo = surface[on(s.ALBEDO, lane)]
        emissivity = surface[on(s.EMISSIVITY, lane)]
        film = surface[on(s.LEAF_FILM, lane)] + surface[on(s.LEAF_FROST, lane)]
        resistance = canopy.surface_resistance(
            sun, surface[on(s.RESISTANCE_DAY, lane)], surface[on(s.RESISTANCE_NIGHT, lane)]
        )
        resistance = FROZEN_LEAF if frozen else resistance
        wet = canopy.wet_share(film, surface[on(s.FILM_FULL, lane)])
        table = surface[on(s.LEAF_TABLE, lane)]
        if snowy:
            depth = surface[on(s.SNOW_DEPTH, lane)]
            albedo += depth / (depth + SNOW_HIDES) * (surface[on(s.SNOW_ALBEDO, lane)] - albedo)
            emissivity, film, wet, resistance, table = (
                SNOW_EMISSIVITY,
                surface[on(s.SNOW, lane)],
                1.0,
                NEVER,
                SNOW_TABLE,
            )
        absorbed = (1.0 - albedo) * sun
        if covered:
            through = surface[on(s.COVER_SUN, lane)]
            back = surface[on(s.COVER_ALBEDO, lane)]
            # light that bounces between sheet and ground; the sheet keeps what it takes from below as well
            caught = through / (1.0 - albedo * back)
            surface[on(s.BELOW_SUN, lane)] = caught * absorbed
            surface[on(s.BELOW_EMISSIVITY, lane)] = surface[on(s.COVER_LONGWAVE, lane)] * emissivity
            absorbed = (1.0 - through - back) * (1.0 + caught * albedo) * sun
            emissivity = surface[on(s.COVER_EMISSIVITY, lane)]
            film = surface[on(s.COVER_FILM, lane)] + surface[on(s.COVER_FROST, lane)]
            wet, resistance, table = canopy.wet_share(film, COVER_FILM), NEVER, SHEET_TABLE
        else:
            surface[on(s.BELOW_SUN, lane)] = 0.0
            surface[on(s.BELOW_EMISSIVITY, lane)] = 0.0
        wind = surface[on(s.WIND, lane)]
        wind = wind if wind > CALM else CALM
        surface[on(s.TOP_SUN, lane)] = absorbed
        surface[on(s.TOP_EMISSIVITY, lane)] = emissivity
        surface[on(s.WET, lane)] = wet
        surface[on(s.WATER, lane)] = film
        surface[on(s.DRY_RESISTANCE, lane)] = resistance
        surface[on(s.TOP_TABLE, lane)] = table
        surface[on(s.TOP_WIND, lane)] = wind
        surface[on(s.RICHARDSON, lane)] = turbulence.bulk_richardson(
            air + ZERO_CELSIUS,
            air + ZERO_CELSIUS - 1.0,
            wind,
            surface[on(s.WIND_HEIGHT, lane)],
            surface[on(s.TEMPERATURE_HEIGHT, lane)],
        )


@formula
def fold(surface: Value, layer: Value, rate: Value) -> None:
    """From the soil up to the top: each node present folds in; the top starts from where it is."""
    for lane in range(LANES):
        leaf = surface[on(s.LEAF, lane)]
        admittance = layer[at(1, ADMITTANCE, lane)]
        downward = layer[at(1, CONDUCTANCE, lane)] * (
            leaf - layer[at(1, TEMPERATURE, lane)] - layer[at(1, CHANGE, lane)]
        )
        surface[on(s.SOIL_ADMITTANCE, lane)] = admittance
        surface[on(s.SOIL_DOWNWARD, lane)] = downward
    for lane in range(LANES):
        covered = surface[on(s.COVER_LYING, lane)] > 0.0
        snowy = surface[on(s.SNOWY, lane)] > 0.0
        admittance, downward = surface[on(s.SOIL_ADMITTANCE, lane)], surface[on(s.SOIL_DOWNWARD, lane)]
        leaf = surface[on(s.LEAF, lane)]
        enthalpy, old = surface[on(s.LEAF_ENTHALPY, lane)], surface[on(s.LEAF_OLD, lane)]
        unfrozen, freezing = surface[on(s.LEAF_UNFROZEN, lane)], surface[on(s.LEAF_FREEZING, lane)]
        frozen, stretch = surface[on(s.LEAF_FROZEN, lane)], surface[on(s.LEAF_STRETCH, lane)]
        top = leaf
        if covered or snowy:
            # the leaf is inside the chain
            above = surface[on(s.NODE, lane)] if snowy else surface[on(s.INNER, lane)]
            gain, loss = 0.0, 0.0
            if not snowy:
                gain, loss = _under_cover(surface, lane, leaf)
            own = rate / layer_slope(enthalpy, unfrozen, freezing, frozen, stretch) + admittance + loss
            rest = (old - enthalpy) * rate + gain - downward
            admittance, downward = _fold_node(
                surface,
                lane,
                s.LEAF_INVERSE,
                s.LEAF_SHARE,
                s.LEAF_CHANGE,
                own,
                rest,
                surface[on(s.LINK_LEAF, lane)],
                above - leaf,
            )
        if snowy:
            node, skin = surface[on(s.NODE, lane)], surface[on(s.SKIN, lane)]
            inside, before = surface[on(s.NODE_ENTHALPY, lane)], surface[on(s.NODE_OLD, lane)]
            slope = layer_slope(
                inside,
                surface[on(s.NODE_UNFROZEN, lane)],
                surface[on(s.NODE_FREEZING, lane)],
                surface[on(s.NODE_FROZEN, lane)],
                surface[on(s.NODE_STRETCH, lane)],
            )
            own = rate / slope + admittance
            rest = (before - inside) * rate - downward
            admittance, downward = _fold_node(
                surface,
                lane,
                s.NODE_INVERSE,
                s.NODE_SHARE,
                s.NODE_CHANGE,
                own,
                rest,
                surface[on(s.LINK_SKIN, lane)],
                skin - node,
            )
            top = skin
            enthalpy, old = surface[on(s.SKIN_ENTHALPY, lane)], surface[on(s.SKIN_OLD, lane)]
            unfrozen, freezing, frozen, stretch = 0.0, 0.0, 1.0 / SKIN_CAPACITY, 0.0
        if covered:
            inner, outer = surface[on(s.INNER, lane)], surface[on(s.OUTER, lane)]
            if snowy:
                gain, loss = _under_cover(surface, lane, top)
                # a melting skin holds its temperature: its enthalpy takes the rest after the step
                own = (rate * SKIN_CAPACITY if enthalpy <= 0.0 else MELTING) + admittance + loss
                rest = (old - enthalpy) * rate + gain - downward
                admittance, downward = _fold_node(
                    surface,
                    lane,
                    s.SKIN_INVERSE,
                    s.SKIN_SHARE,
                    s.SKIN_CHANGE,
                    own,
                    rest,
                    surface[on(s.LINK_GAP, lane)],
                    inner - top,
                )
            inside, before = surface[on(s.INNER_ENTHALPY, lane)], surface[on(s.INNER_OLD, lane)]
            warm = surface[on(s.LINK_WARM, lane)]
            own = rate * surface[on(s.COVER_CAPACITY, lane)] + admittance + warm
            rest = (before - inside) * rate + warm * (surface[on(s.WARM_AIR, lane)] - inner) - downward
            admittance, downward = _fold_node(
                surface,
                lane,
                s.INNER_INVERSE,
                s.INNER_SHARE,
                s.INNER_CHANGE,
                own,
                rest,
                surface[on(s.LINK_SHEET, lane)],
                outer - inner,
            )
            top = outer
            enthalpy, old = surface[on(s.OUTER_ENTHALPY, lane)], surface[on(s.OUTER_OLD, lane)]
            unfrozen, freezing = surface[on(s.OUTER_UNFROZEN, lane)], surface[on(s.OUTER_FREEZING, lane)]
            frozen, stretch = surface[on(s.OUTER_FROZEN, lane)], surface[on(s.OUTER_STRETCH, lane)]
        surface[on(s.ADMITTANCE, lane)] = admittance
        surface[on(s.DOWNWARD, lane)] = downward
        surface[on(s.TOP, lane)] = top
        surface[on(s.TOP_START, lane)] = top
        surface[on(s.TOP_LINEAR, lane)] = top
        surface[on(s.TOP_ENTHALPY, lane)] = enthalpy
        surface[on(s.TOP_ENTHALPY_OLD, lane)] = old
        surface[on(s.TOP_UNFROZEN, lane)] = unfrozen
        surface[on(s.TOP_FREEZING, lane)] = freezing
        surface[on(s.TOP_FROZEN, lane)] = frozen
        surface[on(s.TOP_STRETCH, lane)] = stretch
        surface[on(s.ITERATING, lane)] = surface[on(s.OPEN_LANE, lane)]


@formula
def _fold_node(
    surface: Value,
    lane: Value,
    inverse: Value,
    share: Value,
    change: Value,
    own: Value,
    rest: Value,
    link: Value,
    difference: Value,
) -> Value:
    """One node into what the next sees: its admittance and the flow down into it [W m-2 K-1], [W m-2]."""
    pivot = 1.0 / (own + link)
    part = link * pivot
    alone = (rest + link * difference) * pivot
    surface[on(inverse, lane)] = pivot
    surface[on(share, lane)] = part
    surface[on(change, lane)] = alone
    return own * part, link * (difference - alone)


@formula
def _under_cover(surface: Value, lane: Value, temperature: Value) -> Value:
    """What the surface under a cover gains from sun, sky and warm air [W m-2], and loses more per kelvin."""
    emissivity = surface[on(s.BELOW_EMISSIVITY, lane)]
    up, slope = longwave_up(temperature, emissivity)
    warm = surface[on(s.LINK_WARM, lane)]
    gain = surface[on(s.BELOW_SUN, lane)] + emissivity * surface[on(s.LONGWAVE, lane)] - up
    gain += warm * (surface[on(s.WARM_AIR, lane)] - temperature)
    loss = slope + warm
    surface[on(s.UNDER_GAIN, lane)] = gain
    surface[on(s.UNDER_LOSS, lane)] = loss
    return gain, loss


@formula
def exchange(surface: Value, tables: Value) -> None:
    """Conductance between top and air at the present temperature of the top; one lane after the other."""
    for lane in range(LANES):
        excess = surface[on(s.TOP, lane)] - surface[on(s.AIR, lane)]
        wind, per_kelvin = surface[on(s.TOP_WIND, lane)], surface[on(s.RICHARDSON, lane)]
        coefficient, slope = turbulence.fast_transfer(
            -per_kelvin * excess, tables[np.uint64(surface[on(s.TOP_TABLE, lane)])]
        )
        free = turbulence.free_convection_conductance(0.0, excess) if excess > 0.0 else 0.0
        calm = surface[on(s.FLOOR, lane)] / (surface[on(s.DENSITY, lane)] * HEAT_CAPACITY_AIR)
        surface[on(s.EXCHANGE, lane)] = wind * coefficient + free + calm
        surface[on(s.EXCHANGE_SLOPE, lane)] = -per_kelvin * wind * slope


@formula
def newton(surface: Value, rate: Value) -> Value:
    """One pass of Newton's rule for the enthalpy of the top; gives back the largest change of temperature [K]."""
    for lane in range(LANES):
        top, linear = surface[on(s.TOP, lane)], surface[on(s.TOP_LINEAR, lane)]
        enthalpy = surface[on(s.TOP_ENTHALPY, lane)]
        unfrozen, freezing = surface[on(s.TOP_UNFROZEN, lane)], surface[on(s.TOP_FREEZING, lane)]
        frozen, stretch = surface[on(s.TOP_FROZEN, lane)], surface[on(s.TOP_STRETCH, lane)]
        radiation, radiation_slope, heat, heat_slope, latent, latent_slope, vapour, vapour_slope, film, film_slope = (
            balance(
                top,
                surface[on(s.AIR, lane)],
                surface[on(s.HUMIDITY, lane)],
                surface[on(s.PRESSURE, lane)],
                surface[on(s.DENSITY, lane)],
                surface[on(s.EXCHANGE, lane)],
                surface[on(s.EXCHANGE_SLOPE, lane)],
                surface[on(s.TOP_SUN, lane)],
                surface[on(s.LONGWAVE, lane)],
                surface[on(s.TOP_EMISSIVITY, lane)],
                surface[on(s.WET, lane)],
                surface[on(s.WATER, lane)],
                surface[on(s.DRY_RESISTANCE, lane)],
                rate,
            )
        )
        going = surface[on(s.ITERATING, lane)]
        admittance = surface[on(s.ADMITTANCE, lane)]
        down = surface[on(s.DOWNWARD, lane)] + admittance * (top - surface[on(s.TOP_START, lane)])
        slope = layer_slope(enthalpy, unfrozen, freezing, frozen, stretch)
        over = radiation - heat - latent - down - (enthalpy - surface[on(s.TOP_ENTHALPY_OLD, lane)]) * rate
        stiffness = heat_slope + latent_slope - radiation_slope + admittance
        gained = over / (rate + stiffness * slope) * going
        step = slope * gained
        enthalpy = enthalpy + gained
        new = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
        surface[on(s.TOP_ENTHALPY, lane)] = enthalpy
        surface[on(s.TOP, lane)] = new
        moved, bent = abs(step), abs(new - (top + step)) * going
        moved = moved if moved > bent else bent
        surface[on(s.TOP_STEP, lane)] = moved
        # a lane that rests keeps what its last pass found
        keep = going > 0.0
        surface[on(s.ITERATING, lane)] = 1.0 if moved > TOP_TOLERANCE else 0.0
        surface[on(s.TOP_LINEAR, lane)] = top + step if keep else linear
        surface[on(s.TOP_SLOPE, lane)] = slope if keep else surface[on(s.TOP_SLOPE, lane)]
        surface[on(s.STIFFNESS, lane)] = stiffness if keep else surface[on(s.STIFFNESS, lane)]
        found, found_slope = radiation + radiation_slope * step, radiation_slope
        surface[on(s.NET_RADIATION, lane)] = found if keep else surface[on(s.NET_RADIATION, lane)]
        surface[on(s.RADIATION_SLOPE, lane)] = found_slope if keep else surface[on(s.RADIATION_SLOPE, lane)]
        found, found_slope = heat + heat_slope * step, heat_slope
        surface[on(s.SENSIBLE, lane)] = found if keep else surface[on(s.SENSIBLE, lane)]
        surface[on(s.SENSIBLE_SLOPE, lane)] = found_slope if keep else surface[on(s.SENSIBLE_SLOPE, lane)]
        found, found_slope = latent + latent_slope * step, latent_slope
        surface[on(s.LATENT, lane)] = found if keep else surface[on(s.LATENT, lane)]
        surface[on(s.LATENT_SLOPE, lane)] = found_slope if keep else surface[on(s.LATENT_SLOPE, lane)]
        found, found_slope = vapour + vapour_slope * step, vapour_slope
        surface[on(s.VAPOUR, lane)] = found if keep else surface[on(s.VAPOUR, lane)]
        surface[on(s.VAPOUR_SLOPE, lane)] = found_slope if keep else surface[on(s.VAPOUR_SLOPE, lane)]
        found, found_slope = film + film_slope * step, film_slope
        surface[on(s.VAPOUR_WET, lane)] = found if keep else surface[on(s.VAPOUR_WET, lane)]
        surface[on(s.VAPOUR_WET_SLOPE, lane)] = found_slope if keep else surface[on(s.VAPOUR_WET_SLOPE, lane)]
    worst = surface[on(s.TOP_STEP, 0)]
    for lane in range(1, LANES):
        worst = max(worst, surface[on(s.TOP_STEP, lane)])
    return worst


@formula
def unfold(surface: Value, layer: Value) -> None:
    """From the top down: the increments of the chain; the canopy's goes to row 0."""
    for lane in range(LANES):
        step = surface[on(s.TOP_LINEAR, lane)] - surface[on(s.TOP_START, lane)]
        snowy = surface[on(s.SNOWY, lane)] > 0.0
        covered = surface[on(s.COVER_LYING, lane)] > 0.0
        surface[on(s.OUTER_STEP, lane)] = step
        inner = surface[on(s.INNER_CHANGE, lane)] + surface[on(s.INNER_SHARE, lane)] * step
        step = inner if covered else step
        surface[on(s.INNER_STEP, lane)] = step
        skin = surface[on(s.SKIN_CHANGE, lane)] + surface[on(s.SKIN_SHARE, lane)] * step
        step = skin if covered and snowy else step
        surface[on(s.SKIN_STEP, lane)] = step
        node = surface[on(s.NODE_CHANGE, lane)] + surface[on(s.NODE_SHARE, lane)] * step
        step = node if snowy else step
        surface[on(s.NODE_STEP, lane)] = step
        leaf = surface[on(s.LEAF_CHANGE, lane)] + surface[on(s.LEAF_SHARE, lane)] * step
        step = leaf if covered or snowy else step
        surface[on(s.LEAF_STEP, lane)] = step
        layer[at(0, INCREMENT, lane)] = step


@formula
def reply(surface: Value, layer: Value, rate: Value) -> None:
    """The chain's answer to one more W m-2 of heating, up to the top and down again; the canopy's goes to row 0."""
    for lane in range(LANES):
        snowy = surface[on(s.SNOWY, lane)] > 0.0
        covered = surface[on(s.COVER_LYING, lane)] > 0.0
        surface[on(s.SOIL_REPLY, lane)] = layer[at(1, RESPONSE, lane)]
        leaf = layer[at(1, CONDUCTANCE, lane)] * layer[at(1, RESPONSE, lane)]
        push = leaf * surface[on(s.LEAF_SHARE, lane)] if covered or snowy else leaf
        node = push
        push = push * surface[on(s.NODE_SHARE, lane)] if snowy else push
        skin = push
        push = push * surface[on(s.SKIN_SHARE, lane)] if covered and snowy else push
        inner = push
        push = push * surface[on(s.INNER_SHARE, lane)] if covered else push
        slope = surface[on(s.TOP_SLOPE, lane)]
        surface[on(s.HEAT_ENTHALPY, lane)] = push / (rate + surface[on(s.STIFFNESS, lane)] * slope)
        answer = slope * surface[on(s.HEAT_ENTHALPY, lane)]
        surface[on(s.OUTER_REPLY, lane)] = answer
        below = inner * surface[on(s.INNER_INVERSE, lane)] + surface[on(s.INNER_SHARE, lane)] * answer
        answer = below if covered else answer
        surface[on(s.INNER_REPLY, lane)] = answer
        below = skin * surface[on(s.SKIN_INVERSE, lane)] + surface[on(s.SKIN_SHARE, lane)] * answer
        answer = below if covered and snowy else answer
        surface[on(s.SKIN_REPLY, lane)] = answer
        below = node * surface[on(s.NODE_INVERSE, lane)] + surface[on(s.NODE_SHARE, lane)] * answer
        answer = below if snowy else answer
        surface[on(s.NODE_REPLY, lane)] = answer
        below = leaf * surface[on(s.LEAF_INVERSE, lane)] + surface[on(s.LEAF_SHARE, lane)] * answer
        answer = below if covered or snowy else answer
        surface[on(s.LEAF_REPLY, lane)] = answer
        layer[at(0, RESPONSE, lane)] = answer


@formula
def heat_top(surface: Value) -> None:
    """Add the answer to this pass's change of heating to the chain and to the fluxes at the top."""
    for lane in range(LANES):
        change = surface[on(s.HEAT_CHANGE, lane)]
        surface[on(s.TOP_ENTHALPY, lane)] += change * surface[on(s.HEAT_ENTHALPY, lane)]
        step = change * surface[on(s.OUTER_REPLY, lane)]
        surface[on(s.TOP_LINEAR, lane)] += step
        surface[on(s.INNER_STEP, lane)] += change * surface[on(s.INNER_REPLY, lane)]
        surface[on(s.SKIN_STEP, lane)] += change * surface[on(s.SKIN_REPLY, lane)]
        surface[on(s.NODE_STEP, lane)] += change * surface[on(s.NODE_REPLY, lane)]
        surface[on(s.LEAF_STEP, lane)] += change * surface[on(s.LEAF_REPLY, lane)]
        surface[on(s.NET_RADIATION, lane)] += step * surface[on(s.RADIATION_SLOPE, lane)]
        surface[on(s.SENSIBLE, lane)] += step * surface[on(s.SENSIBLE_SLOPE, lane)]
        surface[on(s.LATENT, lane)] += step * surface[on(s.LATENT_SLOPE, lane)]
        surface[on(s.VAPOUR, lane)] += step * surface[on(s.VAPOUR_SLOPE, lane)]
        surface[on(s.VAPOUR_WET, lane)] += step * surface[on(s.VAPOUR_WET_SLOPE, lane)]


@formula
def update(surface: Value, layer: Value, rate: Value) -> None:
    """New enthalpies and temperatures of the chain, the flow into the soil, and the misfit with the straight lines."""
    for lane in range(LANES):
        going = surface[on(s.OPEN_LANE, lane)]
        misfit = 0.0 * going
        if going > 0.0:
            covered = surface[on(s.COVER_LYING, lane)] > 0.0
            snowy = surface[on(s.SNOWY, lane)] > 0.0
            enthalpy = surface[on(s.TOP_ENTHALPY, lane)]
            top = layer_temperature(
                enthalpy,
                surface[on(s.TOP_UNFROZEN, lane)],
                surface[on(s.TOP_FREEZING, lane)],
                surface[on(s.TOP_FROZEN, lane)],
                surface[on(s.TOP_STRETCH, lane)],
            )
            misfit = abs(top - surface[on(s.TOP_LINEAR, lane)])
            step = surface[on(s.LEAF_STEP, lane)]
            surface[on(s.GROUND, lane)] = (
                surface[on(s.SOIL_DOWNWARD, lane)]
                + surface[on(s.SOIL_ADMITTANCE, lane)] * step
                - surface[on(s.HEAT_CHANGE, lane)] * layer[at(1, CONDUCTANCE, lane)] * surface[on(s.SOIL_REPLY, lane)]
            )
            if covered or snowy:
                heat, leaf, bent = _advance(
                    surface[on(s.LEAF_ENTHALPY, lane)],
                    surface[on(s.LEAF, lane)],
                    step,
                    surface[on(s.LEAF_UNFROZEN, lane)],
                    surface[on(s.LEAF_FREEZING, lane)],
                    surface[on(s.LEAF_FROZEN, lane)],
                    surface[on(s.LEAF_STRETCH, lane)],
                )
                surface[on(s.LEAF_ENTHALPY, lane)], surface[on(s.LEAF, lane)] = heat, leaf
                misfit = max(misfit, bent)
            else:
                surface[on(s.LEAF_ENTHALPY, lane)], surface[on(s.LEAF, lane)] = enthalpy, top
            if snowy:
                heat, node, bent = _advance(
                    surface[on(s.NODE_ENTHALPY, lane)],
                    surface[on(s.NODE, lane)],
                    surface[on(s.NODE_STEP, lane)],
                    surface[on(s.NODE_UNFROZEN, lane)],
                    surface[on(s.NODE_FREEZING, lane)],
                    surface[on(s.NODE_FROZEN, lane)],
                    surface[on(s.NODE_STRETCH, lane)],
                )
                surface[on(s.NODE_ENTHALPY, lane)], surface[on(s.NODE, lane)] = heat, node
                misfit = max(misfit, bent)
                if covered:
                    held = surface[on(s.SKIN_ENTHALPY, lane)]
                    line = surface[on(s.SKIN, lane)] + surface[on(s.SKIN_STEP, lane)]
                    step = surface[on(s.SKIN_STEP, lane)]
                    held += step * (SKIN_CAPACITY if held <= 0.0 else MELTING / rate)
                    skin = min(held, 0.0) / SKIN_CAPACITY
                    surface[on(s.SKIN_ENTHALPY, lane)], surface[on(s.SKIN, lane)] = held, skin
                    misfit = max(misfit, abs(skin - line))
                else:
                    surface[on(s.SKIN_ENTHALPY, lane)], surface[on(s.SKIN, lane)] = enthalpy, top
            if covered:
                below = surface[on(s.SKIN_STEP, lane)] if snowy else surface[on(s.LEAF_STEP, lane)]
                step, warm = surface[on(s.INNER_STEP, lane)], surface[on(s.LINK_WARM, lane)]
                inner = surface[on(s.INNER, lane)]
                surface[on(s.UNDER, lane)] = (
                    surface[on(s.UNDER_GAIN, lane)]
                    - surface[on(s.UNDER_LOSS, lane)] * below
                    + warm * (surface[on(s.WARM_AIR, lane)] - inner - step)
                )
                surface[on(s.INNER_ENTHALPY, lane)] += surface[on(s.COVER_CAPACITY, lane)] * step
                surface[on(s.INNER, lane)] = inner + step
                surface[on(s.OUTER_ENTHALPY, lane)], surface[on(s.OUTER, lane)] = enthalpy, top
        layer[at(0, TEMPERATURE, lane)] = surface[on(s.LEAF, lane)]
        layer[at(0, OPEN_LANE, lane)] = going
        layer[at(0, MISFIT, lane)] = misfit


@formula
def _advance(
    enthalpy: Value, temperature: Value, step: Value, unfrozen: Value, freezing: Value, frozen: Value, stretch: Value
) -> Value:
    """Enthalpy after a step of temperature along the present line, the true temperature there, and the misfit [K]."""
    line = temperature + step
    enthalpy = enthalpy + step / layer_slope(enthalpy, unfrozen, freezing, frozen, stretch)
    now = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    return enthalpy, now, abs(now - line)
