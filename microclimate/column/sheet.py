"""A cover: what it lets through, the air and vapour under it, its links, and the gains of what it lies on.

One sheet has two faces, INNER and OUTER, with its own resistance between them. Of two sheets INNER is the lower face of
the lower one and OUTER the upper face of the upper one; between them stand both resistances and the air layer, so that
the two inner faces need no nodes: what they store is laid on the outer ones, what they gain is shared between them by
the resistances on its way (tested against all four faces resolved).
The air under it has no heat of its own: it mixes what comes off both faces with what blows in.
"""

from microclimate.column import rows as s
from microclimate.column.ground import layer_temperature
from microclimate.column.lanes import larger, put, smaller
from microclimate.column.store import COVER_FILM, UNDER_FULL, film_curve
from microclimate.column.surface import latent_heat, longwave_up, saturation, wet_share
from microclimate.constants import HEAT_CAPACITY_AIR, ZERO_CELSIUS
from microclimate.physics import canopy, cover, longwave, vapour
from microclimate.physics.elementwise import Value, choose, formula

NEVER = 1e9  # [s m-1] resistance of what has no pores
FLAPS_FULLY = 1.5  # times the wind from which a sheet begins to flap (ours)


@formula
def faces(surface: Value) -> None:
    """Curve and temperatures of both faces at the start of a step; idle numbers where no cover lies."""
    water = surface[s.COVER_FILM] + surface[s.COVER_FROST]
    unfrozen, freezing, frozen, stretch = film_curve(surface[s.COVER_CAPACITY], water)
    enthalpy, held = surface[s.OUTER_ENTHALPY], surface[s.INNER_ENTHALPY]
    surface[s.OUTER_UNFROZEN] = unfrozen
    surface[s.OUTER_FREEZING] = freezing
    surface[s.OUTER_FROZEN] = frozen
    surface[s.OUTER_STRETCH] = stretch
    surface[s.OUTER_OLD] = enthalpy
    surface[s.OUTER] = layer_temperature(enthalpy, unfrozen, freezing, frozen, stretch)
    surface[s.INNER_OLD] = held
    surface[s.INNER] = held / surface[s.COVER_CAPACITY]


@formula
def lie(surface: Value, albedo: Value) -> None:
    """The cover is the top; what was before it, of an `albedo`, lies below."""
    covered, two = surface[s.COVER_LYING] > 0.0, surface[s.COVER_SHEETS] > 1.5
    put(surface, s.BELOW_WET, covered, surface[s.WET])
    put(surface, s.BELOW_WATER, covered, surface[s.WATER])
    dry = canopy.surface_resistance(
        surface[s.SUN] * surface[s.COVER_SUN], surface[s.RESISTANCE_DAY], surface[s.RESISTANCE_NIGHT]
    )
    kept = (surface[s.SNOWY] > 0.0) | (surface[s.LEAF] < 0.0)
    put(surface, s.BELOW_RESISTANCE, covered, choose(kept, surface[s.DRY_RESISTANCE], dry))
    film = surface[s.COVER_FILM] + surface[s.COVER_FROST]
    top = wet_share(film, 0.0 * film + COVER_FILM)
    under = wet_share(surface[s.UNDER_FILM], 0.0 * film + UNDER_FULL)
    surface[s.UNDERSIDE] = under
    below = choose(surface[s.SNOWY] > 0.0, surface[s.SKIN], surface[s.LEAF])
    sun, emitted = _sun(surface, two, top, under, albedo), _longwave(surface, two, top, under)
    to_below, to_inner, to_outer = sun
    emissivity, inner_emissivity, outer_emissivity, gap, between, through = emitted
    surface[s.BELOW_SUN] = choose(covered, to_below, 0.0)
    surface[s.INNER_SUN] = choose(covered, to_inner, 0.0)
    surface[s.BELOW_EMISSIVITY] = choose(covered, emissivity, 0.0)
    surface[s.INNER_EMISSIVITY] = choose(covered, inner_emissivity, 0.0)
    _air(surface, below, gap)
    _sheets(surface, two, between)
    # of what comes to the inner faces of two sheets a share goes past the own resistance of that sheet
    past, inner, outer = surface[s.PAST_SHEET], surface[s.INNER], surface[s.OUTER]
    upper, lower = black_body(outer + past * (inner - outer)), black_body(inner + past * (outer - inner))
    passes = choose(covered, through * (upper - black_body(below)), 0.0)
    surface[s.THROUGH] = passes
    shared = past * inner_emissivity * (surface[s.LONGWAVE] - lower)
    put(surface, s.TOP_SUN, covered, to_outer - (1.0 - past) * passes + shared)
    put(surface, s.TOP_EMISSIVITY, covered, outer_emissivity)
    put(surface, s.WATER, covered, film)
    put(surface, s.WET, covered, top)
    put(surface, s.DRY_RESISTANCE, covered, NEVER)


