"""Portable modules: a grid with part modules at its edges, outer faces, addresses that must be there."""

from pathlib import Path

import numpy as np
import pytest

from microclimate.errors import InputError
from microclimate.venue import load, modules
from microclimate.venue.field import signed_area

DEMO = (Path(__file__).parents[2] / "data_demo" / "venue.toml").read_text(encoding="utf-8")
GRID = '\n[modules]\nlength = "4 m"\nwidth = "8 ft"\n'


def test_the_grid_covers_the_field_with_part_modules_at_its_end() -> None:
    """10 x 7 m in modules of 4 x 2 m: 4 rows (the last 1 m wide) of 3 (the last 2 m long)."""
    found = modules.grid(modules.Modules(length=4.0, width=2.0), 10.0, 7.0)
    assert max(found) == (4, 3)
    assert len(found) == 12
    assert sum(map(signed_area, found.values())) == pytest.approx(70.0)
    assert found[1, 1] == ((-5.0, 1.5), (-1.0, 1.5), (-1.0, 3.5), (-5.0, 3.5))  # left side, foot end
    assert signed_area(found[4, 3]) == pytest.approx(2.0)


def test_outer_faces_drain_as_wide_a_strip() -> None:
    """One face: the module's own depth behind it; a corner 4 x 2: 1/(1/4 + 1/2); none within the field."""
    found = modules.grid(modules.Modules(length=4.0, width=2.0), 12.0, 6.0)
    wide = {at: modules.open_width(outline, 12.0, 6.0) for at, outline in found.items()}
    assert wide[2, 2] is None
    assert wide[1, 2] == pytest.approx(2.0)
    assert wide[2, 1] == pytest.approx(4.0)
    assert wide[1, 1] == pytest.approx(4.0 / 3.0)


@pytest.mark.parametrize(
    ("text", "at"), [("3-12", (3, 12)), (" 1-1 ", (1, 1)), ("3", None), ("a-2", None), ("3--2", None)]
)
def test_addresses(text: str, at: tuple[int, int] | None) -> None:
    assert modules.address(text) == at


def test_a_venue_keeps_its_modules_in_metres() -> None:
    venue = load.text(DEMO + GRID + '\n[[module]]\nat = ["1-1", "2-3"]\nstart_temperature = "40 degF"\n')
    assert venue.modules is not None
    assert (venue.modules.length, venue.modules.width) == (4.0, pytest.approx(2.4384))
    assert venue.module[0].start_temperature == pytest.approx(277.594, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        (GRID + '[[module]]\nat = ["99-1"]\n', "no module '99-1'"),
        (GRID + '[[module]]\nat = ["1-1", "1-1"]\n', "comes twice"),
        ('\n[[module]]\nat = ["1-1"]\n', r"no \[modules\]"),
        (GRID.replace("4 m", "0.01 m"), "length"),
    ],
)
def test_modules_that_cannot_be(text: str, wrong: str) -> None:
    with pytest.raises(InputError, match=wrong):
        load.text(DEMO + text)


def test_cells_of_the_demo_lie_in_one_module_each() -> None:
    venue = load.text(DEMO + GRID)
    assert venue.modules is not None
    outlines = modules.grid(venue.modules, venue.field.length, venue.field.width)
    x, y = np.meshgrid(np.linspace(-52.9, 52.9, 40), np.linspace(-33.9, 33.9, 30))
    count = sum(
        ((x >= left) & (x < right) & (y >= bottom) & (y < top)).astype(int)
        for (left, bottom), _, (right, top), _ in outlines.values()
    )
    assert (count == 1).all()
