"""Sun, sky and thermal radiation: limits, closure, and what other libraries say."""

import numpy as np
import pandas as pd
import pvlib
import pytest
import refet
from numpy.testing import assert_allclose

from microclimate.physics import convection, cover, evaporation, light, longwave, skylight, sunlight, viewfactor

ZENITH = np.radians([0.0, 20.0, 45.0, 70.0, 85.0, 89.0])


def test_a_second_opinion_on_the_sun_above_the_air() -> None:
    days = np.array([1.0, 60.0, 172.0, 300.0, 365.0])
    theirs = pvlib.irradiance.get_extra_radiation(days, solar_constant=1361.0, method="spencer")
    assert_allclose(sunlight.extraterrestrial_normal(days), theirs, rtol=1e-6)
    assert_allclose(sunlight.declination(days), pvlib.solarposition.declination_spencer71(days), rtol=1e-6)


def test_a_second_opinion_on_the_clear_sky() -> None:
    degrees = np.degrees(ZENITH)
    assert_allclose(sunlight.air_mass(ZENITH), pvlib.atmosphere.get_relative_airmass(degrees), rtol=1e-9)
    assert_allclose(sunlight.clear_sky_haurwitz(ZENITH), pvlib.clearsky.haurwitz(pd.Series(degrees))["ghi"], rtol=1e-9)


def test_a_second_opinion_on_beam_and_sky() -> None:
    shortwave = np.array([30.0, 150.0, 400.0, 700.0])
    theirs = pvlib.irradiance.erbs(shortwave, 40.0, 100)
    above = np.asarray(pvlib.irradiance.get_extra_radiation(100)) * np.cos(np.radians(40.0))
    assert_allclose(skylight.diffuse_fraction(shortwave / above) * shortwave, theirs["dhi"], rtol=1e-9)
    slope = pvlib.irradiance.haydavies(35.0, 150.0, 80.0, 500.0, 1390.0, 50.0, 200.0)
    aligned = pvlib.irradiance.aoi(35.0, 150.0, 50.0, 200.0)
    ours = skylight.sky_on_slope_hay_davies(
        80.0, 500.0, 1390.0, np.radians(35.0), np.cos(np.radians(aligned)), np.cos(np.radians(50.0))
    )
    assert_allclose(ours, slope, rtol=1e-9)
    assert_allclose(skylight.sky_on_slope(80.0, np.radians(35.0)), pvlib.irradiance.isotropic(35.0, 80.0), rtol=1e-9)
    assert_allclose(
        skylight.ground_on_slope(400.0, 0.25, np.radians(35.0)),
        pvlib.irradiance.get_ground_diffuse(35.0, 400.0, 0.25),
        rtol=1e-9,
    )


def test_without_circumsolar_light_the_sky_is_even() -> None:
    tilt = np.radians(50.0)
    assert_allclose(
        skylight.sky_on_slope_hay_davies(90.0, 0.0, 1400.0, tilt, 0.9, 0.5), skylight.sky_on_slope(90.0, tilt)
    )
    # a sun below the horizon of the slope adds nothing, one at the horizon stays finite
    assert_allclose(skylight.sky_on_slope_hay_davies(90.0, 1400.0, 1400.0, tilt, -0.2, 0.5), 0.0)
    assert_allclose(skylight.sky_on_slope_hay_davies(1.0, 1400.0, 1400.0, tilt, 0.5, 0.0), 0.5 / 0.01745)


def test_below_the_horizon_the_air_mass_is_held() -> None:
    assert_allclose(sunlight.air_mass(np.radians([91.0, 100.0])), sunlight.air_mass(0.5 * np.pi), rtol=1e-12)


def test_no_sun_no_light() -> None:
    assert sunlight.clear_sky_haurwitz(np.radians(91.0)) == 0.0
    assert light.photon_flux(0.0) == 0.0
    assert skylight.sky_on_slope(0.0, 0.3) == 0.0
    polar = np.radians(80.0)
    assert sunlight.extraterrestrial_daily(polar, 355.0) == 0.0
    assert_allclose(sunlight.daylight(sunlight.sunset_hour_angle(polar, sunlight.declination(172.0))), 86400.0)


