"""The words of plant and circuits: sums, fuel, installed power, loops and flow, in the reader's units."""

import numpy as np
import xarray as xr

from microclimate.report.sized import Sized
from microclimate.report.words import measure
from microclimate.units import Shown, from_si

JOULES = 3.6e6  # in a kWh


def money(value: float, sized: Sized) -> str:
    """A sum to three figures with the venue's currency."""
    if not np.isfinite(value):
        return "unknown"
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f} {sized.currency}".replace(",", "," if sized.shown.system == "US" else "\u202f")


def amount(value: float, shown: Shown) -> str:
    """A number to three figures with the reader's thousands."""
    if not np.isfinite(value):
        return "unknown"
    return f"{float(f'{value:.3g}'):,.0f}".replace(",", "," if shown.system == "US" else "\u202f")


def installed_words(sized: Sized) -> list[str]:
    """Installed power from nameplate and readings, and whether what is told of asks for more."""
    lines = [
        f"By its {how}: {value:.0f} W/m² of the heated area, range {low:.0f} to {high:.0f} W/m² installed."
        for how, value, low, high in sized.installed
    ]
    asked = max(float(climate.told["power"].values[climate.chosen]) for climate in sized.climates)
    for how, _, low, high in sized.installed:
        if asked > low:
            than = "more than" if asked > high else "within the range of"
            lines.append(f"The option told of asks for {asked:.0f} W/m² installed, {than} what the {how} gives.")
    return lines


def circuit_words(sized: Sized) -> list[str]:
    """Loops, flow, pressure drop, supply and return of circuits with water."""
    lines, shown = [], sized.shown
    for one in sized.circuits:
        lines.append(
            f"{one.name}: {power(one.heat, shown)}, {length(one.pipe, shown)} of pipe in {one.loops} loops of "
            f"{measure(one.loop, 'length', shown)}, {flow(one.flow, shown)}, {pressure(one.drop, shown)} over a loop, "
            f"water at {measure(one.supply, 'temperature', shown)} out and "
            f"{measure(one.back, 'temperature', shown)} back; the pipes show in the surface as a wave of "
            f"{measure(one.ripple, 'temperature difference', shown)}."
        )
    if lines:
        lines.append(
            "First estimates: moist sand, and where the venue says nothing else the drop from supply to return and the "
            "length of loop shown here, 30 % propylene glycol."
        )
    return lines


def power(value: float, shown: Shown) -> str:
    """A heat flow: '840 kW', or '2,870 MBtu/h' (thousand Btu an hour)."""
    if shown.system == "US":
        return f"{amount(float(from_si(value, 'MBtu/h')), shown)} MBtu/h ({amount(value / 1e3, shown)} kW)"
    return f"{amount(value / 1e3, shown)} kW"


def flow(value: float, shown: Shown) -> str:
    """A flow of water: m3/h or gpm."""
    unit = "gpm" if shown.system == "US" else "m3/h"
    return f"{float(from_si(value, unit)):.0f} {unit.replace('m3', 'm³')}"


def pressure(value: float, shown: Shown) -> str:
    """A pressure drop: kPa, or feet of water."""
    return f"{value / 2989.07:.1f} ft of water" if shown.system == "US" else f"{value / 1e3:.1f} kPa"


def length(value: float, shown: Shown) -> str:
    """A long length."""
    return f"{value / 1609.344:.1f} miles" if shown.system == "US" else f"{value / 1e3:.1f} km"


# one unit a fuel is sold in, metric and US, and kWh in each: 40 CFR 98 Table C-1 as in `venue.tariff`
_SOLD = {
    "gas": (("m³", 10.619), ("therm", 29.3071)),
    "oil": (("l", 10.684), ("gal", 40.444)),
    "propane": (("l", 7.045), ("gal", 26.669)),
}


def fuel_words(sized: Sized, told: xr.Dataset) -> str:
    """What a season buys, in the unit it is sold in."""
    bought, wires = (float(told[name].mean()) / JOULES for name in ("fuel", "current"))
    cables = f", and {amount(wires, sized.shown)} kWh of current for cables" if wires > 0.0 else ""
    if sized.plant in _SOLD:
        unit, kwh = _SOLD[sized.plant][sized.shown.system == "US"]
        sold = f"{amount(bought / kwh, sized.shown)} {unit} of {sized.plant}"
        return f"At {100 * sized.efficiency:.0f} % that is {sold} a season{cables}."
    if sized.plant == "heat pump" and bought > 0.0:
        made = (float(told["heat"].mean()) / JOULES - wires) / bought
        sold = f"{amount(bought, sized.shown)} kWh of current"
        return f"A heat pump makes {made:.1f} kWh of heat from each kWh: that is {sold} a season{cables}."
    sold = "district heat" if sized.plant == "district heat" else "current"
    return f"That is {amount(bought, sized.shown)} kWh of {sold} a season{cables}."
