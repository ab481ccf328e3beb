"""The tables of a venue file put together into one `Venue`; what does not fit is reported, all of it."""

from collections.abc import Iterable
from pathlib import Path

from microclimate import schema
from microclimate.errors import InputError
from microclimate.venue import modules, rules
from microclimate.venue.calibration import Calibration
from microclimate.venue.described import Venue, VenueFile
from microclimate.venue.equipment import Equipment
from microclimate.venue.events import EventTable, event, utc
from microclimate.venue.faults import Findings, close
from microclimate.venue.field import Field, Point, Turf, Zone, grid, signed_area
from microclimate.venue.ground import Ground
from microclimate.venue.kit import Floor
from microclimate.venue.stands import bowl as stands_round

LARGER = 5.0  # [m] that a sheet may reach beyond the field in all; ours


def assembled(described: VenueFile, report: Findings, directory: Path, calibration: Calibration) -> Venue:
    """The venue ready to use.

    Raises
    ------
    InputError
        Everything that does not fit together, after what was found before.
    """
    assumed: list[str] = []
    outlines = _outlines(described, report)
    equipment = Equipment(
        covers=described.cover,
        circuits=described.circuit,
        plant=described.plant,
        skirts=described.skirts,
        snow=described.snow,
        floors=floors_of(described.floor, described.site.time_zone, [name for name, _ in outlines], report),
    )
    bowl = stands_round(described, outlines, directory, report, assumed)
    told = sum(signed_area(outline) for _, outline in outlines) / (described.field.length * described.field.width)
    if told < 0.995:
        assumed.append(f"zones cover {100 * told:.0f} % of the field: nothing is told of the rest")
    zones: tuple[Zone, ...] = ()
    if not report.broken & {"field", "zone", "ground", "circuit", "turf"}:
        zones = _zones(described, outlines, report, assumed)
        _equipment(described, [name for name, _ in outlines], report)
    events = events_of(described.event, described.site.time_zone, report)
    rules.apart(events, report)
    if report.problems:
        raise InputError(report.file, report.problems)
    table = described.field.model_dump(include={"length", "width", "bearing", "cell_size", "elevation_offset"})
    field = Field.model_validate({**table, "turf": described.turf, "zones": zones})
    return Venue(
        name=described.name,
        units=described.units,
        clock=described.clock,
        site=described.site.model_copy(update={"clear_sky": described.site.clear_sky or calibration.clear_sky}),
        field=field,
        bowl=bowl,
        equipment=equipment,
        events=events,
        limits=described.limits,
        prices=described.prices,
        crew=described.crew,
        work=described.work,
        notify=described.notify,
        grasses=described.grass,
        lamps=described.lamp,
        modules=described.modules,
        module=described.module,
        calibration=calibration,
        directory=directory,
        guessed=described.guessed,
        assumed=tuple(assumed),
    )


def _outlines(described: VenueFile, report: Findings) -> list[tuple[str, tuple[Point, ...]]]:
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
    described: VenueFile, outlines: list[tuple[str, tuple[Point, ...]]], report: Findings, assumed: list[str]
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
                report(place, f"there is no zone {name!r}", _like(name, names))
                report.broken.add("zone")
            elif name in owner:
                report(place, f"zone {name!r} is in another [[ground]] already")
            owner[name] = ground
        if ground.circuit is not None and ground.circuit not in circuits:
            cure = close(ground.circuit, list(circuits)) or "define it as [[circuit]]"
            report(place, f"circuit {ground.circuit!r} is not defined", cure)
            report.broken.add("circuit")
    rules.heating(grounds, circuits, report)
    zones = []
    for name, outline in outlines:
        of_zone = owner.get(name, general)
        if of_zone is None and "zone" in report.broken:
            continue  # it may be the one whose name was misspelt
        if of_zone is None:
            report("[[ground]]", f"no ground is given for zone {name!r}", "leave `zones` out of one [[ground]]")
            continue
        turf = _turf(described.turf, of_zone)
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


def _like(name: str, names: list[str]) -> str:
    """A guess at the zone that was meant, or what there is."""
    return close(name, names) or f"zones are {', '.join(names[:8])}{', ...' if len(names) > 8 else ''}"


def _turf(turf: Turf, ground: Ground) -> Turf:
    """The field's turf, with another grass or height of cut where a ground names one."""
    if ground.species is None and ground.mowing_height is None:
        return turf
    height = turf.mowing_height if ground.mowing_height is None else ground.mowing_height
    other = Turf.model_validate(
        {"surface": turf.surface, "species": ground.species or turf.species, "mowing_height": f"{height} m"}
    )
    follows = {"species", "mowing_height", "leaf_area", "roughness_length"}  # the rest stays as the field has it
    return turf.model_copy(update={name: getattr(other, name) for name in follows})


