"""The grid as a person gives it, and what does not fit is refused, all at once."""

import sys
from pathlib import Path

import pytest

from microclimate.errors import InputError
from microclimate.sizing import options as opt

sys.path.insert(0, str(Path(__file__).parent))
import lawn


def test_lists_with_units_become_designs() -> None:
    asked = opt.Asked(power="80, 120 W/m2", depth="6, 10 in", lead="12 h", policy=("event-led", "frost hold"))
    found = opt.grid(asked, lawn.venue())
    assert [design.power for design in found.designs] == [80.0, 80.0, 120.0, 120.0]
    assert {round(design.depth, 4) for design in found.designs if design.depth} == {0.1524, 0.254}
    assert [(p.kind, p.lead) for p in found.policies] == [("event-led", 43200.0), ("frost hold", 0.0)]
    # without heat and each of 4 designs x 2 policies, with no cover and with the quilt
    assert len(found.options) == (1 + 4 * 2) * 2
    assert len(opt.grid(opt.Asked(covers=False), lawn.venue()).covers) == 1


def test_everything_wrong_is_told_at_once() -> None:
    asked = opt.Asked(power="hot", depth="5 m", policy=("always",), only=("attic",))
    with pytest.raises(InputError) as refused:
        opt.grid(asked, lawn.venue())
    text = str(refused.value)
    assert "4 things" in text
    for word in ("hot", "5 m", "always", "attic"):
        assert word in text


def test_a_heater_below_the_profile_is_refused() -> None:
    tray = lawn.TEXT.replace('build = "sand over gravel"', 'build = "tray"\nbase = "tray over still air"').replace(
        'depth = "200 mm"', 'depth = "150 mm"'
    )
    with pytest.raises(InputError, match="below the profile"):
        opt.grid(opt.Asked(depth="250 mm"), lawn.venue(tray))


def test_a_design_changes_what_it_names_and_nothing_else() -> None:
    venue = lawn.venue()
    grid = opt.grid(opt.Asked(power="150"), venue)
    (circuit,) = opt.built(grid, grid.designs[0], venue).equipment.circuits
    assert circuit.power == 150.0
    assert circuit.depth == venue.equipment.circuits[0].depth
    assert circuit.supply_temperature == venue.equipment.circuits[0].supply_temperature


def test_the_estimate_grows_with_all_that_is_run() -> None:
    grid = opt.grid(opt.Asked(), lawn.venue())
    one, many = (opt.estimate(grid, 9, 17280, winters, 1, 2) for winters in (1, 30))
    assert many.column_steps == 30 * one.column_steps == 30 * 17280 * 9 * len(grid.options)
    assert many.minutes == pytest.approx(30 * one.minutes)
    assert many.bytes == one.bytes  # one winter at a time
