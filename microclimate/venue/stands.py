"""From the tables of a venue file to what stands round the field."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from microclimate.venue import rules
from microclimate.venue.bowl import Bowl, Gap, Roof, Skyline, Stand, StandTable, Wall, side_name
from microclimate.venue.described import VenueFile
from microclimate.venue.drawing_rules import drawing
from microclimate.venue.faults import Findings, close
from microclimate.venue.field import FieldTable, Point, middle
from microclimate.venue.materials import STANDS

SKYLINE_STEP = 5.0  # [degree] of the compass, one wall each: ours
RINGS = ("rounded rectangle", "oval", "horseshoe")


def bowl(
    described: VenueFile,
    outlines: Sequence[tuple[str, tuple[Point, ...]]],
    directory: Path,
    report: Findings,
    assumed: list[str],
) -> Bowl:
    """What stands round the field.

    outlines: of the zones, which a skyline's spot may name; directory: where mesh files are looked for.
    """
    table, field = described.bowl, described.field
    stands = [_stand(stand, number, field, report, assumed) for number, stand in enumerate(described.stand, start=1)]
    walls = list(described.wall)
    if described.skyline is not None:
        walls.extend(_skyline(described.skyline, dict(outlines), field, report))
        assumed.append("the skyline's distance is a guess: shade is right at the spot, less so elsewhere")
    drawn = [drawing(mesh, number, field, directory, report) for number, mesh in enumerate(described.mesh, start=1)]
    surfaces = {surface.name: surface for surface in described.material}
    known = [*surfaces, *STANDS]
    uses = [("[bowl]", table.fascia_material)]
    for number, stand in enumerate(stands, start=1):
        for tier in stand.tiers:
            uses += [(f"[[stand]] {number}", name) for name in (tier.material, tier.seats) if name]
    uses += [(f"[[wall]] {number}", wall.material) for number, wall in enumerate(described.wall, start=1)]
    for number, mesh in enumerate(described.mesh, start=1):
        uses += [
            (f"[[mesh]] {number}", name) for name in (mesh.material, *(part.material for part in mesh.part)) if name
        ]
    if described.skyline is not None:
        uses.append(("[skyline]", described.skyline.material))
    for place, name in dict.fromkeys(uses):
        if name not in known and "material" not in report.broken:
            report(place, f"material {name!r} is not known", close(name, known) or f"one of {', '.join(known)}")
    for name in rules.duplicates([surface.name for surface in described.material]):
        report("[[material]]", f"the name {name!r} comes twice", "names must differ")
    for name in rules.duplicates([*(stand.name for stand in stands), *(mesh.name for mesh in drawn if mesh)]):
        report(
            "[[stand]]" if name in [stand.name for stand in stands] else "[[mesh]]",
            f"the name {name!r} comes twice",
            "names must differ",
        )
    ringed = [stand.side == "all" for stand in stands]
    kind = table.kind or ("none" if not stands else "rounded rectangle" if any(ringed) else "separate stands")
    if not report.broken & {"bowl", "stand"}:
        _kind(kind, ringed, bool(described.gap), report)
    gaps = tuple(_gap(gap, number, field, report) for number, gap in enumerate(described.gap, start=1))
    open_end = "foot"
    try:
        open_end = side_name(table.open_end, field.bearing)
    except ValueError as error:
        report("[bowl]", f"open_end {error}")
    built = Bowl.model_validate(
        table.model_dump(exclude={"kind", "open_end", "corner_radius"})
        | {
            "corner_radius": table.corner_radius,
            "kind": kind,
            "open_end": open_end,
            "stands": tuple(stands),
            "walls": tuple(walls),
            "gaps": gaps,
            "meshes": tuple(mesh for mesh in drawn if mesh is not None),
            "surfaces": described.material,
        }
    )
    rules.stands(built, field, [f"[[stand]] {number}" for number in range(1, len(stands) + 1)], report)
    if not report.broken & {"bowl", "stand"} and any(ringed):
        rules.ring(built, field, report)
    rules.walls(built.model_copy(update={"walls": described.wall}), field, report)
    return built


def _kind(kind: str, ringed: list[bool], gaps: bool, report: Findings) -> None:
    """The kind of bowl and the sides of its stands must agree."""
    if kind in RINGS and ringed != [True]:
        report("[bowl]", f'kind {kind!r} wants exactly one [[stand]] with side = "all"')
    if kind == "separate stands" and any(ringed):
        report("[bowl]", 'side = "all" needs kind = "rounded rectangle", "oval" or "horseshoe"')
    if kind == "none" and ringed:
        report("[bowl]", f"kind is 'none', yet there are {len(ringed)} [[stand]] tables")
    if gaps and kind not in RINGS:
        report("[[gap]] 1", "gaps belong to a ring of stands", "separate stands have start and end instead")


def _gap(gap: Gap, number: int, field: FieldTable, report: Findings) -> Gap:
    """The gap with its side in the field's own frame; it must lie within the straight of that side."""
    place = f"[[gap]] {number}"
    try:
        side = side_name(gap.side, field.bearing)
    except ValueError as error:
        report(place, f"side {error}")
        return gap
    half = 0.5 * (field.width if side in ("head", "foot") else field.length)
    if side == "all":
        report(place, "side must be one side", "left, right, head, foot or a compass direction")
    elif abs(gap.centre) + 0.5 * gap.width > half + 1e-9:
        report(place, f"reaches past the corner of the field, {half:g} m from the middle of the side")
    return gap.model_copy(update={"side": side})


