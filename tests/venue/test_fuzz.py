"""Any setting of a venue replaced by anything: the file loads, or it is refused in words. Nothing else may happen."""

import copy
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from microclimate.errors import InputError
from microclimate.venue import load, summary, unknowns
from microclimate.venue.described import Venue

DEMO = tomllib.loads((Path(__file__).parents[2] / "data_demo" / "venue.toml").read_text(encoding="utf-8"))
EXTRA: dict[str, Any] = {
    "wall": [{"start": [60, -5], "end": [60, 5], "top": 9}],
    "material": [{"name": "old benches", "like": "wood", "albedo": 0.2}],
    "skyline": {"angles": [[0, 10], [120, 5], [240, 8]]},
}


def leaves(tree: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Paths of every table, list and value."""
    if path:
        yield path
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in items:
        yield from leaves(value, (*path, key))


WHOLE = {**DEMO, **EXTRA}
PATHS = list(leaves(WHOLE))
JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**9), 10**9),
    st.floats(allow_nan=True, allow_infinity=True),
    st.text(max_size=12),
    st.sampled_from(["12 ft", "40 degF", "-3 m", "5 %", "left", "all", "tray", "hydronic", "1e400 m", "nan", "inf m"]),
    st.lists(st.one_of(st.integers(), st.text(max_size=3)), max_size=3),
    st.dictionaries(st.text(max_size=4), st.integers(), max_size=2),
    st.datetimes(),
    st.dates(),
    st.times(),
)


def placed(paths: list[tuple[Any, ...]], values: list[Any]) -> dict[str, Any]:
    """The venue with some of its settings replaced; a path that is no more is passed over."""
    raw = copy.deepcopy(WHOLE)
    for path, value in zip(paths, values, strict=True):
        owner: Any = raw
        try:
            for key in path[:-1]:
                owner = owner[key]
            owner[path[-1]] = value
        except (KeyError, IndexError, TypeError):
            continue
    return raw


def test_the_whole_of_it_loads() -> None:
    assert len(load.tables(WHOLE).bowl.walls) == 73  # one, and 72 pieces of skyline


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_setting_replaced_by_anything(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 3))
    paths = data.draw(st.lists(st.sampled_from(PATHS), min_size=count, max_size=count))
    raw = placed(paths, [data.draw(JUNK) for _ in paths])
    venue, lines = None, []
    try:
        venue = load.tables(raw)
    except InputError as error:
        lines = [str(problem) for problem in error.problems]
    if venue is None:
        assert lines
        assert all(line.startswith("venue.toml: ") and len(line) < 700 for line in lines)
        assert not any(word in line for line in lines for word in ("input_value", "pydantic"))
        return
    assert summary.lines(venue)
    summary.notes(venue)
    for item in unknowns.ranges(venue):
        assert isinstance(item.low, Venue)


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_refused_in_words(content: str) -> None:
    with pytest.raises(InputError):
        load.text(content)


def test_tables_in_hand_are_the_file() -> None:
    """`tables` is `text` after parsing: both give the demo."""
    text = (Path(__file__).parents[2] / "data_demo" / "venue.toml").read_text(encoding="utf-8")
    assert load.tables(DEMO).digest() == load.text(text).digest()
