"""One block of lanes driven step by step from Python, for tests of the kernel itself."""

from typing import Any

import numpy as np
from numba import njit

from microclimate.column import layers, rows
from microclimate.column import step as steps
from microclimate.column.lanes import (
    ENTHALPY,
    LAYER_VARIABLES,
    PROBED,
    RESISTANCE_UNFROZEN,
    SIDE,
    TEMPERATURE,
)
from microclimate.column.store import SKIN_CAPACITY, film_enthalpy, snow_enthalpy
from microclimate.column.vector import lanes_of
from microclimate.column.vector import rows as rows_of
from microclimate.physics import turbulence

COVERS = np.array(
    [
        # a blanket
        [2.0, 2.5, 2.0, 0.0, 0.0, 0.9, 0.4, 1500.0, 0.0, 1.0, 0.0, 0.0, 5.0, 4.0, 10.0, 1e-4, 0.0, 0.0, 0.1],
        # a thin fabric
        [100.0, 2.5, 2.0, 0.5, 0.2, 0.75, 0.3, 100.0, 0.8, 1.0, 0.0, 0.0, 5.0, 4.0, 4.0, 1e-4, 3e-5, 5e-3, 0.1],
        # two of them
        [100.0, 2.5, 2.0, 0.5, 0.2, 0.75, 0.3, 200.0, 0.8, 2.0, 1.95, 1.25, 5.0, 4.0, 4.0, 1e-4, 3e-5, 2.5e-3, 0.1],
        # two clear films
        [200.0, 1.95, 0.5, 0.85, 0.7, 0.2, 0.1, 300.0, 0.0, 2.0, 1.95, 1.25, 1.95, 0.6, 6.0, 1e-4, 0.0, 0.0, 0.1],
    ]
)


@njit(error_model="numpy")  # type: ignore[untyped-decorator,unused-ignore]
def _advance(surface, layer, count, tables, covers, step, weather):  # type: ignore[no-untyped-def]
    deep = rows_of(layer)
    steps.advance(rows_of(surface), deep, count, steps.lowest_heated(deep, count), tables, covers, step, weather)


class Block:
    """All lanes alike unless set otherwise; names of rows as attributes of `rows`."""

    def __init__(
        self, parameters: Any, temperature: Any = 4.0, kind: Any = np.float64, roughness: float = 0.003
    ) -> None:
        self.count = parameters.shape[0]
        self.kind = kind
        self.lanes = lanes_of(kind)
        self.surface = np.zeros((rows.VARIABLES, self.lanes), dtype=kind)
        self.layer = np.zeros((self.count + 2, LAYER_VARIABLES, self.lanes), dtype=kind)
        self.layer[1:-1, : parameters.shape[1], :] = parameters[:, :, None]
        degrees = np.broadcast_to(np.asarray(temperature, dtype=float), (self.count,))
        heat = layers.enthalpy(parameters, degrees, np.where(degrees < 0.0, 1.0, 0.0))
        self.layer[1:-1, ENTHALPY, :] = heat[:, None]
        self.layer[1:-1, TEMPERATURE, :] = degrees[:, None]
        self.tables = np.array([turbulence.transfer_table(2.0, 2.0, z, 0.1 * z) for z in (0.001, 0.002, roughness)])
        self.tables = self.tables.astype(kind)
        self.set(
            LEAF_BED=5.0, FLOOR=3.0, ALBEDO=0.21, EMISSIVITY=0.97, LEAF_CAPACITY=3000.0, RESISTANCE_DAY=70.0,
            RESISTANCE_NIGHT=200.0, LEAF_TABLE=2.0, FILM_FULL=0.3, BELOW_OPEN=0.2,
            BELOW_CLOSED=0.2, WIND_HEIGHT=2.0, TEMPERATURE_HEIGHT=2.0, HEAT_RAMP=1e3, AIR=2.0, HUMIDITY=0.004, WIND=2.0,
            DENSITY=1.25, PRESSURE=1e5, LONGWAVE=280.0, BELOW=8.0, BELOW_CONDUCTANCE=0.2, COVER_CAPACITY=1.0,
        )  # fmt: skip
        self[rows.LEAF_ENTHALPY] = film_enthalpy(float(degrees[0]), 3000.0, 0.0)

    def probe(self, row: float, share: float = 0.0) -> None:
        """Put the probe a `share` of the way from a row to the next."""
        self.layer[:, PROBED] = 0.0
        self.layer[int(row), PROBED], self.layer[int(row) + 1, PROBED] = 1.0 - share, share

    def set(self, **values: Any) -> None:
        """Rows by name."""
        for name, value in values.items():
            self.surface[getattr(rows, name)] = value

    def __getitem__(self, row: int) -> Any:
        return self.surface[row]

    def __setitem__(self, row: int, value: Any) -> None:
        self.surface[row] = value

    @property
    def soil(self) -> Any:
        """Temperatures of the layers [degC], (layer, lane)."""
        return self.layer[1:-1, TEMPERATURE]

    def lay_snow(self, amount: float, temperature: float, density: float = 150.0) -> None:
        """Snow on every lane."""
        self.set(SNOW=amount, SNOW_DEPTH=amount / density, SNOW_ALBEDO=0.8)
        self[rows.NODE_ENTHALPY] = snow_enthalpy(temperature, amount)
        self[rows.SKIN_ENTHALPY] = SKIN_CAPACITY * temperature

    def stored(self) -> Any:
        """Enthalpy of all of each column [J m-2], (lane)."""
        chain = (
            rows.LEAF_ENTHALPY, rows.NODE_ENTHALPY, rows.SKIN_ENTHALPY, rows.OUTER_ENTHALPY, rows.INNER_ENTHALPY,
        )  # fmt: skip
        return sum(self[row].astype(float) for row in chain) + self.layer[1:-1, ENTHALPY].astype(float).sum(axis=0)

    def advance(self, step: float, weather: bool = True) -> tuple[Any, Any]:
        """One step; gives back what came in by flux and mass [J m-2], and the gross of it, by lane."""
        parts = self.kind(step)
        _advance(
            self.surface,
            self.layer.reshape(-1, self.lanes),
            self.count,
            self.tables,
            COVERS.astype(self.kind),
            parts,
            weather,
        )
        # the lowest layer and those with an open side are off their straight line by rounding only: they do not freeze
        half = self.layer[-2, RESISTANCE_UNFROZEN]
        bottom = (self.soil[-1] - self[rows.BELOW]) / (1.0 / self[rows.BELOW_CONDUCTANCE] + half)
        side = self.layer[1:-1, SIDE] * (self[rows.AIR] - self.soil)
        fluxes = [
            self[rows.NET_RADIATION], -self[rows.SENSIBLE], -self[rows.LATENT], self[rows.UNDER], self[rows.HEAT],
            -bottom, *side,
        ]  # fmt: skip
        covered = self[rows.COVER_LYING] > 0.0
        fluxes[3] = np.where(covered, fluxes[3], 0.0)
        came = sum(flux.astype(float) for flux in fluxes) * step + self[rows.ADVECTED].astype(float)
        gross = sum(abs(flux.astype(float)) for flux in fluxes) * step + abs(self[rows.ADVECTED].astype(float))
        return came, gross
