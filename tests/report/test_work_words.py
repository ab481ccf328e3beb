"""The words of the work windows: every hour that counts is told once, in the reader's units, without a verdict."""

from dataclasses import replace

import numpy as np
import pytest
from forbidden_words import FORBIDDEN, NOT_METRIC, NOT_US
from made_work import HOURS, JOBS, worked

from microclimate.report import briefing, canvas, screen, strip, words_work
from microclimate.report.answer import Answer
from microclimate.report.worked import Condition, Worked
from microclimate.units import Shown

HERE = "America/New_York"
US, METRIC = Shown("US", 12, HERE), Shown("metric", 24, HERE)


@pytest.fixture
def told() -> Worked:
    return worked()


def test_hours_of_all_zones_and_of_some(told: Worked) -> None:
    table = words_work.table(told, METRIC)
    assert table.heads == ("Job", "Tue 15 Dec", "Wed 16 Dec", "Thu 17 Dec")
    assert table.rows[0] == ("Mowing", "none", "10:00 to 12:00; 12:00 to 13:00 (up to 1 of 2 zones)", "none")
    assert table.rows[1] == ("Line marking", "22:00 to 00:00", "00:00 to 02:00", "none")
    assert table.rows[2][1:] == ("none",) * 3
    lines = words_work.lines(told, METRIC)
    assert lines[2] == "Spraying: no hour."
    assert "No hour for spraying: met least often is root zone at 25 mm above 0.0 °C." in lines
    assert not [line for line in lines if line.startswith("No hour for mowing")]


def test_hours_of_a_day_stand_in_order_of_time(told: Worked) -> None:
    """In one zone from 8, in both from 10 to 12, none at noon, both from 13."""
    share = np.zeros((1, 2, HOURS.size))
    share[0, 0, 15:19], share[0, 1, 17:19], share[0, :, 20:22] = 1.0, 1.0, 1.0
    one = replace(told, jobs={"mowing": JOBS["mowing"]}, share=share)
    row = words_work.table(one, METRIC).rows[0]
    assert row[2] == "08:00 to 10:00 (up to 1 of 2 zones); 10:00 to 12:00; 13:00 to 15:00"


def test_the_strip_draws_each_hour_as_tall_as_its_share_of_zones(told: Worked) -> None:
    made, axes = canvas.figure(4.0, 2.0)
    strip.draw(axes, told, METRIC)
    bars = np.array([patch.get_height() for patch in axes.patches]).reshape(len(JOBS), HOURS.size)
    np.testing.assert_allclose(bars / strip.TALL, told.holds.mean(axis=1))
    assert "mowing: 3 of 36 hours somewhere, 2 all over the field" in strip.description(told, METRIC).lower()
    assert [tick.get_text().split("\n")[0] for tick in axes.get_xticklabels()] == ["12:00"]
    assert made is not None


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
