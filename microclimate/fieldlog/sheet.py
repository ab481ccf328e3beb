"""A logger's file as text to a table of cells: encoding, delimiter, headings and where the data begin.

Every cell keeps the number of the line it stood in, so that whatever is refused later can be found again.
"""

import csv
import gzip
import io
import re
import zlib
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from microclimate import units
from microclimate.errors import refuse
from microclimate.fieldlog.headings import is_time

DELIMITERS = ";\t,|"
PROBE = 60  # lines looked at to find the delimiter and the head
MISSING = (
    "", "NA", "N/A", "#N/A", "NAN", "NaN", "nan", "null", "NULL", "none", "None", "-", "--", "---", "*", "?", "ERR",
    "Err", "ERROR", "Error", "OPEN", "SHORT", "Logged", "n/a", "#REF!", "#VALUE!", "#DIV/0!",
)  # fmt: skip
_TIME = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}:\d{2}|\d{1,2}[- ][A-Za-z]{3}[- ]\d{2,4}")
_DATED = re.compile(r"^\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}(?:$|[T ,])")
_NUMBER = re.compile(r"^[-+\u2212]?\d*[.,]?\d+(?:[eE][-+]?\d+)?(?:\s*°?\s*[A-Za-z%/0-9]{1,6})?$")
_MARKS = {"ts", "rn", "smp", "avg", "min", "max", "tot", "std", "yyyy-mm-dd hh:mm:ss", "mm/dd/yy hh:mm:ss", "#"}


@dataclass(frozen=True)
class Sheet:
    """Cells of a file."""

    headings: tuple[str, ...]  # "name [unit]"; "column 3" where the file has none
    frame: pd.DataFrame  # one column for each heading, by number; numbers where all of a column are
    lines: NDArray[np.int64]  # line of the file for each row
    torn: tuple[tuple[int, str], ...]  # lines that do not fit the table: line, why
    delimiter: str
    decimal: str
    head: tuple[str, ...]  # lines before the data, as they stand
    codes: tuple[str, ...]  # what was assumed


def sheet(content: bytes, name: str, *, delimiter: str = "", decimal: str = "") -> Sheet:
    """The table of a file.

    Parameters
    ----------
    content : bytes
        Comma, semicolon, tab or bar between cells; any number of lines before the data; gzip is unpacked.
    name : str
        For messages.
    delimiter, decimal : str
        Where they are known; else they are found.

    Raises
    ------
    InputError
        No text, or no table in it.
    """
    text, codes = _text(content, name)
    lines = text.split("\n")
    if re.search(r"^#\s*issued\b", text, re.MULTILINE | re.IGNORECASE):
        raise refuse(name, "is a forecast", "what was measured")
    kept = [k for k, line in enumerate(lines) if line.strip(" \t\r,;|") and not line.startswith("#")]
    if not kept:
        raise refuse(name, "holds no rows", "a line of headings and rows of readings")
    first = [lines[k] for k in kept[:PROBE]]
    delimiter = delimiter or _delimiter(first)
    cells = list(csv.reader(first, delimiter=delimiter))
    begin = next((k for k, row in enumerate(cells) if _is_data(row)), None)
    if begin is None:
        raise refuse(name, "no row with a time and a number", "rows such as 2026-12-15T16:30,41.2")
    width = _width(cells[begin:])
    if not decimal:
        decimal = _decimal(cells[begin:], delimiter)
    headings, from_units, begin = _headings(cells[:begin], width)
    if begin == 0:
        codes.append("no_headings")
    if from_units:
        codes.append("unit_line")
    if decimal == ",":
        codes.append("decimal_comma")
    body = kept[begin:]
    frame, rows, torn = _frame(lines, body, delimiter, decimal, width)
    return Sheet(
        headings,
        frame,
        rows,
        torn,
        delimiter,
        decimal,
        tuple(lines[k].rstrip("\r") for k in kept[:begin]),
        tuple(codes),
    )


