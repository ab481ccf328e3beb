"""Which realization the figures show."""

import numpy as np
import pytest
import xarray as xr

from microclimate.workflow.pictures import middle

NAN = float("nan")


def outcome(canopy: list[float], soil: list[float]) -> xr.Dataset:
    """Two patches, the second 3 K warmer, one window."""
    both = np.array(canopy)[None, :, None, None] + np.array([0.0, 3.0])[None, None, :, None]
    root = np.broadcast_to(np.array(soil)[None, :, None, None, None], (*both.shape, 1))
    dims = ("plan", "realization", "patch", "event")
    return xr.Dataset(
        {"canopy_temperature_min": (dims, both), "soil_temperature_min": ((*dims, "depth"), root)},
        coords={"depth": [0.05]},
    )


@pytest.mark.parametrize(
    ("canopy", "soil", "chosen"),
    [
        ([5, 4, 3, 2, 1], [1, 2, 3, 4, 5], 2),
        ([1, 2, 3, 4, 5], [3, 4, 0, 1, 2], 3),  # the middle leaf stands on the coldest ground of all
        ([NAN, 4, 3, 2], [1, 2, 3, 4], 2),
        ([NAN, NAN], [1, 2], 0),
        ([7], [1], 0),
    ],
)
def test_middle_in_leaf_and_root_zone(canopy: list[float], soil: list[float], chosen: int) -> None:
    """By hand: ranks counted from 0, middle rank (n - 1) // 2."""
    assert middle(outcome(canopy, soil)) == chosen
