"""Heat that a slab needs to melt falling snow, the handbook's steady balance: what a field's heating is held against.

Chapman & Katunich 1956, Heating, Piping & Air Conditioning; ASHRAE Handbook, HVAC Applications, snow melting, to 1995,
in its inch-pound forms as Lund, Pavement snow melting (Geo-Heat Center) prints them: q_h = 11.4 (0.0201 V + 0.055)
(t_f - t_a), q_e = h_fg (0.0201 V + 0.055)(0.188 - p_av) [Btu/h ft2, mph, degF, inHg] (from memory, and read in a
quotation of Lund). Film at 33 degF.
"""

from microclimate.constants import ZERO_CELSIUS
from microclimate.physics.elementwise import Value, formula
from microclimate.physics.heating import snow_melt_load

FILM = ZERO_CELSIUS + 5.0 / 9.0  # [K] 33 degF
_BTU, _MPH, _INHG, _RANKINE = 3.154591, 0.44704, 3386.389, 5.0 / 9.0  # [W m-2], [m s-1], [Pa], [K]
_BY_WIND, _CALM = 0.0201, 0.055  # [mph-1], [1]
_CONVECTION = 11.4  # [Btu/h ft2 degF]
_LATENT = 1075.5  # [Btu/lb] at the film, steam tables


@formula
def wind_function(wind: Value) -> Value:
    """0.0201 V + 0.055 [1], `wind` V [m s-1] near the slab."""
    return _BY_WIND * wind / _MPH + _CALM


@formula
def convection(wind: Value, air: Value) -> Value:
    """Heat to the air and sky [W m-2] from a wet slab at the film's temperature; `air` [K]."""
    return _CONVECTION * _BTU / _RANKINE * wind_function(wind) * (FILM - air)


@formula
def evaporation(wind: Value, film_pressure: Value, air_pressure: Value) -> Value:
    """Latent heat [W m-2]; vapour pressures over the film and of the air [Pa]."""
    return _LATENT * _BTU / _INHG * wind_function(wind) * (film_pressure - air_pressure)


@formula
def slab_load(
    snowfall: Value, air: Value, wind: Value, film_pressure: Value, air_pressure: Value, free: Value
) -> Value:
    """q_o = q_s + q_m + A_r (q_h + q_e) [W m-2] at the surface; `snowfall` [kg m-2 s-1], `air` [K] below the film.

    `free` A_r [1] share of the slab kept free of snow. What goes down and out at the edges is not in it.
    """
    melt = snow_melt_load(snowfall, ZERO_CELSIUS - air, FILM - ZERO_CELSIUS)
    return melt + free * (convection(wind, air) + evaporation(wind, film_pressure, air_pressure))
