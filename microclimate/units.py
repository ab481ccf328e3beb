"""Text with units to SI and back. A temperature difference is converted as a difference.

A small closed table: what a venue file, a reading or a column header may say. Everything inside the package is SI.
"""

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from microclimate.constants import ZERO_CELSIUS

# unit -> (dimension, factor, offset): SI = value * factor + offset
_UNITS: dict[str, tuple[str, float, float]] = {
    "m": ("length", 1.0, 0.0),
    "mm": ("length", 1e-3, 0.0),
    "cm": ("length", 1e-2, 0.0),
    "km": ("length", 1e3, 0.0),
    "in": ("length", 0.0254, 0.0),
    "ft": ("length", 0.3048, 0.0),
    "yd": ("length", 0.9144, 0.0),
    "m2": ("area", 1.0, 0.0),
    "ft2": ("area", 0.09290304, 0.0),
    "K": ("temperature", 1.0, 0.0),
    "degC": ("temperature", 1.0, ZERO_CELSIUS),
    "degF": ("temperature", 5.0 / 9.0, ZERO_CELSIUS - 32.0 * 5.0 / 9.0),
    "delta_K": ("temperature difference", 1.0, 0.0),
    "delta_degC": ("temperature difference", 1.0, 0.0),
    "delta_degF": ("temperature difference", 5.0 / 9.0, 0.0),
    "m/s": ("speed", 1.0, 0.0),
    "mm/s": ("speed", 1e-3, 0.0),
    "km/h": ("speed", 1.0 / 3.6, 0.0),
    "mph": ("speed", 0.44704, 0.0),
    "kt": ("speed", 1852.0 / 3600.0, 0.0),
    "ft/s": ("speed", 0.3048, 0.0),
    "Pa": ("pressure", 1.0, 0.0),
    "hPa": ("pressure", 100.0, 0.0),
    "kPa": ("pressure", 1000.0, 0.0),
    "mbar": ("pressure", 100.0, 0.0),
    "inHg": ("pressure", 3386.389, 0.0),
    "W/m2": ("flux", 1.0, 0.0),
    "Btu/h/ft2": ("flux", 3.154591, 0.0),
    "W": ("power", 1.0, 0.0),
    "kW": ("power", 1e3, 0.0),
    "MW": ("power", 1e6, 0.0),
    "Btu/h": ("power", 0.29307107, 0.0),
    "MBtu/h": ("power", 293.07107, 0.0),  # thousand Btu an hour, as plant plates have it
    "J": ("energy", 1.0, 0.0),
    "kWh": ("energy", 3.6e6, 0.0),
    "MWh": ("energy", 3.6e9, 0.0),
    "therm": ("energy", 1.05505585e8, 0.0),
    "m2K/W": ("thermal resistance", 1.0, 0.0),
    "ft2hF/Btu": ("thermal resistance", 0.17611018, 0.0),
    "W/m/K": ("conductivity", 1.0, 0.0),
    "W/m2/K": ("conductance", 1.0, 0.0),
    "kg/m2": ("amount", 1.0, 0.0),
    "oz/yd2": ("amount", 0.033905747, 0.0),
    "kg/m2/s": ("amount rate", 1.0, 0.0),
    "mm/h": ("amount rate", 1.0 / 3600.0, 0.0),
    "in/h": ("amount rate", 25.4 / 3600.0, 0.0),
    "kg/m3": ("density", 1.0, 0.0),
    "degree": ("angle", 1.0, 0.0),
    "s": ("duration", 1.0, 0.0),
    "min": ("duration", 60.0, 0.0),
    "h": ("duration", 3600.0, 0.0),
    "d": ("duration", 86400.0, 0.0),
    "1": ("fraction", 1.0, 0.0),
    "%": ("fraction", 0.01, 0.0),
    "tenths": ("fraction", 0.1, 0.0),
    "oktas": ("fraction", 0.125, 0.0),
    "m3/h": ("flow", 1.0 / 3600.0, 0.0),
    "m3/s": ("flow", 1.0, 0.0),
    "cfm": ("flow", 4.7194745e-4, 0.0),
    "gpm": ("flow", 6.3090196e-5, 0.0),
    "l/h": ("flow", 1e-3 / 3600.0, 0.0),
}

_ALIASES = {
    "°C": "degC",
    "C": "degC",
    "celsius": "degC",
    "deg_C": "degC",
    "deg C": "degC",
    "degrees C": "degC",
    "°F": "degF",
    "F": "degF",
    "fahrenheit": "degF",
    "deg_F": "degF",
    "deg F": "degF",
    "degrees F": "degF",
    "kelvin": "K",
    '"': "in",
    "inch": "in",
    "inches": "in",
    "feet": "ft",
    "foot": "ft",
    "yards": "yd",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "m s-1": "m/s",
    "m s^-1": "m/s",
    "m.s-1": "m/s",
    "ms-1": "m/s",
    "kmh": "km/h",
    "kph": "km/h",
    "mi/h": "mph",
    "knot": "kt",
    "knots": "kt",
    "kn": "kt",
    "kts": "kt",
    "mb": "mbar",
    "W m-2": "W/m2",
    "W m^-2": "W/m2",
    "W/m^2": "W/m2",
    "W/m²": "W/m2",
    "Wm-2": "W/m2",
    "kg m-2": "kg/m2",
    "kg/m^2": "kg/m2",
    "kg m-2 s-1": "kg/m2/s",
    "kg m-3": "kg/m3",
    "percent": "%",
    "pct": "%",
    "fraction": "1",
    "": "1",
    "-": "1",
    "octas": "oktas",
    "okta": "oktas",
    "tenth": "tenths",
    "m²": "m2",
    "ft²": "ft2",
    "deg": "degree",
    "degrees": "degree",
    "°": "degree",
    "hours": "h",
    "hour": "h",
    "hr": "h",
    "minutes": "min",
    "days": "d",
    "m2 K/W": "m2K/W",
    "m²K/W": "m2K/W",
    "W/mK": "W/m/K",
    "W/(m K)": "W/m/K",
    "W/m2K": "W/m2/K",
    "m3/m3": "1",
    "m3 m-3": "1",
}

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


