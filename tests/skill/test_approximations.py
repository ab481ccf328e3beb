"""The fast formulas in the kernel move the minima of measured winter nights by no more than 0.01 K."""

import numpy as np
import pytest

from microclimate.column import rows
from microclimate.physics import canopy, turbulence, vapour
from microclimate.simulate import columns as col
from microclimate.simulate import laid, start
from tests.benchmarks import naive
from tests.skill import conftest

DAYS, SKIP = 8, 60  # from 1 March on (the weather begins with the year): freezing and mild nights, mostly dry


def test_fast_formulas_hardly_move_the_minima(monkeypatch: pytest.MonkeyPatch) -> None:
    """Night minima of the plain code with the fast formulas and with those they stand for (bar of the project).

    The plain code takes no rain or snow, so both runs go without.
    """
    station, venue = conftest.read("bondville"), conftest.venue("bondville")
    stretch = station.stretches[0]
    block = next(iter(stretch.forcing)).isel(time=slice(SKIP * 288, (SKIP + DAYS) * 288))
    initial = start.states(venue, stretch.patches, 1, block["time"].values[0])
    heights = float(block.attrs["wind_height"]), float(block.attrs["temperature_height"])
    fixed = col.columns(venue, block["zone_index"].values.astype(int), initial, *heights)
    forcing = laid.forced(venue, block, initial, block["zone_index"].values.astype(int))[:, :, 0]
    plan = np.zeros(rows.PLANNED)
    roughness = venue.field.zones[0].turf.roughness_length

    def minima() -> np.ndarray:
        column = naive.Column(
            fixed.given[0], fixed.layers[0], fixed.state[0], fixed.heat[0], fixed.tables, np.zeros((1, 9)), (3, 0.5)
        )
        leaf = []
        for step in forcing:
            column.step(step, plan, 300.0, (1.0, 0.1, 0.3, 0.005, 273.65))
            leaf.append(column.leaf)
        return np.reshape(leaf, (DAYS, -1)).min(axis=1)

    fast = minima()
    look_up = turbulence.fast_transfer

    def solved(richardson: float, table: np.ndarray) -> tuple[float, float]:
        exact = turbulence.transfer_coefficient(richardson, *heights, roughness, col.HEAT_ROUGHNESS * roughness)
        return float(exact), look_up(richardson, table)[1]

    monkeypatch.setattr(turbulence, "fast_transfer", solved)
    monkeypatch.setattr(
        turbulence,
        "fast_free_convection_conductance",
        lambda excess: turbulence.free_convection_conductance(0.0, excess),
    )
    monkeypatch.setattr(vapour, "fast_saturation_pressure_ice", vapour.saturation_pressure_ice)
    monkeypatch.setattr(vapour, "fast_saturation_pressure_water", vapour.saturation_pressure_water)
    monkeypatch.setattr(canopy, "fast_wet_share", canopy.wet_share)
    exact = minima()
    assert np.ptp(fast) > 2.0
    assert fast.min() < 0.0
    assert 0.0 < abs(fast - exact).max() < 0.01
