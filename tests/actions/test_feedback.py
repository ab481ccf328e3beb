"""A heated field warms the bowl's air: the plan advised is judged under the air it makes itself."""

from dataclasses import replace
from datetime import datetime

import air_venue
import numpy as np
import pytest
from air_nights import clear_night

from microclimate.actions import case as cases
from microclimate.actions import feedback
from microclimate.actions.choice import NOTHING, Choice, Spell
from microclimate.constants import ZERO_CELSIUS
from microclimate.exposure.force import forcing
from microclimate.schema import Event
from microclimate.simulate import start
from microclimate.venue import load

NIGHT = Event("night", datetime(2025, 1, 15, 21), datetime(2025, 1, 16, 12), "night")


COVER = """
[[cover]]
name = "quilt"
kind = "insulated"
people = 10
minutes = 70
[crew]
people = 10
"""
HEAT = Choice(heat=(1,), boost=10.0)  # towards the ceiling
LIFTED = replace(HEAT, spells=(Spell(1, 2, 16),))  # covered until the middle of the night


@pytest.mark.parametrize(("plan", "most"), [(HEAT, 0.2), (LIFTED, 0.3)], ids=["open", "covered until midnight"])
def test_a_heated_field_on_a_calm_night_is_fed_back_and_one_pass_is_enough(plan: Choice, most: float) -> None:
    """Warmer air, a canopy warmer by no more than the 0.2 to 0.3 K that one-way neglects; a second pass moves 0.05 K.

    The initial ground is warm, so that the heat comes through: as in `tests/exposure/test_air.py`, where the same is
    found without a plan's case about it.
    """
    place, series = load.text(air_venue.text("closed") + COVER), clear_night(0.5, members=2)
    force = forcing(place, series, air_venue.bowl("closed"))
    initial = start.states(place, force.patches, 2, series["time"].values[0])
    warm = ZERO_CELSIUS + 18.0 - 16.0 * np.exp(-initial["depth"] / 0.1)
    initial = initial.assign(soil_temperature=np.maximum(initial["soil_temperature"], warm))
    case = cases.case(place, list(force), initial, [NIGHT], datetime(2025, 1, 15, 21, 30))
    flux = feedback.field_flux(case, plan)
    assert dict(flux.sizes) == {"realization": 2, "time": len(force.steps.time)}
    idle = feedback.field_flux(case, NOTHING)
    assert float((flux - idle)["sensible_heat_up"].isel(time=slice(100, 150)).min()) > 2.0

    def again(flux_of: object) -> object:
        return replace(force, field_flux=flux_of)

    once = feedback.fed(case, plan, again)
    twice = feedback.fed(once, plan, again)
    air = [np.concatenate([b["air_temperature"].values for b in c.blocks]) for c in (case, once, twice)]
    assert (air[1] - air[0])[..., 100:150].mean() > 0.2
    lowest = [c.table([plan], everywhere=True).lowest for c in (case, once, twice)]
    gain = lowest[1] - lowest[0]
    assert (gain > 0.0).all()
    assert (gain < most).all()
    assert np.abs(lowest[2] - lowest[1]).max() < 0.05
