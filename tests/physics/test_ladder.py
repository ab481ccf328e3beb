"""Each patch is in exactly one surface state at every time, the first that holds, and each state can be reached."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from microclimate.physics import ladder
from microclimate.physics.ladder import THRESHOLDS, surface_state
from microclimate.schema import SurfaceState

FREEZING = 273.15
MILD: dict[str, float] = {
    "snow_amount": 0.0,
    "ice_film": 0.0,
    "leaf_frost": 0.0,
    "canopy_temperature": FREEZING + 5.0,
    "ice_top": 0.0,
    "ice_least": 0.0,
    "ice_most": 0.0,
    "coldest": FREEZING + 4.0,
}

# what has to change on a mild patch to reach each state
REACH: dict[SurfaceState, dict[str, float]] = {
    SurfaceState.OPEN: {},
    SurfaceState.NEAR_FREEZING: {"coldest": FREEZING + 0.5},
    SurfaceState.COLD_AND_DRY: {"canopy_temperature": FREEZING - 0.1, "leaf_frost": 0.004},
    SurfaceState.WHITE_FROST: {"canopy_temperature": FREEZING - 0.1, "leaf_frost": 0.005},
    SurfaceState.CRUST: {"ice_top": 0.3, "ice_most": 0.3, "ice_least": 0.29},
    SurfaceState.FROZEN_LAYER: {"ice_top": 0.3, "ice_most": 0.3, "ice_least": 0.3},
    SurfaceState.THAWED_OVER_FROZEN: {"ice_top": 0.29, "ice_most": 0.3},
    SurfaceState.ICE_FILM: {"ice_film": 0.1},
    SurfaceState.SNOW_OR_SLUSH: {"snow_amount": 1.0},
}


def state(**given: float) -> float:
    return float(surface_state(**(MILD | given), thresholds=THRESHOLDS))


def in_words(v: dict[str, float]) -> list[SurfaceState]:
    """The rule as it is written down, worst first: every state whose own sentence holds."""
    canopy_frozen = v["canopy_temperature"] < FREEZING
    sentences = {
        SurfaceState.SNOW_OR_SLUSH: v["snow_amount"] >= 1.0,
        SurfaceState.ICE_FILM: v["ice_film"] >= 0.1,
        SurfaceState.THAWED_OVER_FROZEN: v["ice_top"] < 0.3 and v["ice_most"] >= 0.3,
        SurfaceState.FROZEN_LAYER: v["ice_least"] >= 0.3,
        SurfaceState.CRUST: v["ice_top"] >= 0.3,
        SurfaceState.WHITE_FROST: canopy_frozen and v["leaf_frost"] >= 0.005,
        SurfaceState.COLD_AND_DRY: canopy_frozen,
        SurfaceState.NEAR_FREEZING: v["coldest"] <= FREEZING + 0.5,
        SurfaceState.OPEN: True,
    }
    return [name for name, holds in sentences.items() if holds]


SHARES = st.sampled_from([0.0, 0.1, 0.29999, 0.3, 0.6, 1.0])
TEMPERATURES = st.sampled_from([FREEZING + d for d in (-8.0, -0.001, 0.0, 0.3, 0.5, 0.501, 12.0)])
ANY = st.fixed_dictionaries(
    {
        "snow_amount": st.sampled_from([0.0, 0.5, 0.999, 1.0, 30.0]),
        "ice_film": st.sampled_from([0.0, 0.0999, 0.1, 2.0]),
        "leaf_frost": st.sampled_from([0.0, 0.00499, 0.005, 0.2]),
        "canopy_temperature": TEMPERATURES | st.floats(230.0, 320.0),
        "ice_top": SHARES | st.floats(0.0, 1.0),
        "ice_least": SHARES | st.floats(0.0, 1.0),
        "ice_most": SHARES | st.floats(0.0, 1.0),
        "coldest": TEMPERATURES | st.floats(230.0, 320.0),
    }
)


@settings(max_examples=600, deadline=None)
@given(ANY)
def test_every_combination_has_one_state_the_first_that_holds(values: dict[str, float]) -> None:
    found = state(**values)
    assert found == SurfaceState(int(found))
    assert SurfaceState(int(found)) == in_words(values)[0]


@pytest.mark.parametrize("wanted", list(SurfaceState), ids=lambda s: s.name)
def test_each_state_is_reached(wanted: SurfaceState) -> None:
    assert state(**REACH[wanted]) == wanted


@settings(max_examples=200, deadline=None)
@given(ANY, st.sampled_from(["snow_amount", "ice_film", "leaf_frost"]))
def test_more_snow_ice_or_frost_is_never_milder(values: dict[str, float], name: str) -> None:
    assert state(**(values | {name: values[name] + 1.0})) >= state(**values)


def test_the_numbers_of_the_states_are_those_of_the_schema() -> None:
    for name in SurfaceState:
        assert getattr(ladder, name.name) == name.value


@pytest.mark.parametrize("name", list(MILD))
def test_an_unknown_input_makes_the_state_unknown(name: str) -> None:
    assert math.isnan(state(**{name: math.nan}))


def test_the_thresholds_rule() -> None:
    mild: dict[str, Any] = MILD | {"snow_amount": 2.0}
    assert surface_state(**mild, thresholds=THRESHOLDS) == SurfaceState.SNOW_OR_SLUSH
    assert surface_state(**mild, thresholds=(3.0, *THRESHOLDS[1:])) == SurfaceState.OPEN
    many = surface_state(**(mild | {"snow_amount": np.array([0.0, 5.0])}), thresholds=THRESHOLDS)
    assert many.tolist() == [SurfaceState.OPEN, SurfaceState.SNOW_OR_SLUSH]
