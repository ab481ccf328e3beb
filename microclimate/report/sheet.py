"""How the briefing is fitted on one printed sheet, A4 or Letter, whatever it has to say.

The page's own style sheet sets the sheet; here its height is reckoned from counts of rows and characters, a little
too high, and a scale is chosen that brings it on the smaller height of the two papers. Cautions are always printed;
the mildest zones and the last assumptions are left to the screen before the print becomes too small to read.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

from microclimate.report import words_whom
from microclimate.report.answer import Answer

HEIGHT = 982.0  # [px, 1/96 in] Letter less two margins of 8 mm (995), less what the reckoning may be short of
SMALLEST = 0.90  # scale below which rows are left to the screen: 6.4 pt for the smallest print
LEAST_ROWS, LEAST_ASSUMED = 8, 3
MOST_ROWS = 30
# characters in a line of the text column, of a third of the sheet, and of a zone's name, as wide letters have them
_COLUMN, _THIRD, _NAME = 69, 48, 36


@dataclass(frozen=True)
class Sheet:
    """What is printed: scale, count of zones, count of assumptions."""

    zoom: float
    rows: int
    assumed: int


def _lines(texts: Iterable[str], width: int) -> int:
    return sum(ceil(len(text) / width) for text in texts)


def height(
    answer: Answer,
    cautions: Sequence[str],
    told: Sequence[str],
    assumed: Sequence[str],
    advice: Sequence[str],
    rows: int,
) -> float:
    """Reckoned height of the printed sheet at scale 1. [px]"""
    windows = len(answer.windows)
    zones = answer.coldest_first[:rows]
    head = 24 + 16 + max(26 + 34 * windows, 62 + 24 * windows)
    text = 3 * 13 + 11.2 * _lines([*told, *assumed], _COLUMN) + 10
    grid = 208 + max(182.0, text)
    table = 24 + 36 + 12.1 * rows + 10.1 * (_lines(zones, _NAME) - rows) + 10
    care = 26 + 11.2 * (ceil(_lines(cautions, _THIRD) / 3) + 2)
    do = 16 + 11.5 * (ceil(_lines(advice, _THIRD) / 3) + 1) if advice else 0.0
    if answer.plan is not None and answer.plan.best.deeds:
        whom = words_whom.told_whom(answer, answer.plan)
        do = 64 + 11.8 * len(answer.plan.best.deeds) + 10.6 * (ceil(_lines(whom, _THIRD) / 3) + 1)
    return head + grid + table + care + do


def fitted(
    answer: Answer, cautions: Sequence[str], told: Sequence[str], assumed: Sequence[str], advice: Sequence[str]
) -> Sheet:
    """The largest print, then the most zones and assumptions, that one sheet holds."""
    rows, shown = min(len(answer.zones), MOST_ROWS), len(assumed)
    while True:
        zoom = min(1.0, HEIGHT / height(answer, cautions, told, assumed[:shown], advice, rows))
        if zoom >= SMALLEST or (rows <= LEAST_ROWS and shown <= LEAST_ASSUMED):
            return Sheet(int(zoom * 100) / 100, rows, shown)
        # the text column first, where it is what makes the sheet tall
        shorter = height(answer, cautions, told, assumed[: max(shown - 1, LEAST_ASSUMED)], advice, rows)
        if shown > LEAST_ASSUMED and shorter < height(answer, cautions, told, assumed[:shown], advice, rows):
            shown -= 1
        elif rows > LEAST_ROWS:
            rows -= 1
        else:
            shown = max(shown - 1, LEAST_ASSUMED)
