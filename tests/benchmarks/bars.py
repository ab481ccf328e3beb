"""What every benchmark ends with: a row for each bar, one JSON line, and an exit status.

A bar is written as it was set: "<= 6 (4)" or ">= 1,000 (2,000)" with the ambitious figure in brackets, "0.88..1.12",
or "reported" for a figure that is only told.
"""

import json
import re
from typing import Any

_NUMBER = r"[-+]?[\d,]*\.?\d+(?:e[-+]?\d+)?"


def holds(value: float | None, bar: str) -> bool:
    """Whether the value is on the right side of the bar; a value that could not be measured is not."""
    if bar == "reported":
        return True
    if value is None:
        return False
    if between := re.match(rf"({_NUMBER})\.\.({_NUMBER})", bar):
        low, high = (float(text.replace(",", "")) for text in between.groups())
        return low <= value <= high
    asked = re.match(rf"(<=|>=|<|>) ({_NUMBER})", bar)
    if asked is None:
        raise ValueError(f"a bar reads like '<= 6', '0.9..1.1' or 'reported', not {bar!r}")
    limit = float(asked[2].replace(",", ""))
    return {"<=": value <= limit, ">=": value >= limit, "<": value < limit, ">": value > limit}[asked[1]]


class Bars:
    """The rows of one benchmark, printed as they come."""

    def __init__(self, benchmark: str) -> None:
        self.benchmark = benchmark
        self.rows: list[dict[str, Any]] = []

    def row(self, what: str, value: float | None, unit: str, bar: str, why: str = "") -> None:
        """One row; `why` tells of a value that is missing or short."""
        shown = None if value is None else float(f"{float(value):.5g}")
        ok = holds(shown, bar)
        self.rows.append(
            {"what": what, "value": shown, "unit": unit, "bar": bar, "ok": ok} | ({"why": why} if why else {})
        )
        told = "-" if shown is None else f"{shown:g}"
        print(f"{what:62s} {told:>10s} {unit:6s} {bar:20s} {'' if ok else 'MISSED'} {why}".rstrip(), flush=True)

    def end(self) -> int:
        """Prints the JSON line; 1 where a row falls short."""
        print(json.dumps({"benchmark": self.benchmark, "rows": self.rows}))
        return 0 if all(row["ok"] for row in self.rows) else 1
