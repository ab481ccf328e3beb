"""Covers that lie: as typed, what they cost, and what is published against how they lie."""

from datetime import date
from pathlib import Path

import demo_days
import numpy as np
import pytest

from microclimate.errors import InputError
from microclimate.venue import load
from microclimate.workflow import zones_covers, zones_run

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="module")
def venue() -> load.Venue:
    return load.venue(DEMO / "venue.toml")


@pytest.fixture(scope="module")
def world(venue: load.Venue):
    return demo_days.lived(venue, date(2026, 1, 15), date(2026, 1, 18), with_cells=False)


def test_covers_are_read_and_faults_told_at_once(venue: load.Venue) -> None:
    found = zones_covers.spells(["Quilt, 2026-01-16T17:00/2026-01-17T09:00"], venue)
    assert found[0].number == 2
    assert found[0].start == np.datetime64("2026-01-16T22:00")
    with pytest.raises(InputError) as caught:
        zones_covers.spells(["tarp, 2026-01-16T17:00/09:00", "quilt, soon"], venue)
    assert len(caught.value.problems) == 2
    assert all(problem.where.startswith("--cover") for problem in caught.value.problems)


def test_a_cover_takes_light_and_keeps_warmth(venue: load.Venue, world) -> None:
    """The growth sheet passes half of the light (its transmittance); a covered night's crown is milder by 1 to
    3 K as published for thin covers (Agron. J. 91(2) 1999, crowns 1.1 and 2.3; groundstaff 3)."""
    case, joined, weather, days, bare = world
    laid = zones_covers.spells(["growth sheet, 2026-01-16T08:00/2026-01-17T16:00"], venue)
    under = zones_run.lived(
        zones_run.Case(venue, case.bowl, plan=zones_covers.plan_of(laid)), joined, weather, days, with_cells=False
    )
    (found,) = zones_covers.covered(case, laid, bare, under, joined, weather)
    assert found.lasts == 32 * 3600.0
    # nearly all of the 16th's light and of the 17th's fell on the sheet
    light = sum(bare.days[f"energy_{p}"] for p in ("sun", "sky", "stands")).isel(day=[1, 2]).sum("day")
    mean = float(np.average(light.values, weights=joined["area"].values))
    assert found.lost == pytest.approx(0.5 * mean, rel=0.05)
    gain = (under.days["crown_temperature_min"] - bare.days["crown_temperature_min"]).isel(day=2)
    assert 1.0 <= float(gain.median()) <= 3.3
    assert found.warmer > 5.0  # a sunny winter day under a sheet: 10-15 K (a blog), less here
    assert found.warmest > float(bare.days["canopy_temperature_max"].isel(day=[1, 2]).max()) + 5.0
    assert not found.closed
    assert not found.late  # January


def test_a_day_ends_at_local_midnight(venue: load.Venue, world) -> None:
    """A sheet lifted at 21:00 (2:00 UTC of the next day) has nothing of the next local day: its heat is the 16th's."""
    case, joined, weather, days, bare = world
    laid = zones_covers.spells(["growth sheet, 2026-01-16T08:00/2026-01-16T21:00"], venue)
    plan = zones_covers.plan_of(laid)
    under = zones_run.lived(zones_run.Case(venue, case.bowl, plan=plan), joined, weather, days, with_cells=False)
    (found,) = zones_covers.covered(case, laid, bare, under, joined, weather)
    assert found.warmest == pytest.approx(float(under.days["canopy_temperature_max"].isel(day=1).max()))


def test_what_cannot_lie(venue: load.Venue, world) -> None:
    days = world[3]
    late = zones_covers.spells(["quilt, 2026-01-17T17:00/2026-01-20T09:00"], venue)
    (problem,) = zones_covers.lies_in(late, days, venue)
    assert "reaches out" in problem.found
    both = ["quilt, 2026-01-16T17:00/2026-01-17T09:00", "growth sheet, 2026-01-17T08:00/2026-01-17T12:00"]
    (problem,) = zones_covers.lies_in(zones_covers.spells(both, venue), days, venue)
    assert "at once" in problem.found
    after = [both[0], both[1].replace("T08:00", "T09:00")]
    assert not zones_covers.lies_in(zones_covers.spells(after, venue), days, venue)


@pytest.mark.parametrize(
    ("day", "latitude", "late"),
    [
        ((2026, 1, 31), 45.0, False),
        ((2026, 2, 1), 45.0, True),
        ((2026, 8, 1), -40.0, True),
        ((2026, 2, 1), -40.0, False),
    ],
)
def test_light_returns_in_february_and_south_of_the_equator_in_august(day, latitude: float, late: bool) -> None:
    assert zones_covers._late(date(*day), latitude) is late
