"""The long run over variants of equipment against the ordinary run of each."""

import sys
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.simulate import run, season

sys.path.insert(0, str(Path(__file__).parent))
import world as w

HOURS = 30.0
LOOP = {"name": "loop", "kind": "hydronic", "supply_temperature": 35, "probe_depth": 0.1, "depth": 0.15}
SHEET = {"name": "sheet", "kind": "insulated"}


def _venue(**circuit):
    zones = (w.zone("A", circuit="loop"), w.zone("B"))
    return w.venue(*zones, circuits=[LOOP | circuit], covers=[SHEET])


def _plan(venue):
    allowed = np.array([[1.0, 0.0]])[..., None]
    warm, cold = (
        w.plan(venue, names=[name], heating_allowed=allowed, set_point=t) for name, t in (("a", 284), ("b", 278))
    )
    covered = w.plan(venue, names=["c"], heating_allowed=allowed, set_point=284, cover=1.0)
    return xr.concat([warm, cold, covered], "plan", data_vars="all")


def test_variants_side_by_side_are_what_each_gives_alone() -> None:
    """Bit for bit: lanes do not see each other, variants share nothing but the forcing."""
    variants = [_venue(power=60), _venue(power=150, depth=0.10)]
    air = 268.0 + 3.0 * np.sin(np.arange(int(HOURS * 12)) / 40.0)
    block = w.forcing(
        HOURS, patches=3, zone_index=[0, 0, 1], air_temperature=air, longwave_sky_down=[[[230], [245], [235]]]
    )
    first = w.initial(variants[0], patches=3, zone_index=[0, 0, 1])
    plan, windows = _plan(variants[0]), [w.window(0, 10), w.window(10, HOURS)]
    options = [(0, 0), (0, 1), (1, 0), (1, 2)]
    found = season.outcomes(variants, block, first, plan, options, windows)
    for place, (variant, number) in enumerate(options):
        told, _ = run.outcome(variants[variant], [block], first, plan, windows, single=True, serial=True)
        alone = told.isel(plan=number, realization=0)
        for name in ("canopy_temperature_min", "heating_energy", "heating_power_max", "worst_surface_state"):
            np.testing.assert_array_equal(found[name][place].values, alone[name].values, err_msg=name)
        soil = alone["soil_temperature_min"].sel(depth=0.025)
        np.testing.assert_array_equal(found["soil_temperature_min"][place].values, soil.values)
    assert float(found["heating_power_max"].isel(option=0).max()) <= 60.0 < float(found["heating_power_max"].max())


def test_a_power_that_never_suffices_runs_every_hour() -> None:
    """20 W/m2 cannot bring the probe to 16 degC in a frost: energy is power by time (conservation)."""
    venue = _venue(power=20)
    block = w.forcing(HOURS, zone_index=[0])
    plan = w.plan(venue, heating_allowed=np.array([1.0, 0.0])[None, :, None], set_point=289.15)
    found = season.outcomes([venue], block, w.initial(venue), plan, [(0, 0)], [w.window(0, HOURS)])
    assert float(found["heating_hours"].squeeze()) == pytest.approx(HOURS)
    assert float(found["hours"].squeeze()) == pytest.approx(HOURS)
    assert float(found["heating_energy"].squeeze()) == pytest.approx(20.0 * HOURS * 3600.0, rel=1e-5)


def test_what_a_variant_cannot_do_is_refused_once() -> None:
    zones = (w.zone("A", build="tray", base="tray over still air", circuit="loop"), w.zone("B"))
    venues = [w.venue(*zones, circuits=[LOOP | {"depth": 0.5}], covers=[SHEET]) for _ in range(2)]
    plan = _plan(venues[0])
    with pytest.raises(InputError) as refused:
        season.outcomes(venues, w.forcing(), w.initial(venues[0]), plan, [(0, 0)], [w.window()])
    text = str(refused.value)
    assert text.count("below the profile") == 1
