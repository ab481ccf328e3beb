"""Two sheets as two nodes, against all four faces resolved: an independent balance solved by a general root finder.

The nodes are the lower face of the lower sheet and the upper face of the upper one. What that leaves out is said in
`column.sheet`: the heat of the two inner faces lies on the outer ones, and what a lower sheet sends straight to the sky
through the upper one is of its lower face. A face differs from the other one of its sheet by flux times resistance,
some 0.5 K in a clear night, of which a share (transmittance times emissivity, at most a quarter) is so misplaced.
"""

from typing import Any

import numpy as np
import pytest
from scipy.optimize import root

from microclimate.column import layers, rows
from microclimate.column.lanes import RESISTANCE_UNFROZEN
from tests.column import block as lanes
from tests.column.block import Block
from tests.simulate.world import zone

SIGMA = 5.670374419e-8
# conductance, gap up, gap down, light through, longwave through, emissivity, albedo: the first of `store.COVER_ROWS`
WOVEN = (100.0, 2.5, 2.0, 0.5, 0.2, 0.75, 0.3)
CLEAR = (200.0, 1.95, 0.5, 0.85, 0.7, 0.2, 0.1)
THICK = (10.0, 2.5, 2.0, 0.05, 0.0, 0.9, 0.4)
BRIGHT = (50.0, 2.5, 2.0, 0.0, 0.0, 0.1, 0.8)


def _kind(numbers: tuple[float, ...], sheets: int, mass: float = 0.13) -> list[float]:
    face = 0.5 * sheets * 1500.0 * mass
    return [*numbers, face, 0.0, float(sheets), 1.95, 1.25, 5.0, 4.0, 50.0, 0.0, 0.0, 0.0, 0.0]


def _settled(monkeypatch: pytest.MonkeyPatch, kind: list[float], sun: float, sky: float) -> Block:
    """A dry column under such a cover in steady weather, until nothing moves but the deep ground."""
    monkeypatch.setattr(lanes, "COVERS", np.array([kind]))
    cut = layers.grid(zone().layers)
    block = Block(layers.kernel_parameters(layers.properties(cut, cut.water_content)), 16.0)
    block.set(COVERED=1.0, SUN=sun, LONGWAVE=sky, AIR=2.0 if sun else 8.0)
    block.set(HUMIDITY=1e-5, RESISTANCE_DAY=1e9, RESISTANCE_NIGHT=1e9)
    for _ in range(300):
        block.advance(60.0)
    return block


def _radiation(faces: Any, through: float, emissivity: float, ground: float, sky: float) -> Any:
    """Net longwave of ground, lower sheet's faces, upper sheet's faces [W m-2]: all streams between them at once.

    Unknown are the streams down and up in each of three spaces (over the sheets, between them, under them).
    """
    emits = SIGMA * (np.asarray(faces) + 273.15) ** 4
    back = 1.0 - through - emissivity
    # d2 = sky; d1 = t d2 + e E(upper, lower face) + r u1; d0 the same; u0 = eg Eg + (1-eg) d0; u1, u2 upwards
    names = ("d1", "d0", "u0", "u1", "u2")
    place = {name: number for number, name in enumerate(names)}
    matrix, given = np.eye(5), np.zeros(5)
    for name, terms, right in (
        ("d1", {"u1": back}, through * sky + emissivity * emits[3]),
        ("d0", {"d1": through, "u0": back}, emissivity * emits[1]),
        ("u0", {"d0": 1.0 - ground}, ground * emits[0]),
        ("u1", {"u0": through, "d1": back}, emissivity * emits[2]),
        ("u2", {"u1": through}, emissivity * emits[4] + back * sky),
    ):
        for other, share in terms.items():
            matrix[place[name], place[other]] -= share
        given[place[name]] = right
    d1, d0, u0, u1, _ = np.linalg.solve(matrix, given)
    lower_up, upper_up = u0, u1
    return np.array(
        [
            ground * d0 - ground * emits[0],
            emissivity * lower_up - emissivity * emits[1],
            emissivity * d1 - emissivity * emits[2],
            emissivity * upper_up - emissivity * emits[3],
            emissivity * sky - emissivity * emits[4],
        ]
    )


def _resolved(block: Block, kind: list[float], sun: float, sky: float) -> Any:
    """Leaf and four faces in balance, over the kernel's own ground and under its own exchange with the air [degC]."""
    own, up, down = kind[:3]
    light, through, emissivity, back = kind[3:7]
    soil, half = float(block.soil[0, 0]), float(block.layer[1, RESISTANCE_UNFROZEN, 0])
    outer = float(block[rows.OUTER][0])
    exchange = float(block[rows.SENSIBLE][0]) / (outer - float(block[rows.AIR][0]))
    albedo, takes = 0.21, 1.0 - light - back
    lower = 1.0 / (1.0 - back * albedo)
    seen = back + light * light * albedo * lower
    middle = light / (1.0 - back * seen)
    lit = np.array([middle * light * lower * (1.0 - albedo), middle * takes * (1.0 + light * albedo * lower), 0.0])
    lit[2] = takes * (1.0 + middle * seen)
    lit = lit * sun

    def balance(faces: Any) -> Any:
        leaf, one, two, three, four = faces
        net = _radiation(faces, through, emissivity, 0.97, sky)
        gap, between = (up if leaf > one else down), (1.95 if two > three else 1.25)
        flows = [gap * (leaf - one), own * (one - two), between * (two - three), own * (three - four)]
        into = (leaf - soil) / (1.0 / 5.0 + half)
        return [
            net[0] + lit[0] - into - flows[0],
            net[1] + lit[1] + flows[0] - flows[1],
            net[2] + flows[1] - flows[2],
            net[3] + flows[2] - flows[3],
            net[4] + lit[2] + flows[3] - exchange * (four - float(block[rows.AIR][0])),
        ]

    found = root(balance, [float(block[rows.LEAF][0]), *[float(block[rows.INNER][0])] * 2, *[outer] * 2], tol=1e-10)
    assert found.success
    return found.x


@pytest.mark.parametrize(("sun", "sky"), [(0.0, 230.0), (350.0, 280.0)], ids=["night", "day"])
@pytest.mark.parametrize("numbers", [WOVEN, CLEAR, THICK, BRIGHT], ids=["woven", "clear film", "thick", "bright"])
def test_two_nodes_stand_for_four_faces(
    monkeypatch: pytest.MonkeyPatch, numbers: tuple[float, ...], sun: float, sky: float
) -> None:
    """Leaf and faces within 0.05 K, a twentieth of what the thinnest cover buys in a night (found: 0.03 K)."""
    kind = _kind(numbers, 2)
    block = _settled(monkeypatch, kind, sun, sky)
    wanted = _resolved(block, kind, sun, sky)
    found = [float(block[row][0]) for row in (rows.LEAF, rows.INNER, rows.OUTER)]
    np.testing.assert_allclose(found, wanted[[0, 1, 4]], atol=0.05)
