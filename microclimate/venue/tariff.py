"""Fuels: the heat in them, what they emit, and prices as a bill states them."""

import re
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

KWH_PER_MMBTU = 293.071070  # 1e6 Btu(IT) of 1055.05585 J
_CUBIC_METRE, _LITRE = 35.3146667, 0.264172052  # cubic feet in a m3, US gallons in a litre


@dataclass(frozen=True)
class Fuel:
    """Heat (gross calorific value) by the unit it is sold in, and carbon dioxide."""

    per_unit: dict[str, float]  # kWh in one of each unit
    carbon: float | None  # [kg CO2 per kWh]; None: the user's own alone


def _by_volume(mmbtu: float, carbon: float, units: dict[str, float]) -> Fuel:
    return Fuel({unit: mmbtu * share * KWH_PER_MMBTU for unit, share in units.items()}, carbon / KWH_PER_MMBTU)


# 40 CFR 98, Subpart C, Table C-1 (2016): natural gas 1.026e-3 mmBtu/scf, 53.06 kg CO2/mmBtu; distillate oil No. 2
# 0.138 mmBtu/gal, 73.96; propane 0.091 mmBtu/gal, 62.87. Gross calorific values.
_GALLONS = {"gal": 1.0, "l": _LITRE}
FUELS = {
    "gas": _by_volume(1.026e-3, 53.06, {"m3": _CUBIC_METRE, "ccf": 100.0}),
    "oil": _by_volume(0.138, 73.96, _GALLONS),
    "propane": _by_volume(0.091, 62.87, _GALLONS),
    "electric": Fuel({}, None),
    "heat pump": Fuel({}, None),
    "district heat": Fuel({}, None),
}
# the same in kWh whatever the fuel
ENERGY = {"kwh": 1.0, "mwh": 1000.0, "therm": 0.1 * KWH_PER_MMBTU, "mmbtu": KWH_PER_MMBTU, "gj": 1e3 / 3.6}
_NAMED = {f"{unit} {fuel}": kwh for fuel, sold in FUELS.items() for unit, kwh in sold.per_unit.items()}
PER = ENERGY | _NAMED

_PRICE = re.compile(r"^\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*(?:(?:per|/)\s*(.+?))?\s*$", re.IGNORECASE)


@dataclass(frozen=True)
class Price:
    """Annotation of a price of energy: a number per kWh, or text such as "1.05 per therm" or "2.60 per gal propane"."""

    low: float = 0.0
    high: float = 100.0

    def convert(self, value: Any) -> float:
        """Per kWh."""
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise PydanticCustomError("price", "must be a price per kWh, or text such as '1.05 per therm'")
        number, unit = float("nan"), "kwh"
        if isinstance(value, str):
            found = _PRICE.match(value)
            unit = (found[2] or "kwh").strip().lower() if found else ""
            if found is None or unit not in PER:
                raise PydanticCustomError(
                    "price",
                    "must be a price per kWh, or text that names another unit: {units}",
                    {"units": ", ".join(f"'1.05 per {name}'" for name in ("therm", "MWh", "gal propane", "m3 gas"))},
                )
            number = float(found[1].replace(",", "."))
        else:
            number = float(value)
        price = number / PER[unit]
        if not self.low <= price <= self.high:
            raise PydanticCustomError(
                "range", "must be {low} to {high} per kWh", {"low": f"{self.low:g}", "high": f"{self.high:g}"}
            )
        return price

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Pydantic asks here how the number is read."""
        return core_schema.no_info_plain_validator_function(self.convert)
