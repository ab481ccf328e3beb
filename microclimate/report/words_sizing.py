"""The words of `sizing`: what each option is, what it brings and costs, and what was taken for it."""

import textwrap
from collections.abc import Sequence

import numpy as np
import xarray as xr

from microclimate.report.sized import ClimateTold, NightTold, Sized
from microclimate.report.words import between, chance, chance_range, depth, distance, glued, measure
from microclimate.report.words_plant import JOULES, amount, circuit_words, fuel_words, installed_words, money
from microclimate.report.words_reasons import assumed
from microclimate.units import Shown

WIDTH = 80
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
    cost, carbon = float(told["cost"].mean()), float(told["co2"].mean())
    if np.isfinite(cost):
        lines.append(f"Fuel, current and crew: {money(cost, sized)} a season. Building it is not in that sum.")
    if np.isfinite(carbon) and carbon > 0.0:
        lines.append(f"That gives off {carbon / 1000.0:.1f} t of CO2 a season.")
    first = [lines[0], *event_words(climate), *missed_words(climate), *unfrozen_words(sized, climate)]
    return [*first, *lead_words(sized, climate), *lines[1:]]


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
    """Lists that follow the climates: what is installed, circuits, what was taken, cautions."""
    codes = list(dict.fromkeys(code for climate in sized.climates for code in climate.assumed))
    found = [
        ("What the plant can give now", installed_words(sized)),
        ("Circuits at full load", circuit_words(sized)),
        ("Taken", [*taken(sized), *assumed(tuple(codes), sized.shown)]),
        ("Take care", cautions(sized.shown)),
    ]
    return [(title, lines) for title, lines in found if lines]


def event_words(climate: ClimateTold) -> list[str]:
    """Share of each event's windows, where there are several events."""
    by_event = climate.told["held_by_event"].isel(option=climate.chosen)
    if by_event.sizes["event"] < 2:
        return []
    return ["By event: " + ", ".join(f"{one['event'].item()} {chance(float(one))}" for one in by_event) + "."]


def unfrozen_words(sized: Sized, climate: ClimateTold) -> list[str]:
    """Where the limits ask for more than any option gives: what it takes to keep the ground without crust or worse."""
    if climate.holds:
        return []
    goal = f"{100 * sized.target:.0f} % of event windows"
    if climate.unfrozen is None:
        return [f"Nor does any keep the ground without crust or worse in {goal}."]
    name = option(climate.told, climate.unfrozen, sized.shown)
    return [f"To keep the ground without crust or worse in {goal}, the smallest tried is: {name}."]


def missed_words(climate: ClimateTold) -> list[str]:
    """Which limit, and which zones, keep the option told of from more."""
    told = climate.told.isel(option=climate.chosen)
    if not float(told["held"]) < 0.995:
        return []
    names = {"canopy": "the leaf", "root zone": "the root zone", "surface": "white frost or worse"}
    missed = {names[str(name)]: 1.0 - float(told["held_by_limit"].sel(limit=name)) for name in told["limit"].values}
    passed = ", ".join(f"{name} in {chance(share)}" for name, share in missed.items() if share > 0.005)
    lines = [f"Outside the limits, each by itself: {passed} of event windows."]
    groups = {str(name): float(told["held_by_group"].sel(group=name)) for name in told["group"].values}
    worst = min(groups, key=lambda name: groups[name])
    if groups[worst] < max(groups.values()) - 0.005:
        others = ", ".join(f"{name} {chance(share)}" for name, share in groups.items() if name != worst)
        lines.append(f"Its weakest part decides: {worst}, kept in {chance(groups[worst])} of windows ({others}).")
    return lines


def lead_words(sized: Sized, climate: ClimateTold) -> list[str]:
    """How early heat led by events must start, by installed power, with the cover told of."""
    told = climate.told
    cover = str(told["cover"].values[climate.chosen])
    mine = told.isel(option=(told["policy"].values == "event-led") & (told["cover"].values == cover))
    if not mine.sizes["option"]:
        return []
    held, powers, leads = (mine[name].values for name in ("held", "power", "lead"))
    inside = np.nan_to_num(held) >= sized.target - 1e-9
    tried, under = between_hours(leads), f"with {cover}" if cover else "without cover"
    found = {
        float(watts): float(leads[inside & (powers == watts)].min())
        for watts in np.unique(powers)
        if (inside & (powers == watts)).any()
    }
    if not found:
        best = int(np.argmax(np.nan_to_num(held)))
        return [
            f"Led by events {under}, heat keeps that share from no start tried ({tried} ahead); the most, "
            f"{chance(float(held[best]))}, is with {powers[best]:.0f} W/m² {leads[best]:.0f} h ahead."
        ]
    starts = ", ".join(f"{hours:.0f} h ahead with {watts:.0f} W/m²" for watts, hours in found.items())
    short = [f"{watts:.0f}" for watts in np.unique(powers) if float(watts) not in found]
    never = f"; {', '.join(short)} W/m² at no start tried ({tried} ahead)" if short else ""
    return [f"Led by events {under}, heat must start {starts} to keep that share{never}."]


def between_hours(leads: np.ndarray) -> str:
    """'12 to 72 h'."""
    low, high = float(leads.min()), float(leads.max())
    return f"{low:.0f} h" if low == high else f"{low:.0f} to {high:.0f} h"


def sensitivity_words(sized: Sized, climate: ClimateTold) -> list[str]:
    """The option told of with one thing changed at a time, and what would be chosen at other prices."""
    lines = []
    for name, held, heat, cost in climate.moved:
        price = f", {money(cost, sized)}" if np.isfinite(cost) else ""
        lines.append(f"{name[0].upper()}{name[1:]}: {chance(held)} kept, {heat:.0f} kWh/m² a season{price}.")
    if lines:
        lines.append(
            "These are its coldest winters (at most three), with ground wetter or drier by 5 % of its volume, and wind "
            "over the field stronger or weaker by 30 %."
        )
    for factor, number, cost in climate.priced:
        change = f"{abs(factor - 1.0) * 100:.0f} % {'dearer' if factor > 1.0 else 'cheaper'}"
        choice = "the same option" if number == climate.chosen else option(climate.told, number, sized.shown)
        lines.append(f"Fuel and current {change}: {choice}, at {money(cost, sized)} a season.")
    return lines


def text(sized: Sized) -> str:
    """The answer for the terminal, at most 80 columns wide but for the table."""
    lines = [sized.venue, "=" * min(len(sized.venue), WIDTH)]
    for climate in sized.climates:
        lines += [""]
        for sentence in [*climate_words(climate, sized.shown), *head(sized, climate)]:
            lines += _wrapped(sentence)
        lines += ["", "Options that none other betters in both protection and cost:", ""]
        lines += _table(rows(sized, climate, told_of(climate)))
        for sentence in trial_words(sized, climate):
            lines += ["", *_wrapped(sentence)]
        lines += ["", "What it hangs on:"]
        for sentence in sensitivity_words(sized, climate):
            lines += _wrapped(sentence, "- ")
    for title, sentences in sections(sized):
        lines += ["", f"{title}:"]
        for sentence in sentences:
            lines += _wrapped(sentence, "- ")
    return "\n".join(line.rstrip() for line in lines).replace("\u00a0", " ") + "\n"


def told_of(climate: ClimateTold) -> list[int]:
    """No heat at all, then the frontier, the chosen one and the one that keeps crust away where they are not on it."""
    unfrozen = [] if climate.holds or climate.unfrozen is None else [climate.unfrozen]
    return list(dict.fromkeys([0, *climate.frontier, climate.chosen, *unfrozen]))


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
