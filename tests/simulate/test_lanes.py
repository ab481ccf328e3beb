"""The same bits whatever the company, the order, the chunks and the threads; float32; memory."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest
import xarray as xr

from microclimate.column import jit
from microclimate.simulate import run
from tests.simulate import world as w

PATCHES, REALIZATIONS, HOURS = 5, 8, 20.0
ZONES = [0, 1, 2, 0, 1]


def _world() -> Any:
    circuits = [{"name": "loop", "kind": "hydronic", "supply_temperature": 35, "set_point": 5}]
    covers = [{"name": "blanket", "kind": "insulated"}]
    zones = (
        w.zone("A", circuit="loop"),
        w.zone("B", build="tray", base="tray over draughty air"),
        w.zone("C", build="native soil", water_content=0.35),
    )
    return w.venue(*zones, covers=covers, circuits=circuits)


def _case(hours: float = HOURS) -> tuple[Any, xr.Dataset, xr.Dataset, xr.Dataset]:
    """A spell with everything in it: frost, rain, snow, sun, a cover, heat."""
    venue = _world()
    rng = np.random.default_rng(5)
    clock = (np.arange(round(hours * 12)) + 1) / 12.0
    member = rng.normal(0.0, 2.0, (REALIZATIONS, 1, 1))
    forcing = w.forcing(
        hours,
        patches=PATCHES,
        realizations=REALIZATIONS,
        zone_index=ZONES,
        air_temperature=271.0 + 4.0 * np.sin(clock / 4.0) + member,
        dew_point=268.0 + 3.0 * np.sin(clock / 4.0) + member,
        wind_speed=rng.uniform(0.2, 4.0, (REALIZATIONS, PATCHES, clock.size)),
        shortwave_sun_down=np.clip(400.0 * np.sin((clock - 12.0) / 2.0), 0.0, None) * (clock > 12.0),
        longwave_sky_down=rng.uniform(210.0, 320.0, (REALIZATIONS, 1, clock.size)),
        precipitation_flux=np.where((clock > 5.0) & (clock < 9.0), 3e-4, 0.0),
        snowfall_flux=np.where((clock > 7.0) & (clock < 9.0), 3e-4, 0.0),
    )
    initial = w.initial(venue, PATCHES, REALIZATIONS, ZONES, soil_temperature=274.5)
    cover = np.array([0.0, 0.0, 1.0])[:, None, None] * np.ones((3, 3, 1))
    allowed = np.array([0.0, 1.0, 1.0])[:, None, None] * np.array([1.0, 0.0, 0.0])[None, :, None]
    plan = w.plan(venue, ("nothing", "heat", "both"), cover=cover, heating_allowed=allowed, set_point=278.15)
    return venue, forcing, initial, plan


def _run(venue: Any, blocks: list[xr.Dataset], initial: xr.Dataset, plan: xr.Dataset, **options: Any) -> xr.Dataset:
    told, _ = run.outcome(venue, blocks, initial, plan, [w.window(0.0, HOURS)], **options)
    return told


@pytest.fixture(scope="module")
def whole() -> xr.Dataset:
    venue, forcing, initial, plan = _case()
    return _run(venue, [forcing], initial, plan)


def _same(a: xr.Dataset, b: xr.Dataset) -> None:
    for name in a.data_vars:
        np.testing.assert_array_equal(a[name].values, b[name].values, err_msg=str(name))


def test_everything_is_on(whole: xr.Dataset) -> None:
    assert whole["heating_energy"].sel(plan="heat").max() > 1e5
    assert (whole["hours_in_state"].sel(state="snow or slush") > 0.5).any()
    assert (whole["canopy_temperature_min"].sel(plan="both") > whole["canopy_temperature_min"].sel(plan="heat")).all()
    assert (whole["coverage"] > 1.0 - 1e-9).all()


def test_chunks_of_realizations(whole: xr.Dataset) -> None:
    venue, forcing, initial, plan = _case()
    blocks = [forcing.isel(realization=slice(i, i + 3)) for i in range(0, REALIZATIONS, 3)]
    _same(whole, _run(venue, blocks, initial, plan))


def test_order_of_patches_and_plans(whole: xr.Dataset) -> None:
    venue, forcing, initial, plan = _case()
    patches, plans = [3, 0, 4, 1, 2], [2, 0, 1]
    told = _run(venue, [forcing.isel(patch=patches)], initial.isel(patch=patches), plan.isel(plan=plans))
    _same(whole.isel(patch=patches, plan=plans), told)


def test_one_thread(whole: xr.Dataset) -> None:
    venue, forcing, initial, plan = _case()
    _same(whole, _run(venue, [forcing], initial, plan, serial=True))


@pytest.mark.parametrize("threads", [2, 3, 16])
def test_any_number_of_threads(whole: xr.Dataset, monkeypatch: pytest.MonkeyPatch, threads: int) -> None:
    venue, forcing, initial, plan = _case()
    monkeypatch.setattr(jit, "THREADS", threads)
    _same(whole, _run(venue, [forcing], initial, plan))


def test_two_calls_at_once(whole: xr.Dataset) -> None:
    """As a server has them: neither waits for the other, nor disturbs it."""
    venue, forcing, initial, plan = _case()
    with ThreadPoolExecutor(2) as pool:
        for done in [pool.submit(_run, venue, [forcing], initial, plan) for _ in range(2)]:
            _same(whole, done.result())


def test_float32(whole: xr.Dataset) -> None:
    """Against float64: canopy and soil minima within 0.02 K (found 1e-3), heat within 0.5 %."""
    venue, forcing, initial, plan = _case()
    told = _run(venue, [forcing], initial, plan, single=True)
    for name in ("canopy_temperature_min", "soil_temperature_min"):
        assert abs(told[name] - whole[name]).max() < 0.02, name
    heat = whole["heating_energy"].sel(plan="heat").sum()
    assert abs(told["heating_energy"].sel(plan="heat").sum() / heat - 1.0) < 0.005


def test_states_agree_with_the_outcome(whole: xr.Dataset) -> None:
    venue, forcing, initial, plan = _case()
    _, states = run.outcome(venue, [forcing], initial, plan, [w.window(0.0, HOURS)], states=[(1, 2)])
    assert states is not None
    lowest = states["canopy_temperature"].isel(plan=0, realization=0).min("time")
    wanted = whole["canopy_temperature_min"].isel(plan=1, realization=2, event=0)
    np.testing.assert_allclose(lowest.values, wanted.values, rtol=0.0, atol=1e-9)


def test_two_halves_make_the_whole() -> None:
    """A run to the middle and on from its end states is the run: what travels is the whole state of the ground.

    Snow's albedo and the split of skin and layer are set anew, so dry weather is taken; 1e-6 K.
    """
    venue = w.venue(w.zone("A"))
    clock = (np.arange(240) + 1) / 12.0
    forcing = w.forcing(20.0, air_temperature=271.0 + 4.0 * np.sin(clock / 4.0), dew_point=269.0)
    initial = w.initial(venue)
    once = run.final_states(venue, [forcing], initial)
    half = run.final_states(venue, [forcing.isel(time=slice(0, 120))], initial)
    twice = run.final_states(venue, [forcing.isel(time=slice(120, None))], half)
    np.testing.assert_allclose(twice["soil_temperature"], once["soil_temperature"], rtol=0.0, atol=1e-6)
    np.testing.assert_allclose(twice["canopy_temperature"], once["canopy_temperature"], rtol=0.0, atol=1e-6)


def test_a_gap_ends_a_realization() -> None:
    venue, forcing, initial, plan = _case()
    broken = forcing.copy(deep=True)
    broken["wind_speed"][2, :, 120:] = np.nan
    windows = [w.window(0.0, 10.0, "early"), w.window(10.0, 20.0, "late")]
    told, _ = run.outcome(venue, [broken], initial, plan, windows)
    whole, _ = run.outcome(venue, [forcing], initial, plan, windows)
    assert (told["coverage"].sel(event="late", realization=2) == 0.0).all()
    assert told["worst_surface_state"].sel(event="late", realization=2).isnull().all()
    assert told["canopy_temperature_min_time"].sel(event="late", realization=2).isnull().all()
    _same(told.sel(event="early"), whole.sel(event="early"))
    _same(told.sel(event="late").drop_sel(realization=2), whole.sel(event="late").drop_sel(realization=2))


def test_memory_does_not_grow_with_the_steps() -> None:
    """What the kernel fills for ten times the steps is the same size, unless states are asked for."""
    venue = w.venue()
    sizes = []
    for hours in (10.0, 100.0):
        _, result = run._run(
            venue, w.forcing(hours), w.initial(venue), w.plan(venue), [w.window(0, hours)], (), False, False, True
        )
        sizes.append(result.accounts.nbytes + result.state.nbytes + result.heat.nbytes + result.traces.nbytes)
    assert sizes[0] == sizes[1]
