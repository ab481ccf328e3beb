"""Words: chances never certain, units and clocks as the reader has them, and no word that is not ours to say."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from forbidden_words import FORBIDDEN, NOT_METRIC, NOT_US
from hypothesis import given
from hypothesis import strategies as st

from microclimate.report import screen, tables, words, words_cautions, words_head, words_reasons
from microclimate.report.answer import EQUIPMENT, Answer, Fact, Start
from microclimate.schema import SurfaceState
from microclimate.units import Shown
from microclimate.weather.assumed import CODES

US, METRIC = Shown("US", 12, "America/New_York"), Shown("metric", 24, "Europe/Oslo")


@given(st.floats(0, 1))
def test_a_chance_is_never_certain(value: float) -> None:
    text = words.chance(value)
    assert text in {"under 5 %", "over 95 %"} or int(text.removesuffix(" %")) in range(5, 100, 5)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_nor_is_its_range(a: float, b: float, c: float) -> None:
    low, value, high = sorted((a, b, c))
    text = words.chance_range(value, low, high)
    shown = [int(found) for found in re.findall(r"\d+", text)]
    assert shown == [] or (min(shown) >= 5 and max(shown) <= 95)
    assert not re.search(r"\b(0|100) %", text)


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ((0.65, 0.5, 0.8), "65 % (50 to 80 %)"),
        ((0.01, 0.0, 0.12), "under 5 % (up to 10 %)"),
        ((0.99, 0.9, 1.0), "over 95 % (90 % or more)"),
        ((0.01, 0.0, 0.02), "under 5 %"),
        ((0.5, 0.0, 1.0), "50 % (hardly known)"),
        ((0.5, 0.49, 0.51), "50 %"),
        ((float("nan"),) * 3, "unknown"),
    ],
)
def test_chances_read_so(values: tuple[float, float, float], text: str) -> None:
    assert words.chance_range(*values) == text


def test_numbers_read_in_the_readers_units() -> None:
    assert words.measure(271.15, "temperature", METRIC) == "−2.0 °C"
    assert words.measure(271.15, "temperature", US) == "28 °F"
    assert words.measure(2.0, "temperature difference", US) == "4 °F"  # 3.6, converted as a difference
    assert words.measure(273.15 - 0.01, "temperature", METRIC) == "0.0 °C"  # no minus zero
    assert words.between(265.0, 268.0, "temperature", US) == "17 to 23 °F"
    assert words.depth(0.025, US) == "1 in"
    assert words.depth(0.025, METRIC) == "25 mm"
    assert words.measure(1234.0, "area", US) == "13,000 ft²"
    assert words.measure(float("nan"), "speed", US) == "unknown"


@pytest.mark.parametrize(
    ("utc", "us", "metric"),
    [
        (datetime(2026, 12, 16, 11, 40), "Wed 6:40 am", "Wed 12:40"),
        (datetime(2026, 12, 16, 5, 0), "Wed midnight", "Wed 06:00"),
        (datetime(2026, 12, 16, 17, 0), "Wed noon", "Wed 18:00"),
        (datetime(2026, 7, 1, 4, 5), "Wed 12:05 am", "Wed 06:05"),  # summer time
    ],
)
def test_times_are_the_clock_at_the_field(utc: datetime, us: str, metric: str) -> None:
    assert words.day_clock(utc, US) == us
    assert words.day_clock(np.datetime64(utc, "ns"), US) == us
    assert words.day_clock(utc, METRIC) == metric


def test_a_missing_time_is_unknown() -> None:
    assert words.day_clock(np.datetime64("NaT"), US) == "unknown"


def test_near_a_border_it_is_about_even(answer: Answer) -> None:
    zone = answer.zones[0]
    risk = answer.risk.copy(deep=True)
    chances = np.array([0.1, 0.3, 0.1, 0.5, 0, 0, 0, 0, 0])
    risk["probability"].values[0, 0] = chances
    for canopy, even in ((273.15 - 0.4, True), (273.15 + 0.4, True), (273.15 - 0.6, False)):
        risk["canopy_temperature_worst"].values[0, 0] = canopy
        risk["soil_temperature_worst"].values[0, 0] = 280.0
        near = replace(answer, risk=risk)
        found = words.about_even(near, zone, 0)
        assert found == ((SurfaceState.NEAR_FREEZING, SurfaceState.WHITE_FROST) if even else None)
        assert ("about even" in words.states(near, zone, 0)) is even


def test_ice_does_not_turn_on_the_canopys_border(answer: Answer) -> None:
    risk = answer.risk.copy(deep=True)
    risk["probability"].values[0, 0] = [0.1, 0.05, 0.1, 0.05, 0, 0.7, 0, 0, 0]
    risk["canopy_temperature_worst"].values[0, 0] = 273.2
    assert "about even" in words.states(replace(answer, risk=risk), answer.zones[0], 0)
    risk["canopy_temperature_worst"].values[0, 0] = 276.0
    risk["probability_low"].values[0, 0, 5], risk["probability_high"].values[0, 0, 5] = 0.55, 0.8
    assert words.states(replace(answer, risk=risk), answer.zones[0], 0) == "frozen layer 70 % (55–80)"


@pytest.mark.parametrize("name", ["answer", "metric", "unknown"])
def test_the_screen_keeps_to_its_width_and_words(name: str, request: pytest.FixtureRequest) -> None:
    told = request.getfixturevalue(name)
    text = screen.text(told)
    assert max(map(len, text.splitlines())) <= screen.WIDTH
    assert not FORBIDDEN.search(text), FORBIDDEN.search(text)
    assert not re.search(r"(?<!\d)(0|100) %(?! (of the sky|ice))", text)
    for zone in told.zones:
        assert all(word in text for word in zone.split())
    wrong = NOT_US if told.shown.system == "US" else NOT_METRIC
    assert not wrong.search(text), wrong.search(text)
    assert ("am" in re.findall(r"\d (am|pm)\b", text)) == (told.shown.clock == 12)


def test_the_screen_says_it_all(answer: Answer) -> None:
    text = " ".join(screen.text(answer).split())
    for part in (
        "Coldest: Roof side C",
        "Evening game",
        "outside the limit you set (crust or worse, 10 %)",
        "shaded until 10:40 am",
        "4 readings",
        "About 30 % of",
        "4 hours old",
        "local codes, licensed trades, referee and medical",
        "1 in",
        "4 in",
    ):
        assert part in text


def test_what_is_unknown_is_said_to_be(unknown: Answer) -> None:
    text = " ".join(screen.text(unknown).split())
    assert "Unknown: the forecast ends before this window does." in text
    assert "none of the forecasts reach its end" in text
    assert "does not say when it was issued" in text
    assert "only what the season would have" in text
    assert "give or take 4 °F" in text
    assert "was not worked out" in text


def test_within_the_limit(answer: Answer) -> None:
    risk = answer.risk.copy(deep=True)
    risk["probability_reached"].values[...] = 0.01
    assert words_head.against_limit(replace(answer, risk=risk), 0).startswith("All zones are within the limit")


def test_an_old_forecast_is_said_to_be_old(answer: Answer) -> None:
    assert "Fetch a newer one" in words_head.forecast_words(replace(answer, issued=answer.now - timedelta(hours=20)))
    assert "check the clock" in words_head.forecast_words(replace(answer, issued=answer.now + timedelta(hours=2)))
    assert "Fetch" not in words_head.forecast_words(answer)


def test_one_reading_is_one(answer: Answer) -> None:
    one = replace(answer, start=Start("readings", 0.01, {"count": 1.0, "when": answer.now}))
    text = words_head.start_words(one)
    assert "1 reading, at Tue 4:10 pm" in text
    assert text.endswith("Under 5 % of tonight's range hangs on it.")


def test_every_code_of_the_weather_has_its_sentence() -> None:
    """The keys are typed twice, because report may not see weather: here the two lists meet."""
    assert set(CODES) <= set(words_reasons.ASSUMED)


def test_every_code_of_exposure_and_start_has_its_sentence() -> None:
    """These rooms write their codes as "key=..." strings: none may be printed raw."""
    rooms = Path(words.__file__).parents[1]
    found = set()
    for room in ("exposure", "simulate"):
        for path in (rooms / room).rglob("*.py"):
            found |= set(re.findall(r"""["']([a-z_]+)=(?:\w|\{)""", path.read_text(encoding="utf-8")))
    assert "bowl_wind" in found
    assert found <= {key.partition("=")[0] for key in words_reasons.ASSUMED}


