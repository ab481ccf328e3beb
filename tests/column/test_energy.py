"""Energy of a column closes: what is stored is what came in, with every switch on."""

import numpy as np
import pytest

from microclimate.column import layers, rows
from microclimate.column.lanes import HEATED, SIDE
from tests.column.block import Block
from tests.simulate.world import zone


def _busy(kind: type) -> Block:
    """Lanes that differ: heated, covered, warm air, thick and thin snow to come."""
    cut = layers.grid(zone().layers)
    block = Block(layers.kernel_parameters(layers.properties(cut, cut.water_content)), 3.0, kind)
    block.layer[11, HEATED], block.layer[12, HEATED] = 0.4, 0.6
    block.probe(7.0, 0.5)
    lanes = np.arange(block.lanes)
    block.set(
        HEAT_LIMIT=150.0,
        HEAT_COUPLING=np.where(lanes % 2 == 0, 8.0, 0.0),
        HEAT_BAND=np.where(lanes % 8 == 3, 1.0, 0.0),
        SET_POINT=6.0,
        SUPPLY=30.0,
        WARM_AIR=15.0,
    )
    return block


def _winter(block: Block, days: int, step: float) -> tuple[float, float]:
    """A made-up winter of sun, cloud, rain, snow, covers laid and lifted; residual and gross of the worst lane."""
    rng = np.random.default_rng(3)
    lanes = np.arange(block.lanes)
    start, came, gross = block.stored(), np.zeros(block.lanes), np.zeros(block.lanes)
    per_day = round(86400.0 / step)
    for n in range(days * per_day):
        hour, day = 24.0 * (n % per_day) / per_day, n // per_day
        sun = max(np.sin(np.pi * (hour - 7.0) / 10.0), 0.0) * 400.0 if 7.0 < hour < 17.0 else 0.0
        air = -3.0 + 4.0 * np.sin(2.0 * np.pi * (hour - 9.0) / 24.0) + 6.0 * np.sin(day)
        wet = n % 97 < 12 and day % 3 == 0
        block.set(
            AIR=air,
            HUMIDITY=0.0035 + 0.0002 * air * 0.5,
            WIND=rng.uniform(0.0, 6.0),
            SUN=sun,
            LONGWAVE=rng.uniform(220.0, 320.0),
            RAIN=np.where(lanes % 5 == 0, 2e-4, 5e-5) * (wet and air > 0.0),
            SNOWFALL=np.where(lanes % 3 == 0, 4e-4, 3e-5) * (wet and air <= 0.0),
            COVERED=np.where(
                lanes % 4 == 1,
                float(day % 4 in (1, 2)),
                np.where(lanes % 4 == 2, (2.0 + lanes // 4 % 3) * (hour > 12), 0.0),
            ),
            WARM_FLOW=np.where(lanes % 8 == 1, 6.0, 0.0),
            HEATING_ALLOWED=float(day % 5 != 0),
            SNOW_REMOVED=np.where(lanes == 6, float(hour == 8.0), 0.0),
        )
        a, b = block.advance(step)
        came, gross = came + a, gross + b
    assert np.isfinite(block.soil).all()
    residual = abs(block.stored() - start - came)
    return float((residual / gross).max()), float(gross.min())


def test_energy_closes_to_rounding() -> None:
    """Residual over gross flux 1e-12 with every switch on (bar of the project; rounding alone would be 1e-15)."""
    residual, gross = _winter(_busy(np.float64), 40, 600.0)
    assert gross > 1e8
    assert residual < 1e-12


def test_energy_closes_through_a_side_face() -> None:
    """All lanes alike, so that the last pass of one is the last of all and the flow through the side can be summed."""
    cut = layers.grid(zone().layers)
    block = Block(layers.kernel_parameters(layers.properties(cut, cut.water_content)), 4.0)
    block.layer[1:-1, SIDE] = 0.8
    block.set(SIDED=1.0, LONGWAVE=330.0)
    start, came, gross = block.stored(), np.zeros(block.lanes), np.zeros(block.lanes)
    for n in range(400):
        block.set(AIR=6.0 + 4.0 * np.sin(0.05 * n), HUMIDITY=0.004)
        a, b = block.advance(600.0)
        came, gross = came + a, gross + b
    assert (abs(block.stored() - start - came) / gross).max() < 1e-12


def test_energy_in_float32() -> None:
    """Residual over gross flux 1e-5 (bar of the project): float32 holds 1e7 J m-2 to 1 J m-2."""
    residual, _ = _winter(_busy(np.float32), 40, 600.0)
    assert residual < 1e-5


@pytest.mark.parametrize("row", ["SNOW", "COVER_FROST", "LEAF_FROST", "HEAT", "UNDER"])
def test_the_switches_were_on(row: str) -> None:
    block = _busy(np.float64)
    seen = np.zeros(block.lanes)
    values = []
    original = block.advance

    def watched(step: float, weather: bool = True) -> tuple[np.ndarray, np.ndarray]:
        told = original(step, weather)
        values.append(abs(block[getattr(rows, row)]).copy())
        return told

    block.advance = watched  # type: ignore[method-assign]
    _winter(block, 6, 1800.0)
    seen = np.max(values, axis=0)
    assert (seen > 1e-3).any()
