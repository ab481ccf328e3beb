"""Wind chill, snow or rain, light through cloud, brightness of the sky: published values and limits."""

import metpy.calc
import numpy as np
from metpy.units import units
from numpy.testing import assert_allclose

from microclimate.physics import chill, rain, skydome, sunlight, vapour


def test_wind_chill_agrees_with_metpy_and_with_the_printed_table() -> None:
    """Environment Canada's table (whole degrees): -20 degC at 20 and 60 km/h feels -30 and -36; 0 degC at 40, -7."""
    air, wind = np.array([-20.0, -20.0, 0.0]) + 273.15, np.array([20.0, 60.0, 40.0]) / 3.6
    found = chill.wind_chill(air, wind) - 273.15
    assert_allclose(found, [-30.0, -36.0, -7.0], atol=0.55)
    theirs = metpy.calc.windchill(air * units.K, wind * units("m/s"), face_level_winds=False)
    assert_allclose(found, theirs.to("degC").m, atol=0.02)


def test_wind_chill_is_not_defined_in_calm_or_mild_air() -> None:
    edge = 4.8 / 3.6
    assert np.isnan(chill.wind_chill(270.0, edge * 0.999))
    assert np.isfinite(chill.wind_chill(270.0, edge * 1.001))
    assert np.isnan(chill.wind_chill(283.16, 5.0))
    assert np.isfinite(chill.wind_chill(283.14, 5.0))


def test_half_of_the_precipitation_is_snow_near_plus_one() -> None:
    """Wang et al. 2019, Eq. 1, solved for a half and for a tenth: ln(1/6.99e-5)/2 - 3.97 and + ln(9)/2."""
    half = np.log(1.0 / 6.99e-5) / 2.0 - 3.97
    assert_allclose(rain.snow_share(273.15 + np.array([half, half + np.log(9.0) / 2.0])), [0.5, 0.1], rtol=1e-9)
    assert_allclose(rain.snow_share(np.array([243.15, 293.15])), [1.0, 0.0], atol=1e-6)
    assert rain.snow_share(400.0) >= 0.0


def test_cloud_takes_three_quarters_of_the_light_at_most() -> None:
    """Kasten & Czeplak 1980: 1 - 0.75 c^3.4; 0.9290 at a half."""
    assert_allclose(rain.shortwave_through_cloud(np.array([0.0, 0.5, 1.0])), [1.0, 0.92895, 0.25], atol=1e-5)


def test_the_wet_bulb_is_that_of_a_ventilated_psychrometer() -> None:
    """FAO-56, Eq. 15, with 6.62e-4 per kelvin against adiabatic saturation: within 0.15 K in moist air above 0 degC."""
    air = np.array([278.0, 288.0, 300.0])
    e = 0.6 * vapour.saturation_pressure_water(air)
    wet = vapour.wet_bulb(e, air, 101325.0)
    slope = vapour.slope_water(wet) + 6.62e-4 * 101325.0  # [Pa K-1] of the psychrometer's balance
    off = (vapour.vapour_pressure_from_wet_bulb(wet, air, 101325.0, 6.62e-4) - e) / slope
    assert_allclose(off, 0.0, atol=0.15)


def test_clearness_runs_from_overcast_to_clear() -> None:
    """Perez et al. 1990, Eq. 1: straight overhead 1 + I/D; at 60 degree 1.041 z^3 = 1.19550 joins both sides."""
    assert_allclose(skydome.clearness(np.array([0.0, 300.0]), 200.0, 0.0), [1.0, 2.5], rtol=1e-9)
    assert_allclose(skydome.clearness(300.0, 200.0, np.pi / 3.0), (2.5 + 1.195495) / 2.195495, rtol=1e-5)
    assert skydome.clearness(900.0, 10.0, 0.3) == 12.0
    assert skydome.clearness(900.0, 0.0, 0.3) == 12.0


def test_brightness_is_diffuse_light_times_air_mass() -> None:
    zenith = np.radians(60.0)
    assert_allclose(skydome.brightness(150.0, zenith), 150.0 * sunlight.air_mass(zenith) / 1361.0, rtol=1e-9)
    assert_allclose(skydome.brightness(np.array([0.0, 1e4]), zenith), [0.01, 0.6])