def test_assumptions_are_plain_words() -> None:
    codes = (
        "wind_height=10",
        "missing=wind_speed:3",
        "missing=air_temperature:1",
        "unit=wind_speed:m/s->km/h",
        "made_up_key=some_value",
        "precipitation=none_given",
        "dew_point=relative_humidity",
        "wind_height=",
        "dew_point=daily_minimum",
        "bowl_wind=prior",
        "bowl_wind=prior",
        "not_dressed=surface_air_pressure precipitation_flux",
        "stand 2 is described roughly: its roof is guessed",
    )
    text = words_reasons.assumed(codes, US)
    assert text[0] == "Wind taken to be measured at 33 ft."
    assert text[1] == "Values the file marks as missing: wind (3), air temperature (1)."
    assert "wind: m/s taken as km/h" in text[2]
    assert text[3] == "Made up key: some value."
    assert text[4] == "No rain or snow given: taken as none."
    assert text[5] == "Dew point worked out from relative humidity."
    assert text[6].startswith("No humidity given")
    assert text[7].startswith("Shelter by the stands")
    assert text[8] == "The same in all members: air pressure, rain and snow."
    assert text[9] == "Stand 2 is described roughly: its roof is guessed."
    assert len(text) == 10


def test_distances_and_snow_read_in_the_readers_units() -> None:
    codes = ("grid_point=5.3 km", "snow_density=100", "nowcast=-1.5")
    metric, us = words_reasons.assumed(codes, METRIC), words_reasons.assumed(codes, US)
    assert metric[0] == "Nearest point that the weather is given for: 5.3 km away."
    assert us[0] == "Nearest point that the weather is given for: 3.3 miles away."
    assert metric[1] == us[1] == "Depth of fresh snow turned into water: 10 % of it."
    assert us[2] == "Tonight's curve pulled to the evening's readings by −3 °F."


