"""What ground, grass, covers and heat do: directions that any model must have, and each surface state reached."""

from typing import Any

import numpy as np
import pytest
import xarray as xr

from microclimate.schema import STATE_NAMES
from microclimate.simulate import run
from tests.simulate import world as w

HOURS = 14.0


def _told(
    venue: Any = None, hours: float = HOURS, start: dict[str, Any] | None = None, plan: Any = None, **sky: Any
) -> xr.Dataset:
    """Outcome of one patch under one plan."""
    venue = venue or w.venue()
    plan = plan if plan is not None else w.plan(venue)
    told, _ = run.outcome(
        venue, [w.forcing(hours, **sky)], w.initial(venue, **(start or {})), plan, [w.window(0, hours)]
    )
    return told.isel(plan=0, realization=0, patch=0, event=0)


def _canopy(**case: Any) -> float:
    return float(_told(**case)["canopy_temperature_min"]) - 273.15


def test_more_cloud_is_warmer() -> None:
    coldest = [_canopy(longwave_sky_down=sky) for sky in (220.0, 250.0, 280.0, 310.0)]
    assert np.all(np.diff(coldest) > 0.5)


def test_wind_under_a_clear_sky_warms_the_canopy() -> None:
    coldest = [_canopy(wind_speed=wind) for wind in (0.5, 2.0, 4.0, 8.0)]
    assert np.all(np.diff(coldest) > 0.0)
    assert coldest[-1] > coldest[0] + 2.0


def test_damp_air_is_warmer() -> None:
    assert _canopy(dew_point=270.5) > _canopy(dew_point=265.0) + 0.3


def test_wet_sand_freezes_later() -> None:
    """Hours of frozen layer in a night that freezes both: fewer where the sand is wet."""
    frozen = []
    for water in (0.08, 0.30):
        venue = w.venue(w.zone(build="sand over gravel", water_content=water))
        told = _told(venue, hours=40.0, start={"soil_temperature": 274.15}, air_temperature=266.0, dew_point=262.0)
        frozen.append(float(told["hours_in_state"].sel(state="frozen layer")))
    assert frozen[1] < frozen[0] - 1.0


def test_a_cover_keeps_the_leaf_warmer_and_the_better_one_more() -> None:
    covers = [{"name": "fleece", "kind": "permeable"}, {"name": "blanket", "kind": "insulated"}]
    venue = w.venue(covers=covers)
    coldest = [_canopy(venue=venue, plan=w.plan(venue, cover=kind)) for kind in (0.0, 1.0, 2.0)]
    assert coldest[1] > coldest[0] + 0.5
    assert coldest[2] > coldest[1] + 2.0


def test_a_raised_cover_with_warm_air_warms_more() -> None:
    venue = w.venue(covers=[{"name": "tent", "kind": "raised"}])
    still = _canopy(venue=venue, plan=w.plan(venue, cover=1.0, cover_raised=1.0))
    blown = _canopy(
        venue=venue, plan=w.plan(venue, cover=1.0, cover_raised=1.0, warm_air_flow=0.005, warm_air_temperature=298.0)
    )
    assert blown > still + 2.0


def test_a_tray_over_draught_is_colder_than_one_over_still_air_and_skirts_help() -> None:
    coldest = []
    for base, closed in (
        ("tray over draughty air", 0.0),
        ("tray over draughty air", 1.0),
        ("tray over still air", 0.0),
    ):
        venue = w.venue(w.zone(build="tray", base=base))
        plan = w.plan(venue, skirts_closed=closed)
        told = _told(venue, hours=8.0, plan=plan, under_tray_air_temperature=268.0)
        coldest.append(float(told["soil_temperature_min"].sel(depth=0.1)))
    assert coldest[0] < coldest[1] - 0.1
    assert coldest[1] == pytest.approx(coldest[2], abs=0.05)


def _heated(circuit: dict[str, Any] | None = None, zone: dict[str, Any] | None = None) -> Any:
    loop = {"name": "loop", "kind": "hydronic", "supply_temperature": 35, "probe_depth": 0.1, "depth": 0.15} | (
        circuit or {}
    )
    return w.venue(w.zone(circuit="loop", **(zone or {})), circuits=[loop])


def test_heat_holds_its_probe_and_costs_energy() -> None:
    venue = _heated({"power": 400})
    plan = w.plan(venue, heating_allowed=1.0, set_point=278.15)
    told = _told(venue, hours=30.0, plan=plan, start={"soil_temperature": 278.15})
    assert float(told["soil_temperature_min"].sel(depth=0.1)) == pytest.approx(278.15, abs=0.02)
    assert float(told["heating_energy"]) > 1e6
    assert float(told["heating_power_max"]) < 400.0


def test_power_stays_within_the_plant() -> None:
    venue = _heated({"power": 40})
    told = _told(venue, plan=w.plan(venue, heating_allowed=1.0, set_point=283.15))
    assert float(told["heating_power_max"]) == pytest.approx(40.0)
    assert float(told["heating_energy"]) == pytest.approx(40.0 * HOURS * 3600.0, rel=1e-6)


