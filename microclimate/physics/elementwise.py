"""One text for arrays and for compiled lanes: the decorator of every formula, and its `where`.

A formula is plain arithmetic. Called from Python it works on numbers and arrays; called inside a numba kernel the same
text is compiled for scalars. NaN in gives NaN out, and nothing here ever raises.
"""

from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar

import numpy as np
from numba.extending import overload, register_jitable

Value = Any  # a number or an array of numbers, any shape that broadcasts

_P = ParamSpec("_P")
_R = TypeVar("_R")


def formula(function: Callable[_P, _R]) -> Callable[_P, _R]:
    """Mark a function so that kernels may call it; from Python it stays what it is."""
    marked: Callable[_P, _R] = register_jitable(forceinline=True)(function)
    return marked


def choose(condition: Value, yes: Value, no: Value) -> Value:
    """`yes` where the condition holds, else `no`: np.where, whose numba form gives no scalar."""
    chosen: Value = np.where(condition, yes, no)
    return chosen[()]


@overload(choose, strict=False)  # type: ignore[untyped-decorator,unused-ignore]
def _choose_scalar(condition: Value, yes: Value, no: Value) -> Callable[..., Value]:
    return lambda condition, yes, no: yes if condition else no


def stretch(position: Value, table: Value) -> tuple[Value, Value, Value]:
    """The stretch of a `table` at a `position` counted in its steps: value at its left end, rise along it, share gone.

    Held at the ends of the table; a missing position gives missing numbers.
    """
    inside = np.minimum(np.maximum(position, 0.0), table.size - 1.0)
    left = np.minimum(np.nan_to_num(inside), table.size - 2.0).astype(np.intp)
    return table[left], table[left + 1] - table[left], inside - left


@overload(stretch, strict=False)  # type: ignore[untyped-decorator,unused-ignore]
def _stretch_scalar(position: Value, table: Value) -> Callable[..., tuple[Value, Value, Value]]:
    def at(position, table):  # type: ignore[no-untyped-def]
        inside = min(max(position, 0.0), table.size - 1.0)
        # unsigned: an index counted from the end would need a test
        left = np.uint64(inside if inside < table.size - 2.0 else table.size - 2.0)
        low = table[left]
        return low, table[left + np.uint64(1)] - low, inside - left

    return at
