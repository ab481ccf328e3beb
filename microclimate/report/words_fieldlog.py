"""The words of the field log: what a file holds, how it was read, what was left, and what was flagged and why."""

import textwrap
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from microclimate.report.words import clock, day, glued, local, measure
from microclimate.schema import STATE_WORDS, SurfaceState
from microclimate.units import Shown

WIDTH = 80
MOST = 8  # lines of a list that are printed; the rest is counted

# quantity -> what a reader calls it, and the kind of `Shown` its number is (or a factor and a unit)
QUANTITIES: Mapping[str, tuple[str, str]] = {
    "soil_temperature": ("root zone", "temperature"),
    "canopy_temperature": ("canopy", "temperature"),
    "surface_temperature": ("surface", "temperature"),
    "air_temperature": ("air", "temperature"),
    "dew_point_temperature": ("dew point", "temperature"),
    "bowl_air_difference": ("air in the bowl less air outside", "temperature difference"),
    "relative_humidity": ("humidity", "%"),
    "volume_fraction_of_condensed_water_in_soil": ("water in the root zone", "%"),
    "wind_speed": ("wind", "speed"),
    "wind_speed_of_gust": ("gust", "speed"),
    "wind_from_direction": ("wind direction", "°"),
    "surface_air_pressure": ("pressure", "pressure"),
    "surface_downwelling_shortwave_flux_in_air": ("sun and sky", "flux"),
    "surface_downwelling_longwave_flux_in_air": ("heat from the sky", "flux"),
    "surface_upwelling_longwave_flux_in_air": ("heat up from the surface", "flux"),
    "surface_upward_sensible_heat_flux": ("heat to the air", "flux"),
    "surface_upward_latent_heat_flux": ("latent heat", "flux"),
    "downward_heat_flux_in_soil": ("heat into the soil", "flux"),
    "surface_snow_thickness": ("snow depth", "depth"),
    "precipitation_amount": ("rain", "depth"),
    "heating_energy": ("heating energy", "energy"),
    "surface_hardness": ("hardness", "g"),
    "takes_a_stud": ("takes a stud", "yes"),
    "seat_temperature": ("seats by infrared", "temperature"),
    "seat_reflectance": ("light off the seats", "%"),
}

# code of `fieldlog` -> sentence; the parts of its value stand in {0}, {1}, ...
_ASSUMED: Mapping[str, str] = {
    "encoding": "The file is in {0}, an older way of writing letters.",
    "unit_line": "A second line of headings gives units or depths.",
    "decimal_comma": "A comma is the decimal mark.",
    "no_headings": "There are no headings: columns are counted from the left.",
    "time_column": "Times stand in {0}.",
    "zone_in_heading": "Times are {0}, as their heading says.",
    "serial_days": "Times are a spreadsheet's count of days.",
    "epoch_seconds": "Times are seconds since 1970, UTC.",
    "two_digit_years": "Years have two digits and belong to this century.",
    "day_first": "In dates the day comes first, as the order of the rows shows.",
    "day_first=assumed": "In dates the day comes first: nothing in the file settles it.",
    "month_first": "In dates the month comes first, as the order of the rows shows.",
    "month_first=assumed": "In dates the month comes first: nothing in the file settles it.",
    "fixed_clock": "The logger does not turn its clock with summer time: {0} throughout.",
    "doubled_hour": "The hour that the clock change doubles is told apart by the order of the rows.",
    "guessed": "{0} is {1}: guessed from its heading.",
    "scale": "{0} names no unit: {1}, {2}.",
    "unit_in_cells": "{0}: units are taken from the cells.",
    "unit_switch": "{0}: from line {1} on in {2}, as the jump there shows.",
    "sentinel": "{0}: {1} cells hold what a logger writes where it has nothing.",
    "counter": "{0}: a meter; what it counted between rows is kept. It started again {1} times.",
    "ignored": "{0} is not read.",
    "swapped": "{0} and {1} look swapped: the deeper one swings more from day to night.",
}
_SCALES = {
    "range": "as only that fits what it holds",
    "others": "as the other columns have it",
    "custom": "the venue's own unit",
}
_REASONS: Mapping[str, str] = {
    "range": "outside what it can be",
    "step": "a jump larger than it can make",
    "spike": "a single reading far from both beside it",
    "stuck": "the same value for too long",
    "swing": "swings more in a day than ground so deep can",
    "disagree": "{size} from {other} at the same depth",
    "swapped": "swings as the probe at {other} should: are the two swapped?",
    "curtain": "lingers at {size} from freezing, where wet ground lingers at 0 °C: the probe is off by as much",
    "crossing": "passes 0 °C faster than wet ground can: does the probe lie bare?",
    "clock": "its days come {size} against {other}: is its clock or time zone wrong?",
    "superseded": "a later file has another value",
    "withdrawn": "taken back: {other}",
}