def test_every_reason_can_be_said() -> None:
    values = {
        **dict.fromkeys(("cloud", "wind", "sky_view", "water", "depth", "difference"), 0.4),
        **dict.fromkeys(("air", "dew_point", "soil"), 271.0),
        **dict.fromkeys(("factor", "low", "middle", "high", "colder", "warmer", "share"), 0.3),
        "zone": "West end",
        "time": datetime(2026, 12, 16, 15, 40),
    }
    for key in words_reasons.REASONS:
        for shown in (US, METRIC):
            text = words_reasons.reason(Fact(key, values), shown)
            assert not set("{_") & set(text)
            assert text[0].isupper()
            assert text.endswith(".")
            assert not FORBIDDEN.search(text)
            assert not (NOT_US if shown is US else NOT_METRIC).search(text)
    assert words_reasons.reason(Fact("odd_thing", {"size": 3.0}), US) == "Odd thing: size 3.0."


def test_cautions_follow_what_the_venue_has(answer: Answer) -> None:
    bare = words_cautions.cautions(replace(answer, equipment=frozenset()))
    assert not any("cover" in text.lower() or "cable" in text.lower() for text in bare)
    assert any("alone" in text for text in bare)
    full = words_cautions.cautions(replace(answer, equipment=EQUIPMENT))
    for word in ("carbon monoxide", "cables", "scalds", "Glycol", "roofs", "Fuel", "hoses", "height", "Wind lifts"):
        assert any(word in text for text in full), word
    assert not any(FORBIDDEN.search(text) or NOT_US.search(text) for text in full)
    assert any("10 ft from covers" in text for text in full)
    metric = words_cautions.cautions(replace(answer, equipment=EQUIPMENT, shown=METRIC))
    assert not any(NOT_METRIC.search(text) for text in metric)
    assert any("3.1 m from covers" in text for text in metric)  # 10 ft of 29 CFR 1926.154, not rounded down


def test_no_frost_no_slipping(answer: Answer) -> None:
    risk = answer.risk.copy(deep=True)
    risk["probability_reached"].values[:, :, 1:] = 0.01
    mild = words_cautions.cautions(replace(answer, risk=risk))
    assert not any("slippery" in text or "wheels" in text for text in mild)


def test_wind_chill_is_that_of_the_windiest_cold_hour(answer: Answer) -> None:
    sky = answer.sky.copy(deep=True)
    sky["air_temperature"].values[...] = 273.15 - 10.0
    sky["wind_speed"].values[...] = 20.0 / 3.6
    felt = words_cautions.chill(replace(answer, sky=sky))
    # closed form of the index at -10 degC, 20 km/h, worked by hand: V^.16 = 1.6149; 13.12-6.215-18.362-6.403
    assert felt == pytest.approx(273.15 - 17.86, abs=0.01)


def test_csv_heads_name_units_and_clock(answer: Answer) -> None:
    heads = [
        tables.plain_head("lowest canopy", "temperature", answer.shown),
        tables.time_head("when", answer.shown),
    ]
    text = tables.csv_text(heads, [(21, "6:40 am"), (22, 'said "cold"')])
    assert text.splitlines()[0] == "lowest canopy [degF],when [America/New_York]"
    assert text.splitlines()[2] == '22,"said ""cold"""'
