"""Odd bowls as mesh files (OBJ, STL, PLY, through trimesh): the [[mesh]] table, and the triangles a file holds."""

import hashlib
import importlib
import re
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from microclimate.venue.model import Model, Unit

Array = NDArray[np.float64]

SUFFIXES = (".obj", ".stl", ".ply")
METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254, "yd": 0.9144}
MOST = 200_000  # faces of all files together: some minutes of tracing; ours

Position = Annotated[float, Unit("m", -1000, 1000)]


class MeshPart(Model):
    """[[mesh.part]]: a group of the file that is made of something else, or is a roof."""

    group: str = Field(min_length=1, description="name of an object, group or material in the file")
    material: str | None = Field(None, description="material of the table; not given: that of the file")
    roof: bool = Field(False, description="a roof: wind passes over it, and it may let light through")
    transmittance: Annotated[float, Unit("1", 0, 0.9)] = Field(0.0, description="share of light a roof lets through")


class MeshTable(Model):
    """[[mesh]] as the file has it."""

    name: str = Field("", description="as the crew calls it; not given: the name of the file")
    file: str = Field(min_length=1, description="OBJ, STL or PLY; beside the venue file, or with its folder")
    unit: Literal["m", "cm", "mm", "ft", "in", "yd"] = Field("m", description="what one unit of the drawing is")
    up: Literal["z", "y"] = Field("z", description="axis of the drawing that points up")
    position: tuple[Position, Position, Position] = Field(
        (0.0, 0.0, 0.0), description="of the drawing's origin from the field's centre: along, to the left, up"
    )
    bearing: Annotated[float, Unit("degree", 0, 360)] | None = Field(
        None, description="compass direction of the drawing's x axis; not given: along the field's long axis"
    )
    material: str = Field("concrete", description="of all that no [[mesh.part]] names")
    part: tuple[MeshPart, ...] = ()


class Drawing(Model):
    """A mesh file that was read and found fit for use; `content` is the hash of its bytes."""

    name: str
    path: Path
    content: str
    unit: float  # [m]
    up: Literal["z", "y"]
    position: tuple[float, float, float]
    turn: float  # [degree] of the drawing's x axis from the field's, counter-clockwise
    material: str
    parts: tuple[MeshPart, ...]

    @property
    def faces(self) -> int:
        """How many triangles."""
        return len(read(self.path, self.content).corners)

    @property
    def top(self) -> float:
        """Height of the highest corner above the field [m]."""
        return float(placed(self).corners[..., 2].max())

    @property
    def roofed(self) -> bool:
        """Some of it is a roof."""
        return any(part.roof for part in self.parts)

    @property
    def materials(self) -> tuple[str, ...]:
        """All materials named."""
        return tuple(dict.fromkeys([self.material, *(part.material for part in self.parts if part.material)]))

    def part(self, group: str) -> MeshPart:
        """What is said of one group of the file; the last that names it holds."""
        known = [part for part in self.parts if part.group == group or part.group in group.split("/")]
        return known[-1] if known else MeshPart.model_validate({"group": group or self.name})


@dataclass(frozen=True)
class Faces:
    """Triangles of a file.

    corners (triangle, 3, 3); group (triangle,): number in `groups`, the names "object/group/material" as the file has
    them.
    """

    corners: Array
    group: NDArray[np.int64]
    groups: tuple[str, ...]


def digest(path: Path) -> str:
    """Hash of a file's bytes."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:24]


@lru_cache(maxsize=4)
def read(path: Path, content: str) -> Faces:
    """The triangles of a file as drawn; `content` is its hash, so that a file is read again when it was changed.

    Raises
    ------
    ModuleNotFoundError
        When trimesh, which reads such files, is not installed.
    ValueError
        When it is no mesh, with the reason.
    """
    library: Any = importlib.import_module("trimesh")  # most venues need no mesh, and it takes long to load
    if path.suffix.lower() not in SUFFIXES:
        raise ValueError(f"files of kind {path.suffix!r} are not read")
    raw = path.read_bytes()
    names: list[str] = []
    if path.suffix.lower() == ".obj":
        text, names = _numbered(raw.decode("utf-8", "replace"))
        raw = text.encode()
    options = {"split_groups": True, "group_material": False, "skip_materials": True} if names else {}
    try:
        kind = path.suffix.lower().removeprefix(".")
        found = library.load(BytesIO(raw), file_type=kind, force="scene", process=False, **options).geometry
        parts = {str(name): np.asarray(part.triangles, np.float64) for name, part in found.items()}
    except Exception as error:  # the library lets many kinds through
        raise ValueError(f"cannot be read as a mesh ({str(error) or type(error).__name__})") from None
    parts = {name: corners.reshape(-1, 3, 3) for name, corners in parts.items() if len(corners)}
    if not parts:
        raise ValueError("holds no faces")
    if names:
        groups = [names[int(name)] if name.isdigit() and int(name) < len(names) else name for name in parts]
    else:
        groups = [path.name] if len(parts) == 1 and path.suffix.lower() != ".stl" else list(parts)
    corners = np.concatenate(list(parts.values()))
    if not np.isfinite(corners).all():
        raise ValueError("holds corners that are no finite numbers")
    number = np.repeat(np.arange(len(parts)), [len(part) for part in parts.values()])
    return Faces(corners, number, tuple(groups))


def _numbered(text: str) -> tuple[str, list[str]]:
    """An OBJ text with one numbered group for each object, group and material that faces stand under, and their names.

    The library keeps objects and groups only; most programs that draw tell materials apart by `usemtl`.
    """
    state, names, lines = {"o": "", "g": "", "usemtl": ""}, [""], ["g 0"]
    for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n"):
        found = re.match(r"\s*(o|g|usemtl|mtllib)\b\s*(.*)$", line)
        if found is None:
            lines.append(line)
        elif found[1] != "mtllib":
            state[found[1]] = found[2].strip()
            name = "/".join(dict.fromkeys(value for value in state.values() if value))
            if name not in names:
                names.append(name)
            lines.append(f"g {names.index(name)}")
    return "\n".join(lines), names


def placed(drawing: Drawing) -> Faces:
    """The triangles in the field's own frame [m]: x along the long axis, y to its left, z up."""
    faces = read(drawing.path, drawing.content)
    corners = faces.corners * drawing.unit
    if drawing.up == "y":
        corners = np.stack([corners[..., 0], -corners[..., 2], corners[..., 1]], axis=-1)
    c, s = np.cos(np.radians(drawing.turn)), np.sin(np.radians(drawing.turn))
    x, y, z = np.moveaxis(corners, -1, 0)
    turned = np.stack([c * x - s * y, s * x + c * y, z], axis=-1)
    return Faces(turned + np.array(drawing.position), faces.group, faces.groups)