@formula
def black_body(temperature: Value) -> Value:
    """What a black face of `temperature` [degC] emits [W m-2]."""
    return longwave.black_body(temperature + ZERO_CELSIUS)


@formula
def _sun(surface: Value, two: Value, top: Value, under: Value, albedo: Value) -> Value:
    """Sunlight taken up below, by the lower of two sheets and by the upper one [W m-2]."""
    dry, back, sun = surface[s.COVER_SUN], surface[s.COVER_ALBEDO], surface[s.SUN]
    ice = layer_ice(surface)
    # drops on the underside are those of the lower sheet
    upper, upper_back = cover.wetted_shortwave(dry, back, larger(top, choose(two, 0.0, under)), ice)
    lower, lower_back = cover.wetted_shortwave(dry, back, under, 0.0 * ice)
    lower, lower_takes = choose(two, lower, 1.0), choose(two, 1.0 - lower - lower_back, 0.0)
    takes = 1.0 - upper - upper_back
    found = cover.absorbed_between(upper, takes, takes, lower, lower_takes, lower_takes, 1.0 - albedo)
    to_below, to_lower, to_upper = found[0]
    return to_below * sun, to_lower * sun, to_upper * sun


@formula
def layer_ice(surface: Value) -> Value:
    """Ice and snow on the cover [kg m-2]."""
    water = surface[s.COVER_FILM] + surface[s.COVER_FROST]
    return water * smaller(larger(-surface[s.OUTER_OLD] / surface[s.OUTER_STRETCH], 0.0), 1.0)


@formula
def _longwave(surface: Value, two: Value, top: Value, under: Value) -> Value:
    """Shares of the sky's longwave for below, inner and outer face; exchange below-inner, between sheets, below-outer.

    The face over the ground of a single sheet is INNER: its exchange with the ground is the sheet's.
    """
    dry, own = surface[s.COVER_LONGWAVE], surface[s.COVER_EMISSIVITY]
    snowy = surface[s.SNOWY] > 0.0
    ground = choose(snowy, surface[s.TOP_EMISSIVITY], surface[s.EMISSIVITY])
    upper, upper_top, upper_under = cover.wetted_longwave(dry, own, top, choose(two, 0.0, under))
    lower, lower_top, lower_under = cover.wetted_longwave(dry, own, 0.0 * top, under)
    lower, lower_top = choose(two, lower, 1.0), choose(two, lower_top, 0.0)
    lower_under = choose(two, lower_under, 0.0)
    sky, among = cover.absorbed_between(upper, upper_top, upper_under, lower, lower_top, lower_under, ground)
    past, between, nearest = among
    return sky[0], sky[1], sky[2], choose(two, nearest, past), between, choose(two, past, 0.0)


@formula
def _air(surface: Value, below: Value, gap: Value) -> None:
    """Links through the air under the cover, and what blows into it; `gap`: its longwave exchange factor [1]."""
    covered = surface[s.COVER_LYING] > 0.0
    inner, wind, capacity = surface[s.INNER], surface[s.WIND], surface[s.DENSITY] * HEAT_CAPACITY_AIR
    begins = larger(surface[s.FLAPS_FROM], 0.1)
    flaps = smaller(larger((wind / begins - 1.0) / (FLAPS_FULLY - 1.0), 0.0), 1.0)
    up = surface[s.GAP_UP] + flaps * (surface[s.FLAPPING_UP] - surface[s.GAP_UP])
    down = surface[s.GAP_DOWN] + flaps * (surface[s.FLAPPING_DOWN] - surface[s.GAP_DOWN])
    # two faces and the air between them as a star: twice the convection from each face
    face = 2.0 * choose(below > inner, up, down)
    leaks = (surface[s.COVER_EDGE] + surface[s.COVER_PORES] * wind) * wind
    blown = surface[s.WARM_FLOW] * (1.0 - surface[s.COVER_WASTES])
    vent = blown + leaks * capacity
    warmer = blown * (surface[s.WARM_AIR] - surface[s.AIR]) / larger(vent, 1e-9)
    direct, each = cover.gap_star(face, vent)
    mean = 0.5 * (below + inner) + ZERO_CELSIUS
    direct = direct + cover.radiation_conductance(mean, gap)
    surface[s.LINK_GAP] = direct
    surface[s.LINK_WARM] = each
    surface[s.VENT] = vent
    surface[s.VENT_AIR] = surface[s.AIR] + warmer
    surface[s.VENT_SPEED] = vent / capacity + surface[s.COVER_PASSES]
    surface[s.GAP_FACE] = face / capacity
    put(surface, s.LINK_LEAF, covered & ~(surface[s.SNOWY] > 0.0), direct)


