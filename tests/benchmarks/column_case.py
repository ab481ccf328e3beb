"""The work of the column's benchmark: zones that freeze, dew, are covered and heated, as the kernel's own arrays."""

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np

from microclimate.column import rows
from microclimate.column.vector import lanes_of
from microclimate.physics import vapour
from microclimate.simulate import accumulate, loop
from microclimate.simulate import columns as col
from tests.benchmarks import naive, vectorised
from tests.simulate import world


@dataclass(frozen=True)
class Case:
    """Everything `loop.run` wants that does not depend on the number of threads."""

    fixed: col.Columns
    covers: Any
    forcing: Any  # (time, rows.FORCED, pair)
    plans: Any  # (time, rows.PLANNED, plan and zone)
    columns: Any  # (column, 2)
    lengths: Any  # (time) [s]
    told: Any  # row and share at 25 mm, (pair, 2)
    thresholds: tuple[float, ...]


def case(patches: int, members: int, plans: int, hours: float, step: float = 300.0) -> Case:
    """A dry winter spell: clear nights, some sun, ground near freezing; every third plan covers, two of three heat."""
    circuits = [{"name": "loop", "kind": "hydronic", "supply_temperature": 35, "power": 150, "probe_depth": 0.1}]
    covers = [{"name": "fleece", "kind": "permeable", "sheets": 2}, {"name": "blanket", "kind": "insulated"}]
    zones = [world.zone(f"zone {i}", circuit="loop", water_content=0.12 + 0.02 * i) for i in range(4)]
    venue = world.venue(*zones, circuits=circuits, covers=covers)
    index = np.arange(patches) % 4
    rng = np.random.default_rng(2)
    start = world.initial(
        venue, patches, members, index, soil_temperature=rng.uniform(273.5, 277.0, (members, patches, 1))
    )
    fixed = col.columns(venue, index, start, 10.0, 2.0)
    count = round(hours * 3600.0 / step)
    clock = (np.arange(count) + 0.5) * step / 3600.0 + 16.0
    pairs = members * patches
    member, patch = np.divmod(np.arange(pairs), patches)
    air = -2.0 + 4.0 * np.cos(2.0 * np.pi * (clock[:, None] - 15.0) / 24.0) + rng.normal(0.0, 1.5, members)[member]
    dew = air - rng.uniform(0.5, 4.0, members)[member]
    humidity = vapour.specific_humidity(vapour.saturation_pressure_water(dew + 273.15), 1e5)
    forcing = np.empty((count, rows.FORCED, pairs))
    sun = np.clip(350.0 * np.sin(np.pi * ((clock % 24.0) - 8.0) / 9.0), 0.0, None) * (abs((clock % 24.0) - 12.5) < 4.5)
    for row, values in (
        (rows.AIR, air),
        (rows.HUMIDITY, humidity),
        (rows.WIND, np.repeat(rng.uniform(0.3, 4.0, (count // 12 + 1, members)), 12, axis=0)[:count, member]),
        (rows.DENSITY, vapour.air_density(air + 273.15, humidity, 1e5)),
        (rows.PRESSURE, 1e5),
        (rows.RAIN, 0.0),
        (rows.SNOWFALL, 0.0),
        (rows.SUN, sun[:, None] * (0.3 + 0.7 * (patch % 7) / 7.0)),
        (rows.LONGWAVE, 245.0 + 3.0 * air + 8.0 * (patch % 5)),
        (rows.BELOW, 8.0),
    ):
        forcing[:, row - rows.AIR] = values
    number = np.arange(plans)
    planned = np.zeros((count, rows.PLANNED, plans, len(zones)))
    planned[:, 0] = np.where(number % 3 == 2, 1.0 + 2.0 * (number % 2), 0.0)[:, None]
    planned[:, rows.HEATING_ALLOWED - rows.COVERED] = (number % 3 > 0)[:, None]
    planned[:, rows.SET_POINT - rows.COVERED] = 4.0
    planned[:, rows.SUPPLY - rows.COVERED] = 35.0
    plan, pair, _ = loop.side_by_side(plans, pairs, np.float32)  # whole tiles for float64 as well
    limits = venue.limits
    thresholds = (limits.snow_amount, limits.ice_film_amount, limits.frozen_fraction, limits.frost_amount)
    return Case(
        fixed,
        col.cover_kinds(venue),
        forcing,
        planned.reshape(count, rows.PLANNED, -1),
        np.stack([pair, plan * len(zones) + index[patch[pair]]], axis=1),
        np.full(count, step),
        fixed.depth_places[:, :2],
        (*thresholds, limits.near_freezing - 273.15),
    )


def blocks(work: Case, kind: Any = np.float64) -> int:
    """How many blocks of lanes the columns make."""
    return -(-work.columns.shape[0] // lanes_of(kind))


def kernel(work: Case, kind: Any = np.float64, traced: bool = False) -> loop.Job:
    """The job for `loop.run`; accounts and traces are new."""
    count, columns = work.fixed.layers.shape[1], work.columns.shape[0]
    width = loop.TRACE + 2 * count
    floats = SimpleNamespace(**{name: np.asarray(getattr(work.fixed, name), dtype=kind) for name in (
        "given", "layers", "state", "heat", "depth_places", "tables")})  # fmt: skip
    return loop.Job(
        work.columns,
        floats.given,
        floats.layers,
        floats.state,
        floats.heat,
        floats.depth_places,
        work.fixed.shallow,
        loop.tiled(work.forcing, kind),
        work.plans.astype(kind),
        np.concatenate(([True], (work.plans[1:] != work.plans[:-1]).any(axis=(1, 2)))),
        np.full(work.fixed.given.shape[0], work.lengths.size),
        work.lengths,
        work.lengths.astype(kind),
        1,
        floats.tables,
        work.covers.astype(kind),
        np.asarray(work.thresholds, dtype=kind),
        np.ones((1, work.lengths.size), dtype=bool),
        np.zeros((blocks(work, kind), 1, accumulate.ACCOUNT, lanes_of(kind))),
        np.zeros((0, rows.KEPT), dtype=kind),
        np.zeros((0, count), dtype=kind),
        np.arange(columns if traced else 0),
        np.full((columns if traced else 0, work.lengths.size, width), np.nan, dtype=kind),
    )


def naive_columns(work: Case, numbers: Any) -> list[naive.Column]:
    """Some columns of the work, the plain way."""
    found = []
    for number in numbers:
        pair = work.columns[number, 0]
        told = int(work.told[pair, 0]) - 1, float(work.told[pair, 1])
        fixed = work.fixed
        parts = fixed.given[pair], fixed.layers[pair], fixed.state[pair], fixed.heat[pair], fixed.tables, work.covers
        found.append(naive.Column(*parts, told))
    return found


def vectorised_columns(work: Case) -> tuple[vectorised.Columns, tuple[Any, Any, Any]]:
    """All columns of the work with NumPy, and the place at 25 mm."""
    pair, fixed = work.columns[:, 0], work.fixed
    parts = fixed.given[pair], fixed.layers[pair], fixed.state[pair], fixed.heat[pair], fixed.tables, work.covers
    told = work.told[pair, 0].astype(int) - 1, np.arange(pair.size), work.told[pair, 1]
    return vectorised.Columns(*parts), told