def test_the_parameters_of_the_sky_follow_the_printed_equations() -> None:
    """Perez et al. 1993, Eq. 6 to 8, worked out by hand for three classes of Table 1 at zenith 1 rad."""
    zenith = 1.0
    # overcast, epsilon 1: a..e with the special c and d
    diffuse = 200.0
    delta = diffuse * float(sunlight.air_mass(zenith)) / 1361.0
    a = 1.3525 - 0.2576 * zenith + delta * (-0.2690 - 1.4366 * zenith)
    c = np.exp((delta * (2.8000 + 0.6004 * zenith)) ** 1.2375) - 1.0000
    d = -np.exp(delta * (1.8734 + 0.6297 * zenith)) + 0.9738 + delta * 0.2809
    found = skydome.distribution(0.0, diffuse, zenith)
    assert_allclose(found[[0, 2, 3]], [a, c, d], rtol=1e-9)
    # clear, epsilon above 6.2: the plain sum for all
    diffuse = 60.0
    delta = diffuse * float(sunlight.air_mass(zenith)) / 1361.0
    a = -1.0500 + 0.0289 * zenith + delta * (0.4260 + 0.3590 * zenith)
    e = 1.5000 - 0.6426 * zenith + delta * (1.8564 + 0.5636 * zenith)
    found = skydome.distribution(900.0, diffuse, zenith)
    assert_allclose(found[[0, 4]], [a, e], rtol=1e-9)
    # thin cloud, 1.065 to 2.8: a brightness below 0.2 counts as 0.2
    found = skydome.distribution(40.0, diffuse, zenith)
    epsilon = float(skydome.clearness(40.0, diffuse, zenith))
    assert 1.230 < epsilon < 1.500
    a = -1.1000 - 0.2515 * zenith + 0.2 * (0.8952 + 0.0156 * zenith)
    assert_allclose(found[0], a, rtol=1e-9)


def test_each_class_of_sky_begins_where_it_is_printed() -> None:
    """Perez et al. 1990, Table 1: lower edges of classes 2 to 8. Straight overhead epsilon is 1 + I/D and a is
    a1 + a3 delta, with a brightness of at least 0.2 from 1.065 to 2.8."""
    printed = [1.065, 1.230, 1.500, 1.950, 2.800, 4.500, 6.200]
    first = [1.3525, -1.2219, -1.1000, -0.5484, -0.6000, -1.0156, -1.0000, -1.0500]
    third = [-0.2690, 1.4148, 0.8952, -0.2672, -2.5000, 1.0078, 0.5025, 0.4260]
    for step, offset in ((0, -1e-3), (1, 1e-3)):
        epsilon = np.array(printed) + offset
        delta = np.full(7, 100.0 * float(sunlight.air_mass(0.0)) / 1361.0)
        delta[(epsilon > 1.065) & (epsilon < 2.8)] = 0.2
        wanted = np.array(first)[step : step + 7] + delta * np.array(third)[step : step + 7]
        assert_allclose(skydome.distribution((epsilon - 1.0) * 100.0, 100.0, 0.0)[0], wanted, rtol=1e-9)


def test_below_the_horizon_the_sky_is_that_of_sunset() -> None:
    low, level = (skydome.distribution(50.0, 60.0, zenith) for zenith in (1.7, 0.5 * np.pi))
    assert_allclose(low, level, rtol=1e-12)


def test_the_sky_is_never_darker_than_black() -> None:
    found = skydome.relative_radiance(np.array([-3.0, -0.5, 0.0, -1.0, 0.0]), np.array([0.1, 1.0]), 0.5)
    assert (found >= 0.0).all()
    even = skydome.relative_radiance(np.zeros(5), np.array([0.1, 1.0]), np.array([2.0, -2.0]))
    assert_allclose(even, 1.0)
    bright = skydome.relative_radiance(np.array([0.0, 0.0, 2.0, -3.0, 0.4]), 1.0, np.array([1.0, 0.0]))
    assert_allclose(bright, [1.0 + 2.0 + 0.4, 1.0 + 2.0 * np.exp(-1.5 * np.pi)], rtol=1e-9)
