"""The same scene in Radiance, through the programs in the wheel of `pyradiance`.

Called directly, the programs need RAYPATH to find their library of functions.
"""

import os
import subprocess
from pathlib import Path

import numpy as np
import pyradiance

from microclimate.exposure.mesh import Array, Finish, Mesh

_ROOT = Path(pyradiance.__file__).parent
_ENVIRONMENT = {**os.environ, "RAYPATH": f".{os.pathsep}{_ROOT / 'lib'}"}
SUN = 0.533  # [degree] across


def run(folder: Path, program: str, *arguments: str | float, given: bytes | None = None) -> bytes:
    """Output of one program of the wheel."""
    command = [str(_ROOT / "bin" / program), *map(str, arguments)]
    done = subprocess.run(command, cwd=folder, input=given, capture_output=True, env=_ENVIRONMENT, check=False)
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


def _material(name: str, finish: Finish, mirrors: bool) -> str:
    a = finish.albedo
    if finish.specular == 0.0:
        return f"void plastic {name}\n0\n0\n5 {a} {a} {a} 0 0\n"
    if mirrors:  # only the mirror-like part
        m = a * finish.specular
        return f"void mirror {name}\n0\n0\n3 {m} {m} {m}\n"
    return f"void metal {name}\n0\n0\n5 {a} {a} {a} {finish.specular} {finish.roughness}\n"


def scene(
    folder: Path, mesh: Mesh, ground_albedo: float, *, black: bool = False, mirrors: bool = False, ground: bool = True
) -> str:
    """Write the mesh as scene.rad; gives back its name."""
    finishes = list(dict.fromkeys(f.finish for f in mesh.facets))
    lines = []
    for k, finish in enumerate(finishes):
        dark = Finish(finish.name, 0.0, 1.0)
        plain = dark if black or (mirrors and finish.specular == 0.0) else finish
        lines.append(_material(f"m{k}", plain, mirrors))
    number = {finish: k for k, finish in enumerate(finishes)}
    for t, (corners, facet) in enumerate(zip(mesh.corners, mesh.owner[mesh.element], strict=True)):
        xyz = " ".join(f"{v:.6f}" for v in corners.ravel())
        lines.append(f"m{number[mesh.facets[facet].finish]} polygon t{t}\n0\n0\n9 {xyz}\n")
    if ground:
        g = 0.0 if black or mirrors else ground_albedo
        lines.append(f"void plastic ground\n0\n0\n5 {g} {g} {g} 0 0\n")
        lines.append("ground ring outside\n0\n0\n8 0 0 -0.6 0 0 1 0 400\n")
    (folder / "scene.rad").write_text("".join(lines))
    return "scene.rad"


def sun(folder: Path, azimuth: float, elevation: float, direct_normal: float) -> str:
    """Write a sun at field angles [rad] as sun.rad."""
    x, y = np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth)
    bright = direct_normal / (2 * np.pi * (1 - np.cos(np.radians(SUN / 2))))
    text = f"void light solar\n0\n0\n3 {bright} {bright} {bright}\n"
    text += f"solar source sun\n0\n0\n4 {x:.8f} {y:.8f} {np.sin(elevation):.8f} {SUN}\n"
    (folder / "sun.rad").write_text(text)
    return "sun.rad"


def sky(folder: Path, azimuth: float, elevation: float, direct_normal: float, diffuse: float) -> str:
    """Write Radiance's own all-weather sky without its sun as sky.rad."""
    west_of_south = (90.0 - np.degrees(azimuth) - 180.0 + 360.0) % 360.0
    text = run(
        folder, "gendaylit", "-ang", np.degrees(elevation), west_of_south, "-W", direct_normal, diffuse, "-O", 1
    ).decode()
    glow = "void brightfunc" + text.split("void brightfunc", 1)[1]
    glow += "\nskyfunc glow sky_glow\n0\n0\n4 1 1 1 0\nsky_glow source sky\n0\n0\n4 0 0 1 180\n"
    (folder / "sky.rad").write_text(glow)
    return "sky.rad"


def irradiance(folder: Path, files: list[str], points: Array, *options: str | float) -> Array:
    """Irradiance of level points (point,) [W m-2] in the scene of these files."""
    (folder / "scene.oct").write_bytes(run(folder, "oconv", *files))
    rays = "\n".join(f"{x:.6f} {y:.6f} {z:.6f} 0 0 1" for x, y, z in points) + "\n"
    out = run(folder, "rtrace", "-h", "-I", *options, "scene.oct", given=rays.encode())
    return np.array([line.split()[:3] for line in out.decode().splitlines()], float).mean(axis=1)
