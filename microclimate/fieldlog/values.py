"""A column of cells to SI numbers: units in the cells, units that change midway, sentinels, meters that start again."""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from microclimate import units
from microclimate.constants import ZERO_CELSIUS
from microclimate.fieldlog.kinds import Kind

Array = NDArray[np.float64]

# what loggers write where they have nothing: whole numbers of nines, the full scale of converters, a probe that starts
SENTINELS = (-127.0, *(sign * v for v in (99.99, 999.0, 999.9, 6999.0, 7999.0, 9999.0, 99999.0) for sign in (-1, 1)))
STARTING = {"degC": 85.0, "degF": 185.0}  # a common digital probe says so before its first reading
WINTER = {True: (-15.0, 40.0), False: (-35.0, 45.0)}  # [degC] a buried and another thermometer read within; ours
RESET = 0.3  # of what it showed: a meter that starts again falls below (ours)
PERSISTS = 3  # readings in a new unit before it is believed
SWITCH = 4.0  # [K] a change of unit explains a jump when it brings it below this (ours)
_CELL = re.compile(r"^\s*([-+\u2212]?\d[\d.,\s]*(?:[eE][-+]?\d+)?|[-+\u2212]?[.,]\d+)\s*(\D*)$")


@dataclass(frozen=True)
class Numbers:
    """One column in SI."""

    values: Array  # NaN where there is none
    refused: dict[int, str]  # row -> why, of cells that hold something and are not used
    codes: tuple[str, ...]


def numbers(
    column: pd.Series, unit: str, kind: Kind, heading: str, *, decimal: str = ".", meter: bool = False
) -> Numbers:
    """The column in SI.

    Parameters
    ----------
    column : Series
        Numbers, or texts with or without a unit.
    unit : str
        Of bare numbers.
    kind : Kind
    heading : str
        For the codes.
    decimal : str
        Mark in texts.
    meter : bool
        The column counts up.
    """
    bare, own, refused = _cells(column, decimal)
    codes = []
    missing = np.isin(bare, SENTINELS) & _outside(bare, unit, kind)
    missing |= _starting(bare, unit)
    if missing.any():
        codes.append(f"sentinel={heading}|{int(missing.sum())}")
        bare = np.where(missing, np.nan, bare)
    given = np.array([unit] * len(bare), dtype=object)
    for row, text in own.items():
        try:
            if units.dimension(text) != kind.dimension:
                raise units.UnknownUnit(text)
            given[row] = units.known(text)
        except units.UnknownUnit:
            refused[row] = f"{text!r} is no unit of {kind.dimension}"
            bare[row] = np.nan
    if own:
        codes.append(f"unit_in_cells={heading}")
    elif kind.dimension == "temperature" and unit in ("degC", "degF"):
        given, switches = _switched(bare, unit, kind)
        codes += [f"unit_switch={heading}|{row}|{to}" for row, to in switches]
    values = np.full(len(bare), np.nan)
    for one in set(given):
        rows = given == one
        values[rows] = units.to_si(bare[rows], one)
    with np.errstate(invalid="ignore"):
        wild = (values < kind.low) | (values > kind.high)
    if meter:
        wild = values < 0.0
    for at in np.flatnonzero(wild).tolist():
        refused[at] = f"{column.iloc[at]} is outside what it can be"
    values = np.where(wild, np.nan, values)
    if meter:
        values, resets = counted(values)
        codes.append(f"counter={heading}|{resets}")
    return Numbers(values, refused, tuple(codes))


def _cells(column: pd.Series, decimal: str) -> tuple[Array, dict[int, str], dict[int, str]]:
    """Bare numbers, units written in cells by row, and cells that hold neither."""
    if pd.api.types.is_numeric_dtype(column):
        found = column.to_numpy(dtype=float, na_value=np.nan)
        return np.where(np.isfinite(found), found, np.nan), {}, {}
    bare = np.full(len(column), np.nan)
    own: dict[int, str] = {}
    refused: dict[int, str] = {}
    for row, cell in enumerate(column):
        if not isinstance(cell, str):  # whole numbers too long for a float are in such columns as well
            cell = "" if cell is None or cell != cell else str(cell)
        match = _CELL.match(cell)
        value = np.nan if match is None else _number(match[1], decimal)
        if match is None or not np.isfinite(value):
            if cell.strip():
                refused[row] = f"{cell.strip()[:30]!r} is no number"
            continue
        bare[row] = value
        if match[2].strip():
            own[row] = match[2].strip()
    return bare, own, refused


