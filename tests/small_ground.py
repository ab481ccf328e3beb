"""A small open ground with a quilt and a crew, for tests that need some venue and not the demo's."""

GROUND = """
format = 1
name = "Small ground"
[site]
latitude = 36.10
longitude = -79.95
elevation = 273
time_zone = "America/New_York"
[field]
length = 100
width = 60
cell_size = 10
zone_columns = 2
[[cover]]
name = "quilt"
kind = "insulated"
people = 6
minutes = 60
[crew]
people = 10
notice = 1
earliest = 0
latest = 24
"""
