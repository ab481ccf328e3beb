"""Cross-sections of stands and roofs: rows of treads and risers, tier over tier, parapet, back wall, planks.

A stand is one closed outline however many tiers it has, so nothing overlaps and no two faces coincide.
Offsets run outward from the edge of the field, heights from the level of the field [m].
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from microclimate.exposure.mesh import Finish, Section, box

FOOT = -0.5  # [m] bodies reach below the field's level, so no light leaks under them
STRIPS = 2  # facets across a tread: its front is sunlit when its rear, which the riser behind sees best, is not
ROWS, FEW_ROWS = 6, 3  # of steps that are one facet, one element, at most: upper rows see more sun than lower ones
WALL = 0.3  # [m] thickness of parapet and back wall; ours
SLAB = 0.4  # [m] thickness of an upper tier or an open rake; ours
PLANK_THICKNESS, PLANK_HEIGHT = 0.05, 0.43  # [m] bench seat: common practice, no source
BACK_HEIGHT, BACK_THICKNESS = 0.35, 0.04  # [m] seat back above the seat; common practice, no source


@dataclass(frozen=True)
class Rake:
    """One tier: `rows` treads, the first `front_height` above the field and `offset` from its edge [m]."""

    offset: float
    front_height: float
    tread: float
    riser: float
    rows: int
    finish: Finish
    seats: Finish | None = None  # of planks or chairs, where they are modelled
    seat_width: float = 0.25  # [m]
    backs: bool = False

    @property
    def back(self) -> float:
        """Offset of the tier's rear edge [m]."""
        return self.offset + self.rows * self.tread

    @property
    def top(self) -> float:
        """Height of the last tread [m]."""
        return self.front_height + (self.rows - 1) * self.riser

    @property
    def seat_height(self) -> float:
        """Height of plank or seat back over its tread [m], 0 without."""
        return 0.0 if self.seats is None else PLANK_HEIGHT + (BACK_HEIGHT if self.backs else 0.0)


class _Outline:
    def __init__(self) -> None:
        self.points: list[tuple[float, float]] = []
        self.edges: list[tuple[str, Finish, tuple[int, int]]] = []

    def to(self, offset: float, height: float, part: str, finish: Finish, band: int = 0, fine: int = 0) -> None:
        """Draw an edge from the last point to this one; an edge without length is left out."""
        if np.hypot(offset - self.points[-1][0], height - self.points[-1][1]) > 1e-9:
            self.points.append((offset, height))
            self.edges.append((part, finish, (band, fine)))

    def section(self, part: str, finish: Finish) -> Section:
        """The closed outline; the last edge goes home."""
        parts, finishes, bands = zip(*self.edges, (part, finish, (0, 0)), strict=True)
        return Section(np.array(self.points), parts, finishes, bands)


