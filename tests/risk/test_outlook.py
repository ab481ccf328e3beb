"""Chances from outcomes: closed forms, bounds, and what is unknown stays unknown."""

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import beta

from microclimate.risk.outlook import assess
from microclimate.schema import OUTCOME_VARIABLES, SurfaceState, seal

T0 = np.datetime64("2026-01-21T00:00", "ns")
HOUR = np.timedelta64(3600, "s")


def make_outcome(
    states: np.ndarray, canopy: np.ndarray, zone: list[int], area: list[float], coverage: np.ndarray | None = None
) -> xr.Dataset:
    """An outcome of one plan, one window: `states` and `canopy` have (realization, patch)."""
    members, patches = states.shape
    full = (1, members, patches, 1)
    cover = np.ones(full) if coverage is None else coverage.reshape(full)
    soil = np.repeat(canopy.reshape(full)[..., None] + 1.0, 3, axis=-1)
    times = np.broadcast_to(T0 + HOUR * np.arange(patches)[None, None, :, None], full)
    hours = np.zeros((*full, 9))
    dims = ("plan", "realization", "patch", "event")
    data = xr.Dataset(
        {
            "worst_surface_state": (dims, states.reshape(full).astype(float)),
            "final_surface_state": (dims, states.reshape(full).astype(float)),
            "hours_in_state": ((*dims, "state"), hours),
            "canopy_temperature_min": (dims, canopy.reshape(full)),
            "canopy_temperature_min_time": (dims, times),
            "soil_temperature_min": ((*dims, "depth"), soil),
            "soil_temperature_min_time": ((*dims, "depth"), np.repeat(times[..., None], 3, axis=-1)),
            "onset_time": (dims, np.where(canopy.reshape(full) < 273.15, times, np.datetime64("NaT"))),
            "heating_energy": (dims, np.zeros(full)),
            "heating_power_max": (dims, np.zeros(full)),
            "heating_hours": (dims, np.zeros(full)),
            "coverage": (dims, cover),
        },
        coords={
            "plan": ["nothing"],
            "event": ["tonight"],
            "depth": [0.025, 0.05, 0.1],
            "zone": ("patch", [f"Z{i}" for i in zone]),
            "zone_index": ("patch", zone),
            "area": ("patch", area),
        },
    )
    return seal(data, OUTCOME_VARIABLES, "outcome")


def test_the_worst_patch_decides_within_each_realization() -> None:
    """Two patches freeze in different realizations: the zone freezes in both."""
    states = np.array([[5, 0], [0, 5], [0, 0], [0, 0]])
    risk = assess(make_outcome(states, np.full((4, 2), 272.0), [0, 0], [10.0, 90.0]))
    # closed form: (2 hits + prior weight of the 4 states from "frozen layer" up) / (4 + 1)
    reached = risk["probability_reached"].sel(state=int(SurfaceState.FROZEN_LAYER)).item()
    assert_allclose(reached, (2 + 4 / 9) / 5)
    assert_allclose(
        risk["probability_reached_low"].sel(state=int(SurfaceState.FROZEN_LAYER)).item(),
        beta.ppf(0.05, 2 + 4 / 9, 2 + 5 / 9),
    )


def test_median_patch_is_weighted_by_area() -> None:
    canopy = np.array([[270.0, 275.0, 280.0]])
    risk = assess(make_outcome(np.zeros((1, 3)), canopy, [0, 0, 0], [10.0, 80.0, 10.0]))
    assert risk["canopy_temperature_median"].sel(quantile=0.5).item() == 275.0
    assert risk["canopy_temperature_worst"].sel(quantile=0.5).item() == 270.0
    assert risk["canopy_temperature_worst_time"].values.item() == T0.item()
    assert risk["onset_time"].values.item() == T0.item()


def test_area_counts_the_patches_that_share_the_worst_state() -> None:
    states = np.array([[5, 5, 2], [5, 5, 2], [5, 0, 2]])
    risk = assess(make_outcome(states, np.full((3, 3), 272.0), [0, 0, 0], [10.0, 20.0, 40.0]))
    assert risk["worst_area"].item() == 30.0


def test_unknown_is_never_no_freeze() -> None:
    """One realization of four is cut off: its freeze is possible, so the high end rises and the low end falls."""
    states, canopy = np.zeros((4, 1)), np.full((4, 1), 276.0)
    whole = assess(make_outcome(states, canopy, [0], [1.0]))
    cut = assess(make_outcome(states, canopy, [0], [1.0], np.array([1.0, 1.0, 1.0, 0.4])))
    name = int(SurfaceState.FROZEN_LAYER)
    assert (
        cut["probability_reached_high"].sel(state=name).item()
        > whole["probability_reached_high"].sel(state=name).item() + 0.1
    )
    lost = assess(make_outcome(states, canopy, [0], [1.0], np.array([1.0, 0.0, 0.0, 0.0])))
    assert np.isnan(lost["probability"]).all()
    assert np.isnan(lost["canopy_temperature_worst"]).all()
    assert np.isnat(lost["canopy_temperature_worst_time"].values).all()
    assert lost["coverage"].item() == 0.25


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.integers(0, 8), min_size=3, max_size=3), min_size=1, max_size=40))
def test_chances_add_up_and_lie_in_their_range(states: list[list[int]]) -> None:
    array = np.array(states)
    risk = assess(make_outcome(array, np.full(array.shape, 274.0), [0, 0, 1], [1.0, 1.0, 2.0]))
    assert_allclose(risk["probability"].sum("state"), 1.0, atol=1e-12)
    assert_allclose(risk["probability_reached"].sel(state=0), 1.0)
    for name in ("probability", "probability_reached"):
        assert (risk[f"{name}_low"] <= risk[name]).all()
        assert (risk[f"{name}_high"] >= risk[name]).all()
        assert float(risk[name].min()) > 0
    falling = risk["probability_reached"].transpose("zone", "event", "state").values
    assert (np.diff(falling, axis=-1) <= 1e-12).all()
    assert list(risk["state"].values) == list(range(9))


def test_a_perfectly_calibrated_ensemble_is_covered() -> None:
    """Exact binomial sampling: the 5-95 % range of the chance holds the true chance in about nine cases of ten.

    1,000 draws of 31 realizations; a binomial count of coverages has sd 0.0095, the Beta range is discrete: 0.84-0.97.
    """
    rng = np.random.default_rng(7)
    truth = 0.3
    inside = 0
    for _ in range(200):
        states = np.where(rng.random((31, 5)) < truth, 5, 0)
        risk = assess(make_outcome(states, np.full((31, 5), 272.0), [0, 1, 2, 3, 4], [1.0] * 5))
        low = risk["probability_reached_low"].sel(state=int(SurfaceState.CRUST)).values
        high = risk["probability_reached_high"].sel(state=int(SurfaceState.CRUST)).values
        inside += int(((low <= truth) & (truth <= high)).sum())
    assert 0.84 <= inside / 1000 <= 0.97


@pytest.mark.parametrize("members", [1, 31])
def test_zones_keep_their_order_and_names(members: int) -> None:
    states = np.zeros((members, 3))
    risk = assess(make_outcome(states, np.full((members, 3), 275.0), [1, 0, 1], [1.0, 1.0, 1.0]))
    assert list(risk["zone"].values) == ["Z0", "Z1"]
