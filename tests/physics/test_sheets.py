"""Sheets, what passes them, and the air and vapour under them."""

import numpy as np
from numpy.testing import assert_allclose

from microclimate.physics import cover


def _streams(upper: tuple[float, ...], lower: tuple[float, ...], ground: float) -> np.ndarray:
    """Where radiation from sky, upper and lower sheet (each 1) ends, (source, end), by all streams solved at once."""
    t2, a2, b2 = upper
    t1, a1, b1 = lower
    # down between, down below, up below, up between
    matrix = np.array(
        [
            [1.0, 0.0, 0.0, -(1.0 - t2 - b2)],
            [-t1, 1.0, -(1.0 - t1 - b1), 0.0],
            [0.0, -(1.0 - ground), 1.0, 0.0],
            [-(1.0 - t1 - a1), 0.0, -t1, 1.0],
        ]
    )
    given = {"sky": [t2, 0.0, 0.0, 0.0], "upper": [b2, 0.0, 0.0, 0.0], "lower": [0.0, b1, 0.0, a1]}
    found = []
    for name, right in given.items():
        down, bottom, up, back = np.linalg.solve(matrix, right)
        own = a2 if name == "sky" else 0.0
        found.append([ground * bottom, a1 * down + b1 * up, own + b2 * back])
    return np.array(found)


def test_every_bounce_is_counted() -> None:
    """Two hundred random pairs of sheets against all streams solved as one linear system."""
    rng = np.random.default_rng(7)
    for _ in range(200):
        upper, lower = (tuple(rng.dirichlet([1, 1, 1])[:2]) for _ in range(2))
        upper, lower = (*upper, rng.uniform(0, 1 - upper[0])), (*lower, rng.uniform(0, 1 - lower[0]))
        ground = rng.uniform(0.05, 1.0)
        sky, among = cover.absorbed_between(*upper, *lower, ground)
        wanted = _streams(upper, lower, ground)
        assert_allclose(sky, wanted[0], rtol=1e-12)
        assert_allclose(among[:2], wanted[1, :2], rtol=1e-12)
        assert_allclose(among[2], wanted[2, 0], rtol=1e-12)


def test_one_opaque_sheet_is_a_pair_of_plates() -> None:
    sky, among = cover.absorbed_between(0.0, 0.8, 0.8, 1.0, 0.0, 0.0, 0.95)
    assert_allclose(sky, (0.0, 0.0, 0.8), atol=1e-15)
    assert_allclose(among[0], cover.plate_emissivity(0.8, 0.95), rtol=1e-12)
    assert_allclose(among[1:], (0.0, 0.0), atol=1e-15)


def test_no_sheet_at_all_lets_the_sky_through() -> None:
    sky, _ = cover.absorbed_between(1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.97)
    assert_allclose(sky, (0.97, 0.0, 0.0), atol=1e-15)


def test_films_shut_a_sheet_to_longwave() -> None:
    dry = cover.wetted_longwave(0.7, 0.2, 0.0, 0.0)
    assert_allclose(dry, (0.7, 0.2, 0.2))
    assert_allclose(cover.wetted_longwave(0.7, 0.2, 1.0, 0.0), (0.0, 0.96, 0.2 + 0.7 * 0.96))
    assert_allclose(cover.wetted_longwave(0.7, 0.2, 0.0, 1.0), (0.0, 0.2 + 0.7 * 0.96, 0.96))
    share = np.linspace(0.0, 1.0, 11)
    through, top, under = cover.wetted_longwave(0.7, 0.2, share, 0.5)
    assert (through + np.maximum(top, under) <= 1.0 + 1e-12).all()


def test_drops_and_ice_on_a_sheet() -> None:
    """A tenth of the light off a film of drops (ours); 1 kg/m2, 10 mm of fresh snow, hides half (ours)."""
    assert_allclose(cover.wetted_shortwave(0.6, 0.2, 0.0, 0.0), (0.6, 0.2))
    assert_allclose(cover.wetted_shortwave(0.6, 0.2, 1.0, 0.0), (0.54, 0.26))
    assert_allclose(cover.wetted_shortwave(0.6, 0.2, 0.0, 1.0), (0.3, 0.5 * 0.2 + 0.5 * 0.8))
    assert_allclose(cover.wetted_shortwave(0.6, 0.2, 0.0, 3.0), (0.15, 0.25 * 0.2 + 0.75 * 0.8))


def test_blown_air_gives_what_its_transfer_units_say() -> None:
    """Mixed flow: NTU / (1 + NTU) (Kays & London; Incropera ch. 11), and no air leaves two faces in series."""
    face, supply = 4.0, np.array([0.1, 1.0, 8.0, 100.0])
    _, each = cover.gap_star(face, supply)
    units = 2.0 * face / supply
    assert_allclose(2.0 * each / supply, units / (1.0 + units), rtol=1e-9)
    assert_allclose(cover.gap_star(face, 0.0), (0.5 * face, 0.0), atol=1e-11)


def test_vapour_that_comes_into_the_gap_goes_out_of_it() -> None:
    rng = np.random.default_rng(4)
    held, under, outside = rng.uniform(1e-3, 1e-2, (3, 500))
    gives, hangs, vent = rng.uniform(0.0, 3e-3, (3, 500))
    humidity, a, b = cover.gap_humidity(held, gives, under, hangs, 3e-3, vent, outside)
    assert_allclose(a * (held - humidity) + b * (under - humidity) + vent * (outside - humidity), 0.0, atol=1e-11)
    # dew comes to a dry face as to a wet one
    dry, onto, _ = cover.gap_humidity(2e-3, 0.0, 9e-3, 0.0, 3e-3, 1e-3, 6e-3)
    assert onto == 3e-3
    assert_allclose(dry, (3.0 * 2e-3 + 1.0 * 6e-3) / 4.0, rtol=1e-6)
    # nothing gives and nothing takes: as outside
    assert_allclose(cover.gap_humidity(9e-3, 0.0, 9e-3, 0.0, 3e-3, 1e-3, 6e-3)[0], 6e-3, rtol=1e-6)


def test_air_below_edges_and_through_pores() -> None:
    """Edge: 0.6 (sharp opening) times half of the edge: 10 mm open round 100 m by 70 m in 5 m/s lets in 0.73 L/s per m2
    ... of field, worked out by hand. Pores: 0.1 m/s at 100 Pa is 1e-3 m/s per pascal; 3 m/s is 5.6 Pa, a tenth of it
    pushes, half of the sheet takes in."""
    assert_allclose(5.0 * cover.edge_exchange(0.01, 340.0, 7000.0), 0.6 * 0.5 * 0.01 * 340.0 * 5.0 / 7000.0, rtol=1e-12)
    assert_allclose(9.0 * cover.pore_exchange(0.1), 0.5 * 1e-3 * 0.1 * 0.5 * 1.25 * 9.0, rtol=1e-12)
