"""The words of `sizing`: what each option is, what it brings and costs, and what was taken for it."""

import textwrap
from collections.abc import Sequence

import numpy as np
import xarray as xr

from microclimate.report.sized import ClimateTold, NightTold, Sized
from microclimate.report.words import between, chance, chance_range, depth, distance, glued, measure
from microclimate.report.words_reasons import assumed
from microclimate.units import Shown, from_si

WIDTH = 80
JOULES = 3.6e6  # in a kWh
HOT_WATER = 308.15  # [K] in shallow sand (common practice, no source)
# Published use of heated fields, press and suppliers: 15 to 110 W/m2 mean, 60 to 250 kWh/m2 a season, a spread of seven
# (set point, cover, snow, wind and hours differ)
BAND_MEAN, BAND_SEASON = (15.0, 110.0), (60.0, 250.0)


def option(told: xr.Dataset, number: int, shown: Shown) -> str:
    """One option in words, for example "120 W/m² installed, event-led 24 h ahead, quilt"."""
    one = told.isel(option=number)
    parts = []
    if float(one["power"]) > 0.0:
        parts.append(f"{float(one['power']):.0f} W/m² installed")
        if np.isfinite(one["depth"]):
            parts.append(f"{depth(float(one['depth']), shown)} deep")
        if np.isfinite(one["pitch"]):
            parts.append(f"every {depth(float(one['pitch']), shown)}")
        if np.isfinite(one["supply"]):
            parts.append(f"water at {measure(float(one['supply']), 'temperature', shown)}")
        parts.append(policy(str(one["policy"].item()), float(one["lead"])))
    else:
        parts.append("no heat")
    cover = str(one["cover"].item())
    return ", ".join([*parts, cover or "no cover"])


def policy(kind: str, lead: float) -> str:
    """How it is run."""
    if kind == "event-led":
        return f"led by events, {lead:.0f} h ahead"
    if kind == "base heat":
        return f"base heat, raised {lead:.0f} h ahead"
    return kind


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


def head(sized: Sized, climate: ClimateTold) -> list[str]:
    """What a climate's answer comes down to."""
    told = climate.told.isel(option=climate.chosen)
    goal = f"{100 * sized.target:.0f} % of event windows"
    name = option(climate.told, climate.chosen, sized.shown)
    share = chance_range(*(float(told[key]) for key in ("held", "held_low", "held_high")))
    if climate.holds:
        lines = [
            f"The smallest system tried that keeps {goal} within your limits: {name}. It keeps {share}; nine windows "
            f"of ten stay {_above(float(told['margin']), sized.shown)}."
        ]
    else:
        lines = [
            f"No option tried keeps {goal} within your limits. The one that comes nearest: {name}. It keeps {share}; "
            f"nine windows of ten stay {_above(float(told['margin']), sized.shown)}. Ground without crust or worse: "
            f"{chance(float(told['unfrozen']))}."
        ]
    heat, mean = float(told["heat_per_area"].mean()) / JOULES, float(told["power_mean"].mean())
    if float(told["power"]) > 0.0:
        lines.append(
            f"A season takes {heat:.0f} kWh/m² of the heated area, "
            f"{amount(float(told['heat'].mean()) / JOULES, sized.shown)} kWh in all: {mean:.0f} W/m² in the mean of "
            f"all hours, {float(told['power_max'].max()):.0f} W/m² at its highest, of {float(told['power']):.0f} W/m² "
            f"installed. Published use: {BAND_SEASON[0]:.0f} to {BAND_SEASON[1]:.0f} kWh/m² a season, "
            f"{BAND_MEAN[0]:.0f} to {BAND_MEAN[1]:.0f} W/m² in the mean (press and suppliers; set points, covers, snow "
            "and hours differ)."
        )
        lines += [words for words in [fuel_words(sized, told)] if words]
    cost = float(told["cost"].mean())
    if np.isfinite(cost):
        lines.append(f"Fuel, current and crew: {money(cost, sized)} a season. Building it is not in that sum.")
    return lines


def _above(margin: float, shown: Shown) -> str:
    if not np.isfinite(margin):
        return "unknown"
    size = measure(abs(margin), "temperature difference", shown)
    return f"{size} above the limit" if margin >= 0.0 else f"no more than {size} below the limit"


def climate_words(climate: ClimateTold, shown: Shown) -> list[str]:
    """Where the winters come from."""
    days = f"{climate.first:%d %B} to {climate.last:%d %B}"
    count = len(climate.winters)
    lowest = min(winter.lowest for winter in climate.winters)
    kind = "one typical year" if climate.typical else f"{count} winter{'s' if count > 1 else ''}"
    lines = [f"Climate: {climate.name}, {kind}, {days}; lowest air {measure(lowest, 'temperature', shown)}."]
    if climate.far:
        lines.append(
            f"It is the climate of a place {distance(1000.0 * climate.far, shown)} from the venue: with that place's "
            "sun and clock."
        )
    if climate.typical:
        lines.append("A typical year holds ordinary winters, no hard one: chances are of an ordinary winter.")
    for winter in climate.left_out:
        lines.append(f"Winter {winter.name} is left out: {100 * winter.coverage:.0f} % of its hours are there.")
    if climate.filled:
        lines.append(f"{climate.filled} missing hours are taken from the nearest day that has them.")
    if climate.night is not None:
        lines.append(night_words(climate.night, shown))
    else:
        lines.append("The record is too short to say how rare a cold night is.")
    return lines