def _equipment(described: VenueFile, zones: list[str], report: Findings) -> None:
    used = {ground.circuit for ground in described.ground}
    for number, circuit in enumerate(described.circuit, start=1):
        if circuit.name not in used and "circuit" not in report.broken:
            report(f"[[circuit]] {number}", f"{circuit.name!r} heats no zone", "name it as `circuit` of a [[ground]]")
    if described.plant is not None and not described.circuit and "circuit" not in report.broken:
        report("[plant]", "there is a plant but no [[circuit]]", "define a circuit, or leave the plant out")
    field = described.field
    for number, cover in enumerate(described.cover, start=1):
        for key, most in (("length", field.length), ("width", field.width)):
            size = getattr(cover, key)
            if size is not None and size > most + LARGER:
                found = f"{key} {size:g} m, the field has {most:g} m"
                report(
                    f"[[cover]] {number}", found, f"at most {LARGER:g} m more than the field: give the sheet's own size"
                )
        for name in cover.zones:
            if name not in zones:
                report(f"[[cover]] {number}", f"there is no zone {name!r}", _like(name, zones))
    for number, lamp in enumerate(described.lamp, start=1):
        for name in lamp.zones:
            if name not in zones:
                report(f"[[lamp]] {number}", f"there is no zone {name!r}", _like(name, zones))
    _modules(described, report)
    for title, names in (
        ("[[lamp]]", [lamp.name for lamp in described.lamp]),
        ("[[grass]]", [grass.species for grass in described.grass]),
        ("[[circuit]]", [circuit.name for circuit in described.circuit]),
        ("[[cover]]", [cover.name for cover in described.cover]),
    ):
        for name in rules.duplicates(names):
            report(title, f"the name {name!r} comes twice", "names must differ")


def _modules(described: VenueFile, report: Findings) -> None:
    """Addresses of [[module]] must be in the grid, each once; what lay on them before must be a cover."""
    if described.module and described.modules is None:
        report("[[module]]", "there is no [modules] table", "give the length and width of a module there")
        return
    if described.modules is None:
        return
    known = modules.grid(described.modules, described.field.length, described.field.width)
    last = max(known)
    seen: set[modules.Address] = set()
    for number, module in enumerate(described.module, start=1):
        for text in module.at:
            at = modules.address(text)
            if at is None or at not in known:
                report(
                    f"[[module]] {number}",
                    f"there is no module {text!r}",
                    f"rows 1 to {last[0]}, numbers 1 to {last[1]}",
                )
            elif at in seen:
                report(f"[[module]] {number}", f"module {text!r} comes twice", "name each once")
            else:
                seen.add(at)
        _before(module, f"[[module]] {number}", [cover.name for cover in described.cover], report)


def _before(module: modules.Module, where: str, covers: list[str], report: Findings) -> None:
    """Where modules lay before: under a cover that there is, over air as here, or not."""
    if module.before is None:
        return
    if module.start_temperature is not None:
        report(where, "has both start_temperature and before", "one of them: before gives the temperature too")
    cover, base = module.before.cover, module.before.base
    if cover is not None and cover not in covers:
        report(f"{where} before", f"there is no cover {cover!r}", f"covers are {', '.join(covers) or 'none'}")
    if base is not None and module.base is not None and base.over_air != module.base.over_air:
        report(
            f"{where} before", f"base {base.kind!r}, but {module.base.kind!r} here", "both over air, or both on ground"
        )


def floors_of(tables: Iterable[Floor], time_zone: str, zones: list[str], report: Findings) -> tuple[Floor, ...]:
    """Floors with their times in UTC; what cannot be is reported."""
    found = []
    for number, floor in enumerate(tables, start=1):
        place = f"[[floor]] {number}"
        for name in floor.zones:
            if name not in zones:
                report(place, f"there is no zone {name!r}", _like(name, zones))
        try:
            start, end = (utc(moment, time_zone) for moment in (floor.start, floor.end))
        except ValueError as error:
            report(place, str(error))
            continue
        found.append(floor.model_copy(update={"start": start, "end": end}))
    return tuple(found)


def events_of(tables: Iterable[EventTable], time_zone: str, report: Findings) -> tuple[schema.Event, ...]:
    """The events in UTC, in order of time; what cannot be is reported."""
    events = []
    for number, table in enumerate(tables, start=1):
        try:
            events.append(event(table, time_zone))
        except ValueError as error:
            report(f"[[event]] {number}", str(error))
    return tuple(sorted(events, key=lambda item: item.start))
