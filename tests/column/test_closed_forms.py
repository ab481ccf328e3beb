"""The layers against closed forms: a step, a daily wave, a freezing front, a zero curtain, orders of convergence."""

from functools import cache

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf, erfc

from tests.column.slab import Slab

DAY = 86400.0


@pytest.mark.parametrize(("hours", "bar"), [(1.0, 0.020), (6.0, 0.005)])
def test_step_of_surface_temperature(hours: float, bar: float) -> None:
    """T = T_s erfc(z / 2 sqrt(a t)) (Carslaw & Jaeger 1959, 2.4); largest error of any layer over the step.

    Bars 2 % and 0.5 % at 5 min: what backward Euler and a 4 mm first layer leave of an abrupt change.
    """
    slab = Slab()
    told, _ = slab.run(0.0, np.full(round(hours * 12), 10.0), 300.0)
    wanted = 10.0 * erfc(slab.depth / (2.0 * np.sqrt(0.75e-6 * hours * 3600.0)))
    assert abs(told[-1] - wanted).max() / 10.0 < bar


DAMPING = np.sqrt(2.0 * 0.75e-6 * DAY / (2.0 * np.pi))  # [m] of a daily wave in this slab


def _wave(slab: Slab, step: float, days: int = 12) -> np.ndarray:
    """Each layer's answer to a daily wave of 1 K as a complex number, from the last day."""
    times = (np.arange(round(days * DAY / step)) + 1) * step
    told, _ = slab.run(0.0, np.sin(2.0 * np.pi * times / DAY), step)
    last = slice(-round(DAY / step), None)
    return np.asarray(2j * (told[last] * np.exp(-2j * np.pi * times[last] / DAY)[:, None]).mean(axis=0))


def _wanted(depth: np.ndarray) -> np.ndarray:
    """exp(-z/d) sin(w t - z/d), d = sqrt(2 a/w) (Carslaw & Jaeger 1959, 2.6)."""
    return np.asarray(np.exp(-(1.0 + 1.0j) * depth / DAMPING))


def test_daily_wave() -> None:
    """At the layer nearest to 10 cm: amplitude within 0.3 %, lag within 1 min (bars of the project)."""
    slab = Slab()
    near = int(np.argmin(abs(slab.depth - 0.1)))
    answer, wanted = _wave(slab, 300.0)[near], _wanted(slab.depth)[near]
    assert abs(answer) == pytest.approx(abs(wanted), rel=0.003)
    assert abs(np.angle(answer / wanted)) / (2.0 * np.pi) * DAY < 60.0


def _wave_error(slab: Slab, step: float) -> float:
    """Largest error of the answer in the upper 0.3 m."""
    return float(abs(_wave(slab, step) - _wanted(slab.depth))[slab.depth < 0.3].max())


def test_first_order_in_time() -> None:
    """Backward Euler: halving the step halves the error, order >= 0.9."""
    slab = Slab(thickness=np.full(150, 0.01))
    assert np.log2(_wave_error(slab, 3600.0) / _wave_error(slab, 1800.0)) >= 0.9


def test_second_order_in_depth() -> None:
    """Halving even layers: order >= 1.8; the error of time is taken out by its own first order."""

    def error(count: int) -> float:
        slab = Slab(thickness=np.full(count, 1.5 / count))
        answer = 2.0 * _wave(slab, 150.0) - _wave(slab, 300.0)
        return float(abs(answer - _wanted(slab.depth))[slab.depth < 0.3].max())

    assert np.log2(error(40) / error(80)) >= 1.8


# Neumann's problem: unfrozen at +5 degC, surface at -5 degC from the start, water content 0.2
SAND = {"conductivity": (1.4, 2.0), "capacity": (2.0e6, 1.6e6), "latent": 0.2 * 3.34e8}


def _front_share(count: int, step: float, freezing_range: float, hours: int = 72) -> np.ndarray:
    """Depth of the front over Neumann's 2 lambda sqrt(a_f t) (Carslaw & Jaeger 1959, 11.2), every 3 h."""
    slab = Slab(count, freezing_range=freezing_range, **SAND)
    _, ice = slab.run(5.0, np.full(round(hours * 3600 / step), -5.0), step)
    (k_u, k_f), (c_u, c_f), latent = SAND["conductivity"], SAND["capacity"], SAND["latent"]
    a_u, a_f = k_u / c_u, k_f / c_f

    def balance(x: float) -> float:
        frozen = np.exp(-x * x) / erf(x)
        thawed = k_u / k_f * np.sqrt(a_f / a_u) * np.exp(-x * x * a_f / a_u) / erfc(x * np.sqrt(a_f / a_u))
        return float(frozen - thawed - x * latent * np.sqrt(np.pi) / (c_f * 5.0))

    root = brentq(balance, 1e-3, 3.0)
    times = np.arange(3, hours + 1, 3) * 3600.0
    depth = (ice * slab.thickness).sum(axis=1)[np.round(times / step).astype(int) - 1]
    return np.asarray(depth / (2.0 * root * np.sqrt(a_f * times)))


def test_freezing_front() -> None:
    """Mean error of the front over 72 h, 20 layers, 5 min, freezing over 0.01 K: within 4.5 %, aimed at 1 %."""
    assert abs(_front_share(20, 300.0, 0.01).mean() - 1.0) < 0.01


def test_front_with_the_range_of_sand() -> None:
    """20 layers and 5 min against 80 layers and 1 min, freezing over 0.1 K: mean within 1.5 %."""
    assert abs((_front_share(20, 300.0, 0.1) / _front_share(80, 60.0, 0.1)).mean() - 1.0) < 0.015


@cache
def _curtain(fine: bool) -> tuple[np.ndarray, np.ndarray]:
    """Ten days that freeze and thaw every day (air -1.5, +-2 over the spell, +-6 K a day); hour and degC at 5 cm."""
    thickness = np.concatenate([np.full(120, 0.0025), np.geomspace(0.0026, 0.05, 76)]) if fine else None
    slab, step = Slab(freezing_range=0.1, thickness=thickness, **SAND), 60.0 if fine else 600.0
    hours = (np.arange(round(10 * DAY / step)) + 0.5) * step / 3600.0
    air = -1.5 + 2.0 * np.sin(2.0 * np.pi * hours / 240.0) + 6.0 * np.sin(2.0 * np.pi * hours / 24.0)
    told, _ = slab.run(1.5, air, step, resistance=1.0 / 12.0)
    return hours, np.array([np.interp(0.05, slab.depth, row) for row in told])


def test_zero_curtain() -> None:
    """Hours at 5 cm in the curtain (-0.3 to +0.1 degC), 10 min steps, the product's grid.

    Within 1.5 % of a run with 196 layers and 1 min; temperature within 0.03 K of it, root mean square.
    """
    hours, fine = _curtain(True)
    coarse_hours, coarse = _curtain(False)

    def length(degrees: np.ndarray) -> float:
        return 240.0 * float(((degrees > -0.3) & (degrees < 0.1)).mean())

    assert 80.0 < length(fine) < 160.0
    assert length(coarse) == pytest.approx(length(fine), rel=0.015)
    off = coarse - np.interp(coarse_hours, hours, fine)
    assert float(np.sqrt((off**2).mean())) < 0.03


def test_water_at_rest_stays() -> None:
    """Nothing flows through a slab of one temperature, frozen or not."""
    for degrees in (4.0, -4.0):
        told, _ = Slab(freezing_range=0.1, **SAND).run(degrees, np.full(50, degrees), 3600.0)
        assert abs(told - degrees).max() < 1e-9
