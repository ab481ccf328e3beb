"""Sheets of readings by hand: every kind taken, corrections worked out by hand, faults named by line."""

import math
from pathlib import Path

import numpy as np
import pytest

from microclimate.errors import InputError
from microclimate.fieldlog import infrared, spots
from microclimate.fieldlog.sheet import sheet
from microclimate.fieldlog.store import Store
from microclimate.schema import SurfaceState

ZONES = ("North goal", "South goal left")
HEAD = (
    "time,zone,depth,value,infrared [degC],emissivity set,sky [degC],cloud,hardness,device,drop,age,takes a stud,state,"
    "wind [m/s],height [m],minutes,reference wind [m/s],reference direction,air [degC],air outside [degC],who,note\n"
)
ROWS = (
    "2026-01-27T12:00,North goal,100 mm,41 degF,,,,,,,,,,,,,,,,,,A,\n"
    "2026-01-27T12:00,North goal,,,-3.0,1,-40,,,,,,,,,,,,,,,A,\n"
    "2026-01-27T12:05,North goal,,,-3.0,,,80 %,,,,,yes,white frost,,,,,,,,A,\n"
    "2026-01-27T12:05,North gol,,,-3.0,,,80 %,,,,,yes,white frost,,,,,,,,A,\n"
    "2026-01-27T12:06,North goal,,,,,,,84,2.25 kg,1,2 h,maybe,,,,,,,,,,\n"
    "2026-01-27T12:06,North goal,,,,,,,96,2.25 kg,2,2 h,,,,,,,,,,,\n"
    "2026-01-27T12:07,North goal,,,,,,,,,,,,,0.6,1,2.5,4,270,-5,-4,,wet\n"
    "2026-01-27T12:08,North goal,,,,,,,,,,,,,,,,,,,,,\n"
)


def read(text: str) -> spots.Read:
    return spots.read(sheet(text.encode(), "walk.csv"), "America/New_York", ZONES, "walk.csv")


def test_every_kind_is_taken_and_every_fault_is_named_with_its_line() -> None:
    assert spots.recognises(sheet((HEAD + ROWS).encode(), "walk.csv").headings)
    found = read(HEAD + ROWS)
    kinds = [(one.quantity, one.line) for one in found.readings]
    assert kinds == [
        ("soil_temperature", 2),
        ("canopy_temperature", 3),
        ("canopy_temperature", 4),
        ("takes_a_stud", 4),
        ("surface_hardness", 6),
        ("surface_hardness", 7),
        ("wind_speed", 8),
        ("bowl_air_difference", 8),
    ]
    soil = found.readings[0]
    assert (soil.value, soil.depth, soil.zone) == (pytest.approx(278.15), pytest.approx(0.1), "North goal")
    assert soil.time == np.datetime64("2026-01-27T17:00")
    first, second = found.readings[4:6]
    assert (first.value, first.sensor, first.detail["drop"], first.detail["age"]) == (84.0, "2.25 kg", 1.0, 7200.0)
    assert second.time - first.time == np.timedelta64(1, "s")  # two drops of one minute are both kept
    assert [(state[1], state[2]) for state in found.states] == [("North goal", SurfaceState.WHITE_FROST)]
    faults = dict(found.rejected)
    assert sorted(faults) == [5, 6, 9]
    assert "did you mean 'North goal'" in faults[5]
    assert "wanted yes or no" in faults[6]
    assert "nothing was read" in faults[9]


def test_the_sky_that_grass_mirrors_is_taken_out() -> None:
    """Closed form: a grey surface of 0.975 at 270.9 K under a sky of 233.15 K shows 270.15 K."""
    shown = (0.975 * 270.9**4 + 0.025 * 233.15**4) ** 0.25
    value, error = infrared.hand_held(shown, sky=233.15)
    assert value == pytest.approx(270.9, abs=1e-9)
    # half a percent of emissivity: dT = (T^4 - Ts^4) de / (4 e T^3)
    assert error == pytest.approx((270.9**4 - 233.15**4) * 0.005 / (4 * 0.97 * 270.9**3), rel=0.02)


