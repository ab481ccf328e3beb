"""Conduction, freezing fronts and pipes."""

import numpy as np
from published_row import Row, kelvin

from microclimate.physics import conduction, heating

CARSLAW = "Carslaw & Jaeger 1959"
INCROPERA = "Incropera & DeWitt"
HOUR, DAY = 3600.0, 86400.0
NEUMANN = (2.5, 2.0e6, 2.0, 2.5e6, 6.68e7, 4.0, -5.0)


def gamma() -> float:
    return conduction.front_parameter(*NEUMANN)


def slab(biot: float, fourier: float) -> list[float]:
    return [conduction.slab_response(biot, fourier, 0.0), conduction.slab_response(biot, fourier, 1.0)]


def tray() -> list[float]:
    """0.30 m, k 2.1, C 2.12e6, 12 W/m2K on both faces, 8 to -4 degC, 6 h: middle and surface [degC]."""
    half = 0.15
    return [-4.0 + 12.0 * share for share in slab(12.0 * half / 2.1, 2.1 / 2.12e6 * 6.0 * HOUR / half**2)]


def front_at(depth: list[float]) -> object:
    return conduction.front_temperature(np.array(depth), DAY, gamma(), 2.5 / 2.0e6, 2.0 / 2.5e6, 4.0, -5.0)


