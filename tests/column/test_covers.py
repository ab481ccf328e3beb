"""Air, water and light under a cover, in the kernel: heat that is blown in, vapour, rain, sun."""

from typing import Any

import numpy as np
import pytest

from microclimate.column import layers, rows
from microclimate.column.store import COVER_ROWS
from microclimate.constants import HEAT_CAPACITY_AIR
from tests.column import block as lanes
from tests.column.block import Block
from tests.simulate.world import zone

BLANKET, FABRIC, TWO_FABRICS, TWO_FILMS = 1.0, 2.0, 3.0, 4.0


def _block(degrees: float = 4.0, **given: Any) -> Block:
    cut = layers.grid(zone().layers)
    block = Block(layers.kernel_parameters(layers.properties(cut, cut.water_content)), degrees)
    block.set(**given)
    return block


def _kinds(monkeypatch: pytest.MonkeyPatch, **changed: float) -> None:
    """The covers of the block with some of their numbers changed, by row."""
    covers = lanes.COVERS.copy()
    for name, value in changed.items():
        covers[:, COVER_ROWS.index(getattr(rows, name))] = value
    monkeypatch.setattr(lanes, "COVERS", covers)


def _gap_air(block: Block) -> Any:
    """Temperature of the mixed air under the cover at the end of a step [degC]."""
    face = block[rows.GAP_FACE] * block[rows.DENSITY] * HEAT_CAPACITY_AIR
    vent = block[rows.VENT]
    whole = face * (block[rows.LEAF] + block[rows.INNER]) + vent * block[rows.VENT_AIR]
    return whole / (2.0 * face + vent)


@pytest.mark.parametrize("wind", [0.0, 3.0, 9.0])
@pytest.mark.parametrize("flow", [0.5, 6.0, 60.0])
def test_blown_heat_is_given_lost_or_leaked(flow: float, wind: float) -> None:
    """Heat delivered = taken up below and by the cover + gone out with the air + leaked unused, to 1e-12.

    What was taken up is what the kernel put into its nodes (UNDER: nothing else comes under an opaque dry blanket).
    """
    block = _block(WARM_FLOW=flow, WARM_AIR=25.0, COVERED=BLANKET, WIND=wind, AIR=-4.0, HUMIDITY=1e-9, LONGWAVE=230.0)
    block.set(RESISTANCE_DAY=1e30, RESISTANCE_NIGHT=1e30)
    for _ in range(30):
        block.advance(300.0)
    delivered = flow * (25.0 + 4.0)
    leaked = 0.1 * delivered
    out = block[rows.VENT] * (_gap_air(block) - block[rows.AIR])
    taken = block[rows.UNDER]
    assert block[rows.LEAF].min() > 0.0  # a frozen leaf would give off vapour
    assert taken.min() > 3.0
    np.testing.assert_allclose(taken + out + leaked, delivered, rtol=1e-12)
    # of what comes in, warmed over the faces' mean, they keep NTU / (1 + NTU) (mixed flow: Incropera ch. 11)
    face = block[rows.GAP_FACE] * block[rows.DENSITY] * HEAT_CAPACITY_AIR
    units = 2.0 * face / block[rows.VENT]
    mean = 0.5 * (block[rows.LEAF] + block[rows.INNER])
    kept = taken / (block[rows.VENT] * (block[rows.VENT_AIR] - mean))
    np.testing.assert_allclose(kept, units / (1.0 + units), rtol=1e-12)


def test_more_leakage_leaves_less_for_the_leaf(monkeypatch: pytest.MonkeyPatch) -> None:
    warmth = []
    for wastes in (0.0, 0.3, 0.6):
        _kinds(monkeypatch, COVER_WASTES=wastes)
        block = _block(WARM_FLOW=3.0, WARM_AIR=25.0, COVERED=BLANKET, AIR=-4.0, LONGWAVE=230.0)
        for _ in range(72):
            block.advance(300.0)
        warmth.append(float(block[rows.LEAF][0]))
    assert np.all(np.diff(warmth) < -0.5)


def test_wind_takes_warmth_through_edges_and_pores_and_by_flapping(monkeypatch: pytest.MonkeyPatch) -> None:
    """In 6 m/s each of the three costs the leaf warmth; in a calm none does."""
    for wind, least in ((0.0, 0.0), (6.0, 0.1)):
        leaf = []
        for name, value in (("", 0.0), ("COVER_EDGE", 1e-3), ("COVER_PORES", 1e-4), ("FLAPS_FROM", 3.0)):
            quiet = {"COVER_EDGE": 0.0, "COVER_PORES": 0.0, "FLAPS_FROM": 50.0, "COVER_PASSES": 0.0}
            _kinds(monkeypatch, **(quiet | ({name: value} if name else {})))
            block = _block(8.0, COVERED=FABRIC, WIND=wind, AIR=-4.0, HUMIDITY=0.0015, LONGWAVE=250.0)
            for _ in range(72):
                block.advance(300.0)
            leaf.append(float(block[rows.LEAF][0]))
        lost = leaf[0] - np.array(leaf[1:])
        assert (lost >= least).all(), (wind, leaf)
        if wind == 0.0:
            assert abs(lost).max() < 1e-9


def test_a_wet_leaf_dries_through_a_fabric_and_not_under_a_blanket() -> None:
    """0.25 kg/m2 in a sunless, dry, mild day: through the fabric it goes, under the closed sheet it hangs or stays."""
    left, hanging = [], []
    for cover in (FABRIC, BLANKET):
        block = _block(8.0, COVERED=cover, WIND=3.0, AIR=8.0, HUMIDITY=0.003, LONGWAVE=330.0, LEAF_FILM=0.25)
        came, gross = np.zeros(block.lanes), np.zeros(block.lanes)
        start = block.stored()
        for _ in range(288):
            a, b = block.advance(300.0)
            came, gross = came + a, gross + b
        assert (abs(block.stored() - start - came) / gross).max() < 1e-12
        left.append(float(block[rows.LEAF_FILM][0]))
        hanging.append(float(block[rows.UNDER_FILM][0]))
    assert left[0] < 0.02
    assert left[1] + hanging[1] > 0.15


