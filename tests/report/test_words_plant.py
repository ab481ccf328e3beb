"""Words of plant and circuits: what a season buys by kind of plant, and whether the plant gives what is asked."""

from types import SimpleNamespace

import pytest
import xarray as xr

from microclimate.report import words_plant
from microclimate.units import Shown

METRIC, US = Shown("metric", 24, "UTC"), Shown("US", 12, "UTC")
KWH = 3.6e6
TOLD = xr.Dataset({"fuel": 1000.0 * KWH, "current": 0.0, "heat": 3000.0 * KWH})


@pytest.mark.parametrize(
    ("plant", "shown", "words"),
    [
        # 40 CFR 98 Table C-1: 0.138 mmBtu a gallon of No. 2 oil is 40.44 kWh; a therm is 29.307 kWh; 0.091 for propane
        ("oil", US, "25 gal of oil"),
        ("gas", US, "34 therm of gas"),
        ("gas", METRIC, "94 m³ of gas"),
        ("propane", METRIC, "142 l of propane"),
        ("heat pump", METRIC, "3.0 kWh of heat from each kWh"),
        ("district heat", METRIC, "1\u202f000 kWh of district heat"),
        ("electric", US, "1,000 kWh of current"),
    ],
)
def test_a_season_buys_in_the_unit_it_is_sold_in(plant: str, shown: Shown, words: str) -> None:
    sized = SimpleNamespace(plant=plant, shown=shown, efficiency=0.9)
    assert words in words_plant.fuel_words(sized, TOLD)  # type: ignore[arg-type]


def test_cables_beside_a_boiler_are_told_apart() -> None:
    sized = SimpleNamespace(plant="gas", shown=METRIC, efficiency=0.9)
    told = TOLD.assign(current=200.0 * KWH)
    assert words_plant.fuel_words(sized, told).endswith("and 200 kWh of current for cables.")  # type: ignore[arg-type]


@pytest.mark.parametrize(("asked", "words"), [(150.0, "more than what"), (110.0, "within the range of"), (60.0, None)])
def test_what_is_asked_of_the_plant_is_held_against_what_it_gives(asked: float, words: str | None) -> None:
    told = xr.Dataset(coords={"power": ("option", [asked])})
    climate = SimpleNamespace(told=told, chosen=0)
    sized = SimpleNamespace(installed=(("nameplate", 112.0, 100.0, 125.0),), climates=(climate,))
    lines = words_plant.installed_words(sized)  # type: ignore[arg-type]
    assert (words is None) == (len(lines) == 1)
    assert words is None or words in lines[-1]
