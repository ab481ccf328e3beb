"""Single days cell by cell: cells agree with their patches, and a case held against itself does not differ."""

from datetime import date
from pathlib import Path

import demo_days
import numpy as np
import pytest

from microclimate.venue import load
from microclimate.workflow import zones_cells

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="module")
def world():
    venue = load.venue(DEMO / "venue.toml")
    case, joined, weather, _, own = demo_days.lived(venue, date(2026, 1, 19), date(2026, 1, 22))
    return case, joined, weather, own, zones_cells.extremes(case, joined, weather, own, own.looked())


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
    cells = zones_cells.extremes(case, joined, weather, own, own.looked())
    assert cells.attrs["each"] == 0
    assert len(np.unique(cells["coldest"].values)) <= joined.sizes["patch"]
    lowest = own.days["canopy_temperature_min"].values.min()
    assert cells["coldest"].values.min() == pytest.approx(lowest)
