"""A machine's first run: what is made beforehand, and that no later run makes it again."""

import subprocess
from datetime import datetime
from pathlib import Path
from typing import Any

import air_venue
import numba
import pytest
from air_nights import clear_night

from microclimate.actions.plan import nothing
from microclimate.exposure import force
from microclimate.schema import Event
from microclimate.simulate import run, start
from microclimate.workflow import warm

VENUE = Path(__file__).parents[2] / "data_demo" / "venue.toml"


class Child:
    """A child process that was only asked for."""

    asked: list[str]

    def __init__(self, command: list[str], **_: Any) -> None:
        self.asked.append(command[3])

    def wait(self) -> int:
        return 0


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(Child, "asked", [], raising=False)
    monkeypatch.setattr(subprocess, "Popen", Child)
    return Child.asked


def test_children_are_started_once_even_where_one_had_nothing_to_make(asked: list[str]) -> None:
    """With a ray engine our own caster is never compiled: that must not start a child on every run."""
    warm.up(VENUE)
    assert asked == ["loop", "bowl"]
    warm.up(VENUE)
    assert asked == ["loop", "bowl"]


def test_a_missing_kernel_alone_is_made(asked: list[str], tmp_path: Path) -> None:
    warm.up(VENUE)
    asked.clear()
    for mark in tmp_path.glob("simulate-loop-*/tried"):
        mark.unlink()
    warm.up(VENUE)
    assert asked == ["loop"]


def test_the_loop_is_made_for_the_types_of_real_runs_and_without_the_bowl(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the first run would compile it again, and both children would compile the bowl's kernels."""
    kinds: list[tuple[Any, ...]] = []
    monkeypatch.setattr(warm.loop, "run", lambda *given: kinds.append(tuple(map(numba.typeof, given))))
    place, series, bowl = air_venue.venue("closed"), clear_night(2.0, members=3), air_venue.bowl("closed")
    forcing = force.forcing(place, series, bowl)
    first, last = series["time"].values[[0, -1]]
    initial = start.states(place, forcing.patches, 3, first)
    night = Event("night", datetime(2025, 1, 15, 21), datetime(2025, 1, 16, 14))
    run.outcome(place, forcing, initial, nothing(place, first, last), [night], states="canopy")

    def touched(*_: Any, **__: Any) -> None:
        raise AssertionError("the bowl was touched")

    monkeypatch.setattr("microclimate.exposure.bowl.bowl", touched)
    monkeypatch.setattr("microclimate.exposure.force.forcing", touched)
    real = set(kinds)  # one call for each thread's share of the columns
    kinds.clear()
    warm.main("loop", "")
    assert len(real) == 1
    assert set(kinds) == real
