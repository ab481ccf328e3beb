"""Exchange of heat and momentum between a rough surface and the air: log law, stability, conductance."""

import numpy as np
from numpy.typing import NDArray

from microclimate.constants import GRAVITY, VON_KARMAN
from microclimate.physics.elementwise import Value, choose, fast_cube_root, formula, stretch

# Beljaars & Holtslag 1991, J. Appl. Meteorol. 30:327, Eqs. (28), (32)
_BH_A, _BH_B, _BH_C, _BH_D = 1.0, 0.667, 5.0, 0.35
# Holtslag & De Bruin 1988, J. Appl. Meteorol. 27:689
_HB_A, _HB_B, _HB_C, _HB_D = 0.7, 0.75, 5.0, 0.35
_DYER = 16.0  # Dyer 1974, Boundary-Layer Meteorol. 7:363
_LINEAR = 5.0  # Dyer 1974
_LOUIS_B, _LOUIS_C, _LOUIS_D = 5.0, 5.0, 5.0  # Louis, Tiedtke & Geleyn 1982, ECMWF workshop on PBL parametrisation

_FREE = 0.0015  # [m s-1 K-1/3] over a warm plate, from memory

# 1/L is held in this range [m-1]: beyond it similarity is not known and the form only has to stay finite (ours)
MOST_UNSTABLE, MOST_STABLE = -5.0, 10.0


@formula
def wind_at_height(speed: Value, height_from: Value, height_to: Value, roughness_length: Value) -> Value:
    """Wind [m s-1] moved from one height to another by the neutral log law.

    u2 = u1 ln(z2/z0) / ln(z1/z0); heights above the zero plane and `roughness_length` [m], heights > z0.
    """
    return speed * np.log(height_to / roughness_length) / np.log(height_from / roughness_length)


@formula
def friction_velocity(speed: Value, height: Value, roughness_length: Value) -> Value:
    """u* = k u / ln(z/z0) [m s-1], neutral; `speed` [m s-1] at `height` above the zero plane [m]."""
    return VON_KARMAN * speed / np.log(height / roughness_length)


@formula
def psi_momentum_unstable(zeta: Value) -> Value:
    """Integrated stability function of momentum [1] for `zeta` = z/L <= 0.

    2 ln((1+x)/2) + ln((1+x^2)/2) - 2 atan x + pi/2, x = (1 - 16 zeta)^(1/4). Source: Paulson 1970; Dyer 1974.
    """
    x = np.sqrt(np.sqrt(1.0 - _DYER * zeta))
    return 2.0 * np.log((1.0 + x) / 2.0) + np.log((1.0 + x * x) / 2.0) - 2.0 * np.arctan(x) + np.pi / 2.0


@formula
def psi_heat_unstable(zeta: Value) -> Value:
    """Integrated stability function of heat [1] for `zeta` <= 0: 2 ln((1 + sqrt(1 - 16 zeta))/2). Paulson 1970."""
    return 2.0 * np.log((1.0 + np.sqrt(1.0 - _DYER * zeta)) / 2.0)


@formula
def psi_momentum_stable(zeta: Value) -> Value:
    """Integrated stability function of momentum [1] for `zeta` >= 0.

    -(a zeta + b (zeta - c/d) exp(-d zeta) + b c/d). Source: Beljaars & Holtslag 1991, Eq. (28).
    """
    offset = _BH_C / _BH_D
    return -(_BH_A * zeta + _BH_B * (zeta - offset) * np.exp(-_BH_D * zeta) + _BH_B * offset)


@formula
def psi_heat_stable(zeta: Value) -> Value:
    """Integrated stability function of heat [1] for `zeta` >= 0.

    1 - (1 + 2a/3 zeta)^(3/2) - b (zeta - c/d) exp(-d zeta) - b c/d. Source: Beljaars & Holtslag 1991, Eq. (32).
    """
    offset = _BH_C / _BH_D
    base = 1.0 + 2.0 / 3.0 * _BH_A * zeta
    return 1.0 - base * np.sqrt(base) - _BH_B * (zeta - offset) * np.exp(-_BH_D * zeta) - _BH_B * offset


@formula
def psi_stable_long_tail(zeta: Value) -> Value:
    """Integrated stability function of heat and momentum [1], `zeta` >= 0. Source: Holtslag & De Bruin 1988."""
    offset = _HB_C / _HB_D
    return -(_HB_A * zeta + _HB_B * (zeta - offset) * np.exp(-_HB_D * zeta) + _HB_B * offset)


@formula
def psi_stable_linear(zeta: Value) -> Value:
    """Integrated stability function [1], `zeta` 0 to 1: -5 zeta. Source: Dyer 1974."""
    return -_LINEAR * zeta


