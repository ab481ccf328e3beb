"""Everything traced once for a venue: what cells and facets see of each other and of the sky, kept on disk."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from microclimate.exposure import cache, sky
from microclimate.exposure import exchange as ex
from microclimate.exposure.mesh import Mesh
from microclimate.exposure.windows import AZIMUTHS, Windows, windows

Array = NDArray[np.float64]
SENSOR_HEIGHT = 0.02  # [m] of the points that stand for cells


@dataclass(frozen=True)
class Geometry:
    """What does not depend on albedo or emissivity: the slow part.

    x, y (cell,) [m]. opaque: windows under stands and opaque roofs; veils: for each transmittance the windows under
    those and its roofs; everything: under all. sky_view, low_sky (cell,); sky_patches (cell, 145) [sr];
    light, thermal (cell, element + 1): view factors.
    """

    x: Array
    y: Array
    opaque: Windows
    veils: tuple[tuple[float, Windows], ...]
    everything: Windows
    sky_view: Array
    sky_patches: Array
    low_sky: Array
    light: sparse.csr_array
    thermal: sparse.csr_array
    exchange: ex.Exchange


@dataclass(frozen=True)
class Gain:
    """All bounces for one set of finishes (node, node): (I - F R)^-1 for light, (I - (1 - eps) F)^-1 for longwave."""

    light: Array
    thermal: Array


def geometry(mesh: Mesh, x: Array, y: Array) -> Geometry:
    """What cells at x, y (cell,) [m] see, from disk or traced now."""
    veils = [triangles for _, triangles in mesh.veils]
    arrays = [mesh.corners, mesh.element, mesh.owner, mesh.solids, mesh.roofs, *veils, x, y]
    rough = [tau for tau, _ in mesh.veils]
    name = cache.key(arrays, AZIMUTHS, ex.FACET_RAYS, ex.CELL_RAYS, ex.SUN_POINTS, SENSOR_HEIGHT, *rough)
    kept = cache.load("bowl", name)
    if kept is not None:
        found = unpacked(kept)
        if found is not None:
            return found
    made = traced(mesh, x, y)
    cache.save("bowl", name, packed(made))
    return made


def traced(mesh: Mesh, x: Array, y: Array) -> Geometry:
    """Trace everything for cells at x, y (cell,) [m]."""
    points = np.stack([x, y, np.full(len(x), SENSOR_HEIGHT)], axis=1)
    scene = ex.Scene(mesh)
    opaque = windows(points, mesh.shade)
    veils = tuple((tau, windows(points, np.concatenate([mesh.shade, veil]))) for tau, veil in mesh.veils)
    if len(veils) > 1:
        everything = windows(points, np.concatenate([mesh.shade, *(veil for _, veil in mesh.veils)]))
    else:
        everything = veils[0][1] if veils else opaque
    patches = whole = opaque.visible(sky.EDGES, sky.COLUMNS, sky.START)
    for tau, veil in veils:
        patches = patches - (1.0 - tau) * (whole - veil.visible(sky.EDGES, sky.COLUMNS, sky.START))
    light, thermal = ex.cell_factors(scene, points, everything)
    return Geometry(
        x=x,
        y=y,
        opaque=opaque,
        veils=veils,
        everything=everything,
        sky_view=everything.sky_view(),
        sky_patches=np.maximum(patches, 0.0),
        low_sky=everything.low_sky(),
        light=light,
        thermal=thermal,
        exchange=ex.exchange(scene),
    )


def gain(traced: ex.Exchange, albedo: Array, emissivity: Array) -> Gain:
    """All bounces between facets with these finishes (node,), from disk or solved now."""
    name = cache.key([traced.factor, traced.factor_thermal, albedo, emissivity])
    kept = cache.load("gain", name)
    shape = traced.factor.shape
    if kept is not None and all(kept.get(part, np.zeros(0)).shape == shape for part in ("light", "thermal")):
        return Gain(np.asarray(kept["light"], float), np.asarray(kept["thermal"], float))
    one = np.eye(len(albedo))
    made = Gain(
        light=np.asarray(np.linalg.inv(one - traced.factor * albedo)),
        thermal=np.asarray(np.linalg.inv(one - (1.0 - emissivity)[:, None] * traced.factor_thermal)),
    )
    cache.save("gain", name, {"light": made.light, "thermal": made.thermal})
    return made


_WINDOWS = ("count", "first", "bounds")
_CELLS = ("x", "y", "sky_view", "sky_patches", "low_sky")
_FACETS = ("area", "factor", "factor_thermal", "view", "low_sky", "patches", "sun", "share", "owner")


def packed(made: Geometry) -> cache.Parts:
    """As named arrays; what is the same twice is kept once."""
    parts: cache.Parts = {name: getattr(made, name) for name in _CELLS}
    parts |= {f"facet_{name}": getattr(made.exchange, name) for name in _FACETS}
    matrices = {"light": made.light}
    if made.thermal is not made.light:
        matrices["thermal"] = made.thermal
    else:
        del parts["facet_factor_thermal"]
    for name, matrix in matrices.items():
        parts |= {
            f"{name}_data": matrix.data.astype(np.float32),
            f"{name}_indices": matrix.indices.astype(np.uint16 if matrix.shape[1] < 65536 else np.uint32),
            f"{name}_indptr": matrix.indptr,
        }
    sets = {"opaque": made.opaque} | {f"veil_{tau!r}": veil for tau, veil in made.veils}
    if len(made.veils) > 1:
        sets["everything"] = made.everything
    for name, kept in sets.items():
        parts |= {f"{name}_{part}": getattr(kept, part) for part in _WINDOWS}
    return parts


def unpacked(parts: cache.Parts) -> Geometry | None:
    """The reverse of `packed`; None when anything is missing or does not fit together."""
    try:
        return _unpacked(parts)
    except (KeyError, ValueError, TypeError, IndexError):
        return None


def _unpacked(parts: dict[str, Any]) -> Geometry | None:
    names = [name.removesuffix("_count") for name in parts if name.endswith("_count")]
    sets = {name: Windows(*(parts[f"{name}_{part}"] for part in _WINDOWS)) for name in names}
    veils = tuple((float(name.removeprefix("veil_")), w) for name, w in sets.items() if name.startswith("veil_"))
    facets = {name: parts.get(f"facet_{name}", parts["facet_factor"]) for name in _FACETS}
    cells, elements, nodes = len(parts["x"]), len(facets["owner"]), len(facets["view"])
    light = _matrix(parts, "light", (cells, elements))
    thermal = _matrix(parts, "thermal", (cells, elements)) if "thermal_data" in parts else light
    fits = all(len(parts[name]) == cells for name in _CELLS) and all(len(w.count) == cells for w in sets.values())
    fits &= all(int(w.count.sum()) == len(w.bounds) for w in sets.values())
    fits &= facets["factor"].shape == (nodes, nodes) == facets["factor_thermal"].shape
    if not fits:
        return None
    opaque = sets["opaque"]
    return Geometry(
        veils=veils,
        opaque=opaque,
        everything=sets.get("everything", veils[0][1] if veils else opaque),
        light=light,
        thermal=thermal,
        exchange=ex.Exchange(**facets),
        **{name: parts[name] for name in _CELLS},
    )


def _matrix(parts: dict[str, Any], name: str, shape: tuple[int, int]) -> sparse.csr_array:
    """Rows are summed to what the sky leaves, so the single precision on disk is of no matter."""
    data, indices, indptr = (parts[f"{name}_{part}"] for part in ("data", "indices", "indptr"))
    return sparse.csr_array((data.astype(float), indices.astype(np.int32), indptr), shape=shape)