class UnknownUnit(ValueError):
    """The text names no unit of the wanted dimension."""


def known(unit: str) -> str:
    """The table's own spelling of a unit.

    Raises
    ------
    UnknownUnit
        When the unit is in neither the table nor the list of other spellings.
    """
    text = unit.strip()
    text = _ALIASES.get(text, text)
    if text not in _UNITS:
        lowered = {name.lower(): name for name in _UNITS} | {name.lower(): target for name, target in _ALIASES.items()}
        # megawatt and milliwatt differ by their case alone; such units have no other spelling here
        text = lowered.get(text.lower(), text)
    if text not in _UNITS:
        raise UnknownUnit(f"{unit!r} is no unit known here")
    return text


def dimension(unit: str) -> str:
    """What a unit measures, for example 'length'."""
    return _UNITS[known(unit)][0]


def to_si(value: ArrayLike, unit: str) -> NDArray[np.float64]:
    """Numbers of one unit as SI numbers, any shape."""
    _, factor, offset = _UNITS[known(unit)]
    with np.errstate(over="ignore"):  # beyond the largest float is infinite, which no range allows
        return np.asarray(np.asarray(value, dtype=float) * factor + offset)


def from_si(value: ArrayLike, unit: str) -> NDArray[np.float64]:
    """SI numbers as numbers of one unit, any shape."""
    _, factor, offset = _UNITS[known(unit)]
    with np.errstate(over="ignore"):
        return np.asarray((np.asarray(value, dtype=float) - offset) / factor)


def quantity(text: str | float, unit: str) -> float:
    """A number in `unit`, or text such as "250 mm", as SI.

    Parameters
    ----------
    text : str or number
        A bare number is in `unit`; a text may name any unit of the same dimension, and may use a decimal comma.
    unit : str
        The documented unit.

    Returns
    -------
    float
        SI value.

    Raises
    ------
    UnknownUnit
        When the text holds no number, or a unit of another dimension.
    """
    if not isinstance(text, str):
        return float(to_si(float(text), unit))
    match = _NUMBER.match(text)
    if match is None:
        raise UnknownUnit(f"{text!r} does not begin with a number")
    number = float(match[1].replace(",", "."))
    given = known(match[2]) if match[2] else known(unit)
    wanted = dimension(unit)
    if wanted == "temperature difference" and f"delta_{given}" in _UNITS:
        given = f"delta_{given}"
    if dimension(given) != wanted:
        raise UnknownUnit(f"{text!r} measures {dimension(given)}, not {wanted}")
    return float(to_si(number, given))


System = Literal["metric", "US"]

# dimension -> (metric unit, US unit) for everything a person reads
_SHOWN: dict[str, tuple[str, str]] = {
    "temperature": ("degC", "degF"),
    "temperature difference": ("delta_K", "delta_degF"),
    "depth": ("mm", "in"),
    "length": ("m", "ft"),
    "area": ("m2", "ft2"),
    "speed": ("m/s", "mph"),
    "flux": ("W/m2", "W/m2"),
    "energy": ("kWh", "kWh"),
    "power": ("kW", "kW"),
    "amount": ("kg/m2", "kg/m2"),
    "pressure": ("hPa", "inHg"),
}
_SYMBOLS = {"degC": "°C", "degF": "°F", "delta_K": "K", "delta_degF": "°F", "W/m2": "W/m²", "m2": "m²", "ft2": "ft²"}


@dataclass(frozen=True)
class Shown:
    """How one venue's reader wants to see numbers and clock times."""

    system: System = "metric"
    clock: Literal[12, 24] = 24
    time_zone: str = "UTC"

    def unit(self, kind: str) -> str:
        """The unit shown for one kind of quantity, as a table name, for example 'degF'."""
        return _SHOWN[kind][0 if self.system == "metric" else 1]

    def symbol(self, kind: str) -> str:
        """The same as it is printed, for example '°F'."""
        unit = self.unit(kind)
        return _SYMBOLS.get(unit, unit)

    def number(self, value: ArrayLike, kind: str) -> NDArray[np.float64]:
        """SI numbers as the reader's numbers."""
        return from_si(value, self.unit(kind))

    def text(self, value: float, kind: str, digits: int = 1) -> str:
        """One SI number with its unit, for example '-2.4 °C'; a value that is missing reads 'unknown'."""
        if not np.isfinite(value):
            return "unknown"
        shown = round(float(self.number(value, kind)), digits) + 0.0  # no minus zero
        return f"{shown:.{digits}f} {self.symbol(kind)}".replace("-", "\u2212")
