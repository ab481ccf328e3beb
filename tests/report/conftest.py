"""A made-up night over a made-up field, drawn from a fixed generator: shapes and texts as a real run has them.

No number here is a result of the package; the tests look at words, layout and consistency only.
"""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
import xarray as xr

from microclimate.report.answer import Answer, Fact, Limit, Start
from microclimate.schema import REPORT_DEPTHS, STATE_NAMES, Advice, Event, SurfaceState
from microclimate.units import Shown

LEVELS = (0.1, 0.5, 0.9)
LENGTH, WIDTH, CELL = 108.0, 70.0, 2.0
ROWS, COLUMNS, MEMBERS = 4, 6, 31
NOW = datetime(2026, 12, 15, 21, 10)
TIMES = np.arange("2026-12-15T21:00", "2026-12-17T03:00", np.timedelta64(30, "m"), dtype="datetime64[ns]")
WINDOWS = (
    Event("tonight", datetime(2026, 12, 15, 22), datetime(2026, 12, 16, 14), "night"),
    Event("evening game", datetime(2026, 12, 17, 0, 30), datetime(2026, 12, 17, 2, 30)),
)
LONG = "Lower terrace touchline by the visitors' tunnel"


def zone_names() -> list[str]:
    """Twenty-four names a grounds crew might use, one of them far too long."""
    rows = ("Tunnel side", "Inner left", "Inner right", "Roof side")
    names = [f"{row} {column}" for row in rows for column in "ABCDEF"]
    names[2] = LONG
    return names


def outlines() -> dict[str, tuple[tuple[float, float], ...]]:
    """A grid of zones, the last one cut off at a corner so that it is no rectangle."""
    x = np.linspace(-LENGTH / 2, LENGTH / 2, COLUMNS + 1)
    y = np.linspace(-WIDTH / 2, WIDTH / 2, ROWS + 1)
    shapes = {}
    for k, name in enumerate(zone_names()):
        i, j = divmod(k, COLUMNS)
        shapes[name] = ((x[j], y[i]), (x[j + 1], y[i]), (x[j + 1], y[i + 1]), (x[j], y[i + 1]))
    a, b, c, d = shapes[zone_names()[-1]]
    shapes[zone_names()[-1]] = (a, b, (c[0], c[1] - 8.0), (c[0] - 9.0, c[1]), d)
    return {name: tuple((float(px), float(py)) for px, py in shape) for name, shape in shapes.items()}


def _risk(rng: np.random.Generator, base: np.ndarray, event_times: np.ndarray) -> xr.Dataset:
    zones, events, states = zone_names(), len(WINDOWS), len(SurfaceState)
    shape = (len(zones), events)
    probability = np.zeros((*shape, states))
    canopy = np.zeros((*shape, len(LEVELS)))
    for z in range(len(zones)):
        for e in range(events):
            members = base[z] + 2.2 * e + rng.normal(0.0, 1.9, MEMBERS)
            state = np.select(
                [members > 274.6, members > 273.15, members > 271.5, members > 268.6, members > 266.9],
                [0, 1, 2, 3, 4],
                5,
            )
            probability[z, e] = np.bincount(state, minlength=states) / MEMBERS
            canopy[z, e] = np.quantile(members, LEVELS)
    reached = probability[..., ::-1].cumsum(-1)[..., ::-1].clip(0, 1)
    soil = canopy[:, :, None, :] * 0.25 + 273.6 * 0.75 + np.array([0.0, 1.1, 2.6])[None, None, :, None]
    spread = 0.12

    def var(dims: tuple[str, ...], values: np.ndarray) -> tuple[tuple[str, ...], np.ndarray]:
        return (("zone", "event", *dims), values)

    return xr.Dataset(
        {
            "probability": var(("state",), probability),
            "probability_low": var(("state",), (probability - spread).clip(0, 1)),
            "probability_high": var(("state",), (probability + spread).clip(0, 1)),
            "probability_reached": var(("state",), reached),
            "probability_reached_low": var(("state",), (reached - spread).clip(0, 1)),
            "probability_reached_high": var(("state",), (reached + spread).clip(0, 1)),
            "canopy_temperature_worst": var(("quantile",), canopy),
            "canopy_temperature_median": var(("quantile",), canopy + 0.8),
            "canopy_temperature_worst_time": var((), np.broadcast_to(event_times, shape).copy()),
            "soil_temperature_worst": var(("depth", "quantile"), soil),
            "soil_temperature_median": var(("depth", "quantile"), soil + 0.3),
            "soil_temperature_worst_time": var(
                ("depth",), np.broadcast_to(event_times[:, None], (*shape, len(REPORT_DEPTHS))).copy()
            ),
            "onset_time": var((), np.broadcast_to(event_times - np.timedelta64(9, "h"), shape).copy()),
            "worst_area": var((), np.full(shape, 96.0)),
            "coverage": var((), np.ones(shape)),
        },
        coords={
            "zone": zones,
            "event": [window.name for window in WINDOWS],
            "state": list(STATE_NAMES),
            "depth": list(REPORT_DEPTHS),
            "quantile": list(LEVELS),
        },
    )


