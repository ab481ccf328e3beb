"""Heat pumps by their lift, the heat of a flow, and the snow-melting handbook's slab balance in its own units."""

import numpy as np
from published_row import Row, kelvin
from scipy import constants as given

from microclimate.physics import plant, snowmelt

STAFFELL = "Staffell et al. 2012, Energy Environ. Sci. 5:9291, regression (read in open energy models that quote it)"
CHAPMAN = "Chapman & Katunich 1956; ASHRAE Handbook, HVAC Applications, to 1995, as Lund quotes it"

# Btu (International Table) an hour and square foot, inches of mercury at 32 degF: from scipy's table, not the package's
BTU = given.Btu_IT / given.hour / given.foot**2
INHG = given.inch * 13595.1 * given.g
FREE = {"air": kelvin((17.0 - 32.0) / 1.8), "film_pressure": 0.188 * INHG, "air_pressure": 0.08 * INHG}
FALL = 0.1 * given.inch * 1000.0 / given.hour  # 0.1 in of water an hour

ROWS = [
    Row(
        "PLT-01",
        "heat pump on air, lift 15, 30, 45, 60 K",
        lambda: plant.heat_pump_air(np.array([15.0, 30.0, 45.0, 60.0])),
        (5.13675, 3.747, 2.64075, 1.818),
        "1",
        STAFFELL,
        "read, computed",
        atol=1e-5,
    ),
    Row(
        "PLT-01",
        "held outside 15 to 60 K",
        lambda: plant.heat_pump_air(np.array([5.0, 80.0])),
        (5.13675, 1.818),
        "1",
        STAFFELL,
        "read, computed",
        atol=1e-5,
    ),
    Row(
        "PLT-02",
        "heat pump on ground, lift 20, 30, 45, 60 K",
        lambda: plant.heat_pump_ground(np.array([20.0, 30.0, 45.0, 60.0])),
        (6.0636, 4.9306, 3.50635, 2.4124),
        "1",
        STAFFELL,
        "read, computed",
        atol=1e-5,
    ),
    Row(
        "PLT-02",
        "held outside 20 to 60 K",
        lambda: plant.heat_pump_ground(np.array([5.0, 80.0])),
        (6.0636, 2.4124),
        "1",
        STAFFELL,
        "read, computed",
        atol=1e-5,
    ),
    Row(
        "PLT-03",
        "water, 10 gpm and 20 degF",
        lambda: (
            plant.heat_of_flow(
                10.0 * given.gallon / given.minute,
                given.Btu_IT / (given.pound * given.degree_Fahrenheit) * 8.34 * given.pound / given.gallon,
                kelvin(40.0),
                kelvin(40.0 - 20.0 / 1.8),
            )
            * given.hour
            / given.Btu_IT
        ),
        1.0e5,
        "Btu/h",
        "heating trade's rule 500 x gpm x degF (60 min x 8.34 lb/gal, water at room temperature; from memory)",
        "memory, computed",
        rtol=2e-3,
    ),
    Row(
        "SLB-01",
        "wind function at 0, 5, 15 mph",
        lambda: snowmelt.wind_function(np.array([0.0, 5.0, 15.0]) * given.mph),
        (0.055, 0.1555, 0.3565),
        "1",
        CHAPMAN,
        "read, computed",
        atol=1e-5,
    ),
    Row(
        "SLB-02",
        "convection, 15 mph and 17 F; 5 mph and 20 F",
        lambda: (
            snowmelt.convection(np.array([15.0, 5.0]) * given.mph, kelvin((np.array([17.0, 20.0]) - 32.0) / 1.8)) / BTU
        ),
        (65.0256, 23.0451),
        "Btu/h/ft2",
        CHAPMAN,
        "read, computed",
        rtol=1e-4,
    ),
    Row(
        "SLB-03",
        "evaporation, 15 mph and .080 inHg; 5 mph and .060 inHg",
        lambda: (
            snowmelt.evaporation(np.array([15.0, 5.0]) * given.mph, 0.188 * INHG, np.array([0.08, 0.06]) * INHG) / BTU
        ),
        (41.4089, 21.4068),
        "Btu/h/ft2",
        CHAPMAN + "; 1075.5 Btu/lb from steam tables",
        "read, computed",
        rtol=1e-4,
    ),
    Row(
        "SLB-04",
        "whole slab, .1 in/h, 17 F, 15 mph, .080 inHg; free ratio 0, .5, 1",
        lambda: snowmelt.slab_load(FALL, wind=15.0 * given.mph, free=np.array([0.0, 0.5, 1.0]), **FREE) / BTU,
        (78.76, 131.98, 185.19),
        "Btu/h/ft2",
        CHAPMAN + ": q_s 2.6 s x 16 = 4.16, q_m 746 s = 74.6, q_h 65.03, q_e 41.41",
        "read, computed",
        rtol=5e-3,
    ),
]