@formula
def psi_momentum(zeta: Value) -> Value:
    """Integrated stability function of momentum [1], any `zeta` = z/L: Paulson-Dyer or Beljaars-Holtslag."""
    return choose(zeta < 0.0, psi_momentum_unstable(np.minimum(zeta, 0.0)), psi_momentum_stable(np.maximum(zeta, 0.0)))


@formula
def psi_heat(zeta: Value) -> Value:
    """Integrated stability function of heat [1], any `zeta` = z/L: Paulson-Dyer or Beljaars-Holtslag."""
    return choose(zeta < 0.0, psi_heat_unstable(np.minimum(zeta, 0.0)), psi_heat_stable(np.maximum(zeta, 0.0)))


@formula
def bulk_richardson(
    air_temperature: Value, surface_temperature: Value, speed: Value, wind_height: Value, temperature_height: Value
) -> Value:
    """Bulk Richardson number [1], stable positive, with a height for the wind and one for the temperature.

    Ri = g (Ta - Ts) / Ta * zu^2 / (zt u^2): gradients taken between surface and each height; [K], [m s-1 > 0], [m].
    Source: Louis et al. 1982; with equal heights the usual form.
    """
    difference = air_temperature - surface_temperature
    return GRAVITY * difference * wind_height * wind_height / (air_temperature * temperature_height * speed * speed)


@formula
def _momentum_profile(inverse_length: Value, height: Value, roughness: Value) -> Value:
    """ln(z/z0) - psi_m(z/L) + psi_m(z0/L) [1]."""
    return np.log(height / roughness) - psi_momentum(height * inverse_length) + psi_momentum(roughness * inverse_length)


@formula
def _heat_profile(inverse_length: Value, height: Value, roughness: Value) -> Value:
    """ln(z/z0) - psi_h(z/L) + psi_h(z0/L) [1]."""
    return np.log(height / roughness) - psi_heat(height * inverse_length) + psi_heat(roughness * inverse_length)


@formula
def inverse_obukhov_length(
    richardson: Value,
    wind_height: Value,
    temperature_height: Value,
    roughness_momentum: Value,
    roughness_heat: Value,
) -> Value:
    """1/L [m-1] that fits a bulk Richardson number, by halving; held between MOST_UNSTABLE and MOST_STABLE.

    1/L = Ri zt / zu^2 * F_m^2 / F_h with F the log profile less its stability function. Heights and roughness [m].
    """
    scaled = richardson * temperature_height / (wind_height * wind_height)
    missing = 0.0 * (scaled + roughness_momentum + roughness_heat)  # a missing number stays missing
    low, high = MOST_UNSTABLE + missing, MOST_STABLE + missing
    for _ in range(50):
        middle = 0.5 * (low + high)
        momentum = _momentum_profile(middle, wind_height, roughness_momentum)
        heat = _heat_profile(middle, temperature_height, roughness_heat)
        above = middle > scaled * momentum * momentum / heat
        low, high = choose(above, low, middle), choose(above, middle, high)
    return 0.5 * (low + high)


@formula
def transfer_coefficient(
    richardson: Value,
    wind_height: Value,
    temperature_height: Value,
    roughness_momentum: Value,
    roughness_heat: Value,
) -> Value:
    """Bulk transfer coefficient of heat [1]: k^2 / (F_m F_h) at the solved stability; conductance = C u [m s-1]."""
    inverse = inverse_obukhov_length(richardson, wind_height, temperature_height, roughness_momentum, roughness_heat)
    momentum = _momentum_profile(inverse, wind_height, roughness_momentum)
    heat = _heat_profile(inverse, temperature_height, roughness_heat)
    return VON_KARMAN * VON_KARMAN / (momentum * heat)


# nodes of a transfer table lie evenly in |Ri| (1 + q) / (|Ri| + q |Ri at the end|), 512 on either side: straight lines
# between them then stay within 0.5 % (tested); ours
_TABLE_STEPS = 512.0
_SHARE_STABLE, _SHARE_UNSTABLE = 0.35, 0.05  # q


def transfer_table(
    wind_height: float, temperature_height: float, roughness_momentum: float, roughness_heat: float
) -> NDArray[np.float64]:
    """`transfer_coefficient` made ready for look-up, for one pair of heights and of roughness lengths [m].

    Holds the Richardson numbers of the most unstable and the most stable end, then the coefficients between [1].
    """
    ends = np.array([MOST_UNSTABLE, MOST_STABLE])
    momentum = _momentum_profile(ends, wind_height, roughness_momentum)
    heat = _heat_profile(ends, temperature_height, roughness_heat)
    low, high = ends * heat / (momentum * momentum) * wind_height * wind_height / temperature_height
    place = np.arange(_TABLE_STEPS + 1.0) / _TABLE_STEPS
    unstable = low * _SHARE_UNSTABLE * place / (1.0 + _SHARE_UNSTABLE - place)
    stable = high * _SHARE_STABLE * place / (1.0 + _SHARE_STABLE - place)
    richardson = np.concatenate([unstable[:0:-1], stable])
    values = transfer_coefficient(richardson, wind_height, temperature_height, roughness_momentum, roughness_heat)
    table: NDArray[np.float64] = np.concatenate([[low, high], values])
    return table


