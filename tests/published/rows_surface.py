"""Covers, snow and frost."""

import numpy as np
from published_row import Row, kelvin

from microclimate.physics import cover, night, snow

ISO = "ISO 6946:2007, Table 2 and Annex B"
THICK = np.array([0.005, 0.010, 0.025, 0.100])


def layer(heat: float, first: float = 0.9) -> object:
    """Resistance of still air layers at 10 degC; `heat` 1 up, -1 down."""
    return 1.0 / cover.air_layer_conductance(THICK, heat, 283.15, first, 0.9)


def across(thickness: object, first: float = 0.9, mean: float = 283.15) -> object:
    radiation = cover.radiation_conductance(mean, cover.plate_emissivity(first, 0.9))
    return 1.0 / (cover.air_layer_convection_across(thickness) + radiation)


ROWS = [
    Row(
        "COV-01",
        "air layer 5, 10, 25, 100 mm, heat up",
        lambda: layer(1.0),
        (0.11, 0.15, 0.16, 0.16),
        "m2 K W-1",
        ISO,
        "memory, computed",
        atol=0.005,
    ),
    Row(
        "COV-01",
        "air layer 5, 10, 25, 100 mm, heat across",
        lambda: across(THICK),
        (0.11, 0.15, 0.18, 0.18),
        "m2 K W-1",
        ISO,
        "memory, computed",
        atol=0.005,
    ),
    Row(
        "COV-01",
        "air layer 5, 10, 25, 100 mm, heat down",
        lambda: layer(-1.0),
        (0.11, 0.15, 0.19, 0.22),
        "m2 K W-1",
        ISO,
        "memory, computed",
        atol=0.005,
    ),
    Row(
        "COV-01",
        "its convection: down at 50 and 100 mm, across at 5 mm, up at 100 mm",
        lambda: [
            *cover.air_layer_convection(np.array([0.05, 0.1]), -1.0),
            cover.air_layer_convection_across(0.005),
            cover.air_layer_convection(0.1, 1.0),
        ],
        (0.5, 0.3305, 5.0, 1.95),
        "W m-2 K-1",
        "ISO 6946:2007, Table B.1, formula",
        "memory, computed",
        atol=1e-4,
    ),
    Row(
        "COV-02",
        "bright air layer of 25 mm, up, across, down",
        lambda: [np.asarray(layer(1.0, 0.05))[2], across(0.025, 0.05), np.asarray(layer(-1.0, 0.05))[2]],
        (0.453, 0.664, 0.796),
        "m2 K W-1",
        ISO,
        "computed",
        atol=1e-3,
    ),
    Row(
        "COV-03",
        "air space of 13 mm at 23 degC, across",
        lambda: across(0.013, 0.9, 296.15),
        0.147,
        "m2 K W-1",
        "trade-association air-space table, 0.5 in, emittance .82 (quoted)",
        "read",
        rtol=0.07,
    ),
    Row(
        "SNO-01",
        "conductivity by Sturm, .1 .2 .3 .5 g/cm3",
        lambda: snow.conductivity_quadratic(np.array([100.0, 200.0, 300.0, 500.0])),
        (0.0464, 0.0653, 0.1260, 0.4413),
        "W m-1 K-1",
        "Sturm et al. 1997, J. Glaciol. 43:26, formula",
        "computed",
        atol=1e-4,
    ),
    Row(
        "SNO-01",
        "conductivity by Yen, .1 .2 .3 .5 g/cm3",
        lambda: snow.conductivity(np.array([100.0, 200.0, 300.0, 500.0])),
        (0.0290, 0.1070, 0.2298, 0.6020),
        "W m-1 K-1",
        "Yen 1981, CRREL Report 81-10, formula",
        "computed",
        atol=1e-4,
    ),
    Row(
        "SNO-02",
        "new snow at 0, -2, -5 degC",
        lambda: snow.fresh_density(kelvin([0.0, -2.0, -5.0])),
        (119.2, 91.6, 75.4),
        "kg m-3",
        "Hedstrom & Pomeroy 1998, Hydrol. Process. 12:1611",
        "memory, computed",
        atol=0.06,
    ),
    Row(
        "SNO-02",
        "new snow at 0, -2, -5 degC",
        lambda: snow.fresh_density_wet(kelvin([0.0, -2.0, -5.0])),
        (148.8, 129.7, 103.8),
        "kg m-3",
        "Anderson 1976, NOAA NWS 19 (as several public snow codes carry it)",
        "read, computed",
        atol=0.06,
    ),
    Row(
        "SNO-03",
        "melt by 100 W/m2 in a day",
        lambda: snow.melt(100.0 * 86400.0),
        25.87,
        "kg m-2",
        "energy",
        "computed",
        rtol=1e-3,
    ),
    Row(
        "SNO-03",
        "melt by 20 mm of rain at 5 degC",
        lambda: snow.melt(snow.rain_heat(20.0, 278.15)),
        1.253,
        "kg m-2",
        "energy; USACE 1956 .0125 P T = 1.25",
        "computed",
        rtol=1.5e-3,
    ),
    Row(
        "SNO-04",
        "albedo after a day from .85, cold and melting",
        lambda: snow.aged_albedo_class(0.85, 86400.0, np.array([0.0, 1.0])),
        (0.8180, 0.7753),
        "1",
        "Verseghy 1991, Int. J. Climatol. 11:111",
        "memory, computed",
        atol=1e-4,
    ),
    Row(
        "FRO-01",
        "square-root trend at hours 3, 5, 9, 13",
        lambda: night.square_root_trend(0.95, -5.45, np.array([1.0, 3.0, 7.0, 11.0]), 13.0),
        (-0.825, -2.124, -3.746, -4.937),
        "degC",
        "Snyder & de Melo-Abreu 2005, FAO ENRS 10 vol. 1 ch. 5",
        "read, computed",
        atol=1e-3,
    ),
    Row(
        "FRO-04",
        "chance in n years",
        lambda: night.recurrence_chance(np.array([0.1, 0.2]), np.array([10.0, 5.0])),
        (0.6513, 0.6723),
        "1",
        "FAO ENRS 10 vol. 2 ch. 1; Haan 1979",
        "computed",
        atol=1e-4,
    ),
]