def _text(content: bytes, name: str) -> tuple[str, list[str]]:
    if content[:2] == b"\x1f\x8b":
        try:
            content = gzip.decompress(content)
        except (OSError, EOFError, zlib.error) as error:
            raise refuse(name, f"cannot be unpacked ({error})", "a whole .gz file") from None
    if content[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        raise refuse(name, "is a spreadsheet", "text", "save it as CSV")
    codes = []
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encoding = "utf-16"
    elif b"\x00" in content[:4096]:
        raise refuse(name, "is no text", "a CSV file")
    else:
        encoding = "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
        codes.append("encoding=cp1252")
    return text.replace("\r\n", "\n").replace("\r", "\n"), codes


def _delimiter(lines: list[str]) -> str:
    """The mark that parts the lines most evenly; a comma only where no other does, as it may be a decimal mark."""

    def evenness(mark: str) -> tuple[int, int]:
        counts = [line.count(mark) for line in lines]
        usual = max(set(counts), key=lambda c: (counts.count(c) * (c > 0), c))
        return (counts.count(usual) if usual else 0, usual)

    scores = {mark: evenness(mark) for mark in DELIMITERS}
    best = max(scores.values())
    good = (mark for mark, (lines_alike, count) in scores.items() if count > 0 and lines_alike >= 0.6 * best[0])
    return next(good, ",")


def _is_data(row: list[str]) -> bool:
    """A row with a time and a number beside it."""
    filled = [cell.strip() for cell in row if cell.strip()]
    if any(_DATED.match(cell) for cell in filled):  # no heading begins with a date
        return True
    times = [bool(_TIME.search(cell)) for cell in filled]
    numbers = [bool(_NUMBER.match(cell)) for cell in filled]
    serial = bool(filled) and bool(re.match(r"^\d{5,10}(?:\.\d+)?$", filled[0]))
    wordy = sum(bool(re.match(r"^[A-Za-z_ ]{3,}", cell)) and cell.strip() not in MISSING for cell in filled)
    if not (any(times) or serial) or wordy > len(filled) / 2:
        return False
    others = [n for n, t in zip(numbers, times, strict=True) if not t]
    return any(others) or any(cell.strip() in MISSING for cell in row[1:])


def _width(rows: list[list[str]]) -> int:
    counts = [len(row) for row in rows]
    return max(set(counts), key=lambda c: (counts.count(c), c))


def _decimal(rows: list[list[str]], delimiter: str) -> str:
    cells = [cell.strip() for row in rows for cell in row if not re.search(r":|/|-\d", cell)]
    commas = sum(bool(re.match(r"^[-+\u2212]?\d+,\d+(\s*°?[A-Za-z%]+)?$", cell)) for cell in cells)
    points = sum(bool(re.match(r"^[-+\u2212]?\d+\.\d+(\s*°?[A-Za-z%]+)?$", cell)) for cell in cells)
    return "," if commas > points and (delimiter != "," or commas) else "."


def _headings(rows: list[list[str]], width: int) -> tuple[tuple[str, ...], bool, int]:
    """One heading for each column, a second line of units or depths joined to it, and the row after them.

    The headings are the last full row of words before the data, or the last that names a time.
    """
    full = [k for k, row in enumerate(rows) if len(row) >= max(width - 1, 2)]
    beside = [k for k in full if _marks(rows[k]) or _unit_row(rows[k]) or _depth_row(rows[k])]
    worded = [k for k in full if k not in beside]
    if not worded:
        return tuple(f"column {k + 1}" for k in range(width)), False, len(rows)
    at = max((k for k in worded if any(is_time(cell) for cell in rows[k])), default=worded[-1])
    names = rows[at]
    given = next((rows[k] for k in beside if _unit_row(rows[k])), None)
    depths = next((rows[k] for k in beside if _depth_row(rows[k]) and not _unit_row(rows[k])), None)
    after = next((k for k in range(at + 1, len(rows)) if k not in beside), len(rows))
    found = []
    for k in range(width):
        text = names[k].strip() if k < len(names) else ""
        unit = given[k].strip() if given is not None and k < len(given) else ""
        text = text or f"column {k + 1}"
        if depths is not None and k < len(depths) and _length(depths[k]):
            text = f"{text} @ {depths[k].strip()}"
        found.append(f"{text} [{unit.strip('[]()')}]" if unit and _known(unit) and "[" not in text else text)
    for k, heading in enumerate(found):
        again = found[:k].count(heading)
        if again:
            found[k] = f"{heading} ({again + 1})"
    return tuple(found), given is not None or depths is not None, after


def _marks(row: list[str]) -> bool:
    cells = [cell.strip().lower() for cell in row if cell.strip()]
    return bool(cells) and all(cell in _MARKS for cell in cells)


def _known(text: str) -> bool:
    try:
        units.known(text.strip().strip("[]()"))
    except units.UnknownUnit:
        return False
    return bool(text.strip())


def _length(text: str) -> bool:
    try:
        units.quantity(text, "m")
    except units.UnknownUnit:
        return False
    return bool(re.search(r"[A-Za-z\"]", text))


def _depth_row(row: list[str]) -> bool:
    cells = [cell for cell in row if cell.strip()]
    return bool(cells) and sum(_length(cell) for cell in cells) >= max(len(cells) - 2, 1)


def _unit_row(row: list[str]) -> bool:
    cells = [cell for cell in row if cell.strip() and cell.strip().lower() not in _MARKS]
    return bool(cells) and sum(_known(cell) for cell in cells) > len(cells) / 2


def _frame(
    lines: list[str], body: list[int], delimiter: str, decimal: str, width: int
) -> tuple[pd.DataFrame, NDArray[np.int64], tuple[tuple[int, str], ...]]:
    """The rows; quickly where every line fits, line by line where one does not."""
    text = "\n".join(lines[k] for k in body) if len(body) < len(lines) else "\n".join(lines)
    torn: list[tuple[int, str]] = []
    if '"' not in text:
        odd = [k for k in body if lines[k].count(delimiter) != width - 1]
        if odd:
            bad = {k for k in odd if not _mendable(lines[k], delimiter, width)}
            torn = [(k + 1, f"{lines[k].count(delimiter) + 1} cells, not {width}") for k in sorted(bad)]
            body = [k for k in body if k not in bad]
            text = "\n".join(_mended(lines[k], delimiter, width) for k in body)
        rows = np.array(body, dtype=np.int64) + 1
    else:
        kept, at = [], []
        reader = csv.reader((lines[k] for k in body), delimiter=delimiter)
        done = 0
        for row in reader:
            line = body[done] + 1
            done = reader.line_num
            if len(row) < width or any(cell.strip() for cell in row[width:]):
                torn.append((line, f"{len(row)} cells, not {width}"))
                continue
            kept.append(row[:width])
            at.append(line)
        buffer = io.StringIO()
        csv.writer(buffer, delimiter=delimiter, lineterminator="\n").writerows(kept)
        text, rows = buffer.getvalue(), np.array(at, dtype=np.int64)
    frame = pd.read_csv(
        io.StringIO(text),
        sep=delimiter,
        header=None,
        names=list(range(width)),
        decimal=decimal,
        skipinitialspace=True,
        keep_default_na=False,
        na_values=list(MISSING),
        skip_blank_lines=False,
        low_memory=False,
    )
    return frame, rows, tuple(torn)


def _mendable(line: str, delimiter: str, width: int) -> bool:
    """Surplus empty cells at the end, as spreadsheets leave them."""
    cells = line.rstrip("\r").split(delimiter)
    return len(cells) > width and not any(cell.strip() for cell in cells[width:])


def _mended(line: str, delimiter: str, width: int) -> str:
    return delimiter.join(line.rstrip("\r").split(delimiter)[:width])
