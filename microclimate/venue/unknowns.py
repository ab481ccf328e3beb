"""What is rarely known about a venue, and the range it may have: the venue twice, once at each end.

`microclimate check` runs tonight with both ends of each and names those that move the answer most. A range is wider
where the user said "don't know" (`guessed`). Ranges are priors, from memory or common practice unless a source stands
beside them.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from microclimate.venue.bowl import StandSurface
from microclimate.venue.described import Venue
from microclimate.venue.field import Turf, Zone
from microclimate.venue.ground import BUILDS, Ground, Layer
from microclimate.venue.materials import STANDS


@dataclass(frozen=True)
class Range:
    """One unknown: its name in plain words, the venue at its low and its high end, and what those ends are."""

    key: str
    label: str
    ends: tuple[str, str]
    low: Venue
    high: Venue
    guessed: bool
    basis: str


def ranges(venue: Venue) -> tuple[Range, ...]:
    """All unknowns that this venue has; parts it has not (no trays, no covers) are left out."""
    found = [*_ground(venue), *_leaf(venue), *_site(venue)]
    if venue.bowl.stands or venue.bowl.walls or venue.bowl.meshes:
        found += _stands(venue)
    if venue.equipment.covers:
        found.append(_covers(venue))
    return tuple(found)


def _ground(venue: Venue) -> Iterator[Range]:
    guessed = "build" in venue.guessed
    step = 0.08 if guessed else 0.04

    def wetted(by: float) -> Venue:
        def change(layer: Layer) -> Layer:
            if layer.material not in ("sand mix", "loam"):
                return layer
            water = min(max(layer.water_content + by, 0.02), layer.porosity)
            return layer.model_copy(update={"water_content": water})

        return _zones(venue, lambda zone: {"layers": tuple(map(change, zone.layers))})

    yield Range(
        "water",
        "water in the root zone",
        (f"{100 * step:.0f} % of the volume less", f"{100 * step:.0f} % more"),
        wetted(-step),
        wetted(step),
        guessed,
        "classes of a sand-field study, 0.05..0.27 (Crop Science 2018)",
    )
    if guessed and all(not zone.base.over_air for zone in venue.field.zones):

        def built(build: str) -> Venue:
            layers = Ground.model_validate({"build": build}).profile
            return _zones(venue, lambda zone: {"layers": layers})

        low, high = "sand over gravel", "native soil"
        label, basis = "what is under the grass", f"builds: {', '.join(BUILDS)}"
        yield Range("build", label, (low, high), built(low), built(high), True, basis)
    if any(zone.base.over_air for zone in venue.field.zones):

        def draughty(value: float) -> Venue:
            def change(zone: Zone) -> dict[str, Any]:
                base = zone.base.model_copy(update={"draught": value}) if zone.base.over_air else zone.base
                return {"base": base}

            return _zones(venue, change)

        ends = ("tight, air 5 % from outside", "open, air as outside")
        yield Range(
            "draught", "draught below the trays", ends, draughty(0.05), draughty(1.0), guessed, "ours, no source"
        )


def _leaf(venue: Venue) -> Iterator[Range]:
    guessed = bool({"grass", "height"} & set(venue.guessed))
    factor = 2.0 if guessed else 1.5
    basis = "factor 1.5 on a measured lawn; 2 where grass or height were not known"
    yield Range(
        "canopy",
        "how well the leaf is coupled to the soil (thatch, height of cut)",
        (f"{factor:g} times weaker", f"{factor:g} times stronger"),
        _turf(venue, "canopy_conductance", 1 / factor),
        _turf(venue, "canopy_conductance", factor),
        guessed,
        basis,
    )
    yield Range(
        "still air",
        "heat exchange of the leaf with still air",
        ("half", "twice"),
        _turf(venue, "exchange_floor", 0.5),
        _turf(venue, "exchange_floor", 2.0),
        False,
        "2 W/m2K windless (Jordan 1991), 2..8 found over lawn, meadow and stubble",
    )


def _site(venue: Venue) -> Iterator[Range]:
    guessed = "surroundings" in venue.guessed
    factor = 5.0 if guessed else 2.5

    def rough(by: float) -> Venue:
        length = min(max(venue.site.roughness_length * by, 1e-4), 3.0)
        return venue.model_copy(update={"site": venue.site.model_copy(update={"surroundings": length})})

    yield Range(
        "surroundings",
        "how rough the land round the venue is",
        (f"{factor:g} times smoother", f"{factor:g} times rougher"),
        rough(1 / factor),
        rough(factor),
        guessed,
        "one class of the Davenport table either way; two where not known",
    )


def _stands(venue: Venue) -> list[Range]:
    guessed = bool({"stands", "stand_shape"} & set(venue.guessed)) or any(stand.rough for stand in venue.bowl.stands)
    share = 0.25 if guessed else 0.05

    def taller(by: float) -> Venue:
        stands = []
        for stand in venue.bowl.stands:
            tiers = tuple(
                tier.model_copy(update={"front_height": tier.front_height * by, "riser": tier.riser * by})
                for tier in stand.tiers
            )
            raised = stand.top * (by - 1.0)
            roof = stand.roof and stand.roof.model_copy(
                update={
                    "height_front": stand.roof.height_front + raised,
                    "height_back": stand.roof.height_back + raised,
                }
            )
            stands.append(stand.model_copy(update={"tiers": tiers, "roof": roof}))
        walls = tuple(
            wall.model_copy(update={"top": wall.bottom + (wall.top - wall.bottom) * by}) for wall in venue.bowl.walls
        )
        return _bowl(venue, {"stands": tuple(stands), "walls": walls})

    turn = 45.0 if "bearing" in venue.guessed else 2.0

    def turned(by: float) -> Venue:
        field = venue.field.model_copy(update={"bearing": (venue.field.bearing + by) % 360.0})
        return venue.model_copy(update={"field": field})

    names = venue.bowl.materials

    def coated(pick: Callable[[StandSurface], dict[str, float]]) -> Venue:
        changed = [venue.bowl.surface(name) for name in names]
        changed = [surface.model_copy(update=pick(surface)) for surface in changed]
        kept = tuple(surface for surface in venue.bowl.surfaces if surface.name not in names)
        return _bowl(venue, {"surfaces": (*changed, *kept)})

    def emitting(end: int) -> Callable[[StandSurface], dict[str, float]]:
        return lambda surface: {"emissivity": _emissivity(surface)[end]}

    def reflecting(by: float) -> Callable[[StandSurface], dict[str, float]]:
        return lambda surface: {"albedo": min(max(surface.albedo + by, 0.05), 0.9)}

    found = [
        Range(
            "bearing",
            "direction of the field",
            (f"{turn:g}° less", f"{turn:g}° more"),
            turned(-turn),
            turned(turn),
            "bearing" in venue.guessed,
            "a compass reading is good to about 2 degrees",
        ),
    ]
    if venue.bowl.stands or venue.bowl.walls:  # a drawing's heights are known
        ends = (f"{100 * share:.0f} % lower", f"{100 * share:.0f} % higher")
        label, basis = "height of the stands", "ours, no source"
        found.append(Range("stand height", label, ends, taller(1 - share), taller(1 + share), guessed, basis))
    if names:
        found += [
            Range(
                "emissivity",
                "how the seats send out heat (bare, coated, dirty metal)",
                ("mirrors the sky", "sends out like paint"),
                coated(emitting(0)),
                coated(emitting(1)),
                guessed,
                "handbook tables: sheet .09, oxidised .2-.4, anodised .83-.86",
            ),
            Range(
                "albedo",
                "how bright the seats are",
                ("0.15 darker", "0.15 brighter"),
                coated(reflecting(-0.15)),
                coated(reflecting(0.15)),
                guessed,
                "weathered metal .5-.75, concrete .14-.55 (tables)",
            ),
        ]
    return found


def _emissivity(surface: StandSurface) -> tuple[float, float]:
    """Range of what a surface may be: metal that is called bare may be anything from polished to oxidised."""
    known = STANDS.get(surface.like or surface.name)
    metal = known is not None and known.emissivity < 0.5
    return (0.07, 0.45) if metal else (max(surface.emissivity - 0.04, 0.02), min(surface.emissivity + 0.04, 0.98))


def _covers(venue: Venue) -> Range:
    def insulating(by: float) -> Venue:
        covers = tuple(
            cover.model_copy(update={"resistance": cover.resistance * by, "air_gap": cover.air_gap * by})
            for cover in venue.equipment.covers
        )
        return venue.model_copy(update={"equipment": venue.equipment.model_copy(update={"covers": covers})})

    return Range(
        "cover",
        "how well the covers insulate",
        ("half (worn, wet, flapping)", "a third more"),
        insulating(0.5),
        insulating(1.33),
        False,
        "flapping halves the gap's value (from memory); insulated blankets 0.35..1.4 m2K/W",
    )


def _zones(venue: Venue, change: Callable[[Zone], dict[str, Any]]) -> Venue:
    zones = tuple(zone.model_copy(update=change(zone)) for zone in venue.field.zones)
    return venue.model_copy(update={"field": venue.field.model_copy(update={"zones": zones})})


def _turf(venue: Venue, name: str, factor: float) -> Venue:
    def change(turf: Turf) -> Turf:
        return turf.model_copy(update={name: getattr(turf, name) * factor})

    changed = _zones(venue, lambda zone: {"turf": change(zone.turf)})
    field = changed.field.model_copy(update={"turf": change(venue.field.turf)})
    return changed.model_copy(update={"field": field})


def _bowl(venue: Venue, update: dict[str, Any]) -> Venue:
    return venue.model_copy(update={"bowl": venue.bowl.model_copy(update=update)})