CHECKS = tuple(name for name in _REASONS if name not in ("superseded", "withdrawn"))  # whose flags can be lifted


def value(number: float, quantity: str, shown: Shown) -> str:
    """One SI number of a quantity with the reader's unit."""
    if not np.isfinite(number):
        return "unknown"
    kind = QUANTITIES[quantity][1]
    if kind == "%":
        return f"{100 * number:.0f} %"
    if kind == "yes":
        return "yes" if number > 0.5 else "no"
    if kind in ("g", "°"):
        return f"{number:.0f} {kind}"
    if kind == "temperature":
        return shown.text(number, kind, 1)
    if kind == "energy":
        return f"{number / 3.6e6:.0f} kWh"
    if quantity in ("precipitation_amount", "surface_snow_thickness"):
        return f"{number * 1000:.1f} mm" if shown.system == "metric" else f"{number / 0.0254:.2f} in"
    return measure(number, kind, shown)


def place(zone: str, depth: float, quantity: str, shown: Shown) -> str:
    """Where a sensor is, for a reader: 'North goal, 25 mm, root zone'."""
    parts = [zone]
    if depth > 0.0:
        parts.append(_short(depth, shown))
    elif depth < 0.0:
        parts.append(f"{measure(-depth, 'length', shown)} up" if -depth >= 1.0 else f"{_short(-depth, shown)} up")
    return ", ".join(filter(None, [*parts, QUANTITIES[quantity][0]]))


def _short(depth: float, shown: Shown) -> str:
    if shown.system == "metric":
        return f"{depth * 1000:.0f} mm"
    return f"{round(depth / 0.0254, 1):g} in"


def when(time: np.datetime64, shown: Shown) -> str:
    """Day, date, year and clock with its offset: nothing of a stamp can be misread."""
    moment = local(time, shown)
    offset = f"{moment:%z}"
    return f"{day(time, shown)} {moment.year}, {clock(time, shown)} (UTC{offset[:3]}:{offset[3:]})".replace(
        "-", "\u2212"
    )


def assumed(codes: Iterable[str], places: Mapping[str, str]) -> list[str]:
    """A sentence for each code; `places` says what each column is taken for."""
    found = []
    for code in codes:
        key, _, rest = code.partition("=")
        parts = rest.split("|") if rest else []
        if key == "guessed":
            parts = [parts[0], places.get(parts[0], parts[1].replace("_", " "))]
        elif key == "scale":
            parts = [parts[0], _symbol(parts[1]), _SCALES[parts[2]]]
        elif key == "unit_switch":
            parts[2] = _symbol(parts[2])
        template = _ASSUMED.get(code) or _ASSUMED.get(key, code)
        text = template.format(*[_plain(part) for part in parts])
        text = text.replace(": 1 cells hold", ": 1 cell holds")
        found.append(text.replace("again 1 times", "again once").replace(" It started again 0 times.", ""))
    return list(dict.fromkeys(found))


def _plain(text: str) -> str:
    return text.replace("{", "(").replace("}", ")")


def _symbol(unit: str) -> str:
    return {"degC": "°C", "degF": "°F", "1": "a share of 1"}.get(unit, unit)


