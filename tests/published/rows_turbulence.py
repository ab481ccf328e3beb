"""Exchange with the air, and evaporation of the reference grass."""

import numpy as np
from published_row import Row, kelvin

from microclimate.constants import VON_KARMAN
from microclimate.physics import convection, evaporation, longwave, sunlight, turbulence

FAO = "Allen et al. 1998, FAO Irrigation and Drainage Paper 56"
ASCE = "ASCE-EWRI 2005, open station data with the numbers of an open implementation"
INCROPERA = "Incropera & DeWitt"
BH = "Beljaars & Holtslag 1991, J. Appl. Meteorol. 30:327, formula"
PAULSON = "Paulson 1970; Dyer 1974, formula with 16"
LOUIS = "Louis, Tiedtke & Geleyn 1982, formula"
MJ = 1e6


def day_example() -> dict[str, float]:
    """FAO-56 Example 18: 50 deg 48 min N, 6 July, 100 m; every step through the package."""
    warm, cold, latitude = kelvin(21.5), kelvin(12.3), np.radians(50.8)
    above = sunlight.extraterrestrial_daily(latitude, 187.0)
    length = sunlight.daylight(sunlight.sunset_hour_angle(latitude, sunlight.declination_fao(187.0)))
    shortwave = sunlight.shortwave_from_sunshine(above, 9.25 * 3600.0, length)
    clear = sunlight.clear_sky_fao(above, 100.0)
    high, low = evaporation.saturation_pressure_fao(warm), evaporation.saturation_pressure_fao(cold)
    vapour = 0.5 * (0.84 * low + 0.63 * high)
    longwave_out = 86400.0 * longwave.net_longwave_fao(warm, cold, vapour, shortwave / clear)
    net = 0.77 * shortwave - longwave_out
    wind = evaporation.wind_at_two_metres(10.0 / 3.6, 10.0)
    mean = 0.5 * (warm + cold)
    gamma = evaporation.psychrometric_constant_fao(evaporation.pressure_at(100.0))
    deficit = 0.5 * (high + low) - vapour
    lost = evaporation.reference_evaporation(
        net, 0.0, mean, wind, deficit, evaporation.slope_fao(mean), gamma, 900.0, 0.34
    )
    return {
        "above": above / MJ,
        "short": shortwave / MJ,
        "clear": clear / MJ,
        "long": longwave_out / MJ,
        "net": net / MJ,
        "lost": lost,
    }


def hour_example() -> dict[str, float]:
    """FAO-56 Example 19: 1 October, 14-15 h, 38 degC, 52 %, 3.3 m/s, 2.450 MJ/m2, 8 m."""
    air = kelvin(38.0)
    saturated = evaporation.saturation_pressure_fao(air)
    vapour = 0.52 * saturated
    out = 3600.0 * longwave.net_longwave_fao(air, air, vapour, 2.450 / 2.658)
    net = 0.77 * 2.450 * MJ - out
    gamma = evaporation.psychrometric_constant_fao(evaporation.pressure_at(8.0))
    lost = evaporation.reference_evaporation(
        net, 0.1 * net, air, 3.3, saturated - vapour, evaporation.slope_fao(air), gamma, 37.0, 0.34
    )
    return {"long": out / MJ, "net": net / MJ, "soil": 0.1 * net / MJ, "lost": lost}


def asce_example(clear: float) -> list[float]:
    """Net radiation [MJ m-2], short and tall reference [mm] of one July day at 1208.5 m; `clear` [MJ m-2]."""
    cold, warm = kelvin((66.65 - 32.0) / 1.8), kelvin((102.80 - 32.0) / 1.8)
    shortwave = 674.07 * 0.041868  # langley
    vapour = 1220.67
    out = 86400.0 * longwave.net_longwave_fao(warm, cold, vapour, shortwave / clear) / MJ
    net = 0.77 * shortwave - out
    wind = evaporation.wind_at_two_metres(4.80 * 0.44704, 3.0)
    mean = 0.5 * (warm + cold)
    high, low = evaporation.saturation_pressure_fao(warm), evaporation.saturation_pressure_fao(cold)
    gamma = evaporation.psychrometric_constant_fao(evaporation.pressure_at(1208.5))
    short, tall = (
        evaporation.reference_evaporation(
            net * MJ, 0.0, mean, wind, 0.5 * (high + low) - vapour, evaporation.slope_fao(mean), gamma, top, bottom
        )
        for top, bottom in ((900.0, 0.34), (1600.0, 0.38))
    )
    return [net, short, tall]


def asce_hour() -> list[float]:
    """Short and tall reference [mm] of the hour from 11:00 on 1 July 2015 at Fallon, 1208.5 m: 91.80 degF, 1.19901 kPa,
    61.16 langley, 3.33 mile/h at 3 m; net longwave 0.228979 MJ m-2 as printed with it."""
    air, vapour = kelvin((91.80 - 32.0) / 1.8), 1199.0099614301906
    net = (0.77 * 61.16 * 0.041868 - 0.22897874401150786) * MJ
    wind = evaporation.wind_at_two_metres(3.33 * 0.44704, 3.0)
    deficit = evaporation.saturation_pressure_fao(air) - vapour
    slope, gamma = evaporation.slope_fao(air), evaporation.psychrometric_constant_fao(evaporation.pressure_at(1208.5))
    return [
        float(evaporation.reference_evaporation(net, soil * net, air, wind, deficit, slope, gamma, top, bottom))
        for soil, top, bottom in ((0.1, 37.0, 0.24), (0.04, 66.0, 0.25))
    ]