def test_hours_add_up_to_the_day() -> None:
    edges = np.linspace(-np.pi, np.pi, 25)
    for latitude in np.radians([-40.0, 10.0, 55.0]):
        hours = sunlight.extraterrestrial_between(latitude, 120.0, edges[:-1], edges[1:])
        assert (hours >= 0.0).all()
        assert_allclose(hours.sum(), sunlight.extraterrestrial_daily(latitude, 120.0), rtol=1e-9)


def test_the_split_of_the_light_is_continuous_where_its_pieces_meet() -> None:
    """Erbs' pieces meet within 5e-4 at 0.22 and 3e-4 at 0.80 (rounded coefficients)."""
    low, high = skylight.diffuse_fraction(np.array([0.22 - 1e-9, 0.22 + 1e-9])), None
    assert_allclose(low[0], low[1], atol=5e-4)
    high = skylight.diffuse_fraction(np.array([0.80 - 1e-9, 0.80 + 1e-9]))
    assert_allclose(high[0], high[1], atol=3e-4)
    assert_allclose(skylight.diffuse_fraction(-0.1), 1.0)
    # and each begins where it is printed
    assert_allclose(skylight.diffuse_fraction(np.array([0.219, 0.801])), [1.0 - 0.09 * 0.219, 0.165], rtol=1e-12)
    kt = np.array([0.221, 0.799])
    middle = 0.9511 - 0.1604 * kt + 4.388 * kt**2 - 16.638 * kt**3 + 12.336 * kt**4
    assert_allclose(skylight.diffuse_fraction(kt), middle, rtol=1e-9)


@pytest.mark.parametrize(
    "clear",
    [longwave.clear_sky_brutsaert, longwave.clear_sky_prata, longwave.clear_sky_idso],
)
def test_a_moister_sky_shines_more(clear: object) -> None:
    found = clear(np.array([100.0, 400.0, 1200.0]), 280.0)  # type: ignore[operator]
    assert (np.diff(found) > 0.0).all()
    assert ((found > 0.5) & (found < 1.0)).all()


def test_cloud_closes_the_sky_and_can_be_found_again() -> None:
    cloud = np.array([0.0, 0.3, 0.8, 1.0])
    down = longwave.cloudy_emissivity(0.72, cloud) * longwave.black_body(275.0)
    assert_allclose(longwave.cloud_from_longwave(down, 0.72, 275.0), cloud, atol=1e-12)
    assert longwave.cloud_from_longwave(100.0, 0.72, 275.0) == 0.0
    assert longwave.cloud_from_longwave(500.0, 0.72, 275.0) == 1.0


def test_black_body_four_ways() -> None:
    t = np.array([250.0, 273.15, 300.0])
    assert_allclose(longwave.black_body(t), 5.670374419e-8 * t**4, rtol=1e-12)
    assert_allclose(cover.plate_exchange(t, 0.0, 1.0, 1.0), longwave.black_body(t), rtol=1e-12)
    slope = (longwave.black_body(t + 1e-3) - longwave.black_body(t - 1e-3)) / 2e-3
    assert_allclose(cover.radiation_conductance(t, 1.0), slope, rtol=1e-6)


def test_plates_exchange_nothing_at_one_temperature_and_the_shiny_one_rules() -> None:
    assert cover.plate_exchange(280.0, 280.0, 0.9, 0.9) == 0.0
    assert_allclose(cover.plate_exchange(290.0, 280.0, 0.9, 0.3), -cover.plate_exchange(280.0, 290.0, 0.3, 0.9))
    assert_allclose(cover.plate_emissivity(0.05, 1.0), 0.05, rtol=1e-12)