def looked(
    name: str,
    rows: int,
    span: tuple[np.datetime64, np.datetime64],
    interval: float,
    columns: Sequence[tuple[str, str, str]],
    assumptions: Sequence[str],
    left: Sequence[tuple[str, str]],
    three: Sequence[tuple[int, np.datetime64, Sequence[tuple[str, str]]]],
    rejected: Sequence[tuple[int, str]],
    shown: Shown,
) -> str:
    """What a file holds and how it would be stored, before anything is.

    Parameters
    ----------
    rows : int
        Of the file.
    span : pair of datetime64
        UTC, of what was read.
    interval : float
        [s], NaN where there is none.
    columns : sequence
        Heading, what it is taken for, unit.
    assumptions : sequence of str
        Sentences.
    left : sequence
        Headings left alone, and why.
    three : sequence
        Line, time (UTC), and place and value of each reading.
    rejected : sequence
        Line and why.
    """
    every = f", every {_span(interval)}" if np.isfinite(interval) and interval > 0 else ""
    lines = _wrapped(f"{name}: {rows} rows, {when(span[0], shown)} to {when(span[1], shown)}{every}")
    if columns:
        lines += ["", "Columns:"]
        lines += _bullets(
            f"{_plain_heading(head)}: {what}{f', in {_symbol(unit)}' if unit else ''}" for head, what, unit in columns
        )
    if assumptions:
        lines += ["", "Assumed:", *_bullets(assumptions)]
    if left:
        lines += ["", "Left alone:", *_bullets((f"{head}: {why}" for head, why in left), MOST)]
    lines += ["", "Three rows, as they would be stored:" if len(three) == 3 else "As it would be stored:"]
    for line, time, cells in three:
        lines += _wrapped(f"line {line}: {when(time, shown)}", "  ")
        lines += [f"    {what.ljust(max(len(w) for w, _ in cells))}  {told}" for what, told in cells[:MOST]]
        if len(cells) > MOST:
            lines.append(f"    and {len(cells) - MOST} more")
    lines += not_taken(rejected, rows)
    return _text(lines)


def not_taken(rejected: Sequence[tuple[int, str]], rows: int) -> list[str]:
    """Lines that were not taken whole, and why."""
    if not rejected:
        return []
    some = f"{len(rejected)} of {rows} rows are not taken, or not whole:"
    return ["", *_wrapped(some), *_bullets((f"line {line}: {why}" for line, why in rejected), MOST)]


def _plain_heading(text: str) -> str:
    return " ".join(text.split())


def _span(seconds: float) -> str:
    for size, word in ((86400.0, "day"), (3600.0, "h"), (60.0, "min")):
        if seconds >= size and abs(seconds / size - round(seconds / size)) < 0.01:
            count = round(seconds / size)
            return f"{word}" if count == 1 and word == "day" else f"{count} {word}{'s' if word == 'day' else ''}"
    return f"{seconds:g} s"


def added(new: int, known: int, other: int, states: int, log: str, kept: str) -> str:
    """What was stored."""
    parts = [f"{counted(new, 'new reading')} in {log}."]
    if states:
        parts.append(f"{counted(states, 'new surface state')}.")
    if known:
        parts.append(f"{known} stood there already.")
    if other:
        parts.append(
            f"{other} stood there with another value: the newer ones count from now on, the older ones are kept and "
            "flagged."
        )
    lines = _wrapped(" ".join(parts))
    if kept:
        lines += _wrapped(f"How it was read is kept in {kept}: --mapping {kept} reads the next file the same way.")
    return _text(lines)


_PLURAL = {
    "forecast of a zone": "forecasts of a zone",
    "piece of advice": "pieces of advice",
    "surface state seen": "surface states seen",
}


def counted(number: int, what: str) -> str:
    """A number of things: '1 reading', '2,166 readings'."""
    return f"{number:,} {what if number == 1 else _PLURAL.get(what, what + 's')}"


def state(number: int) -> str:
    """A surface state in words."""
    return STATE_WORDS[SurfaceState(number)]


def reason(code: str, shown: Shown, quantity: str) -> str:
    """Why a reading is flagged, from the code in the log."""
    key, *rest = code.split(":")
    other, size = "", ""
    for part in rest:
        try:
            size = _size(key, float(part), shown)
        except ValueError:
            other = part
    text = _REASONS.get(key, code)
    if key == "disagree" and not size:
        text = "far from {other} at the same depth"
    if key == "curtain" and not size:
        text = "lingers near freezing but not at 0 °C: is the probe off?"
    return text.format(size=size, other=other or "the other")