def night_words(night: NightTold, shown: Shown) -> str:
    """The design night."""
    text = (
        f"Coldest night once in {night.years:g} years: {measure(night.lowest, 'temperature', shown)} air, range "
        f"{between(night.low, night.high, 'temperature', shown)}"
    )
    if night.short:
        text += (
            f"; the record has {night.winters} winter{'s' if night.winters > 1 else ''}, too few: this is a fit to its "
            "ten-day stretches, likely too cold"
        )
    return text + "."


_HEADS = ("option", "kept", "nights lost", "frozen", "hours", "kWh/m²", "mean", "highest", "cost")


def rows(sized: Sized, climate: ClimateTold, numbers: Sequence[int]) -> list[tuple[str, ...]]:
    """Options as rows of text, head first."""
    told = climate.told
    heads = list(_HEADS)
    heads[-1] = f"{sized.currency} a season" if np.isfinite(told["cost"].values).all() else "kWh a season"
    found = [tuple(heads)]
    for number in numbers:
        one = told.isel(option=number)
        cost = float(one["cost"].mean())
        heat = float(one["heat"].mean()) / JOULES
        found.append(
            (
                option(told, number, sized.shown),
                chance(float(one["held"])),
                f"{float(one['nights_lost'].mean()):.0f}",
                f"{float(one['nights_frozen'].mean()):.0f}",
                f"{float(one['run_hours'].mean()):.0f}",
                f"{float(one['heat_per_area'].mean()) / JOULES:.0f}",
                f"{float(one['power_mean'].mean()):.0f}",
                f"{float(one['power_max'].max()):.0f}",
                amount(cost if np.isfinite(cost) else heat, sized.shown),
            )
        )
    return found


def taken(sized: Sized) -> list[str]:
    """What was taken for granted."""
    shown = sized.shown
    lines = [
        f"Within your limits: leaf at least {measure(sized.canopy_min, 'temperature', shown)} and root zone at "
        f"{depth(0.025, shown)} at least {measure(sized.rootzone_min, 'temperature', shown)} in the worst patch of "
        "every zone, and no white frost or worse, through the whole window.",
        "Installed W/m² is what the circuits can give; mean W/m² is heat over all hours of the season.",
        "Costs are of fuel, current and crew; what it takes to build is not in them.",
    ]
    if sized.planned:
        lines.append("The venue has no heating circuit: a usual one with water pipes is taken under the whole field.")
    if not sized.events_given:
        lines.append("No events are given: each Saturday evening of the season, 19:00 to 21:30, is taken.")
    if len(sized.shifts) > 1:
        days = ", ".join(f"{abs(s)}" for s in sized.shifts if s > 0)
        lines.append(f"For want of winters each event is tried on its own date and {days} days before and after it.")
    lines.append(
        "Covers are laid on nights with air below 3 °C to come and gusts they bear, and are off for events."
        if shown.system == "metric"
        else "Covers are laid on nights with air below 37 °F to come and gusts they bear, and are off for events."
    )
    return lines


def cautions(shown: Shown) -> list[str]:
    """What can hurt someone, and who decides."""
    return [
        "Design of heating belongs to licensed engineers: these figures are a first estimate, not a design.",
        "Hot water and pressure, gas, oil and propane, and electric cables in wet ground are work for licensed trades; "
        "local codes decide.",
        "Propylene glycol keeps pipes from freezing: check its strength every autumn, and keep it out of drinking "
        "water and drains.",
        f"Supply water above {measure(HOT_WATER, 'temperature', shown)} in shallow pipes burns roots.",
        "A heated field that grows is not hardened: a failure of the plant in a cold spell hurts it more than a "
        "dormant one.",
    ]


FRONTIER = "Event windows kept against yearly cost; the line joins options none betters, the ring is the one told of."
DURATION = "Load of the option told of: the highest power of each day, sorted."
LEADS = "Event windows kept, by installed power and by how early heat starts."
SEASON = "Heat of the option told of through the season, and how often a day is outside the limits."


def asked(sized: Sized) -> str:
    """What was asked."""
    groups = "; ".join(f"{name}: {len(zones)} zone{'s' * (len(zones) > 1)}" for name, zones in sized.groups.items())
    return (
        f"Asked: the least heating that keeps {100 * sized.target:.0f} % of event windows within the limits. Heated "
        f"area {measure(sized.heated_area, 'area', sized.shown)} ({groups})."
    )


