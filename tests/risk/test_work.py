"""Hours of work: how limits are held against the steps, checked by brute force and against published sun times."""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from microclimate.constants import ZERO_CELSIUS
from microclimate.report.worked import Condition
from microclimate.risk import work
from microclimate.schema import REPORT_DEPTHS
from microclimate.venue import load
from microclimate.venue.limits import THRESHOLDS
from microclimate.venue.load import Venue

VENUE = """
format = 1
name = "made up"
[site]
latitude = 39.742476
longitude = -105.1786
elevation = 1830
time_zone = "America/Denver"
[field]
length = 100
width = 60
zone_columns = 2
[crew]
earliest = 8
latest = 20
"""
ZONE = np.array([0, 0, 1])


def venue(extra: str = "") -> Venue:
    return load.text(VENUE + extra)


def steps(begin: str, count: int, minutes: int = 30) -> np.ndarray:
    return np.datetime64(begin, "ns") + np.arange(1, count + 1) * np.timedelta64(minutes, "m")


def made(time: np.ndarray, realizations: int = 2, **values: float | np.ndarray) -> tuple[xr.Dataset, xr.Dataset]:
    """A mild, calm, dry day on which every limit but the clock holds; `values` in SI, (realization, patch, time)."""
    shape = (realizations, ZONE.size, time.size)
    dims = ("realization", "patch", "time")
    usual: dict[str, float | np.ndarray] = {"air_temperature": 283.15, "wind_speed_of_gust": 2.0}
    state: dict[str, float | np.ndarray] = {"canopy_temperature": 283.15, "leaf_water": 0.0, "leaf_frost": 0.0}
    state |= {"snow_amount": 0.0, "snow_depth": 0.0}
    soil = values.pop("soil", 283.15)
    for name, value in values.items():
        (usual if name in usual else state)[name] = value
    filled = [{k: (dims, np.broadcast_to(v, shape).copy()) for k, v in part.items()} for part in (usual, state)]
    deep = np.broadcast_to(np.asarray(soil)[..., None], (*shape, len(REPORT_DEPTHS))).copy()
    filled[1]["soil_temperature"] = ((*dims, "depth"), deep)
    coords = {"time": time, "zone_index": ("patch", ZONE)}
    return xr.Dataset(filled[0], coords=coords), xr.Dataset(filled[1], coords=coords)


def hours_of(found: work.Worked, job: str, zone: int = 0) -> list[int]:
    """Local hours that count."""
    place = list(found.jobs).index(job)  # type: ignore[arg-type]
    kept = found.hours[found.holds[place, zone]]
    return [t.hour for t in pd.DatetimeIndex(kept, tz="UTC").tz_convert(ZoneInfo("America/Denver"))]


@given(st.lists(st.booleans(), min_size=3 * 12, max_size=3 * 12))
def test_an_hour_holds_where_every_patch_and_step_does(bits: list[bool]) -> None:
    whole = np.array(bits).reshape(1, 3, 12)
    hour = np.array([-1, 0, 0, 1, 1, 1, 1, 2, 2, 2, -1, -1])
    found = work.held(whole, ZONE, hour)
    for zone in (0, 1):
        for h in (0, 1, 2):
            cells = [whole[0, p, t] for p in range(3) for t in range(12) if ZONE[p] == zone and hour[t] == h]
            assert found[0, zone, h] == all(cells)


def test_only_whole_hours_from_now_on_count() -> None:
    begins, hour = work.hours(steps("2026-01-21T10:30", 7), np.datetime64("2026-01-21T11:10", "ns"))
    assert list(begins) == [np.datetime64("2026-01-21T12", "h"), np.datetime64("2026-01-21T13", "h")]
    assert hour.tolist() == [-1, -1, -1, 0, 0, 1, 1]


def test_daylight_begins_at_a_published_sunrise() -> None:
    """Sunrise 6:12:43 UTC-7, 17 October 2003, at this place (Reda & Andreas 2003, Table A5.1, worked example)."""
    time = steps("2003-10-17T13:00", 30, minutes=1)  # 6:01 to 6:30
    block, states = made(time)
    light = work.flags(Condition("light"), block, states, venue())
    assert light.tolist() == [minute >= 13 for minute in range(1, 31)]


def test_the_clock_of_the_crew_and_the_sun_bound_the_day() -> None:
    found = work.worked(venue(), [made(steps("2026-01-21T07:00", 48))], np.datetime64("2026-01-21T07:00"))
    assert hours_of(found, "mowing") == list(range(8, 17))  # sunset there is near 17:05; sunrise near 07:17
    assert "laying covers" not in found.jobs


