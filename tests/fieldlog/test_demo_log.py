"""The demo's field log and its spot readings can be read as they stand, and start a night."""

from pathlib import Path

import numpy as np

from microclimate.fieldlog import readings
from microclimate.fieldlog.traces import traces
from microclimate.venue import load

DEMO = Path(__file__).parents[2] / "data_demo"


def test_the_log_is_read_with_its_zones_depths_and_clock() -> None:
    log = traces(DEMO / "fieldlog.csv")
    assert log.sizes["sensor"] == 6
    assert set(log["depth"].values.round(3)) == {0.025, 0.1}
    zones = {zone.name for zone in load.venue(DEMO / "venue.toml").field.zones}
    assert set(log["zone"].values) <= zones
    assert log["time"].values[-1] == np.datetime64("2026-01-27T17:00", "ns")  # noon at UTC-5
    assert np.isfinite(log["value"]).all()
    assert (log["value"] > 260.0).all()


def test_the_spot_readings_are_the_log_at_noon() -> None:
    venue = load.venue(DEMO / "venue.toml")
    spots = readings.table(DEMO / "readings.csv", venue.site.time_zone, zones=[zone.name for zone in venue.field.zones])
    log = traces(DEMO / "fieldlog.csv").isel(time=-1)
    told = {
        (str(z), round(float(d), 3)): float(v)
        for z, d, v in zip(log["zone"].values, log["depth"].values, log["value"].values, strict=True)
    }
    assert {(spot.zone, round(spot.depth, 3)): round(spot.value, 2) for spot in spots} == {
        k: round(v, 2) for k, v in told.items()
    }
