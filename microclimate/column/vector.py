# numba is untyped
# mypy: disable-error-code="misc,no-untyped-call,untyped-decorator,call-arg"
"""One number for each lane: a type of numba's for the kernels, so that their text reads as if for one column.

Inside a kernel `rows(array)` turns an array (row, lane) into something whose items are whole rows: `layer[row]` is a
`Lanes`, on which arithmetic, comparison, `choose` and the functions of numpy named below work lane by lane. A row takes
`BYTES` of memory, so float32 has twice as many lanes as float64. Outside a kernel the same text runs on plain arrays.
What is done to one lane never depends on its neighbours: only `anywhere` looks across, to skip work that would change
nothing.
"""

import operator
from collections.abc import Callable
from typing import Any

import numpy as np
from llvmlite import ir
from numba.core import cgutils, types
from numba.core.typing.templates import AbstractTemplate, infer_global, signature
from numba.extending import intrinsic, lower_builtin, lower_cast, models, overload, register_model
from numpy.typing import DTypeLike

from microclimate.physics.elementwise import Value, choose

BYTES = 128  # of a row: two of the widest registers there are


def lanes_of(kind: DTypeLike) -> int:
    """Columns side by side in a block of this kind of number."""
    return BYTES // np.dtype(kind).itemsize


def rows(array: Value) -> Value:
    """An array (row, lane) as rows to take whole; it must outlive them. Outside a kernel it is what it was."""
    return array


def rows_beside(array: Value, other: Value) -> Value:
    """As `rows`, with as many lanes as `other` has: for float64 sums beside a float32 run."""
    return array


def anywhere(mask: Value) -> Value:
    """Whether it holds in any lane."""
    return bool(np.any(mask))


def take(array: Value, place: Value) -> Value:
    """Items of an array, counted through all of it, one `place` for each lane."""
    return np.reshape(array, -1)[place.astype(np.intp)]


def own_row(layer: Value, row: Value) -> Value:
    """Of `rows`, each lane's number from a row of its own."""
    return layer[row.astype(np.intp), np.arange(layer.shape[1])]


class _Lanes(types.Type):
    """Numbers of one kind, one for each lane."""

    def __init__(self, dtype: Any, count: int) -> None:
        self.dtype, self.count = dtype, count
        super().__init__(name=f"{type(self).__name__}({dtype}, {count})")


class _Mask(_Lanes):
    """True or false for each lane; the kind of number is that of the lanes it came from."""


class _Rows(_Lanes):
    """Where rows of lanes begin."""


def _element(kind: Any) -> Any:
    return ir.DoubleType() if kind.dtype == types.float64 else ir.FloatType()


def _vector(kind: Any) -> Any:
    return ir.VectorType(_element(kind), kind.count)


@register_model(_Lanes)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _vector(kind))


@register_model(_Mask)
class _MaskModel(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, ir.VectorType(ir.IntType(1), kind.count))


@register_model(_Rows)
class _RowsModel(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _vector(kind).as_pointer())


def _spread(context: Any, builder: Any, kind: Any, to: Any, value: Any) -> Any:
    """One number in every lane."""
    one = context.cast(builder, value, kind, to.dtype)
    none = ir.Constant(_vector(to), ir.Undefined)
    first = builder.insert_element(none, one, ir.Constant(ir.IntType(32), 0))
    return builder.shuffle_vector(first, none, ir.Constant(ir.VectorType(ir.IntType(32), to.count), [0] * to.count))


for _number in (types.Float, types.Integer, types.IntegerLiteral, types.Boolean):
    lower_cast(_number, _Lanes)(_spread)


@lower_cast(_Lanes, _Lanes)
def _widen(context: Any, builder: Any, kind: Any, to: Any, value: Any) -> Any:
    """Float32 lanes as float64."""
    return value if kind == to else builder.fpext(value, _vector(to))


def _plain(kind: Any) -> bool:
    return type(kind) is _Lanes


def _common(kinds: Any) -> Any:
    """The lanes that a mix of lanes and single numbers makes; none where it is not such a mix."""
    wide = [kind for kind in kinds if _plain(kind)]
    rest = all(isinstance(kind, types.Number | types.Boolean) for kind in kinds if not _plain(kind))
    return max(wide, key=lambda kind: kind.dtype.bitwidth) if wide and rest else None


