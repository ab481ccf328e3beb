"""Circuits against closed forms and an independent library; slabs against the handbook's own units."""

import sys
from pathlib import Path

import ht
import numpy as np
import pytest
from numpy.testing import assert_allclose

from microclimate.physics import heating, plant, snowmelt
from microclimate.sizing import circuit as piped
from microclimate.venue.equipment import Circuit, Plant

sys.path.insert(0, str(Path(__file__).parent))

LOOP = Circuit.model_validate(
    {"name": "a", "depth": "250 mm", "pitch": "200 mm", "power": 120, "pipe_outer_diameter": "25 mm"}
)


def _at(**told: float) -> piped.Hydraulics:
    given = {"area": 7000.0, "glycol": 0.3, "soil": 280.15, "conductivity": 1.5, "film": 12.0} | told
    return piped.hydraulics(LOOP, **given)  # type: ignore[arg-type]


def test_loops_flow_and_heat_belong_together() -> None:
    """Energy: flow x heat of the water x drop is the circuit's power; length: area over pitch."""
    found = _at()
    water = piped.fluid(0.3)
    assert found.heat == pytest.approx(120.0 * 7000.0)
    assert found.flow * water.by_volume * (found.supply - found.back) == pytest.approx(found.heat)
    assert found.pipe == pytest.approx(35000.0)
    assert found.loops * found.loop == pytest.approx(found.pipe)
    assert found.loop <= piped.LOOP
    # 35 km of pipe: press figures of heated fields are 28 to 64 km


def test_laminar_pressure_drop_is_hagen_poiseuille() -> None:
    """dp = 128 mu L Q / (pi D^4), closed form; thick water and a wide drop keep the flow laminar."""
    found = _at(glycol=0.6, drop=25.0)
    inside = 0.025 * (1.0 - 2.0 * piped.WALL)
    assert found.reynolds < 2000.0
    closed = 128.0 * piped.fluid(0.6).viscosity * found.loop * (found.flow / found.loops) / (np.pi * inside**4)
    assert_allclose(found.drop, closed, rtol=1e-6)


def test_turbulent_pressure_drop_is_near_blasius() -> None:
    """f = 0.316 Re^-1/4 for smooth pipes, 4000 < Re < 1e5: within 5 % of Colebrook (Incropera, sec. 8.1)."""
    found = _at(glycol=0.0, drop=3.0, longest=200.0)
    inside = 0.025 * (1.0 - 2.0 * piped.WALL)
    assert found.reynolds > 4000.0
    blasius = 0.316 * found.reynolds**-0.25 * found.loop / inside * 0.5 * piped.fluid(0.0).density * found.speed**2
    assert_allclose(found.drop, blasius, rtol=0.05)


def test_supply_and_return_drive_the_power_through_the_resistance() -> None:
    found = _at()
    mean = piped.excess(found.supply, found.back, 280.15)
    assert mean / found.resistance == pytest.approx(120.0, rel=1e-9)
    # independent: the log-mean of ht
    assert mean == pytest.approx(ht.LMTD(found.supply, found.back, 280.15, 280.15), rel=1e-9)
    # a row's resistance, water apart, is the shape factor of a row less the slab above (Cengel, Table 3-7)
    factor = heating.shape_factor_row(0.025, 0.25, 0.2)
    slab = 0.2 / (factor * 1.5) - 0.25 / 1.5
    assert found.resistance - 0.2 * piped.PIPE_WALL == pytest.approx(slab, rel=0.005)


def test_glycol_thickens_the_water() -> None:
    """Fifty per cent at 30 degC: about 3.4 mPa s (ASHRAE Fundamentals, from memory), within its 5 %."""
    assert piped.fluid(0.5).viscosity == pytest.approx(3.4e-3, rel=0.05)
    assert piped.fluid(0.0).by_volume == pytest.approx(4.16e6, rel=0.001)


def test_installed_power_from_nameplate_and_from_readings_with_their_range() -> None:
    given = Plant.model_validate(
        {"power": "900 kW", "flow": "100 m3/h", "supply_reading": 35, "return_reading": 28, "glycol": 0.0}
    )
    plate, read = piped.installed(given, 7000.0)
    assert plate.high == pytest.approx(900e3 / 7000.0)
    assert plate.low < plate.value < plate.high
    # 100 m3/h x 4.160 MJ/m3K x 7 K = 808.9 kW
    assert read.value == pytest.approx(100.0 / 3600.0 * 995.7 * 4178.0 * 7.0 / 7000.0)
    assert read.high - read.value == pytest.approx(read.value * np.hypot(0.1, np.sqrt(2) * 0.3 / 7.0))
    assert piped.installed(None, 7000.0) == ()
    gallons = Plant.model_validate({"flow": "440 gpm", "supply_reading": "95 degF", "return_reading": "82.4 degF"})
    assert piped.installed(gallons, 7000.0)[0].how == "readings"


def test_the_slab_balance_in_the_handbooks_own_units() -> None:
    """Chapman & Katunich 1956, reckoned in inch-pound units: 0.1 in/h, 17 degF, 15 mph, air vapour 0.080 inHg, A_r 1.

    q_s = 2.6 s (33 - 17) = 4.16 (2.6 = 62.4/12 x 0.5), q_m = 746 s = 74.6, q_h = 11.4 x 0.3565 x 16 = 65.03,
    q_e = 1075.5 x 0.3565 x (0.188 - 0.080) = 41.41, all in Btu/h ft2. Melting: water weighs 62.4 lb/ft3 and takes
    143.5 Btu/lb, so 746 is good to 1 %.
    """
    inhg, mph, btu = 3386.389, 0.44704, 3.154591
    air = 273.15 + (17.0 - 32.0) / 1.8
    assert snowmelt.convection(15 * mph, air) / btu == pytest.approx(65.03, abs=0.02)
    assert snowmelt.evaporation(15 * mph, 0.188 * inhg, 0.080 * inhg) / btu == pytest.approx(41.41, abs=0.02)
    fall = 0.1 * 25.4 / 3600.0
    whole = snowmelt.slab_load(fall, air, 15 * mph, 0.188 * inhg, 0.080 * inhg, 1.0) / btu
    assert whole == pytest.approx(4.16 + 74.6 + 65.03 + 41.41, rel=0.01)
    covered = snowmelt.slab_load(fall, air, 15 * mph, 0.188 * inhg, 0.080 * inhg, 0.0) / btu
    assert covered == pytest.approx(4.16 + 74.6, rel=0.01)


@pytest.mark.parametrize(
    ("formula", "lift", "expected"),
    [
        (plant.heat_pump_air, 30.0, 6.81 - 3.63 + 0.567),
        (plant.heat_pump_air, 50.0, 6.81 - 6.05 + 1.575),
        (plant.heat_pump_ground, 35.0, 8.77 - 5.25 + 0.89915),
    ],
)
def test_heat_pumps_follow_the_published_regression(formula, lift: float, expected: float) -> None:  # type: ignore[no-untyped-def]
    """Staffell et al. 2012, Energy Environ. Sci. 5:9291; products worked by hand."""
    assert formula(lift) == pytest.approx(expected, rel=1e-9)
    assert formula(5.0) == formula(15.0 if formula is plant.heat_pump_air else 20.0)  # held outside the range
    assert formula(100.0) == formula(60.0)
