"""Hardening: the course its authors tabulated, step by step, and the limits of each relation.

Rows of a course that A. K. Bergjord gave for checking codes of the model (winter wheat, hardest -24 degC, tender
-4.01 degC), as an open crop-model library prints them; read there, each rate to its last printed digit.
"""

import numpy as np
import pytest

from microclimate.physics import hardening as h
from microclimate.risk.turf import killing_temperature

ZERO, HARDEST, TENDER = 273.15, 273.15 - 24.0, 273.15 - 4.01


@pytest.mark.parametrize(
    ("lt50", "crown", "rate"),
    [
        (-4.04, 6.72, 0.6089),
        (-6.95, 4.70, 0.8403),
        (-15.21, 4.85, 0.4210),
        (-20.04, -0.16, 0.3681),
        (-4.01, 9.84, 0.0297),
    ],
)
def test_hardening_of_a_cold_day(lt50: float, crown: float, rate: float) -> None:
    """LT50 is printed to 0.01 K: H x 10 x 0.005 = 0.0005."""
    assert h.hardening(lt50 + ZERO, HARDEST, crown + ZERO) == pytest.approx(rate, abs=5.5e-4)


@pytest.mark.parametrize(
    ("lt50", "crown", "rate"),
    [(-23.78, -1.76, 0.0060), (-23.77, -0.61, 0.0208), (-23.66, -0.16, 0.0300), (-21.86, -0.52, 0.0203)],
)
def test_softening_of_a_mild_day(lt50: float, crown: float, rate: float) -> None:
    assert h.dehardening(lt50 + ZERO, TENDER, crown + ZERO) == pytest.approx(rate, abs=1e-4)


@pytest.mark.parametrize(
    ("lt50", "crown", "rate"), [(-23.60, -7.56, 3.95e-11), (-23.63, -8.27, 1.36e-10), (-23.67, -9.01, 4.95e-10)]
)
def test_frost_stress(lt50: float, crown: float, rate: float) -> None:
    """Steep: 0.005 K of printed LT50 is S x 0.005 = 1 %."""
    assert h.frost_stress(lt50 + ZERO, crown + ZERO) == pytest.approx(rate, rel=0.02)


@pytest.mark.parametrize(
    ("crown", "snow", "rate"),
    [(-0.16, 0.08, 0.0560), (-0.16, 0.17, 0.0875), (-0.61, 0.22, 0.0723), (-6.28, 0.10, 0.0098)],
)
def test_respiration_under_snow(crown: float, snow: float, rate: float) -> None:
    """The formula is printed with 0.84 and 0.051, the course was made with about 0.8408 and 0.0507: 0.0008 a day."""
    assert h.snow_stress(crown + ZERO, snow) == pytest.approx(rate, abs=8e-4)


@pytest.mark.parametrize(
    ("crown", "share"), [(10.0, 0.7393), (13.27, 0.3618), (4.85, 1.0), (0.86, 0.7343), (-0.16, 0.5271), (-1.55, 0.0)]
)
def test_vernalisation_of_a_day(crown: float, share: float) -> None:
    assert h.cold_had(crown + ZERO) == pytest.approx(share, abs=1e-4)


@pytest.mark.parametrize(
    ("days", "share"), [(16.7999, 0.1884), (22.4038, 0.4946), (38.0151, 0.9323), (56.4430, 0.9900)]
)
def test_winter_had(days: float, share: float) -> None:
    assert h.winter_had(days) == pytest.approx(share, abs=1e-4)


def test_a_cold_autumn_hardens_and_warmth_keeps_tender() -> None:
    """Steady 2 degC: d(LT50)/dt = -H (10 - 2)(LT50 - hardest), so the distance shrinks by (1 - 0.0744) a day; 20 degC
    keeps a plant as tender as it was. Frost stress 6 K above LT50 is 6 exp(3.74 - 11.4) = 0.003 K on the first day."""
    crown = np.array([[2.0, 20.0]] * 20) + ZERO
    found = killing_temperature(crown, np.zeros_like(crown), np.full(2, TENDER), np.full(2, HARDEST))
    wanted = HARDEST + (TENDER - HARDEST) * (1.0 - 8.0 * h.HARDENING) ** np.arange(1, 21)
    np.testing.assert_allclose(found[:, 0], wanted, atol=0.003)
    np.testing.assert_allclose(found[:, 1], TENDER)


def test_a_warm_spell_after_winter_is_not_made_good() -> None:
    """After its winter the grass softens above -4 degC and hardens no more, however cold."""
    crown = np.array([[3.0]] * 70 + [[12.0]] * 10 + [[-5.0]] * 10) + ZERO
    found = killing_temperature(crown, np.zeros_like(crown), np.array([TENDER]), np.array([HARDEST]))[:, 0]
    assert found[79] > found[69] + 0.5
    assert (np.diff(found[80:]) >= 0.0).all()


def test_bounds_hold() -> None:
    rng = np.random.default_rng(3)
    crown = rng.uniform(-25.0, 25.0, (300, 4)) + ZERO
    found = killing_temperature(crown, rng.uniform(0, 0.5, crown.shape), np.full(4, TENDER), np.full(4, HARDEST))
    assert (found >= HARDEST - 1e-9).all()
    assert (found <= TENDER + 1e-9).all()