def test_no_heat_before_the_lag_is_over() -> None:
    venue = _heated({"power": 100, "lag": 4})
    told = _told(venue, plan=w.plan(venue, heating_allowed=1.0, set_point=283.15))
    assert float(told["heating_energy"]) == pytest.approx(100.0 * (HOURS - 4.0) * 3600.0, rel=1e-6)
    assert float(told["heating_hours"]) == pytest.approx(HOURS - 4.0)


def test_the_set_point_rises_no_faster_than_the_ramp() -> None:
    slow = _told(_heated({"power": 300, "ramp": 2}), plan=w.plan(_heated(), heating_allowed=1.0, set_point=283.15))
    fast = _told(_heated({"power": 300}), plan=w.plan(_heated(), heating_allowed=1.0, set_point=283.15))
    assert float(slow["heating_energy"]) < 0.7 * float(fast["heating_energy"])


def test_thermostat_energy_hardly_depends_on_the_step() -> None:
    """10 min against 20 s over two days: heat within 0.3 % (bar of the project)."""
    venue = _heated({"power": 400, "depth": 0.10, "probe_depth": 0.06})
    plan = w.plan(venue, heating_allowed=1.0, set_point=281.15)
    heat = []
    for step in (600.0, 20.0):
        hours = (np.arange(round(48 * 3600 / step)) + 0.5) * step / 3600.0
        forcing = w.forcing(48.0, step, air_temperature=271.0 + 4.0 * np.sin(2.0 * np.pi * hours / 24.0))
        told, _ = run.outcome(venue, [forcing], w.initial(venue), plan, [w.window(0, 48)])
        heat.append(float(told["heating_energy"].squeeze()))
    assert heat[0] == pytest.approx(heat[1], rel=0.003)


@pytest.mark.parametrize(
    ("state", "air", "dew", "sky", "wind", "more"),
    [
        ("open", 283.0, 278.0, 340.0, 4.0, {}),
        ("near freezing", 274.4, 272.0, 300.0, 1.0, {}),
        ("cold and dry", 271.5, 258.0, 290.0, 4.0, {}),
        ("white frost", 272.5, 271.5, 230.0, 1.0, {}),
        ("crust", 266.0, 255.0, 230.0, 1.0, {"start": {"soil_temperature": 274.0}}),
        ("frozen layer", 258.0, 250.0, 230.0, 1.0, {"start": {"soil_temperature": 273.6}, "hours": 60.0}),
        ("ice film", 272.0, 271.5, 300.0, 1.0, {"precipitation_flux": 2e-4}),
        ("snow or slush", 271.0, 269.0, 230.0, 1.0, {"precipitation_flux": 3e-4, "snowfall_flux": 3e-4}),
    ],
)
def test_each_state_is_reached(
    state: str, air: float, dew: float, sky: float, wind: float, more: dict[str, Any]
) -> None:
    told = _told(air_temperature=air, dew_point=dew, longwave_sky_down=sky, wind_speed=wind, **more)
    assert float(told["hours_in_state"].sel(state=state)) > 0.5


def test_thaw_over_frozen_is_reached() -> None:
    """A frozen profile under a mild, sunny day."""
    start = {"soil_temperature": 270.0, "frozen_fraction": 1.0, "canopy_temperature": 270.0}
    told = _told(hours=10.0, start=start, air_temperature=281.0, dew_point=276.0, shortwave_sun_down=400.0)
    assert float(told["hours_in_state"].sel(state="thawed over frozen")) > 0.5


def test_hours_in_states_make_the_window() -> None:
    told = _told(longwave_sky_down=260.0)
    assert float(told["hours_in_state"].sum()) == pytest.approx(HOURS)
    assert STATE_NAMES[int(told["worst_surface_state"])] in STATE_NAMES


def test_light_snow_thaws_to_slush_and_freezes_again() -> None:
    """2.5 kg/m2 of snow, a mild afternoon that wets it, a cold night: it lies, carries water, and is ice again."""
    clock = (np.arange(288) + 1) / 12.0
    venue = w.venue()
    forcing = w.forcing(
        24.0,
        air_temperature=np.where(clock < 10.0, 275.5, 266.0),
        dew_point=np.where(clock < 10.0, 273.0, 262.0),
        longwave_sky_down=np.where(clock < 10.0, 290.0, 220.0),
    )
    start = w.initial(venue, snow_amount=2.5, snow_depth=0.02, canopy_temperature=272.0, soil_temperature=273.5)
    _, states = run.outcome(venue, [forcing], start, w.plan(venue), [w.window(0, 24)], states=[(0, 0)])
    assert states is not None
    one = states.isel(plan=0, realization=0, patch=0)
    snow = one["snow_amount"].values + one["leaf_water"].values + one["leaf_frost"].values
    assert snow.max() < 2.6
    assert snow[-1] > 0.1
    assert float(one["canopy_temperature"][-1]) < 273.0
    assert float(one["leaf_water"][-1]) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("step", [300.0, 600.0, 1800.0, 3600.0])
