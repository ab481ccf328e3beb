"""Clock times as people and loggers write them, to UTC. Ambiguous ones are refused, never guessed."""

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd

from microclimate import dates
from microclimate.errors import refuse

_FIXED = re.compile(r"^(?:UTC|GMT)?\s*([+-])(\d{1,2})(?::?(\d{2}))?$", re.IGNORECASE)
_CLOCK = re.compile(r"^(\d{1,2})[:.h](\d{2})(?::(\d{2}))?\s*([ap]m?)?\.?$|^(\d{1,2})\s*([ap]m)$", re.IGNORECASE)


def zone_of(name: str) -> tzinfo:
    """The time zone of an IANA name, of "UTC", or of a fixed offset such as "UTC-6" or "+01:00".

    Raises
    ------
    InputError
        When the text is none of these.
    """
    text = name.strip()
    if text.upper() in {"UTC", "GMT", "Z"}:
        return UTC
    match = _FIXED.match(text)
    if match is not None:
        sign = -1 if match[1] == "-" else 1
        return timezone(sign * timedelta(hours=int(match[2]), minutes=int(match[3] or 0)))
    try:
        return ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError):
        raise refuse(
            "time zone", f"{name!r} is not known", 'an IANA name, "UTC", or an offset such as "UTC-6"'
        ) from None


def moment(text: str, time_zone: str, *, before: np.datetime64 | None = None, where: str = "time") -> np.datetime64:
    """One written time as UTC.

    Parameters
    ----------
    text : str
        A full stamp ("2026-12-15T16:30", with or without an offset), or a bare clock time ("16:30", "4:30 pm").
    time_zone : str
        The zone of a stamp that names none.
    before : datetime64, optional
        UTC; a bare clock time means the last such time not later than this.

    Raises
    ------
    InputError
        A time that cannot be read, that the clock change doubles or skips, or a bare one without `before`.
    """
    zone = zone_of(time_zone)
    clock = _CLOCK.match(text.strip())
    if clock is not None:
        return _last(text, clock, zone, before, where)
    try:
        stamp = datetime.fromisoformat(text.strip().replace("Z", "+00:00"))
    except ValueError:
        wanted = '"16:30", "4:30 pm" or "2026-12-15T16:30"'
        raise refuse(where, f"{text!r} is not a time", wanted) from None
    return _utc(stamp if stamp.tzinfo else stamp.replace(tzinfo=zone), text, where)


def _last(text: str, clock: re.Match[str], zone: tzinfo, before: np.datetime64 | None, where: str) -> np.datetime64:
    if before is None:
        raise refuse(where, f"{text!r} has no date", "a stamp such as 2026-12-15T16:30")
    hour = int(clock[1] or clock[5])
    minute, second, half = int(clock[2] or 0), int(clock[3] or 0), (clock[4] or clock[6] or "").lower()[:1]
    if (half and not 1 <= hour <= 12) or hour > 23 or minute > 59 or second > 59:
        raise refuse(where, f"{text!r} is not a clock time", "00:00 to 23:59, or 1 to 12 with am or pm")
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    limit = before.astype("datetime64[us]").item().replace(tzinfo=UTC).astimezone(zone)
    stamp = limit.replace(hour=hour, minute=minute, second=second, microsecond=0, fold=0)
    return _utc(stamp if stamp <= limit else stamp - timedelta(days=1), text, where)


def _utc(stamp: datetime, text: str, where: str) -> np.datetime64:
    if stamp.replace(fold=0).utcoffset() != stamp.replace(fold=1).utcoffset():
        raise refuse(
            where, f"{text!r} falls into the hour that the clock change doubles or skips", cure="write its offset"
        )
    return np.datetime64(stamp.astimezone(UTC).replace(tzinfo=None), "ns")


def stamps(texts: pd.Series, time_zone: str | None, where: str) -> pd.DatetimeIndex:
    """A column of written stamps as UTC (naive datetime64[ns], as everywhere inside).

    Parameters
    ----------
    texts : Series of str
        ISO 8601 with or without offset, or as `dates.iso` reads them.
    time_zone : str or None
        Zone of stamps without an offset; None refuses them.

    Raises
    ------
    InputError
        Stamps that cannot be read, have no zone, or that the clock change doubles or skips beyond telling apart.
    """
    try:
        text = pd.Series(dates.iso(list(texts.fillna("").astype(str).str.strip()))[0])
    except dates.UnclearError:
        raise refuse(where, f"{texts.iloc[0]!r}: day or month first?", cure="write dates as 2026-12-31") from None
    # a zone mark stands after the clock time, so that the dashes of a date are not taken for one
    offset = text.str.contains(r":\d{2}(?:\.\d+)?\s*(?:Z|UTC|[+-]\d{2}:?\d{2}|[+-]\d{2})$", regex=True)
    try:
        if offset.all():
            return pd.DatetimeIndex(pd.to_datetime(text, utc=True, format="ISO8601").dt.tz_localize(None)).as_unit("ns")
        if offset.any():
            raise refuse(where, f"{int((~offset).sum())} of {text.size} stamps have no offset", "all or none")
        naive = pd.DatetimeIndex(pd.to_datetime(text, format="ISO8601"))
    except ValueError as error:
        raise refuse(where, f"stamps cannot be read ({error})".split("\n")[0], "2026-12-15T16:30") from None
    if time_zone is None:
        found = f"stamps without an offset ({text.iloc[0]!r})"
        raise refuse(where, found, "UTC offsets, or the time zone", "add --timezone, for example UTC-6")
    try:
        local = naive.tz_localize(zone_of(time_zone), ambiguous="infer", nonexistent="raise")
    except (ValueError, pd.errors.OutOfBoundsDatetime) as error:
        raise refuse(where, f"the clock change leaves stamps unclear ({error})", cure="write offsets") from None
    return local.tz_convert("UTC").tz_localize(None).as_unit("ns")
