"""Snow and leaf: limits and directions; plates in moving air against a library."""

import ht
import numpy as np
from numpy.testing import assert_allclose

from microclimate.physics import canopy, convection, light, night, snow

DAY = 86400.0


def test_snow_settles_towards_three_hundred_and_never_loosens() -> None:
    """ISBA: 300 - (300 - rho) exp(-0.24 per day)."""
    assert_allclose(snow.settled_density(120.0, DAY), 300.0 - 180.0 * np.exp(-0.24), rtol=1e-12)
    assert_allclose(snow.settled_density(120.0, 100.0 * DAY), 300.0, rtol=1e-9)
    assert snow.settled_density(400.0, DAY) == 400.0
    assert snow.settled_density(120.0, 0.0) == 120.0


def test_snow_darkens_to_a_half() -> None:
    """ISBA: cold snow loses 0.008 a day; melting snow goes exponentially to 0.5 at 0.24 a day."""
    assert_allclose(snow.aged_albedo(0.85, DAY, 0.0), 0.842, rtol=1e-12)
    assert_allclose(snow.aged_albedo(0.85, DAY, 1.0), 0.5 + 0.35 * np.exp(-0.24), rtol=1e-12)
    assert snow.aged_albedo(0.85, 200.0 * DAY, 0.0) == 0.5
    assert snow.aged_albedo(0.85, DAY, 1.0) < snow.aged_albedo(0.85, DAY, 0.0)


def test_new_snow_is_light_when_cold() -> None:
    cold = np.array([255.0, 265.0, 272.0])
    assert (np.diff(snow.fresh_density(cold)) > 0.0).all()
    assert_allclose(snow.fresh_density(280.0), 67.92 + 51.25)
    assert snow.fresh_density_wet(250.0) == 50.0


def test_cold_rain_and_lost_heat_melt_nothing() -> None:
    assert snow.rain_heat(5.0, 270.0) == 0.0
    assert snow.melt(-100.0) == 0.0


def test_snow_conductivity_formulas_agree_within_their_spread() -> None:
    """Sturm 1997 lies below Yen 1981 everywhere; at 917 kg m-3 Yen meets ice (2.1 to 2.2 W m-1 K-1) within 15 %."""
    density = np.array([100.0, 250.0, 400.0])
    assert (snow.conductivity_quadratic(density) < 1.7 * snow.conductivity(density)).all()
    assert_allclose(snow.conductivity(917.0), 2.2, rtol=0.15)
    # the pieces of Sturm's formula meet near 0.156 g cm-3
    low, high = snow.conductivity_quadratic(np.array([155.0, 157.0]))
    assert_allclose([low, high], [0.023 + 0.234 * 0.155, 0.138 - 1.01 * 0.157 + 3.233 * 0.157**2], rtol=1e-9)


def test_the_leaf_is_dry_wet_and_dripping() -> None:
    assert_allclose(canopy.wet_share(np.array([0.0, 0.0375, 0.3, 0.9]), 0.3), [0.0, 0.25, 1.0, 1.0])
    assert_allclose(canopy.drip(np.array([0.1, 0.5]), 0.3), [0.0, 0.2])


def test_a_wet_leaf_gives_vapour_as_freely_as_heat() -> None:
    assert canopy.vapour_conductance(0.02, 200.0, 1.0) == 0.02
    # dry: air and leaf in series, 1/(1/g + r)
    assert_allclose(canopy.vapour_conductance(0.02, 200.0, 0.0), 1.0 / (50.0 + 200.0))
    assert canopy.vapour_conductance(0.0, 200.0, 0.0) == 0.0


def test_leaf_resistance_by_day_and_night() -> None:
    assert_allclose(canopy.surface_resistance(np.array([300.0, 0.0]), 50.0, 200.0), [50.0, 200.0])


def test_growth_is_best_where_it_is_best() -> None:
    assert light.growth_index(293.15, 293.15, 5.5) == 1.0
    assert_allclose(light.growth_index(293.15 + 5.5, 293.15, 5.5), np.exp(-0.5))
    assert light.degree_days(280.0, 270.0, 283.15) == 0.0


def test_the_night_begins_and_ends_where_it_was_measured() -> None:
    assert_allclose(night.square_root_trend(3.0, -4.0, np.array([-1.0, 0.0, 12.0]), 12.0), [3.0, 3.0, -4.0])


def test_a_second_opinion_on_plates() -> None:
    """The heat-transfer library `ht`: the same published correlations, coded apart."""
    laminar = ht.Nu_horizontal_plate_laminar_Baehr(9600.0, 0.687)
    assert_allclose(convection.plate_laminar(9600.0, 0.687), laminar, rtol=1e-9)
    grashof = 1.813e9 / 0.690
    assert_allclose(
        convection.upright_plate_free(1.813e9, 0.690), ht.Nu_vertical_plate_Churchill(0.690, grashof), rtol=1e-9
    )
    assert_allclose(
        convection.warm_face_up_free(np.array([1e6, 1e9])),
        [ht.Nu_horizontal_plate_McAdams(0.7, ra / 0.7, buoyancy=True) for ra in (1e6, 1e9)],
        rtol=1e-9,
    )


def test_free_convection_knows_its_direction() -> None:
    assert convection.level_surface_free(4.0) > convection.level_surface_free(-4.0) > 0.0
    assert convection.level_surface_free(0.0) == 0.0
    low, high = convection.warm_face_up_free(np.array([9.99e6, 1.001e7]))
    # the printed pieces do not meet at 1e7: 30.37 below, 32.32 above
    assert_allclose([low, high], [0.54 * 9.99e6**0.25, 0.15 * 1.001e7 ** (1.0 / 3.0)], rtol=1e-9)
