"""The sentences of the answer: numbers as a reader sees them, chances, states, and what is said first.

Facts, assumptions and cautions have their sentences in `words_reasons` and `words_cautions`. Nothing here judges:
a chance stands beside the limit that the reader set, and the decision stays with them.
"""

import re
import string
from collections.abc import Mapping
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from microclimate.constants import ZERO_CELSIUS
from microclimate.report.answer import Answer, Value
from microclimate.schema import STATE_WORDS, Event, SurfaceState
from microclimate.units import Shown

Time = datetime | np.datetime64

EVEN = 0.5  # [K] within this of a border between states the words are "about even"; ours
NEAR_FREEZING = ZERO_CELSIUS + 0.5  # [K] border of "near freezing" at the shallowest depth told; ours, as the ladder's
LIKELY = 0.25  # a second state is named from this chance on; ours
UNKNOWN = "unknown"
FROST, FROZEN = SurfaceState.WHITE_FROST, SurfaceState.CRUST

_MILE = 1609.344  # [m] international mile

# digits printed: (metric, US); a whole degree F is about half a kelvin, finer than any forecast of a night
_DIGITS = {"temperature": (1, 0), "temperature difference": (1, 0), "speed": (1, 0), "depth": (0, 0), "length": (1, 0)}


# --- numbers -------------------------------------------------------------------------------------------------------


def number(value: float, kind: str, shown: Shown) -> str:
    """One SI number without its unit, for a column that names the unit in its head."""
    if not np.isfinite(value):
        return UNKNOWN
    digits = _DIGITS.get(kind, (0, 0))[shown.system == "US"]
    rounded = round(float(shown.number(value, kind)), digits) + 0.0  # no minus zero
    return f"{rounded:.{digits}f}".replace("-", "\u2212")


def measure(value: float, kind: str, shown: Shown) -> str:
    """One SI number with its unit; areas to two figures."""
    if not np.isfinite(value):
        return UNKNOWN
    if kind == "area":
        area = float(f"{float(shown.number(value, kind)):.2g}")
        return f"{area:,.0f}".replace(",", "," if shown.system == "US" else "\u202f") + f" {shown.symbol(kind)}"
    return f"{number(value, kind, shown)} {shown.symbol(kind)}"


def between(low: float, high: float, kind: str, shown: Shown) -> str:
    """A range with one unit, for example '14 to 23 °F'."""
    first, last = number(low, kind, shown), number(high, kind, shown)
    if UNKNOWN in (first, last):
        return UNKNOWN
    return measure(high, kind, shown) if first == last else f"{first} to {last} {shown.symbol(kind)}"


def distance(value: float, shown: Shown) -> str:
    """How far a place is: '5.3 km' or '3.3 miles'."""
    far, unit = (value / 1000, "km") if shown.system == "metric" else (value / _MILE, "miles")
    return f"{far:.0f} {unit}" if far >= 100.0 else f"{far:.1f} {unit}"


def depth(value: float, shown: Shown) -> str:
    """A depth in the root zone, for example '1 in' or '25 mm'."""
    return measure(value, "depth", shown)


# --- clock ---------------------------------------------------------------------------------------------------------


def _naive(when: Time) -> datetime:
    return when if isinstance(when, datetime) else pd.Timestamp(when).to_pydatetime(warn=False)


def local(when: Time, shown: Shown) -> datetime:
    """A UTC time on the venue's clock."""
    return _naive(when).replace(tzinfo=UTC).astimezone(ZoneInfo(shown.time_zone))


def _missing(when: Time) -> bool:
    return isinstance(when, np.datetime64) and bool(np.isnat(when))


def clock(when: Time, shown: Shown) -> str:
    """Time of day on the venue's clock: '6:40 am', 'noon', or '06:40'."""
    if _missing(when):
        return UNKNOWN
    time = local(when, shown)
    if shown.clock == 24:
        return f"{time:%H:%M}"
    if time.minute == 0 and time.hour in (0, 12):
        return "noon" if time.hour else "midnight"
    return f"{time.hour % 12 or 12}:{time.minute:02d} {'am' if time.hour < 12 else 'pm'}"


def day(when: Time, shown: Shown) -> str:
    """Day and date, for example 'Tue 15 Dec'; in US order 'Tue Dec 15'."""
    time = local(when, shown)
    weekday, month = _WEEKDAYS[time.weekday()], _MONTHS[time.month - 1]
    return f"{weekday} {month} {time.day}" if shown.system == "US" else f"{weekday} {time.day} {month}"


def day_clock(when: Time, shown: Shown) -> str:
    """Weekday and time, for example 'Wed 6:40 am'."""
    if _missing(when):
        return UNKNOWN
    return f"{_WEEKDAYS[local(when, shown).weekday()]} {clock(when, shown)}"


def span(window: Event, shown: Shown) -> str:
    """From when to when, the day said once where it is the same."""
    start = f"{day(window.start, shown)}, {clock(window.start, shown)}"
    same = local(window.start, shown).date() == local(window.end, shown).date()
    return f"{start} to {clock(window.end, shown) if same else day_clock(window.end, shown)}"


# own names, so that the reader's computer does not choose the language
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


# --- chances -------------------------------------------------------------------------------------------------------


def _fives(chance: float) -> int:
    return int(np.floor(chance * 20.0 + 0.5)) * 5


def chance(value: float) -> str:
    """A chance in steps of 5 %, never 0 or 100 %."""
    if not np.isfinite(value):
        return UNKNOWN
    steps = _fives(value)
    return "under 5 %" if steps < 5 else "over 95 %" if steps > 95 else f"{steps} %"


