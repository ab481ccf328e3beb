"""Latest starts: closed forms and the order of the three chances."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from microclimate.actions import latest
from microclimate.actions.choice import Choice, Spell
from tests.actions import problem as p


def test_the_last_hour_that_holds_with_all_before_it() -> None:
    """Four realizations: holds until hour 2; a gap at hour 1 ends it; never holds; not needed at all."""
    holds = np.array([[1, 1, 0, 1], [1, 0, 0, 1], [1, 1, 0, 1], [0, 1, 0, 1]], dtype=bool)
    idle = np.array([False, False, False, True])
    found = latest.latest(holds, idle, np.arange(4.0))
    np.testing.assert_array_equal(found, [2.0, 0.0, -np.inf, np.inf])


@pytest.mark.parametrize(("sure", "hour"), [(0.5, 10.0), (0.9, 1.0), (0.95, 0.0), (1.0, -np.inf)])
def test_the_hour_that_the_night_to_come_bears(sure: float, hour: float) -> None:
    """Twenty-one realizations with latest starts 0 to 20; a twenty-second lies below their k-th with a chance of k/22.

    2/22 is below 10 %, 3/22 is not; 1/22 is below 5 %; no rank is sure.
    """
    assert latest.at_confidence(np.arange(21.0), sure) == hour


@given(arrays(bool, (12, 31)), arrays(bool, 31))
def test_more_certainty_never_gives_more_time(holds: np.ndarray, idle: np.ndarray) -> None:
    hours = latest.latest(holds, idle, np.arange(12.0))
    told = [latest.at_confidence(hours, sure) for sure in (0.5, 0.9, 0.95)]
    assert told[0] >= told[1] >= told[2]


@given(arrays(bool, (12, 31)), st.integers(0, 11))
def test_a_start_told_at_90_per_cent_holds_in_90_per_cent(holds: np.ndarray, extra: int) -> None:
    """What is told is true of the realizations it was told from; `extra` hours that always hold change nothing else."""
    holds[: extra + 1] = True
    hour = latest.at_confidence(latest.latest(holds, np.zeros(31, dtype=bool), np.arange(12.0)), 0.9)
    assert holds[int(hour)].mean() >= 0.9


def test_a_colder_night_leaves_less_time() -> None:
    plan = Choice(heat=(0,), boost=8.0)
    told = []
    for air in (272.5, 270.0, 266.0):
        case = p.problem(air=air)
        found = latest.deadlines(case, plan)[0]
        rank = {"not needed": np.inf, "not reachable": -np.inf}
        told.append(rank[by] if isinstance(by := found.by[0], str) else by.timestamp())
        assert found.by[2] == "not reachable"  # eight realizations can never be 95 % sure
        assert found.action == "heat"
    assert told[0] >= told[1] >= told[2]
    assert told[0] > told[2]


def test_a_cover_has_a_deadline_for_the_start_of_its_work() -> None:
    case = p.problem(air=271.0)
    choice = Choice((Spell(2, min(case.allow.lay[1]), max(case.allow.lift[1])),))
    found = latest.deadlines(case, choice)
    assert [deadline.action for deadline in found] == ["lay"]
    for by in found[0].by:
        assert isinstance(by, str) or case.clock.begins(case.clock.first) <= by <= p.GAME.start