def _mask(kind: Any) -> Any:
    return _Mask(kind.dtype, kind.count)


def _register(function: Any, count: int, result: Callable[[Any], Any], emit: Callable[..., Any]) -> None:
    """Teach numba a function of `count` lanes; `emit(builder, kind, *values)` writes it."""

    @infer_global(function)
    class _Template(AbstractTemplate):
        def generic(self, kinds: Any, _: Any) -> Any:
            kind = _common(kinds) if len(kinds) == count else None
            return None if kind is None else signature(result(kind), *[kind] * count)

    @lower_builtin(function, *[_Lanes] * count)
    def _lower(context: Any, builder: Any, sig: Any, values: Any) -> Any:
        return emit(builder, sig.args[0], *values)


def _same(kind: Any) -> Any:
    return kind


def _call(name: str) -> Callable[..., Any]:
    """One of the compiler's own functions of vectors."""

    def emit(builder: Any, kind: Any, *values: Any) -> Any:
        bits = 64 if kind.dtype == types.float64 else 32
        shape = ir.FunctionType(values[0].type, [value.type for value in values])
        whole = f"llvm.{name}.v{kind.count}f{bits}"
        return builder.call(cgutils.get_or_insert_function(builder.module, shape, whole), values)

    return emit


for _operation, _word in (
    (operator.add, "fadd"),
    (operator.sub, "fsub"),
    (operator.mul, "fmul"),
    (operator.truediv, "fdiv"),
):
    _register(_operation, 2, _same, lambda builder, kind, a, b, word=_word: getattr(builder, word)(a, b))
for _operation, _word in (
    (operator.gt, ">"),
    (operator.lt, "<"),
    (operator.ge, ">="),
    (operator.le, "<="),
    (operator.eq, "=="),
):
    _register(_operation, 2, _mask, lambda builder, kind, a, b, word=_word: builder.fcmp_ordered(word, a, b))
_register(operator.ne, 2, _mask, lambda builder, kind, a, b: builder.fcmp_unordered("!=", a, b))
_register(operator.neg, 1, _same, lambda builder, kind, a: builder.fneg(a))
_register(np.isnan, 1, _mask, lambda builder, kind, a: builder.fcmp_unordered("uno", a, a))
_register(abs, 1, _same, _call("fabs"))
_register(operator.pow, 2, _same, _call("pow"))
for _root, _word in ((np.sqrt, "sqrt"), (np.exp, "exp"), (np.floor, "floor"), (np.abs, "fabs")):
    _register(_root, 1, _same, _call(_word))
for _choice, _word in ((np.maximum, ">"), (np.minimum, "<")):  # the second where the first is missing
    _register(
        _choice,
        2,
        _same,
        lambda builder, kind, a, b, word=_word: builder.select(builder.fcmp_ordered(word, a, b), a, b),
    )


def _register_logic(function: Any, count: int, word: str) -> None:
    """And, or, not, for masks."""

    @infer_global(function)
    class _Template(AbstractTemplate):
        def generic(self, kinds: Any, _: Any) -> Any:
            fits = len(kinds) == count and all(isinstance(kind, _Mask) for kind in kinds)
            return signature(kinds[0], *kinds) if fits else None

    @lower_builtin(function, *[_Mask] * count)
    def _lower(context: Any, builder: Any, sig: Any, values: Any) -> Any:
        return getattr(builder, word)(*values)


_register_logic(operator.and_, 2, "and_")
_register_logic(operator.or_, 2, "or_")
_register_logic(operator.invert, 1, "not_")


@intrinsic
def _pick(_: Any, condition: Any, yes: Any, no: Any) -> Any:
    kind = _common((yes, no)) or _Lanes(condition.dtype, condition.count)

    def emit(context: Any, builder: Any, sig: Any, values: Any) -> Any:
        return builder.select(*values)

    return signature(kind, condition, kind, kind), emit


@overload(choose, strict=False)
def _choose_lanes(condition: Any, yes: Any, no: Any) -> Any:
    if not isinstance(condition, _Mask):
        return None
    return lambda condition, yes, no: _pick(condition, yes, no)


