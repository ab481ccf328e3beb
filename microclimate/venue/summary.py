"""What a venue file says, told back in the reader's units, and what in it deserves a second look."""

from collections.abc import Iterator

from microclimate.venue.bowl import Stand
from microclimate.venue.described import Venue
from microclimate.venue.field import Zone
from microclimate.venue.ground import PROFILE_DEPTH, depth


def lines(venue: Venue) -> tuple[tuple[str, str], ...]:
    """Pairs of heading and text, in the order of the file."""
    return (*_place(venue), *_under(venue), *_round(venue), *_tools(venue))


def notes(venue: Venue) -> tuple[str, ...]:
    """What was filled in, and what is legal but looks like a slip."""
    return (*venue.assumed, *_second_looks(venue))


def _place(venue: Venue) -> Iterator[tuple[str, str]]:
    shown, field, site = venue.shown, venue.field, venue.site
    yield "venue", f"{venue.name}{f', {site.name}' if site.name else ''}"
    north, east = ("N" if site.latitude >= 0 else "S"), ("E" if site.longitude >= 0 else "W")
    yield (
        "site",
        f"{abs(site.latitude):.2f}° {north}, {abs(site.longitude):.2f}° {east}, "
        f"{shown.text(site.elevation, 'length', 0)} above the sea, clock of {site.time_zone}",
    )
    size = f"{shown.text(field.length, 'length', 0)} × {shown.text(field.width, 'length', 0)}"
    yield "field", f"{size}, long axis towards {field.bearing:.0f}°, {len(field.zones)} zones"
    turf = field.turf
    height = shown.text(turf.mowing_height, "depth", 0 if shown.system == "metric" else 2)
    yield (
        "grass",
        f"{turf.surface}, {turf.species}, {height}",
    )


def _under(venue: Venue) -> Iterator[tuple[str, str]]:
    kinds: dict[str, list[Zone]] = {}
    for zone in venue.field.zones:
        kinds.setdefault(_build(venue, zone), []).append(zone)
    for text, zones in kinds.items():
        area = venue.shown.text(sum(zone.area for zone in zones), "area", 0)
        yield "under the grass", f"{len(zones)} zones, {area}: {text}"


def _build(venue: Venue, zone: Zone) -> str:
    digits = 0 if venue.units == "metric" else 1
    layers = zone.layers
    if not zone.base.over_air and depth(layers) >= PROFILE_DEPTH - 0.06:
        layers = layers[:-1]
    told = ", ".join(
        f"{venue.shown.text(layer.thickness, 'depth', digits)} {layer.material}"
        + (f" ({100 * layer.water_content:.0f} % water)" if layer.porosity > 0.1 else "")
        for layer in layers
    )
    return f"{told}; {zone.base.kind}" + (f"; heated by {zone.circuit!r}" if zone.circuit else "")


def _round(venue: Venue) -> Iterator[tuple[str, str]]:
    bowl = venue.bowl
    if not bowl.stands and not bowl.walls and not bowl.meshes:
        yield "stands", "none: an open field"
    for stand in bowl.stands:
        yield "stand", _stand(venue, stand)
    for drawing in bowl.meshes:
        top = venue.shown.text(drawing.top, "length")
        yield "drawing", f"{drawing.name}: {drawing.faces} faces of {' and '.join(drawing.materials)}, up to {top}"
    if bowl.walls:
        top = venue.shown.text(max(wall.top for wall in bowl.walls), "length")
        yield "walls", f"{len(bowl.walls)}, highest {top}"


def _stand(venue: Venue, stand: Stand) -> str:
    shown = venue.shown
    materials = list(dict.fromkeys(name for tier in stand.tiers for name in (tier.material, tier.seats) if name))
    rows = sum(tier.rows for tier in stand.tiers)
    text = (
        f"{stand.name} ({stand.side}): {rows} rows of {' and '.join(materials)}, "
        f"from {shown.text(stand.tier_fronts[0], 'length')} off the field to {shown.text(stand.back, 'length')}, "
        f"top row {shown.text(stand.top, 'length')} up"
    )
    if stand.roof is not None:
        text += (
            f"; roof {shown.text(stand.roof.depth, 'length')} deep at {shown.text(stand.roof.height_front, 'length')}"
        )
    return text


def _tools(venue: Venue) -> Iterator[tuple[str, str]]:
    shown = venue.shown
    for circuit in venue.equipment.circuits:
        area = _heated(venue, circuit.name)
        yield (
            "heating",
            f"{circuit.name}: {circuit.kind}, {circuit.power:.0f} {shown.symbol('flux')} over "
            f"{shown.text(area, 'area', 0)} = {shown.text(circuit.power * area, 'power', 0)}, "
            f"{shown.text(circuit.depth, 'depth', 0 if shown.system == 'metric' else 1)} deep, "
            f"set point {shown.text(circuit.set_point, 'temperature')}",
        )
    for cover in venue.equipment.covers:
        yield (
            "cover",
            f"{cover.name}: {cover.kind}, {cover.resistance:g} m²K/W, {cover.people} people "
            f"{cover.minutes:.0f} min, no work above gusts of {shown.text(cover.gust_stop, 'speed', 0)}",
        )
    yield "crew", f"{venue.crew.people} people, {venue.crew.notice / 3600:g} h notice"


def _heated(venue: Venue, circuit: str) -> float:
    return sum(zone.area for zone in venue.field.zones if zone.circuit == circuit)


def _second_looks(venue: Venue) -> Iterator[str]:
    shown, equipment = venue.shown, venue.equipment
    installed = sum(circuit.power * _heated(venue, circuit.name) for circuit in equipment.circuits)
    if equipment.plant is not None and equipment.plant.power is not None and installed > equipment.plant.power:
        yield (
            f"the circuits can take {shown.text(installed, 'power', 0)}, the plant gives "
            f"{shown.text(equipment.plant.power, 'power', 0)}: not all can run in full at once"
        )
    for circuit in equipment.circuits:
        if circuit.power > 300.0:
            yield f"circuit {circuit.name}: {circuit.power:.0f} W/m² is far above what fields have (about 50 to 170)"
        ceilings = {
            venue.species(zone.turf).rootzone_ceiling for zone in venue.field.zones if zone.circuit == circuit.name
        }
        if ceilings and circuit.ceiling > min(ceilings):
            yield (
                f"circuit {circuit.name}: the ceiling {shown.text(circuit.ceiling, 'temperature')} is above "
                f"{shown.text(min(ceilings), 'temperature')}, where the roots of this grass suffer"
            )
        if circuit.depth < 0.15 and (circuit.supply_temperature or 0.0) > 308.2:
            yield f"circuit {circuit.name}: shallow pipes with hot water can burn roots (common practice, no source)"
    for cover in equipment.covers:
        if cover.people > venue.crew.people:
            yield f"cover {cover.name} takes {cover.people} people, the crew has {venue.crew.people}"
    limits = venue.limits
    if limits.crust_depth >= limits.frozen_layer_depth or limits.frozen_layer_depth > limits.thaw_search_depth:
        yield "limits: crust_depth, frozen_layer_depth and thaw_search_depth should rise in this order"
    if not 40.0 <= venue.field.length <= 150.0 and venue.bowl.stands:
        yield f"a field {shown.text(venue.field.length, 'length', 0)} long inside stands: feet read as metres?"
    for stand in venue.bowl.stands:
        if stand.top < 0.8 or stand.top > 60.0:
            yield f"stand {stand.name}: top row {shown.text(stand.top, 'length')} above the field?"