@pytest.mark.parametrize(
    ("air", "dew", "sun", "wind", "sky"),
    [(298.0, 285.0, 1000.0, 0.1, 350.0), (233.15, 230.0, 0.0, 0.2, 140.0), (323.15, 290.0, 900.0, 1.0, 450.0)],
)
def test_hard_weather_is_finite_and_does_not_alternate(
    air: float, dew: float, sun: float, wind: float, sky: float, step: float
) -> None:
    """Steady hard weather: after four hours the canopy moves one way, by no more than 0.05 K back and forth."""
    venue = w.venue()
    forcing = w.forcing(
        24.0,
        step,
        air_temperature=air,
        dew_point=dew,
        shortwave_sun_down=sun,
        wind_speed=wind,
        longwave_sky_down=sky,
    )
    _, states = run.outcome(venue, [forcing], w.initial(venue), w.plan(venue), [w.window(0, 24)], states=[(0, 0)])
    assert states is not None
    canopy = states["canopy_temperature"].values.ravel()
    assert np.isfinite(canopy).all()
    later = np.diff(canopy[round(4 * 3600 / step) :])
    swings = np.minimum(abs(later[1:]), abs(later[:-1]))[later[1:] * later[:-1] < 0.0]
    assert swings.max(initial=0.0) < 0.05


def test_gusts_are_finite() -> None:
    venue = w.venue()
    wind = np.where(np.arange(24 * 12) % 2, 0.1, 8.0)
    told = _told(venue, hours=24.0, wind_speed=wind, shortwave_sun_down=500.0)
    assert np.isfinite(float(told["canopy_temperature_min"]))


def test_an_edge_module_with_an_open_side_is_colder() -> None:
    coldest = []
    for base in ({"kind": "tray over still air"}, {"kind": "tray over still air", "open_side": 0.6}):
        venue = w.venue(w.zone(build="tray", base=base))
        told = _told(venue, hours=10.0, under_tray_air_temperature=274.0, air_temperature=268.0, dew_point=264.0)
        coldest.append(float(told["soil_temperature_min"].sel(depth=0.1)))
    assert coldest[1] < coldest[0] - 0.3


def test_warm_air_below_trays_warms_them_and_closed_skirts_keep_it() -> None:
    venue = w.venue(w.zone(build="tray", base="tray over draughty air"))
    warmth = []
    for flow, closed in ((0.0, 0.0), (0.01, 0.0), (0.01, 1.0)):
        plan = w.plan(venue, warm_air_flow=flow, warm_air_temperature=298.0, skirts_closed=closed)
        told = _told(venue, hours=24.0, plan=plan, under_tray_air_temperature=270.0)
        warmth.append(float(told["soil_temperature_min"].sel(depth=0.1)))
    assert warmth[1] > warmth[0] + 0.5
    assert warmth[2] > warmth[1] + 0.3


def test_an_on_off_plant_swings_and_spends_alike() -> None:
    """Band of 1 K: the heat is all or nothing, its sum over two days within 5 % of a modulating plant's."""
    heat = []
    for band in (0.0, 1.0):
        venue = _heated({"power": 300, "depth": 0.10, "probe_depth": 0.06, "hysteresis": band})
        plan = w.plan(venue, heating_allowed=1.0, set_point=279.15)
        told, states = run.outcome(venue, [w.forcing(48.0)], w.initial(venue), plan, [w.window(0, 48)], states=[(0, 0)])
        assert states is not None
        power = states["heating_power"].values.ravel()
        heat.append(float(told["heating_energy"].squeeze()))
    assert (np.diff((power > 0.0).astype(int)) != 0).sum() > 4
    assert np.isin(power.round(6), [0.0, power.max().round(6)]).mean() > 0.9
    assert heat[1] == pytest.approx(heat[0], rel=0.05)


def test_dry_sand_round_the_pipes_takes_less_heat() -> None:
    heat = []
    for drying in (0.0, 0.8):
        venue = _heated({"power": 1000, "drying": drying})
        told = _told(
            venue, hours=24.0, plan=w.plan(venue, heating_allowed=1.0, set_point=293.0, supply_temperature=295.0)
        )
        heat.append(float(told["heating_energy"]))
    assert heat[1] < 0.9 * heat[0]


def test_the_sky_sees_the_top() -> None:
    """The surface is the leaf where it is bare, the colder skin of the snow or the cover where one lies."""
    venue = w.venue(covers=[{"name": "blanket", "kind": "insulated"}])
    warmer = []
    for start, cover in (({}, 0.0), ({"snow_amount": 20.0, "snow_depth": 0.12}, 0.0), ({}, 1.0)):
        initial = w.initial(venue, canopy_temperature=272.5, **start)
        plan = w.plan(venue, cover=cover)
        _, states = run.outcome(venue, [w.forcing(10.0)], initial, plan, [w.window(0, 10)], states=[(0, 0)])
        assert states is not None
        last = states.isel(plan=0, realization=0, patch=0, time=-1)
        warmer.append(float(last["canopy_temperature"] - last["surface_temperature"]))
    assert warmer[0] == 0.0
    assert warmer[1] > 3.0
    assert warmer[2] > 3.0
