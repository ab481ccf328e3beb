"""An invented horseshoe with one open end, a closed bowl, and the same field in the open; coarse and soon traced."""

from functools import cache

from microclimate.exposure import bowl as geometry
from microclimate.venue import load

TEXT = """
format = 1
name = "Lower Fold"
units = "US"
clock = 12
[site]
latitude = 41
longitude = -88
elevation = 200
time_zone = "America/Chicago"
surroundings = "open country"
[field]
length = 100
width = 60
bearing = 0
cell_size = 10
zone_rows = 1
zone_columns = 3
zone_names = [["south", "middle", "north"]]
[[ground]]
build = "sand over gravel"
circuit = "all"
[[circuit]]
name = "all"
kind = "hydronic"
depth = "200 mm"
pitch = "200 mm"
power = 150
supply_temperature = "35 degC"
probe_depth = "100 mm"
set_point = "8 degC"
ceiling = "18 degC"
[bowl]
kind = "horseshoe"
open_end = "head"
corner_radius = 12
[[stand]]
name = "ring"
side = "all"
setback = 8
[[stand.tier]]
front_height = 1.5
tread = 0.8
riser = 0.5
rows = 40
material = "painted metal"
"""


def text(kind: str = "horseshoe", material: str = "painted metal", exchange_floor: float = 3.0) -> str:
    """The venue file; "none" is the same field in open country; `exchange_floor` of the grass [W m-2 K-1]."""
    found = TEXT.replace("painted metal", material) + f"[turf]\nexchange_floor = {exchange_floor}\n"
    if kind == "none":
        return found.replace(found[found.index("[bowl]") : found.index("[turf]")], "")
    if kind == "closed":  # all round and higher: sky view .86 over the middle zone
        found = found.replace('kind = "horseshoe"\nopen_end = "head"', 'kind = "rounded rectangle"')
        found = found.replace("rows = 40", "rows = 54").replace("riser = 0.5", "riser = 0.65")
    return found


@cache
def venue(kind: str = "horseshoe", material: str = "painted metal", exchange_floor: float = 3.0):
    """The venue, read once a session."""
    return load.text(text(kind, material, exchange_floor))


@cache
def bowl(kind: str = "horseshoe", material: str = "painted metal"):
    """Its traced bowl, once a session."""
    return geometry.bowl(venue(kind, material))
