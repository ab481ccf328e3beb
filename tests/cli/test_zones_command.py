"""`microclimate zones` on the demo: light by origin adds up, the picture of an instant, files, and bad input."""

import csv
from pathlib import Path

import pytest
from command_line import DEMO, called, us_copy

VENUE = DEMO / "venue.toml"
PAIR = ("--compare", "west flank 3, East middle 2")


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """Three days of the demo's past, with a picture of an afternoon."""
    out = tmp_path_factory.mktemp("zones")
    words = (
        "--weather",
        DEMO / "past.csv",
        "--from",
        "2026-01-20",
        "--to",
        "2026-01-22",
        "--at",
        "2026-01-21T16:00",
        *PAIR,
    )
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
        for name in ("sun [h/d]", "sky seen [%]", "longwave from stands [W/m2]"):
            low, mean, high = (float(row[f"{which} {name}"]) for which in ("lowest", "mean", "highest"))
            assert low - 1e-3 <= mean <= high + 1e-3
        assert row["zone"] in week[0]


def test_the_picture_of_an_instant_shows_the_tall_stand_in_the_way(week: tuple[str, Path]) -> None:
    """Sun 16 degrees high in the south-west (az. 234): seen from the north-west corner it stands behind the tall stand,
    60 degrees off its normal; the roof's front, 22 m high and 20 m behind the touch line, throws 66 m of shade there.
    """
    assert "Shade on Wed 21 Jan, 16:00" in week[0]
    assert "in the south-west" in week[0]
    assert "in shade: North-west corner." in week[0].replace("\n  ", " ")
    page = (week[1] / "zones.html").read_text(encoding="utf-8")
    assert page.count("<svg") == page.count("<desc") == 12  # shade, eight of light and longwave, two of canopy, strips


def test_lines_fit_and_nothing_is_half_written(week: tuple[str, Path]) -> None:
    assert max(map(len, week[0].partition("Page:")[0].splitlines())) <= 80
    assert sorted(path.name for path in week[1].iterdir()) == [
        "cells.csv",
        "days.csv",
        "span.csv",
        "zones.csv",
        "zones.html",
    ]


def test_cells_tell_what_their_zones_do(week: tuple[str, Path]) -> None:
    """Each zone's mean of the cells' light is the zone's; its coldest cell lies about its lowest canopy of the span."""
    cells = list(csv.DictReader((week[1] / "cells.csv").read_text(encoding="utf-8").splitlines()))
    zones = list(csv.DictReader((week[1] / "zones.csv").read_text(encoding="utf-8").splitlines()))
    spans = list(csv.DictReader((week[1] / "span.csv").read_text(encoding="utf-8").splitlines()))
    assert len(cells) == 53 * 34  # 106 x 68 m in cells of 2 m
    for zone, span in zip(zones, spans, strict=True):
        own = [cell for cell in cells if cell["zone"] == zone["zone"]]
        light = [float(cell["light [mol/m2/d]"]) for cell in own]
        assert sum(light) / len(light) == pytest.approx(float(zone["mean light [mol/m2/d]"]), rel=1e-3)
        coldest = min(float(cell["lowest canopy, coldest day [degC]"]) for cell in own)
        assert span["zone"] == zone["zone"]
        assert coldest == pytest.approx(float(span["lowest canopy [degC]"]), abs=0.5)


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


def test_days_and_span_agree(week: tuple[str, Path]) -> None:
    """The span's frost hours and lowest canopy are those of its days, for every zone."""
    days = list(csv.DictReader((week[1] / "days.csv").read_text(encoding="utf-8").splitlines()))
    spans = list(csv.DictReader((week[1] / "span.csv").read_text(encoding="utf-8").splitlines()))
    assert len(days) == 24 * 3
    for row in spans:
        own = [day for day in days if day["zone"] == row["zone"]]
        assert [day["day"] for day in own] == ["2026-01-20", "2026-01-21", "2026-01-22"]
        lowest = min(float(day["lowest canopy [degC]"]) for day in own)
        assert lowest == pytest.approx(float(row["lowest canopy [degC]"]), abs=2e-3)
        assert (
            sum(float(day["canopy below freezing [h]"]) for day in own) >= float(row["canopy below freezing [h]"]) - 0.1
        )


def test_play_and_survival_are_told_apart(week: tuple[str, Path]) -> None:
    text = " ".join(week[0].split())
    assert "Limits for play, set in the venue: canopy 0.5 °C, 25 mm 1.0 °C. They say nothing of survival." in text
    assert "half the plants die at −5.0 °C while growing" in text


def test_the_same_field_without_stands_and_with_other_seats(tmp_path: Path) -> None:
    """Without stands no spot gets less light: what the stands change has no sign but minus."""
    words = ("--weather", DEMO / "past.csv", "--from", "2026-01-20", "--to", "2026-01-20")
    result = called("zones", us_copy(tmp_path), *words, "--without-stands", "--seats-covered")
    assert result.exit_code == 0, result.output
    assert "°C" not in result.output
    assert "1 in" in result.output
    part = result.output.split("What the stands change")[1].split("What bare seats change")[0]
    rows = [line for line in part.splitlines() if line.startswith(("West", "East", "South", "North"))]
    light = [float(row[20:].split()[1].replace("−", "-")) for row in rows[:24]]
    assert len(light) == 24
    assert max(light) <= 0.05
    assert min(light) < -0.2


def test_two_zones_are_held_together_with_a_range(week: tuple[str, Path]) -> None:
    part = week[0].split("Two zones")[1].split("Which is colder")[0]
    row = next(line for line in part.splitlines() if line.startswith("mean of lowest"))
    assert " to " in row
    assert "8 draws" in part
    assert called("zones", VENUE, "--compare", "West flank 3").exit_code == 2
    strange = called("zones", VENUE, "--compare", "West flank 3, Moon")
    assert strange.exit_code == 2
    assert "there is no zone 'Moon'" in strange.output
