"""The words of heat that stops and of fuel on hand."""

from dataclasses import replace

import pytest
from forbidden_words import FORBIDDEN
from made_plan import BEGIN, HEAT, LAY, LIFT, STOP, plan

from microclimate.report import screen, words_stops
from microclimate.report.answer import Answer
from microclimate.report.planned import Fuel, Planned


@pytest.fixture(scope="module")
def planned(answer: Answer) -> Planned:
    return plan(answer, HEAT, LAY, LIFT, STOP)


def test_hours_with_the_same_answer_share_a_row(answer: Answer, planned: Planned) -> None:
    """The clock is US Eastern: 22:00 UTC is 5:00 pm."""
    table = words_stops.table(answer, planned)
    assert table is not None
    assert [row[0] for row in table.rows] == ["Never", "Tue 7:00 pm", "Tue 8:00 pm to 9:00 pm"]
    assert table.rows[1][1:] == (
        "already",
        "Wed 2:00 am (60 %)",
        "holds (under 5 %)",
        "already",
        "already",
        "Wed 2:00 am (60 %)",
    )
    assert "first is mostly North goal" in table.caption


def test_without_a_cover_one_side_is_told(answer: Answer) -> None:
    table = words_stops.table(answer, plan(answer, HEAT, STOP))
    assert table is not None
    assert len(table.heads) == 4
    assert words_stops.table(answer, plan(answer, HEAT, STOP, stops=())) is None


def test_screen_tells_the_hours_and_the_fuel(answer: Answer, planned: Planned) -> None:
    text = " ".join(screen.text(replace(answer, plan=planned)).split())
    assert "If the heat stops: - Never: leaf limit Wed 2:00 am (60 %)" in text
    assert "Fuel on hand: 20,000 kWh, 22 h at full load; this plan takes about 9,900 kWh" in text
    assert not FORBIDDEN.search(" ".join([*words_stops.lines(answer, planned), words_stops.fuel(answer, planned)]))


@pytest.mark.parametrize(
    ("until", "words"),
    [
        ("holds", "the fuel lasts to its end, 90 % sure"),
        ("unknown", "too few forecasts to say how sure"),
        (BEGIN, "the fuel lasts until Tue 5:00 pm"),
    ],
)
def test_how_long_fuel_lasts(answer: Answer, until: object, words: str) -> None:
    told = plan(answer, HEAT, STOP, fuel=Fuel(9_000.0, float("inf"), 12_345.0, until))  # type: ignore[arg-type]
    text = words_stops.fuel(answer, told)
    assert words in text
    assert "inf" not in text
    assert words_stops.fuel(answer, plan(answer, HEAT, fuel=None)) == ""
