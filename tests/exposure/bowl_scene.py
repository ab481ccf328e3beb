"""An invented bowl for checks: two tiers in a ring with a gap, a roof along one long side; and small bodies."""

import numpy as np

from microclimate.exposure.mesh import Array, Body, Finish, Mesh, box, mesh
from microclimate.venue import load
from microclimate.venue.bowl import Roof
from microclimate.venue.described import Venue

NOTHING = (np.zeros((0, 3, 3)), [])

_HEAD = """
format = 1
name = "Check bowl"
units = "metric"
clock = 24
[site]
latitude = 41
longitude = -96
elevation = 300
time_zone = "America/Chicago"
[field]
length = 110
width = 60
bearing = 20
cell_size = {cell}
[turf]
albedo = 0.20
[[ground]]
build = "sand over gravel"
[bowl]
kind = "rounded rectangle"
corner_radius = 15
apron_albedo = 0.20
ground_albedo = 0.30
fascia_material = "wall"
[[material]]
name = "wall"
like = "concrete"
albedo = 0.40
[[material]]
name = "steps"
like = "concrete"
albedo = {albedo}
emissivity = {emissivity}
specular = {specular}
roughness = {roughness}
[[gap]]
side = "head"
width = 40
"""
_STAND = """
[[stand]]
name = "ring"
side = "all"
setback = 8
parapet_height = 1.5
[[stand.tier]]
front_height = 1.5
tread = 0.80
riser = 0.40
rows = 30
material = "steps"
[[stand.tier]]
setback = -2
front_height = 17
tread = 0.80
riser = 0.50
rows = 25
material = "steps"
"""


def ring(
    albedo: float = 0.65,
    emissivity: float = 0.9,
    specular: float = 0.0,
    roughness: float = 0.0,
    cell: float = 2.0,
    tau: float = 0.0,
) -> Venue:
    """The check bowl with one finish on all its steps."""
    text = _HEAD.format(albedo=albedo, emissivity=emissivity, specular=specular, roughness=roughness, cell=cell)
    venue = load.text(text + _STAND)
    ring = venue.bowl.stands[0]
    cover = Roof(depth=18, height_front=38, height_back=36, thickness=0.6, albedo=0.5, transmittance=tau)
    roofed = ring.model_copy(update={"name": "roofed", "side": "left", "roof": cover})
    return venue.model_copy(update={"bowl": venue.bowl.model_copy(update={"stands": (ring, roofed)})})


def points(count: int = 20) -> Array:
    """Points on the field (count + 8, 3): a low-discrepancy sequence, the corners, and four under the roof's edge."""
    phi = 1.3247179572447460  # plastic number, base of the two-dimensional R-sequence (Roberts)
    i = np.arange(1, count + 1)
    spread = np.stack([(0.5 + i / phi) % 1 * 110 - 55, (0.5 + i / phi**2) % 1 * 60 - 30], axis=1)
    corners = np.array([[53.0, 28.0], [53.0, -28.0], [-53.0, 28.0], [-53.0, -28.0]])
    edge = np.array([[-40.0, 29.5], [-13.0, 29.5], [13.0, 29.5], [40.0, 29.5]])
    plan = np.concatenate([spread, corners, edge])
    return np.column_stack([plan, np.full(len(plan), 0.02)])


GREY = Finish("grey", 0.3, 0.9)


def prism(base: Array, growth: Array, outline: list[tuple[float, float]], closed: bool, finish: Finish = GREY) -> Body:
    """One body of one finish."""
    return Body("body", np.asarray(base, float), np.asarray(growth, float), closed, box(outline, "wall", finish))


def canyon(distance: float = 20.0, height: float = 10.0, half_length: float = 4e4) -> Mesh:
    """Two long walls at equal distance."""
    outline = [(0.0, -1.0), (0.0, height), (1.0, height), (1.0, -1.0)]
    far = prism([[half_length, distance], [-half_length, distance]], [[0, 1], [0, 1]], outline, False)
    near = prism([[-half_length, -distance], [half_length, -distance]], [[0, -1], [0, -1]], outline, False)
    return mesh([far, near], NOTHING)


def basin(radius: float = 20.0, height: float = 10.0, sides: int = 360) -> Mesh:
    """A circular wall."""
    a = np.arange(sides) * 2 * np.pi / sides
    out = np.stack([np.cos(a), np.sin(a)], axis=1)
    outline = [(0.0, -1.0), (0.0, height), (1.0, height), (1.0, -1.0)]
    return mesh([prism(out * radius, out, outline, True)], NOTHING)
