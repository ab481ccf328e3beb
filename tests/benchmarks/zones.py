"""A season of the zones: time, published numbers, and budgets that close.

    python tests/benchmarks/zones.py

120 days from mid-November at 10 min, the demo's 24 zones, the bowl as it is and the same field without stands, on the
typical year that pvlib ships (723170TYA.CSV, US National Renewable Energy Laboratory, public domain). Kernels and bowls
are on disk before the clock starts; best of three. Ends with one JSON line; exit status 1 when a bar is missed.
"""

import os
import sys
import time
from datetime import date
from pathlib import Path

import numpy as np
import pvlib

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1] / "published"))

import rows_solar
import rows_surface
import rows_turbulence
import rows_turf

from microclimate.exposure import patches
from microclimate.exposure.bowl import bowl
from microclimate.physics import light
from microclimate.venue import load
from microclimate.weather import complete, read
from microclimate.workflow import zones_cases, zones_days, zones_run
from tests.benchmarks.bars import Bars

DEMO = Path(__file__).parents[2] / "data_demo"
TYPICAL = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
DAYS = 120
# light, growth and degree days, FAO-56 daily and hourly, ASCE daily, hardening
PUBLISHED = ("LIG-", "TUR-04", "TUR-05", "TUR-06", "TRF-")


def main() -> int:
    venue = load.venue(DEMO / "venue.toml")
    site = venue.site.site
    days = zones_days.Days(date(2025, 11, 15), date(2026, 3, 14), site.time_zone)
    assert days.count == DAYS
    typical = zones_days.covering(complete.weather(read.weather(TYPICAL, site), site), days)
    bare = zones_cases.without_stands(venue)
    seen, open_field = bowl(venue), bowl(bare)
    sun = patches.morning_sun(seen, site.latitude, site.longitude, days.dates[DAYS // 2])
    joined = patches.patches(venue.field.zones, seen, sun)
    cases = zones_run.Case(venue, seen), zones_run.Case(bare, open_field)
    walls, works, found = [], [], []
    for _ in range(4):
        began, work = time.perf_counter(), time.process_time()
        found = [zones_run.lived(case, joined, typical, days) for case in cases]
        walls.append(time.perf_counter() - began)
        works.append(time.process_time() - work)
    own, without = found

    rows = Bars("zones")
    rows.row("season: 120 days, 10 min, 24 zones, 2 bowls; best of 3", min(walls[1:]), "s", "<= 6")
    rows.row("the same, processor time of all threads", min(works[1:]), "s", "reported")
    checks = [
        row
        for table in (rows_solar, rows_surface, rows_turbulence, rows_turf)
        for row in table.ROWS
        if row.id.startswith(PUBLISHED)
    ]
    missed = [row.id for row in checks if row.misses()]
    rows.row(
        f"published light, degree days, water loss, hardening: {len(checks)} rows, missed",
        len(missed),
        "",
        "<= 0",
        ", ".join(missed),
    )
    index = [float(light.growth_index(273.15 + t, 293.15, 5.5)) for t in (5.0, 10.0)]
    rows.row(
        "growth index at 5 and 10 degC against 0.02 and 0.19",
        max(abs(index[0] - 0.02), abs(index[1] - 0.19)),
        "",
        "<= 0.005",
    )

    gap = 0.0
    for name in ("energy_sun", "energy_sky", "energy_stands"):
        patch = own.days[name].transpose("patch", "day").values.mean(axis=1)
        cell = joined["weights"].values @ own.cells[name].values
        gap = max(gap, float(np.abs(patch / cell - 1.0).max()))
    rows.row("light of patches against light of cells, by origin", gap, "", "<= 1e-4")
    down = typical["surface_downwelling_shortwave_flux_in_air"]
    inside = (typical["time"].values > days.edges[0]) & (typical["time"].values <= days.edges[-1])
    weather = float(down.values[0, inside].sum() * 3600.0 / DAYS)
    open_light = sum(float(without.cells[f"energy_{part}"].values.mean()) for part in ("sun", "sky", "stands"))
    rows.row("light of the open field against the weather's own", abs(open_light / weather - 1.0), "", "<= 1e-4")
    fluxes = [own.days[name].values for name in ("sensible_heat_up", "latent_heat_up", "ground_heat_down")]
    rest = own.days["net_radiation"].values - sum(fluxes)
    turned = np.abs(own.days["net_radiation"].values) + sum(np.abs(flux) for flux in fluxes)
    rows.row(
        "heat of the leaf not accounted for, of all turned over", abs(float(rest.sum() / turned.sum())), "", "<= 0.03"
    )
    print(f"load average {os.getloadavg()}")
    return rows.end()


if __name__ == "__main__":
    sys.exit(main())
