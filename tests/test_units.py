"""Units: against an independent units library, and the traps of temperature differences and decimal commas."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from metpy.units import units as pint

from microclimate.units import _SHOWN, _UNITS, Shown, UnknownUnit, dimension, from_si, known, quantity, to_si

# our spelling -> (the library's spelling, its SI spelling); what it lacks is checked by hand below
_INDEPENDENT = {
    "m": ("m", "m"),
    "mm": ("mm", "m"),
    "cm": ("cm", "m"),
    "km": ("km", "m"),
    "in": ("inch", "m"),
    "ft": ("foot", "m"),
    "yd": ("yard", "m"),
    "ft2": ("foot**2", "m**2"),
    "degC": ("degC", "K"),
    "degF": ("degF", "K"),
    "delta_degC": ("delta_degC", "K"),
    "delta_degF": ("delta_degF", "K"),
    "km/h": ("km/hour", "m/s"),
    "mm/s": ("mm/s", "m/s"),
    "mph": ("mile/hour", "m/s"),
    "kt": ("knot", "m/s"),
    "ft/s": ("foot/s", "m/s"),
    "hPa": ("hPa", "Pa"),
    "kPa": ("kPa", "Pa"),
    "mbar": ("mbar", "Pa"),
    "inHg": ("inHg", "Pa"),
    "Btu/h/ft2": ("Btu/hour/foot**2", "W/m**2"),
    "kW": ("kW", "W"),
    "MW": ("MW", "W"),
    "Btu/h": ("Btu/hour", "W"),
    "kWh": ("kWh", "J"),
    "MWh": ("MWh", "J"),
    "therm": ("therm", "J"),
    "oz/yd2": ("ounce/yard**2", "kg/m**2"),
    "mm/h": ("(kg/m**2)/hour", "kg/m**2/s"),
    "min": ("minute", "s"),
    "h": ("hour", "s"),
    "d": ("day", "s"),
    "%": ("percent", "dimensionless"),
    "m3/h": ("m**3/hour", "m**3/s"),
    "cfm": ("foot**3/minute", "m**3/s"),
    "gpm": ("gallon/minute", "m**3/s"),
    "l/h": ("liter/hour", "m**3/s"),
    "ft2hF/Btu": ("foot**2*hour*delta_degF/Btu", "m**2*K/W"),
}
_BY_DEFINITION = {
    "in/h": 25.4 / 3600,
    "MBtu/h": 293.07107,
    "tenths": 0.1,
    "oktas": 0.125,
}  # of water; thousand Btu; WMO cloud units


@pytest.mark.parametrize("unit", sorted(_INDEPENDENT))
def test_against_pint(unit: str) -> None:
    """pint (through MetPy), an independent general-purpose units library; 1e-5: it rounds some of its own factors."""
    theirs, si = _INDEPENDENT[unit]
    expected = pint.Quantity(7.25, theirs).to(si).magnitude
    assert to_si(7.25, unit) == pytest.approx(expected, rel=1e-5)


def test_every_unit_is_checked() -> None:
    base = {"K", "delta_K", "m2", "m/s", "Pa", "W/m2", "W", "J", "m2K/W", "W/m/K", "W/m2/K", "kg/m2", "kg/m2/s"}
    base |= {"kg/m3", "degree", "s", "1", "m3/s"}
    assert set(_UNITS) == set(_INDEPENDENT) | set(_BY_DEFINITION) | base
    for unit in base:
        assert to_si(3.0, unit) == 3.0
    for unit, factor in _BY_DEFINITION.items():
        assert to_si(1.0, unit) == pytest.approx(factor)


def test_fixed_points() -> None:
    """Definitions of the scales: 32 degF and 0 degC are 273.15 K, 212 degF is 373.15 K, -40 is the same on both."""
    assert quantity("32 degF", "degC") == pytest.approx(273.15, abs=1e-12)
    assert quantity("212 °F", "degC") == pytest.approx(373.15, abs=1e-12)
    assert quantity("-40 F", "degC") == pytest.approx(quantity("-40 C", "degC"), abs=1e-12)


def test_a_difference_is_converted_as_a_difference() -> None:
    assert quantity("9 degF", "delta_K") == pytest.approx(5.0)
    assert quantity("2 degC", "delta_K") == pytest.approx(2.0)
    assert quantity("2 K", "delta_K") == pytest.approx(2.0)
    assert Shown("US").text(5.0, "temperature difference") == "9.0 °F"
    assert Shown("US").text(273.15, "temperature") == "32.0 °F"


def test_text_as_people_write_it() -> None:
    assert quantity("250 mm", "m") == 0.25
    assert quantity("0,25", "m") == 0.25
    assert quantity('10"', "m") == pytest.approx(0.254)
    assert quantity("6 inches", "mm") == pytest.approx(0.1524)
    assert quantity(250, "mm") == 0.25
    assert quantity("15 %", "1") == pytest.approx(0.15)
    assert known("W m-2") == "W/m2"
    assert known("MPH") == "mph"


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("cold", "degC", "does not begin with a number"),
        ("3 furlongs", "m", "no unit known here"),
        ("3 kg/m2", "m", "measures amount, not length"),
        ("3 m", "degC", "measures length, not temperature"),
    ],
)
def test_what_cannot_be_read_is_said(text: str, unit: str, words: str) -> None:
    with pytest.raises(UnknownUnit, match=words):
        quantity(text, unit)


@given(st.sampled_from(sorted(_UNITS)), st.floats(-1e6, 1e6))
def test_there_and_back(unit: str, value: float) -> None:
    assert from_si(to_si(value, unit), unit) == pytest.approx(value, rel=1e-9, abs=1e-7)


@pytest.mark.parametrize("kind", sorted(_SHOWN))
@pytest.mark.parametrize("system", ["metric", "US"])
def test_what_is_shown_has_the_right_dimension(kind: str, system: str) -> None:
    unit = Shown(system).unit(kind)  # type: ignore[arg-type]
    assert dimension(unit) == {"depth": "length"}.get(kind, kind)


def test_missing_reads_unknown_and_zero_has_no_sign() -> None:
    assert Shown().text(np.nan, "temperature") == "unknown"
    assert Shown().text(273.149, "temperature") == "0.0 °C"
    assert Shown().text(271.15, "temperature") == "\u22122.0 °C"


def test_a_number_beyond_all_floats_is_infinite_and_no_warning() -> None:
    assert quantity(4.9e305, "h") == np.inf
    assert from_si(1e308, "mm") == np.inf
