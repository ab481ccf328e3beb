"""Who is told what: facts for operations, plant, crew, coaches and officials. Nothing here judges."""

import numpy as np

from microclimate.report.answer import Answer
from microclimate.report.planned import Planned
from microclimate.report.words import chance, day_clock, depth, energy, first_state, measure, sentence
from microclimate.report.words_plan import effect, sure, verb


def told_whom(answer: Answer, planned: Planned) -> list[str]:
    """Facts for each who has to know."""
    shown, best = answer.shown, planned.best
    lines = [f"Operations: {effect(planned)}."]
    first = [when for deed in best.deeds if not deed.running for when in (deed.call, sure(deed) or deed.start) if when]
    if first:
        lines[0] += f" First hour to decide by: {day_clock(min(first), shown)}."
    heats = [deed for deed in best.deeds if deed.action in ("heat", "stop")]
    if heats:
        hold = day_clock(heats[-1].start, shown)
        begin = "now" if heats[0].running else f"from {day_clock(heats[0].start, shown)}"
        lines.append(f"Plant: heat {begin}, hold until {hold}, about {energy(best.energy)} kWh.")
    hands = [deed for deed in best.deeds if deed.action not in ("heat", "stop") and not deed.running]
    if hands:
        jobs = "; ".join(f"{verb(d).lower()} {day_clock(d.start, shown)}" for d in hands)
        lines.append(f"Crew: {jobs}; {max(d.people for d in hands)} people.")
    return [*lines, *_surface(answer, planned)]


def _surface(answer: Answer, planned: Planned) -> list[str]:
    """The surface in the window that decides last, for those who use the field and those who inspect it."""
    shown = answer.shown
    event = max((k for k, w in enumerate(answer.windows) if w.name in planned.windows), default=0)
    window = answer.windows[event]
    lowest = answer.risk["canopy_temperature_worst"].values[:, event, answer.middle]
    if not np.isfinite(lowest).any():
        return [f"Coaches and officials: {window.name} is not known yet, the forecast ends before it does."]
    zone = answer.zones[int(np.nanargmin(lowest))]
    time = planned.curves["time"].values
    during = (time >= np.datetime64(window.start, "ns")) & (time <= np.datetime64(window.end, "ns"))
    middle = int(np.argmin(np.abs(planned.curves["quantile"].values - 0.5)))
    with_plan = planned.curves["canopy_temperature"].sel(zone=zone).values[middle, during]
    leaf = f"lowest canopy {measure(float(np.nanmin(lowest)), 'temperature', shown)} with nothing done"
    if planned.best.deeds and np.isfinite(with_plan).any():
        leaf += f", {measure(float(np.nanmin(with_plan)), 'temperature', shown)} with this plan"
    state = f"likeliest state with nothing done {first_state(answer, zone, event)}"
    soil = float(answer.told("soil_temperature_worst", zone, event)[0, answer.middle])
    at = depth(float(answer.risk["depth"].values[0]), shown)
    root = f"root zone at {at} down to {measure(soil, 'temperature', shown)} with nothing done"
    end = f"chance of being outside the limits when it ends {chance(planned.nothing.ending)} with nothing done"
    end += f", {chance(planned.best.ending)} with this plan" if planned.best.deeds else ""
    when = "".join(f"{name} {day_clock(moment, shown)}, " for name, moment in window.marks)
    return [
        sentence(f"Coaches: {window.name}, coldest zone {zone}: {state}, {leaf}"),
        sentence(
            f"Officials: {window.name}, {when}end {day_clock(window.end, shown)}: {end}; coldest zone {zone}, {root}; "
            "forecast, to be held against readings on the day"
        ),
    ]
