"""Exchange of heat between plates, films and air: forced and free convection, and the plate that balances."""

import numpy as np

from microclimate.constants import STEFAN_BOLTZMANN
from microclimate.physics.elementwise import Value, choose, formula


@formula
def plate_laminar(reynolds: Value, prandtl: Value) -> Value:
    """Mean Nusselt number [1] of a flat plate along the flow, Re < 5e5: 0.664 Re^(1/2) Pr^(1/3). Incropera Eq. 7.30."""
    return 0.664 * np.sqrt(reynolds) * np.cbrt(prandtl)


@formula
def plate_turbulent(reynolds: Value, prandtl: Value) -> Value:
    """Mean Nusselt number [1], turbulent from the edge on: 0.037 Re^(4/5) Pr^(1/3). Incropera Eq. 7.38 with A = 0."""
    return 0.037 * reynolds**0.8 * np.cbrt(prandtl)


@formula
def plate_mixed(reynolds: Value, prandtl: Value) -> Value:
    """Mean Nusselt number [1], laminar to Re 5e5, turbulent behind: (0.037 Re^(4/5) - 871) Pr^(1/3). Incropera 7.38."""
    return (0.037 * reynolds**0.8 - 871.0) * np.cbrt(prandtl)


@formula
def upright_plate_free(rayleigh: Value, prandtl: Value) -> Value:
    """Mean Nusselt number [1] of an upright plate in calm air, any Ra. Churchill & Chu 1975; Incropera Eq. 9.26."""
    shape = (1.0 + (0.492 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    root = 0.825 + 0.387 * rayleigh ** (1.0 / 6.0) / shape
    return root * root


@formula
def warm_face_up_free(rayleigh: Value) -> Value:
    """Mean Nusselt number [1] over a level plate warmer than calm air: 0.54 Ra^(1/4) to 1e7, 0.15 Ra^(1/3) above.

    Source: McAdams 1954; Incropera Eq. 9.30, 9.31.
    """
    return choose(rayleigh <= 1e7, 0.54 * np.sqrt(np.sqrt(rayleigh)), 0.15 * np.cbrt(rayleigh))


@formula
def warm_face_down_free(rayleigh: Value) -> Value:
    """Mean Nusselt number [1] under a level plate warmer than calm air: 0.27 Ra^(1/4). McAdams 1954; Incropera 9.32."""
    return 0.27 * np.sqrt(np.sqrt(rayleigh))


@formula
def level_surface_free(warmer_by: Value) -> Value:
    """Free convection over a level surface [W m-2 K-1]; `warmer_by` [K], the surface less the air.

    9.482 |dT|^(1/3) / (7.283 - 1) when it is warmer, 1.810 |dT|^(1/3) / (1.382 + 1) when colder. Source: Walton 1983.
    """
    root = np.cbrt(np.abs(warmer_by))
    return choose(warmer_by > 0.0, 9.482 * root / (7.283 - 1.0), 1.810 * root / (1.382 + 1.0))


@formula
def outdoor_film(wind: Value) -> Value:
    """Convection of an outdoor face [W m-2 K-1]: 4 + 4 v, `wind` v [m s-1]. ISO 6946:2007, Annex A."""
    return 4.0 + 4.0 * wind


@formula
def plate_temperature(absorbed: Value, emissivity: Value, conductance: Value, air_temperature: Value) -> Value:
    """Temperature [K] at which a plate gives off what it absorbs: absorbed = e sigma T^4 + h (T - T_air).

    `absorbed` sun and longwave [W m-2], `conductance` h [W m-2 K-1], `air_temperature` [K]. Newton's method from a
    start above the root: the loss is convex, so the steps only fall.
    """
    temperature = air_temperature + 1.0 + absorbed / (conductance + 4.0)
    for _ in range(12):
        cube = emissivity * STEFAN_BOLTZMANN * temperature**3
        excess = cube * temperature + conductance * (temperature - air_temperature) - absorbed
        temperature = temperature - excess / (4.0 * cube + conductance)
    return temperature