def test_without_the_sky_the_published_correction_counts_by_clear_sky() -> None:
    """0.6 to 1.4 K on clear nights (Agronomy J. 58:597, 1966, as excerpted), nothing under cloud."""
    clear, _ = infrared.hand_held(270.15, cloud=0.0)
    cloudy, _ = infrared.hand_held(270.15, cloud=1.0)
    unknown, wide = infrared.hand_held(270.15)
    assert 0.6 <= clear - 270.15 <= 1.4
    assert cloudy == pytest.approx(270.15)
    assert cloudy < unknown < clear
    assert wide >= (clear - cloudy) / 2


def test_an_instrument_set_to_another_emissivity_is_turned_back() -> None:
    """Closed form: set to 0.9 with its own body at 278 K, the radiation that shows 270.15 K at setting 1."""
    received = 270.15**4
    shown = ((received - 0.1 * 278.0**4) / 0.9) ** 0.25
    there, _ = infrared.hand_held(shown, setting=0.9, body=278.0, sky=233.15)
    plain, _ = infrared.hand_held(270.15, sky=233.15)
    assert there == pytest.approx(plain, abs=1e-9)


def test_wind_and_air_come_back_from_the_store_whole(tmp_path: Path) -> None:
    found = read(HEAD + ROWS)
    with Store(tmp_path / "log.db") as store:
        source = store.source("walk.csv", b"walk", np.datetime64("2026-01-28"))
        assert store.add_readings(found.readings, source) == 8
        assert store.add_readings(found.readings, source) == 0
        wind, air = sorted(spots.bowl(store), key=lambda one: one.is_air)
    assert (wind.wind, wind.height, wind.seconds, wind.reference_wind, wind.reference_direction) == (
        0.6,
        1,
        150,
        4,
        270,
    )
    assert wind.flags == ("wet wire",)
    assert wind.where == "walk.csv: line 8"
    assert math.isnan(wind.air)
    assert (air.air, air.air_outside) == (pytest.approx(268.15), pytest.approx(269.15))
    assert not air.aspirated


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time,zone,hardness\n2026-01-27T12:00,East,84\n", "no zone is called 'East'"),
        ("time,zone,infrared [degC]\nnoon,North goal,-3\n2026-01-27T12:00,North goal,cold\n", "cold"),
        ("time,zone,state\n2026-01-27T12:00,North goal,lovely\n", "lovely"),
        ("time,zone,depth,value\n2026-01-27T12:00,North goal,100 mm,41\n", "no unit"),
        ("time,zone,air [degC]\n2026-01-27T12:00,North goal,-3\n", "air without air outside"),
    ],
)
def test_a_sheet_without_one_good_row_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(InputError) as error:
        read(text)
    assert words in str(error.value)


def test_units_may_stand_in_the_headings() -> None:
    found = read("time,zone,depth [in],value [degF]\n2026-01-27T12:00,North goal,4,41\n")
    assert found.readings[0].depth == pytest.approx(0.1016)
    assert found.readings[0].value == pytest.approx(278.15)


def test_seats_are_read_with_what_they_mirror_and_everything_else_is_named() -> None:
    """By hand: -28 degC is 245.15 K; 300 of 520 is 0.577."""
    lines = [
        "time,zone,seats,seat infrared [degC],seat contact [degC],sky [degC],light on,light off",
        "2026-01-25T20:00,,bare aluminium,-28,-3,-38,,",
        "2026-01-26T13:00,,bare aluminium,,,,520,300",
        "2026-01-26T13:01,,bare aluminium,,,,520,700",
        "2026-01-26T13:02,,bare aluminium,-28,,,,",
        "2026-01-26T13:03,,,-28,-3,-38,,",
    ]
    found = spots.read(sheet("\n".join(lines).encode(), "seats.csv"), "UTC", ("North",), "seats.csv")
    first, second = found.readings
    assert (first.sensor, first.quantity, first.value) == ("bare aluminium", "seat_temperature", pytest.approx(245.15))
    assert first.detail["sky"] == pytest.approx(235.15)
    assert (second.quantity, second.value) == ("seat_reflectance", pytest.approx(300 / 520))
    assert [line for line, _ in found.rejected] == [4, 5, 6]
