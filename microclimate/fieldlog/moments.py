"""A column of stamps as loggers write them to UTC, row by row: one that cannot be read costs its row alone."""

import re
from dataclasses import dataclass, replace
from datetime import datetime, timezone, tzinfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from microclimate.errors import refuse
from microclimate.fieldlog import clock

Times = NDArray[np.datetime64]

EARLIEST, LATEST = np.datetime64("1990-01-01", "ns"), np.datetime64("2100-01-01", "ns")
SAMPLE = 400  # rows that settle the layout; all rows settle the order of day and month
ENOUGH = 0.5  # of the rows must be readable in one layout
_SERIAL = np.datetime64("1899-12-30", "ns")  # day 0 of spreadsheets
_OFFSET = re.compile(r"(?:Z|[+-]\d{2}:?\d{2}|\bUTC|\bGMT)$", re.IGNORECASE)
_CLOCKS = ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H.%M", "%H:%M:%S.%f")
_DATES = (
    ("", "%Y-%m-%d"), ("", "%Y/%m/%d"), ("", "%Y%m%d"), ("", "%d-%b-%Y"), ("", "%d %b %Y"), ("", "%d-%b-%y"),
    ("day", "%d.%m.%Y"), ("day", "%d.%m.%y"), ("day", "%d/%m/%Y"), ("month", "%m/%d/%Y"), ("day", "%d/%m/%y"),
    ("month", "%m/%d/%y"), ("day", "%d-%m-%Y"), ("month", "%m-%d-%Y"),
)  # fmt: skip
ISO, SERIAL, EPOCH = "ISO8601", "days since 1899-12-30", "seconds since 1970-01-01"


@dataclass(frozen=True)
class Clock:
    """How a column of stamps is read."""

    layout: str  # ISO, SERIAL, EPOCH or a strptime layout
    zone: str  # of stamps without an offset: an IANA name or a fixed offset
    order: str = ""  # "day" or "month" where the layout could be taken for the other one
    codes: tuple[str, ...] = ()


