"""A span beside what practitioners expect: facts from the run, and what is said of them."""

from dataclasses import replace

import pytest

from microclimate.report import words_beside
from microclimate.report.words_beside import Beside
from microclimate.units import Shown
from microclimate.workflow.zones_beside import _season

SHOWN = Shown("metric", "UTC", 24)
SHADED = Beside(
    strip="South flank",
    centre="Middle",
    season="winter",
    lost=0.75,
    from_sky=0.4,
    sky_seen=0.7,
    sun=(1.0, 8.0),
    noon=30.0,
    day=7.0,
    night=0.3,
    longwave=(60.0, 50.0),
    frost=1.5,
    hottest=(283.0, 280.0),
    bowl_day=0.5,
    bowl_night=3.0,
    wind=0.4,
    metal=28.0,
)


def text(told: Beside) -> str:
    return "\n".join(words_beside.lines(told, SHOWN))


def test_a_deep_shade_is_as_expected() -> None:
    """Light lost .4 to .85, surface 5 to 15 K, an hour more of frost, wind .2 to .5, metal 29 W/m2: all met."""
    lines = words_beside.lines(SHADED, SHOWN)
    assert len(lines) == 8
    assert sum("As expected" in line for line in lines) == 7  # all but the night, which may go either way
    assert "75 % at the darkest of South flank" in lines[0]


def test_why_a_lit_strip_differs() -> None:
    lit = replace(SHADED, lost=0.05, sun=(7.5, 8.0), day=0.3, frost=-0.2, metal=0.0, bowl_night=0.4, wind=0.7)
    said = text(lit)
    assert "keeps 7.5 of 8.0 h of sun" in said
    assert "No stand that high lies towards the equator: the noon sun stands 30\u00b0 high" in said
    assert "reaches the strip too" in said
    assert "\u22120.2 h a day with frost" in said
    assert "As expected" not in said


def test_grey_weather_is_told_as_the_reason_where_the_sun_is_hidden() -> None:
    said = text(replace(SHADED, lost=0.2, from_sky=0.9))
    assert "90 % of the span's light came from the sky" in said
    assert "that of a clear day" in said


def test_summer_has_its_own_numbers() -> None:
    """37 degC on a clear day of 29 degC (an extension's infrared set): 8 K over the air."""
    summer = replace(SHADED, season="summer", hottest=(310.15, 302.15), bowl_day=2.6, day=1.0, sun=(9.0, 10.0))
    said = text(summer)
    assert "8.0 K over the air" in said
    assert "here 8.0 K, at 37.0 under air of 29.0 \u00b0C. As expected" in said
    assert "10.0 to 20.0 K" in said
    assert "solstice" not in said
    cool = text(replace(summer, hottest=(295.0, 290.0)))
    assert "over the air" not in cool


def test_the_other_reader_s_units() -> None:
    said = "\n".join(words_beside.lines(replace(SHADED, season="summer"), Shown("US", "UTC", 12)))
    assert " K" not in said
    assert "18" in said  # 10 K


@pytest.mark.parametrize(
    ("month", "latitude", "season"),
    [(12, 50.0, "winter"), (12, -35.0, "summer"), (7, 50.0, "summer"), (4, 50.0, "between")],
)
def test_the_season_is_that_of_the_hemisphere(month: int, latitude: float, season: str) -> None:
    assert _season(month, latitude) == season