def chance_range(value: float, low: float, high: float, *, short: bool = False) -> str:
    """A chance with its range, for example '65 % (50 to 80 %)', in the narrow column of a table '65 % (50–80)'."""
    if not np.isfinite(value):
        return UNKNOWN
    first, last = _fives(low), _fives(high)
    if chance(low) == chance(value) == chance(high):
        return chance(value)
    if first < 5 and last > 95:
        inner = "hardly known"
    elif first < 5:
        inner = f"to {last}" if short else f"up to {last} %"
    elif last > 95:
        inner = f"{min(first, 95)}+" if short else f"{min(first, 95)} % or more"
    else:
        inner = f"{first}–{last}" if short else f"{first} to {last} %"
    return f"{chance(value)} ({inner})"


def reached(answer: Answer, zone: str, event: int, state: SurfaceState) -> str:
    """Chance with range that a state or a worse one comes in a zone and window."""
    return _ranged(answer, "probability_reached", zone, event, state)


def _ranged(answer: Answer, name: str, zone: str, event: int, state: int, *, short: bool = False) -> str:
    value, low, high = (float(answer.told(name + end, zone, event)[state]) for end in ("", "_low", "_high"))
    return chance_range(value, low, high, short=short)


# --- states --------------------------------------------------------------------------------------------------------


def about_even(answer: Answer, zone: str, event: int) -> tuple[SurfaceState, SurfaceState] | None:
    """The two states between which it is about even, milder first; None where the border is far or nothing is known.

    The borders that a temperature draws: canopy at 0 degC, and +0.5 degC at the shallowest depth told.
    """
    chances = answer.told("probability", zone, event)
    if not np.isfinite(chances).all():
        return None
    canopy = float(answer.told("canopy_temperature_worst", zone, event)[answer.middle])
    soil = float(answer.told("soil_temperature_worst", zone, event)[0, answer.middle])
    borders = (
        (canopy - ZERO_CELSIUS, SurfaceState.COLD_AND_DRY, len(chances)),
        (soil - NEAR_FREEZING, SurfaceState.NEAR_FREEZING, int(SurfaceState.COLD_AND_DRY)),
    )
    for distance, border, end in borders:
        if abs(distance) < EVEN:
            milder = int(np.argmax(chances[: int(border)]))
            worse = int(border) + int(np.argmax(chances[int(border) : end]))
            # snow, ice and frozen ground do not turn on this border: only where the states beside it lead
            if {milder, worse} & set(np.argsort(-chances, kind="stable")[:1].tolist()):
                return SurfaceState(milder), SurfaceState(worse)
    return None


def states(answer: Answer, zone: str, event: int) -> str:
    """The likely states of a zone in a window, for a table cell: 'white frost 65 % (50–80)'."""
    chances = answer.told("probability", zone, event)
    if not np.isfinite(chances).all():
        return UNKNOWN
    if even := about_even(answer, zone, event):
        return f"{STATE_WORDS[even[1]]} about even"
    first, second = np.argsort(-chances, kind="stable")[:2]
    told = [first, second] if chances[second] >= LIKELY else [first]
    ranged = (_ranged(answer, "probability", zone, event, state, short=True) for state in told)
    return ", ".join(f"{STATE_WORDS[SurfaceState(s)]} {text}" for s, text in zip(told, ranged, strict=True))


def first_state(answer: Answer, zone: str, event: int) -> str:
    """The likeliest state, without its chance."""
    chances = answer.told("probability", zone, event)
    return STATE_WORDS[SurfaceState(int(np.argmax(chances)))] if np.isfinite(chances).all() else UNKNOWN


# --- sentences with values in them ---------------------------------------------------------------------------------


class _Filler(string.Formatter):
    """Fills '{wind:speed}' with the reader's number: the format of a field is its kind."""

    def __init__(self, shown: Shown) -> None:
        self.shown = shown

    def format_field(self, value: Value, format_spec: str) -> str:
        if isinstance(value, (datetime, np.datetime64)):
            return clock(value, self.shown) if format_spec == "clock" else day_clock(value, self.shown)
        if isinstance(value, str):
            return value
        if format_spec == "percent":
            return f"{100 * value:.0f} %"
        if format_spec == "share":
            return f"{value:.2f}"
        return measure(value, format_spec, self.shown) if format_spec else f"{value:g}"


def fill(template: str, values: Mapping[str, Value], shown: Shown) -> str:
    """A template with its values in the reader's units and clock."""
    return _Filler(shown).vformat(template, (), values)


_UNIT = re.compile(r"(?<=\d) (?=(?:%|°[CF]|K|in|mm|m|ft|m²|ft²|m/s|mph|am|pm|h|W/m²)(?![\w²/]))")
_RANGE = re.compile(r"(?<=\d)–(?=\d)")
_JOINER = "\u2060"  # no line ends here


def glued(text: str) -> str:
    """The same with no-break spaces between a number and its unit, so that no line ends between the two.

    Nor does one end at the dash of a range.
    """
    return _RANGE.sub(f"–{_JOINER}", _UNIT.sub("\u00a0", text))


def loose(text: str) -> str:
    """What was glued in plain characters, for a terminal."""
    return text.replace("\u00a0", " ").replace(_JOINER, "")


def energy(value: float) -> str:
    """Kilowatt-hours to two figures."""
    return f"{float(f'{value:.2g}'):,.0f}"


def sentence(text: str) -> str:
    """With a capital at its start and a full stop at its end."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", ":", "?")) else ".")
