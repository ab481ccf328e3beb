"""The demo's freezing game night, advised from end to end: on the command's own path, with its files and its log."""

import json
from datetime import datetime
from pathlib import Path

import icalendar
import pytest

from microclimate.errors import InputError
from microclimate.fieldlog.store import Store
from microclimate.report.message import MOST
from microclimate.venue import load
from microclimate.workflow.tonight import Done, tonight

DEMO = Path(__file__).parents[2] / "data_demo"
VENUE, ENSEMBLE, PAST = DEMO / "venue.toml", DEMO / "ensemble.nc", DEMO / "past.csv"
NIGHT, NOW = "2026-01-27", datetime(2026, 1, 27, 17)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("advised")


@pytest.fixture(scope="module")
def done(out: Path) -> Done:
    return tonight(VENUE, ENSEMBLE, night=NIGHT, past=PAST, out=out, now=NOW, advice=True)


def test_the_plan_lowers_the_chance_and_every_figure_is_there(done: Done) -> None:
    plan = done.answer.plan
    assert plan is not None
    assert plan.windows == ("Midweek cup evening",)
    assert plan.best.deeds
    assert plan.best.chance < plan.nothing.chance
    assert plan.best.severe < plan.nothing.severe
    assert plan.best.cost is not None
    assert plan.nothing.cost is not None
    assert plan.best.cost < plan.nothing.cost
    assert {deed.action for deed in plan.best.deeds} >= {"heat", "stop"}
    for deed in plan.best.deeds:
        assert deed.start >= NOW
        assert deed.end <= datetime(2026, 1, 29, 3)
    assert list(plan.curves["zone"].values) == list(done.answer.curves["zone"].values)


def test_heat_and_cover_keep_the_coldest_zone_warmer(done: Done) -> None:
    plan = done.answer.plan
    assert plan is not None
    with_plan = plan.curves["canopy_temperature"].sel(quantile=0.5).min("time")
    without = done.answer.curves["canopy_temperature"].sel(quantile=0.5).min("time")
    assert float((with_plan - without).mean()) > 0.0


def test_the_text_the_message_and_the_calendar_agree(done: Done, out: Path) -> None:
    assert "Do:" in done.text
    assert 0 < len(done.message) <= MOST
    plan = done.answer.plan
    assert plan is not None
    calendar = icalendar.Calendar.from_ical((out / "actions.ics").read_bytes())
    starts = sorted(event.decoded("DTSTART").replace(tzinfo=None) for event in calendar.walk("VEVENT"))
    assert starts == sorted(deed.start for deed in plan.best.deeds)


def test_the_advice_is_kept_with_its_forecast_and_read_again(done: Done, out: Path) -> None:
    with Store(out / "fieldlog.db") as store:
        rows = store.rows("advice")
        assert len(rows) == 1
        assert rows[0]["source"] == 1
        kept = json.loads(rows[0]["plan"])
        assert "heat" in kept
    assert done.answer.plan is not None
    best, prices = done.answer.plan.best, load.venue(VENUE).prices
    assert prices is not None
    assert prices.crew_hour is not None
    assert prices.energy is not None
    acting = prices.crew_hour * best.crew + prices.energy * best.energy  # what may be lost is no cost of acting
    assert kept["cost"] == pytest.approx(acting, abs=0.01)
    assert done.answer.plan.before == "first"
    again = tonight(VENUE, ENSEMBLE, night=NIGHT, out=out, now=datetime(2026, 1, 27, 17, 10), past=PAST, advice=True)
    assert again.answer.plan is not None
    assert again.answer.plan.before == "same" or again.answer.plan.before.startswith(("heat", "growth", "quilt"))
    with Store(out / "fieldlog.db") as store:
        assert store.count("advice") == 2


def test_without_kit_there_is_nothing_to_advise(tmp_path: Path) -> None:
    kit = ("[[circuit]]", "[plant]", "[[cover]]")
    lines, skip = [], False
    for line in VENUE.read_text(encoding="utf-8").splitlines():
        skip = line.startswith(kit) if line.startswith("[") else skip
        if not skip and not line.startswith("circuit"):
            lines.append(line)
    path = tmp_path / "venue.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError, match="cover"):
        tonight(path, DEMO / "forecast.csv", night=NIGHT, now=NOW, advice=True)
