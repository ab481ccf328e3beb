"""One march of bowl air, stands and floor through time: the compiled heart of `exposure.air`.

Each step, twice: every surface's skin temperature by Newton's rule (its layers eliminated from below), with its answer
to a change of the air's temperature; then the air's heat with those answers, and its moisture; both implicit. What the
air takes is what the surfaces give, so both budgets close to rounding at any step. Arrays as in `air` and `stands`.
"""

from typing import Any

import numpy as np

from microclimate.column.jit import kernel
from microclimate.constants import (
    GRAVITY,
    HEAT_CAPACITY_AIR,
    LATENT_FUSION,
    STEFAN_BOLTZMANN,
    VON_KARMAN,
    ZERO_CELSIUS,
)
from microclimate.exposure import planks
from microclimate.exposure.stands import eliminate
from microclimate.physics import turbulence, vapour
from microclimate.physics.elementwise import Value, choose, formula
from microclimate.physics.longwave import black_body

SLOWEST = 0.2  # [m s-1] wind in the Richardson number, and over seats and floor in a calm
DRAINAGE_DEPTH = 3.0  # [m] of cold air that runs out of a gap; ours, no source
ROUGHNESS, ROUGHNESS_HEAT, HEIGHT = 0.0035, 0.00035, 2.0  # [m] of the grass floor (FAO-56: 0.123 h) and of its air
NEWTON, CLOSE = 12, 1e-7  # rounds, [K]
BUDGET = 8  # heat [W] stored, from surfaces, from outside, from fog; vapour [kg s-1] the same


@formula
def shutter(richardson: Value, half: Value, least: Value) -> Value:
    """Share F [1] of the wind's exchange that passes the top: least + (1 - least) / (1 + (Ri / half)^2), 1 for Ri <= 0.

    Calm in street canyons at Ri 0.4-0.8 (Atmos. Environ. 34, 2000); valleys swept at U/(N h) > 1.3, Ri < 0.59 (J. Fluid
    Mech. 96, 1980); pools mixed at Froude number 1 to 2 (J. Atmos. Sci. 72, 2015).
    """
    ratio = np.maximum(richardson, 0.0) / half
    return least + (1.0 - least) / (1.0 + ratio * ratio)


@formula
def pool_richardson(bowl: Value, rim: Value, height: Value, wind: Value) -> Value:
    """Bulk Richardson number of a pool [1]: g H (T_rim - T_bowl) / (T U^2), U at least 0.2 m/s."""
    speed = np.maximum(wind, SLOWEST)
    return GRAVITY * height * (rim - bowl) / (rim * speed * speed)


@formula
def floor_conductance(wind: Value, air: Value, surface: Value) -> Value:
    """Conductance of heat over the grass floor [m s-1]: neutral log law times Louis' stability functions."""
    speed = np.maximum(wind, SLOWEST)
    neutral = VON_KARMAN * VON_KARMAN / (np.log(HEIGHT / ROUGHNESS) * np.log(HEIGHT / ROUGHNESS_HEAT))
    richardson = turbulence.bulk_richardson(air, surface, speed, HEIGHT, HEIGHT)
    stable = turbulence.louis_stable_heat(np.maximum(richardson, 0.0))
    unstable = turbulence.louis_unstable(np.minimum(richardson, 0.0), 3.0, HEIGHT, ROUGHNESS)
    return neutral * speed * choose(richardson > 0.0, stable, unstable)


@formula
def saturation_humidity(temperature: Value, pressure: Value) -> Value:
    """Specific humidity [kg kg-1] of air saturated at a surface: over ice below 0 degC."""
    return vapour.specific_humidity(vapour.saturation_pressure(temperature), pressure)


