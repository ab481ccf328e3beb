"""Pydantic's findings in the reader's words: which table, which setting, what is wanted, and a guess at a slip."""

import difflib
import re
import types
from collections.abc import Iterator
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from microclimate.errors import Problem

_PLAIN = {
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "string_type": 'must be text in quotes ("...")',
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "datetime_type": "must be a date and time such as 2026-01-21T19:30",
    "string_too_short": "must not be empty",
    "string_too_long": "is too long",
}
_LISTS = {"tuple_type", "list_type"}
_TABLES = {"model_type", "model_attributes_type", "dict_type"}


class Findings:
    """Collects what does not fit together.

    After faults in single settings `problems` holds those already, `broken` names the tables they were in (no
    follow-on faults are told of those), and `numbers` tells which number in the file each table left has.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self.broken: set[str] = set()
        self.numbers: dict[str, list[int]] = {}

    def __call__(self, where: str, found: str, cure: str = "") -> None:
        """Note one fault; table numbers are those of the file."""
        place = f"{self.file}: {self._in_file(where)}" if where else self.file
        self.problems.append(Problem(place, self._in_file(found), cure=cure))

    def _in_file(self, words: str) -> str:
        def number(match: re.Match[str]) -> str:
            numbers = self.numbers.get(match[1])
            return f"[[{match[1]}]] {numbers[int(match[2]) - 1] if numbers else match[2]}"

        return re.sub(r"\[\[(\w+)\]\] (\d+)", number, words)


def problems(error: ValidationError, model: type[BaseModel], file: str) -> list[Problem]:
    """One line for each finding, in the order of the file."""
    found = [_problem(detail, model, file) for detail in error.errors(include_url=False)]
    return list(dict.fromkeys(found))


def close(word: str, choices: list[str]) -> str:
    """'did you mean surface?', or nothing."""
    lowered = {choice.lower(): choice for choice in choices}
    match = difflib.get_close_matches(word.lower(), lowered, n=1, cutoff=0.6)
    return f"did you mean {lowered[match[0]]}?" if match else ""


def _problem(detail: Any, model: type[BaseModel], file: str) -> Problem:
    kind, loc, value, context = detail["type"], detail["loc"], detail.get("input"), detail.get("ctx", {})
    owner, field = _walk(model, loc[:-1]), None
    key = loc[-1] if loc and isinstance(loc[-1], str) else ""
    if owner is not None and key in owner.model_fields:
        field = owner.model_fields[key]
    if kind == "missing":
        return Problem(_where(file, loc[:-1]), f"{_bracketed(field, key)} is missing (it has no default)")
    if kind == "extra_forbidden":
        names = list(owner.model_fields) if owner else []
        return Problem(_where(file, loc[:-1]), f"{key} is not a setting", cure=close(str(key), names))
    if kind in _LISTS | _TABLES and field is not None and _model_in(field.annotation) is not None:
        brackets = f"[[{'.'.join(_names(loc))}]]" if kind in _LISTS else f"[{'.'.join(_names(loc))}]"
        return Problem(_where(file, loc[:-1]), f"{key} must be a table headed {brackets}, got {_short(value)}")
    own_words = kind not in _PLAIN and (context.get("wanted") is None or kind == "table")
    if own_words and kind not in {"literal_error", *_BOUNDS} and not key_fault(kind):
        place = loc if not key or _walk(model, loc) is not None else loc[:-1]
        text = detail["msg"].removeprefix("Value error, ")
        if place is not loc and not text.startswith(str(key)):
            text = f"{key} {text}"
        return Problem(_where(file, place), text, cure=_hint(context))
    text = _wanted(kind, detail, field)
    name = f"{key} " if key else ""
    place = loc[:-1] if key else loc
    cure = _hint(context) or (_choice_hint(field, value) if kind == "literal_error" else "")
    return Problem(_where(file, place), f"{name}{text}, got {_short(value)}", cure=cure)


def key_fault(kind: str) -> bool:
    """The finding is about the value of one setting and wants it quoted."""
    return kind in {"unit", "range", "choice", "fixed_zone", "too_short", "too_long", *_LISTS, *_TABLES}


_BOUNDS = {"greater_than_equal", "less_than_equal", "greater_than", "less_than"}


def _wanted(kind: str, detail: Any, field: FieldInfo | None) -> str:
    if kind in _PLAIN:
        return _PLAIN[kind]
    if kind in _BOUNDS and field is not None:
        low = next((item.ge for item in field.metadata if hasattr(item, "ge")), None)
        high = next((item.le for item in field.metadata if hasattr(item, "le")), None)
        return f"must be {low}..{high}" if low is not None and high is not None else f"must be at least {low}"
    if kind == "literal_error":
        choices = _literals(field.annotation) if field else []
        return f"must be one of {_listed(choices)}" if choices else f"must be {detail['ctx']['expected']}"
    if kind == "too_short":
        return f"needs at least {detail['ctx']['min_length']}"
    if kind == "too_long":
        return f"may have at most {detail['ctx']['max_length']}"
    if kind in _LISTS:
        return "must be a list in square brackets"
    if kind in _TABLES:
        return "must be a table"
    return str(detail["msg"]).removeprefix("Value error, ")


def _hint(context: dict[str, Any]) -> str:
    return close(str(context["value"]), context["choices"]) if {"value", "choices"} <= context.keys() else ""


def _choice_hint(field: FieldInfo | None, value: Any) -> str:
    choices = [str(choice) for choice in _literals(field.annotation)] if field else []
    return close(value, choices) if isinstance(value, str) else ""


def _listed(choices: list[Any]) -> str:
    *most, last = map(repr, choices)
    return f"{', '.join(most)} or {last}" if most else last


def _short(value: Any) -> str:
    text = repr(value)
    if isinstance(value, dict):
        text = "a table"
    elif isinstance(value, list | tuple) and len(text) > 60:
        text = f"a list of {len(value)}"
    return text if len(text) <= 60 else text[:57] + "..."


def _bracketed(field: FieldInfo | None, key: Any) -> str:
    return f"[{key}]" if field is not None and _model_in(field.annotation) is not None else str(key)


def _names(loc: tuple[Any, ...]) -> list[str]:
    return [part for part in loc if isinstance(part, str)]


def _where(file: str, loc: tuple[Any, ...]) -> str:
    """'venue.toml: [[stand]] 2, tier 1'."""
    parts: list[str] = []
    for index, part in enumerate(loc):
        following = loc[index + 1] if index + 1 < len(loc) else None
        if isinstance(part, int):
            parts[-1] += f" {part + 1}"
        elif not parts:
            parts.append(f"[[{part}]]" if isinstance(following, int) else f"[{part}]")
        else:
            parts.append(str(part))
    return f"{file}: {', '.join(parts)}" if parts else file


def _walk(model: type[BaseModel] | None, loc: tuple[Any, ...]) -> type[BaseModel] | None:
    """The model that a location names, if it names one."""
    for part in loc:
        if model is None:
            return None
        if isinstance(part, int):
            continue
        field = model.model_fields.get(part)
        model = _model_in(field.annotation) if field is not None else None
    return model


def _parts(annotation: Any) -> Iterator[Any]:
    """An annotation taken apart: unions, tuples, Annotated."""
    origin = get_origin(annotation)
    if origin in (Union, types.UnionType, tuple, list):
        for part in get_args(annotation):
            yield from _parts(part)
    elif origin is Annotated:
        yield from _parts(get_args(annotation)[0])
    else:
        yield annotation


def _model_in(annotation: Any) -> type[BaseModel] | None:
    return next((part for part in _parts(annotation) if isinstance(part, type) and issubclass(part, BaseModel)), None)


def _literals(annotation: Any) -> list[Any]:
    return [choice for part in _parts(annotation) if get_origin(part) is Literal for choice in get_args(part)]
