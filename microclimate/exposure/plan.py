"""From what the user described to closed bodies: where stands, roofs, walls and banks lie round the field.

Every path runs counter-clockwise round the field, so that outward is to its right.
"""

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from microclimate.exposure import sections, solid
from microclimate.exposure.mesh import Array, Body, Facet, Finish, Mesh, Section, box, floor, mesh
from microclimate.venue.bowl import Bowl, Gap, Roof, Stand
from microclimate.venue.field import Field

ARC_PIECES = 8  # of a quarter circle; ours
ROOF_OVERHANG = 0.2  # [m] of a roof behind the back wall; ours
ROOF_EMISSIVITY = 0.90  # of its underside; painted or dirty sheet, from memory
BANK_REACH = 400.0  # [m] how far the ground round a sunken field is drawn
FLOOR_COLUMNS, FLOOR_ROWS = 14, 9
SKIN = 0.01  # [m] by which one body stands out from another that it grows from

_SIDES = {"head": (1.0, 0.0), "left": (0.0, 1.0), "foot": (-1.0, 0.0), "right": (0.0, -1.0)}


def venue_mesh(bowl: Bowl, field: Field) -> Mesh:
    """All faces of a venue, the floor included."""
    made = mesh(bodies(bowl, field), ground(bowl, field))
    return solid.joined(made, bowl, (0.5 * field.length, 0.5 * field.width))


def ground(bowl: Bowl, field: Field) -> tuple[Array, list[Facet]]:
    """Field and apron as patches."""
    room = [stand.setback for stand in bowl.stands]
    room += solid.clearance(bowl, (0.5 * field.length, 0.5 * field.width))
    margin = min(max([3.0, *room]), 25.0)
    turf = Finish("field", field.turf.albedo, field.turf.emissivity)
    apron = Finish("apron", bowl.apron_albedo, 0.94)
    return floor(field.length, field.width, margin, FLOOR_COLUMNS, FLOOR_ROWS, turf, apron)


def bodies(bowl: Bowl, field: Field) -> list[Body]:
    """Stands with their planks and roofs, walls, and the bank of a sunken field."""
    made: list[Body] = []
    separate = bowl.kind == "separate stands"
    for stand in bowl.stands if bowl.kind != "none" else ():
        paths = [_straight(stand, field)] if separate else _ring_paths(bowl, stand, field)
        for number, (base, growth, closed) in enumerate(paths):
            made += _stand_bodies(bowl, stand, number, base, growth, closed)
        if stand.roof is not None and stand.roof.sides:
            made += _roofs_of_sides(bowl, stand, field)
    for number, wall in enumerate(bowl.walls, start=1):
        base = np.array([wall.start, wall.end], float)
        along = (base[1] - base[0]) / np.linalg.norm(base[1] - base[0])
        bottom = wall.bottom if wall.bottom > 0.0 else sections.FOOT
        t = 0.5 * sections.WALL
        outline = box([(-t, bottom), (-t, wall.top), (t, wall.top), (t, bottom)], "wall", finish(bowl, wall.material))
        outward = np.tile([along[1], -along[0]], (2, 1))
        made.append(Body(wall.name or f"wall {number}", base, outward, False, outline))
    if field.elevation_offset < 0.0:
        made.append(_bank(bowl, field))
    return made


def finish(bowl: Bowl, material: str) -> Finish:
    """A material of the stands as the mesh carries it."""
    s = bowl.surface(material)
    return Finish(material, s.albedo, s.emissivity, s.specular, s.roughness)


def _stand_bodies(bowl: Bowl, stand: Stand, number: int, base: Array, growth: Array, closed: bool) -> list[Body]:
    wall = finish(bowl, bowl.fascia_material)
    rakes = [
        sections.Rake(
            offset=front,
            front_height=tier.front_height,
            tread=tier.tread,
            riser=tier.riser,
            rows=tier.rows,
            finish=finish(bowl, tier.material),
            seats=finish(bowl, tier.seats) if tier.seats else None,
            seat_width=tier.seat_width,
            backs=tier.seat_backs,
        )
        for front, tier in zip(stand.tier_fronts, stand.tiers, strict=True)
    ]
    name = stand.name if number == 0 else f"{stand.name} ({number + 1})"
    whole = stand.roof is not None and not stand.roof.sides
    top = _wall_top(stand, stand.roof) if whole and stand.roof is not None else None
    outline, simple = (
        sections.stand(rakes, stand.parapet_height, wall, back_wall=stand.back_wall, top=top, smooth=smooth)
        for smooth in (False, True)
    )
    made = [Body(name, base, growth, closed, outline, simple)]
    for k, rake in enumerate(rakes, start=1):
        # planks lie within the shade of the stand's own simpler outline
        made += [Body(name, base, growth, closed, s, _nothing(s)) for s in sections.planks(rake, k)]
    if whole and stand.roof is not None:
        longer = _longer(base, closed) if top is not None else base
        made.append(Body(f"{name}, roof", longer, growth, closed, _roof(stand, stand.roof)))
    return made


