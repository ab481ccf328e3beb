"""The reading of a bar decides what a benchmark calls met."""

import pytest

from tests.benchmarks.bars import Bars, holds


@pytest.mark.parametrize(
    ("value", "bar", "met"),
    [
        (6.0, "<= 6 (4)", True),
        (6.1, "<= 6 (4)", False),
        (1000.0, ">= 1,000 (2,000)", True),
        (999.0, ">= 1,000 (2,000)", False),
        (1.0, "< 1 (.5)", False),
        (0.41, "> .40", True),
        (-0.24, "<= -0.25", False),
        (2e-9, "<= 1e-9 (1e-12)", False),
        (0.87, ".88..1.12 (.93..1.07)", False),
        (1.12, ".88..1.12 (.93..1.07)", True),
        (None, "<= 1", False),
        (float("nan"), "<= 1", False),
        (None, "reported", True),
    ],
)
def test_a_bar_holds_on_its_own_side_only(value: float | None, bar: str, met: bool) -> None:
    assert holds(value, bar) is met


def test_a_bar_that_cannot_be_read_is_refused() -> None:
    with pytest.raises(ValueError, match="about six"):
        holds(6.0, "about six")


def test_one_short_row_ends_with_one(capsys: pytest.CaptureFixture[str]) -> None:
    bars = Bars("made")
    bars.row("good", 1.0, "s", "<= 2")
    assert bars.end() == 0
    bars.row("short", 3.0, "s", "<= 2", "the reason")
    assert bars.end() == 1
    assert capsys.readouterr().out.splitlines()[-1].startswith('{"benchmark": "made", "rows": [{"what": "good"')
