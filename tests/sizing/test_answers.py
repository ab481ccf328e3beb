"""From windows to chances, money, the smallest system and the frontier: small tables worked out by hand."""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from numpy.testing import assert_allclose
from scipy.stats import binomtest

from microclimate.physics import plant
from microclimate.sizing import answers, money, sensitivity
from microclimate.sizing import options as opt
from microclimate.venue.load import Venue

sys.path.insert(0, str(Path(__file__).parent))
import lawn

NIGHTS = ["2025-12-01", "2025-12-02", "2026-01-01"]
AREA = 2000.0


@dataclass(frozen=True)
class _Site:
    """What answers read of a reduced venue."""

    venue: Venue
    area: dict[str, float]
    heated: tuple[str, ...] = ("pipes",)
    heated_area: float = AREA


def _site(text: str = lawn.TEXT):  # type: ignore[no-untyped-def]
    venue = lawn.venue(text)
    zone = venue.field.zones[0].model_copy(update={"name": "pipes"})
    venue = venue.model_copy(update={"field": venue.field.model_copy(update={"zones": (zone,)})})
    return _Site(venue, {"pipes": AREA})


GRID = opt.Grid((opt.Design(100.0),), (opt.Policy(opt.FROST),), (0, 1))  # no heat, heat; without and with the quilt


def _winter(canopy: float = 275.0, soil: float = 276.0, state: float = 0.0, **given: object) -> xr.Dataset:
    options, events, shifts = 4, 2, 1
    by_event = ("option", "group", "event", "shift")
    by_night = ("option", "group", "night")
    heat = np.zeros((options, 1, 3))
    heat[2:] = 3.6e6  # 1 kWh/m2 a night
    power = np.where(heat > 0, 100.0, 0.0)
    data = {
        "event_canopy": (by_event, np.full((options, 1, events, shifts), canopy)),
        "event_soil": (by_event, np.full((options, 1, events, shifts), soil)),
        "event_state": (by_event, np.full((options, 1, events, shifts), state)),
        "night_canopy": (by_night, np.full((options, 1, 3), canopy)),
        "night_soil": (by_night, np.full((options, 1, 3), soil)),
        "night_state": (by_night, np.full((options, 1, 3), state)),
        "energy": (by_night, heat),
        "power": (by_night, power),
        "heated": (by_night, np.where(heat > 0, 10.0, 0.0)),
        "laid": (("option",), np.array([0.0, 5.0, 0.0, 5.0])),
        "covered_hours": (("option",), np.array([0.0, 60.0, 0.0, 60.0])),
        "air": (("night",), np.full(3, 273.15)),
    } | given
    return xr.Dataset(
        data, coords={"group": ["pipes"], "night": NIGHTS, "event": ["a", "b"], "shift": [0]}, attrs={"winter": "x"}
    )


def test_heat_becomes_fuel_money_and_carbon_dioxide() -> None:
    """6000 kWh of heat at 90 % are 6666.7 kWh of gas; 5 covers laid and lifted by 4 people in 30 min are 20 h."""
    bill = money.bill(_site(), GRID, _winter())
    fuel = 3 * AREA / 0.9
    assert_allclose(bill.fuel / money.JOULES, [0, 0, fuel, fuel])
    assert_allclose(bill.cost, [0, 20 * 30.0, fuel * 0.10, fuel * 0.10 + 600.0])
    # 53.06 kg/mmBtu of natural gas, 40 CFR 98 Table C-1
    assert_allclose(bill.co2[2], fuel * 53.06 / 293.0711, rtol=1e-6)  # digits of the mmBtu
    assert_allclose(bill.peak, 0.0)  # gas has no demand charge


def test_an_electric_plant_pays_for_the_highest_load_of_each_month() -> None:
    text = lawn.TEXT.replace('kind = "gas"\nefficiency = 0.9', 'kind = "electric"').replace(
        "energy = 0.10", "energy = 0.10\ndemand = 5"
    )
    bill = money.bill(_site(text), GRID, _winter())
    assert_allclose(bill.peak[2], 2 * 200.0)  # 100 W/m2 on 2000 m2 in December and in January [kW]
    assert_allclose(bill.cost[2], 6000 * 0.10 + 400 * 5.0)


def test_a_heat_pump_pays_by_the_lift_to_its_supply() -> None:
    """Rated 4.0 at a lift of 28 K; from 0 degC air to 35 degC water the lift is 35 K."""
    text = lawn.TEXT.replace('kind = "gas"\nefficiency = 0.9', 'kind = "heat pump"\nefficiency = 4.0')
    got = money.performance(_site(text), GRID, _winter())
    wanted = 4.0 * plant.heat_pump_air(35.0) / plant.heat_pump_air(28.0)
    assert_allclose(got, wanted)
    assert float(got[0, 0]) < 4.0
    hotter = opt.Grid((opt.Design(100.0, supply=273.15 + 45.0),), GRID.policies, GRID.covers)
    assert (money.performance(_site(text), hotter, _winter()) < got).all()


