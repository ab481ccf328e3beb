"""Winters cut out of records: whole ones kept, others left out by name, sun and calendar of one season."""

import sys
from pathlib import Path

import numpy as np
import pvlib
import pytest

from microclimate.errors import InputError
from microclimate.sizing import winters

sys.path.insert(0, str(Path(__file__).parent))
import lawn

DATA = Path(pvlib.__file__).parent / "data"
HOURS = 24 * (lawn.SEASON.days + winters.SETTLING) + 1


def test_each_winter_of_a_record_is_a_realization_of_one_season(tmp_path: Path) -> None:
    found = lawn.climate(tmp_path / "r.csv", years=3)
    assert [one.name for one in found.winters] == ["2018", "2019", "2020"]
    assert found.weather.sizes == {"realization": 3, "time": HOURS, "bnds": 2}
    # 17 November 2025, local midnight of standard time at 15 E is 23:00 UTC
    assert str(found.weather["time"].values[0])[:16] == "2025-11-16T23:00"
    air = found.weather["air_temperature"].values.mean(axis=1)
    # each made-up year is one kelvin colder; a leap day moves the yearly wave by one day, 10 K x 2 pi / 365 at most
    assert np.diff(air) == pytest.approx([-1.0, -1.0], abs=10.0 * 2.0 * np.pi / 365.0)
    assert not found.left_out
    assert not found.typical


def test_a_winter_with_gaps_is_left_out_and_named(tmp_path: Path) -> None:
    """10 % of December 2018 is missing: below the 95 % that are wanted."""
    first = 24 * (31 + 31 + 30 + 31 + 30)  # 1 December, in hours from 1 July
    gap = slice(first + 100, first + 100 + int(0.1 * 24 * lawn.SEASON.days))
    found = lawn.climate(tmp_path / "r.csv", years=2, missing=gap)
    assert [one.name for one in found.winters] == ["2019"]
    assert [one.name for one in found.left_out] == ["2018"]
    assert found.left_out[0].coverage == pytest.approx(0.9, abs=0.01)


def test_few_missing_hours_come_from_the_nearest_day(tmp_path: Path) -> None:
    first = 24 * (31 + 31 + 30 + 31 + 30)
    found = lawn.climate(tmp_path / "r.csv", years=2, missing=slice(first + 100, first + 112))
    assert len(found.winters) == 2
    assert found.filled == 12
    assert np.isfinite(found.weather["air_temperature"].values).all()
    whole = lawn.climate(tmp_path / "w.csv", years=2)
    apart = np.abs(found.weather["air_temperature"].values - whole.weather["air_temperature"].values)
    assert apart.max() < 0.3  # one day of the yearly wave


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"cold": 19.0}, "has no winter"),
        ({"years": 0}, "holds no whole winter"),
        ({"first": 2020, "years": 0}, "whole"),
    ],
)
def test_a_record_without_winter_is_refused(tmp_path: Path, told: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        lawn.climate(tmp_path / "r.csv", **told)


@pytest.mark.parametrize(("name", "far"), [("723170TYA.CSV", False), ("703165TY.csv", True)])
def test_a_typical_year_gives_one_winter_with_the_sun_of_its_place(name: str, far: bool) -> None:
    """Both typical years that pvlib ships: one near the demo's venue, one in another climate."""
    site = winters.Site("Alder Fork", 36.10, -79.95, 273.0, "America/New_York")
    found = winters.climate(DATA / name, site, winters.usual(36.1), 2025, 10.0)
    assert [one.name for one in found.winters] == ["typical"]
    assert found.typical
    assert (found.far > winters.FAR) == far
    assert (found.site == site) != far
    light = found.weather["surface_downwelling_shortwave_flux_in_air"].values[0]
    local = (np.arange(light.size) % 24)[light > 0]
    # from local midnight on, sunshine lies round noon: hours end at 6 to 20
    assert local.min() >= 5
    assert local.max() <= 20
    assert found.night is not None
    assert found.night.short


def test_south_of_the_equator_the_season_begins_in_may() -> None:
    assert winters.usual(-37.0).first == (5, 1)
    assert winters.usual(51.0).first == (11, 1)