def hours(value: float) -> str:
    """A number of hours of a trial."""
    if not np.isfinite(value):
        return "more than 5 days" if value > 0 else "unknown"
    return "no time" if value < 0.5 else f"{value:.0f} h"


def trial_words(sized: Sized, climate: ClimateTold) -> list[str]:
    """Warm-up and failure of the chosen option."""
    trials = climate.trials
    if trials is None or not float(climate.told["power"].values[climate.chosen]) > 0.0:
        return []
    warm, holds, back = (row[climate.chosen] for row in (trials.warm_up, trials.holds, trials.recovers))
    lines = [
        f"Coldest hour of these winters: {measure(trials.lowest, 'temperature', sized.shown)}. From cold ground the "
        f"option told of brings every patch back to the limit at {depth(0.025, sized.shown)} in {hours(warm)}."
    ]
    if holds == 0.0:
        lines.append("Held free of frost at the probe, some patch is below that limit even while the plant runs.")
    elif np.isinf(holds):
        lines.append(f"If the plant fails for {trials.outage:.0f} h then, no patch falls below that limit meanwhile.")
    else:
        lines.append(
            f"If the plant fails for {trials.outage:.0f} h then, the first patch is below it after {hours(holds)}."
        )
    if back > 0.0:
        lines.append(f"Once the plant is back it takes {hours(back)} until every patch is at the limit again.")
    return lines


def sections(sized: Sized) -> list[tuple[str, list[str]]]:
    """Lists that follow the climates: what it hangs on, what is installed, circuits, what was taken, cautions."""
    codes = list(dict.fromkeys(code for climate in sized.climates for code in climate.assumed))
    found = [
        ("What it hangs on", sensitivity_words(sized)),
        ("What the plant can give now", installed_words(sized)),
        ("Circuits at full load", circuit_words(sized)),
        ("Taken", [*taken(sized), *assumed(tuple(codes), sized.shown)]),
        ("Take care", cautions(sized.shown)),
    ]
    return [(title, lines) for title, lines in found if lines]


def sensitivity_words(sized: Sized) -> list[str]:
    """The option told of with one thing changed at a time."""
    if not sized.sensitivity:
        return []
    lines = []
    for name, held, heat, cost in sized.sensitivity:
        price = f", {money(cost, sized)}" if np.isfinite(cost) else ""
        lines.append(f"{name[0].upper()}{name[1:]}: {chance(held)} kept, {heat:.0f} kWh/m² a season{price}.")
    lines.append(
        "For the option told of in the first climate, in its coldest winters: ground wetter or drier by 5 % of its "
        "volume, wind over the field stronger or weaker by 30 %."
    )
    return lines


def installed_words(sized: Sized) -> list[str]:
    """Installed power from nameplate and readings."""
    return [
        f"By its {how}: {value:.0f} W/m² of the heated area, range {low:.0f} to {high:.0f} W/m² installed."
        for how, value, low, high in sized.installed
    ]


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
    """What a season buys, in the unit the fuel is sold in; '' where that is kWh."""
    if sized.plant not in _SOLD:
        return ""
    unit, kwh = _SOLD[sized.plant][sized.shown.system == "US"]
    bought = float(told["fuel"].mean()) / JOULES / kwh
    return f"At {100 * sized.efficiency:.0f} % that is {amount(bought, sized.shown)} {unit} of {sized.plant} a season."


def text(sized: Sized) -> str:
    """The answer for the terminal, at most 80 columns wide but for the table."""
    lines = [sized.venue, "=" * min(len(sized.venue), WIDTH)]
    for climate in sized.climates:
        lines += [""]
        for sentence in [*climate_words(climate, sized.shown), *head(sized, climate)]:
            lines += _wrapped(sentence)
        lines += ["", "Options that none other betters in both protection and cost:", ""]
        lines += _table(rows(sized, climate, _shown(climate)))
        for sentence in trial_words(sized, climate):
            lines += ["", *_wrapped(sentence)]
    for title, sentences in sections(sized):
        lines += ["", f"{title}:"]
        for sentence in sentences:
            lines += _wrapped(sentence, "- ")
    return "\n".join(line.rstrip() for line in lines).replace("\u00a0", " ") + "\n"


def _shown(climate: ClimateTold) -> list[int]:
    """No heat at all, then the frontier, and the chosen one where it is not on it."""
    return list(dict.fromkeys([0, *climate.frontier, climate.chosen]))


def _wrapped(sentence: str, bullet: str = "") -> list[str]:
    return textwrap.wrap(
        glued(sentence), WIDTH, initial_indent=bullet, subsequent_indent=" " * len(bullet), break_on_hyphens=False
    )


def _table(table: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[place]) for row in table) for place in range(len(table[0]))]
    return [
        "  ".join(
            cell.ljust(width) if place == 0 else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in table
    ]
