"""The surface of one column: what it gains at a temperature. Scalars only; the lanes are elsewhere.

`exchange` and `balance` are where a flux is changed.
"""

from microclimate.column.lanes import larger, smaller
from microclimate.column.vector import anywhere
from microclimate.constants import HEAT_CAPACITY_AIR, LATENT_FUSION, MASS_RATIO, STEFAN_BOLTZMANN, ZERO_CELSIUS
from microclimate.physics import canopy, vapour
from microclimate.physics.elementwise import Value, choose, formula

FILM_RANGE = 0.3  # [K] a film freezes between 0 and -0.3 degC (trial on measured nights: < 0.05 K of effect)
COLDEST, HOTTEST = -60.0, 60.0  # [degC] range of the fast saturation formulas


@formula
def longwave_up(temperature: Value, emissivity: Value) -> Value:
    """What a face of `temperature` [degC] emits [W m-2], and by how much more per kelvin."""
    kelvin = temperature + ZERO_CELSIUS
    cube = emissivity * STEFAN_BOLTZMANN * kelvin * kelvin * kelvin
    return cube * kelvin, 4.0 * cube


@formula
def saturation(temperature: Value, pressure: Value) -> Value:
    """Specific humidity [kg kg-1] at saturation over ice below 0 degC, else water, and its slope [K-1].

    Held from -60 to 60 degC, where the fast formulas hold: an iterate may pass through colder.
    """
    kelvin = smaller(larger(temperature, COLDEST), HOTTEST) + ZERO_CELSIUS
    ice = temperature < 0.0
    held = choose(ice, vapour.fast_saturation_pressure_ice(kelvin), vapour.fast_saturation_pressure_water(kelvin))
    rise = vapour.relative_slope(kelvin)
    free = 1.0 / (pressure - (1.0 - MASS_RATIO) * held)
    humidity = MASS_RATIO * held * free
    return humidity, humidity * pressure * free * rise


@formula
def latent_heat(temperature: Value) -> Value:
    """Heat that vapour takes along from a face of `temperature` [degC], [J kg-1].

    Frost takes the heat of freezing as well; rising over the film's freezing range, so that a root always exists.
    """
    ice = smaller(larger(temperature * (-1.0 / FILM_RANGE), 0.0), 1.0)
    return vapour.latent_heat_vaporisation(temperature + ZERO_CELSIUS) + ice * LATENT_FUSION


@formula
def wet_share(water: Value, full: Value) -> Value:
    """`canopy.fast_wet_share`; nothing to compute where all is dry."""
    share = 0.0 * water
    if anywhere(water > 0.0):
        share = canopy.fast_wet_share(water, full)
    return share


@formula
def balance(
    temperature: Value,
    air: Value,
    humidity: Value,
    pressure: Value,
    density: Value,
    exchange: Value,
    exchange_slope: Value,
    sun: Value,
    longwave: Value,
    emissivity: Value,
    wet: Value,
    water: Value,
    resistance: Value,
    rate: Value,
) -> Value:
    """Fluxes at the top of a column [W m-2] and their change per kelvin of its temperature.

    Parameters
    ----------
    temperature, air : of the top and of the air [degC]
    humidity, pressure, density : of the air [kg kg-1], [Pa], [kg m-3]
    exchange, exchange_slope : conductance of heat and vapour [m s-1] and its change per kelvin of the top
    sun, longwave, emissivity : absorbed sunlight [W m-2], longwave down [W m-2], emissivity [1]
    wet, water, resistance : wet share of the top [1], water on it [kg m-2], resistance of the dry share [s m-1]
    rate : 1/dt [s-1]

    Returns
    -------
    (net radiation in, its slope, sensible heat out, its slope),
    (latent heat out, its slope, vapour off the film [kg m-2 s-1], its slope)
    """
    up, up_slope = longwave_up(temperature, emissivity)
    radiation = sun + emissivity * longwave - up

    volume_heat = density * HEAT_CAPACITY_AIR
    excess = temperature - air
    sensible = volume_heat * exchange * excess
    # a stable layer can lose its hold faster than the surface cools: the slope of Newton's rule stays positive
    sensible_slope = larger(volume_heat * (exchange + exchange_slope * excess), 0.2 * volume_heat * exchange)

    held, held_slope = saturation(temperature, pressure)
    lack = held - humidity
    leaves = lack > 0.0  # evaporates; else dew or frost comes
    most = water * rate / (density * larger(lack, 1e-9))
    scarce = wet * exchange > most
    past = 1.0 / (1.0 + exchange * resistance)
    off_film = density * choose(leaves, choose(scarce, most, wet * exchange), exchange)
    off_leaf = density * choose(leaves, (1.0 - wet) * exchange * past, 0.0)
    # better exchange on a warmer top evaporates more: without it Newton's rule goes back and forth in hot, calm sun
    opener = density * exchange_slope * lack
    film_opens = opener * choose(leaves, choose(scarce, 0.0, wet), 1.0)
    leaf_opens = opener * choose(leaves, (1.0 - wet) * past * past, 0.0)
    film_slope = off_film * held_slope
    film_slope = film_slope + larger(film_opens, -0.8 * film_slope)
    leaf_slope = off_leaf * held_slope + larger(leaf_opens, 0.0)
    heat = latent_heat(temperature)
    dry = radiation, -up_slope, sensible, sensible_slope
    moist = (
        heat * (off_film + off_leaf) * lack,
        heat * (film_slope + leaf_slope),
        off_film * lack,
        film_slope,
    )
    return dry, moist