def stand(
    tiers: Sequence[Rake],
    parapet: float,
    wall: Finish,
    *,
    back_wall: bool = True,
    top: float | None = None,
    smooth: bool = False,
) -> Section:
    """The outline of a stand.

    Parameters
    ----------
    tiers : sequence of Rake
        Front to back; a tier may overhang the one below.
    parapet : float
        Height of the wall behind the last row above its tread [m].
    wall : Finish
        Of front, fascia, parapet and back.
    back_wall : bool
        False: the last tier is an open rake on legs, seen through from behind.
    top : float, optional
        Where the back wall ends when it runs up into a roof [m].
    smooth : bool
        The plane through the nosings instead of the steps: the same shade with far fewer faces.
    """
    first, last = tiers[0], tiers[-1]
    line = _Outline()
    open_front = not back_wall and len(tiers) == 1
    line.points.append((first.offset, first.front_height - SLAB if open_front else FOOT))
    line.to(first.offset, first.front_height, "front", wall)
    for number, tier in enumerate(tiers, start=1):
        if number > 1:
            below = tiers[number - 2]
            if tier.offset >= below.back:
                line.to(tier.offset, below.top, "concourse", tier.finish, number)
            else:
                under = tier.front_height - SLAB
                line.to(below.back, under, "wall", wall, number)
                line.to(tier.offset, under, "under", wall, number)
            line.to(tier.offset, tier.front_height, "fascia", wall, number)
        if smooth:
            _nosings(line, tier, number)
        else:
            for row in range(tier.rows):
                z = tier.front_height + row * tier.riser
                band, fine = (100 * number + row * -(-tier.rows // size) // tier.rows for size in (ROWS, FEW_ROWS))
                line.to(tier.offset + row * tier.tread, z, "riser", tier.finish, band, fine)
                for strip in range(1, STRIPS + 1):
                    along = tier.offset + (row + strip / STRIPS) * tier.tread
                    line.to(along, z, "tread", tier.finish, 1000 * strip + band)
    crest = max(last.top + parapet, top if top is not None else -np.inf)
    thickness = WALL if crest > last.top else 0.0
    line.to(last.back, crest, "parapet", wall)
    line.to(last.back + thickness, crest, "parapet top", wall)
    if back_wall:
        line.to(last.back + thickness, FOOT, "back", wall)
    else:
        line.to(last.back + thickness, last.top - SLAB, "back", wall)
        if len(tiers) > 1:
            # legs only below the last tier: the tiers before it stand on the ground
            line.to(max(last.offset, tiers[-2].back) + WALL, max(last.front_height - SLAB, FOOT), "under", wall)
            line.to(max(last.offset, tiers[-2].back) + WALL, FOOT, "back", wall)
    return line.section("under", wall)


def _nosings(line: _Outline, tier: Rake, number: int) -> None:
    """The plane over nosings and seats: from the first row's edge to the last tread."""
    h, rows = tier.seat_height, tier.rows
    seat = 0.0 if tier.seats is None else max(tier.tread - 0.02 - tier.seat_width, 0.4 * tier.tread - 0.02)
    line.to(tier.offset + seat, tier.front_height + h, "tread", tier.finish, number)
    line.to(tier.offset + (rows - 1) * tier.tread + seat, tier.top + h, "tread", tier.finish, number)
    line.to(tier.back, tier.top + h, "tread", tier.finish, number)
    line.to(tier.back, tier.top, "tread", tier.finish, number)


def planks(tier: Rake, number: int) -> list[Section]:
    """Bench planks, with seat backs where wanted: a closed outline a row, near the rear edge of each tread."""
    if tier.seats is None:
        return []
    seats = tier.seats
    sections = []
    for row in range(tier.rows):
        rear = tier.offset + (row + 1) * tier.tread - 0.02
        front = rear - min(tier.seat_width, 0.6 * tier.tread)
        low = tier.front_height + row * tier.riser + PLANK_HEIGHT - PLANK_THICKNESS
        line = _Outline()
        line.points.append((front, low))
        line.to(front, low + PLANK_THICKNESS, "plank edge", seats, number)
        if tier.backs:
            line.to(rear - BACK_THICKNESS, low + PLANK_THICKNESS, "plank", seats, number)
            line.to(rear - BACK_THICKNESS, low + PLANK_THICKNESS + BACK_HEIGHT, "plank edge", seats, number)
            line.to(rear, low + PLANK_THICKNESS + BACK_HEIGHT, "plank", seats, number)
        else:
            line.to(rear, low + PLANK_THICKNESS, "plank", seats, number)
        line.to(rear, low, "plank rear", seats, number)
        sections.append(line.section("plank under", seats))
    return sections


def roof(
    front: float, back: float, front_height: float, back_height: float, thickness: float, finish: Finish
) -> Section:
    """A slab from offset `front` to `back`; heights are those of its underside [m]."""
    outline = box(
        [
            (front, front_height),
            (front, front_height + thickness),
            (back, back_height + thickness),
            (back, back_height),
        ],
        "roof",
        finish,
    )
    return Section(
        outline.points, ("roof edge", "roof top", "roof edge", "roof under"), outline.finishes, outline.bands
    )
