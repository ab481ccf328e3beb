"""`microclimate zones` on the demo: light by origin adds up, the picture of an instant, files, and bad input."""

import csv
from pathlib import Path

import numpy as np
import pandas as pd
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
    assert (
        page.count("<svg") == page.count("<desc") == 13
    )  # shade, eight of light and longwave, two of canopy, two of strips


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
    limits = text.split("Limits, and where they come from")[1]
    assert "For play: canopy at least 0.5 °C (set in the venue)." in limits  # the demo's own; the table has 1.0
    assert "half the plants die while growing, crown −5.0 °C (Prairie Turfgrass Research Centre 1996" in limits
    assert "confidence medium" in limits
    assert "same list" not in text


def test_thresholds_of_the_grass_are_the_venue_s_to_set_and_limits_for_play_stay(tmp_path: Path) -> None:
    path = tmp_path / "venue.toml"
    own = '\n[[grass]]\nspecies = "ryegrass and bluegrass"\nlt50_growing = -8\nlight_min = 20\n'
    path.write_text(VENUE.read_text(encoding="utf-8") + own, encoding="utf-8")
    words = ("--weather", DEMO / "past.csv", "--from", "2026-01-17", "--to", "2026-01-17")
    result = called("zones", path, *words)
    assert result.exit_code == 0, result.output
    text = " ".join(result.output.split())
    assert "half the plants die while growing, crown −8.0 °C" in text
    assert "light, least 20 mol/m² a day" in text
    assert "For play: canopy at least 0.5 °C" in text
    before = " ".join(called("zones", VENUE, *words).output.split())
    part = "Hours over the span"
    assert text.split(part)[1].split("Winter survival")[0] == before.split(part)[1].split("Winter survival")[0]


@pytest.mark.parametrize(
    ("words", "where", "wanted"),
    [
        (("--heat-off", "soon"), "--heat-off", "a local date and time"),
        (("--heat-off", "2026-02-20T08:00"), "lies outside the days told", "a time within --from and --to"),
        (("--cover", "quilt, 2026-01-16T17:00/2026-03-01T09:00"), "reaches out of the days told", "within"),
        (("--cover", "tarp, 2026-01-16T17:00/2026-01-17T09:00"), "names no cover", "covers are growth sheet, quilt"),
        (("--cover", "quilt, soon"), "--cover 'quilt, soon'", "START/END"),
        (("--compare", "Moon, West flank 3"), "there is no zone 'Moon'", "zones are"),
        (("--compare", "West flank 3, west flank 3"), "the same zone twice", "two zones"),
        (("--at", "noon"), "--at", "a local date and time"),
        (("--from", "2026-01-20", "--to", "2026-01-18"), "lies before --from", "a later one"),
        (("--from", "2025-01-20", "--to", "2026-06-18"), "span 515 days", "at most 400 days"),
    ],
)
def test_bad_input_names_where_what_and_the_cure(
    words: tuple[str, ...], where: str, wanted: str, tmp_path: Path
) -> None:
    result = called("zones", VENUE, "--weather", DEMO / "past.csv", *words, "--out", tmp_path / "out")
    assert result.exit_code == 2
    text = " ".join(result.output.split())
    assert where in text
    assert wanted in text
    assert "Traceback" not in text
    assert not (tmp_path / "out").exists()


def test_what_is_done_without_weather_and_modules_outside_the_grid_are_refused(tmp_path: Path) -> None:
    for words in (("--heat-off", "2026-01-16T17:00"), ("--cover", "quilt, 2026-01-16T17:00/2026-01-16T19:00")):
        result = called("zones", VENUE, "--from", "2026-01-16", *words)
        assert result.exit_code == 2
        assert "there is no weather" in result.output
    path = tmp_path / "venue.toml"
    grid = '\n[modules]\nlength = "5 m"\nwidth = "12 m"\n[[module]]\nat = ["9-2"]\nbase = "tray over still air"\n'
    path.write_text(VENUE.read_text(encoding="utf-8") + grid, encoding="utf-8")
    result = called("zones", path, "--from", "2026-01-16")
    assert result.exit_code == 2
    assert "9-2" in result.output


def test_tables_open_in_a_spreadsheet(week: tuple[str, Path]) -> None:
    """As pandas reads them: one header row, no empty column, numbers as numbers, a unit in each header that has one."""
    for name, rows in (("zones.csv", 24), ("span.csv", 24), ("days.csv", 72), ("cells.csv", 53 * 34)):
        path = week[1] / name
        table = pd.read_csv(path)
        assert len(table) == rows
        assert not any("Unnamed" in str(head) or "delta" in str(head) for head in table.columns)
        told = table.drop(columns=[c for c in ("zone", "day") if c in table])
        assert all(np.issubdtype(kind, np.number) for kind in told.dtypes), name
        assert all("[" in head for head in told.columns), name
        assert path.read_bytes().isascii()
    days = pd.read_csv(week[1] / "days.csv")
    for head in ("from sun [MJ/m2/d]", "thawed over frozen [h]", "too cold for shoots [h]", "degree days [K d]"):
        assert head in days
    whole = days[[f"from {part} [MJ/m2/d]" for part in ("sun", "sky", "stands")]].sum(axis=1)
    assert days["light [mol/m2/d]"].to_numpy() == pytest.approx(2.0565 * whole.to_numpy(), rel=3e-4)


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