def bare(column: pd.Series, decimal: str) -> tuple[Array, str]:
    """Numbers that name no unit (sentinels left out), and the unit that most of the others name, "" when none."""
    found, own, _ = _cells(column, decimal)
    found[list(own)] = np.nan
    usual = max(set(own.values()), key=list(own.values()).count, default="")
    try:
        usual = units.known(usual) if usual else ""
    except units.UnknownUnit:
        usual = ""
    return np.where(np.isin(found, SENTINELS), np.nan, found), usual


def _number(text: str, decimal: str) -> float:
    """A number with a decimal comma, a decimal point, and marks of thousands."""
    plain = re.sub(r"\s", "", text.replace("\u2212", "-"))
    if "," in plain and "." in plain:
        last = max(plain.rfind(","), plain.rfind("."))
        plain = re.sub(r"[.,]", "", plain[:last]) + "." + plain[last + 1 :]
    elif decimal == "," or re.fullmatch(r"[-+]?\d+,\d{1,2}", plain):
        plain = plain.replace(",", ".")
    else:
        plain = plain.replace(",", "")
    try:
        return float(plain)
    except ValueError:
        return np.nan


def _outside(bare: Array, unit: str, kind: Kind) -> NDArray[np.bool_]:
    values = units.to_si(bare, unit)
    with np.errstate(invalid="ignore"):
        return np.asarray((values < kind.low) | (values > kind.high))


def _starting(bare: Array, unit: str) -> NDArray[np.bool_]:
    """A probe's starting value, far from the readings beside it."""
    mark = STARTING.get(unit)
    if mark is None or not (bare == mark).any():
        return np.zeros(len(bare), dtype=bool)
    others = bare[np.isfinite(bare) & (bare != mark)]
    around = float(np.median(others)) if others.size else np.nan
    return np.asarray((bare == mark) & (abs(around - mark) > 25.0))


def _switched(bare: Array, unit: str, kind: Kind) -> tuple[NDArray[np.object_], list[tuple[int, str]]]:
    """The unit of each row where a logger was set from one scale to the other: the jump it leaves, and where.

    A jump is a change of scale when reading on in the other scale makes it small, and it lasts.
    """
    given = np.array([unit] * len(bare), dtype=object)
    rows = np.flatnonzero(np.isfinite(bare))
    switches: list[tuple[int, str]] = []
    if rows.size < 2 * PERSISTS:
        return given, switches
    jumps = np.flatnonzero(np.abs(np.diff(bare[rows])) > 2.0 * SWITCH)
    now = unit
    for at in jumps:
        other = "degF" if now == "degC" else "degC"
        ahead = bare[rows[at + 1 : at + 1 + PERSISTS]]
        before = float(units.to_si(bare[rows[at]], now))
        stay, turn = (np.abs(units.to_si(ahead, one) - before) for one in (now, other))
        if len(ahead) == PERSISTS and bool((turn < SWITCH).all()) and bool((stay > 2.0 * SWITCH).all()):
            now = other
            given[rows[at + 1] :] = now
            switches.append((int(rows[at + 1]), now))
    return given, switches


def counted(values: Array) -> tuple[Array, int]:
    """What a meter counted since the row before, and how often it started again.

    After a reset the meter has counted at least what it shows; what it counted before the reset is lost and said.
    """
    out = np.full(len(values), np.nan)
    rows = np.flatnonzero(np.isfinite(values))
    if rows.size < 2:
        return out, 0
    steps = np.diff(values[rows])
    resets = steps < 0.0
    out[rows[1:]] = np.where(resets, values[rows[1:]], steps)
    return out, int(resets.sum())


def counts_up(column: Array) -> bool:
    """Whether a column is a meter's: it rises twice as often as it falls, and each fall is nearly to nothing."""
    known = column[np.isfinite(column)]
    steps = np.diff(known)
    falls = np.flatnonzero(steps < 0.0)
    to_nothing = known[falls + 1] < RESET * known[falls]
    return bool((steps > 0.0).sum() >= max(2, 2 * falls.size) and to_nothing.all())


def scale(column: Array, kind: Kind, us: bool) -> tuple[str, str]:
    """The scale of temperatures that name none, and what settles it: "range", "below" or "custom" (the reader's habit).

    Kelvin lies above 180; what would be hotter than any winter field in degC is degF; what would be colder than any in
    degF is degC.
    """
    known = column[np.isfinite(column)]
    if not known.size:
        return ("degF" if us else "degC"), "custom"
    if np.median(known) > 180.0:
        return "K", "range"
    low, high = WINTER[kind.buried]

    def fits(unit: str) -> float:
        warm = units.to_si(known, unit) - ZERO_CELSIUS
        return float(((warm > low) & (warm < high)).mean())

    celsius, fahrenheit = fits("degC"), fits("degF")
    if celsius < 0.98 <= fahrenheit:
        return "degF", "range"
    if fahrenheit < 0.98 <= celsius:
        return "degC", "range"
    return ("degF" if us else "degC"), "custom"
