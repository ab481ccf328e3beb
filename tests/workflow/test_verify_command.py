"""`verify` on a made log: what was advised is counted with all it does and costs; its figure is written."""

import json
from pathlib import Path

import numpy as np

from microclimate.fieldlog.store import Reading, Store
from microclimate.learn import told
from microclimate.workflow.verify import verify

DEMO = Path(__file__).parents[2] / "data_demo"
T = np.datetime64("2026-01-10T23:00", "s")
DAY, HOUR = np.timedelta64(86400, "s"), np.timedelta64(3600, "s")


def test_advice_of_every_kind_counts_and_the_figure_is_drawn(tmp_path: Path) -> None:
    (tmp_path / "venue.toml").write_bytes((DEMO / "venue.toml").read_bytes())
    nothing = {"format": 2, "spells": [], "heat": {}, "skirts": None, "snow": None, "cost": 0.0}
    quilt = nothing | {"spells": [{"cover": "growth quilt", "on": "x", "off": "y", "blown": False}], "cost": 400.0}
    plough = nothing | {"snow": "2026-01-12T06:00:00", "cost": 250.0}
    with Store(tmp_path / "fieldlog.db") as store:
        source = store.source("made", b"made", T)
        for k, plan in enumerate((quilt, plough, nothing)):
            event = f"match {str(T + k * DAY)[:16]}Z"
            store.add_advice(T + k * DAY - 12 * HOUR, T + k * DAY - 13 * HOUR, event, json.dumps(plan), 0.1, source)
            store.add_state(T + k * DAY + HOUR, "West middle 1", 0, "seen")
        rng = np.random.default_rng(4)
        for k in range(12):
            start, middle = T + k * DAY, 272.0 + 2.0 * rng.normal()
            rows = {("West middle 1", told.CANOPY): middle + np.linspace(-2.0, 2.0, 9)}
            store.add_told(start - 6 * HOUR, start - 7 * HOUR, ("night", start, start + 12 * HOUR), rows, source)
            times = start + np.arange(13) * HOUR
            store.add_readings(
                [Reading("IR", "canopy_temperature", t, middle + 1.2 * rng.normal(), "West middle 1") for t in times],
                source,
            )
    text = verify(tmp_path / "venue.toml", out=tmp_path / "out")
    assert "- prevented or not needed: 2" in text  # a cover alone, and snow kit alone, are acting too
    assert "- right to wait: 1" in text
    assert "Spent or lost: 650" in text
    figure = (tmp_path / "out" / "verify.svg").read_text(encoding="utf-8")
    assert figure.startswith("<svg")
    for words in ("Chance told, share that froze", "Told apart", "Rank of the reading among members"):
        assert words in figure
