"""One published number and the call of this package that must give it.

Flags: "read" the source or a quotation of it was read; "computed" the source gives the formula and the number was
worked out a second time, apart from the package; "memory" source or number come from memory and the arithmetic was
done again. "read, computed" is both. The tolerance is that of the print, or of a rounded constant it names.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

Flag = Literal["read", "computed", "memory", "read, computed", "memory, computed", "read, memory"]


def kelvin(celsius: Any) -> Any:
    return np.asarray(celsius, dtype=float) + 273.15


def radian(degree: Any) -> Any:
    return np.radians(degree)


@dataclass(frozen=True)
class Row:
    """`call` must come within `atol` + `rtol` of `expected`, element by element; `unit` is that of `expected`."""

    id: str
    what: str
    call: Callable[[], Any]
    expected: float | Sequence[float]
    unit: str
    source: str
    flag: Flag
    rtol: float = 0.0
    atol: float = 0.0

    @property
    def size(self) -> int:
        return int(np.size(self.expected))

    def misses(self) -> str:
        """Empty when the row holds, else what was found."""
        found = np.asarray(self.call(), dtype=float)
        wanted = np.asarray(self.expected, dtype=float)
        if found.shape != wanted.shape:
            return f"shape {found.shape}, wanted {wanted.shape}"
        if np.all(np.abs(found - wanted) <= self.atol + self.rtol * np.abs(wanted)):
            return ""
        return f"{found} {self.unit}, wanted {wanted} within {self.atol:g} + {self.rtol:g} of it ({self.source})"
