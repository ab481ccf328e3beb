"""What single settings cannot show: whether the parts of a venue fit together."""

import itertools
import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from microclimate.schema import Event
from microclimate.venue.bowl import Bowl, Stand
from microclimate.venue.field import FieldTable, Point, signed_area
from microclimate.venue.ground import Ground, depth

Report = Callable[[str, str, str], None]  # where, found, cure

HEAD_ROOM = 1.9  # [m] least clearance of a roof or of an overhanging tier over a row: ours
_SAMPLES = 160  # along the longer side, to find zones that overlap

Box = tuple[float, float, float, float]  # x0, x1, y0, y1 [m]


def duplicates(names: Sequence[str]) -> list[str]:
    """Names that come twice, once each."""
    return sorted({name for name in names if name and names.count(name) > 1})


def apart(events: Sequence[Event], report: Report) -> None:
    """Uses of the field one after the other; `events` in order of time."""
    for before, after in itertools.pairwise(events):
        if after.start < before.end:
            report("[[event]]", f"{before.name!r} and {after.name!r} overlap", "one field carries one use at a time")


def stand_boxes(stand: Stand, length: float, width: float) -> list[Box]:
    """Footprints of a stand's tiers in the field frame [m]."""
    boxes = []
    for tier, front in zip(stand.tiers, stand.tier_fronts, strict=True):
        near = (0.5 * length if stand.side in ("head", "foot") else 0.5 * width) + front
        far = near + tier.depth
        boxes.append(
            {
                "head": (near, far, stand.start, stand.end),
                "foot": (-far, -near, stand.start, stand.end),
                "left": (stand.start, stand.end, near, far),
                "right": (stand.start, stand.end, -far, -near),
            }[stand.side]
        )
    return boxes


def stands(bowl: Bowl, field: FieldTable, places: Sequence[str], report: Report) -> None:
    """Each stand by itself, then every pair."""
    for stand, place in zip(bowl.stands, places, strict=True):
        _stand(stand, place, report)
    flat = [(s, p) for s, p in zip(bowl.stands, places, strict=True) if s.side != "all"]
    for i, (first, place) in enumerate(flat):
        for second, other in flat[:i]:
            if _overlap(stand_boxes(first, field.length, field.width), stand_boxes(second, field.length, field.width)):
                report(place, f"overlaps {other}{_called(second.name)}", "move start, end or setback of one of them")


def _stand(stand: Stand, place: str, report: Report) -> None:
    if stand.end - stand.start < 1.0:
        report(place, f"end {stand.end:g} m must lie beyond start {stand.start:g} m", "")
    first = stand.tier_fronts[0]
    if first < 0:
        report(place, f"stands on the field by {-first:g} m", "setback and the first tier's setback add up")
    rows = [
        (front + row * tier.tread, front + (row + 1) * tier.tread, tier.front_height + row * tier.riser)
        for tier, front in zip(stand.tiers, stand.tier_fronts, strict=True)
        for row in range(tier.rows)
    ]
    count = 0
    for number, (lower, upper) in enumerate(zip(stand.tiers, stand.tiers[1:], strict=False), start=2):
        count += lower.rows
        if upper.front_height < lower.front_height:
            report(
                f"{place}, tier {number}",
                f"front_height {upper.front_height:g} m is below that of the tier in front, {lower.front_height:g} m",
                "list tiers from the field upwards",
            )
        over = [height for near, far, height in rows[:count] if far > stand.tier_fronts[number - 1] + 1e-9]
        if over and upper.front_height < max(over) + HEAD_ROOM:
            report(
                f"{place}, tier {number}",
                f"cuts into the rows below it: front_height {upper.front_height:g} m over rows at {max(over):g} m",
                "raise it, or give it a larger setback",
            )
    _roof(stand, rows, place, report)


def _roof(stand: Stand, rows: Iterable[tuple[float, float, float]], place: str, report: Report) -> None:
    roof = stand.roof
    if roof is None:
        return
    edge = stand.back - roof.depth
    for near, far, height in rows:
        if far <= edge:
            continue
        at = max(near, edge)
        share = (stand.back - at) / roof.depth
        under = min(
            roof.height_back + (roof.height_front - roof.height_back) * share,
            roof.height_back + (roof.height_front - roof.height_back) * max(stand.back - far, 0.0) / roof.depth,
        )
        if under < height + HEAD_ROOM:
            report(
                f"{place}, roof",
                f"lies below the seats or too close: underside {under:.1f} m over a row at {height:.1f} m",
                f"heights are above the field; at least {HEAD_ROOM:g} m of head room",
            )
            return


def _overlap(first: list[Box], second: list[Box]) -> bool:
    return any(
        min(a[1], b[1]) - max(a[0], b[0]) > 0.05 and min(a[3], b[3]) - max(a[2], b[2]) > 0.05
        for a in first
        for b in second
    )


def _called(name: str) -> str:
    return f" ({name})" if name else ""


