"""`microclimate zones` on the demo: light by origin adds up, the picture of an instant, files, and bad input."""

import csv
from pathlib import Path

import pytest
from command_line import DEMO, called, us_copy

VENUE = DEMO / "venue.toml"


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """Three days of the demo's past, with a picture of an afternoon."""
    out = tmp_path_factory.mktemp("zones")
    words = ("--weather", DEMO / "past.csv", "--from", "2026-01-20", "--to", "2026-01-22", "--at", "2026-01-21T16:00")
    result = called("zones", VENUE, *words, "--out", out)
    assert result.exit_code == 0, result.output
    return result.output, out


def test_every_zone_has_light_by_origin_that_adds_up(week: tuple[str, Path]) -> None:
    """Light for growth from the three origins by the stated 2.0565 mol/MJ (McCree 1972; Thimijan & Heins 1983)."""
    rows = list(csv.DictReader((week[1] / "zones.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 24
    for row in rows:
        whole = sum(float(row[f"mean from {part} [MJ/m2/d]"]) for part in ("sun", "sky", "stands"))
        assert float(row["mean light [mol/m2/d]"]) == pytest.approx(2.0565 * whole, rel=2e-4)
        for name in ("sun [h/d]", "sky seen [%]", "stands [W/m2]"):
            assert float(row[f"lowest {name}"]) <= float(row[f"mean {name}"]) <= float(row[f"highest {name}"])
        assert row["zone"] in week[0]


def test_the_picture_of_an_instant_shows_the_tall_stand_in_the_way(week: tuple[str, Path]) -> None:
    """Sun 16 degrees high in the south-west (az. 234): seen from the north-west corner it stands behind the tall stand,
    60 degrees off its normal; the roof's front, 22 m high and 20 m behind the touch line, throws 66 m of shade there.
    """
    assert "Shade on Wed 21 Jan, 16:00" in week[0]
    assert "in the south-west" in week[0]
    assert "in shade: North-west corner." in week[0].replace("\n  ", " ")
    page = (week[1] / "zones.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 6
    assert page.count("<desc") == 6


def test_lines_fit_and_nothing_is_half_written(week: tuple[str, Path]) -> None:
    assert max(map(len, week[0].partition("Page:")[0].splitlines())) <= 80
    assert sorted(path.name for path in week[1].iterdir()) == ["zones.csv", "zones.html"]


def test_without_weather_a_clear_sky_is_taken_and_said(tmp_path: Path) -> None:
    result = called("zones", us_copy(tmp_path), "--from", "2026-06-21")
    assert result.exit_code == 0, result.output
    assert "under a clear sky" in result.output
    assert "Longwave" not in result.output
    assert "Sun Jun 21 2026" in result.output
    assert "°C" not in result.output


def test_all_that_is_wrong_is_told(tmp_path: Path) -> None:
    result = called("zones", VENUE, "--from", "tomorrow", "--to", "never")
    assert result.exit_code == 2
    assert "--from" in result.output
    assert "--to" in result.output
    assert called("zones", VENUE, "--weather", tmp_path / "none.csv").exit_code == 2
    late = called("zones", VENUE, "--weather", DEMO / "past.csv", "--from", "2026-02-01")
    assert late.exit_code == 2
    assert "holds 2026-01-13" in late.output
    assert called("zones", VENUE, "--at", "2026-01-20").exit_code == 2
