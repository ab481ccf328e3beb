"""Dates as people write them to ISO 8601: the column itself settles whether the day or the month comes first."""

import re
from collections.abc import Sequence

WRITTEN = re.compile(
    r"^\s*(\d{1,2})([/.-])(\d{1,2})\2(\d{4})(?:[T ,]+(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?\s*([ap])?\.?(?:m\.?)?)?(.*)$",
    re.IGNORECASE,
)


class UnclearError(ValueError):
    """Nothing in the column settles the order."""


def iso(texts: Sequence[str]) -> tuple[list[str], str]:
    """Stamps such as "10/25/1998 07:30 PM" or "25.10.1998 19:30" as "1998-10-25T19:30:00", an offset kept.

    Parameters
    ----------
    texts : sequence of str
        One column; stamps that are not of this form come back as they were.

    Returns
    -------
    texts : list of str
    order : str
        "day first" or "month first"; "" where no stamp is of this form.

    Raises
    ------
    UnclearError
        Neither a number above 12 nor the order of the rows tells the day from the month. Dots mean day first, as in
        the countries that write them (common practice, no source).
    """
    found = [WRITTEN.match(text) for text in texts]
    parts = [(int(m[1]), int(m[3]), int(m[4])) for m in found if m]
    if not parts:
        return list(texts), ""
    dotted = all(m is None or m[2] == "." for m in found)
    fits = {
        "day first": all(day <= 31 and month <= 12 for day, month, _ in parts),
        "month first": all(day <= 31 and month <= 12 for month, day, _ in parts),
    }
    if not any(fits.values()):
        raise UnclearError
    if all(fits.values()) and not dotted:
        # in a log that runs on, time turns back where day and month are swapped
        days = [(year, month, day) for day, month, year in parts]
        months = [(year, month, day) for month, day, year in parts]
        fits = {"day first": days == sorted(days), "month first": months == sorted(months)}
        if len(set(parts)) < 2 or sum(fits.values()) != 1:
            raise UnclearError
    order = "day first" if fits["day first"] else "month first"
    return [text if m is None else _one(m, order == "day first") for text, m in zip(texts, found, strict=True)], order


def _one(m: re.Match[str], day_first: bool) -> str:
    day, month = (m[1], m[3]) if day_first else (m[3], m[1])
    if m[5] is None:
        return f"{m[4]}-{int(month):02d}-{int(day):02d}{m[9]}"
    hour = int(m[5])
    if m[8]:
        hour = hour % 12 + (12 if m[8].lower() == "p" else 0)
    return f"{m[4]}-{int(month):02d}-{int(day):02d}T{hour:02d}:{m[6]}:{m[7] or '00'}{m[9].strip()}"
