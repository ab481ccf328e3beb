"""Where readings stand for their surroundings, on fields made up so that the answer is plain."""

import numpy as np
import xarray as xr

from microclimate.risk import places, zonal


def field(hours: np.ndarray, light: np.ndarray | None = None, night: np.ndarray | None = None) -> xr.Dataset:
    """20 x 10 m in cells of 1 m; zone 0 is the left half, 1 the right one."""
    x, y = (v.ravel() for v in np.meshgrid(np.arange(20) - 9.5, np.arange(10) - 4.5))
    values = {"sunlit_hours": hours, "light_integral": hours if light is None else light}
    if night is not None:
        values["coldest"] = night
    return xr.Dataset(
        {name: ("cell", np.broadcast_to(v, (10, 20)).ravel().astype(float)) for name, v in values.items()},
        coords={
            "x": ("cell", x),
            "y": ("cell", y),
            "zone": ("cell", (x > 0).astype(int)),
            "area": ("cell", np.ones(200)),
        },
    )


def test_an_edge_spoils_the_cells_within_reach_alone() -> None:
    """A step of 4 h at x = 5 lies in zone 1: cells at 3.5, 4.5, 5.5 and 6.5 m see across it within 2.5 m."""
    hours = np.where(np.arange(20) - 9.5 < 5.0, 8.0, 4.0)
    cells = field(hours)
    np.testing.assert_allclose(places.edge_share(cells, 2), [0.0, 0.4])
    assert set(np.unique(places.contrast(cells, "sunlit_hours"))) == {0.0, 4.0}


def test_a_gentle_slope_has_no_edge() -> None:
    cells = field(np.linspace(4.0, 8.0, 20))
    np.testing.assert_allclose(places.edge_share(cells, 2), 0.0)
    assert not [p for p in places.probes(cells, ["left", "right"]) if "side" in p.why]


def test_probes_bound_the_extremes_and_both_sides_of_the_edge() -> None:
    hours = np.where(np.arange(20) - 9.5 < 5.0, 8.0, 4.0)
    night = np.where(np.arange(20) - 9.5 < -6.0, 270.0, 274.0)
    found = {p.why: p for p in places.probes(field(hours, night=night), ["left", "right"])}
    assert found["coldest"].x < -6.0
    assert found["coldest"].zone == "left"
    darkest = next(p for why, p in found.items() if "darkest" in why)
    assert darkest.x > 5.0
    assert found["lit side"].x < 5.0 < found["shaded side"].x
    assert found["shaded side"].x - found["lit side"].x <= 2 * places.REACH
    assert len(found) <= 6


def test_an_even_field_asks_for_one_point() -> None:
    found = places.probes(field(np.full(20, 8.0), night=np.full(20, 272.0)), ["left", "right"])
    assert len(found) == 1
    assert found[0].why == "coldest and mildest and darkest and brightest"


def test_ranks_hold_their_range() -> None:
    """Two zones the draws keep apart, and two that change places."""
    days = xr.Dataset(
        coords={"zone": ("patch", list("abcd")), "zone_index": ("patch", range(4)), "area": ("patch", np.ones(4))}
    )
    night = np.array([[270.0, 271.0, 275.0, 276.0], [270.2, 270.1, 275.0, 276.0], [269.0, 271.0, 275.5, 276.0]])
    draws = xr.Dataset(dict.fromkeys(("night_canopy", "canopy_mean", "root_mean"), (("draw", "patch"), night)))
    found = zonal.ranked(draws, days)
    np.testing.assert_array_equal(found["rank"], [1, 2, 3, 4])
    np.testing.assert_array_equal(found["rank_low"], [1, 1, 3, 4])
    np.testing.assert_array_equal(found["rank_high"], [2, 2, 3, 4])
