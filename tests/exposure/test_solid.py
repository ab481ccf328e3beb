"""A bowl from a mesh file against the same bowl described: sky, sun, reflection, longwave, crest, cache."""

from pathlib import Path

import drawn
import numpy as np
import pytest

from microclimate.exposure import cache, exchange, plan
from microclimate.exposure.bowl import Bowl, bowl
from microclimate.exposure.mesh import sweep
from microclimate.venue import load

pytest.importorskip("trimesh")

STANDS = """
[bowl]
fascia_material = "steps"
[[material]]
name = "steps"
like = "concrete"
albedo = 0.6
[[material]]
name = "sheet"
like = "concrete"
albedo = 0.5
emissivity = 0.9
"""
TIER = "[[stand.tier]]\nfront_height = 1.2\ntread = 0.8\nriser = 0.45\nrows = 24\n" + 'material = "steps"\n'
ROOF = "[stand.roof]\ndepth = 12\nheight_front = 18\nheight_back = 17\ntransmittance = {tau}\n"


def described(tau: float = 0.0) -> load.Venue:
    stands = [
        f'[[stand]]\nname = "{s}"\nside = "{s}"\nstart = -{a}\nend = {a}\nsetback = 8\n{TIER}'
        for s, a in (("right", 45), ("head", 25), ("left", 45))
    ]
    return load.text(drawn.VENUE + STANDS + "\n".join(stands) + ROOF.format(tau=tau))


def from_file(folder: Path, tau: float = 0.0) -> load.Venue:
    venue = described(tau)
    parts = {b.name: sweep(b, b.section)[0] for b in plan.bodies(venue.bowl, venue.field)}
    drawn.obj(folder / "bowl.obj", parts)
    table = '[[mesh]]\nfile = "bowl.obj"\nmaterial = "steps"\n[[mesh.part]]\ngroup = "left, roof"\nmaterial = "sheet"\n'
    return load.text(f"{drawn.VENUE}{STANDS}{table}roof = true\ntransmittance = {tau}\n", directory=folder)


@pytest.fixture(scope="module", params=[0.0, 0.4], ids=["opaque", "translucent"])
def pair(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Bowl, Bowl]:
    folder = tmp_path_factory.mktemp("drawn")
    return bowl(described(request.param)), bowl(from_file(folder, request.param))


def test_sun_and_sky_are_the_same(pair: tuple[Bowl, Bowl]) -> None:
    ours, theirs = pair
    np.testing.assert_allclose(theirs.sky_view, ours.sky_view, atol=3e-4)
    rng = np.random.default_rng(1)
    suns = rng.uniform(0.0, 360.0, 200), rng.uniform(2.0, 70.0, 200)
    assert (np.abs(ours.sun_factor(*suns) - theirs.sun_factor(*suns)) > 1e-6).mean() <= 1e-3
    np.testing.assert_array_equal(theirs.open_above, ours.open_above)


def test_light_off_the_stands_is_nearly_the_same(pair: tuple[Bowl, Bowl]) -> None:
    """Elements and facets are cut otherwise: the bars of the described bowl against a ray tracer, 5 % and 1 W/m2."""
    ours, theirs = pair
    for azimuth, elevation, direct in ((180.0, 25.6, 750.0), (215.0, 15.0, 600.0), (180.0, 72.0, 850.0)):
        one, two = (direct * b.off_stands(azimuth, elevation)[0] for b in (ours, theirs))
        assert abs(two.mean() / one.mean() - 1.0) <= 0.05
        assert np.sqrt(np.mean((two - one) ** 2)) <= 1.0
    sky = tuple(np.array([v]) for v in (180.0, 40.0, 0.0, 120.0))
    np.testing.assert_allclose(theirs.reflected(*sky), ours.reflected(*sky), rtol=0.1, atol=0.3)


def test_longwave_and_balance_are_the_same(pair: tuple[Bowl, Bowl]) -> None:
    ours, theirs = pair
    night = np.array([230.0]), np.array([270.0]), np.array([273.0])
    for one, two in zip(ours.longwave(*night), theirs.longwave(*night), strict=True):
        np.testing.assert_allclose(two, one, atol=0.5)
    e = theirs.geometry.exchange
    np.testing.assert_allclose(e.factor_thermal.sum(axis=1) + e.view, 1.0, atol=1e-6)
    black = 5.670374419e-8 * 270.0**4
    np.testing.assert_allclose(sum(theirs.longwave(black, 270.0, 270.0)), black, rtol=1e-6)


