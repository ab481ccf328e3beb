"""Every formula of the physics room with inputs in its range, for tests that hold for all of them."""

import ast
import importlib
import inspect
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import microclimate.physics
from microclimate.physics.turbulence import transfer_table

FOLDER = Path(microclimate.physics.__file__).parent

# by name of the argument; what is not here lies between 0.2 and 0.8
RANGES: dict[str, tuple[float, float]] = {
    "temperature": (258.0, 272.0),
    "wet_bulb": (255.0, 258.0),
    "air_temperature": (270.0, 285.0),
    "surface_temperature": (265.0, 290.0),
    "canopy_temperature": (270.0, 276.0),
    "coldest": (270.0, 276.0),
    "warmest": (277.0, 300.0),
    "mean_temperature": (270.0, 290.0),
    "warm": (280.0, 300.0),
    "cold": (260.0, 280.0),
    "supply": (310.0, 320.0),
    "back": (300.0, 309.0),
    "surrounding": (275.0, 290.0),
    "vapour_pressure": (200.0, 600.0),
    "pressure": (90000.0, 103000.0),
    "specific_humidity": (0.001, 0.01),
    "humidity_ratio": (0.001, 0.01),
    "latent": (2.4e6, 2.6e6),
    "longwave_down": (200.0, 380.0),
    "speed": (0.1, 8.0),
    "wind": (0.5, 8.0),
    "zeta": (-2.0, 2.0),
    "richardson": (-1.0, 1.0),
    "inverse_length": (-1.0, 1.0),
    "wind_height": (1.5, 3.0),
    "temperature_height": (1.5, 3.0),
    "height_from": (5.0, 10.0),
    "height_to": (1.0, 3.0),
    "height": (2.0, 10.0),
    "roughness": (0.003, 0.05),
    "roughness_length": (0.003, 0.05),
    "roughness_momentum": (0.003, 0.05),
    "roughness_heat": (0.001, 0.002),
    "day": (1.0, 365.0),
    "latitude": (-1.2, 1.2),
    "declination": (-0.4, 0.4),
    "zenith": (0.0, 1.8),
    "start": (-1.0, 0.0),
    "end": (0.1, 1.0),
    "dry_density": (1300.0, 1800.0),
    "density": (80.0, 500.0),
    "duration": (0.0, 86400.0),
    "melting": (0.0, 1.0),
    "reynolds": (1e4, 1e6),
    "rayleigh": (1e5, 1e9),
    "warmer_by": (-5.0, 5.0),
    "heat_up": (-5.0, 5.0),
    "enthalpy": (-5.0, 5.0),
    "solid_heat_capacity": (1.9e6, 2.2e6),
    "head": (0.0, 5.0),
    "shape": (1.5, 2.7),
    "specific_surface": (1.0, 30.0),
    "porosity": (0.35, 0.6),
    "water_content": (0.0, 0.35),
    "pitch": (0.2, 0.4),
    "outer_radius": (0.008, 0.02),
    "outer_diameter": (0.016, 0.04),
    "depth": (0.1, 0.3),
    "cos_incidence": (-0.5, 1.0),
    "cos_zenith": (-0.2, 1.0),
    "extraterrestrial": (1300.0, 1420.0),
    "direct_normal": (0.0, 900.0),
    "net_radiation": (1e5, 2e7),
    "soil_heat": (0.0, 1e4),
    "deficit": (0.0, 2000.0),
    "slope": (50.0, 200.0),
    "psychrometric": (60.0, 70.0),
    "numerator": (37.0, 900.0),
    "years": (1.0, 30.0),
    "clearness": (0.0, 1.0),
    "elapsed": (0.0, 0.8),
    "aspect": (0.1, 2.0),
    "second_effusivity": (500.0, 3000.0),
}
# where one name has another range in one formula
OWN_RANGES: dict[str, tuple[float, float]] = {
    "psi_momentum_unstable": (-2.0, 0.0),
    "psi_heat_unstable": (-2.0, 0.0),
    "psi_momentum_stable": (0.0, 2.0),
    "psi_heat_stable": (0.0, 2.0),
    "louis_stable_momentum": (0.0, 1.0),
    "louis_stable_heat": (0.0, 1.0),
}
FIXED: dict[str, Any] = {
    "table": transfer_table(2.0, 2.0, 0.01, 0.001),
    "thresholds": (1.0, 0.1, 0.3, 0.005, 0.5),
}


def formulas() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Name and function of everything that carries the decorator."""
    for path in sorted(FOLDER.glob("*.py")):
        module = importlib.import_module(f"microclimate.physics.{path.stem}")
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            marks = node.decorator_list if isinstance(node, ast.FunctionDef) else []
            if isinstance(node, ast.FunctionDef) and any(getattr(m, "id", "") == "formula" for m in marks):
                yield f"{path.stem}.{node.name}", getattr(module, node.name)


def names(function: Callable[..., Any]) -> list[str]:
    return list(inspect.signature(function).parameters)


def inputs(function: Callable[..., Any], count: int, seed: int = 0) -> list[Any]:
    """`count` values of each argument, evenly spread and shuffled; a table or thresholds as they are."""
    generator = np.random.default_rng(seed)
    made: list[Any] = []
    for name in names(function):
        low, high = RANGES.get(name, (0.2, 0.8))
        if name in ("zeta", "richardson"):
            low, high = OWN_RANGES.get(function.__name__, (low, high))
        spread: NDArray[np.float64] = generator.permutation(np.linspace(low, high, count))
        made.append(FIXED.get(name, spread))
    return made