@formula
def _sheets(surface: Value, two: Value, between: Value) -> None:
    """Link of the two faces; `between`: longwave exchange factor of two sheets [1]."""
    inner, outer, own = surface[s.INNER], surface[s.OUTER], surface[s.COVER_CONDUCTANCE]
    air = choose(inner > outer, surface[s.BETWEEN_UP], surface[s.BETWEEN_DOWN])
    air = air + cover.radiation_conductance(0.5 * (inner + outer) + ZERO_CELSIUS, between)
    # both sheets' own resistances in line with the air
    link = own * air / (own + 2.0 * air)
    surface[s.LINK_SHEET] = choose(two, link, own)
    surface[s.PAST_SHEET] = choose(two, link / larger(own, 1e-9), 0.0)


@formula
def under(surface: Value, rate: Value) -> None:
    """What the surface under a cover and its inner face gain [W m-2] in this pass, and lose more per kelvin."""
    below = choose(surface[s.SNOWY] > 0.0, surface[s.SKIN], surface[s.LEAF])
    inner, warm, sky = surface[s.INNER], surface[s.LINK_WARM], surface[s.LONGWAVE]
    wet, dew = _vapour(surface, below, rate)
    off_film, film_slope, latent, latent_slope = wet
    onto, onto_slope, freed, freed_slope = dew
    up, slope = longwave_up(below, surface[s.BELOW_EMISSIVITY])
    gain = surface[s.BELOW_SUN] + surface[s.BELOW_EMISSIVITY] * sky - up + surface[s.THROUGH]
    surface[s.UNDER_GAIN] = gain + warm * (surface[s.VENT_AIR] - below) - latent
    surface[s.UNDER_LOSS] = slope + warm + latent_slope
    surface[s.UNDER_VAPOUR] = off_film
    surface[s.UNDER_VAPOUR_SLOPE] = film_slope
    past = surface[s.PAST_SHEET]
    stays = 1.0 - past
    up, slope = longwave_up(inner + past * (surface[s.OUTER] - inner), stays * surface[s.INNER_EMISSIVITY])
    slope = stays * slope
    gain = surface[s.INNER_SUN] + stays * surface[s.INNER_EMISSIVITY] * sky - up - past * surface[s.THROUGH]
    surface[s.INNER_GAIN] = gain + warm * (surface[s.VENT_AIR] - inner) + freed
    surface[s.INNER_LOSS] = slope + warm + freed_slope
    surface[s.INNER_DEW] = onto
    surface[s.INNER_DEW_SLOPE] = onto_slope


@formula
def _vapour(surface: Value, below: Value, rate: Value) -> Value:
    """Vapour in the gap: off the surface below and onto the cover's underside.

    (vapour off the film below [kg m-2 s-1], its rise per kelvin, latent heat lost there [W m-2], its rise),
    (dew on the underside [kg m-2 s-1], its fall per kelvin, heat freed there [W m-2], its fall). The air's humidity is
    of the temperatures of this pass; dew on the underside stays liquid (its heat of freezing, some 0.03 MJ m-2, is left
    out).
    """
    density, face, pressure = surface[s.DENSITY], surface[s.GAP_FACE], surface[s.PRESSURE]
    inner, vent, outside = surface[s.INNER], surface[s.VENT_SPEED], surface[s.HUMIDITY]
    held, held_slope = saturation(below, pressure)
    inner_held, inner_slope = saturation(inner, pressure)
    film = surface[s.BELOW_WET] * face
    leaf = (1.0 - surface[s.BELOW_WET]) * face / (1.0 + face * surface[s.BELOW_RESISTANCE])
    humidity, gives, takes = cover.gap_humidity(
        held, film + leaf, inner_held, surface[s.UNDERSIDE] * face, face, vent, outside
    )
    lack, excess = held - humidity, humidity - inner_held
    leaves, dries = lack > 0.0, excess < 0.0
    # no more than there is
    film = smaller(film, surface[s.BELOW_WATER] * rate / (density * larger(lack, 1e-9)))
    takes = choose(dries, smaller(takes, surface[s.UNDER_FILM] * rate / (density * larger(-excess, 1e-9))), takes)
    all_held = gives + takes + vent + 1e-12
    own, other = 1.0 - gives / all_held, 1.0 - takes / all_held
    off_film, off_leaf = density * choose(leaves, film, face), density * choose(leaves, leaf, 0.0)
    heat = latent_heat(below)
    wet = (
        off_film * lack,
        off_film * held_slope * own,
        heat * (off_film + off_leaf) * lack,
        heat * (off_film + off_leaf) * held_slope * own,
    )
    onto, freed = density * takes, vapour.latent_heat_vaporisation(inner + ZERO_CELSIUS)
    slope = onto * inner_slope * other
    return wet, (onto * excess, slope, freed * onto * excess, freed * slope)
