"""The words of watering that was tried: both figures beside each other, never whether to do it."""

from dataclasses import replace
from datetime import datetime

import pytest
from forbidden_words import FORBIDDEN, NOT_METRIC, NOT_US

from microclimate.report import briefing, screen, words_watered
from microclimate.report.answer import Answer
from microclimate.report.watered import Seen, Watered
from microclimate.units import Shown

US, METRIC = Shown("US", 12, "America/New_York"), Shown("metric", 24, "America/New_York")
DRY, WET = Seen(0.41, 260.15, 273.0, 4.0), Seen(0.06, 260.35, 273.3, 5.0)
TOLD = Watered(0.004, datetime(2026, 12, 15, 20), 281.15, (("tonight", DRY, WET),))


def test_both_are_told_and_nothing_is_advised() -> None:
    assert words_watered.title(TOLD, METRIC) == "Tried, not advised: 4 mm of water at 8.0 °C, Tue 15:00"
    first = words_watered.lines(TOLD, METRIC)[0]
    assert "40 % without, 5 % with it" in first
    assert "lowest canopy −13.0 °C without, −12.8 °C with it" in first
    assert "ice in the top 50 mm when it ends: 25 % more with it" in first
    text = " ".join(words_watered.lines(TOLD, METRIC))
    assert "harder plate" in text
    assert "measure it" in text


@pytest.mark.parametrize(
    ("dry", "wet", "words"),
    [
        (0.0, 0.0, "none without, none with it"),
        (0.0, 2.0, "some with it"),
        (2.0, 2.0, "as much"),
        (4.0, 3.0, "25 % less"),
    ],
)
def test_ice_in_words(dry: float, wet: float, words: str) -> None:
    told = replace(TOLD, windows=(("tonight", replace(DRY, ice=dry), replace(WET, ice=wet)),))
    assert words in words_watered.lines(told, METRIC)[0]


@pytest.mark.parametrize(("shown", "strange"), [(US, NOT_US), (METRIC, NOT_METRIC)])
def test_units_are_the_readers(shown: Shown, strange: object) -> None:
    for text in (words_watered.title(TOLD, shown), *words_watered.lines(TOLD, shown)):
        assert not FORBIDDEN.search(text), text
        assert not strange.search(text), text  # type: ignore[attr-defined]


def test_screen_and_page_tell_it(answer: Answer) -> None:
    asked = replace(answer, watered=TOLD)
    assert "Tried, not advised" in screen.text(asked)
    assert 'id="watered"' in briefing.page(asked)
    assert "Tried, not advised" not in screen.text(answer) + briefing.page(answer)
