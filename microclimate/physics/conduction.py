"""Closed forms of heat conduction: what any solver of layers must give back, and the yearly wave in the ground.

Source throughout: Carslaw & Jaeger 1959, Conduction of Heat in Solids, unless another is named. Lengths [m], times [s],
conductivity [W m-1 K-1], capacity [J m-3 K-1], diffusivity [m2 s-1]. Arrays and numbers alike; not for kernels.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import erf, erfc, erfcx

from microclimate.physics.elementwise import Value

_YEAR = 365.0 * 86400.0  # [s]


def damping_depth(diffusivity: Value, period: Value) -> Value:
    """Depth [m] at which a periodic wave is down to 1/e: sqrt(diffusivity period / pi)."""
    return np.sqrt(diffusivity * period / np.pi)


def wave(amplitude: Value, depth: Value, damping: Value, time: Value, period: Value) -> Value:
    """Temperature [K] off its mean below a surface that swings as A sin(2 pi t/P): A exp(-z/d) sin(2 pi t/P - z/d)."""
    return amplitude * np.exp(-depth / damping) * np.sin(2.0 * np.pi * time / period - depth / damping)


def wave_lag(depth: Value, damping: Value, period: Value) -> Value:
    """How much later [s] the wave peaks at `depth`: (z/d) P / (2 pi)."""
    return depth / damping * period / (2.0 * np.pi)


def wave_flux_amplitude(amplitude: Value, conductivity: Value, capacity: Value, period: Value) -> Value:
    """Amplitude [W m-2] of the flux into a surface that swings by `amplitude` [K]: A sqrt(k C 2 pi / P)."""
    return amplitude * np.sqrt(conductivity * capacity * 2.0 * np.pi / period)


def ground_temperature(
    mean: Value, amplitude: Value, diffusivity: Value, coldest: Value, depth: Value, day: Value
) -> Value:
    """Temperature of undisturbed ground by the yearly wave, in the unit of `mean` [K or degC].

    mean - A exp(-x) cos(2 pi (day - coldest)/365 - x), x = z sqrt(pi / (year diffusivity)); `coldest` day of the year
    at the surface, `amplitude` A [K]. Source: Kusuda & Achenbach 1965, ASHRAE Trans. 71.
    """
    x = depth / damping_depth(diffusivity, _YEAR)
    return mean - amplitude * np.exp(-x) * np.cos(2.0 * np.pi * (day - coldest) / 365.0 - x)


def step_response(depth: Value, diffusivity: Value, time: Value) -> Value:
    """(T - T_start) / (T_surface - T_start) [1] below a surface that jumps: erfc(z / (2 sqrt(a t)))."""
    return erfc(depth / (2.0 * np.sqrt(diffusivity * time)))


def step_depth(response: float, diffusivity: float, time: float) -> float:
    """Depth [m] that has come the share `response` [1] of the way to a jumped surface: `step_response` turned round."""
    scale = 2.0 * np.sqrt(diffusivity * time)
    return float(scale * brentq(lambda x: float(erfc(x)) - response, 0.0, 6.0))


def step_flux(jump: Value, conductivity: Value, capacity: Value, time: Value) -> Value:
    """Flux [W m-2] into a half-space whose surface jumped by `jump` [K]: jump sqrt(k C / (pi t))."""
    return jump * np.sqrt(conductivity * capacity / (np.pi * time))


def flux_response(flux: Value, depth: Value, conductivity: Value, capacity: Value, time: Value) -> Value:
    """Temperature rise [K] under a constant `flux` [W m-2] into the surface (Brunt's night when it is negative).

    q/k (2 sqrt(a t/pi) exp(-z^2/(4 a t)) - z erfc(z/(2 sqrt(a t)))).
    """
    reach = 2.0 * np.sqrt(conductivity / capacity * time)
    x = depth / reach
    return flux / conductivity * (reach / np.sqrt(np.pi) * np.exp(-x * x) - depth * erfc(x))


def convective_response(depth: Value, film: Value, conductivity: Value, capacity: Value, time: Value) -> Value:
    """(T - T_start) / (T_air - T_start) [1] under a `film` [W m-2 K-1] to air that jumped. Incropera Eq. 5.60."""
    reach = np.sqrt(conductivity / capacity * time)
    x, y = depth / (2.0 * reach), film * reach / conductivity
    # erfcx(s) = exp(s^2) erfc(s): exp(hx/k + y^2) erfc(x + y) without its overflow
    return erfc(x) - np.exp(-x * x) * erfcx(x + y)


def effusivity(conductivity: Value, capacity: Value) -> Value:
    """sqrt(k C) [W s^1/2 m-2 K-1]: how strongly a body holds its surface temperature."""
    return np.sqrt(conductivity * capacity)


def contact_temperature(first: Value, first_effusivity: Value, second: Value, second_effusivity: Value) -> Value:
    """Temperature at the joint of two half-spaces that touch, in the unit given: mean weighted by effusivity."""
    total = first_effusivity + second_effusivity
    return (first * first_effusivity + second * second_effusivity) / total


def slab_roots(biot: float, count: int) -> NDArray[np.float64]:
    """The first roots of x tan x = Bi [rad], for a slab cooled on both faces; Bi = h (half thickness) / k > 0."""
    edge = 1e-12
    return np.array(
        [brentq(lambda x: x * np.sin(x) - biot * np.cos(x), n * np.pi + edge, (n + 0.5) * np.pi) for n in range(count)]
    )


def slab_coefficients(roots: NDArray[np.float64]) -> NDArray[np.float64]:
    """What each root of `slab_roots` weighs [1]: 4 sin x / (2 x + sin 2x). Incropera Eq. 5.42b."""
    return np.asarray(4.0 * np.sin(roots) / (2.0 * roots + np.sin(2.0 * roots)))


def slab_response(biot: float, fourier: float, place: float) -> float:
    """(T - T_air) / (T_start - T_air) [1] in a slab cooled on both faces, full series.

    `fourier` = a t / (half thickness)^2 > 0.01, `place` 0 in the middle to 1 at a face.
    """
    roots = slab_roots(biot, 40)
    terms = slab_coefficients(roots) * np.exp(-(roots**2) * fourier) * np.cos(roots * place)
    return float(np.sum(terms))


def front_parameter(
    frozen_conductivity: float,
    frozen_capacity: float,
    unfrozen_conductivity: float,
    unfrozen_capacity: float,
    latent: float,
    start: float,
    surface: float,
) -> float:
    """Neumann's parameter gamma [1]: a freezing front stands at 2 gamma sqrt(a_frozen t).

    `latent` heat [J m-3]; `start` >= 0 of the ground and `surface` < 0 as kelvin above freezing.
    """
    ratio = np.sqrt((frozen_conductivity / frozen_capacity) / (unfrozen_conductivity / unfrozen_capacity))
    warm = unfrozen_conductivity / frozen_conductivity * ratio * start / -surface
    stefan = latent * np.sqrt(np.pi) / (frozen_capacity * -surface)

    def excess(gamma: float) -> float:
        frozen = np.exp(-gamma * gamma) / erf(gamma)
        # exp(-(g r)^2)/erfc(g r) = 1/erfcx(g r), which does not overflow
        return float(frozen - warm / erfcx(gamma * ratio) - gamma * stefan)

    return float(brentq(excess, 1e-9, 10.0))


def front_depth(gamma: Value, frozen_diffusivity: Value, time: Value) -> Value:
    """Depth [m] of the front: 2 gamma sqrt(a_frozen t)."""
    return 2.0 * gamma * np.sqrt(frozen_diffusivity * time)


def front_temperature(
    depth: Value,
    time: Value,
    gamma: Value,
    frozen_diffusivity: Value,
    unfrozen_diffusivity: Value,
    start: Value,
    surface: Value,
) -> Value:
    """Temperature above freezing [K] on both sides of Neumann's front."""
    frozen = surface * (1.0 - erf(depth / (2.0 * np.sqrt(frozen_diffusivity * time))) / erf(gamma))
    ratio = np.sqrt(frozen_diffusivity / unfrozen_diffusivity)
    unfrozen = start * (1.0 - erfc(depth / (2.0 * np.sqrt(unfrozen_diffusivity * time))) / erfc(gamma * ratio))
    return np.where(depth < front_depth(gamma, frozen_diffusivity, time), frozen, unfrozen)


def stefan_depth(conductivity: Value, below_freezing: Value, time: Value, latent: Value) -> Value:
    """Depth frozen [m] when only latent heat counts: sqrt(2 k dT t / L); an upper bound. Stefan 1891."""
    return np.sqrt(2.0 * conductivity * below_freezing * time / latent)


def berggren_factor(thermal_ratio: float, fusion: float) -> float:
    """What sensible heat takes off Stefan's depth [1]: exact for equal properties frozen and not.

    `thermal_ratio` = excess of the ground over the surface's deficit, `fusion` = C deficit / L.
    Source: Aldrich & Paynter 1953; by `front_parameter`.
    """
    gamma = front_parameter(1.0, 1.0, 1.0, 1.0, 1.0 / fusion, thermal_ratio, -1.0)
    return float(gamma * np.sqrt(2.0 / fusion))
