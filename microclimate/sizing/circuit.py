"""Checks of one hydronic circuit: loops, flow, pressure drop, supply and return, ripple; and what readings say of it.

Friction by the `fluids` library. First estimates: design belongs to licensed engineers.
"""

from dataclasses import dataclass

import numpy as np
from fluids.friction import friction_factor

from microclimate.physics import heating, plant
from microclimate.physics.heating import log_mean_excess, row_resistance
from microclimate.simulate.columns import PIPE_WALL
from microclimate.venue.equipment import Circuit, Plant

DROP = 7.0  # [K] supply less return at full load: 5 to 10 (from memory)
LOOP = 120.0  # [m] longest loop: 100 to 150 common for 25 mm pipe (common practice, no source)
WALL = 0.092  # [1] of the outside diameter: 25 x 2.3 mm (supplier)
ROUGHNESS = 7e-6  # [m] drawn plastic pipe 1.5 to 7 micrometres (from memory)
# Water at 30 degC: IAPWS values to three figures. Propylene glycol, 30 % by volume at 30 degC: 1020, 3870, 1.87e-3
# (from memory, good to 5 %); in between straight for density and heat, logarithmic for viscosity.
_WATER = (995.7, 4178.0, 0.797e-3)  # [kg m-3], [J kg-1 K-1], [Pa s]
_GLYCOL, _SHARE = (1020.0, 3870.0, 1.87e-3), 0.30
READING_ERROR, FLOW_ERROR = 0.3, 0.10  # [K] of each thermometer, [1] of a flow meter; ours
HEATED_SHARE = (0.8, 1.0)  # of a nameplate that reaches the ground: losses of pipes on the way; ours


@dataclass(frozen=True)
class Fluid:
    """Heating water."""

    density: float  # [kg m-3]
    heat: float  # [J kg-1 K-1]
    viscosity: float  # [Pa s]

    @property
    def by_volume(self) -> float:
        """[J m-3 K-1]."""
        return self.density * self.heat


def fluid(glycol: float) -> Fluid:
    """Water with a share of propylene glycol [1], at 30 degC."""
    part = glycol / _SHARE
    density, heat = ((1.0 - part) * w + part * g for w, g in zip(_WATER[:2], _GLYCOL[:2], strict=True))
    return Fluid(density, heat, _WATER[2] * (_GLYCOL[2] / _WATER[2]) ** part)


@dataclass(frozen=True)
class Hydraulics:
    """One circuit at full load."""

    heat: float  # [W]
    pipe: float  # [m] in all
    loops: int
    loop: float  # [m] each
    flow: float  # [m3 s-1] in all
    speed: float  # [m s-1] in the pipe
    reynolds: float
    drop: float  # [Pa] over a loop
    pump: float  # [W] hydraulic, flow by drop
    supply: float  # [K] that gives the full power with the soil at pipe depth as told
    back: float  # [K]
    resistance: float  # [m2 K W-1] water to soil at pipe depth
    ripple: float  # [K] wave left in the surface temperature


def hydraulics(
    circuit: Circuit,
    area: float,
    glycol: float,
    soil: float,
    conductivity: float,
    film: float,
    drop: float = DROP,
    longest: float = LOOP,
) -> Hydraulics:
    """A circuit at full load.

    Parameters
    ----------
    circuit : Circuit
        Hydronic.
    area : float
        That it heats [m2].
    glycol : float
        Share of propylene glycol in the water [1].
    soil : float
        Temperature at pipe depth between the pipes [K].
    conductivity : float
        Of the soil round the pipes [W m-1 K-1].
    film : float
        From surface to air [W m-2 K-1], for the ripple.
    drop, longest : float
        Supply less return [K]; length of a loop at most [m].
    """
    water, heat = fluid(glycol), circuit.power * area
    pipe = area / circuit.pitch
    loops = int(np.ceil(pipe / longest))
    flow = heat / (water.by_volume * drop)
    inside = circuit.pipe_outer_diameter * (1.0 - 2.0 * WALL)
    speed = flow / loops / (np.pi / 4.0 * inside**2)
    reynolds = water.density * speed * inside / water.viscosity
    factor = friction_factor(Re=reynolds, eD=ROUGHNESS / inside)
    lost = factor * pipe / loops / inside * 0.5 * water.density * speed**2
    resistance = float(
        row_resistance(circuit.pitch, 0.5 * circuit.pipe_outer_diameter, conductivity, PIPE_WALL, 0.0, 1.0)
    )
    supply = _supply(circuit.power * resistance, drop) + soil
    return Hydraulics(
        heat,
        pipe,
        loops,
        pipe / loops,
        flow,
        float(speed),
        float(reynolds),
        float(lost),
        float(flow * lost),
        supply,
        supply - drop,
        resistance,
        float(heating.surface_ripple(circuit.power, circuit.pitch, circuit.depth, conductivity, film)),
    )


def _supply(excess: float, drop: float) -> float:
    """Supply over the soil [K] whose log mean with a return `drop` lower is `excess`: x = d / (1 - exp(-d/e))."""
    return float(drop / -np.expm1(-drop / excess))


def excess(supply: float, back: float, soil: float) -> float:
    """Mean excess of the water over the soil [K] (EN 1264-2)."""
    return float(log_mean_excess(supply, back, soil))


@dataclass(frozen=True)
class Installed:
    """What a plant may give to the ground, per heated area [W m-2], with its range."""

    how: str  # "nameplate" or "readings"
    value: float
    low: float
    high: float


def installed(given: Plant | None, area: float) -> tuple[Installed, ...]:
    """Installed power as the plant's nameplate and its readings have it; none where the venue tells neither.

    A nameplate is taken as output. The readings' range is from errors of 10 % in flow and 0.3 K in each thermometer.
    """
    found: list[Installed] = []
    if given is None or area <= 0.0:
        return ()
    if given.power is not None:
        full = given.power / area
        low, high = (share * full for share in HEATED_SHARE)
        found.append(Installed("nameplate", 0.5 * (low + high), low, high))
    if given.flow is not None and given.supply_reading is not None and given.return_reading is not None:
        by_volume = fluid(given.glycol).by_volume
        heat = float(plant.heat_of_flow(given.flow, by_volume, given.supply_reading, given.return_reading))
        gap = given.supply_reading - given.return_reading
        error = float(np.hypot(FLOW_ERROR, np.sqrt(2.0) * READING_ERROR / gap))
        value = heat / area
        found.append(Installed("readings", value, value * max(1.0 - error, 0.0), value * (1.0 + error)))
    return tuple(found)