STABLE = np.array([0.1, 1.0, 2.0])
UNSTABLE = np.array([-0.1, -1.0, -2.0])

ROWS = [
    Row(
        "TUR-01",
        "resistance of reference grass",
        lambda: evaporation.grass_resistance(1.0),
        207.66,
        "s m-1",
        f"{FAO}, Box 4 (prints 208)",
        "memory, computed",
        atol=0.05,
    ),
    Row(
        "TUR-02",
        "wind at 2 m",
        lambda: evaporation.wind_at_two_metres(np.array([3.2, 2.78]), 10.0),
        (2.393, 2.078),
        "m s-1",
        f"{FAO}, Examples 14, 18 (2.4, 2.078)",
        "read, computed",
        atol=1.5e-3,
    ),
    Row(
        "TUR-02",
        "factor from 1, 2, 3 and 5 m to 2 m",
        lambda: evaporation.wind_at_two_metres(1.0, np.array([1.0, 2.0, 3.0, 5.0])),
        (1.1783, 1.0002, 0.9209, 0.8382),
        "1",
        f"{FAO}, Eq. 47 (Table 2.9 prints three decimals)",
        "memory, computed",
        atol=1e-4,
    ),
    Row(
        "TUR-03",
        "log law",
        lambda: turbulence.wind_at_height(5.0, 10.0, 2.0, 0.03),
        3.6147,
        "m s-1",
        "formula",
        "computed",
        atol=1e-4,
    ),
    Row(
        "TUR-03",
        "log law over grass",
        lambda: turbulence.wind_at_height(5.0, 9.92, 1.92, 0.01476),
        3.7388,
        "m s-1",
        "formula",
        "computed",
        atol=1e-4,
    ),
    Row(
        "TUR-03",
        "friction velocity for a constant of .41",
        lambda: 0.41 / VON_KARMAN * turbulence.friction_velocity(5.0, 10.0, 0.03),
        0.3529,
        "m s-1",
        "formula",
        "computed",
        atol=1e-4,
    ),
    Row(
        "TUR-04",
        "day: sun above, shortwave, clear sky, net longwave, net radiation",
        lambda: [day_example()[name] for name in ("above", "short", "clear", "long", "net")],
        (41.09, 22.07, 30.90, 3.71, 13.28),
        "MJ m-2 d-1",
        f"{FAO}, Example 18",
        "read, computed",
        atol=0.01,
    ),
    Row(
        "TUR-04",
        "day: reference evaporation",
        lambda: day_example()["lost"],
        3.88,
        "mm d-1",
        f"{FAO}, Example 18",
        "read, computed",
        atol=0.01,
    ),
    Row(
        "TUR-05",
        "hour: net longwave, net radiation, soil heat",
        lambda: [hour_example()[name] for name in ("long", "net", "soil")],
        (0.137, 1.749, 0.175),
        "MJ m-2 h-1",
        f"{FAO}, Example 19",
        "memory, computed",
        atol=1e-3,
    ),
    Row(
        "TUR-05",
        "hour: reference evaporation",
        lambda: hour_example()["lost"],
        0.63,
        "mm h-1",
        f"{FAO}, Example 19",
        "memory, computed",
        atol=0.005,
    ),
    Row(
        "TUR-06",
        "ASCE reference evaporation of one hour, short and tall",
        asce_hour,
        [0.606861, 0.720187],
        "mm",
        "worked hour of the library refet after RefET (ASCE-EWRI 2005 in full: 0.6068614, 0.7201865)",
        "read, computed",
        rtol=1e-5,
    ),
    Row(
        "TUR-06",
        "net radiation, short and tall reference, simple clear sky",
        lambda: asce_example(32.243),
        (15.368, 7.9980, 10.6261),
        "MJ m-2; mm d-1",
        f"{ASCE}; ASCE's sigma of 4.901e-9 a day adds .04 % of the net longwave",
        "read, computed",
        atol=4e-3,
    ),
    Row(
        "TUR-06",
        "net radiation, short and tall reference, full clear sky",
        lambda: asce_example(31.566),
        (15.174, 7.9422, 10.5713),
        "MJ m-2; mm d-1",
        f"{ASCE}; ASCE's sigma of 4.901e-9 a day adds .04 % of the net longwave",
        "read, computed",
        atol=4e-3,
    ),
    Row(
        "TUR-07",
        "unstable, momentum",
        lambda: turbulence.psi_momentum_unstable(UNSTABLE),
        (0.28361, 1.11623, 1.49469),
        "1",
        PAULSON,
        "computed",
        atol=1e-5,
    ),
    Row(
        "TUR-07",
        "unstable, heat",
        lambda: turbulence.psi_heat_unstable(UNSTABLE),
        (0.53428, 1.88123, 2.43118),
        "1",
        PAULSON,
        "computed",
        atol=1e-5,
    ),
    Row(
        "TUR-08",
        "stable, linear",
        lambda: turbulence.psi_stable_linear(STABLE),
        (-0.5, -5.0, -10.0),
        "1",
        "Dyer 1974",
        "computed",
        atol=1e-9,
    ),
    Row(
        "TUR-08",
        "stable, long tail",
        lambda: turbulence.psi_stable_long_tail(STABLE),
        (-0.51093, -4.39257, -7.53861),
        "1",
        "Holtslag & De Bruin 1988, J. Appl. Meteorol. 27:689, formula",
        "computed",
        atol=1e-5,
    ),
    Row(
        "TUR-08",
        "stable, momentum",
        lambda: turbulence.psi_momentum_stable(STABLE),
        (-0.49214, -4.28393, -7.45927),
        "1",
        BH,
        "computed",
        atol=1e-5,
    ),
    Row(
        "TUR-08",
        "stable, heat",
        lambda: turbulence.psi_heat_stable(STABLE),
        (-0.49379, -4.43559, -8.02349),
        "1",
        BH,
        "computed",
        atol=1e-5,
    ),
    Row(
        "TUR-09",
        "Louis, unstable, momentum and heat",
        lambda: [turbulence.louis_unstable(-0.5, 2.0, 100.0, 1.0), turbulence.louis_unstable(-0.5, 3.0, 100.0, 1.0)],
        (1.99979, 2.49968),
        "1",
        LOUIS,
        "computed",
        atol=1e-4,
    ),
    Row(
        "TUR-09",
        "Louis, stable, momentum",
        lambda: turbulence.louis_stable_momentum(np.array([0.05, 0.2, 1.0])),
        (0.69098, 0.41421, 0.19675),
        "1",
        LOUIS,
        "computed",
        atol=1e-4,
    ),
    Row(
        "TUR-09",
        "Louis, stable, heat",
        lambda: turbulence.louis_stable_heat(np.array([0.05, 0.2, 1.0])),
        (0.54391, 0.19074, 0.02650),
        "1",
        LOUIS,
        "computed",
        atol=1e-4,
    ),
    Row(
        "TUR-10",
        "bulk Richardson number",
        lambda: turbulence.bulk_richardson(273.15, 270.15, 1.5, 2.0, 2.0),
        0.09577,
        "1",
        "formula",
        "computed",
        atol=1e-4,
    ),
    Row(
        "TUR-11",
        "laminar plate, Re 9600, Pr .687",
        lambda: convection.plate_laminar(9600.0, 0.687),
        57.4,
        "1",
        f"{INCROPERA}, Example 7.1",
        "memory, computed",
        rtol=5e-3,
    ),
    Row(
        "TUR-12",
        "mixed and tripped plate, Re 1e6, Pr .7",
        lambda: [convection.plate_mixed(1e6, 0.7), convection.plate_turbulent(1e6, 0.7)],
        (1299.5, 2072.8),
        "1",
        f"{INCROPERA}, Eq. 7.38",
        "computed",
        rtol=1e-3,
    ),
    Row(
        "TUR-13",
        "upright plate in calm air",
        lambda: convection.upright_plate_free(1.813e9, 0.690),
        147.16,
        "1",
        f"{INCROPERA}, Example 9.2 (prints 147); an open library 147.16",
        "read, memory",
        atol=0.05,
    ),
    Row(
        "TUR-14",
        "level plate in calm air, warm face up",
        lambda: convection.warm_face_up_free(np.array([1e6, 1e9])),
        (17.08, 150.0),
        "1",
        f"McAdams 1954; {INCROPERA}, Eq. 9.30, 9.31",
        "computed",
        atol=0.01,
    ),
    Row(
        "TUR-14",
        "level plate in calm air, warm face down",
        lambda: convection.warm_face_down_free(1e6),
        8.54,
        "1",
        f"McAdams 1954; {INCROPERA}, Eq. 9.32",
        "computed",
        atol=0.01,
    ),
    Row(
        "TUR-15",
        "free convection, surface warmer by 1, 5, 10 K",
        lambda: convection.level_surface_free(np.array([1.0, 5.0, 10.0])),
        (1.509, 2.581, 3.251),
        "W m-2 K-1",
        "Walton 1983, formula",
        "computed",
        atol=1e-3,
    ),
    Row(
        "TUR-15",
        "free convection, surface colder by 1, 5, 10 K",
        lambda: convection.level_surface_free(np.array([-1.0, -5.0, -10.0])),
        (0.760, 1.299, 1.637),
        "W m-2 K-1",
        "Walton 1983, formula",
        "computed",
        atol=1e-3,
    ),
    Row(
        "TUR-16",
        "outdoor film, wind 1, 2, 4 m/s",
        lambda: convection.outdoor_film(np.array([1.0, 2.0, 4.0])),
        (8.0, 12.0, 20.0),
        "W m-2 K-1",
        "ISO 6946:2007, Annex A",
        "memory, computed",
        atol=1e-9,
    ),
]
