"""Water vapour: fast forms beside their originals, slopes, round trips, and what other libraries say."""

import importlib
import sys
from types import ModuleType

import metpy.calc
import numpy as np
import pytest
from metpy.units import units
from numpy.testing import assert_allclose

from microclimate.physics import evaporation, vapour

PRESSURE = 101325.0


@pytest.fixture(scope="module")
def psychrolib() -> ModuleType:
    """The library as plain Python: where it finds numba it compiles itself, which takes ten seconds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "numba", None)
        patch.delitem(sys.modules, "psychrolib", raising=False)
        module = importlib.import_module("psychrolib")
    module.SetUnitSystem(module.SI)
    return module


def test_the_fast_forms_are_within_a_hundred_thousandth() -> None:
    water = np.linspace(223.15, 323.15, 2001)
    assert_allclose(vapour.fast_saturation_pressure_water(water), vapour.saturation_pressure_water(water), rtol=1e-5)
    ice = np.linspace(213.15, 273.15, 2001)
    assert_allclose(vapour.fast_saturation_pressure_ice(ice), vapour.saturation_pressure_ice(ice), rtol=1e-5)


def test_the_plain_forms_against_the_references() -> None:
    """WMO-No. 8 gives its forms for practice; against the references they keep within 0.6 % from -40 to 40 degC."""
    water = np.linspace(233.15, 313.15, 81)
    assert_allclose(
        vapour.saturation_pressure_water(water), vapour.reference_saturation_pressure_water(water), rtol=6e-3
    )
    ice = np.linspace(233.15, 273.15, 41)
    assert_allclose(vapour.saturation_pressure_ice(ice), vapour.reference_saturation_pressure_ice(ice), rtol=6e-3)


@pytest.mark.parametrize(
    ("slope", "pressure", "low", "high"),
    [
        (vapour.slope_water, vapour.saturation_pressure_water, 240.0, 310.0),
        (vapour.slope_ice, vapour.saturation_pressure_ice, 230.0, 273.0),
        (vapour.slope, vapour.saturation_pressure, 230.0, 272.9),
        (evaporation.slope_fao, evaporation.saturation_pressure_fao, 260.0, 310.0),
    ],
)
def test_slopes_are_slopes(slope: object, pressure: object, low: float, high: float) -> None:
    """FAO prints 4098 for 17.27 x 237.3 = 4098.2, hence 1e-4."""
    t = np.linspace(low, high, 15)
    closed = (pressure(t + 1e-3) - pressure(t - 1e-3)) / 2e-3  # type: ignore[operator]
    assert_allclose(slope(t), closed, rtol=1e-4)  # type: ignore[operator]


def test_the_relative_slope_is_the_slope_over_the_pressure() -> None:
    t = np.linspace(240.0, 300.0, 14)
    assert_allclose(vapour.relative_slope(t) * vapour.saturation_pressure(t), vapour.slope(t), rtol=1e-13)


def test_slope_follows_clausius_clapeyron() -> None:
    """d(ln e)/dT = L/(R_v T^2); L_sub 2.834e6 J/kg is a rounded textbook value, hence 0.5 %."""
    t = np.linspace(243.0, 273.0, 7)
    rise = np.log(
        vapour.reference_saturation_pressure_ice(t + 0.01) / vapour.reference_saturation_pressure_ice(t - 0.01)
    )
    assert_allclose(rise / 0.02, 2.834e6 / (461.5 * t**2), rtol=5e-3)


def test_there_is_no_ice_above_the_triple_point() -> None:
    found = vapour.reference_saturation_pressure_ice(np.array([[260.0, 280.0], [np.nan, 273.17]]))
    assert np.isfinite(found[0, 0])
    assert np.isnan(found.ravel()[1:]).all()


def test_dew_and_frost_points_turn_the_pressure_round() -> None:
    t = np.linspace(240.0, 273.1, 12)
    assert_allclose(vapour.dew_point(vapour.saturation_pressure_water(t)), t, rtol=1e-12)
    assert_allclose(vapour.frost_point(vapour.saturation_pressure_ice(t)), t, rtol=1e-12)
    assert (vapour.frost_point(vapour.saturation_pressure_water(t)) > t).all()


def test_humidities_turn_each_other_round() -> None:
    e = np.linspace(50.0, 4000.0, 9)
    q = vapour.specific_humidity(e, PRESSURE)
    assert_allclose(vapour.vapour_pressure(q, PRESSURE), e, rtol=1e-12)
    ratio = vapour.humidity_ratio(e, PRESSURE)
    assert_allclose(q, ratio / (1.0 + ratio), rtol=1e-12)


def test_air_is_what_the_gas_law_says() -> None:
    """Dry air at 0 degC and 101325 Pa: 1.2922 kg m-3 (ISO 2533 gives 1.225 at 15 degC); moist air is lighter."""
    assert_allclose(vapour.air_density(273.15, 0.0, PRESSURE), 1.2923, rtol=2e-4)
    assert_allclose(vapour.air_density(288.15, 0.0, PRESSURE), 1.225, rtol=2e-4)
    # partial pressures of the two gases, 287.05 and 461.5 J kg-1 K-1; 0.622 against their ratio is 3e-6
    e = 1500.0
    apart = (PRESSURE - e) / (287.05 * 293.15) + e / (461.5 * 293.15)
    assert_allclose(vapour.air_density(293.15, vapour.specific_humidity(e, PRESSURE), PRESSURE), apart, rtol=2e-5)


def test_latent_heat_jumps_by_fusion_at_freezing() -> None:
    assert_allclose(vapour.latent_heat(273.149) - vapour.latent_heat(273.15), 3.34e5, rtol=1e-3)
    assert vapour.latent_heat(300.0) < vapour.latent_heat(280.0)


def test_wet_bulb_lies_between_dew_point_and_air() -> None:
    air = np.linspace(255.0, 305.0, 11)
    e = 0.6 * vapour.saturation_pressure(air)
    wet = vapour.wet_bulb(e, air, PRESSURE)
    assert (wet < air).all()
    assert (wet > vapour.dew_point(e)).all()
    saturated = vapour.saturation_pressure(air)
    assert_allclose(vapour.wet_bulb(saturated, air, PRESSURE), air, atol=2e-3)


def test_saturated_air_is_its_own_wet_bulb() -> None:
    """The heat of vapour at the wet bulb must be that at the air: 1.86 - 4.186 = -2.326, 1.86 - 2.1 = -0.24."""
    air = np.array([253.15, 268.15, 283.15, 308.15])
    wanted = vapour.humidity_ratio(vapour.saturation_pressure(air), PRESSURE)
    assert_allclose(vapour.humidity_ratio_from_wet_bulb(air, air, PRESSURE), wanted, rtol=1e-9)


def test_a_second_opinion_on_moist_air_psychrolib(psychrolib: ModuleType) -> None:
    """ASHRAE's own saturation formula differs from that of WMO by up to 0.3 %: so may everything built on it."""
    for celsius, share in ((-8.0, 0.7), (3.0, 0.8), (12.0, 0.5), (30.0, 0.4)):
        air = celsius + 273.15
        e = share * float(vapour.saturation_pressure(air))
        assert_allclose(float(vapour.saturation_pressure(air)), psychrolib.GetSatVapPres(celsius), rtol=4e-3)
        assert_allclose(
            float(vapour.wet_bulb(e, air, PRESSURE)) - 273.15,
            psychrolib.GetTWetBulbFromRelHum(celsius, share, PRESSURE),
            atol=0.02,
        )
        ratio = psychrolib.GetHumRatioFromVapPres(e, PRESSURE)
        assert_allclose(float(vapour.humidity_ratio(e, PRESSURE)), ratio, rtol=2e-4)
        assert_allclose(
            float(vapour.moist_air_enthalpy(air, ratio)), psychrolib.GetMoistAirEnthalpy(celsius, ratio), rtol=2e-4
        )
        volume = psychrolib.GetMoistAirVolume(celsius, ratio, PRESSURE)
        density = float(vapour.air_density(air, ratio / (1.0 + ratio), PRESSURE))
        assert_allclose(density, (1.0 + ratio) / volume, rtol=3e-4)