def test_dew_hangs_below_a_cold_closed_sheet_and_drips() -> None:
    """A wet, warm leaf under a sheet that radiates: the underside gathers dew to its fill; the rest is back below."""
    block = _block(12.0, COVERED=BLANKET, WIND=1.0, AIR=-6.0, HUMIDITY=0.0018, LONGWAVE=230.0, LEAF_FILM=0.3)
    dew = 0.0
    for _ in range(288):
        block.advance(300.0)
        dew = max(dew, float(block[rows.DEW][0]))
    assert dew > 1e-6
    assert float(block[rows.UNDER_FILM][0]) == pytest.approx(0.1)
    assert float(block[rows.LEAF_FILM][0] + block[rows.LEAF_FROST][0]) > 0.1


def test_water_is_kept_account_of_under_a_closed_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    """No leak, dry leaves closed: what is on the leaf and below the sheet stays what it was."""
    _kinds(monkeypatch, COVER_EDGE=0.0)
    block = _block(12.0, COVERED=BLANKET, AIR=-2.0, HUMIDITY=0.002, LONGWAVE=230.0, LEAF_FILM=0.3)
    block.set(RESISTANCE_DAY=1e30, RESISTANCE_NIGHT=1e30)
    for _ in range(60):
        block.advance(300.0)
    left = block[rows.LEAF_FILM] + block[rows.LEAF_FROST] + block[rows.UNDER_FILM]
    assert float(block[rows.UNDER_FILM][0]) > 0.03
    np.testing.assert_allclose(left, 0.3, atol=0.003)  # humidity is of the pass, not of its end: 1 % of what moved


@pytest.mark.parametrize(("cover", "share"), [(FABRIC, 0.8), (BLANKET, 0.0)])
def test_rain_comes_through_a_fabric(cover: float, share: float) -> None:
    """1.2 kg/m2 of rain at 4 degC: the leaf fills to its 0.3 under a fabric, stays dry under a blanket."""
    block = _block(COVERED=cover, RAIN=2e-3, AIR=4.0, HUMIDITY=0.005, LONGWAVE=320.0, WIND=0.5)
    block.advance(300.0)
    block.advance(300.0)
    # what came through the fabric in the last step has yet to drip
    assert float(block[rows.LEAF_FILM][0]) == pytest.approx(0.3 if share else 0.0, abs=0.05)
    assert float(block[rows.COVER_FILM][0]) == pytest.approx(0.2, abs=0.02)


def test_snow_that_melts_on_a_fabric_drips_through(monkeypatch: pytest.MonkeyPatch) -> None:
    """Snow stays on the sheet; once it melts its water goes on, past what the sheet holds, to the leaf."""
    wet = []
    for through in (0.8, 0.0):
        _kinds(monkeypatch, COVER_RAIN=through)
        block = _block(2.0, COVERED=FABRIC, SNOWFALL=2e-3, AIR=-1.0, HUMIDITY=0.0033, LONGWAVE=300.0)
        block.advance(600.0)
        assert float(block[rows.COVER_FROST][0]) > 1.0
        assert float(block[rows.LEAF_FILM][0]) == 0.0
        block.set(SNOWFALL=0.0, AIR=7.0, HUMIDITY=0.006, LONGWAVE=340.0, SUN=200.0)
        most = 0.0
        for _ in range(72):
            block.advance(300.0)
            most = max(most, float(block[rows.LEAF_FILM][0]))
        wet.append(most)
    assert wet[0] > 0.25
    assert wet[1] < 0.1


def test_frost_and_snow_on_a_cover_keep_the_light_off() -> None:
    lit = []
    for frost in (0.0, 0.1, 1.0, 10.0):
        block = _block(-2.0, COVERED=FABRIC, AIR=-5.0, HUMIDITY=0.002, LONGWAVE=230.0, SUN=300.0)
        block.advance(1.0)
        block.set(COVER_FROST=frost)
        block[rows.OUTER_ENTHALPY] = block[rows.OUTER_ENTHALPY] - frost * (334000.0 + 2100.0 * 5.0)
        block.advance(1.0)
        lit.append(float(block[rows.BELOW_SUN][0]))
    assert lit[0] > 110.0
    assert np.all(np.diff(lit) < 0.0)
    assert lit[2] == pytest.approx(0.5 * lit[0], rel=0.15)  # 1 kg/m2 of fresh snow is 10 mm, which hides half (ours)
    assert lit[3] < 0.12 * lit[0]


def test_a_wet_film_is_shut_to_longwave() -> None:
    """Clear film passes 0.7 of the sky's longwave dry; wet, next to none: the leaf below cools less."""
    leaf = []
    for film in (0.0, 0.2):
        block = _block(6.0, COVERED=TWO_FILMS, AIR=1.0, HUMIDITY=0.0035, LONGWAVE=220.0, WIND=1.0)
        block.advance(1.0)
        for _ in range(48):
            block.set(UNDER_FILM=0.5 * film, COVER_FILM=film)
            block[rows.OUTER_ENTHALPY] = np.maximum(block[rows.OUTER_ENTHALPY], 0.0)
            block.advance(300.0)
        leaf.append(float(block[rows.LEAF][0]))
    assert leaf[1] > leaf[0] + 1.0
