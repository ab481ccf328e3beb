"""A cover as the two plain columns of the benchmark have it: numbers of one column, or arrays of many."""

from types import SimpleNamespace
from typing import Any

from microclimate.column import sheet as kernel
from microclimate.column import store
from microclimate.column.surface import latent_heat, longwave_up, saturation
from microclimate.constants import HEAT_CAPACITY_AIR, ZERO_CELSIUS
from microclimate.physics import canopy, cover, vapour
from microclimate.physics.elementwise import choose


def lie(sheet: Any, sky: Any, below: Any, inner: Any, outer: Any, films: Any) -> SimpleNamespace:
    """What a sheet (its numbers, `store`) does in a step.

    `sky`: air, humidity, wind, density, pressure, sun, longwave; `below`: temperature, albedo, emissivity, wet share,
    water, resistance of what lies below; `films`: water on top, ice on top, water on the underside.
    """
    air, _, wind, density, _, sun, longwave = sky
    leaf, albedo, emissivity, wet, water, resistance = below
    two = sheet[9] > 1.5
    top = canopy.fast_wet_share(films[0], store.COVER_FILM)
    under = canopy.fast_wet_share(films[2], store.UNDER_FULL)
    upper_drops = choose(two, top, choose(top > under, top, under))
    light, back = cover.wetted_shortwave(sheet[3], sheet[6], upper_drops, films[1])
    low, low_back = cover.wetted_shortwave(sheet[3], sheet[6], under, 0.0)
    low, low_takes = choose(two, low, 1.0), choose(two, 1.0 - low - low_back, 0.0)
    takes = 1.0 - light - back
    lit = cover.absorbed_between(light, takes, takes, low, low_takes, low_takes, 1.0 - albedo)[0]
    heat = cover.wetted_longwave(sheet[4], sheet[5], top, choose(two, 0.0, under))
    lower = cover.wetted_longwave(sheet[4], sheet[5], 0.0 * top, under)
    lower = tuple(choose(two, a, b) for a, b in zip(lower, (1.0, 0.0, 0.0), strict=True))
    seen, (past, between, nearest) = cover.absorbed_between(*heat, *lower, emissivity)
    flaps = (wind / sheet[14] - 1.0) / (kernel.FLAPS_FULLY - 1.0)
    flaps = choose(flaps > 0.0, choose(flaps < 1.0, flaps, 1.0), 0.0)
    calm, flapping = choose(leaf > inner, sheet[1], sheet[2]), choose(leaf > inner, sheet[12], sheet[13])
    face = 2.0 * (calm + flaps * (flapping - calm))
    capacity = density * HEAT_CAPACITY_AIR
    vent = (sheet[15] + sheet[16] * wind) * wind * capacity
    direct, each = cover.gap_star(face, vent)
    mean = 0.5 * (leaf + inner) + ZERO_CELSIUS
    direct = direct + cover.radiation_conductance(mean, choose(two, nearest, past))
    air_between = choose(inner > outer, sheet[10], sheet[11])
    air_between = air_between + cover.radiation_conductance(0.5 * (inner + outer) + ZERO_CELSIUS, between)
    sheets = choose(two, sheet[0] * air_between / (sheet[0] + 2.0 * air_between), sheet[0])
    split = choose(two, sheets / sheet[0], 0.0)
    passes = kernel.black_body(outer + split * (inner - outer)) - kernel.black_body(leaf)
    passes = choose(two, past, 0.0) * passes
    shared = split * seen[1] * (longwave - kernel.black_body(inner + split * (outer - inner)))
    return SimpleNamespace(
        below_sun=lit[0] * sun,
        inner_sun=lit[1] * sun,
        outer_sun=lit[2] * sun - (1.0 - split) * passes + shared,
        split=split,
        emissivities=seen,
        through=passes,
        gap=direct,
        warm=each,
        sheets=sheets,
        face=face / capacity,
        vent=vent / capacity + sheet[17],
        wet=wet,
        water=water,
        resistance=resistance,
        underside=under,
        hanging=films[2],
        top=top,
        air=air,
    )


def under(now: SimpleNamespace, sky: Any, leaf: Any, inner: Any, outer: Any, rate: float) -> Any:
    """Gain of the leaf and its fall per kelvin, vapour off its film and its rise; that of the inner face and dew."""
    air, humidity, _, density, pressure, _, longwave = sky
    held, held_slope = saturation(leaf, pressure)
    inner_held, inner_slope = saturation(inner, pressure)
    film = now.wet * now.face
    leaves = (1.0 - now.wet) * now.face / (1.0 + now.face * now.resistance)
    gap, gives, takes = cover.gap_humidity(
        held, film + leaves, inner_held, now.underside * now.face, now.face, now.vent, humidity
    )
    lack, excess = held - gap, gap - inner_held
    most = now.water * rate / (density * choose(lack > 1e-9, lack, 1e-9))
    film = choose(film < most, film, most)
    most = now.hanging * rate / (density * choose(-excess > 1e-9, -excess, 1e-9))
    takes = choose((excess < 0.0) & (takes > most), most, takes)
    together = gives + takes + now.vent + 1e-12
    own, other = 1.0 - gives / together, 1.0 - takes / together
    off_film, off_leaf = density * choose(lack > 0.0, film, now.face), density * choose(lack > 0.0, leaves, 0.0)
    heat = latent_heat(leaf) * (off_film + off_leaf)
    onto, freed = density * takes, vapour.latent_heat_vaporisation(inner + ZERO_CELSIUS)
    up, slope = longwave_up(leaf, now.emissivities[0])
    gain = now.below_sun + now.emissivities[0] * longwave - up + now.through + now.warm * (air - leaf) - heat * lack
    loss = slope + now.warm + heat * held_slope * own
    stays = 1.0 - now.split
    up, slope = longwave_up(inner + now.split * (outer - inner), stays * now.emissivities[1])
    inner_gain = now.inner_sun + stays * now.emissivities[1] * longwave - up - now.split * now.through
    inner_gain = inner_gain + now.warm * (air - inner) + freed * onto * excess
    inner_loss = stays * slope + now.warm + freed * onto * inner_slope * other
    dew, dew_slope = onto * excess, onto * inner_slope * other
    return (gain, loss, off_film * lack, off_film * held_slope * own), (inner_gain, inner_loss, dew, dew_slope)


def drips(sheet: Any, films: Any, after: Any, off: Any, dew: Any) -> Any:
    """Water from above [kg m-2] through a fabric, that off the underside, and what still hangs there.

    `films` and `after`: water on top (with its ice) before and after the step; `off`: vapour off the top; `dew` below.
    """
    through = films[0] - off - after
    through = choose(through > 0.0, through, 0.0) * sheet[8]
    hangs = films[2] + dew
    hangs = choose(hangs > 0.0, hangs, 0.0)
    drops = choose(hangs > store.UNDER_FULL, hangs - store.UNDER_FULL, 0.0)
    return through, drops, hangs - drops
