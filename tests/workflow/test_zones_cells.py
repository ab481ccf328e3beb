"""Single days cell by cell: cells agree with their patches, and a case held against itself does not differ."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from microclimate.exposure import patches
from microclimate.exposure.bowl import bowl
from microclimate.venue import load
from microclimate.weather import complete, read
from microclimate.workflow import zones_cases, zones_cells, zones_days, zones_run

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="module")
def world():
    venue = load.venue(DEMO / "venue.toml")
    site = venue.site.site
    days = zones_days.Days(date(2026, 1, 19), date(2026, 1, 22), site.time_zone)
    weather = zones_days.covering(complete.weather(read.weather(DEMO / "past.csv", site), site), days)
    seen = bowl(venue)
    joined = patches.patches(venue.field.zones, seen, patches.morning_sun(seen, 36.1, -79.95, days.first))
    case = zones_run.Case(venue, seen)
    own = zones_run.lived(case, joined, weather, days)
    return case, joined, weather, own, zones_cells.extremes(case, joined, weather, own)


def test_cells_agree_with_their_patches(world) -> None:
    """A patch is the mean exposure of its cells, so the mean of its cells' canopies lies near its own: 0.15 K by night
    (a patch's shelter is that of twelve of its cells), 0.3 K by day, when the sun's edge moves over it; cells differ
    among themselves by more than that."""
    _, joined, _, own, cells = world
    patch = joined["cell_patch"].values.astype(int)
    for name, end, near in (("coldest", "min", 0.15), ("hottest", "max", 0.3)):
        number = int(
            np.flatnonzero(own.days["day"].values.astype("datetime64[D]").astype(str) == cells.attrs[f"{name}_day"])[0]
        )
        told = own.days[f"canopy_temperature_{end}"].transpose("day", "patch").values[number]
        mean = np.bincount(patch, cells[name].values) / np.bincount(patch)
        np.testing.assert_allclose(mean, told, atol=near)
        assert np.ptp(cells[name].values) > 1.0
    assert cells.attrs["each"] == 1


def test_a_field_of_too_many_cells_is_told_by_patches(world, monkeypatch: pytest.MonkeyPatch) -> None:
    case, joined, weather, own, _ = world
    monkeypatch.setattr(zones_cells, "MOST", 100)
    cells = zones_cells.extremes(case, joined, weather, own)
    assert cells.attrs["each"] == 0
    assert len(np.unique(cells["coldest"].values)) <= joined.sizes["patch"]
    lowest = own.days["canopy_temperature_min"].values.min()
    assert cells["coldest"].values.min() == pytest.approx(lowest)


def test_a_case_held_against_itself_does_not_differ(world) -> None:
    """The same draws for both: not even what is not known leaves a difference."""
    case, joined, weather, own, cells = world
    told = own.cells.merge(cells), zones_run.drawn(case, joined, weather, own)
    less = zones_cells.apart(told, (told[0], zones_run.drawn(case, joined, weather, own, of=own)), joined)
    for name in ("light_integral", "coldest", "unsure"):
        np.testing.assert_allclose(less[name].values, 0.0, atol=1e-9)


def test_what_stands_change_is_told_with_what_is_not_known(world) -> None:
    """Without stands nothing of the bowl is drawn; with them the draws of wind and air move a calm night by tenths."""
    case, joined, weather, own, cells = world
    venue = zones_cases.without_stands(case.venue)
    bare = zones_run.Case(venue, bowl(venue))
    ran = zones_run.lived(
        bare, joined, weather, zones_days.Days(date(2026, 1, 19), date(2026, 1, 22), venue.site.time_zone)
    )
    days = zones_cells.extremes(bare, joined, weather, ran, of=own)
    assert days.attrs == cells.attrs
    there = ran.cells.merge(days)
    draws = zones_run.drawn(case, joined, weather, own), zones_run.drawn(bare, joined, weather, ran, of=own)
    assert np.ptp(draws[1]["night_canopy"].values, axis=0).max() < 1e-6
    less = zones_cells.apart((own.cells.merge(cells), draws[0]), (there, draws[1]), joined)
    assert less["light_integral"].values.max() < 0.3  # stands only take light, but for what bright ones send back
    assert 0.02 < float(np.median(less["unsure"].values)) < 2.0
