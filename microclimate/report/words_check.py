"""The words of `check`, `new` and `cache`: a venue told back, the questions asked, what is kept on disk."""

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from microclimate.report.words import clock, glued, measure, sentence, span
from microclimate.schema import Event
from microclimate.units import Shown

WIDTH = 80


@dataclass(frozen=True)
class Lit:
    """Direct sun at one spot: when it leaves (UTC) on the day, when it is first back on the next; None: none at all."""

    kind: str  # "centre" or "darkest"
    zone: str
    leaves: datetime | None
    returns: datetime | None
    hours: float  # of sun on the day


@dataclass(frozen=True)
class Night:
    """The night that unknowns were tried on."""

    window: Event
    source: str | None  # name of the weather file, None for the stated night
    lowest: float  # [K] canopy
    air: tuple[float, float]  # [K] at sunset and sunrise, of the stated night
    dew_point: float  # [K]
    wind: float  # [m s-1]


@dataclass(frozen=True)
class Swing:
    """How far one unknown moves the lowest canopy [K], at its low and at its high end."""

    label: str
    ends: tuple[str, str]
    moves: tuple[float, float]
    guessed: bool
    basis: str
    covered: bool = False

    @property
    def size(self) -> float:
        """From the lowest to the highest of the two ends and the middle [K]."""
        return max(*self.moves, 0.0) - min(*self.moves, 0.0)


@dataclass(frozen=True)
class Stored:
    """Something kept on disk."""

    kind: str
    size: int  # [byte]
    used: float  # [s] since 1970


# --- check ---------------------------------------------------------------------------------------------------------


def checked(
    name: str,
    lines: Sequence[tuple[str, str]],
    notes: Sequence[str],
    lit: Sequence[Lit],
    night: Night,
    swings: Sequence[Swing],
    tried: int,
    shown: Shown,
) -> str:
    """The whole answer of `check`, 80 columns wide."""
    out = [f"{name}: the file can be used.", ""]
    width = max(len(heading) for heading, _ in lines) + 2
    for heading, text in lines:
        out += _filled(text, heading.ljust(width), " " * width)
    if notes:
        out += ["", "Filled in, or worth a second look:"]
        for note in notes:
            out += _filled(sentence(note), "- ", "  ")
    out += ["", *_filled("Sun on the grass, to be held against what you see there:")]
    for spot in lit:
        out += _filled(sun(spot, shown), "- ", "  ")
    out += ["", *_filled(night_words(night, shown))]
    if swings and swings[0].size > 0.0:
        head = f"Of {tried} things rarely known, these {len(swings)} move the lowest canopy of that night most:"
        out += ["", *_filled(head)]
        for number, swing in enumerate(swings, 1):
            out += _filled(moved(swing, shown), f"{number}. ", "   ")
        out += ["", *_filled("Measure or look up the first one before the others.")]
    return "\n".join(out).replace("\u00a0", " ") + "\n"


def sun(spot: Lit, shown: Shown) -> str:
    """When the sun leaves a spot and comes back."""
    where = "centre of the field" if spot.kind == "centre" else "darkest spot of the field"
    if spot.leaves is None:
        gone = "no sun that day"
    else:
        gone = f"the sun leaves at {clock(spot.leaves, shown)} ({spot.hours:.1f} h of sun that day)"
    back = "does not return" if spot.returns is None else f"is first back at {clock(spot.returns, shown)}"
    return sentence(f"{where}, {spot.zone}: {gone} and {back} on the next")


def night_words(night: Night, shown: Shown) -> str:
    """Which night the unknowns were tried on, and its lowest canopy."""
    when = span(night.window, shown)
    lowest = f"lowest canopy {measure(night.lowest, 'temperature', shown)} with nothing done"
    if night.source is not None:
        return f"Night of {when}, weather of {night.source}: {lowest}."
    air = [measure(value, "temperature", shown) for value in night.air]
    return (
        f"Night of {when}. No weather was given, so a clear calm night is taken, not a forecast: air {air[0]} at "
        f"sunset, {air[1]} at sunrise, dew point {measure(night.dew_point, 'temperature', shown)}, wind "
        f"{measure(night.wind, 'speed', shown)} at {measure(10.0, 'length', shown)}, ground as the season has it: "
        f"{lowest}."
    )


