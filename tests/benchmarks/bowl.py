"""Bars of the bowl's radiation in one run: `python tests/benchmarks/bowl.py`. Ends with one line of JSON.

Scene: the check bowl of tests/exposure/bowl_scene.py, 6,600 cells of 1 m. Comparators: Radiance through the wheel of
pyradiance, and the ray engine. Ratios are taken inside this run, best of a few.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pvlib

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1] / "exposure"))
import radiance
from bowl_scene import points, ring
from test_windows import CENTRE, basin, canyon, slab, upright

from microclimate.column import jit
from microclimate.exposure import cache, exchange, plan, rays, trace
from microclimate.exposure.bowl import Bowl, assemble, cells
from microclimate.exposure.shine import images
from microclimate.exposure.windows import windows
from tests.benchmarks.bars import Bars

SUNS = ((180.0, 25.6, 750.0), (215.0, 15.0, 600.0), (180.0, 72.0, 850.0))
SKIES = ((180.0, 25.6, 750.0, 70.0), (215.0, 15.0, 600.0, 50.0), (180.0, 25.6, 300.0, 150.0), (180.0, 40.0, 0.0, 120.0))
MANY = ("-ab", 7, "-ad", 16384, "-as", 0, "-lw", 3e-6, "-aa", 0)


def best(times: int, work: Callable[[], Any]) -> tuple[float, Any]:
    """Shortest of some runs [s], and the last result."""
    shortest, result = np.inf, None
    for _ in range(times):
        begin = time.perf_counter()
        result = work()
        shortest = min(shortest, time.perf_counter() - begin)
    return shortest, result


def seen_from(venue: Any, traced: trace.Geometry) -> Bowl:
    mesh = plan.venue_mesh(venue.bowl, venue.field)
    count = len(traced.x)
    return assemble(mesh, traced, venue.field.bearing, np.ones(count), np.zeros(count, int), venue.bowl.ground_albedo)


def closed_forms(table: Bars) -> None:
    worst = abs(windows(CENTRE, canyon().shade).sky_view()[0] - np.cos(np.arctan2(10.0, 20.0)))
    round_wall = basin(20.0 / np.sqrt(np.cos(np.pi / 360)))
    worst = max(worst, abs(windows(CENTRE, round_wall.shade).sky_view()[0] - 0.8))
    x, y = 1.2, 0.8
    p, q = np.sqrt(1 + x * x), np.sqrt(1 + y * y)
    canopy = 1.0 - 4.0 * (x / p * np.arctan(y / p) + y / q * np.arctan(x / q)) / (2 * np.pi)
    over = slab((-12.0, 12.0), (-8.0, 8.0), (10.0, 10.001))
    worst = max(worst, abs(windows(CENTRE, over).sky_view()[0] - canopy))
    wall = slab((-12.5, 12.5), (20.0, 20.01), (-1.0, 8.0))
    worst = max(worst, abs(windows(CENTRE, wall).sky_view()[0] - (1.0 - 2.0 * upright(20.0, 8.0, 12.5))))
    table.row("sky view against closed forms, worst", worst, "1", "<= 3e-4")


def sun_mask(table: Bars, mesh: Any, ground: Any, bearing: float) -> None:
    year = pd.date_range("2025-01-01", "2025-12-31 23:50", freq="10min", tz="UTC")
    sun = pvlib.solarposition.get_solarposition(year, 41.0, -96.0)
    sun = sun[sun["elevation"] > 0.0]
    angle = np.radians((bearing - sun["azimuth"].to_numpy()) % 360.0)
    height = np.radians(sun["elevation"].to_numpy())
    pick = np.random.default_rng(0).choice(len(sun), 300, replace=False)
    towards = exchange.sun_directions(angle[pick], height[pick])
    engine = rays.Engine(mesh.corners)
    single = ground.astype(np.float32)
    few = [np.broadcast_to(d.astype(np.float32), ground.shape).copy() for d in towards]
    traced = np.stack([~engine.blocked(ground, d) for d in few], axis=1)
    seen = windows(ground, mesh.shade).sees(angle[pick], height[pick])
    table.row("sun mask: wrong pairs", (seen != traced).mean(), "1", "<= 1e-4")
    table.row("sun mask: worst field mean", np.abs(seen.mean(0) - traced.mean(0)).max(), "1", "<= 0.002")
    silhouette = rays.Engine(mesh.shade)  # the engine gets the simpler mesh too: the fairer race
    queries, _ = best(3, lambda: [silhouette._scene.run(single, d, query="OCCLUDED") for d in few[:100]])

    def whole_year() -> None:
        found = windows(ground, mesh.shade)
        for part in np.array_split(np.arange(len(angle)), 20):
            found.sees(angle[part], height[part])

    threads, jit.THREADS = jit.THREADS, 1  # as the engine's own loop has
    ours, _ = best(2, whole_year)
    jit.THREADS = threads
    yearly = queries / 100 * len(angle)
    print(f"  one thread: year of masks {ours:.1f} s; raw queries {yearly:.1f} s")
    table.row("year of sun masks over raw queries, threads equal", ours / yearly, "1", "<= 0.75 (0.5)")


def light(table: Bars, folder: Path) -> None:
    spots = points()
    venue = ring()
    few = trace.traced(plan.venue_mesh(venue.bowl, venue.field), spots[:, 0], spots[:, 1])
    bias = rms = worst = 0.0
    reference = pd.read_csv(Path(__file__).parent.parent / "reference/radiance_bowl.csv", comment="#")
    for _, row in reference.iterrows():
        bowl = seen_from(ring(albedo=row["albedo"]), few)
        off = row.iloc[4:].to_numpy(float)
        found = row["direct_normal"] * bowl.off_stands(row["azimuth"], row["elevation"])[0]
        bias = max(bias, abs(found.mean() / off.mean() - 1.0))
        rms, worst = max(rms, np.sqrt(np.mean((found - off) ** 2))), max(worst, np.abs(found - off).max())
    table.row("matte: worst bias of six cases", bias, "1", "<= 0.05")
    table.row("matte: worst rms", rms, "W/m2", "<= 1")
    table.row("matte: worst point", worst, "W/m2", "<= 2")

    # the table of references is itself checked here, by a run of its own
    bowl = seen_from(ring(), few)
    first = reference.iloc[0]
    files = [radiance.scene(folder, bowl.mesh, 0.3), _sun(folder, bowl, *SUNS[0])]
    again = radiance.irradiance(folder, files, spots, *MANY) - radiance.irradiance(folder, files, spots, "-ab", 0)
    table.row(
        "reference made again, rms", np.sqrt(np.mean((again - first.iloc[4:].to_numpy(float)) ** 2)), "W/m2", "<= 0.5"
    )

    bias = rms = 0.0
    for specular, roughness in ((0.5, 0.2), (0.3, 0.15)):
        bowl = seen_from(ring(specular=specular, roughness=roughness), few)
        for azimuth, elevation, direct in SUNS:
            files = [radiance.scene(folder, bowl.mesh, 0.3), _sun(folder, bowl, azimuth, elevation, direct)]
            off = radiance.irradiance(folder, files, spots, *MANY, "-ss", 0, "-st", 0)
            off -= radiance.irradiance(folder, files, spots, "-ab", 0)
            found = direct * bowl.off_stands(azimuth, elevation)[0]
            bias = max(bias, abs(found.mean() / off.mean() - 1.0))
            rms = max(rms, np.sqrt(np.mean((found - off) ** 2)))
    table.row("partly specular: worst bias of six cases", bias, "1", "<= 0.1")
    table.row("partly specular: worst rms", rms, "W/m2", "<= 1")

    bowl, worst = seen_from(ring(specular=0.5), few), 0.0
    for azimuth, elevation, direct in SUNS:
        files = [radiance.scene(folder, bowl.mesh, 0.3, mirrors=True), _sun(folder, bowl, azimuth, elevation, direct)]
        whole = radiance.irradiance(folder, files, spots, "-ab", 0, "-dr", 1, "-dj", 0)
        height = np.radians(elevation)
        straight = direct * np.sin(height) * bowl.sun_factor(azimuth, elevation)[0]
        worst = max(worst, np.abs(whole - straight - direct * images(bowl, azimuth, elevation)).max())
    table.row("pure mirror: worst point", worst, "W/m2", "<= 0.1")

    bowl, worst = seen_from(ring(), few), 0.0
    scene = radiance.scene(folder, bowl.mesh, 0.3)
    for azimuth, elevation, direct, diffuse in SKIES:
        sky = radiance.sky(folder, float(bowl.field_angle(azimuth)), float(np.radians(elevation)), direct, diffuse)
        open_sky = radiance.irradiance(folder, [sky], spots[:1], "-ab", 1, "-ad", 65536, "-aa", 0, "-as", 0)[0]
        wanted = radiance.irradiance(folder, [scene, sky], spots, *MANY) * diffuse / open_sky
        sun = tuple(np.array([v]) for v in (azimuth, elevation, direct, diffuse))
        bounced = bowl.reflected(*sun)[0] - direct * bowl.off_stands(azimuth, elevation)[0]
        worst = max(worst, np.sqrt(np.mean((bowl.sky_light(*sun)[0] + bounced - wanted) ** 2)))
    table.row("sky light with reflections: worst rms", worst, "W/m2", "<= 1")


def _sun(folder: Path, bowl: Bowl, azimuth: float, elevation: float, direct: float) -> str:
    return radiance.sun(folder, float(bowl.field_angle(azimuth)), float(np.radians(elevation)), direct)


def cost(table: Bars, folder: Path, mesh: Any, x: Any, y: Any, venue: Any) -> None:
    seconds, traced = best(2, lambda: trace.traced(mesh, x, y))
    bowl = seen_from(venue, traced)
    begin = time.perf_counter()
    files = [radiance.scene(folder, mesh, 0.3), _sun(folder, bowl, *SUNS[0])]
    ground = np.column_stack([x, y, np.full(len(x), 0.02)])
    radiance.irradiance(folder, files, ground, "-ab", 5, "-ad", 2048, "-as", 0, "-lw", 2e-5, "-aa", 0, "-n", 2)
    once = time.perf_counter() - begin
    print(f"  precompute {seconds:.1f} s; Radiance, one sun {once:.1f} s")
    table.row("precompute over one Radiance sun", seconds / once, "1", "<= 1")
    table.row("precompute", seconds, "s", "<= 25")

    e = traced.exchange
    table.row("closure", np.abs(e.factor_thermal.sum(1) + e.view - 1.0).max(), "1", "<= 1e-6")
    flow = e.area[:, None] * e.factor[:-1, :-1]
    table.row("reciprocity", np.abs(flow - flow.T).max() / flow.max(), "1", "<= 1e-6")
    black = 5.670374419e-8 * 270.0**4
    all_round = sum(bowl.longwave(black, 270.0, 270.0))
    table.row("isothermal enclosure", np.abs(all_round / black - 1.0).max(), "1", "<= 1e-6")

    root = folder / "kept"
    cache.cache_root = lambda: root  # type: ignore[assignment]
    trace.geometry(mesh, x, y)
    trace.gain(e, bowl.albedo, bowl.emissivity)
    weights = (np.arange(72)[:, None] == np.arange(len(x)) * 72 // len(x)).astype(float)
    weights /= weights.sum(axis=1, keepdims=True)
    one = tuple(np.array([v]) for v in (170.0, 25.0, 700.0, 70.0))

    def start() -> Bowl:
        kept = trace.geometry(mesh, x, y)
        made = seen_from(venue, kept).grouped(weights)
        step(made)
        return made

    def step(made: Bowl) -> None:
        made.sun_factor(*one[:2])
        made.diffuse(*one)
        made.longwave(np.array([250.0]), np.array([270.0]), np.array([268.0]))

    seconds, few = best(3, start)
    table.row("cached start to the first step of 72 patches", seconds, "s", "<= 0.3")
    table.row("cache, opaque roof", sum(p.stat().st_size for p in root.glob("bowl*")) / 1e6, "MB", "<= 80")
    veiled = ring(cell=1.0, tau=0.4)
    cache.clear()
    trace.geometry(plan.venue_mesh(veiled.bowl, veiled.field), x, y)
    table.row("cache, translucent roof", sum(p.stat().st_size for p in root.glob("bowl*")) / 1e6, "MB", "<= 130")
    step(bowl)
    seconds, _ = best(20, lambda: step(bowl))
    table.row("one time step, 6,600 cells", 1e3 * seconds, "ms", "<= 8 (4)")
    day = tuple(np.repeat(v, 288) for v in one)

    def patches() -> None:
        few.sun_factor(*day[:2])
        few.diffuse(*day)
        few.longwave(np.full(288, 250.0), np.full(288, 270.0), np.full(288, 268.0))

    patches()
    seconds, _ = best(5, patches)
    table.row("one time step, 72 patches, in a day of 288", 1e3 * seconds / 288, "ms", "<= 0.1")


def main() -> int:
    """All bars; 1 when one is missed."""
    table = Bars("bowl")
    venue = ring(cell=1.0)
    mesh = plan.venue_mesh(venue.bowl, venue.field)
    x, y, _, _ = cells(venue)
    trace.traced(mesh, x[:10], y[:10]).opaque.sees(np.zeros(1), np.zeros(1))  # compile
    closed_forms(table)
    sun_mask(table, mesh, np.column_stack([x, y, np.full(len(x), 0.02)]), venue.field.bearing)
    with tempfile.TemporaryDirectory() as folder:
        light(table, Path(folder))
        cost(table, Path(folder), mesh, x, y, venue)
    return table.end()


if __name__ == "__main__":
    sys.exit(main())
