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
    marked: Callable[_P, _R] = register_jitable(function)
    return marked


def choose(condition: Value, yes: Value, no: Value) -> Value:
    """`yes` where the condition holds, else `no`: np.where, whose numba form gives no scalar."""
    chosen: Value = np.where(condition, yes, no)
    return chosen[()]


@overload(choose, strict=False)  # type: ignore[untyped-decorator,unused-ignore]
def _choose_scalar(condition: Value, yes: Value, no: Value) -> Callable[..., Value]:
    return lambda condition, yes, no: yes if condition else no
