"""What a venue says of its covers reaches the leaf: each key on the command's own path, by the plan it advises."""

from datetime import datetime
from pathlib import Path

import pytest
from small_ground import GROUND

from microclimate.workflow.tonight import tonight

FORECAST = Path(__file__).parents[2] / "data_demo" / "forecast.csv"
QUILT = 'name = "quilt"\nkind = "insulated"\npeople = 6\nminutes = 60\n'
SHEET = 'name = "sheet"\npeople = 4\nminutes = 40\ngust_plan = 30\ngust_stop = 30\ngust_remove = 40\n'
FABRIC, TENT = 'kind = "permeable"\n', 'kind = "raised"\nwarm_air_flow = 30\n'


def canopy(folder: Path, cover: str) -> float:
    """Mean canopy while the one cover of the small ground lies, as the plan advised lays it [K]."""
    assert QUILT in GROUND
    venue = folder / "venue.toml"
    text = GROUND.replace(QUILT, SHEET + cover) + "[limits]\ntolerated_chance = 0.01\n"
    venue.write_text(text, encoding="utf-8")
    events = ["2026-01-28T09:00/11:00"]
    now = datetime(2026, 1, 27, 17)
    plan = tonight(venue, FORECAST, night="2026-01-27", now=now, advice=True, events=events).answer.plan
    assert plan is not None
    assert [deed.action for deed in plan.best.deeds] == ["lay", "lift"]
    told = plan.curves["canopy_temperature"].sel(quantile=0.5)
    return float(told.sel(time=slice("2026-01-28T00:00", "2026-01-28T10:00")).mean())


@pytest.mark.parametrize(
    ("cover", "key", "least"),
    [
        (FABRIC, "sheets = 2", 0.2),
        (FABRIC, "flaps_from = 0.5", -0.05),
        (TENT, "warm_air_leak = 0.8", -0.3),
        (FABRIC, "longwave_transmittance = 0.0", 0.02),
        (TENT, "edge_gap = 2", -0.1),
    ],
)
def test_a_key_of_a_cover_is_felt_by_the_leaf(tmp_path: Path, cover: str, key: str, least: float) -> None:
    """Warmer by at least so much, or colder where it is negative (ours: a direction that it must have) [K]."""
    change = canopy(tmp_path, cover + key + "\n") - canopy(tmp_path, cover)
    assert change / least > 1.0, change