def moved(swing: Swing, shown: Shown) -> str:
    """How far the ends of one unknown move the lowest canopy."""
    ends = "; ".join(f"{end}: {_change(by, shown)}" for end, by in zip(swing.ends, swing.moves, strict=True))
    apart = shown.text(swing.size, "temperature difference", 1)
    under = ", told of the field under the first cover" if swing.covered else ""
    known = ("you did not know it, so its range is wide",) if swing.guessed else ()
    told = (f"{swing.label}: {apart} from end to end{under}", ends, *known, f"range: {swing.basis}")
    return " ".join(map(sentence, told))


def _change(by: float, shown: Shown) -> str:
    text = shown.text(abs(by), "temperature difference", 1)
    if text == shown.text(0.0, "temperature difference", 1):
        return "no change"
    return f"{text} {'warmer' if by > 0.0 else 'colder'}"


# --- new -----------------------------------------------------------------------------------------------------------


def before_questions(count: int) -> str:
    """Said before the first question."""
    text = (
        f"{count} questions. Numbers may carry any usual unit. Where you do not know, leave the answer empty: a stated "
        "default is taken and the range of the answer widened. Everything can be changed in the file later."
    )
    return "\n".join(_filled(text))


def question(number: int, count: int, text: str, example: str, default: str, wider: str, choices: Sequence[str]) -> str:
    """One question as it is put, the cursor after it."""
    lines = ["", *_filled(text, f"{number}/{count} ", "     ")]
    if choices:
        lines += _filled(f"one of: {'; '.join(choices)}", "     ", "     ")
    else:
        lines += _filled(f"for example: {example}", "     ", "     ")
    unknown = f"empty: {default}" + (f" ({wider})" if wider else "")
    lines += _filled(unknown, "     ", "     ")
    return "\n".join(lines).replace("\u00a0", " ") + "\n     "


def written(path: str, blank: bool) -> str:
    """Said when the file stands there."""
    then = "Fill it in, then" if blank else "Now"
    return f"Written: {path}\n{then} run: microclimate check {path}"


# --- cache ---------------------------------------------------------------------------------------------------------


def stored(folder: str, found: Sequence[Stored], now: float) -> str:
    """What is kept on disk, one line for each kind."""
    lines = [f"Kept in {folder}, so that it need not be worked out again:"]
    for kind, items in _by_kind(found):
        ages = sorted(max(0.0, now - item.used) for item in items)
        aged = _age(ages[0]) if len(items) == 1 else f"{_age(ages[0])} to {_age(ages[-1])}"
        size = _size(sum(item.size for item in items))
        lines.append(f"  {kind:<34} {len(items):>4} {'file ' if len(items) == 1 else 'files'} {size:>9}  {aged} old")
    if not found:
        return f"Nothing is kept in {folder}."
    lines.append(f"  {'in all':<34} {len(found):>4} {'':5} {_size(sum(item.size for item in found)):>9}")
    lines.append("`microclimate cache --clear` empties it; the next run then takes longer, nothing else is lost.")
    return "\n".join(lines)


def cleared(folder: str, found: Sequence[Stored], left: Sequence[Stored]) -> str:
    """What was removed."""
    freed = sum(item.size for item in found) - sum(item.size for item in left)
    text = f"Removed {_size(max(0, freed))} from {folder}."
    return text + (f" {_size(sum(item.size for item in left))} could not be removed." if left else "")


def _by_kind(found: Iterable[Stored]) -> list[tuple[str, list[Stored]]]:
    kinds: dict[str, list[Stored]] = {}
    for item in found:
        kinds.setdefault(item.kind, []).append(item)
    return list(kinds.items())


def _size(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size >= 1e5 else f"{size / 1e3:.1f} kB"


def _age(seconds: float) -> str:
    for unit, length in (("d", 86400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= length:
            return f"{seconds / length:.0f} {unit}"
    return f"{seconds:.0f} s"


def _filled(text: str, first: str = "", then: str = "") -> list[str]:
    """Lines of at most 80 columns, no number parted from its unit."""
    return textwrap.wrap(
        glued(text), WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False, break_long_words=False
    )
