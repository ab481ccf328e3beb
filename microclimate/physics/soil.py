"""Root zone and soil: heat capacity, conductivity, freezing."""

import numpy as np

from microclimate.constants import (
    CONDUCTIVITY_ICE,
    CONDUCTIVITY_WATER,
    DENSITY_WATER,
    GRAVITY,
    HEAT_CAPACITY_ICE,
    HEAT_CAPACITY_WATER,
    LATENT_FUSION,
    ZERO_CELSIUS,
)
from microclimate.physics.elementwise import Value, choose, formula


@formula
def heat_capacity(porosity: Value, solid_heat_capacity: Value, water_content: Value, frozen_fraction: Value) -> Value:
    """Heat capacity of a layer [J m-3 K-1]: solids and water or ice side by side, air neglected.

    C = (1 - n) C_s + rho_w w ((1 - f) c_w + f c_i); `water_content` w is water and ice as water [m3 m-3],
    `frozen_fraction` f its frozen share [1], `solid_heat_capacity` of the grains [J m-3 K-1]. Source: de Vries 1963.
    """
    water = (1.0 - frozen_fraction) * HEAT_CAPACITY_WATER + frozen_fraction * HEAT_CAPACITY_ICE
    return (1.0 - porosity) * solid_heat_capacity + DENSITY_WATER * water_content * water


@formula
def latent_store(water_content: Value) -> Value:
    """Heat [J m-3] set free when all water of a layer freezes: rho L w; `water_content` [m3 m-3]."""
    return DENSITY_WATER * LATENT_FUSION * water_content


@formula
def conductivity_solids(quartz: Value) -> Value:
    """Conductivity of the grains [W m-1 K-1]: 7.7^q 2^(1-q), other minerals 3 where `quartz` share q <= 0.2.

    Source: Johansen 1975 (Farouki 1981, CRREL Monograph 81-1).
    """
    other = choose(quartz > 0.2, 2.0, 3.0)
    return 7.7**quartz * other ** (1.0 - quartz)


@formula
def conductivity_saturated(porosity: Value, solids: Value, frozen_fraction: Value) -> Value:
    """Conductivity with all pores full [W m-1 K-1]: geometric mean of `solids` [W m-1 K-1], water and ice.

    k_s^(1-n) k_w^(n(1-f)) k_i^(nf), `frozen_fraction` f [1]. Source: Johansen 1975.
    """
    return (
        solids ** (1.0 - porosity)
        * CONDUCTIVITY_WATER ** (porosity * (1.0 - frozen_fraction))
        * CONDUCTIVITY_ICE ** (porosity * frozen_fraction)
    )


@formula
def conductivity_dry_johansen(dry_density: Value) -> Value:
    """Conductivity of dry natural soil [W m-1 K-1]: (0.135 d + 64.7) / (2700 - 0.947 d), d [kg m-3]. Johansen 1975."""
    return (0.135 * dry_density + 64.7) / (2700.0 - 0.947 * dry_density)


@formula
def kersten_coarse(saturation: Value) -> Value:
    """Kersten number of unfrozen coarse soil [1]: 0.7 log10 Sr + 1, 0 at the dry end. Johansen 1975, Sr > 0.05."""
    return np.maximum(0.7 * np.log10(np.maximum(saturation, 1e-3)) + 1.0, 0.0)


@formula
def kersten_fine(saturation: Value) -> Value:
    """Kersten number of unfrozen fine soil [1]: log10 Sr + 1, 0 at the dry end. Johansen 1975, Sr > 0.1."""
    return np.maximum(np.log10(np.maximum(saturation, 1e-3)) + 1.0, 0.0)


@formula
def kersten_lu(saturation: Value, shape: Value) -> Value:
    """Kersten number [1]: exp(a (1 - Sr^(a - 1.33))), a 0.96 coarse, 0.27 fine. Lu et al. 2007, SSSAJ 71:8."""
    return np.exp(shape * (1.0 - np.maximum(saturation, 1e-3) ** (shape - 1.33)))


@formula
def kersten_cote_konrad(saturation: Value, shape: Value) -> Value:
    """Kersten number [1]: kappa Sr / (1 + (kappa - 1) Sr). Cote & Konrad 2005, Can. Geotech. J. 42:443.

    `shape` kappa: gravel and coarse sand 4.6 (frozen 1.7), medium and fine sand 3.55 (0.95), silt and clay 1.9 (0.85).
    """
    return shape * saturation / (1.0 + (shape - 1.0) * saturation)


@formula
def conductivity_dry_cote_konrad(porosity: Value, chi: Value, eta: Value) -> Value:
    """Dry conductivity [W m-1 K-1]: chi 10^(-eta n); natural soil 0.75, 1.2; crushed rock 1.7, 1.8.

    Source: Cote & Konrad 2005.
    """
    return chi * 10.0 ** (-eta * porosity)


@formula
def conductivity_dry_lu(porosity: Value) -> Value:
    """Dry conductivity [W m-1 K-1]: 0.51 - 0.56 n, n 0.2 to 0.6. Lu et al. 2007."""
    return 0.51 - 0.56 * porosity


