"""What the bowl does to a night, told as facts; and what was learned is used when it lies beside the venue."""

from datetime import datetime
from pathlib import Path

import air_venue
import numpy as np
import pytest
from air_nights import clear_night

from microclimate import schema
from microclimate.actions.plan import nothing
from microclimate.errors import InputError
from microclimate.exposure.force import forcing
from microclimate.report.words_reasons import REASONS, reason
from microclimate.risk import outlook
from microclimate.simulate import run, start
from microclimate.units import Shown
from microclimate.workflow import bowl_facts, files, pictures

NIGHT = schema.Event("night", datetime(2025, 1, 15, 21), datetime(2025, 1, 16, 14))


def facts(kind: str, wind: float, members: int = 16):
    place, series = air_venue.venue(kind), clear_night(wind, members=members)
    force = forcing(place, series, air_venue.bowl(kind))
    begin = series["time"].values[0]
    initial = start.states(place, force.patches, members, begin)
    plan = nothing(place, begin, series["time"].values[-1])
    outcome, _ = run.outcome(place, force, initial, plan, [NIGHT])
    states = pictures.states(force, initial, plan, (NIGHT,), min(3, members - 1))
    risk = outlook.assess(outcome)
    found = bowl_facts.facts(force, outcome, risk, states, initial, plan, NIGHT, "middle", min(3, members - 1))
    return {fact.key: fact for fact in found}


def test_an_open_field_has_nothing_to_tell() -> None:
    assert facts("none", 3.0, members=2) == {}


def test_a_windy_night_in_a_closed_bowl() -> None:
    found = facts("closed", 4.0)
    wind = found["bowl wind"].values
    assert wind["low"] < wind["factor"] < wind["high"] < 0.767  # less than open ground's at 2 m
    assert 1.0 < found["bowl colder"].values["difference"] < 4.0
    assert 0.1 <= found["bowl range"].values["share"] <= 1.0  # one weather for all: bowl and ground remain


def test_a_calm_night_in_a_closed_bowl_has_cold_air() -> None:
    found = facts("closed", 0.5)
    words = [reason(fact, Shown("metric", 24, "UTC")) for fact in found.values()]
    assert any("colder" in text for text in words)
    assert all(fact.key in REASONS for fact in found.values())
    assert not any("{" in text for text in words)


@pytest.mark.parametrize(
    ("difference", "key"),
    [((-3, -2, -1), "bowl air colder"), ((1, 2, 3), "bowl air warmer"), ((-1, 0, 2), "bowl air near")],
)
def test_sign_of_the_air(difference: tuple[float, ...], key: str) -> None:
    fact = bowl_facts.air_fact(np.array(difference, float), datetime(2025, 1, 16, 6))
    assert fact.key == key
    assert all(value >= 0 for name, value in fact.values.items() if name != "time")


def test_what_was_learned_lies_beside_the_venue(tmp_path: Path) -> None:
    path = tmp_path / "venue.toml"
    path.write_text(air_venue.TEXT, encoding="utf-8")
    assert files.described(path).calibration.wind_factor == 1.0
    (tmp_path / "calibration.toml").write_text("format = 1\nwind_factor = 0.8\n", encoding="utf-8")
    assert files.described(path).calibration.wind_factor == 0.8
    (tmp_path / "calibration.toml").write_text("wind_facter = 0.8\n", encoding="utf-8")
    with pytest.raises(InputError, match="did you mean wind_factor"):
        files.described(path)