def ring(bowl: Bowl, field: FieldTable, report: Report) -> None:
    """A ring of stands must leave the whole field, corners too, inside its first row."""
    if bowl.kind in ("none", "separate stands") or not bowl.stands:
        return
    setback = bowl.stands[0].tier_fronts[0]
    half_length, half_width = 0.5 * field.length, 0.5 * field.width
    if bowl.kind == "oval":
        reach = (half_length / (half_length + setback)) ** 2 + (half_width / (half_width + setback)) ** 2
        outside = reach > 1.0
        cure = f"an oval needs a setback of at least {_oval_setback(half_length, half_width):.1f} m here"
    else:
        outside = math.sqrt(2.0) * (bowl.corner_radius - setback) > bowl.corner_radius
        cure = f"with this setback corner_radius may be at most {setback * (2 + math.sqrt(2.0)):.1f} m"
        if bowl.corner_radius > min(half_length, half_width) + setback:
            report("[bowl]", f"corner_radius {bowl.corner_radius:g} m does not fit into the ring", "")
    if outside:
        report("[bowl]", "the corners of the field lie outside the first row", cure)


def _oval_setback(half_length: float, half_width: float) -> float:
    low, high = 0.0, 3.0 * half_length + 3.0 * half_width
    for _ in range(60):
        middle = 0.5 * (low + high)
        reach = (half_length / (half_length + middle)) ** 2 + (half_width / (half_width + middle)) ** 2
        low, high = (middle, high) if reach > 1.0 else (low, middle)
    return high


def walls(bowl: Bowl, field: FieldTable, report: Report) -> None:
    """No wall on the field."""
    for number, wall in enumerate(bowl.walls, start=1):
        share = np.linspace(0.0, 1.0, 401)
        x = wall.start[0] + share * (wall.end[0] - wall.start[0])
        y = wall.start[1] + share * (wall.end[1] - wall.start[1])
        if ((np.abs(x) < 0.5 * field.length - 0.01) & (np.abs(y) < 0.5 * field.width - 0.01)).any():
            report(f"[[wall]] {number}", f"{wall.name or 'the wall'} stands on the field", "")


def zones(outlines: Sequence[tuple[str, tuple[Point, ...]]], field: FieldTable, report: Report) -> None:
    """Outlines given by hand: on the field, simple, not over one another."""
    half = np.array([0.5 * field.length, 0.5 * field.width])
    step = max(field.length, field.width) / _SAMPLES
    x, y = np.meshgrid(*(np.arange(-h + 0.5 * step, h, step) for h in half), indexing="ij")
    taken = np.full(x.shape, -1)
    for number, (name, outline) in enumerate(outlines):
        place = f"[[zone]] {number + 1}"
        corners = np.array(outline)
        if (np.abs(corners) > half + 0.01).any():
            report(place, f"{name} leaves the field", f"x within ±{half[0]:g} m, y within ±{half[1]:g} m")
        if _crosses_itself(outline):
            report(place, f"the outline of {name} crosses itself", "list its corners in order")
        elif abs(signed_area(outline)) < 0.5:
            report(place, f"the outline of {name} encloses no area", "list its corners in order")
        inside = within(x, y, outline)
        for other in np.unique(taken[inside & (taken >= 0)]):
            if (inside & (taken == other)).sum() > 1:
                report(place, f"{name} overlaps {outlines[other][0]}", "zones may touch, not overlap")
        taken[inside] = number


def within(x: NDArray[np.float64], y: NDArray[np.float64], outline: Sequence[Point]) -> NDArray[np.bool_]:
    """Which points lie inside an outline (even-odd rule); any shape."""
    inside = np.zeros(np.shape(x), dtype=bool)
    for (x0, y0), (x1, y1) in zip(outline, (*outline[1:], outline[0]), strict=True):
        if y0 != y1:
            inside ^= ((y0 > y) != (y1 > y)) & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
    return inside


def _crosses_itself(outline: Sequence[Point]) -> bool:
    edges = list(zip(outline, (*outline[1:], outline[0]), strict=True))
    return any(
        _cross(*edges[i], *edges[j])
        for i in range(len(edges))
        for j in range(i + 2, len(edges))
        if not (i == 0 and j == len(edges) - 1)
    )


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    def turn(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


def heating(grounds: Sequence[Ground], circuits: dict[str, tuple[float, float, float]], report: Report) -> None:
    """Pipes and probes lie inside the layers of every build they serve; (depth, diameter, probe depth) by circuit."""
    for number, ground in enumerate(grounds, start=1):
        if ground.circuit is None or ground.circuit not in circuits:
            continue
        pipe, diameter, probe = circuits[ground.circuit]
        total = depth(ground.layers)
        place = f"[[ground]] {number}"
        if pipe + 0.5 * diameter > total + 1e-9:
            report(place, f"circuit {ground.circuit!r} lies {pipe:g} m deep, the layers end at {total:g} m", "")
        if probe > total + 1e-9:
            report(place, f"probe of circuit {ground.circuit!r} is {probe:g} m deep, the layers end at {total:g} m", "")