def test_vehicles_stay_off_until_midnight_on_a_day_that_froze_hand_work_does_not() -> None:
    """The rule of thresholds.csv: Oregon State/USGA 2022-24, soil temperature; rest of the day as the issue has it."""
    time = steps("2026-01-21T07:00", 96)  # two local days
    soil = np.full(time.size, 275.0)
    soil[20] = ZERO_CELSIUS  # 10:00 to 10:30 local of the first day
    found = work.worked(venue(), [made(time, soil=soil)], time[0])
    assert hours_of(found, "mowing") == [8, 9, *range(8, 17)]
    assert hours_of(found, "watering by hand") == [8, 9, *range(11, 17), *range(8, 17)]


@pytest.mark.parametrize(
    ("job", "extra", "values"),
    [
        ("mowing", "", {"leaf_water": 0.05}),
        ("mowing", "", {"leaf_frost": 0.05}),
        ("mowing", "", {"snow_amount": 2.0}),
        ("mowing", "", {"canopy_temperature": 272.0}),
        ("mowing", "[work]\nmowing_air = 12", {}),
        ("line marking", "", {"air_temperature": 277.0}),
        ("line marking", "[work]\nmarking_gust = 1.5", {}),
        ("spraying", '[work]\nspraying_gust = "4 mph"', {}),
        ("clearing snow", "", {"snow_depth": 0.024}),
        ("laying covers", '[[cover]]\nname = "a"\nkind = "permeable"\ngust_plan = 1', {}),
        ("laying covers", '[[cover]]\nname = "a"\nkind = "permeable"', {"leaf_water": 0.05}),
    ],
)
def test_each_limit_alone_takes_all_hours(job: str, extra: str, values: dict[str, float]) -> None:
    time = steps("2026-01-21T07:00", 48)
    found = work.worked(venue(extra), [made(time, **values)], time[0])
    assert hours_of(found, job) == []


def test_a_share_of_the_forecasts_is_what_counts() -> None:
    time = steps("2026-01-21T07:00", 48)
    leaf = np.full((10, 1, 1), 280.0)
    leaf[:3] = 270.0
    run = made(time, 10, canopy_temperature=leaf)
    assert hours_of(work.worked(venue(), [run], time[0]), "mowing") == []
    found = work.worked(venue('[work]\nshare = "70 %"'), [run], time[0])
    assert hours_of(found, "mowing") == list(range(8, 17))
    assert found.share.max() == pytest.approx(0.7)
    two = [made(time, 7), made(time, 3, canopy_temperature=270.0)]
    np.testing.assert_allclose(work.worked(venue(), two, time[0]).share[0].max(), 0.7)


def test_frost_in_pipes_is_told_of_the_coldest_air() -> None:
    time = steps("2026-01-21T07:00", 8)
    air = np.full((2, 3, 8), 280.0)
    air[0, 2, 3] = 272.0
    found = work.worked(venue(), [made(time, air_temperature=air)], np.datetime64("2026-01-21T07:00"))
    assert found.frost.tolist() == [0.0, 0.5, 0.0, 0.0]
    assert found.coldest[1] == pytest.approx(276.0)


def test_each_default_names_its_basis_and_a_limit_of_the_venue_is_its_own() -> None:
    plain = work.jobs(venue())
    for conditions in plain.values():
        for condition in conditions:
            assert (condition.basis != "") == (condition.kind not in ("light", "crew"))
    air = next(c for c in plain["line marking"] if c.kind == "air")
    assert (air.value, air.basis) == (pytest.approx(278.15), THRESHOLDS["line_marking_air_min"].source)
    own = work.jobs(venue("[work]\nmarking_air = 8\nspraying_gust = 5"))
    assert [c.basis for c in own["line marking"] if c.kind == "air"] == ["yours"]
    assert [c.basis for c in own["spraying"] if c.kind == "gust"] == ["yours"]


def test_local_midnight_is_the_venues() -> None:
    frozen = np.zeros(8, dtype=bool)
    frozen[1] = True
    time = steps("2026-01-21T05:00", 8)  # local midnight is 07:00 UTC, after the fourth step
    found = work._since_midnight(frozen, time, "America/Denver")
    assert found.tolist() == [False, True, True, True, False, False, False, False]
    assert datetime(2026, 1, 21, 7) == pd.Timestamp(time[3]).to_pydatetime()
