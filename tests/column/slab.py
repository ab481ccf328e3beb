"""Layers alone under a given temperature, through the kernel's own loops: for closed forms."""

from types import SimpleNamespace
from typing import Any

import numpy as np
from numba import njit

from microclimate.column import ground, layers
from microclimate.column.lanes import ENTHALPY, LAYER_VARIABLES, TEMPERATURE, at
from microclimate.column.step import PASSES, TOLERANCE
from microclimate.column.vector import anywhere, lanes_of
from microclimate.column.vector import rows as rows_of


@njit(error_model="numpy", fastmath={"contract"})  # type: ignore[untyped-decorator,unused-ignore]
def _march(room, count, above, resistance, step, bottom, out):  # type: ignore[no-untyped-def]
    layer = rows_of(room)
    nothing = 0.0 * layer[0]
    ground.settle(layer, count)
    for time in range(above.shape[0]):
        layer[at(0, TEMPERATURE)] = nothing + above[time]
        ground.begin(layer, count, nothing + resistance, nothing + 1.0 / bottom)
        going = nothing == 0.0
        for _ in range(PASSES):
            ground.eliminate(layer, count, 0, False, nothing, nothing, 1.0 / step)
            misfit = ground.update(layer, count, 0, nothing, nothing, going, nothing)
            going = going & (misfit >= TOLERANCE)
            if not anywhere(going):
                break
        for row in range(count):
            out[time, 0, row] = room[at(row + 1, TEMPERATURE), 0]
            out[time, 1, row] = room[at(row + 1, ENTHALPY), 0]


def soil(depth: float) -> Any:
    """A layer for `layers.grid`; its numbers do not matter here."""
    return SimpleNamespace(
        thickness=depth, porosity=0.4, water_content=0.2, quartz=0.5, dry_density=1500.0, solid_heat_capacity=2e6,
        coarse=True, conductivity=None, freezing_range=0.1,
    )  # fmt: skip


class Slab:
    """One material on the product's own grid."""

    def __init__(
        self,
        count: int = 20,
        depth: float = 1.5,
        conductivity: tuple[float, float] = (1.5, 1.5),
        capacity: tuple[float, float] = (2e6, 2e6),
        latent: float = 0.0,
        freezing_range: float = 0.1,
        thickness: Any = None,
    ) -> None:
        self.thickness = layers.grid([soil(depth)], count).thickness if thickness is None else np.asarray(thickness)
        self.depth = np.cumsum(self.thickness) - 0.5 * self.thickness
        one = np.ones_like(self.thickness)
        self.parameters = layers.kernel_parameters(
            layers.Properties(
                self.thickness,
                capacity[0] * one,
                capacity[1] * one,
                latent * one,
                freezing_range * one,
                conductivity[0] * one,
                conductivity[1] * one,
            )
        )

    def run(
        self, start: Any, above: Any, step: float, resistance: float = 0.0, bottom: float = 1e-12
    ) -> tuple[np.ndarray, np.ndarray]:
        """Temperatures [degC] and frozen shares [1] at the end of each step, (time, layer)."""
        count = self.thickness.size
        degrees = np.broadcast_to(np.asarray(start, dtype=float), (count,))
        layer = np.zeros((count + 2, LAYER_VARIABLES, lanes_of(float)))
        layer[1:-1, : layers.LAYER_PARAMETERS] = self.parameters[:, :, None]
        heat = layers.enthalpy(self.parameters, degrees, (degrees < 0.0).astype(float))
        layer[1:-1, ENTHALPY] = heat[:, None]
        out = np.zeros((len(above), 2, count))
        _march(layer.reshape(-1, layer.shape[-1]), count, np.asarray(above, dtype=float), resistance, step, bottom, out)
        return out[:, 0], layers.temperature(self.parameters, out[:, 1])[1]
