"""What the model is known to miss moves canopies and the states that they alone draw, and nothing else."""

import numpy as np
import pytest
import xarray as xr

from microclimate.constants import ZERO_CELSIUS
from microclimate.risk import missed
from microclimate.schema import SurfaceState
from microclimate.venue.calibration import Calibration, LearnedResidual

DIMS = ("realization", "patch", "event")
LEARNED = LearnedResidual.model_validate(
    {
        "constant": 0.5, "modelled": -0.1, "air": 0.0, "wind": 0.2, "cloud": -1.0,
        "centre": (270.0, 272.0, 2.0, 0.5), "reach": (5.0, 5.0, 2.0, 0.5), "nights": 70,
    }
)  # fmt: skip


def outcome(canopy: list[float], state: list[SurfaceState]) -> xr.Dataset:
    """Realizations of one patch, two windows alike."""
    lowest = np.repeat(np.array(canopy)[:, None, None], 2, axis=2) + ZERO_CELSIUS
    states = np.repeat(np.array([float(s) for s in state])[:, None, None], 2, axis=2)
    return xr.Dataset({"canopy_temperature_min": (DIMS, lowest), "worst_surface_state": (DIMS, states)})


def laid(count: int, **learned: object) -> missed.Missed:
    """For a first window that is a night, and a second that is none."""
    around = np.full((count, 2), 2.0)
    found = missed.of(Calibration.model_validate(learned), np.array([[272.0, np.nan]] * count), around, 0.25 * around)
    assert found is not None
    return found


def test_nothing_learned_lays_nothing_on() -> None:
    assert missed.of(Calibration.model_validate({}), np.zeros((1, 1)), np.zeros((1, 1)), np.zeros((1, 1))) is None


def test_an_offset_moves_nights_alone_and_carries_states_across_freezing() -> None:
    s = SurfaceState
    given = outcome([-0.5, 0.5, -3.0, -0.2], [s.WHITE_FROST, s.NEAR_FREEZING, s.FROZEN_LAYER, s.COLD_AND_DRY])
    found = missed.corrected(given, laid(4, canopy_offset=1.0))
    np.testing.assert_allclose(found["canopy_temperature_min"].values[:, 0, 0] - ZERO_CELSIUS, [0.5, 1.5, -2.0, 0.8])
    assert found["worst_surface_state"].values[:, 0, 0].tolist() == [s.NEAR_FREEZING] * 2 + [
        s.FROZEN_LAYER,
        s.NEAR_FREEZING,
    ]
    xr.testing.assert_equal(found.isel(event=1), given.isel(event=1))
    colder = missed.corrected(given, laid(4, canopy_offset=-1.0))
    assert colder["worst_surface_state"].values[1, 0, 0] == s.WHITE_FROST


def test_what_turns_cold_is_dry_where_the_other_members_are() -> None:
    s = SurfaceState
    given = outcome([-0.5, -0.6, 0.5], [s.COLD_AND_DRY, s.COLD_AND_DRY, s.OPEN])
    found = missed.corrected(given, laid(3, canopy_offset=-1.0))
    assert found["worst_surface_state"].values[2, 0, 0] == s.COLD_AND_DRY


def test_the_ridge_is_applied_as_it_is_written() -> None:
    """By hand: 0.5 - 0.1 (271 - 270) + 0.2 (2 - 2) - 1.0 (0.5 - 0.5) = 0.4 K."""
    found = missed.shift(laid(1, residual=LEARNED.model_dump()), np.array([[[271.0, 271.0]]]))
    assert found[0, 0].tolist() == pytest.approx([0.4, 0.0])


def test_what_is_still_missed_widens_the_members_evenly_and_always_alike() -> None:
    given = laid(31, canopy_spread=0.8)
    first = missed.shift(given, np.full((31, 2, 2), 271.0))
    assert first[:, :, 0].std(axis=0) == pytest.approx([0.8, 0.8], rel=0.1)  # normal scores of 31
    assert abs(first[:, 0, 0].mean()) < 1e-9
    np.testing.assert_array_equal(first[:, 0], first[:, 1])  # one night's miss is the whole field's
    np.testing.assert_array_equal(first, missed.shift(given, np.full((31, 2, 2), 271.0)))
