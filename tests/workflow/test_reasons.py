"""When the sun comes to a zone: a gleam of minutes is not it."""

import numpy as np
import pytest

from microclimate.workflow.reasons import lasting


@pytest.mark.parametrize(
    ("lit", "first"),
    [
        ([1, 1, 1, 1], 0),
        ([1, 0, 0, 1, 1, 1, 0], 3),  # slips under the first row at sunrise, comes for good later
        ([1, 1, 0, 1, 1, 0, 1, 1], None),  # never ten minutes on end (looks 5 minutes apart)
        ([0, 0, 0, 0], None),
        ([1, 1], None),
        ([0, 1, 1, 1], 1),
    ],
)
def test_first_light_that_lasts(lit: list[int], first: int | None) -> None:
    assert lasting(np.array(lit, bool)) == first
