"""The tables of a venue file put together into one `Venue`; what does not fit is reported, all of it."""

import math
from pathlib import Path
from typing import Any

from microclimate import schema
from microclimate.errors import InputError, Problem
from microclimate.venue import rules
from microclimate.venue.bowl import Bowl, Skyline, Stand, StandTable, Wall, side_name
from microclimate.venue.calibration import Calibration
from microclimate.venue.described import Venue, VenueFile
from microclimate.venue.equipment import Equipment
from microclimate.venue.events import event
from microclimate.venue.faults import close
from microclimate.venue.field import Field, FieldTable, Point, Turf, Zone, grid, signed_area
from microclimate.venue.ground import Ground
from microclimate.venue.materials import STANDS


class _Findings:
    """Collects what does not fit together."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def __call__(self, where: str, found: str, cure: str = "") -> None:
        self.problems.append(Problem(f"{self.file}: {where}" if where else self.file, found, cure=cure))


def assembled(described: VenueFile, file: str, directory: Path, calibration: Calibration) -> Venue:
    """The venue ready to use.

    Raises
    ------
    InputError
        Everything that does not fit together.
    """
    report = _Findings(file)
    assumed: list[str] = []
    outlines = _outlines(described, report)
    equipment = Equipment(covers=described.cover, circuits=described.circuit, plant=described.plant)
    bowl = _bowl(described, report, assumed)
    zones = _zones(described, outlines, report, assumed)
    _equipment(described, [name for name, _ in outlines], report)
    events = _events(described, report)
    if report.problems:
        raise InputError(file, report.problems)
    table = described.field.model_dump(include={"length", "width", "bearing", "cell_size", "elevation_offset"})
    field = Field.model_validate({**table, "turf": described.turf, "zones": zones})
    return Venue(
        name=described.name,
        units=described.units,
        clock=described.clock,
        site=described.site,
        field=field,
        bowl=bowl,
        equipment=equipment,
        events=events,
        limits=described.limits,
        prices=described.prices,
        crew=described.crew,
        calibration=calibration,
        directory=directory,
        assumed=tuple(assumed),
    )


def _outlines(described: VenueFile, report: _Findings) -> list[tuple[str, tuple[Point, ...]]]:
    field, tables = described.field, described.zone
    rows, columns = field.zone_rows, field.zone_columns
    if field.width > field.length:
        report("[field]", f"width {field.width:g} m is more than length {field.length:g} m", "length is the long axis")
    if tables:
        if (rows, columns) != (1, 1) or field.zone_names:
            report("[field]", "zone_rows, zone_columns and zone_names do not go with [[zone]] outlines", "use one way")
        found = [(zone.name, _counter_clockwise(zone.outline)) for zone in tables]
        rules.zones(found, field, report)
    else:
        names = field.zone_names
        if names is not None and ([len(row) for row in names] != [columns] * rows):
            lengths = ", ".join(str(len(row)) for row in names)
            report(
                "[field]",
                f"zone_names has {len(names)} rows of {lengths} names, yet zones are {rows} rows x {columns} columns",
            )
            field = field.model_copy(update={"zone_names": None})
        found = grid(field)
    for name in rules.duplicates([name for name, _ in found]):
        report("[field]" if not tables else "[[zone]]", f"the zone name {name!r} comes twice", "names must differ")
    return found


def _counter_clockwise(outline: tuple[Point, ...]) -> tuple[Point, ...]:
    return outline if signed_area(outline) >= 0 else outline[::-1]


def _zones(
    described: VenueFile, outlines: list[tuple[str, tuple[Point, ...]]], report: _Findings, assumed: list[str]
) -> tuple[Zone, ...]:
    names = [name for name, _ in outlines]
    grounds = described.ground
    if not grounds:
        grounds = (Ground.model_validate({"build": "native soil"}),)
        assumed.append("no [[ground]] is given: native soil is taken")
    owner: dict[str, Ground] = {}
    general: Ground | None = None
    circuits = {c.name: (c.depth, c.pipe_outer_diameter, c.probe_depth) for c in described.circuit}
    for number, ground in enumerate(grounds, start=1):
        place = f"[[ground]] {number}"
        if not ground.zones:
            if general is not None:
                report(place, "a second [[ground]] without zones", "only one may hold for all other zones")
            general = general or ground
        for name in ground.zones:
            if name not in names:
                report(place, f"there is no zone {name!r}", close(name, names))
            elif name in owner:
                report(place, f"zone {name!r} is in another [[ground]] already")
            owner[name] = ground
        if ground.circuit is not None and ground.circuit not in circuits:
            cure = close(ground.circuit, list(circuits)) or "define it as [[circuit]]"
            report(place, f"circuit {ground.circuit!r} is not defined", cure)
    rules.heating(grounds, circuits, report)
    zones = []
    for name, outline in outlines:
        of_zone = owner.get(name, general)
        if of_zone is None:
            report("[[ground]]", f"no ground is given for zone {name!r}", "leave `zones` out of one [[ground]]")
            continue
        turf = _turf(described.turf, of_zone, report)
        zones.append(
            Zone(
                name=name,
                polygon=outline,
                layers=of_zone.profile,
                base=of_zone.base,
                circuit=of_zone.circuit,
                turf=turf,
            )
        )
    return tuple(zones)


def _turf(turf: Turf, ground: Ground, report: _Findings) -> Turf:
    if ground.species is None and ground.mowing_height is None:
        return turf
    changed: dict[str, Any] = {"surface": turf.surface, "species": ground.species or turf.species}
    height = turf.mowing_height if ground.mowing_height is None else ground.mowing_height
    try:
        other = Turf.model_validate({**changed, "mowing_height": f"{height} m"})
    except ValueError:
        report("[[ground]]", f"species {ground.species!r} is not known")
        return turf
    kept = turf.model_fields_set & {"albedo", "emissivity", "canopy_conductance", "exchange_floor"}
    return other.model_copy(update={name: getattr(turf, name) for name in kept})


def _bowl(described: VenueFile, report: _Findings, assumed: list[str]) -> Bowl:
    table, field = described.bowl, described.field
    stands = [_stand(stand, number, field, report, assumed) for number, stand in enumerate(described.stand, start=1)]
    walls = list(described.wall)
    if described.skyline is not None:
        walls.extend(_skyline(described.skyline, field))
        assumed.append("the skyline's distance is a guess: shade is right at the spot, less so elsewhere")
    surfaces = {surface.name: surface for surface in described.material}
    known = [*surfaces, *STANDS]
    uses = [("[bowl]", table.fascia_material)]
    for number, stand in enumerate(stands, start=1):
        for tier in stand.tiers:
            uses += [(f"[[stand]] {number}", name) for name in (tier.material, tier.seats) if name]
    uses += [(f"[[wall]] {number}", wall.material) for number, wall in enumerate(described.wall, start=1)]
    if described.skyline is not None:
        uses.append(("[skyline]", described.skyline.material))
    for place, name in dict.fromkeys(uses):
        if name not in known:
            report(place, f"material {name!r} is not known", close(name, known) or f"one of {', '.join(known)}")
    for name in rules.duplicates([surface.name for surface in described.material]):
        report("[[material]]", f"the name {name!r} comes twice", "names must differ")
    for name in rules.duplicates([stand.name for stand in stands]):
        report("[[stand]]", f"the name {name!r} comes twice", "names must differ")
    kind = table.kind or ("none" if not stands else _kind(stands))
    ringed = [stand.side == "all" for stand in stands]
    if kind in ("rounded rectangle", "oval", "horseshoe") and ringed != [True]:
        report("[bowl]", f'kind {kind!r} wants exactly one [[stand]] with side = "all"')
    if kind == "separate stands" and any(ringed):
        report("[bowl]", 'side = "all" needs kind = "rounded rectangle", "oval" or "horseshoe"')
    if kind == "none" and stands:
        report("[bowl]", f"kind is 'none', yet there are {len(stands)} [[stand]] tables")
    if described.gap and kind not in ("rounded rectangle", "oval", "horseshoe"):
        report("[[gap]] 1", "gaps belong to a ring of stands", "separate stands have start and end instead")
    open_end = "foot"
    try:
        open_end = side_name(table.open_end, field.bearing)
    except ValueError as error:
        report("[bowl]", f"open_end {error}")
    bowl = Bowl.model_validate(
        table.model_dump(exclude={"kind", "open_end", "corner_radius"})
        | {
            "corner_radius": table.corner_radius,
            "kind": kind,
            "open_end": open_end,
            "stands": tuple(stands),
            "walls": tuple(walls),
            "gaps": described.gap,
            "surfaces": described.material,
        }
    )
    rules.stands(bowl, field, [f"[[stand]] {number}" for number in range(1, len(stands) + 1)], report)
    rules.ring(bowl, field, report)
    rules.walls(bowl.model_copy(update={"walls": described.wall}), field, report)
    return bowl


def _kind(stands: list[Stand]) -> str:
    return "rounded rectangle" if any(stand.side == "all" for stand in stands) else "separate stands"


def _stand(table: StandTable, number: int, field: FieldTable, report: _Findings, assumed: list[str]) -> Stand:
    place = f"[[stand]] {number}"
    try:
        side = side_name(table.side, field.bearing)
    except ValueError as error:
        report(place, f"side {error}")
        side = "left"
    half = 0.5 * (field.width if side in ("head", "foot") else field.length)
    parts: dict[str, Any] = {"setback": table.setback, "tiers": table.tier, "roof": table.roof}
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


def _skyline(skyline: Skyline, field: FieldTable) -> list[Wall]:
    """A ring of walls, at the guessed distance from the field, that shows the angles read at the spot."""
    half_length = 0.5 * field.length + skyline.distance
    half_width = 0.5 * field.width + skyline.distance
    points: list[tuple[float, float, float]] = []
    readings = sorted(skyline.angles)
    for azimuth, angle in readings:
        turn = math.radians(field.bearing - azimuth)
        dx, dy = math.cos(turn), math.sin(turn)
        reach_x = ((half_length if dx > 0 else -half_length) - skyline.spot[0]) / dx if abs(dx) > 1e-9 else math.inf
        reach_y = ((half_width if dy > 0 else -half_width) - skyline.spot[1]) / dy if abs(dy) > 1e-9 else math.inf
        reach = min(reach_x, reach_y)
        height = skyline.eye_height + reach * math.tan(math.radians(angle))
        points.append((skyline.spot[0] + reach * dx, skyline.spot[1] + reach * dy, height))
    walls = []
    for (x0, y0, h0), (x1, y1, h1) in zip(points, points[1:] + points[:1], strict=True):
        top = max(0.5 * (h0 + h1), 0.05)
        if math.hypot(x1 - x0, y1 - y0) >= 0.1:
            walls.append(
                Wall(name="skyline", start=(x0, y0), end=(x1, y1), bottom=0.0, top=top, material=skyline.material)
            )
    return walls


def _equipment(described: VenueFile, zones: list[str], report: _Findings) -> None:
    used = {ground.circuit for ground in described.ground}
    for number, circuit in enumerate(described.circuit, start=1):
        if circuit.name not in used:
            report(f"[[circuit]] {number}", f"{circuit.name!r} heats no zone", "name it as `circuit` of a [[ground]]")
    if described.plant is not None and not described.circuit:
        report("[plant]", "there is a plant but no [[circuit]]", "define a circuit, or leave the plant out")
    for number, cover in enumerate(described.cover, start=1):
        for name in cover.zones:
            if name not in zones:
                report(f"[[cover]] {number}", f"there is no zone {name!r}", close(name, zones))
    for title, names in (
        ("[[circuit]]", [circuit.name for circuit in described.circuit]),
        ("[[cover]]", [cover.name for cover in described.cover]),
    ):
        for name in rules.duplicates(names):
            report(title, f"the name {name!r} comes twice", "names must differ")


def _events(described: VenueFile, report: _Findings) -> tuple[schema.Event, ...]:
    events = []
    for number, table in enumerate(described.event, start=1):
        try:
            events.append(event(table, described.site.time_zone))
        except ValueError as error:
            report(f"[[event]] {number}", str(error))
    return tuple(sorted(events, key=lambda item: item.start))
