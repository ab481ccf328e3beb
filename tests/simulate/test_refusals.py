"""What a run refuses at its border, each with where, found, wanted and cure."""

import numpy as np
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.simulate import run
from tests.simulate import world as w


def _loop(**given: object) -> dict[str, object]:
    return {"name": "loop", "kind": "hydronic", "supply_temperature": 35} | given


def _refused(world: object, plan: xr.Dataset, initial: xr.Dataset | None = None) -> str:
    with pytest.raises(InputError) as told:
        run.outcome(
            world, [w.forcing(2.0)], initial if initial is not None else w.initial(world), plan, [w.window(0, 2)]
        )
    assert told.value.exit_code == 2
    return str(told.value)


def test_heat_without_a_circuit() -> None:
    venue = w.venue()
    assert "zone A: heating without a circuit; wanted heating_allowed 0" in _refused(
        venue, w.plan(venue, heating_allowed=1.0)
    )


def test_a_set_point_above_the_ceiling() -> None:
    venue = w.venue(w.zone(circuit="loop"), circuits=[_loop(ceiling=12)])
    told = _refused(venue, w.plan(venue, heating_allowed=1.0, set_point=291.15))
    assert "set point 18.0 degC; wanted at most the ceiling, 12.0 degC" in told


def test_a_probe_and_pipes_below_the_profile() -> None:
    venue = w.venue(
        w.zone(build="tray", base="tray over still air", circuit="loop"), circuits=[_loop(depth=0.3, probe_depth=0.4)]
    )
    told = _refused(venue, w.plan(venue))
    assert "probe at 0.4 m, below the profile" in told
    assert "pipes at 0.3 m, below the profile" in told
    assert "2 things to mend" in told


def test_more_layers_than_the_column_has() -> None:
    whole = w.zone()
    venue = w.venue(whole.model_copy(update={"layers": (*whole.layers, *[whole.layers[-1]] * 40)}))
    with pytest.raises(InputError, match=r"zone A: 4. layers; wanted 1 to 20"):
        run.outcome(venue, [w.forcing(2.0)], w.initial(w.venue()), w.plan(venue), [w.window(0, 2)])


def test_too_few_first_states() -> None:
    venue = w.venue()
    with pytest.raises(InputError, match="2 realizations; wanted 1 or at least 3"):
        run.outcome(
            venue, [w.forcing(2.0, realizations=3)], w.initial(venue, realizations=2), w.plan(venue), [w.window(0, 2)]
        )


def test_no_forcing_at_all() -> None:
    venue = w.venue()
    with pytest.raises(InputError, match="no realizations"):
        run.outcome(venue, [], w.initial(venue), w.plan(venue), [w.window(0, 2)])


def test_end_states_want_no_gap() -> None:
    venue = w.venue()
    broken = w.forcing(2.0)
    broken["wind_speed"][..., -3:] = np.nan
    with pytest.raises(InputError, match="3 steps at the end miss values; wanted no gap"):
        run.final_states(venue, [broken], w.initial(venue))


def test_a_first_state_with_a_gap() -> None:
    venue = w.venue()
    start = w.initial(venue)
    start["soil_temperature"][0, 0, 3] = np.nan
    with pytest.raises(InputError, match="soil_temperature"):
        run.outcome(venue, [w.forcing(2.0)], start, w.plan(venue), [w.window(0, 2)])


def test_a_plan_for_other_zones() -> None:
    venue = w.venue()
    plan = w.plan(venue).assign_coords(zone=["elsewhere"])
    with pytest.raises(InputError, match="zone A"):
        run.outcome(venue, [w.forcing(2.0)], w.initial(venue), plan, [w.window(0, 2)])


def test_a_cover_the_venue_does_not_have() -> None:
    venue = w.venue(covers=[{"name": "blanket", "kind": "insulated"}])
    assert "cover 3; wanted 0 to 1" in _refused(venue, w.plan(venue, cover=3.0))