ROWS = [
    Row(
        "HC-01",
        "depth of 0 degC under a water main's ground",
        lambda: conduction.step_depth(20.0 / 35.0, 0.52 / (2050.0 * 1840.0), 60.0 * DAY),
        0.6766,
        "m",
        f"{INCROPERA}, water-main example (prints .68)",
        "read, computed",
        atol=5e-4,
    ),
    Row(
        "HC-02",
        "step",
        lambda: conduction.step_response(
            np.array([0.10, 0.15, 0.30]), np.array([0.5e-6, 0.85e-6, 1e-6]), np.array([6.0, 12.0, 24.0]) * HOUR
        ),
        (0.49624, 0.57991, 0.47049),
        "1",
        f"{CARSLAW}, 2.4",
        "computed",
        atol=1e-5,
    ),
    Row(
        "HC-03",
        "flux after a step, 1 and 12 h",
        lambda: conduction.step_flux(10.0, 1.5, 2e6, np.array([1.0, 12.0]) * HOUR),
        (162.87, 47.02),
        "W m-2",
        f"{CARSLAW}, 2.4",
        "computed",
        atol=0.01,
    ),
    Row(
        "HC-04",
        "steady loss of 80 W/m2 for 10 h: surface and 0.10 m",
        lambda: conduction.flux_response(-80.0, np.array([0.0, 0.10]), 1.5, 2.1e6, 10.0 * HOUR),
        (-9.650, -5.240),
        "K",
        f"{CARSLAW}, 2.9; Brunt 1932",
        "computed",
        atol=1e-3,
    ),
    Row(
        "HC-05",
        "dry and moist sand under a loss of 60 W/m2 for 12 h",
        lambda: conduction.flux_response(-60.0, 0.0, np.array([0.24, 2.1]), np.array([1.28e6, 2.12e6]), 12.0 * HOUR),
        (-25.39, -6.67),
        "K",
        f"{CARSLAW}, 2.9",
        "computed",
        atol=0.01,
    ),
    Row(
        "HC-06",
        "wet sand on cold concrete: joint",
        lambda: conduction.contact_temperature(
            8.0, conduction.effusivity(2.5, 2.96e6), -4.0, conduction.effusivity(1.4, 2.0e6)
        ),
        3.430,
        "degC",
        f"{INCROPERA}, Eq. 5.63",
        "computed",
        atol=1e-3,
    ),
    Row(
        "HC-06",
        "wet sand on cold concrete: flux after 1 h",
        lambda: conduction.step_flux(8.0 - 3.430, 2.5, 2.96e6, HOUR),
        116.9,
        "W m-2",
        f"{INCROPERA}, Eq. 5.63",
        "computed",
        atol=0.1,
    ),
    Row(
        "HC-07",
        "under a film, surface and 0.05 m",
        lambda: conduction.convective_response(np.array([0.0, 0.05]), 10.0, 1.5, 1.5 / 0.75e-6, 6.0 * HOUR),
        (0.52719, 0.38130),
        "1",
        f"{INCROPERA}, Eq. 5.60",
        "computed",
        atol=1e-4,
    ),
    Row(
        "HC-08",
        "first root of a slab, Bi .1, .5, 1, 10",
        lambda: [conduction.slab_roots(bi, 1)[0] for bi in (0.1, 0.5, 1.0, 10.0)],
        (0.3111, 0.6533, 0.8603, 1.4289),
        "rad",
        f"{INCROPERA}, Table 5.1",
        "memory, computed",
        atol=1e-4,
    ),
    Row(
        "HC-08",
        "its coefficient",
        lambda: [conduction.slab_coefficients(conduction.slab_roots(bi, 1))[0] for bi in (0.1, 0.5, 1.0, 10.0)],
        (1.0161, 1.0701, 1.1191, 1.2620),
        "1",
        f"{INCROPERA}, Table 5.1",
        "memory, computed",
        atol=1e-4,
    ),
    Row(
        "HC-09",
        "slab, middle and surface: (Bi 1, Fo 1), (.1, 2), (10, .2)",
        lambda: [*slab(1.0, 1.0), *slab(0.1, 2.0), *slab(10.0, 0.2)],
        (0.53386, 0.34818, 0.83733, 0.79714, 0.82925, 0.12248),
        "1",
        "Heisler-chart case, full series",
        "computed",
        atol=1e-4,
    ),
    Row(
        "HC-10",
        "tray cold on both faces: middle and surface",
        tray,
        (3.092, 0.879),
        "degC",
        "series",
        "computed",
        atol=2e-3,
    ),
    Row("HC-11", "Neumann's parameter", gamma, 0.22738, "1", f"{CARSLAW}, ch. 11", "computed", atol=1e-5),
    Row(
        "HC-11",
        "freezing front after 1 and 10 d",
        lambda: conduction.front_depth(gamma(), 2.5 / 2.0e6, np.array([1.0, 10.0]) * DAY),
        (0.14945, 0.47259),
        "m",
        f"{CARSLAW}, ch. 11",
        "computed",
        atol=1e-5,
    ),
    Row(
        "HC-11",
        "temperatures after 1 d at .02, .05, .10, .20, .40 m",
        lambda: front_at([0.02, 0.05, 0.10, 0.20, 0.40]),
        (-4.320, -3.302, -1.623, 0.565, 2.360),
        "degC",
        f"{CARSLAW}, ch. 11; an enthalpy solver of its own put the front at .14914 m",
        "computed",
        atol=1e-3,
    ),
    Row(
        "HC-12",
        "Stefan's bound after 1 d",
        lambda: conduction.stefan_depth(2.5, 5.0, DAY, 6.68e7),
        0.17982,
        "m",
        "sqrt(2k dT t/L)",
        "computed",
        atol=1e-5,
    ),
    Row(
        "HC-13",
        "Neumann with ground at 0 degC",
        lambda: conduction.front_parameter(2.9, 1.75e6, 2.9, 1.75e6, 6.68e7, 0.0, -5.0),
        0.25059,
        "1",
        "Neumann, one phase",
        "computed",
        atol=1e-5,
    ),
    Row(
        "HC-13",
        "its front after 12 h",
        lambda: conduction.front_depth(0.25059, 2.9 / 1.75e6, 12.0 * HOUR),
        0.13410,
        "m",
        "Neumann, one phase",
        "computed",
        atol=1e-5,
    ),
    Row(
        "HC-14",
        "modified Berggren, homogeneous soil",
        lambda: conduction.berggren_factor(0.333, 0.204) * float(conduction.stefan_depth(0.76, 2500.0, 24.0, 2160.0)),
        5.82,
        "ft",
        "TM 5-852-6 / UFC 3-130-06 example (prints 5.8 by chart); 2500 F d, L 2160 Btu/ft3",
        "memory, computed",
        atol=0.01,
    ),
    Row(
        "HC-15",
        "correction for sensible heat",
        lambda: [conduction.berggren_factor(a, m) for a, m in ((0.5, 0.1), (0.5, 0.3), (1.0, 0.2), (1.0, 0.5))],
        (0.9111, 0.8265, 0.7762, 0.6492),
        "1",
        "Neumann; Aldrich & Paynter 1953 chart",
        "computed",
        atol=1e-3,
    ),
    Row(
        "HC-17",
        "ice on still water, one degree day",
        lambda: 100.0 * conduction.stefan_depth(2.2, 1.0, DAY, 917.0 * 3.34e5),
        3.52,
        "cm",
        "Stefan; Ashton 1986",
        "memory, computed",
        rtol=5e-3,
    ),
    Row(
        "PIP-01",
        "one pipe",
        lambda: heating.shape_factor_single(30.0, 0.1, 0.5) * 0.9 * 70.0,
        3967.0,
        "W",
        "Cengel, Example 3-13 (prints 3963 with the logarithm)",
        "memory, computed",
        rtol=2e-3,
    ),
    Row(
        "PIP-02",
        "shape factor",
        lambda: heating.shape_factor_single(5.0, 1.0, 1.5),
        17.822,
        "m",
        f"{INCROPERA}, Table 4.1 case 2",
        "read, computed",
        atol=1e-3,
    ),
    Row(
        "PIP-03",
        "row of pipes, per metre",
        lambda: heating.shape_factor_row(0.02, np.array([0.2, 0.15]), np.array([0.2, 0.3])),
        (0.84440, 1.33598),
        "1",
        "Cengel, Table 3-7",
        "computed",
        atol=1e-4,
    ),
    Row(
        "PIP-03",
        "the first as a single pipe",
        lambda: heating.shape_factor_single(1.0, 0.02, 0.2),
        1.70357,
        "1",
        "Cengel, Table 3-7",
        "computed",
        atol=1e-4,
    ),
    Row(
        "PIP-04",
        "output of a row",
        lambda: (
            heating.shape_factor_row(0.02, np.array([0.2, 0.15]), np.array([0.2, 0.3]))
            * 1.5
            * 25.0
            / np.array([0.2, 0.3])
        ),
        (158.3, 167.0),
        "W m-2",
        "S k dT / w",
        "computed",
        rtol=1e-3,
    ),
    Row(
        "PIP-05",
        "yearly wave",
        lambda: conduction.ground_temperature(
            10.0, 12.0, 0.05 / DAY, 35.0, np.array([0.0, 1.0, 1.0]), np.array([35.0, 35.0, 60.0])
        ),
        (-2.000, 2.747, 2.076),
        "degC",
        "Kusuda & Achenbach 1965, formula",
        "computed",
        atol=1e-3,
    ),
    Row(
        "PIP-06",
        "mean excess of water",
        lambda: heating.log_mean_excess(kelvin([45.0, 35.0]), kelvin([35.0, 28.0]), kelvin([20.0, 8.0])),
        (19.576, 23.325),
        "K",
        "EN 1264 / ISO 11855",
        "computed",
        atol=1e-3,
    ),
    Row(
        "PIP-07",
        "snow melt, .10 in/h at 17 F, film at 33 F",
        lambda: heating.snow_melt_load(0.1 * 25.4 / 3600.0, 15.0 / 1.8, 1.0 / 1.8) / 3.154591,
        78.9,
        "Btu/h/ft2",
        "ASHRAE Handbook, HVAC Applications, snow melting: 4.34 + 74.5",
        "memory, computed",
        rtol=5e-3,
    ),
    Row(
        "PIP-08",
        "snow melt, 5 mm/h from 0 and from -5 degC",
        lambda: heating.snow_melt_load(5.0 / 3600.0, np.array([0.0, 5.0]), 0.0),
        (463.9, 478.5),
        "W m-2",
        "latent and sensible heat",
        "computed",
        rtol=1e-3,
    ),
    Row(
        "PIP-08",
        "the part that warms the snow by 5 K",
        lambda: heating.snow_melt_load(5.0 / 3600.0, 5.0, 0.0) - heating.snow_melt_load(5.0 / 3600.0, 0.0, 0.0),
        14.4,
        "W m-2",
        "sensible heat; handbooks give ice 2050 to 2100 J kg-1 K-1",
        "computed",
        rtol=0.015,
    ),
]