def _stand(table: StandTable, number: int, field: FieldTable, report: Findings, assumed: list[str]) -> Stand:
    place = f"[[stand]] {number}"
    try:
        side = side_name(table.side, field.bearing)
    except ValueError as error:
        report(place, f"side {error}")
        report.broken.add("stand")  # what hangs on its place is not told again
        side = "all"
    half = 0.5 * (field.width if side in ("head", "foot") else field.length)
    roof = None if table.roof is None else _roof(table.roof, side, place, field, report)
    parts: dict[str, Any] = {"setback": table.setback, "tiers": table.tier, "roof": roof}
    if table.rough is not None:
        parts |= table.rough.expanded()
        assumed.append(f"stand {table.name or number} is described roughly: rows, parapet and roof are guessed")
    return Stand.model_validate(
        {
            "name": table.name or f"stand {number}",
            "side": side,
            "start": -half if table.start is None else table.start,
            "end": half if table.end is None else table.end,
            "parapet_height": table.parapet_height,
            "back_wall": table.back_wall,
            **parts,
        }
    )


def _roof(roof: Roof, side: str, place: str, field: FieldTable, report: Findings) -> Roof:
    """The roof with its sides in the field's own frame."""
    if roof.sides and side != "all":
        report(f"{place}, roof", "sides are of a ring of stands", "leave them out: the roof is over its own stand")
        return roof
    found = []
    for name in roof.sides:
        try:
            found.append(side_name(name, field.bearing))
        except ValueError as error:
            report(f"{place}, roof", f"sides: {error}")
    return roof.model_copy(update={"sides": () if "all" in found else tuple(dict.fromkeys(found))})


def _skyline(
    skyline: Skyline, zones: Mapping[str, tuple[Point, ...]], field: FieldTable, report: Findings
) -> list[Wall]:
    """A ring of walls, at the guessed distance from the field, that shows the angles read at the spot.

    Angles between readings are drawn out linearly; each wall spans 5 degrees of the compass.
    """
    if skyline.zone is not None:
        if skyline.zone not in zones:
            report("[skyline]", f"there is no zone {skyline.zone!r}", close(skyline.zone, list(zones)))
            return []
        if skyline.spot != (0.0, 0.0):
            report("[skyline]", "has both spot and zone", "one of them")
        skyline = skyline.model_copy(update={"spot": middle(zones[skyline.zone])})
    half = 0.5 * field.length + skyline.distance, 0.5 * field.width + skyline.distance
    if any(abs(at) > most - 0.5 for at, most in zip(skyline.spot, half, strict=True)):
        report("[skyline]", "the spot lies beyond what hides the sky", "x and y in metres from the field's centre")
        return []
    azimuths, angles = np.array(sorted(skyline.angles)).T
    walls = []
    for azimuth in np.arange(0.0, 360.0, SKYLINE_STEP):
        angle = float(np.interp(azimuth, azimuths, angles, period=360.0))
        ends = [_reach(skyline, field, azimuth + side * 0.5 * SKYLINE_STEP) for side in (1.0, -1.0)]
        (x0, y0), (x1, y1) = ends
        along = math.radians(field.bearing - azimuth)
        dx, dy = math.cos(along), math.sin(along)
        # where the line of sight meets the chord between both ends
        across = (x1 - x0) * dy - (y1 - y0) * dx
        to_chord = ((x1 - x0) * (y0 - skyline.spot[1]) - (y1 - y0) * (x0 - skyline.spot[0])) / across
        top = skyline.eye_height + to_chord * math.tan(math.radians(angle))
        if top > 0.05:
            walls.append(
                Wall(name="skyline", start=ends[0], end=ends[1], bottom=0.0, top=top, material=skyline.material)
            )
    return walls


def _reach(skyline: Skyline, field: FieldTable, azimuth: float) -> tuple[float, float]:
    """Where the sight in one compass direction meets the rectangle of walls [m]."""
    turn = math.radians(field.bearing - azimuth)
    x, y = skyline.spot
    reach = math.inf
    for step, start, half in ((math.cos(turn), x, field.length), (math.sin(turn), y, field.width)):
        if abs(step) > 1e-9:
            reach = min(reach, (math.copysign(0.5 * half + skyline.distance, step) - start) / step)
    return x + reach * math.cos(turn), y + reach * math.sin(turn)
