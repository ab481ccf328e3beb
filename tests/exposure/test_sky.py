"""Sky patches, the all-weather distribution, and the warm low sky that a bowl hides."""

import numpy as np
import pytest
from bowl_scene import GREY, NOTHING, basin, prism
from scipy.integrate import quad

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.exposure import sky
from microclimate.exposure.mesh import mesh
from microclimate.exposure.windows import windows
from microclimate.physics import skydome


def test_145_patches_make_the_hemisphere() -> None:
    assert sky.PATCHES == 145
    assert sky.weights().sum() == pytest.approx(np.pi, rel=1e-12)


def test_each_direction_has_its_patch() -> None:
    """Counted in cosine-weighted directions, patches get what their weights say."""
    rng = np.random.default_rng(0)
    azimuth, elevation = rng.uniform(0, 2 * np.pi, 400_000), np.arcsin(np.sqrt(rng.random(400_000)))
    share = np.bincount(sky.patch_of(azimuth, elevation), minlength=145) / 400_000
    np.testing.assert_allclose(share, sky.weights() / np.pi, atol=5 * np.sqrt(0.01 / 400_000))


@pytest.mark.parametrize(("direct", "diffuse", "elevation"), [(750, 70, 25), (0, 120, 40), (300, 150, 5), (50, 5, -2)])
def test_open_ground_gets_the_diffuse_it_is_given(direct: float, diffuse: float, elevation: float) -> None:
    lit = sky.radiance(np.zeros(1), np.radians([elevation]), np.array([direct]), np.array([diffuse]))
    assert (lit >= 0.0).all()
    assert (lit @ sky.weights())[0] == pytest.approx(diffuse, rel=1e-12)


def test_clearness_and_its_classes() -> None:
    """Perez et al. 1990, equation 1, by hand: overcast 1; DNI 700, DHI 70, zenith 60 degree."""
    assert skydome.clearness(0.0, 100.0, 1.0) == 1.0
    z = np.radians(60.0)
    by_hand = ((70 + 700) / 70 + 1.041 * z**3) / (1 + 1.041 * z**3)
    assert skydome.clearness(700.0, 70.0, z) == pytest.approx(by_hand)
    assert skydome.clearness(900.0, 0.0, 0.5) == 12.0


def test_the_table_at_a_clear_sky() -> None:
    """Class 8, zenith 0.5, brightness 0.1: parameters by hand from Table 1 of Perez, Seals & Michalsky 1993."""
    z = 0.5
    diffuse = 0.1 * 1361.0 / float(skydome.air_mass(z))
    a, b, c, d, e = skydome.distribution(9e3, diffuse, z)
    assert a == pytest.approx(-1.05 + 0.0289 * z + 0.1 * (0.4260 + 0.3590 * z))
    assert b == pytest.approx(-0.325 + 0.1156 * z + 0.1 * (0.7781 + 0.0025 * z))
    assert c == pytest.approx(31.0625 - 14.5 * z + 0.1 * (-46.1148 + 55.375 * z))
    assert d == pytest.approx(-7.2312 + 0.405 * z + 0.1 * (13.35 + 0.6234 * z))
    assert e == pytest.approx(1.5 - 0.6426 * z + 0.1 * (1.8564 + 0.5636 * z))


def test_an_overcast_sky_has_no_bright_sun() -> None:
    """Class 1 has its own equations 7 and 8 for c and d; the zenith is brighter than the horizon, as under cloud."""
    a, b, c, d, e = skydome.distribution(0.0, 120.0, np.radians(60.0))
    z, delta = np.radians(60.0), float(skydome.brightness(120.0, np.radians(60.0)))
    assert c == pytest.approx(np.exp((delta * (2.8 + 0.6004 * z)) ** 1.2375) - 1.0)
    assert d == pytest.approx(-np.exp(delta * (1.8734 + 0.6297 * z)) + 0.9738 + delta * 0.2809)
    high, low = (float(skydome.relative_radiance(np.array([a, b, c, d, e]), s, 0.0)) for s in (1.0, 0.1))
    assert high > low


def test_a_clear_sky_is_brightest_round_the_sun() -> None:
    lit = sky.radiance(np.array([1.0]), np.array([0.5]), np.array([800.0]), np.array([80.0]))[0]
    ring = np.linspace(0.0, 2 * np.pi, 60)
    near = sky.patch_of(1.0 + 0.2 * np.cos(ring), 0.5 + 0.2 * np.sin(ring))  # within 12 degree of the sun
    assert np.argmax(lit) in near
    assert lit[sky.patch_of(np.array(1.0), np.array(0.5))] > 3.0 * lit[sky.patch_of(np.array(4.1), np.array(0.5))]


def basin_emissivity(view: float, whole: float) -> float:
    """Mean emissivity of the sky seen in a circular basin, by quadrature of eps(x) = eps_h - b/2 - (b/2) ln x."""
    rim = 1.0 - view  # sin^2 of the rim's elevation
    half = 0.5 * sky.SLOPE
    return float(quad(lambda x: whole - half - half * np.log(x), rim, 1.0)[0] / view)


@pytest.mark.parametrize(("view", "mean"), [(0.9, 0.688), (0.8, 0.682), (0.6, 0.673)])
def test_the_low_sky_is_warm_and_a_basin_hides_it(view: float, mean: float) -> None:
    """Quadrature of the published law gives .688 / .682 / .673; an isotropic sky (.700) is 3 to 5 W/m2 too warm."""
    assert basin_emissivity(view, 0.70) == pytest.approx(mean, abs=6e-4)
    height = 20.0 * np.tan(np.arcsin(np.sqrt(1.0 - view)))
    found = windows(np.zeros((1, 3)), basin(20.0 / np.sqrt(np.cos(np.pi / 360)), height).shade)
    black = STEFAN_BOLTZMANN * 273.0**4
    slope = sky.low_sky_slope(0.70 * black, 273.0)
    seen = 0.70 * black * found.sky_view()[0] - slope * (found.sky_view()[0] + found.low_sky()[0])
    assert seen == pytest.approx(basin_emissivity(view, 0.70) * view * black, abs=0.05)
    isotropic = 0.70 * black * found.sky_view()[0]
    assert isotropic - seen >= 3.0  # red line: an isotropic sky must fail here


def test_cloud_flattens_the_sky() -> None:
    """Under a sky as warm as a black one there is no slope; a clear one has all of it (Unsworth & Monteith 1975)."""
    black = STEFAN_BOLTZMANN * 280.0**4
    assert sky.low_sky_slope(black, 280.0) == 0.0
    assert sky.low_sky_slope(0.70 * black, 280.0) == pytest.approx(0.5 * 0.09 * black)


def test_the_low_sky_integral_of_a_wall() -> None:
    """Endless wall on one side: windows against quadrature over azimuth and elevation."""
    made = mesh(
        [prism([[3e4, 20.0], [-3e4, 20.0]], [[0, 1], [0, 1]], [(0, -1), (0, 10), (1, 10), (1, -1)], False, GREY)],
        NOTHING,
    )
    found = windows(np.zeros((1, 3)), made.shade)

    def hidden(azimuth: float) -> float:
        x = np.sin(np.arctan(0.5 * np.sin(azimuth))) ** 2
        return float(x * np.log(x) - x) if x > 0.0 else 0.0

    exact = -1.0 - quad(hidden, 1e-9, np.pi - 1e-9)[0] / (2.0 * np.pi)
    assert found.low_sky()[0] == pytest.approx(exact, abs=1e-4)