def test_a_layer_of_air_insulates_better_when_warm_above() -> None:
    for thickness in (0.01, 0.03, 0.2):
        up, down = (cover.air_layer_conductance(thickness, sign, 278.0, 0.9, 0.9) for sign in (1.0, -1.0))
        assert up >= down
    # a thin layer only conducts: 0.025/d and radiation
    thin = cover.air_layer_conductance(0.001, 1.0, 278.0, 0.9, 0.9)
    assert_allclose(thin - cover.radiation_conductance(278.0, cover.plate_emissivity(0.9, 0.9)), 25.0, rtol=1e-9)


def test_what_a_cover_takes_passes_or_throws_back() -> None:
    assert_allclose(cover.longwave_reflectance(0.6, 0.3), 0.1)
    assert cover.longwave_reflectance(0.8, 0.3) == 0.0
    assert_allclose(cover.protection_index(-26.0, -100.0), 0.74)


def test_the_plate_balances() -> None:
    for absorbed in (150.0, 400.0, 1200.0):
        t = convection.plate_temperature(absorbed, 0.9, 6.0, 275.0)
        assert_allclose(0.9 * longwave.black_body(t) + 6.0 * (t - 275.0), absorbed, rtol=1e-9)
    calm = convection.plate_temperature(300.0, 0.9, 0.0, 275.0)
    assert_allclose(0.9 * longwave.black_body(calm), 300.0, rtol=1e-9)


def test_rectangles_keep_reciprocity_and_closure() -> None:
    floor_to_wall = viewfactor.perpendicular_rectangles(2.0, 3.0, 5.0)
    wall_to_floor = viewfactor.perpendicular_rectangles(3.0, 2.0, 5.0)
    assert_allclose(3.0 * 5.0 * floor_to_wall, 2.0 * 5.0 * wall_to_floor, rtol=1e-12)
    box = viewfactor.parallel_rectangles(3.0, 5.0, 2.0) + 2.0 * (
        viewfactor.perpendicular_rectangles(2.0, 3.0, 5.0) + viewfactor.perpendicular_rectangles(2.0, 5.0, 3.0)
    )
    assert_allclose(box, 1.0, rtol=1e-10)
    assert_allclose(viewfactor.canyon_floor_mean(0.7) + 2.0 * 0.7 * viewfactor.canyon_wall_mean(0.7), 1.0, rtol=1e-12)
    assert_allclose(4.0 * viewfactor.coaxial_disks(2.0, 1.0, 1.5), viewfactor.coaxial_disks(1.0, 2.0, 1.5))
    assert_allclose(
        2.0 * viewfactor.point_to_upright(8.0, 1e6, 5.0), viewfactor.point_to_endless_wall(8.0, 5.0), rtol=1e-5
    )


def test_a_second_opinion_on_reference_evaporation() -> None:
    """refet for a July day at 39 degrees north; the same net radiation and constants, 0.3 % for its own sigma."""
    warm, cold, vapour, shortwave, wind = 35.0, 14.0, 1.2, 27.0, 2.2
    theirs = refet.Daily(
        tmin=cold,
        tmax=warm,
        ea=vapour,
        rs=shortwave,
        uz=wind,
        zw=2.0,
        elev=1000.0,
        lat=39.0,
        doy=190,
        method="asce",
        rso_type="simple",
    )
    air = np.array([warm, cold]) + 273.15
    above = sunlight.extraterrestrial_daily(np.radians(39.0), 190.0)
    clear = sunlight.clear_sky_fao(above, 1000.0)
    assert_allclose(clear / 1e6, theirs.rso, rtol=2e-3)
    out = 86400.0 * longwave.net_longwave_fao(air[0], air[1], 1000.0 * vapour, shortwave * 1e6 / clear)
    high, low = evaporation.saturation_pressure_fao(air)
    gamma = evaporation.psychrometric_constant_fao(evaporation.pressure_at(1000.0))
    lost = evaporation.reference_evaporation(
        0.77 * shortwave * 1e6 - out,
        0.0,
        air.mean(),
        wind,
        0.5 * (high + low) - 1000.0 * vapour,
        evaporation.slope_fao(air.mean()),
        gamma,
        900.0,
        0.34,
    )
    assert_allclose(lost, theirs.eto(), rtol=3e-3)