def test_wind_meets_the_same_crest_and_not_the_roof(pair: tuple[Bowl, Bowl]) -> None:
    """Slope of the sight to the crest: the described bowl has the plane over its nosings, a riser (.45 m) higher."""
    (one, high), (two, tall) = (b.crest(36) for b in pair)
    np.testing.assert_array_equal(high > 0.0, tall > 0.0)
    some = high > 0.0
    assert (np.abs(tall / two - high / one)[some] <= 0.45 / np.minimum(one, two)[some]).all()
    assert tall.max() == pytest.approx(high.max(), abs=1e-6)  # 1.2 + 23 * .45 + 1.1 - .02, no roof
    assert tall.max() == pytest.approx(12.63)


def test_faces_towards_the_field_are_what_the_air_meets(pair: tuple[Bowl, Bowl]) -> None:
    """Steps and fronts, not backs and undersides: areas within 15 % (a back wall's top counts as a tread)."""
    ours, theirs = pair

    def area(b: Bowl, parts: tuple[str, ...]) -> float:
        return sum(
            a for f, a in zip(b.mesh.facets, b.geometry.exchange.area, strict=True) if f.part in parts and f.body
        )

    steps = ("tread", "riser", "front", "fascia", "parapet", "parapet top", "concourse", "end")
    assert area(theirs, ("tread", "riser")) == pytest.approx(area(ours, steps), rel=0.15)
    assert area(theirs, ("roof under",)) == pytest.approx(area(ours, ("roof under",)), rel=0.02)


def test_no_face_of_a_drawn_bowl_is_met_from_behind(pair: tuple[Bowl, Bowl]) -> None:
    rng = np.random.default_rng(4)
    origin = np.column_stack([rng.uniform(-49, 49, 20_000), rng.uniform(-29, 29, 20_000), np.full(20_000, 0.3)])
    direction = rng.normal(size=(20_000, 3))
    scene = exchange.Scene(pair[1].mesh)
    _, behind = scene.hit(origin, direction / np.linalg.norm(direction, axis=1, keepdims=True))
    assert behind.sum() == 0


def test_another_content_is_another_entry_of_the_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "cache_root", lambda: tmp_path / "kept")
    for sides in (("left",), ("left",), ("left", "head")):
        drawn.obj(tmp_path / "bowl.obj", drawn.bowl(sides))
        bowl(load.text(drawn.VENUE + '[[mesh]]\nfile = "bowl.obj"\n', directory=tmp_path))
    assert len(list((tmp_path / "kept").glob("bowl-*"))) == 2


def test_a_mesh_of_many_directions_stays_small(tmp_path: Path) -> None:
    """A finely curved wall: facets and elements stay within their limits."""
    turns = np.linspace(0.0, 2.0 * np.pi, 2001)
    ring = []
    for radius in (70.0, 71.0):
        foot, top = (np.column_stack([radius * np.cos(turns), radius * np.sin(turns), z + 0 * turns]) for z in (-1, 15))
        quads = [foot[:-1], foot[1:], top[1:], top[:-1]]
        ring.append(quads if radius > 70.5 else quads[::-1])
    (a, b, c, d), (e, f, g, h) = ring
    walls = [np.stack(t, axis=1) for t in ((a, b, c), (a, c, d), (e, f, g), (e, g, h))]
    i, j, k, m = ring[1][0], ring[1][1], ring[0][2], ring[0][3]
    p, q, r, s = ring[0][0], ring[0][1], ring[1][2], ring[1][3]
    walls += [np.stack(t, axis=1) for t in ((m, k, j), (m, j, i), (s, r, q), (s, q, p))]
    drawn.obj(tmp_path / "bowl.obj", {"wall": np.concatenate(walls)})
    venue = load.text(drawn.VENUE + '[[mesh]]\nfile = "bowl.obj"\n', directory=tmp_path)
    made = plan.venue_mesh(venue.bowl, venue.field)
    assert len(made.facets) <= 1000 + 14 * 9
    assert len(made.owner) <= 5000 + 14 * 9
