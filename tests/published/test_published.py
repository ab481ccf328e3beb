"""Numbers that others have printed, or that follow from a printed formula, and what the package makes of them."""

import sys
from collections import Counter
from pathlib import Path
from types import FrameType

import pytest
import rows_conduction
import rows_plant
import rows_radiation
import rows_soil
import rows_solar
import rows_surface
import rows_turbulence
import rows_turf
import rows_vapour
from published_row import Row

import microclimate

TABLES = (
    rows_solar,
    rows_radiation,
    rows_vapour,
    rows_turbulence,
    rows_soil,
    rows_conduction,
    rows_surface,
    rows_turf,
    rows_plant,
)
ROWS: list[Row] = [row for table in TABLES for row in table.ROWS]
HOME = str(Path(microclimate.__file__).parent)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.id} {row.what}")
def test_published(row: Row) -> None:
    assert row.misses() == ""


def test_each_row_calls_the_package() -> None:
    for row in ROWS:
        seen: list[str] = []

        def note(frame: FrameType, event: str, _: object, seen: list[str] = seen) -> None:
            if event == "call" and frame.f_code.co_filename.startswith(HOME):
                seen.append(frame.f_code.co_name)

        sys.setprofile(note)
        try:
            row.call()
        finally:
            sys.setprofile(None)
        assert seen, f"{row.id} {row.what}: computed without the package"


def test_there_are_enough_of_them_and_each_says_what_it_is() -> None:
    assert len({row.id for row in ROWS}) >= 80
    assert sum(row.size for row in ROWS) >= 140
    for row in ROWS:
        assert row.source, row.id
        assert row.atol + row.rtol > 0.0, row.id
    flags = Counter(row.flag for row in ROWS)
    # what nobody has read or worked out a second time is no check
    assert flags["memory"] == 0
    assert sum(count for flag, count in flags.items() if "read" in flag) >= 40


def test_a_wrong_number_is_seen() -> None:
    row = ROWS[0]
    wrong = Row(row.id, row.what, row.call, 1.02 * float(row.expected), row.unit, row.source, row.flag, atol=row.atol)  # type: ignore[arg-type]
    assert "wanted" in wrong.misses()