@formula
def conductivity_between(dry: Value, saturated: Value, kersten: Value) -> Value:
    """k_dry + Ke (k_sat - k_dry) [W m-1 K-1]. Johansen 1975."""
    return dry + kersten * (saturated - dry)


@formula
def conductivity_sand(
    porosity: Value, quartz: Value, dry_density: Value, water_content: Value, frozen_fraction: Value
) -> Value:
    """Conductivity of a coarse root zone [W m-1 K-1]: Johansen, frozen and unfrozen mixed by `frozen_fraction` [1].

    `water_content` [m3 m-3] is water and ice as water; `dry_density` [kg m-3]; frozen Ke = Sr. Johansen 1975.
    """
    saturation = np.minimum(water_content / np.maximum(porosity, 1e-6), 1.0)
    dry = conductivity_dry_johansen(dry_density)
    solids = conductivity_solids(quartz)
    unfrozen = conductivity_between(dry, conductivity_saturated(porosity, solids, 0.0), kersten_coarse(saturation))
    frozen = conductivity_between(dry, conductivity_saturated(porosity, solids, 1.0), saturation)
    return unfrozen + frozen_fraction * (frozen - unfrozen)


@formula
def conductivity_loam(
    porosity: Value, quartz: Value, dry_density: Value, water_content: Value, frozen_fraction: Value
) -> Value:
    """Conductivity of fine soil [W m-1 K-1]: `conductivity_sand` with the fine Kersten number. Johansen 1975."""
    saturation = np.minimum(water_content / np.maximum(porosity, 1e-6), 1.0)
    dry = conductivity_dry_johansen(dry_density)
    solids = conductivity_solids(quartz)
    unfrozen = conductivity_between(dry, conductivity_saturated(porosity, solids, 0.0), kersten_fine(saturation))
    frozen = conductivity_between(dry, conductivity_saturated(porosity, solids, 1.0), saturation)
    return unfrozen + frozen_fraction * (frozen - unfrozen)


@formula
def temperature_of_enthalpy(
    enthalpy: Value,
    slope_unfrozen: Value,
    first: Value,
    slope_first: Value,
    second: Value,
    slope_second: Value,
    slope_frozen: Value,
) -> Value:
    """Temperature above 0 degC [K] of a layer, from its `enthalpy` [J m-3 or J m-2, 0 = all liquid at 0 degC].

    Piecewise linear: slopes dT/dE [K per J] unfrozen, in the `first` and `second` stretch of freezing (amounts of
    enthalpy > 0, same unit as `enthalpy`), frozen. No branch.
    """
    return (
        np.maximum(enthalpy, 0.0) * slope_unfrozen
        + np.minimum(np.maximum(enthalpy, -first), 0.0) * slope_first
        + np.minimum(np.maximum(enthalpy + first, -second), 0.0) * slope_second
        + np.minimum(enthalpy + first + second, 0.0) * slope_frozen
    )


@formula
def freezing_potential(temperature: Value) -> Value:
    """Pressure [Pa] of the water left unfrozen at `temperature` [K <= 273.15]: rho L (T - T0) / T0.

    Source: Clapeyron relation; Koopmans & Miller 1966, Soil Sci. Soc. Am. Proc. 30:680. Above 0 degC it is 0.
    """
    below = np.minimum(temperature - ZERO_CELSIUS, 0.0)
    return DENSITY_WATER * LATENT_FUSION * below / ZERO_CELSIUS


@formula
def unfrozen_water(temperature: Value, specific_surface: Value) -> Value:
    """Water that stays liquid [kg per kg dry soil], `temperature` [K < 273.15], `specific_surface` [m2 per g].

    ln w = 0.2618 + 0.5519 ln S - 1.449 S^-0.264 ln |t|, w in percent. Source: Anderson & Tice 1972.
    """
    below = np.maximum(ZERO_CELSIUS - temperature, 1e-3)
    percent = np.exp(0.2618 + 0.5519 * np.log(specific_surface) - 1.449 * specific_surface**-0.264 * np.log(below))
    return percent / 100.0


@formula
def retained_water(head: Value, residual: Value, porosity: Value, alpha: Value, shape: Value) -> Value:
    """Water content [m3 m-3] at suction `head` [m >= 0]: theta_r + (n - theta_r) (1 + (alpha h)^N)^-(1 - 1/N).

    `alpha` [m-1], `shape` N [1, > 1]. Source: van Genuchten 1980, Soil Sci. Soc. Am. J. 44:892.
    """
    return residual + (porosity - residual) * (1.0 + (alpha * head) ** shape) ** -(1.0 - 1.0 / shape)


@formula
def freezing_head(temperature: Value) -> Value:
    """Suction [m] of the water left unfrozen at `temperature` [K]: minus `freezing_potential` over rho g."""
    return -freezing_potential(temperature) / (DENSITY_WATER * GRAVITY)