@intrinsic
def _anywhere(_: Any, mask: Any) -> Any:
    def emit(context: Any, builder: Any, sig: Any, values: Any) -> Any:
        bits = builder.bitcast(values[0], ir.IntType(mask.count))
        return builder.icmp_unsigned("!=", bits, ir.Constant(bits.type, 0))

    return signature(types.boolean, mask), emit


@overload(anywhere, strict=False)
def _anywhere_lanes(mask: Any) -> Any:
    return lambda mask: _anywhere(mask)


@infer_global(operator.getitem)
class _Get(AbstractTemplate):
    def generic(self, kinds: Any, _: Any) -> Any:
        if isinstance(kinds[0], _Rows) and isinstance(kinds[1], types.Integer):
            return signature(_Lanes(kinds[0].dtype, kinds[0].count), kinds[0], types.intp)
        return None


@lower_builtin(operator.getitem, _Rows, types.Integer)
def _lower_get(context: Any, builder: Any, sig: Any, values: Any) -> Any:
    return builder.load(builder.gep(values[0], [values[1]]), align=sig.args[0].dtype.bitwidth // 8)


@infer_global(operator.setitem)
class _Set(AbstractTemplate):
    def generic(self, kinds: Any, _: Any) -> Any:
        if isinstance(kinds[0], _Rows) and isinstance(kinds[1], types.Integer):
            return signature(types.none, kinds[0], types.intp, _Lanes(kinds[0].dtype, kinds[0].count))
        return None


@lower_builtin(operator.setitem, _Rows, types.Integer, _Lanes)
def _lower_set(context: Any, builder: Any, sig: Any, values: Any) -> Any:
    place = builder.gep(values[0], [values[1]])
    builder.store(values[2], place, align=sig.args[0].dtype.bitwidth // 8)
    return context.get_dummy_value()


def _start(context: Any, builder: Any, kind: Any, value: Any) -> Any:
    """Pointer to the first number of an array."""
    return context.make_array(kind)(context, builder, value).data


@intrinsic
def _rows(_: Any, array: Any, count: Any) -> Any:
    kind = _Rows(array.dtype, count.count if isinstance(count, _Rows) else lanes_of(str(array.dtype)))

    def emit(context: Any, builder: Any, sig: Any, values: Any) -> Any:
        return builder.bitcast(_start(context, builder, array, values[0]), _vector(kind).as_pointer())

    return signature(kind, array, count), emit


@overload(rows, strict=False)
def _rows_of(array: Any) -> Any:
    return lambda array: _rows(array, 0)


@overload(rows_beside, strict=False)
def _rows_of_beside(array: Any, other: Any) -> Any:
    return lambda array, other: _rows(array, other)


def _gathered(builder: Any, kind: Any, start: Any, place: Any, stride: int) -> Any:
    """The numbers at `place` (float lanes) times `stride` plus, for a stride, the lane."""
    whole = builder.fptosi(place, ir.VectorType(ir.IntType(32), kind.count))
    found = ir.Constant(_vector(kind), ir.Undefined)
    for lane in range(kind.count):
        number = ir.Constant(ir.IntType(32), lane)
        at = builder.zext(builder.extract_element(whole, number), ir.IntType(64))
        if stride > 1:
            at = builder.add(builder.mul(at, ir.Constant(at.type, stride)), ir.Constant(at.type, lane))
        one = builder.load(builder.gep(start, [at]), align=kind.dtype.bitwidth // 8)
        found = builder.insert_element(found, one, number)
    return found


@intrinsic
def _take(_: Any, array: Any, place: Any) -> Any:
    def emit(context: Any, builder: Any, sig: Any, values: Any) -> Any:
        return _gathered(builder, place, _start(context, builder, array, values[0]), values[1], 1)

    return signature(place, array, place), emit


@overload(take, strict=False)
def _take_lanes(array: Any, place: Any) -> Any:
    return lambda array, place: _take(array, place)


@intrinsic
def _own_row(_: Any, layer: Any, row: Any) -> Any:
    def emit(context: Any, builder: Any, sig: Any, values: Any) -> Any:
        start = builder.bitcast(values[0], _element(row).as_pointer())
        return _gathered(builder, row, start, values[1], row.count)

    return signature(row, layer, row), emit


@overload(own_row, strict=False)
def _own_row_lanes(layer: Any, row: Any) -> Any:
    return lambda layer, row: _own_row(layer, row)