def test_without_a_price_nothing_is_reckoned() -> None:
    text = lawn.TEXT[: lawn.TEXT.index("[prices]")]
    told = answers.answers(_site(text), GRID, [_winter()])
    assert np.isnan(told["cost"].values).all()
    cost, what = answers.cost_of(told)
    assert what == "heat"
    assert cost[0] == 0.0 < cost[2]


def test_installed_mean_and_highest_power_are_three_numbers() -> None:
    told = answers.answers(_site(), GRID, [_winter()]).isel(option=2, winter=0)
    assert float(told["power"]) == 100.0
    assert float(told["power_max"]) == 100.0
    # 3 kWh/m2 over three days
    assert float(told["power_mean"]) == pytest.approx(3000.0 / 72.0)
    assert float(told["heat_per_area"]) / 3.6e6 == pytest.approx(3.0)
    assert float(told["run_hours"]) == 30.0


@pytest.mark.parametrize(
    ("canopy", "soil", "state", "held"),
    [
        (270.16, 273.66, 2.0, 1.0),  # at the limits, cold and dry
        (270.14, 280.0, 0.0, 0.0),  # leaf 0.01 K below -3 degC
        (280.0, 273.64, 0.0, 0.0),  # root zone 0.01 K below 0.5 degC
        (280.0, 280.0, 3.0, 0.0),  # white frost
        (np.nan, 280.0, 0.0, np.nan),  # not seen to the end
    ],
)
def test_a_window_is_held_when_nothing_passes_a_limit(canopy: float, soil: float, state: float, held: float) -> None:
    told = answers.answers(_site(), GRID, [_winter(canopy, soil, state)])
    assert_allclose(told["held"].values, held)


@pytest.mark.parametrize(("hits", "trials"), [(5, 10), (0, 10), (10, 10), (17, 20), (3, 510)])
def test_the_range_of_a_share_is_that_of_an_independent_library(hits: int, trials: int) -> None:
    low, high = answers.wilson(np.array([hits / trials]), np.array([trials]))
    other = binomtest(hits, trials).proportion_ci(0.8, method="wilson")
    assert_allclose([low[0], high[0]], [other.low, other.high], atol=1e-12)


def _told(held: list[float], cost: list[float], power: list[float]) -> xr.Dataset:
    return xr.Dataset(
        {
            "unfrozen": ("option", np.array(held)),
            "held": ("option", held),
            "cost": (("option", "winter"), np.array(cost)[:, None]),
        },
        coords={"power": ("option", power), "cover": ("option", ["", "quilt", "", "quilt"])},
    )


def test_each_limit_is_told_by_itself_and_dearer_fuel_leaves_the_crew_alone() -> None:
    """Leaf a kelvin below its limit, the ground above its own: the leaf alone decides."""
    site = _site()
    winter = _winter(canopy=site.venue.limits.canopy_min - 1.0)
    told = answers.answers(site, GRID, [winter])
    assert told["limit"].values.tolist() == ["canopy", "root zone", "surface"]
    assert_allclose(told["held_by_limit"].values, [[0.0, 1.0, 1.0]] * 4)
    assert_allclose(told["held_by_event"].values, 0.0)
    dearer = sensitivity.dearer(site, GRID, [winter], 1.25)
    assert dearer is not None
    rise = dearer["cost"].values - told["cost"].values
    assert_allclose(rise[:2], 0.0)  # without heat
    assert_allclose(rise[2:, 0], 0.25 * 0.10 * 3.0 * AREA / 0.9)  # 3 nights of 1 kWh/m2 at 0.10 and 90 %
    assert sensitivity.dearer(_site(lawn.TEXT.split("[prices]")[0]), GRID, [winter], 1.25) is None


def test_the_smallest_system_is_the_least_power_that_holds_then_the_cheapest() -> None:
    told = _told([0.2, 0.6, 0.9, 0.95], [0.0, 500.0, 900.0, 1200.0], [0.0, 0.0, 120.0, 80.0])
    assert answers.smallest(told, 0.85) == 3
    assert answers.smallest(told, 0.5) == 1  # a cover alone
    assert answers.smallest(told, 0.99) is None
    assert answers.nearest(told) == 3
    told["held"] = "option", np.zeros(4)  # none helps: the least often frozen, not the cheapest
    assert answers.nearest(told) == 3


def test_no_option_on_the_frontier_is_bettered_by_another() -> None:
    rng = np.random.default_rng(3)
    held, cost = rng.uniform(size=4), rng.uniform(size=4)
    told = _told(list(held), list(cost), [1.0, 2.0, 3.0, 4.0])
    front = answers.frontier(told)
    for one in front:
        assert not ((held >= held[one]) & (cost <= cost[one]) & ((held > held[one]) | (cost < cost[one]))).any()
    for other in set(range(4)) - set(front):
        assert ((held >= held[other]) & (cost <= cost[other])).sum() > 1