def _size(key: str, number: float, shown: Shown) -> str:
    if key == "clock":
        hours = abs(number)
        text = f"{hours:.0f} h" if hours >= 2 else f"{60 * hours:.0f} min"
        return f"{text} {'late' if number > 0 else 'early'}"
    return shown.text(number, "temperature difference", 1)


def flagged(
    sensors: int,
    readings: int,
    found: Sequence[tuple[str, str, int, np.datetime64, np.datetime64]],
    new: int,
    shown: Shown,
) -> str:
    """What a quality check found: place, why, count, first and last of each finding."""
    lines = _wrapped(f"{counted(readings, 'reading')} of {counted(sensors, 'sensor')} looked at.")
    if not found:
        return _text([*lines, "", "Nothing to flag."])
    lines += ["", "Flagged (the readings stay in the log, replay and calibrate leave them out):"]
    lines += _bullets(
        f"{where}: {why}; {counted(count, 'reading')}, {when(first, shown)}"
        + (f" to {when(last, shown)}" if last != first else "")
        for where, why, count, first, last in found
    )
    lines += ["", f"{counted(new, 'new flag')}."]
    return _text(lines)


def exported(readings: int, written: Sequence[str]) -> str:
    """What was written for other programs."""
    return _text([f"{counted(readings, 'reading')} written:", *(f"- {name}" for name in written)])


def withdrawn(count: int) -> str:
    """How much of a file was taken back."""
    return f"{counted(count, 'reading')} taken back: they stay in the log and count no more.\n"


def lifted(count: int) -> str:
    """How many flagged readings count again."""
    if not count:
        return "No flag stands there that can be lifted.\n"
    again = "counts again; its flag stays" if count == 1 else "count again; their flags stay"
    return f"{counted(count, 'reading')} {again} in the log with your note beside.\n"


def listed(
    log: str,
    sensors: Sequence[tuple[str, str, int, int, np.datetime64, np.datetime64]],
    sources: Sequence[tuple[int, str, np.datetime64]],
    counts: Mapping[str, int],
    shown: Shown,
) -> str:
    """What the log holds: place, name, count, flagged, first and last of each sensor; its files by number."""
    lines = _wrapped(f"{log}: {counted(sum(s[2] for s in sensors), 'reading')} of {counted(len(sensors), 'sensor')}")
    if sensors:
        lines += ["", "Sensors:"]
        lines += _bullets(
            f"{where}{'' if '@' in name else f' ({name})'}: {counted(count, 'reading')}"
            f"{f', {flagged:,} flagged' if flagged else ''}, {_dates(first, last, shown)}"
            for where, name, count, flagged, first, last in sensors
        )
    if sources:
        lines += ["", "Files, with the number that `fieldlog withdraw` takes:"]
        lines += _bullets(f"{number}: {name}, added {when(added, shown)}" for number, name, added in sources)
    kept = [f"{counted(counts[name], what)}" for name, what in _KEPT.items() if counts.get(name)]
    if kept:
        lines += ["", *_wrapped(f"Besides: {', '.join(kept)}.")]
    return _text(lines)


def _dates(first: np.datetime64, last: np.datetime64, shown: Shown) -> str:
    start, end = (f"{day(time, shown)} {local(time, shown).year}" for time in (first, last))
    return start if start == end else f"{start} to {end}"


_KEPT = {
    "told": "forecast of a zone",
    "advice": "piece of advice",
    "action": "action",
    "observed_state": "surface state seen",
    "note": "note",
}


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        glued(text), WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False
    )


def _bullets(sentences: Iterable[str], most: int = 10_000) -> list[str]:
    told = list(sentences)
    lines: list[str] = []
    for text in told[:most]:
        lines += textwrap.wrap(glued(text), WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
    if len(told) > most:
        lines.append(f"- and {len(told) - most} more")
    return lines


def _text(lines: Sequence[str]) -> str:
    return "\n".join(line.rstrip() for line in lines).replace("\u00a0", " ") + "\n"
