"""Grass through the winter, growth by temperature, and lamps.

Wheat's rates: rows of a course that A. K. Bergjord gave for checking codes of the model (winter wheat, hardest -24
degC, tender -4.01 degC), as an open crop-model library prints them; read there, each rate to its last printed digit.
"""

import numpy as np
from published_row import Row, kelvin

from microclimate.physics import hardening, lamps, light

BERGJORD = "Bergjord, Bonesmo & Skjelvag 2008, Eur. J. Agron. 28:321, course for checking codes"
THORSEN = "Thorsen & Hoglind 2010, Agric. For. Meteorol. 150:1529; coefficients as the open grassland model has them"
HARDEST, TENDER = kelvin(-24.0), kelvin(-4.01)


def _january_week(crown: float) -> float:
    """Timothy that hardened to -26 degC, after seven days of thaw from 15 January [degC]."""
    hardest, tender, lt50 = kelvin(-26.0), kelvin(-4.7894), kelvin(-26.0)
    for day in range(15, 22):
        fall = hardening.grass_hardening(lt50, hardest, kelvin(crown), hardening.hardening_left(float(day)))
        lt50 = lt50 + hardening.grass_softening(lt50, tender, kelvin(crown)) - fall
    return float(lt50) - 273.15


ROWS = [
    Row(
        "TRF-01",
        "wheat hardens in a cold day; LT50 is printed to 0.01 K, H x 10 x 0.005 = 0.0005",
        lambda: hardening.hardening(
            kelvin([-4.04, -6.95, -15.21, -20.04, -4.01]), HARDEST, kelvin([6.72, 4.70, 4.85, -0.16, 9.84])
        ),
        [0.6089, 0.8403, 0.4210, 0.3681, 0.0297],
        "K d-1",
        BERGJORD,
        "read",
        atol=5.5e-4,
    ),
    Row(
        "TRF-02",
        "wheat softens in a mild day",
        lambda: hardening.dehardening(
            kelvin([-23.78, -23.77, -23.66, -21.86]), TENDER, kelvin([-1.76, -0.61, -0.16, -0.52])
        ),
        [0.0060, 0.0208, 0.0300, 0.0203],
        "K d-1",
        BERGJORD,
        "read",
        atol=1e-4,
    ),
    Row(
        "TRF-03",
        "frost stress; 0.005 K of printed LT50 is S x 0.005 = 1 %",
        lambda: hardening.frost_stress(kelvin([-23.60, -23.63, -23.67]), kelvin([-7.56, -8.27, -9.01])),
        [3.95e-11, 1.36e-10, 4.95e-10],
        "K d-1",
        BERGJORD,
        "read",
        rtol=0.02,
    ),
    Row(
        "TRF-03",
        "frost stress 1 K above the killing temperature: exp(3.74 - 1.9)",
        lambda: hardening.frost_stress(kelvin(-10.0), kelvin(-9.0)),
        6.2965,
        "K d-1",
        "Bergjord and others 2008, formula",
        "computed",
        atol=1e-4,
    ),
    Row(
        "TRF-04",
        "respiration under snow; printed with 0.84 and 0.051, the course made with about 0.8408 and 0.0507",
        lambda: hardening.snow_stress(kelvin([-0.16, -0.16, -0.61, -6.28]), np.array([0.08, 0.17, 0.22, 0.10])),
        [0.0560, 0.0875, 0.0723, 0.0098],
        "K d-1",
        BERGJORD,
        "read",
        atol=8e-4,
    ),
    Row(
        "TRF-04",
        "respiration under 62.5 mm of snow at 0 and, held, at -5 degC",
        lambda: hardening.snow_stress(kelvin([0.0, -5.0]), 0.0625),
        [0.046173, 0.005704],
        "K d-1",
        "Bergjord and others 2008, formula: .54 (exp(.84 + .051 T) - 2) / 1.85 / 2",
        "computed",
        atol=2e-6,
    ),
    Row(
        "TRF-05",
        "share of a day that counts as vernalisation",
        lambda: hardening.cold_had(kelvin([10.0, 13.27, 4.85, 0.86, -0.16, -1.55])),
        [0.7393, 0.3618, 1.0, 0.7343, 0.5271, 0.0],
        "1",
        BERGJORD,
        "read",
        atol=1e-4,
    ),
    Row(
        "TRF-06",
        "share of the winter had",
        lambda: hardening.winter_had(np.array([16.7999, 22.4038, 38.0151, 56.4430])),
        [0.1884, 0.4946, 0.9323, 0.9900],
        "1",
        BERGJORD,
        "read",
        atol=1e-4,
    ),
    Row(
        "TRF-07",
        "timothy hardens: half its power left, 4.7052 degC, 10 K above its hardest",
        lambda: hardening.grass_hardening(kelvin(-10.0), kelvin(-20.0), kelvin(4.7052), 0.5),
        0.279625,
        "K d-1",
        THORSEN,
        "read, computed",
        rtol=1e-6,
    ),
    Row(
        "TRF-08",
        "power to harden left on days 280, 311, 365, 15, 91, 150 and 202",
        lambda: hardening.hardening_left(np.array([280.0, 311.0, 365.0, 15.0, 91.0, 150.0, 202.0])),
        [1.0, 1.0, 0.627586, 0.524138, 0.0, 0.0, 1.0],
        "1",
        THORSEN,
        "read, computed",
        atol=1e-6,
    ),
    Row(
        "TRF-09",
        "timothy of -26 degC after a January week of 3 and of 9 degC (its softening was fitted to these)",
        lambda: [_january_week(3.0), _january_week(9.0)],
        [-18.0, -15.0],
        "degC",
        "Hoglind, Jorgensen, Ostrem, Bakken & Thorsen 2008, Eur. Grassland Fed., abstract",
        "read",
        atol=0.01,
    ),
    Row(
        "LIG-06",
        "growth that temperature allows, 5 and 10 degC, cool-season grass",
        lambda: light.growth_index(kelvin([5.0, 10.0]), kelvin(20.0), 5.5),
        [0.0243, 0.1915],
        "1",
        "common practice, exp(-((T - 20)/5.5)^2 / 2)",
        "memory, computed",
        atol=5e-5,
    ),
    Row(
        "LIG-07",
        "lamps of 400 umol m-2 s-1 for 8 h, and the time that gives it back",
        lambda: [lamps.lamp_light(400.0, 28800.0), lamps.lamp_time(11.52, 400.0)],
        [11.52, 28800.0],
        "mol m-2, s",
        "light integral = flux x seconds / 1e6, common practice",
        "memory, computed",
        rtol=1e-9,
    ),
]
