"""Root zone and soil."""

import numpy as np
from published_row import Row, kelvin

from microclimate.physics import conduction, soil

MOENE = "Moene & van Dam 2014, Table 2.2 (de Vries 1963; Smits et al. 2010)"
JOHANSEN = "Johansen 1975; Farouki 1981, CRREL Monograph 81-1, formula"
COTE = "Cote & Konrad 2005, Can. Geotech. J. 42:443"
LU = "Lu et al. 2007, Soil Sci. Soc. Am. J. 71:8"
DAY, YEAR = 86400.0, 365.0 * 86400.0
K = np.array([0.24, 2.1, 2.5])
C = np.array([1.28e6, 2.12e6, 2.96e6])
WET = np.array([0.0, 0.2, 0.4])
DENSE = 2700.0 * 0.6  # [kg m-3] of a porosity of .4


def johansen(quartz: float, saturation: float, frozen: float) -> float:
    return float(soil.conductivity_sand(0.4, quartz, DENSE, 0.4 * saturation, frozen))


ROWS = [
    Row(
        "SOI-01",
        "heat capacity of sand, dry, half wet, full",
        lambda: soil.heat_capacity(0.4, 2.13e6, WET, 0.0) / 1e6,
        (1.28, 2.12, 2.96),
        "MJ m-3 K-1",
        MOENE,
        "read, computed",
        rtol=0.01,
    ),
    Row(
        "SOI-01",
        "conductivity of sand, dry, half wet, full",
        lambda: [johansen(0.9, s, 0.0) for s in (0.001, 0.5, 1.0)],
        (0.24, 2.1, 2.5),
        "W m-1 K-1",
        f"{MOENE}; a table against a formula, dry end within its own spread",
        "read, computed",
        rtol=0.05,
    ),
    Row(
        "SOI-03",
        "heat capacity of a mixture",
        lambda: soil.heat_capacity(0.4, 2.13e6, WET, 0.0) / 1e6,
        (1.278, 2.114, 2.950),
        "MJ m-3 K-1",
        "de Vries sum",
        "computed",
        atol=1e-3,
    ),
    Row(
        "SOI-04",
        "damping depth, day",
        lambda: conduction.damping_depth(K / C, DAY),
        (0.0718, 0.1651, 0.1524),
        "m",
        "sqrt(2 a/omega)",
        "computed",
        atol=1e-4,
    ),
    Row(
        "SOI-04",
        "damping depth, year",
        lambda: conduction.damping_depth(K / C, YEAR),
        (1.372, 3.153, 2.912),
        "m",
        "sqrt(2 a/omega)",
        "computed",
        atol=1.5e-3,
    ),
    Row(
        "SOI-05",
        "flux of a 10 K daily wave",
        lambda: conduction.wave_flux_amplitude(10.0, K, C, DAY),
        (47.3, 179.9, 232.0),
        "W m-2",
        "A sqrt(kC omega)",
        "computed",
        atol=0.1,
    ),
    Row(
        "SOI-06",
        "wave at depth",
        lambda: [
            conduction.wave(1.0, z, d, DAY / 4.0 + conduction.wave_lag(z, d, DAY), DAY)
            for z, d in ((0.10, 0.10), (0.05, 0.12))
        ],
        (0.36788, 0.65924),
        "1",
        "exp(-z/d)",
        "computed",
        atol=1e-4,
    ),
    Row(
        "SOI-06",
        "lag of the wave",
        lambda: conduction.wave_lag(np.array([0.10, 0.05]), np.array([0.10, 0.12]), DAY) / 3600.0,
        (3.820, 1.592),
        "h",
        "z/(d omega)",
        "computed",
        atol=1e-3,
    ),
    Row(
        "SOI-07", "grains", lambda: soil.conductivity_solids(0.9), 6.7289, "W m-1 K-1", JOHANSEN, "computed", atol=1e-3
    ),
    Row(
        "SOI-07",
        "saturated, thawed and frozen",
        lambda: soil.conductivity_saturated(0.4, soil.conductivity_solids(0.9), np.array([0.0, 1.0])),
        (2.5068, 4.3026),
        "W m-1 K-1",
        f"{JOHANSEN}; water .57, ice 2.2",
        "computed",
        atol=1e-3,
    ),
    Row(
        "SOI-07",
        "dry",
        lambda: soil.conductivity_dry_johansen(DENSE),
        0.2431,
        "W m-1 K-1",
        JOHANSEN,
        "computed",
        atol=1e-4,
    ),
    Row(
        "SOI-07",
        "Kersten number, coarse",
        lambda: soil.kersten_coarse(np.array([0.2, 0.5, 1.0])),
        (0.5107, 0.7893, 1.0),
        "1",
        JOHANSEN,
        "computed",
        atol=1e-4,
    ),
    Row(
        "SOI-07",
        "sand at Sr .2, .5, 1",
        lambda: [johansen(0.9, s, 0.0) for s in (0.2, 0.5, 1.0)],
        (1.3992, 2.0298, 2.5068),
        "W m-1 K-1",
        JOHANSEN,
        "computed",
        atol=1e-3,
    ),
    Row(
        "SOI-07",
        "frozen sand at Sr .5",
        lambda: johansen(0.9, 0.5, 1.0),
        2.2729,
        "W m-1 K-1",
        JOHANSEN,
        "computed",
        atol=1e-3,
    ),
    Row(
        "SOI-08",
        "dry",
        lambda: soil.conductivity_dry_johansen(np.array([1400.0, 1600.0, 1800.0])),
        (0.1846, 0.2369, 0.3091),
        "W m-1 K-1",
        JOHANSEN,
        "computed",
        atol=1e-4,
    ),
    Row(
        "SOI-09",
        "Cote-Konrad, thawed",
        lambda: soil.conductivity_between(
            soil.conductivity_dry_cote_konrad(0.4, 0.75, 1.2), 6.73**0.6 * 0.6**0.4, soil.kersten_cote_konrad(0.5, 3.55)
        ),
        2.0512,
        "W m-1 K-1",
        COTE,
        "memory, computed",
        atol=1e-3,
    ),
    Row(
        "SOI-09",
        "Cote-Konrad, frozen",
        lambda: soil.conductivity_between(
            soil.conductivity_dry_cote_konrad(0.4, 0.75, 1.2),
            6.73**0.6 * 2.24**0.4,
            soil.kersten_cote_konrad(0.5, 0.95),
        ),
        2.2389,
        "W m-1 K-1",
        COTE,
        "memory, computed",
        atol=1e-3,
    ),
    Row(
        "SOI-10",
        "Lu",
        lambda: soil.conductivity_between(
            soil.conductivity_dry_lu(0.4), 2.5068, soil.kersten_lu(np.array([0.5, 0.2]), 0.96)
        ),
        (1.9633, 1.3026),
        "W m-1 K-1",
        LU,
        "memory, computed",
        atol=1e-3,
    ),
    Row(
        "SOI-11",
        "three formulas at Sr .2",
        lambda: [
            johansen(0.9, 0.2, 0.0),
            soil.conductivity_between(
                soil.conductivity_dry_cote_konrad(0.4, 0.75, 1.2),
                6.73**0.6 * 0.6**0.4,
                soil.kersten_cote_konrad(0.2, 4.60),
            ),
            soil.conductivity_between(soil.conductivity_dry_lu(0.4), 2.5068, soil.kersten_lu(0.2, 0.96)),
        ],
        (1.40, 1.48, 1.30),
        "W m-1 K-1",
        f"{JOHANSEN}; {COTE}; {LU}",
        "computed",
        atol=0.006,
    ),
    Row(
        "SOI-12",
        "pull on unfrozen water at -1 degC",
        lambda: soil.freezing_potential(272.15) / 1e6,
        -1.223,
        "MPa",
        "Clapeyron; Koopmans & Miller 1966, Soil Sci. Soc. Am. Proc. 30:680",
        "computed",
        rtol=3e-3,
    ),
    Row(
        "SOI-12",
        "the same as a head",
        lambda: soil.freezing_head(272.15),
        124.6,
        "m",
        "Clapeyron; Koopmans & Miller 1966",
        "computed",
        rtol=3e-3,
    ),
    Row(
        "SOI-13",
        "unfrozen water, 1 m2/g at -1 and 20 m2/g at -2 degC",
        lambda: 100.0 * soil.unfrozen_water(kelvin([-1.0, -2.0]), np.array([1.0, 20.0])),
        (1.299, 4.305),
        "%",
        "Anderson & Tice 1972",
        "memory, computed",
        rtol=5e-3,
    ),
    Row(
        "SOI-14",
        "sand freezes almost at once",
        lambda: soil.retained_water(soil.freezing_head(kelvin([-0.05, -0.5])), 0.045, 0.43, 14.5, 2.68),
        (0.04520, 0.04500),
        "m3 m-3",
        "van Genuchten 1980; Carsel & Parrish 1988",
        "memory, computed",
        atol=1e-4,
    ),
    Row(
        "SOI-15",
        "latent heat of 10 % water",
        lambda: soil.latent_store(0.1) / 1e6,
        33.4,
        "MJ m-3",
        "rho L theta",
        "computed",
        rtol=5e-3,
    ),
    Row(
        "SOI-15",
        "the same in the upper 0.1 m",
        lambda: soil.latent_store(0.1) * 0.1 / 3.6e6,
        0.928,
        "kWh m-2",
        "rho L theta",
        "computed",
        rtol=5e-3,
    ),
    Row(
        "HC-19",
        "time to freeze 0.05 m with 15 % water at 60 W/m2",
        lambda: soil.latent_store(0.15) * 0.05 / 60.0 / 3600.0,
        11.60,
        "h",
        "energy",
        "computed",
        rtol=5e-3,
    ),
    Row(
        "PIP-10",
        "heat capacity of a moist root zone",
        lambda: soil.heat_capacity(0.4, 2.13e6, 0.15, 0.0) / 1e6,
        1.905,
        "MJ m-3 K-1",
        "de Vries sum",
        "computed",
        atol=1e-3,
    ),
    Row(
        "PIP-10",
        "energy and time to warm 0.25 m of it by 6 K",
        lambda: [
            soil.heat_capacity(0.4, 2.13e6, 0.15, 0.0) * 0.25 * 6.0 / 3.6e6,
            soil.heat_capacity(0.4, 2.13e6, 0.15, 0.0) * 0.25 * 6.0 / 150.0 / 3600.0,
        ],
        (0.794, 5.29),
        "kWh m-2; h",
        "energy",
        "computed",
        rtol=5e-3,
    ),
]
