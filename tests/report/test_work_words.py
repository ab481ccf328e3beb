"""The words of the work windows: every hour that counts is told once, in the reader's units, without a verdict."""

from dataclasses import replace

import numpy as np
import pytest
from forbidden_words import FORBIDDEN, NOT_METRIC, NOT_US

from microclimate.report import briefing, screen, words_work
from microclimate.report.answer import Answer
from microclimate.report.worked import Condition, Job, Worked
from microclimate.units import Shown

HERE = "America/New_York"
US, METRIC = Shown("US", 12, HERE), Shown("metric", 24, HERE)
HOURS = np.datetime64("2026-12-15T22", "h") + np.arange(36) * np.timedelta64(1, "h")  # 17:00 local to 5:00, two days on
JOBS: dict[Job, tuple[Condition, ...]] = {
    "mowing": (Condition("dry", 0.01, "ours"), Condition("vehicles", 273.15, "a study"), Condition("light")),
    "line marking": (Condition("air", 278.15, "common practice, no source"), Condition("leaf", 273.15, "ours")),
    "spraying": (Condition("ground", 273.15, "a study"), Condition("crew")),
    "clearing snow": (Condition("snow", 0.025, "a magazine"), Condition("gust", 6.0, "yours")),
}


@pytest.fixture
def told() -> Worked:
    """Mowing in both zones from 10 to 12, in one to 13, on the 16th; marking over midnight; the others never."""
    share = np.zeros((len(JOBS), 2, HOURS.size))
    share[0, 0, 17:20] = 0.9
    share[0, 1, 17:19] = 0.85
    share[1, :, 5:9] = 1.0
    share[2] = 0.79
    frost = np.zeros(HOURS.size)
    frost[8:15] = 0.4
    frost[30:] = 0.1
    return Worked(HOURS, ("North", "South"), JOBS, share, 0.8, frost, np.full(HOURS.size, 271.15), 0.15)


def test_hours_of_all_zones_and_of_some(told: Worked) -> None:
    table = words_work.table(told, METRIC)
    assert table.heads == ("Job", "Tue 15 Dec", "Wed 16 Dec", "Thu 17 Dec")
    assert table.rows[0] == ("Mowing", "none", "10:00 to 12:00; 12:00 to 13:00 (up to 1 of 2 zones)", "none")
    assert table.rows[1] == ("Line marking", "22:00 to 00:00", "00:00 to 02:00", "none")
    assert table.rows[2][1:] == ("none",) * 3
    assert words_work.lines(told, METRIC)[2] == "Spraying: no hour."


def test_a_zone_has_its_own_hours(told: Worked) -> None:
    rows = words_work.by_zone(told, US).rows
    assert rows[0][:2] == ("North", "Wed Dec 16 10:00 am to 1:00 pm")
    assert rows[1][:2] == ("South", "Wed Dec 16 10:00 am to noon")


def test_pipes_are_drained_before_the_first_hour_of_frost(told: Worked) -> None:
    first, last = words_work.pipes(told, METRIC)
    assert first.startswith("Air in the bowl may be below freezing Wed 01:00 to Wed 08:00, 7 h; highest chance 40 %")
    assert last.endswith("before Wed 01:00.")
    assert words_work.pipes(replace(told, frost=np.ones(36)), METRIC)[-1].endswith(", now.")
    assert "no hour" in words_work.pipes(replace(told, frost=np.zeros(36)), METRIC)[0]


@pytest.mark.parametrize(("shown", "strange"), [(US, NOT_US), (METRIC, NOT_METRIC)])
def test_units_are_the_readers_and_nothing_is_judged(told: Worked, shown: Shown, strange: object) -> None:
    texts = [*words_work.lines(told, shown), *words_work.limits(told, shown), *words_work.pipes(told, shown)]
    texts += [words_work.title(told, shown), words_work.caption(told)]
    for text in texts:
        assert not FORBIDDEN.search(text), text
        assert not strange.search(text), text  # type: ignore[attr-defined]


def test_a_gust_limit_that_is_not_set_is_said(told: Worked) -> None:
    assert words_work.limits(told, US)[-1].startswith("Spraying: no gust limit is set")
    jobs = JOBS | {"spraying": (Condition("gust", 4.0, "yours"),)}
    assert "no gust limit" not in " ".join(words_work.limits(replace(told, jobs=jobs), US))


def test_every_hour_is_in_the_csv_with_its_offset(told: Worked) -> None:
    lines = words_work.csv_of(told, METRIC).splitlines()
    assert len(lines) == 1 + 4 * 2 * 36
    assert lines[1 + 17] == "mowing,North,2026-12-16 10:00-0500,0.900,1"


def test_screen_and_page_tell_it_where_it_was_asked_for(answer: Answer, told: Worked) -> None:
    asked = replace(answer, work=told)
    text, page = screen.text(asked), briefing.page(asked)
    assert "Work on the bare field" in text
    assert max(map(len, text.splitlines())) <= 80
    assert 'id="work"' in page
    assert "Zone by zone" in page
    assert "Work on the bare field" not in screen.text(answer) + briefing.page(answer)
