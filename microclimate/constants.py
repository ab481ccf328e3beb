"""Constants of nature, SI, each with its source. Anything that can be argued about lives elsewhere."""

ZERO_CELSIUS = 273.15  # [K] by definition
T_TRIPLE = 273.16  # [K] IAPWS R14-08(2011), triple point of water
P_TRIPLE = 611.657  # [Pa] IAPWS R14-08(2011), triple point of water

STEFAN_BOLTZMANN = 5.670374419e-8  # [W m-2 K-4] CODATA 2018
GRAVITY = 9.80665  # [m s-2] standard gravity, CGPM 1901
VON_KARMAN = 0.4  # [1] Hoegstroem 1996, Boundary-Layer Meteorol. 78:215 (0.40 +- 0.01)

GAS_CONSTANT_DRY_AIR = 287.05  # [J kg-1 K-1] ICAO standard atmosphere
GAS_CONSTANT_VAPOUR = 461.5  # [J kg-1 K-1] WMO-No. 8
MASS_RATIO = 0.622  # [1] water vapour to dry air, WMO-No. 8
HEAT_CAPACITY_AIR = 1005.0  # [J kg-1 K-1] dry air, constant pressure, near 0 degC (from memory: handbook value)

STANDARD_PRESSURE = 101325.0  # [Pa] ISO 2533
SOLAR_CONSTANT = 1361.0  # [W m-2] Kopp & Lean 2011, Geophys. Res. Lett. 38:L01706 (1360.8)

LATENT_VAPORISATION = 2.501e6  # [J kg-1] at 0 degC, WMO-No. 8
LATENT_FUSION = 3.34e5  # [J kg-1] at 0 degC (3.337e5 to 3.34e5 in handbooks)
LATENT_SUBLIMATION = 2.835e6  # [J kg-1] at 0 degC, sum of the two above

DENSITY_WATER = 1000.0  # [kg m-3]
HEAT_CAPACITY_WATER = 4180.0  # [J kg-1 K-1]
HEAT_CAPACITY_ICE = 2050.0  # [J kg-1 K-1] near -5 degC (from memory: handbook value; 2100 at 0 degC)
CONDUCTIVITY_WATER = 0.57  # [W m-1 K-1] Moene & van Dam 2014 Table 2.2
CONDUCTIVITY_ICE = 2.2  # [W m-1 K-1] Farouki 1981, CRREL Monograph 81-1