def _answer() -> Answer:
    rng = np.random.default_rng(20261215)
    base = 269.2 + 0.35 * np.arange(24)[rng.permutation(24)] / 2
    base[20] = 267.3
    hours = (TIMES - TIMES[0]) / np.timedelta64(1, "h")
    cycle = 3.6 * np.cos(2 * np.pi * (hours - 23.0) / 24.0)
    canopy = base[:, None, None] + 3.0 + cycle[None, None, :] + np.array([-1.6, 0.0, 1.7])[None, :, None]
    quantiles = {"quantile": list(LEVELS), "time": TIMES}
    curves = xr.Dataset(
        {"canopy_temperature": (("zone", "quantile", "time"), canopy)}, coords={"zone": zone_names(), **quantiles}
    )
    air = 273.9 + 0.8 * cycle[None, :] + np.array([-1.2, 0.0, 1.3])[:, None]
    wind = np.full_like(air, 1.0) * np.array([0.8, 1.9, 3.4])[:, None]
    sky = xr.Dataset(
        {
            "air_temperature": (("quantile", "time"), air),
            "wind_speed": (("quantile", "time"), wind),
            "wind_speed_of_gust": (("quantile", "time"), 2.6 * wind),
        },
        coords=quantiles,
    )
    cx, cy = np.meshgrid(
        np.arange(-LENGTH / 2 + CELL / 2, LENGTH / 2, CELL), np.arange(-WIDTH / 2 + CELL / 2, WIDTH / 2, CELL)
    )
    lowest = 271.6 - 2.6 * (cy / WIDTH) ** 2 * 4 + 2.4 * np.exp(-(((cx + 30) / 20) ** 2 + ((cy - 10) / 15) ** 2))
    cells = xr.Dataset(
        {"canopy_temperature_min": ("cell", lowest.ravel()), "x": ("cell", cx.ravel()), "y": ("cell", cy.ravel())},
        attrs={"cell_size": CELL, "length": LENGTH, "width": WIDTH, "bearing": 72.0},
    )
    depth = np.array([0.0025, 0.0075, 0.015, 0.025, 0.04, 0.06, 0.09, 0.13, 0.18, 0.25, 0.35, 0.5])
    damp = np.exp(-depth / 0.09)[:, None]
    soil = 275.6 + 3.0 * (1 - damp) + damp * (canopy[20, 1][None, :] - 273.15)
    section = xr.Dataset(
        {
            "soil_temperature": (("depth", "time"), soil),
            "frozen_fraction": (("depth", "time"), np.clip((273.0 - soil) / 1.2, 0, 1)),
        },
        coords={"depth": depth, "time": TIMES},
        attrs={"zone": zone_names()[20]},
    )
    shade = datetime(2026, 12, 16, 15, 40)
    return Answer(
        venue="Millrace Ground",
        shown=Shown("US", 12, "America/New_York"),
        now=NOW,
        issued=NOW - timedelta(hours=4),
        source="forecast_tue_noon.csv",
        members=MEMBERS,
        windows=WINDOWS,
        risk=_risk(rng, base, np.array(["2026-12-16T11:40", "2026-12-17T02:20"], dtype="datetime64[ns]")),
        outlines=outlines(),
        curves=curves,
        sky=sky,
        cells=cells,
        section=section,
        start=Start("readings", 0.31, {"count": 4.0, "when": NOW}),
        reasons=(
            Fact("clear and calm", {"cloud": 0.12, "wind": 1.4}),
            Fact("shaded until", {"zone": zone_names()[20], "time": shade}),
            Fact("tray open below", {"zone": zone_names()[20]}),
            Fact("low sky view", {"zone": zone_names()[8], "sky_view": 0.58}),
        ),
        assumed=("longwave from cloud", "pressure from height", "dressed=31", "gaps=2", "something new=4"),
        equipment=frozenset({"covers", "warm air", "cables", "trays", "roofs"}),
        limit=Limit(SurfaceState.CRUST, 0.10),
        advice=(),
    )


@pytest.fixture(scope="session")
def answer() -> Answer:
    """US units, 12-hour clock, 24 zones, one name too long for its zone."""
    return _answer()


@pytest.fixture(scope="session")
def metric(answer: Answer) -> Answer:
    """The same night for a reader with metric units and a 24-hour clock, with advice."""
    advice = (
        Advice("lay the frost cover", (zone_names()[20],), datetime(2026, 12, 15, 21, 45), "before the canopy cools"),
        Advice("heating on", ("Roof side A", "Roof side B"), datetime(2026, 12, 15, 22, 0), "lead time of the ground"),
    )
    return replace(answer, shown=Shown("metric", 24, "Europe/Oslo"), advice=advice)


@pytest.fixture(scope="session")
def unknown(answer: Answer) -> Answer:
    """The forecast ends before the game: nothing is known there, and for one zone nothing at all."""
    risk = answer.risk.copy(deep=True)
    for name in risk.data_vars:
        values = risk[name].values
        missing = np.datetime64("NaT") if values.dtype.kind == "M" else 0.0 if name == "worst_area" else np.nan
        values[:, 1] = missing
        values[5] = missing
    risk["coverage"].values[:] = [1.0, 0.0]
    risk["coverage"].values[5] = 0.0
    return replace(answer, risk=risk, issued=None, start=Start("season", float("nan"), {"spread": 2.0}), limit=None)
