"""Scores of past forecasts: against closed forms and against formulas written out; pairs as the log has them."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from microclimate.fieldlog.store import Reading, Store
from microclimate.learn import figures_verify, told, verify
from microclimate.learn.told import Pair

T = np.datetime64("2026-01-10T22:00", "s")
DAY, HOUR = np.timedelta64(86400, "s"), np.timedelta64(3600, "s")
WINDOW = 14 * HOUR


def made(count: int, seed: int = 0, spread: float = 2.0, bias: float = 0.0, members: int = 20) -> list[Pair]:
    """Calibrated forecasts: truth and members are drawn alike round a centre."""
    rng = np.random.default_rng(seed)
    centre = 272.5 + 3.0 * rng.normal(size=count)
    pairs = []
    for k in range(count):
        told_of = centre[k] + bias + spread * rng.normal(size=members)
        came, start, lead = centre[k] + spread * rng.normal(), T + k * DAY, 6.0 + 12.0 * (k % 3)
        pairs.append(Pair(told.CANOPY, "West", start, start + WINDOW, lead, told_of, came, 1.0, 0.1 + 0.6 * (k % 2)))
    return pairs


def row(found: verify.Verified, **wanted: str) -> pd.Series:
    where = {"source": "this program", "lead": "all", "night": "all", **wanted}
    table = found.scores
    for name, value in where.items():
        table = table[table[name] == value]
    assert len(table) == 1
    return table.iloc[0]


def test_bias_error_and_crps_are_those_of_the_formulas() -> None:
    pairs = made(60, bias=1.0)
    one = row(verify.verify(pairs))
    middle = np.array([np.median(p.members) for p in pairs])
    seen = np.array([p.observed for p in pairs])
    assert one["bias"] == pytest.approx((middle - seen).mean())
    assert one["mae"] == pytest.approx(np.abs(middle - seen).mean())
    by_hand = [
        np.abs(p.members - p.observed).mean() - 0.5 * np.abs(p.members[:, None] - p.members[None]).mean() for p in pairs
    ]
    assert one["crps"] == pytest.approx(np.mean(by_hand))  # CRPS = E|x-y| - E|x-x'|/2 (Gneiting and Raftery 2007)


def test_the_parts_of_brier_add_up_and_a_perfect_chance_has_none_to_lose() -> None:
    rng = np.random.default_rng(1)
    p = rng.uniform(size=400)
    came = (rng.uniform(size=400) < p).astype(float)
    parts = verify.brier_parts(p, came)
    assert parts["brier"] == pytest.approx(np.mean((p - came) ** 2))
    assert parts["brier"] == pytest.approx(parts["miscalibration"] - parts["discrimination"] + parts["uncertainty"])
    assert 0.0 <= parts["miscalibration"] < 0.03
    wrong = verify.brier_parts(1.0 - p, came)
    assert wrong["miscalibration"] > 0.2
    assert wrong["discrimination"] == pytest.approx(0.0, abs=1e-6)


def test_a_calibrated_forecast_beats_climatology_and_persistence_and_has_even_ranks() -> None:
    found = verify.verify(made(400, seed=3))
    own, climate, before = (row(found, source=s) for s in ("this program", "climatology", "persistence"))
    assert own["crps"] < 0.85 * climate["crps"]
    assert own["crps"] < 0.6 * before["crps"]
    assert own["brier"] < climate["brier"]
    shares = found.ranks["share"].to_numpy()
    assert shares.sum() == pytest.approx(1.0)
    # 21 ranks of 400 nights: a share's sampling spread is about 0.0106
    assert np.abs(shares - 1 / 21).max() < 4 * 0.0107
    for line in found.reliability.to_dict("records"):
        assert line["came_low"] - 0.05 <= line["told"] <= line["came_high"] + 0.05
    area = found.roc["hit_rate"].iloc[-1]
    assert 0.75 < area < 1.0
    assert row(found)["value_0.3"] > 0.3


def test_leads_and_kinds_of_night_part_the_pairs() -> None:
    found = verify.verify(made(90))
    counts = {lead: int(row(found, lead=lead)["n"]) for lead in ("0 to 12 h", "12 to 24 h", "24 to 48 h")}
    assert counts == {"0 to 12 h": 30, "12 to 24 h": 30, "24 to 48 h": 30}
    assert row(found, night="clear calm")["n"] + row(found, night="other")["n"] == 90


def test_few_or_no_pairs_give_empty_tables() -> None:
    for pairs in ([], made(3)):
        found = verify.verify(pairs)
        assert found.scores.empty
        assert found.reliability.empty


def test_no_chance_is_ever_certain() -> None:
    assert verify.chance(np.full(20, 280.0)) == pytest.approx(0.5 / 21)
    assert verify.chance(np.full(20, 260.0)) == pytest.approx(20.5 / 21)


def test_decisions() -> None:
    advised = [
        {"event": "a", "acted": True, "cost": 500.0, "chance": 0.1},
        {"event": "b", "acted": False, "cost": None, "chance": 0.1},
        {"event": "c", "acted": False, "cost": None, "chance": 0.1},
        {"event": "d", "acted": True, "cost": 500.0, "chance": 0.1},
        {"event": "e", "acted": True, "cost": 500.0, "chance": 0.1},
    ]
    found = verify.decisions(advised, {"a": False, "b": True, "c": False, "d": True, "e": None}, 20000.0)
    verdicts = ["prevented or not needed", "miss", "right to wait", "lost in spite of it", "unknown"]
    assert found["verdict"].tolist() == verdicts
    assert found["spent"].tolist()[:4] == [500.0, 20000.0, 0.0, 20500.0]
    assert np.isnan(found["spent"].iloc[4])
    assert (found["perfect_low"].iloc[0], found["perfect_high"].iloc[0]) == (0.0, 500.0)


def filled(folder: Path) -> Store:
    store = Store(folder / "log.db")
    source = store.source("run", b"run", T)
    for night in range(3):
        start = T + night * DAY
        for made_at, off in ((start - 20 * HOUR, 3.0), (start - 4 * HOUR, 0.4)):
            members = {
                ("West", told.CANOPY): 271.0 + off + np.linspace(-1, 1, 5),
                ("East", told.CANOPY): 271.0 + off + np.linspace(-1, 1, 5),
                ("", told.WIND): np.array([1.0]),
                ("", told.CLOUD): np.array([0.1]),
            }
            store.add_told(made_at, made_at - HOUR, ("night", start, start + WINDOW), members, source)
        hours = start + np.arange(15) * HOUR
        if night < 2:
            warm = 271.0 + np.abs(np.arange(15) - 8.0)
            readings = [Reading("IR", "canopy_temperature", t, v, "West") for t, v in zip(hours, warm, strict=True)]
            store.add_readings(readings, source)
    return store


def test_pairs_join_what_was_told_with_what_was_read_there(tmp_path: Path) -> None:
    with filled(tmp_path) as store:
        every, last = told.pairs(store), told.pairs(store, last=True)
        early = told.pairs(store, T + WINDOW)
    assert len(every) == 4  # two nights were read, in one zone, told twice each
    assert {p.zone for p in every} == {"West"}
    assert [p.observed for p in every] == [271.0] * 4
    assert sorted({p.lead for p in every}) == [5.0, 21.0]
    assert [p.lead for p in last] == [5.0, 5.0]
    assert len(early) == 2
    assert {verify.kind(p) for p in every} == {"clear calm"}


def test_a_window_that_was_hardly_read_is_no_pair_and_a_flagged_reading_does_not_count(tmp_path: Path) -> None:
    with filled(tmp_path) as store:
        coldest = np.array([T + 8 * HOUR])
        sensor = store.sensors()[0].number
        store.flag_series(sensor, coldest, "spike")
        assert told.pairs(store, last=True)[0].observed == 272.0
        store.flag_series(sensor, T + np.arange(6) * HOUR, "stuck")
        assert len(told.pairs(store, last=True)) == 1


def test_the_last_nights_in_one_line(tmp_path: Path) -> None:
    with filled(tmp_path) as store:
        found = told.record(told.pairs(store, last=True))
    assert found is not None
    assert (found.nights, found.quantity, found.inside) == (2, told.CANOPY, 2)
    assert found.error == pytest.approx(0.4)
    assert told.record([]) is None


def test_the_raw_forecast_is_a_rival_where_the_log_kept_it(tmp_path: Path) -> None:
    """Its lowest air in the window, member by member, as it came; for the grass too, for the root zone never."""
    with filled(tmp_path) as store:
        start, issued = T, T - 5 * HOUR  # the run of four hours before the first night knew the forecast of five before
        hours = start + np.arange(-2, 16) * HOUR
        members = 280.0 + np.abs(np.arange(-2, 16) - 6.0)[:, None] + np.array([0.0, 1.5])
        members[0] = 200.0  # before the window
        store.add_forecast(issued, hours, "air_temperature", members, store.source("f", b"f", T))
        short = T + DAY - 5 * HOUR
        store.add_forecast(short, hours[:6] + DAY, "air_temperature", members[:6], store.source("g", b"g", T))
        found = {(p.start, p.lead): p.raw.tolist() for p in told.pairs(store, raw=True)}
        assert all(p.raw.size == 0 for p in told.pairs(store))
    assert found[T, 5.0] == [280.0, 281.5]
    assert found[T, 21.0] == []  # of that issue nothing was kept
    assert found[T + DAY, 5.0] == []  # it does not cover the night
    table = verify.verify([replace(p, raw=p.members + 3.0) for p in made(40)])
    assert row(table, source="raw forecast")["bias"] == pytest.approx(row(table)["bias"] + 3.0)
    assert row(table, source="raw forecast")["crps"] > row(table)["crps"]


def test_the_figure_shows_what_the_tables_hold() -> None:
    found = verify.verify(made(80))
    drawn = figures_verify.verify({told.CANOPY: "Lowest canopy"}, found.reliability, found.roc, found.ranks)
    reliable, roc, ranks = drawn.subfigs[0].axes
    assert [bar.get_height() for bar in ranks.patches] == found.ranks["share"].tolist()
    points = roc.lines[1].get_xydata()
    assert points[0].tolist() == [0.0, 0.0]
    assert points[-1].tolist() == [1.0, 1.0]
    assert (np.diff(points, axis=0) >= 0.0).all()
    area = float(np.trapezoid(points[:, 1], points[:, 0]))
    assert f"area {area:.2f}" in roc.get_title(loc="left")
    assert reliable.get_xlabel() == "chance of freezing told"
    always = verify.verify([replace(p, observed=270.0) for p in made(20)])
    empty = figures_verify.verify({told.CANOPY: "Lowest canopy"}, always.reliability, always.roc, always.ranks)
    assert "nothing to tell apart" in empty.subfigs[0].axes[1].texts[0].get_text()


def test_what_is_kept_can_be_read_by_anyone(tmp_path: Path) -> None:
    with filled(tmp_path) as store:
        rows = store.rows("told")
    assert len(json.loads(rows[0]["members"])) in (1, 5)