def test_a_second_opinion_on_moist_air_metpy() -> None:
    """MetPy 1.7 follows Ambaum 2020 for both phases: within 0.3 % of WMO from -20 to 35 degC."""
    water, ice = np.linspace(253.0, 308.0, 9), np.linspace(243.0, 273.0, 7)
    over_water = metpy.calc.saturation_vapor_pressure(water * units.K, phase="liquid").to("Pa").m
    over_ice = metpy.calc.saturation_vapor_pressure(ice * units.K, phase="solid").to("Pa").m
    assert_allclose(vapour.saturation_pressure_water(water), over_water, rtol=4e-3)
    assert_allclose(vapour.saturation_pressure_ice(ice), over_ice, rtol=4e-3)
    assert_allclose(vapour.dew_point(800.0), metpy.calc.dewpoint(800.0 * units.Pa).to("K").m, atol=0.1)
    for share in (0.2, 0.6):
        theirs = metpy.calc.psychrometric_vapor_pressure_wet(
            PRESSURE * units.Pa, 293.15 * units.K, 286.15 * units.K, 6.62e-4 / units.K
        )
        ours = vapour.vapour_pressure_from_wet_bulb(286.15, 293.15, PRESSURE, 6.62e-4)
        assert_allclose(ours, theirs.to("Pa").m, rtol=4e-3)
        assert_allclose(
            vapour.specific_humidity(share * 1000.0, PRESSURE),
            metpy.calc.specific_humidity_from_mixing_ratio(
                metpy.calc.mixing_ratio(share * 1000.0 * units.Pa, PRESSURE * units.Pa)
            ).m,
            rtol=2e-4,
        )
