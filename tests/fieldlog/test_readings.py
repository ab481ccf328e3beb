"""Spot readings: the one-line form, its CSV, and everything that is refused in words."""

import contextlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from microclimate.errors import InputError
from microclimate.fieldlog import readings

MIDNIGHT = np.datetime64("2026-12-16T06:00", "ns")  # 00:00 in Chicago


@pytest.mark.parametrize(
    ("text", "kind", "depth", "value", "utc"),
    [
        # 41 degF is 5 degC; 16:30 in Chicago in winter is 22:30 UTC (arithmetic)
        ("North goal, 100 mm, 41 degF, 16:30", "soil_temperature", 0.1, 278.15, "2026-12-15T22:30"),
        ("North goal, 100 mm, 41 degF, 4:30 pm", "soil_temperature", 0.1, 278.15, "2026-12-15T22:30"),
        ("North goal, 4 in, 5 degC, 12:05 am", "soil_temperature", 0.1016, 278.15, "2026-12-15T06:05"),
        ("North goal; 2,5 cm; 5,5 °C; 2026-12-15T16:30", "soil_temperature", 0.025, 278.65, "2026-12-15T22:30"),
        (
            "North goal, surface, −1.5 degC, 2026-12-15T16:30+01:00",
            "canopy_temperature",
            0.0,
            271.65,
            "2026-12-15T15:30",
        ),
        ("North goal, 50 mm, 18 %, 23:59", "water_content", 0.05, 0.18, "2026-12-16T05:59"),
    ],
)
def test_a_reading_is_understood(text: str, kind: str, depth: float, value: float, utc: str) -> None:
    spot = readings.spot(text, "America/Chicago", before=MIDNIGHT, zones=["North goal", "South goal"])
    assert (spot.zone, spot.kind) == ("North goal", kind)
    assert spot.depth == pytest.approx(depth)
    assert spot.value == pytest.approx(value)
    assert spot.time == np.datetime64(utc, "ns")


def test_a_zone_name_may_hold_commas() -> None:
    spot = readings.spot("Row 2, left, 100 mm, 5 degC, 16:30", "UTC", before=MIDNIGHT)
    assert spot.zone == "Row 2, left"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("North goal 100 mm 41 degF", "not understood"),
        ("North gaol, 100 mm, 41 degF, 16:30", "did you mean 'North goal'?"),
        ("Bench, 100 mm, 41 degF, 16:30", "zones are North goal, South goal"),
        ("North goal, 100 mm, 41 furlong, 16:30", "'furlong' is no unit"),
        ("North goal, 100 mm, 41 mph, 16:30", "measures speed"),
        ("North goal, 100 mm, 410 degC, 16:30", "wanted -43 to 62 °C"),
        ("North goal, 100 degC, 41 degF, 16:30", "not length"),
        ("North goal, 40 m, 41 degF, 16:30", "wanted 0 to 3 m"),
        ("North goal, 100 mm, 41 degF, 25:30", "not a clock time"),
        ("North goal, 100 mm, 41 degF, 13:30 pm", "not a clock time"),
        ("North goal, 100 mm, 41 degF, teatime", "'teatime' is not a time"),
        ("North goal, 50 mm, 120 %, 16:30", "wanted 0 to 80 %"),
        # the clock goes from 02:00 back to 01:00 on 2026-11-01, and forward over 02:30 on 2026-03-08, in Chicago
        ("North goal, 50 mm, 5 degC, 2026-11-01T01:30", "clock change"),
        ("North goal, 50 mm, 5 degC, 2026-03-08T02:30", "clock change"),
    ],
)
def test_a_reading_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(InputError) as error:
        readings.spot(text, "America/Chicago", before=MIDNIGHT, zones=["North goal", "South goal"])
    assert words in str(error.value)


def test_a_bare_clock_time_needs_a_day() -> None:
    with pytest.raises(InputError, match="has no date"):
        readings.spot("North goal, 100 mm, 41 degF, 16:30", "UTC")


def test_every_fault_of_every_reading_is_told(tmp_path: Path) -> None:
    file = tmp_path / "probes.csv"
    file.write_text("zone,depth [mm],value [degF],time\nA,100,41,16:30\nB,100,999,16:30\nA,50,41\n", encoding="utf-8")
    with pytest.raises(InputError) as error:
        readings.collect([str(file), "A, 100 mm, 41 degF, 26:30", "nonsense"], "UTC", before=MIDNIGHT, zones=["A", "B"])
    text = str(error.value)
    assert "4 things to mend" in text
    for words in ("line 3", "line 4: 3 cells", "26:30", "not understood"):
        assert words in text


def test_a_table_with_units_in_its_headings(tmp_path: Path) -> None:
    file = tmp_path / "probes.csv"
    file.write_text("\ufeffZone;Depth [mm];Value;Time\nA;100;5,0 degC;16:30\nB;50;41 degF;16:40\n", encoding="utf-8")
    first, second = readings.collect([str(file)], "UTC", before=MIDNIGHT, zones=["A", "B"])
    assert (first.zone, first.value, first.depth) == ("A", pytest.approx(278.15), pytest.approx(0.1))
    assert (second.zone, second.value, second.depth) == ("B", pytest.approx(278.15), pytest.approx(0.05))


def test_a_table_without_its_columns(tmp_path: Path) -> None:
    file = tmp_path / "probes.csv"
    file.write_text("zone,value\nA,5 degC\n", encoding="utf-8")
    with pytest.raises(InputError, match="no column depth, time"):
        readings.table(file, "UTC")
    file.write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="empty"):
        readings.table(file, "UTC")


@given(st.text(max_size=60))
def test_no_text_ends_in_a_traceback(text: str) -> None:
    with contextlib.suppress(InputError):
        readings.spot(text, "America/Chicago", before=MIDNIGHT, zones=["A"])
