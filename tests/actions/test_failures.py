"""Heat that stops: hour by hour against single runs, what the cover buys, and fuel against arithmetic."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from microclimate.actions import failures
from microclimate.actions.case import Case
from microclimate.actions.choice import Choice, Spell
from microclimate.schema import SurfaceState
from microclimate.simulate import run
from tests.actions import problem as p

HEAT = Choice(heat=(0,), boost=8.0)
HALF = timedelta(minutes=30)


def told(after: Any) -> datetime:
    """As an hour; one that is not passed is later than all."""
    return datetime.max if after == "holds" else after


@pytest.fixture(scope="module")
def cold() -> Case:
    return p.problem(air=256.0, sky=180.0, spread=4.0, members=19)


@pytest.fixture(scope="module")
def found(cold: Case) -> tuple[failures.Failure, ...]:
    return failures.failures(cold, HEAT, 8)


def test_the_field_holds_longer_the_later_the_heat_stops(found: tuple[failures.Failure, ...]) -> None:
    assert found[0].when is None
    frozen = [told(stop.with_cover[2].after) for stop in found[1:]]
    assert len(set(frozen)) > 1
    assert frozen == sorted(frozen)
    chances = [stop.with_cover[2].chance for stop in found[1:]]
    assert chances == sorted(chances, reverse=True)
    assert found[0].with_cover[2].chance <= chances[-1]
    assert all(one.after in ("holds",) or one.after >= stop.when for stop in found[1:] for one in stop.with_cover)


def test_the_hour_told_is_that_of_the_runs_themselves(cold: Case, found: tuple[failures.Failure, ...]) -> None:
    """Each realization run alone with its states: the second of nineteen to freeze is told, 2/20 being 10 %."""
    stop = found[1]
    assert stop.when is not None
    hour = round((stop.when - p.BEGIN) / HALF)
    plan = cold.dataset([HEAT], hour)
    pairs = [(0, r) for r in range(19)]
    initial = cold.initial.isel(patch=cold.patches)
    states = run.outcome(cold.venue, cold.few, initial, plan, cold.windows, states=pairs, single=True)[1]
    assert states is not None
    state = states["surface_state"].isel(plan=0).transpose("realization", "patch", "time").values.max(axis=1)
    time = states["time"].values.astype("datetime64[us]").astype(object)
    first = sorted(
        next((t for t, s in zip(time, row, strict=True) if t > stop.when and s >= SurfaceState.FROZEN_LAYER), None)
        or datetime.max
        for row in state
    )
    assert np.isfinite([t.year for t in first]).all()
    after = stop.with_cover[2].after
    assert isinstance(after, datetime)
    assert after <= first[1] <= after + HALF
    hits = sum(t < datetime.max for t in first)
    assert stop.with_cover[2].chance == pytest.approx((hits + 0.5) / 20)


def test_a_cover_buys_time_when_the_heat_stops() -> None:
    case = p.problem(air=254.0, sky=180.0, spread=4.0, members=19)
    cover = Choice((Spell(2, min(case.allow.lay[1]), max(case.allow.lift[1])),), (0,), 4.0)
    hours = [stop for stop in failures.failures(case, cover, 8) if stop.when is not None]
    on, off = (case.clock.begins(slot) for slot in (cover.spells[0].on, cover.spells[0].off - 8))
    under = [stop for stop in hours if stop.when is not None and on <= stop.when < off]
    assert under
    for stop in under:
        assert told(stop.with_cover[1].after) >= told(stop.without[1].after)
        assert stop.with_cover[2].chance <= stop.without[2].chance
    assert any(told(stop.with_cover[2].after) > told(stop.without[2].after) for stop in under)


def test_where_wind_forbids_the_cover_it_buys_nothing() -> None:
    case = p.problem(air=256.0, sky=180.0, members=19, gust=40.0)
    cover = Choice((Spell(2, min(case.allow.lay[1]), max(case.allow.lift[1])),), (0,), 4.0)
    for stop in failures.failures(case, cover, 12):
        assert stop.with_cover == stop.without


def test_eight_realizations_are_too_few_to_be_90_per_cent_sure() -> None:
    hours = failures.failures(p.problem(air=256.0, sky=180.0), HEAT, 12)
    assert {one.after for stop in hours for one in stop.with_cover if one.chance > 0.5} == {"unknown"}
    assert any(one.chance > 0.5 for stop in hours for one in stop.with_cover)


def test_without_heat_there_is_nothing_to_stop() -> None:
    assert failures.failures(p.problem(), Choice()) == ()


def electric(fuel: str, kind: str = "electric") -> Any:
    return p.venue({"kind": kind, "efficiency": 0.8, "fuel": fuel})


def test_fuel_lasts_as_long_as_arithmetic_says() -> None:
    """100 m2 at 120 W/m2 take 12 kW, at an efficiency of 0.8 15 kW: 30 kWh are two hours of full load.

    The set point, 11 degC, is far above the ground's 4 degC: the first two hours it does.
    """
    case = p.problem(air=262.0, members=19, made=electric("30 kWh"))
    found = failures.fuel(case, HEAT)
    assert found is not None
    assert found.on_hand == pytest.approx(30.0)
    assert found.full_load == pytest.approx(2.0)
    assert found.until in (p.BEGIN + 2 * timedelta(hours=1) - HALF, p.BEGIN + timedelta(hours=2))
    assert found.wanted == pytest.approx(float(case.table([HEAT]).energy[0].mean()), rel=0.02)


def test_plenty_of_fuel_lasts_and_what_is_not_burnt_is_not_told() -> None:
    much = failures.fuel(p.problem(members=19, made=electric("5000 kWh")), HEAT)
    assert much is not None
    assert much.until == "holds"
    assert failures.fuel(p.problem(made=electric("30 kWh", "gas")), HEAT) is None  # a cable burns no gas
    assert failures.fuel(p.problem(made=electric("30 kWh")), Choice()) is None
    assert failures.fuel(p.problem(made=p.venue({"kind": "gas"})), HEAT) is None


def test_more_fuel_never_runs_out_sooner() -> None:
    case = p.problem(air=262.0, members=19, made=electric("30 kWh"))
    plant = case.venue.equipment.plant
    assert plant is not None
    until = []
    for kwh in (10.0, 30.0, 60.0, 90.0):
        kit = case.venue.equipment.model_copy(update={"plant": plant.model_copy(update={"fuel": kwh * 3.6e6})})
        made = type(case.venue)(**{**vars(case.venue), "equipment": kit})
        one = failures.fuel(replace(case, venue=made), HEAT)
        assert one is not None
        until.append(told(one.until))
    assert until == sorted(until)
    assert until[0] < until[-1]
