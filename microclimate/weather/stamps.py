"""Stamps of a weather file as UTC: offsets honoured, the venue's clock with its summer time, never a guess unsaid."""

import re
from collections.abc import Sequence
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from microclimate import dates
from microclimate.errors import Problem

Times = NDArray[np.datetime64]

_OFFSET = re.compile(r"(?:Z|[+-]\d{2}:?\d{2}|[+-]\d{2}|\s?UTC|\s?GMT)$", re.IGNORECASE)
_ISO = re.compile(r"^\d{4}-\d{2}-\d{2}(?:[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?")
EARLIEST, LATEST = np.datetime64("1900-01-01", "ns"), np.datetime64("2100-01-01", "ns")


def utc(texts: Sequence[str], zone: str, where: str) -> tuple[Times, list[str], list[Problem]]:
    """Stamps as written to UTC.

    Parameters
    ----------
    texts : sequence of str
        ISO 8601: `2026-01-28T18:00-05:00`, `2026-01-28 23:00Z`, or without offset where a zone is known.
    zone : str
        IANA name for stamps without offset; '' refuses them.
    where : str
        File and column, for messages.

    Returns
    -------
    times : (row,) datetime64[ns]
        UTC; NaT where a problem is told.
    codes, problems
    """
    empty = np.full(len(texts), np.datetime64("NaT"), dtype="datetime64[ns]")
    try:
        cells, order = dates.iso([text.strip() for text in texts])
    except dates.UnclearError:
        found, cure = f"stamps such as {texts[0]!r}", "day and month cannot be told apart: write the year first"
        return empty, [], [Problem(where, found, "2026-01-28 18:00", cure)]
    ordered = [f"date_order={order}"] if order else []
    odd = [text for text in cells if not _ISO.match(text)]
    if odd:
        found = f"{len(odd)} of {len(cells)} stamps such as {odd[0]!r}"
        return empty, [], [Problem(where, found, "ISO 8601, as in 2026-01-28T18:00-05:00")]
    bare = [not _OFFSET.search(text[10:]) for text in cells]
    try:
        if not any(bare):
            tidy = [re.sub(r"\s?(UTC|GMT)$", "+00:00", text, flags=re.IGNORECASE) for text in cells]
            return _ns(pd.to_datetime(pd.Index(tidy), utc=True, format="ISO8601")), ordered, []
        if not all(bare):
            found = f"{sum(bare)} of {len(cells)} stamps have no offset and the others do"
            return (
                empty,
                [],
                [Problem(where, found, "all with or all without", f"first without: {cells[bare.index(True)]!r}")],
            )
        naive = pd.DatetimeIndex(pd.to_datetime(pd.Index(cells), format="ISO8601"))
    except ValueError as error:
        return empty, [], [Problem(where, f"a stamp is no date: {str(error).splitlines()[0]}", "ISO 8601")]
    if not zone:
        cure = "add an offset (…-05:00, …Z), or name the zone in the header: time [UTC], time [Europe/Vienna]"
        return (
            empty,
            [],
            [Problem(where, f"stamps such as {cells[0]!r} have no offset and no zone is given", "a time zone", cure)],
        )
    times, codes, problems = local(naive, zone, where)
    return times, ordered + codes, problems


def local(naive: pd.DatetimeIndex, zone: str, where: str) -> tuple[Times, list[str], list[Problem]]:
    """Clock times of a zone to UTC; the repeated hour of autumn is told by the order of rows."""
    empty = np.full(len(naive), np.datetime64("NaT"), dtype="datetime64[ns]")
    if re.match(r"(?i)^(etc/)?(gmt|utc)[+-]\d", zone):
        cure = "such names carry the opposite sign of what most expect: write the offset in the stamps"
        return empty, [], [Problem(where, f"time zone {zone!r}", "an IANA name such as Europe/Vienna, or UTC", cure)]
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return (
            empty,
            [],
            [Problem(where, f"time zone {zone!r} is not known", "an IANA name such as Europe/Vienna, or UTC")],
        )
    placed = naive.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
    if not placed.isna().any():
        return _ns(placed.tz_convert("UTC")), [], []
    first = naive.tz_localize(zone, ambiguous=np.ones(len(naive), bool), nonexistent="NaT")
    if first.isna().any():
        lost = naive[first.isna()][0]
        found = f"{lost:%Y-%m-%d %H:%M} does not exist in {zone} (the clocks go forward)"
        cure = "the file may keep standard time all year: write offsets in its stamps"
        return empty, [], [Problem(where, found, "clock times of the zone", cure)]
    second = naive.tz_localize(zone, ambiguous=np.zeros(len(naive), bool), nonexistent="NaT")
    early, late = _ns(first.tz_convert("UTC")), _ns(second.tz_convert("UTC"))
    times = early.copy()
    step = np.median(np.diff(early)) if len(early) > 1 else np.timedelta64(1, "h")
    unclear = np.flatnonzero(placed.isna())
    for row in unclear:
        # the earlier reading unless time would stand still or turn back, or the later one keeps the file's step
        if row == 0:
            continue
        before = times[row - 1]
        if early[row] <= before or abs(late[row] - before - step) < abs(early[row] - before - step):
            times[row] = late[row]
    return times, [], []


def _ns(index: pd.DatetimeIndex) -> Times:
    return index.tz_localize(None).to_numpy().astype("datetime64[ns]")


def seconds(times: Times) -> NDArray[np.float64]:
    """Length of the interval each stamp ends [s].

    The spacing before the stamp or after it, whichever is shorter: a row after a gap keeps the file's own step, and a
    forecast that goes from hourly to six-hourly keeps both.
    """
    if len(times) < 2:
        return np.full(len(times), 3600.0)
    gaps = np.diff(times) / np.timedelta64(1, "s")
    before = np.concatenate([gaps[:1], gaps])
    after = np.concatenate([gaps, gaps[-2:-1] if len(gaps) > 1 else gaps])
    return np.asarray(np.minimum(before, after))