@kernel
def march(
    first: int,
    end: int,
    step: float,
    passes: int,
    parameters: Any,  # (realization, 10) in the order of `air.Air`
    box: Any,  # volume, top, height, gap width
    outside: Any,  # (variable, realization, time): `air.OUTSIDE`
    absorbed: Any,  # (realization, surface, time)
    seen: Any,
    surface: Any,  # (variable, surface): `air.SURFACE`
    layer_capacity: Any,
    layer_conductance: Any,
    start: Any,  # (realization, 2): air [K], humidity; surfaces and layers start at `start_ground` (realization,)
    start_ground: Any,
    one_way: bool,
    temperature: Any,  # results (realization, time)
    humidity: Any,
    shut: Any,
    skin_out: Any,  # (realization, surface, time)
    film_out: Any,
    received_out: Any,
    budget: Any,  # (realization, time, BUDGET)
) -> None:
    times = outside.shape[2]
    count, layers = layer_capacity.shape
    area, emissivity, sky, low_sky, roofs, capacity, bed, below_air, deck, is_floor, windless, dry_day, dry_night = (
        surface
    )
    volume, top, height, gap_width = box
    for r in range(first, end):
        entrain, half, least, calm, plume, gap, drain, inversion, seats, seat_wind = parameters[r]
        air, moist = start[r, 0], start[r, 1]
        skin = np.full(count, start_ground[r])
        old = skin.copy()
        ground = np.full((count, layers), start_ground[r])
        water, ice = np.zeros(count), np.zeros(count)
        share, change = np.zeros((count, layers)), np.zeros((count, layers))
        heat, reply, vapour_rate, passed = np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(count)
        received = np.zeros(count)
        for t in range(times):
            out, over, damp, pressure, wind, floor_wind, opening, down, slope, more_heat, more_vapour = outside[:, r, t]
            if not np.isfinite(out + over + damp + pressure + wind + floor_wind + down + absorbed[r, :, t].sum()):
                for late in range(t, times):
                    temperature[r, late], humidity[r, late], shut[r, late] = np.nan, np.nan, np.nan
                    for k in range(count):
                        skin_out[r, k, late], film_out[r, k, late], received_out[r, k, late] = np.nan, np.nan, np.nan
                    for term in range(BUDGET):
                        budget[r, late, term] = np.nan
                break
            rim = out + inversion * over
            air_old, moist_old = air, moist
            density = vapour.air_density(out, damp, pressure)
            store = density * volume / step
            forced = seats * planks.forced_conductance(max(seat_wind * wind, SLOWEST))
            day = down > 0.0 and absorbed[r, :, t].max() > 5.0
            for k in range(count):
                old[k] = skin[k]
                if bed[k] > 0.0:
                    below = out if below_air[k] > 0.0 else start_ground[r]
                    eliminate(
                        ground[k], layer_capacity[k], layer_conductance[k], bed[k], below, step, share[k], change[k]
                    )
            exchanged, through = 0.0, 0.0
            for _ in range(passes):
                f = shutter(pool_richardson(air, rim, height, wind), half, least)
                lift = np.sqrt(GRAVITY * (volume / top) * max(air - rim, 0.0) / air)
                upward = density * top * (entrain * wind * f + plume * lift + calm)
                run_out = np.sqrt(GRAVITY * max(out - air, 0.0) / out * DRAINAGE_DEPTH)
                sideways = density * (gap * opening * wind * f + drain * gap_width * DRAINAGE_DEPTH * run_out)
                for k in range(count):
                    received[k] = (
                        received_by(k, skin, seen) + sky[k] * down - low_sky[k] * slope + roofs[k] * black_body(out)
                    )
                constant, coefficient = 0.0, 0.0
                for k in range(count):
                    film = water[k] + ice[k]
                    seen_air = out if one_way else air
                    skin[k], heat[k], reply[k], vapour_rate[k], passed[k] = balance(
                        skin[k],
                        old[k],
                        seen_air,
                        out,
                        moist,
                        pressure,
                        density,
                        step,
                        forced,
                        seats,
                        floor_wind,
                        absorbed[r, k, t],
                        received[k],
                        seen[k, k],
                        emissivity[k],
                        film,
                        capacity[k],
                        bed[k],
                        share[k, 0],
                        change[k, 0],
                        deck[k],
                        is_floor[k],
                        windless[k],
                        dry_day[k] if day else dry_night[k],
                    )
                    if one_way:
                        constant += area[k] * heat[k] * (skin[k] - out)
                    else:
                        constant += area[k] * heat[k] * (skin[k] - reply[k] * air)
                        coefficient += area[k] * heat[k] * (1.0 - reply[k])
                before = air
                air = (HEAT_CAPACITY_AIR * (store * air_old + upward * rim + sideways * out) + constant + more_heat) / (
                    HEAT_CAPACITY_AIR * (store + upward + sideways) + coefficient
                )
                total, fixed = 0.0, 0.0
                for k in range(count):
                    if not one_way:
                        skin[k] += reply[k] * (air - before)
                    if passed[k] > 0.0:  # answers the air's humidity
                        total += area[k] * passed[k]
                        fixed += area[k] * passed[k] * saturation_humidity(skin[k], pressure)
                    else:
                        fixed += area[k] * vapour_rate[k]
                moist = (store * moist_old + (upward + sideways) * damp + fixed + more_vapour) / (
                    store + upward + sideways + total
                )
                exchanged = HEAT_CAPACITY_AIR * (upward * (rim - air) + sideways * (out - air))
                through = (upward + sideways) * (damp - moist)
            given, risen = more_heat, more_vapour
            for k in range(count):
                given += area[k] * heat[k] * (skin[k] - (out if one_way else air))
                rate = vapour_rate[k]
                if passed[k] > 0.0:
                    rate = passed[k] * (saturation_humidity(skin[k], pressure) - moist)
                risen += area[k] * rate
                if is_floor[k] < 0.5 or rate < 0.0 or water[k] + ice[k] > 0.0:
                    if skin[k] < ZERO_CELSIUS:
                        ice[k] -= rate * step
                    else:
                        water[k] -= rate * step
                for i in range(layers):
                    if bed[k] > 0.0:
                        ground[k, i] = change[k, i] + share[k, i] * (skin[k] if i == 0 else ground[k, i - 1])
                settle(k, skin, water, ice, capacity)
            fog = condensed(air, moist, pressure)
            budget[r, t, 0] = density * volume * HEAT_CAPACITY_AIR * (air - air_old) / step
            budget[r, t, 4] = density * volume * (moist - moist_old) / step
            if fog > 0.0:
                latent = vapour.latent_heat(air)
                air += latent * fog / HEAT_CAPACITY_AIR
                moist -= fog
                budget[r, t, 0] += store * latent * fog
                budget[r, t, 3] = store * latent * fog
                budget[r, t, 4] -= store * fog
                budget[r, t, 7] = -store * fog
            budget[r, t, 1], budget[r, t, 2] = given, exchanged
            budget[r, t, 5], budget[r, t, 6] = risen, through
            temperature[r, t], humidity[r, t], shut[r, t] = air, moist, f
            for k in range(count):
                skin_out[r, k, t], film_out[r, k, t], received_out[r, k, t] = skin[k], water[k] + ice[k], received[k]


