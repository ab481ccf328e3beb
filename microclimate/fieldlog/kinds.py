"""What can be read in the field: unit, what is believed, and the plain words people use for it."""

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Kind:
    """One quantity. Bounds of belief are ours unless a source stands beside them."""

    unit: str  # SI
    dimension: str  # of `units`
    low: float  # [SI] less is not believed
    high: float
    words: tuple[str, ...]  # in a heading, in lower case
    buried: bool = False  # needs a depth
    modelled: bool = False  # the model has it too
    counts: bool = False  # may come from a meter that counts up
    step: float = float("inf")  # [SI] largest change believed within ten minutes
    spike: float = float("inf")  # [SI] a single reading this far from both its neighbours is not believed
    stuck: float = float("inf")  # [h] the same value for longer is not believed


KINDS: dict[str, Kind] = {
    "soil_temperature": Kind(
        "K",
        "temperature",
        230.0,
        335.0,
        ("soil", "root zone", "rootzone", "ground", "sand", "probe"),
        True,
        True,
        step=6.0,
        spike=3.0,
        stuck=36.0,
    ),
    "canopy_temperature": Kind(
        "K", "temperature", 200.0, 350.0, ("canopy", "leaf", "grass"), False, True, step=15.0, spike=8.0, stuck=6.0
    ),
    "surface_temperature": Kind(
        "K",
        "temperature",
        200.0,
        350.0,
        ("surface", "infrared", "ir", "skin"),
        False,
        True,
        step=15.0,
        spike=8.0,
        stuck=6.0,
    ),
    "air_temperature": Kind(
        "K", "temperature", 210.0, 335.0, ("air", "ambient", "outside", "screen"), step=8.0, spike=5.0, stuck=8.0
    ),
    "dew_point_temperature": Kind("K", "temperature", 180.0, 310.0, ("dew point", "dewpoint", "dew"), stuck=12.0),
    "relative_humidity": Kind("1", "fraction", 0.0, 1.12, ("humidity", "rh", "hum")),
    "wind_speed_of_gust": Kind("m/s", "speed", 0.0, 75.0, ("gust",)),
    "wind_from_direction": Kind("degree", "angle", 0.0, 360.0, ("wind direction", "wind dir", "direction", "wdir")),
    "wind_speed": Kind("m/s", "speed", 0.0, 60.0, ("wind", "anemometer")),
    "surface_air_pressure": Kind("Pa", "pressure", 5e4, 1.1e5, ("pressure", "barometer")),
    "surface_downwelling_shortwave_flux_in_air": Kind(
        "W/m2", "flux", -20.0, 1600.0, ("solar", "shortwave", "pyranometer")
    ),
    "surface_downwelling_longwave_flux_in_air": Kind("W/m2", "flux", 80.0, 600.0, ("longwave", "pyrgeometer")),
    "surface_upwelling_longwave_flux_in_air": Kind("W/m2", "flux", 80.0, 850.0, (), modelled=True),
    "surface_upward_sensible_heat_flux": Kind("W/m2", "flux", -900.0, 900.0, (), modelled=True),
    "surface_upward_latent_heat_flux": Kind("W/m2", "flux", -900.0, 1200.0, (), modelled=True),
    "downward_heat_flux_in_soil": Kind("W/m2", "flux", -500.0, 600.0, ("heat flux plate",), modelled=True),
    "surface_snow_thickness": Kind("m", "length", 0.0, 10.0, ("snow",), modelled=True, spike=0.3),
    "volume_fraction_of_condensed_water_in_soil": Kind(
        "1", "fraction", 0.0, 0.8, ("moisture", "water content", "vwc"), True, True, spike=0.1
    ),
    "precipitation_amount": Kind("m", "length", 0.0, 0.5, ("rain", "precipitation", "tipping"), counts=True),
    "heating_energy": Kind("J", "energy", 0.0, 1e12, ("energy", "kwh", "meter reading", "heat meter"), counts=True),
    "bowl_air_difference": Kind("K", "temperature difference", -15.0, 15.0, ()),
    "seat_temperature": Kind("K", "temperature", 150.0, 380.0, ()),  # as an infrared thermometer shows it
    "seat_reflectance": Kind("1", "fraction", 0.0, 1.0, ()),  # light off a seat over light on it
    "surface_hardness": Kind("1", "fraction", 0.0, 600.0, ()),  # [g] peak deceleration of a dropped mass
    "takes_a_stud": Kind("1", "fraction", 0.0, 1.0, ()),  # yes or no
}
BURIED = tuple(name for name, kind in KINDS.items() if kind.buried)
MODELLED = tuple(name for name, kind in KINDS.items() if kind.modelled)


def named(text: str) -> str:
    """The quantity that a plain word or a heading speaks of, '' when none.

    The longest word wins; "soil moisture" is water, "air" beside "soil" is soil.
    """
    plain = re.sub(r"[\s_]+", " ", text.strip().lower())
    if plain.replace(" ", "_") in KINDS:
        return plain.replace(" ", "_")
    hits = [
        (len(word), -order, name)
        for order, (name, kind) in enumerate(KINDS.items())
        for word in kind.words
        if re.search(rf"(?<![a-z]){re.escape(word)}(?![a-z])", plain)
    ]
    best = max(hits, default=(0, 0, ""))[2]
    water = "volume_fraction_of_condensed_water_in_soil"
    return water if any(name == water for *_, name in hits) else best