def _roofs_of_sides(bowl: Bowl, stand: Stand, field: Field) -> list[Body]:
    """The roof of a ring over some sides, and the wall that carries it up from the crest where it comes down to it."""
    made: list[Body] = []
    if stand.roof is None:
        return made
    over = [_beside(side) for side in stand.roof.sides]
    paths = _ring_paths(bowl, stand, field, [lambda p, n: np.maximum.reduce([side(p, n) for side in over])])
    top, crest = _wall_top(stand, stand.roof), stand.tiers[-1].top + stand.parapet_height
    for number, (base, growth, closed) in enumerate(paths, start=1):
        name = f"{stand.name}, roof" + (f" ({number})" if number > 1 else "")
        longer = _longer(base, closed) if top is not None else base
        made.append(Body(name, longer, growth, closed, _roof(stand, stand.roof)))
        if top is not None:
            # a little thicker than the parapet it stands on, and begun inside it: no faces coincide
            inner, outer = stand.back - SKIN, stand.back + sections.WALL + SKIN
            low = max(crest - 0.1, stand.tiers[-1].top + SKIN)
            outline = box(
                [(inner, low), (inner, top), (outer, top), (outer, low)], "parapet", finish(bowl, bowl.fascia_material)
            )
            made.append(Body(f"{name}, wall", base, growth, closed, outline))
    return made


def _longer(base: Array, closed: bool) -> Array:
    """A path a little longer at its ends, so that the end of a roof does not lie in that of the wall within it."""
    if closed:
        return base
    longer = base.copy()
    for end, beside in ((0, 1), (-1, -2)):
        away = base[end] - base[beside]
        longer[end] += SKIN * away / np.linalg.norm(away)
    return longer


def _nothing(section: Section) -> Section:
    return Section(section.points[:0], (), (), ())


def _roof(stand: Stand, roof: Roof) -> Section:
    cover = Finish("roof", roof.albedo, ROOF_EMISSIVITY, transmittance=roof.transmittance)
    back = stand.back + sections.WALL + ROOF_OVERHANG
    return sections.roof(stand.back - roof.depth, back, roof.height_front, roof.height_back, roof.thickness, cover)


def _wall_top(stand: Stand, roof: Roof) -> float | None:
    """Where the back wall ends inside the roof's slab, when the roof comes down to it; else None: a light slot."""
    crest = stand.tiers[-1].top + stand.parapet_height
    run = roof.depth + sections.WALL + ROOF_OVERHANG
    at_wall = roof.height_back + (roof.height_front - roof.height_back) * (ROOF_OVERHANG + 0.15) / run
    return at_wall + 0.5 * roof.thickness if at_wall <= crest + 0.05 else None


def _straight(stand: Stand, field: Field) -> tuple[Array, Array, bool]:
    """The field's edge in front of a separate stand."""
    out = np.array(_SIDES[stand.side])
    along = np.array([-out[1], out[0]])  # counter-clockwise round the field
    half = 0.5 * (field.length if stand.side in ("head", "foot") else field.width)
    ends = sorted((stand.start, stand.end), reverse=bool(along.sum() < 0.0))
    base = np.array([out * half + np.abs(along) * end for end in ends])
    return base, np.tile(out, (2, 1)), False


def _ring_paths(
    bowl: Bowl, stand: Stand, field: Field, more: Sequence[Callable[[Array, Array], Array]] = ()
) -> list[tuple[Array, Array, bool]]:
    """The parts of the ring that belong to a stand, gaps, an open end and what `more` leaves out cut away."""
    first_row, normal = (_oval if bowl.kind == "oval" else _rounded)(bowl, stand, field)
    limits = list(more)  # positive where there is a stand
    named = [s.side for s in bowl.stands if s.side != "all"]
    if stand.side != "all":
        limits.append(_beside(stand.side))
    else:
        limits += [_not(_beside(side)) for side in named]
    limits += [_outside_gap(gap) for gap in bowl.gaps]
    if bowl.kind == "horseshoe":
        out = np.array(_SIDES[bowl.open_end])
        half = 0.5 * (field.length if bowl.open_end in ("head", "foot") else field.width)
        limits.append(lambda p, n: half - p @ out)
    return [(row - stand.setback * grow, grow, closed) for row, grow, closed in _cut(first_row, normal, limits)]