@formula
def received_by(k, skin, seen):  # type: ignore[no-untyped-def]
    """Longwave on surface k from all other surfaces [W m-2]; their emissivities are in `seen`."""
    total = 0.0
    for j in range(len(skin)):
        if j != k:
            total += seen[k, j] * black_body(skin[j])
    return total


@formula
def condensed(air, moist, pressure):  # type: ignore[no-untyped-def]
    """Water [kg kg-1] that turns to fog so that the air is just saturated over water, its heat counted."""
    most = vapour.specific_humidity(vapour.saturation_pressure_water(air), pressure)
    if moist <= most:
        return 0.0
    latent = vapour.latent_heat(air)
    fog = 0.0
    for _ in range(6):
        warm = air + latent * fog / HEAT_CAPACITY_AIR
        full = vapour.specific_humidity(vapour.saturation_pressure_water(warm), pressure)
        rise = full * vapour.slope_water(warm) / vapour.saturation_pressure_water(warm)
        fog += (moist - fog - full) / (1.0 + rise * latent / HEAT_CAPACITY_AIR)
    return fog


@formula
def settle(k, skin, water, ice, capacity):  # type: ignore[no-untyped-def]
    """Melt frost on a skin above 0 degC and freeze dew on one below, heat kept; per square metre."""
    if skin[k] > ZERO_CELSIUS and ice[k] > 0.0:
        melt = min(ice[k], capacity[k] * (skin[k] - ZERO_CELSIUS) / LATENT_FUSION)
        ice[k] -= melt
        water[k] += melt
        skin[k] -= melt * LATENT_FUSION / capacity[k]
    elif skin[k] < ZERO_CELSIUS and water[k] > 0.0:
        freeze = min(water[k], capacity[k] * (ZERO_CELSIUS - skin[k]) / LATENT_FUSION)
        water[k] -= freeze
        ice[k] += freeze
        skin[k] += freeze * LATENT_FUSION / capacity[k]


@formula
def balance(  # type: ignore[no-untyped-def]
    guess,
    old,
    air,
    out,
    moist,
    pressure,
    density,
    step,
    forced,
    seats,
    floor_wind,
    sun,
    received,
    own,
    emissivity,
    film,
    capacity,
    bed,
    share,
    change,
    deck,
    is_floor,
    windless,
    dry,
):
    """Skin temperature [K] of one surface at the end of the step, by Newton's rule.

    Returns temperature, conductance to the air [W m-2 K-1], change of temperature with the air's [1], vapour given off
    [kg m-2 s-1], and the vapour conductance [kg m-2 s-1] while the surface answers the air's humidity, else 0.
    """
    bright = planks.film_emissivity(emissivity, film)
    store, soil = capacity / step, bed * (1.0 - share)
    skin = guess
    heat, rate, passed, slope = 0.0, 0.0, 0.0, 1.0
    for _ in range(NEWTON):
        if is_floor > 0.5:
            heat = density * HEAT_CAPACITY_AIR * floor_conductance(floor_wind, air, skin) + windless
        else:
            heat = planks.conductance(forced, seats * (skin - air))
        transfer = planks.vapour_conductance(heat)
        full = saturation_humidity(skin, pressure)
        latent = vapour.latent_heat(skin)
        if film > 0.0 or full < moist:
            passed = transfer
        else:
            passed = transfer / (1.0 + transfer * dry / density) if dry < 1e6 else 0.0
        rate = passed * (full - moist)
        steep = passed * full * vapour.slope(skin) / vapour.saturation_pressure(skin)
        if film > 0.0 and full > moist and rate * step > film and is_floor < 0.5:
            rate, steep, passed = film / step, 0.0, 0.0
        black = black_body(skin)
        emitted = bright * (1.0 - own) * black
        under = deck * planks.conductance(forced, skin - out) + deck * emissivity * 4.0 * STEFAN_BOLTZMANN * out**3
        gain = (
            sun
            + bright * received
            - emitted
            + heat * (air - skin)
            - latent * rate
            + under * (out - skin)
            + bed * change
            - soil * skin
            - store * (skin - old)
        )
        slope = 4.0 * emitted / skin + heat + latent * steep + under + soil + store
        by = gain / slope
        skin += by
        if abs(by) < CLOSE:
            break
    return skin, heat, heat / slope, rate, passed