def tidy(texts: pd.Series) -> pd.Series:
    """Stamps without the ornaments of loggers: one space, AM and PM plain, no weekday, no zone word."""
    text = texts.astype("string").fillna("").str.strip()
    if not text.str.contains(r"[A-SU-Ya-z,]|\s\s|\d\s*[ap]\.|T\s|\sT", regex=True).any():  # T and Z are plain
        return text.astype(object)
    text = text.str.replace(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*,?\s+", "", regex=True, case=False)
    text = text.str.replace(r"\s*\b([ap])\.?\s?m\.?$", r" \1M", regex=True, case=False)
    text = text.str.replace(r"(?<=\d)\s*T\s*(?=\d)", "T", regex=True).str.replace(r",?\s+", " ", regex=True)
    return text.astype(object)


def settle(texts: pd.Series, zone: str, *, month_first: bool, where: str) -> Clock:
    """The layout of a column, and whether its clock follows the zone's summer time.

    Parameters
    ----------
    texts : Series of str
        As `tidy` leaves them, or numbers.
    zone : str
        Zone of stamps without an offset; '' where nothing tells it.
    month_first : bool
        Which order to take where the rows leave it open.
    where : str
        For messages.

    Raises
    ------
    InputError
        No layout fits half of the rows, or the stamps have no offset and no zone is known.
    """
    if pd.api.types.is_numeric_dtype(texts):
        middle = float(np.nanmedian(texts)) if texts.notna().any() else np.nan
        if 30000 <= middle <= 75000:
            found = Clock(SERIAL, zone, codes=("serial_days",))
        elif 6e8 <= middle <= 4e9:
            return Clock(EPOCH, "UTC", codes=("epoch_seconds",))
        elif 19900101 <= middle <= 21000101:
            found = Clock("%Y%m%d", zone)
        else:
            raise refuse(where, f"{middle:g} is no time", "stamps such as 2026-12-15T16:30")
    else:
        found = _layout(texts, zone, month_first, where)
    if not found.zone and not (found.layout == ISO and _with_offset(texts).all()):
        raise refuse(
            where, f"stamps without an offset ({texts.iloc[0]!r})", "a time zone", "add --timezone, for example UTC-6"
        )
    return _kept(texts, found)


def _layout(texts: pd.Series, zone: str, month_first: bool, where: str) -> Clock:
    filled = texts[texts != ""]
    sample = filled.iloc[np.unique(np.linspace(0, len(filled) - 1, min(len(filled), SAMPLE)).astype(int))]
    if _parsed(sample, ISO).notna().mean() > ENOUGH:
        return Clock(ISO, zone)
    shares = {(o, f"{d} {c}"): 0.0 for o, d in _DATES for c in (*_CLOCKS, "")}
    shares |= {(o, f"{d}T{c}"): 0.0 for o, d in _DATES[:3] for c in _CLOCKS}
    for order, layout in shares:
        shares[order, layout] = float(_parsed(sample, layout.strip()).notna().mean())
    best = max(shares.values(), default=0.0)
    if best <= ENOUGH:
        raise refuse(
            where, f"stamps such as {filled.iloc[0]!r}", "2026-12-15T16:30, 12/15/2026 4:30 PM, 15.12.2026 16:30"
        )
    fits = [key for key, share in shares.items() if share > 0.9 * best]
    order, layout = fits[0]
    codes = ["two_digit_years"] if "%y" in layout else []
    other = [key for key in fits if key[0] and key[0] != order and key[1].count("%y") == layout.count("%y")]
    if not order or not other:
        if order and "." not in layout:
            codes.append(f"{order}_first")
        return Clock(layout.strip(), zone, order, tuple(codes))
    # both readings fit a sample: all rows decide, then which one runs on evenly, then the reader's habit
    told = {key: _runs(_parsed(filled, key[1].strip())) for key in ((order, layout), other[0])}
    first, second = sorted(told, key=lambda key: told[key], reverse=True)
    if told[first] > told[second]:
        codes.append(f"{first[0]}_first")
    else:
        wanted = "month" if month_first else "day"
        first = next(key for key in told if key[0] == wanted)
        codes.append(f"{wanted}_first=assumed")
    return Clock(first[1].strip(), zone, first[0], tuple(codes))


def _runs(times: pd.Series) -> tuple[float, float]:
    """How well stamps run on: the share that can be read and is later than the one before, then how short the log is.

    A log of a week read the wrong way round lasts as many months.
    """
    known = times.dropna().to_numpy()
    if len(known) < 2:
        return float(times.notna().mean()), 0.0
    forward = float((np.diff(known) > np.timedelta64(0)).mean())
    return round(times.notna().mean() * forward, 6), -float((known[-1] - known[0]) / np.timedelta64(1, "s"))


def _parsed(texts: pd.Series, layout: str) -> pd.Series:
    """Naive stamps, NaT where a text does not fit; offsets are left to `utc`."""
    if layout == SERIAL:
        # spreadsheets keep days as floats: whole seconds are what was meant
        return pd.Series(
            _SERIAL + (texts.to_numpy(float) * 86400.0).round().astype("timedelta64[s]"), index=texts.index
        )
    if layout == EPOCH:
        return pd.to_datetime(texts, unit="s", errors="coerce")
    if layout == ISO:
        plain = texts.str.replace(_OFFSET, "", regex=True).str.strip() if len(texts) else texts
        plain = plain.where(plain.str.match(r"^\d{4}-"), "")
        return pd.to_datetime(plain, format="ISO8601", errors="coerce")
    return pd.to_datetime(texts.astype(str), format=layout, errors="coerce")


def _with_offset(texts: pd.Series) -> pd.Series:
    if pd.api.types.is_numeric_dtype(texts):
        return pd.Series(False, index=texts.index)
    return texts.str.contains(_OFFSET)


def _kept(texts: pd.Series, found: Clock) -> Clock:
    """A clock that stands still through a change of the zone's offset is a fixed one: that of its first row."""
    zone = clock.zone_of(found.zone or "UTC")
    if isinstance(zone, timezone) or found.zone.upper() in {"", "UTC", "GMT", "Z"}:
        return found
    if found.layout == ISO and _with_offset(texts).all():
        return found
    naive = pd.DatetimeIndex(_parsed(texts, found.layout)).dropna()
    if not len(naive):
        return found
    lost = naive.tz_localize(zone, ambiguous=True, nonexistent="NaT").isna()
    doubled = naive.tz_localize(zone, ambiguous="NaT", nonexistent="shift_forward").isna()
    fixed = f"UTC{naive[0].tz_localize(zone, ambiguous=True, nonexistent='shift_forward'):%z}"
    fixed = f"{fixed[:6]}:{fixed[6:]}"
    if lost.any():
        return replace(found, zone=fixed, codes=(*found.codes, f"fixed_clock={fixed}"))
    if doubled.any() and _steady(naive, np.asarray(doubled)):
        return replace(found, zone=fixed, codes=(*found.codes, f"fixed_clock={fixed}"))
    return replace(found, codes=(*found.codes, "doubled_hour")) if doubled.any() else found


def _steady(naive: pd.DatetimeIndex, doubled: NDArray[np.bool_]) -> bool:
    """Whether stamps run evenly through the doubled hour, once: then the logger did not turn its clock."""
    stamps = naive.to_numpy()
    at = np.flatnonzero(doubled)
    if at[0] == 0 or at[-1] == len(stamps) - 1:
        return False
    around = np.diff(stamps[at[0] - 1 : at[-1] + 2])
    usual = np.median(np.diff(stamps))
    if usual > np.timedelta64(1, "h"):  # a longer step says nothing of an hour
        return False
    return bool((around > np.timedelta64(0)).all() and (around <= 1.5 * usual).all())


def utc(texts: pd.Series, found: Clock) -> tuple[Times, pd.Series]:
    """Stamps as UTC, NaT where they cannot be; and why, '' where they can.

    In the doubled hour the order of the rows tells the first pass from the second; a row that nothing tells apart is
    refused.
    """
    naive = _parsed(texts, found.layout)
    why = pd.Series("", index=texts.index, dtype=object)
    why[naive.isna()] = "time cannot be read"
    offset = _with_offset(texts) if found.layout == ISO else pd.Series(False, index=texts.index)
    times = np.full(len(texts), np.datetime64("NaT"), dtype="datetime64[ns]")
    rows = offset.to_numpy() & naive.notna().to_numpy()
    if rows.any():
        told = texts[rows].str.replace(r"\s*(?:UTC|GMT)$", "+00:00", regex=True, case=False)
        times[rows] = pd.DatetimeIndex(pd.to_datetime(told, utc=True, format="ISO8601")).tz_localize(None).to_numpy()
    rows = ~offset.to_numpy() & naive.notna().to_numpy()
    if rows.any() and not found.zone:
        why[rows] = "time has no offset"
    elif rows.any():
        local, lost = _local(pd.DatetimeIndex(naive[rows]), clock.zone_of(found.zone))
        times[rows] = local
        marks = why[rows]
        marks[lost] = "time in the hour that the clocks skip or double"
        why[rows] = marks
    wild = ~np.isnat(times) & ((times < EARLIEST) | (times > LATEST))
    times[wild] = np.datetime64("NaT")
    why[wild] = "year out of range"
    return times, why


def _local(naive: pd.DatetimeIndex, zone: tzinfo) -> tuple[Times, NDArray[np.bool_]]:
    """Clock times of a zone to UTC; NaT and True where a row cannot be placed."""
    first = naive.tz_localize(zone, ambiguous=np.ones(len(naive), bool), nonexistent="NaT")
    second = naive.tz_localize(zone, ambiguous=np.zeros(len(naive), bool), nonexistent="NaT")
    early, late = (_plain(index) for index in (first, second))
    times = early.copy()
    twice = np.flatnonzero((early != late) & ~np.isnat(early))
    lost = np.isnat(early)
    step = np.median(np.diff(early[~lost])) if (~lost).sum() > 1 else np.timedelta64(1, "h")
    block: list[int] = []
    for row in twice:
        if block and row != block[-1] + 1:
            lost[_place(times, early, late, block, step)] = True
            block = []
        block.append(int(row))
    if block:
        lost[_place(times, early, late, block, step)] = True
    times[lost] = np.datetime64("NaT")
    return times, lost


def _place(times: Times, early: Times, late: Times, block: list[int], step: np.timedelta64) -> list[int]:
    """Places the rows of one doubled hour in `times`; gives those that nothing tells apart.

    Where time turns back inside the block the second pass begins. Where it does not, a block that follows the row
    before by the file's step is the first pass, one that precedes the row after by it is the second.
    """
    turned = next((k for k in range(1, len(block)) if early[block[k]] <= early[block[k - 1]]), None)
    if turned is not None:
        times[block[turned:]] = late[block[turned:]]
        return []
    before = times[block[0] - 1] if block[0] else np.datetime64("NaT")
    after = early[block[-1] + 1] if block[-1] + 1 < len(early) else np.datetime64("NaT")
    slack = step / 2
    begins = bool(abs(early[block[0]] - before - step) <= slack) if not np.isnat(before) else False
    ends = bool(abs(after - late[block[-1]] - step) <= slack) if not np.isnat(after) else False
    if begins and not ends:
        return []
    if ends and not begins:
        times[block] = late[block]
        return []
    return block


def _plain(index: pd.DatetimeIndex) -> Times:
    return index.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[ns]")


def offset_of(zone: str, time: np.datetime64) -> str:
    """The offset a zone has at a time, for example UTC-05:00."""
    moment: datetime = pd.Timestamp(time, tz="UTC").tz_convert(clock.zone_of(zone)).to_pydatetime()
    return f"UTC{moment:%z}"[:6] + f":{moment:%z}"[4:]