def _rounded(bowl: Bowl, stand: Stand, field: Field) -> tuple[Array, Array]:
    """First row and outward normals of a rectangle with round corners."""
    half = np.array([0.5 * field.length + stand.setback, 0.5 * field.width + stand.setback])
    radius = min(bowl.corner_radius, *half)
    turns = np.linspace(0.0, 0.5 * math.pi, ARC_PIECES + 1)
    points, normals = [], []
    for quarter in range(4):
        angle = turns + 0.5 * math.pi * quarter
        u = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        centre = (half - radius) * np.sign(u[ARC_PIECES // 2])
        points.append(centre + radius * u)
        normals.append(u)
    return _distinct(np.concatenate(points), np.concatenate(normals))


def _oval(bowl: Bowl, stand: Stand, field: Field) -> tuple[Array, Array]:
    """First row and normals of the roundest |x/a|^n + |y/b|^n = 1 (n = 2: ellipse) that clears the field's corners."""
    a, b = 0.5 * field.length + stand.setback, 0.5 * field.width + stand.setback
    corner = np.array([(0.5 * field.length + 1.0) / a, (0.5 * field.width + 1.0) / b]).clip(max=0.999)
    power = 2.0
    while np.sum(corner**power) > 1.0 and power < 40.0:
        power += 0.25
    t = np.linspace(0.0, 2.0 * math.pi, 4001)[:-1]
    c, s = np.cos(t), np.sin(t)
    p = np.stack([a * np.sign(c) * np.abs(c) ** (2 / power), b * np.sign(s) * np.abs(s) ** (2 / power)], axis=1)
    slope = np.sign(p) * np.abs(p / [a, b]) ** (power - 1) / [a, b]
    u = slope / np.linalg.norm(slope, axis=1, keepdims=True)
    heading = np.unwrap(np.arctan2(u[:, 1], u[:, 0]))
    # equal shares of turning; `resample` cuts the long flat pieces
    wanted = heading[0] + np.linspace(0.0, 2.0 * math.pi, 4 * 2 * ARC_PIECES + 1)[:-1]
    pick = np.unique(np.searchsorted(heading, wanted).clip(max=len(t) - 1))
    return _distinct(p[pick], u[pick])


def _distinct(points: Array, normals: Array) -> tuple[Array, Array]:
    keep = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > 1e-6
    return points[keep], normals[keep]


def _beside(side: str) -> Callable[[Array, Array], Array]:
    out = np.array(_SIDES[side])
    return lambda p, n: n @ out - math.sqrt(0.5) + 1e-9


def _not(limit: Callable[[Array, Array], Array]) -> Callable[[Array, Array], Array]:
    return lambda p, n: -limit(p, n)


def _outside_gap(gap: Gap) -> Callable[[Array, Array], Array]:
    out = np.array(_SIDES[gap.side])
    along = np.abs([-out[1], out[0]])

    def room(p: Array, n: Array) -> Array:
        return np.where(p @ out > 0.0, np.abs(p @ along - gap.centre) - 0.5 * gap.width, 1e3)

    return room


def _cut(
    points: Array, normals: Array, limits: Sequence[Callable[[Array, Array], Array]]
) -> list[tuple[Array, Array, bool]]:
    """The pieces of a closed path where every limit is positive, their ends on the borders."""
    for limit in limits:
        points, normals = _with_borders(points, normals, limit)
    middle = 0.5 * (points + np.roll(points, -1, axis=0))
    heading = normals + np.roll(normals, -1, axis=0)
    heading /= np.linalg.norm(heading, axis=1, keepdims=True)
    keep = np.ones(len(points), bool)  # of the piece from point i to i + 1
    for limit in limits:
        keep &= limit(middle, heading) > 0.0
    if keep.all():
        return [(points, normals, True)]
    found = []
    starts = np.flatnonzero(keep & ~np.roll(keep, 1))
    for start in starts:
        run = 0
        while keep[(start + run) % len(points)]:
            run += 1
        index = (start + np.arange(run + 1)) % len(points)
        found.append((points[index], normals[index], False))
    return found


def _with_borders(points: Array, normals: Array, limit: Callable[[Array, Array], Array]) -> tuple[Array, Array]:
    """The path with a point wherever the limit changes sign; long pieces are searched in small steps."""
    out_p, out_n = [], []
    share: NDArray[np.float64] = np.linspace(0.0, 1.0, 65)
    for i in range(len(points)):
        j = (i + 1) % len(points)
        p = points[i] + share[:, None] * (points[j] - points[i])
        n = normals[i] + share[:, None] * (normals[j] - normals[i])
        n /= np.linalg.norm(n, axis=1, keepdims=True)
        value = limit(p, n)
        out_p.append(points[i])
        out_n.append(normals[i])
        for k in np.flatnonzero((value[:-1] > 0.0) != (value[1:] > 0.0)):
            f = value[k] / (value[k] - value[k + 1])
            border = share[k] + f * (share[k + 1] - share[k])
            if 1e-4 < border < 1.0 - 1e-4:
                out_p.append(points[i] + border * (points[j] - points[i]))
                out_n.append(n[k] + f * (n[k + 1] - n[k]))
    return np.array(out_p), np.array(out_n)


def _bank(bowl: Bowl, field: Field) -> Body:
    """The ground round a sunken field, its edge behind the front row of the nearest stand."""
    room = [stand.setback for stand in bowl.stands] + solid.clearance(bowl, (0.5 * field.length, 0.5 * field.width))
    edge = min(room, default=4.0) + 1.0
    depth = -field.elevation_offset
    corner = np.array([[1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]])
    soil = Finish("ground outside", bowl.ground_albedo, 0.95)
    foot = sections.FOOT - 0.1  # below the stands, whose undersides it would touch
    outline = box([(edge, foot), (edge, depth), (BANK_REACH, depth), (BANK_REACH, foot)], "bank", soil)
    return Body("bank", corner * [0.5 * field.length, 0.5 * field.width], corner, True, outline)
