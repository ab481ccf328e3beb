"""What the figures say to a reader who cannot see them, and their titles."""

import numpy as np

from microclimate.constants import ZERO_CELSIUS
from microclimate.report.answer import Answer
from microclimate.report.tables import FROZEN_SHARE
from microclimate.report.words import between, day_clock, depth, measure, number


def map_title(answer: Answer) -> str:
    """Title of the field map."""
    return f"Field: lowest canopy temperature, {answer.windows[0].name}"


def map_description(answer: Answer) -> str:
    """What the field map shows."""
    values = answer.cells["canopy_temperature_min"].values
    values = values[np.isfinite(values)]
    if not values.size:
        return "Nothing is known: the forecast does not reach far enough."
    shown = answer.shown
    area = float(answer.cells.attrs["cell_size"]) ** 2
    below = float((values < ZERO_CELSIUS).sum()) * area
    spread = between(float(values.min()), float(values.max()), "temperature", shown)
    line = f"{measure(below, 'area', shown)} of {measure(values.size * area, 'area', shown)} fall below freezing"
    return f"Lowest canopy over the field runs from {spread}; {line}. Coldest zone: {answer.coldest_first[0]}."


def curves_title(answer: Answer) -> str:
    """Title of the zone curves."""
    return f"Canopy of each zone's coldest patch [{answer.shown.symbol('temperature')}]"


def curves_description(answer: Answer, zones: tuple[str, ...]) -> str:
    """What the zone curves show."""
    shown, series = answer.shown, answer.curves["canopy_temperature"]
    middle = int(np.argmin(np.abs(answer.curves["quantile"].values - 0.5)))
    parts = []
    for zone in zones:
        values = series.sel(zone=zone).isel(quantile=middle).values
        if np.isfinite(values).any():
            time: np.datetime64 = answer.curves["time"].values[int(np.nanargmin(values))]
            low = measure(float(np.nanmin(values)), "temperature", shown)
            parts.append(f"{zone} falls to {low} about {day_clock(time, shown)}")
    return "; ".join(parts) + "." if parts else "Nothing is known: the forecast does not reach far enough."


def curves_note(answer: Answer) -> str:
    """How to read the zone curves."""
    low, high = (round(100 * float(q)) for q in answer.curves["quantile"].values[[0, -1]])
    return f"Band: {low} to {high} % of the members. Pale lines: the other zones."


def section_title(answer: Answer) -> str:
    """Title of the depth-time section."""
    return f"Root zone of the coldest patch, {answer.section.attrs['zone']}"


def section_description(answer: Answer) -> str:
    """What the depth-time section shows."""
    section, shown = answer.section, answer.shown
    frozen = section["frozen_fraction"].values >= FROZEN_SHARE
    soil = section["soil_temperature"].values
    if not np.isfinite(soil).any():
        return "Nothing is known: the forecast does not reach far enough."
    low = float(np.nanmin(soil))
    text = f"The coldest layer falls to {number(low, 'temperature', shown)} {shown.symbol('temperature')}"
    if not frozen.any():
        return f"{text}; no layer freezes."
    deepest = float(section["depth"].values[frozen.any(axis=1)].max())
    when: np.datetime64 = section["time"].values[int(np.argmax(frozen.any(axis=0)))]
    return f"{text}; frozen from {day_clock(when, shown)} on, at its deepest to {depth(deepest, shown)}."