@formula
def transfer_place(richardson: Value, low: Value, high: Value) -> tuple[Value, Value]:
    """Where a Richardson number lies in a `transfer_table` whose ends are `low` and `high`, counted in its steps.

    Second, the change of that place with the Richardson number [1]. Beyond the ends it is the end.
    """
    held = choose(richardson > low, richardson, low)
    held = choose(held < high, held, high)
    share = choose(held > 0.0, _SHARE_STABLE, _SHARE_UNSTABLE)
    end = choose(held > 0.0, high, -low)
    past = share * end
    inverse = 1.0 / (np.abs(held) + past)
    span = _TABLE_STEPS * (1.0 + share) * inverse
    place = 2.0 + _TABLE_STEPS + span * held
    # rounding, of float32 above all, must not reach the two numbers before the coefficients
    return choose(place > 2.0, place, 2.0), span * past * inverse


@formula
def fast_transfer(richardson: Value, table: Value) -> tuple[Value, Value]:
    """`transfer_coefficient` [1] from its `transfer_table`, and its change with the Richardson number [1].

    No logarithm, no iteration; beyond the ends the value of the end. Largest error 0.5 % of the value at any
    Richardson number, heights 1.5 to 10 m, roughness of momentum 0.003 to 0.1 m, of heat a fifth to a hundredth of it
    (tested). The change is that of the line between two nodes.
    """
    place, quickness = transfer_place(richardson, table[0], table[1])
    low, rise, rest = stretch(place, table)
    return low + rest * rise, rise * quickness


@formula
def exchange_conductance(
    speed: Value,
    air_temperature: Value,
    surface_temperature: Value,
    wind_height: Value,
    temperature_height: Value,
    roughness_momentum: Value,
    roughness_heat: Value,
) -> Value:
    """Conductance of heat between surface and air [m s-1] by similarity; 0 in a calm (the floor is the user's).

    g = k^2 u / (F_m F_h), F = ln(z/z0) - psi(z/L) + psi(z0/L); `speed` [m s-1], temperatures [K], heights [m].
    Source: Monin-Obukhov similarity; stability after Paulson 1970, Dyer 1974 and Beljaars & Holtslag 1991.
    """
    safe = np.maximum(speed, 1e-3)
    richardson = bulk_richardson(air_temperature, surface_temperature, safe, wind_height, temperature_height)
    return speed * transfer_coefficient(richardson, wind_height, temperature_height, roughness_momentum, roughness_heat)


@formula
def louis_stable_momentum(richardson: Value) -> Value:
    """Factor on the neutral drag coefficient [1], `richardson` >= 0. Source: Louis, Tiedtke & Geleyn 1982."""
    return 1.0 / (1.0 + 2.0 * _LOUIS_B * richardson / np.sqrt(1.0 + _LOUIS_D * richardson))


@formula
def louis_stable_heat(richardson: Value) -> Value:
    """Factor on the neutral heat transfer coefficient [1], `richardson` >= 0. Source: Louis, Tiedtke & Geleyn 1982."""
    return 1.0 / (1.0 + 3.0 * _LOUIS_B * richardson * np.sqrt(1.0 + _LOUIS_D * richardson))


@formula
def louis_unstable(richardson: Value, factor: Value, height: Value, roughness: Value) -> Value:
    """Factor on the neutral coefficient [1] for `richardson` <= 0; `factor` 2 for momentum, 3 for heat.

    1 - f b Ri / (1 + 3 b c (k/ln(z/z0))^2 sqrt(-Ri z/z0)); lengths [m]. Source: Louis, Tiedtke & Geleyn 1982.
    """
    neutral = VON_KARMAN / np.log(height / roughness)
    root = np.sqrt(np.maximum(-richardson, 0.0) * height / roughness)
    return 1.0 - factor * _LOUIS_B * richardson / (1.0 + 3.0 * _LOUIS_B * _LOUIS_C * neutral * neutral * root)


@formula
def free_convection_conductance(air_temperature: Value, surface_temperature: Value) -> Value:
    """Conductance [m s-1] over a surface warmer than calm air: 0.0015 dT^(1/3), 0 when colder; [K].

    Source: turbulent free convection over a plate, Nu = 0.14 Ra^(1/3); the number from memory.
    """
    return _FREE * np.cbrt(np.maximum(surface_temperature - air_temperature, 0.0))


@formula
def fast_free_convection_conductance(excess: Value) -> Value:
    """`free_convection_conductance` [m s-1] at an excess of the surface [K] without the cube root.

    Largest error 1e-6 m s-1 up to 80 K (tested).
    """
    return _FREE * fast_cube_root(choose(excess > 0.0, excess, 0.0))
