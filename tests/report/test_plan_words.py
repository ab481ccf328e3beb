"""The words of a plan: a message within its length, no verdict, a calendar with lasting names."""

from dataclasses import replace
from datetime import UTC, timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest
from forbidden_words import FORBIDDEN
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_plan import BEGIN, HEAT, LAY, LIFT, STOP, option, plan

from microclimate.errors import InputError
from microclimate.report import briefing, calendar, message, screen, timeline, words_plan, words_whom
from microclimate.report.answer import Answer
from microclimate.report.planned import Planned


@pytest.fixture(scope="module")
def planned(answer: Answer) -> Planned:
    return plan(answer, HEAT, LAY, LIFT, STOP)


@pytest.fixture(scope="module")
def told(answer: Answer, planned: Planned) -> Answer:
    return replace(answer, plan=planned, advice=words_plan.advice(answer, planned))


def test_no_verdict_and_no_leaked_value(told: Answer, planned: Planned) -> None:
    texts = [*words_plan.summary(told, planned), *words_whom.told_whom(told, planned), message.message(told, planned)]
    texts += [" ".join(row) for table in (words_plan.actions, words_plan.options) for row in table(told, planned).rows]
    texts += [screen.text(told), timeline.description(told, planned)]
    for text in texts:
        assert not FORBIDDEN.search(text), text


def test_every_action_has_its_hour_and_its_latest_start(told: Answer, planned: Planned) -> None:
    rows = words_plan.actions(told, planned).rows
    assert [row[0] for row in rows] == ["Heat: pipes", "Lay the quilt", "Lift the quilt", "Heat off: pipes"]
    assert rows[0][2:5] == ("not needed", "Tue 8:00 pm", "not reachable")
    assert rows[1][5] == "Tue 3:00 pm"  # 20:00 UTC, when the crew has to be called
    assert rows[0][7] == "9,900"
    text = " ".join(screen.text(told).split())
    for words in ("start by Tue 8:00 pm", "lift by Wed 1:00 pm", "EUR", "Waiting 6 h", "Earliest: Thu 9:00 am"):
        assert words in text


def test_it_is_said_when_nothing_tried_would_change_the_advice(answer: Answer, planned: Planned) -> None:
    words = "would change the kind of plan"
    assert not any(words in line for line in words_plan.summary(answer, planned))
    firm = replace(planned, turns=(), milder=None, harder=None)
    assert sum(words in line for line in words_plan.summary(answer, firm)) == 1


def test_what_binds_is_said_where_no_plan_is_within_the_limit(answer: Answer, planned: Planned) -> None:
    far = replace(planned, best=replace(planned.best, chance=0.5), binds=(("ramp", 0.2), ("power", 0.3)))
    text = " ".join(words_plan.summary(answer, far))
    assert "What binds: the chance would be 20 % if set points rose at once, 30 % with twice the heating power." in text
    assert "too little time" in " ".join(words_plan.summary(answer, replace(far, binds=())))
    assert "What binds" not in " ".join(words_plan.summary(answer, planned))


def test_no_money_where_none_was_given(answer: Answer) -> None:
    bare = plan(
        answer,
        replace(HEAT, cost=None),
        best=option(replace(HEAT, cost=None), STOP, cost=None),
        others=(),
        nothing=option(cost=None),
        currency="",
        waiting=(6.0, 0.35, None),
    )
    table = words_plan.options(answer, bare)
    assert "cost" not in " ".join(table.heads).lower()
    assert not any(row[8] for row in words_plan.actions(answer, bare).rows)


def test_doing_nothing_is_told_as_such(answer: Answer) -> None:
    idle = plan(answer, best=option(chance=0.05, cost=None), nothing=option(chance=0.05, cost=None), others=())
    assert words_plan.advice(answer, idle)[0].action == "Nothing to do now"
    assert message.message(answer, idle).startswith("Nothing to do now.")
    assert len(words_plan.options(answer, idle).rows) == 1


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    venue=st.text(min_size=1, max_size=400),
    cover=st.text("abcdefghij klm", min_size=1, max_size=400),
    heat=st.booleans(),
    lay=st.booleans(),
)
def test_a_message_has_at_most_300_characters(answer: Answer, venue: str, cover: str, heat: bool, lay: bool) -> None:
    deeds = [HEAT, STOP] if heat else []
    deeds += [replace(LAY, what=cover), replace(LIFT, what=cover)] if lay else []
    text = message.message(replace(answer, venue=venue), plan(answer, *deeds))
    assert 0 < len(text) <= message.MOST
    assert "\n" not in text


def test_a_message_says_what_to_do_by_when_first_and_the_age_of_the_forecast(told: Answer, planned: Planned) -> None:
    text = message.message(told, planned)
    assert text.startswith(["Heat: pipes: start by Tue 8:00 pm, 90 % sure", " Lay the quilt: start by Wed 12:00 am"][0])
    for words in ("Lift the quilt by Wed 1:00 pm", "Outside your limits: 85 %", "Coldest"):
        assert words in text


def events(path: Path) -> dict[str, Any]:
    """By summary, as another program reads them."""
    return {str(e["SUMMARY"]): e for e in icalendar.Calendar.from_ical(path.read_bytes()).walk("VEVENT")}


def test_a_calendar_keeps_its_names_and_counts_changes(told: Answer, planned: Planned, tmp_path: Path) -> None:
    path = calendar.write(told, planned, tmp_path / "actions.ics")
    first = events(path)
    assert len(first) == 4
    for event in first.values():
        assert event.decoded("DTSTART").tzinfo is not None
        assert event.decoded("DTSTART").utcoffset() == timedelta(0)
        assert int(event["SEQUENCE"]) == 0
    again = events(calendar.write(replace(told, now=told.now + timedelta(hours=1)), planned, path))
    assert {str(e["UID"]) for e in again.values()} == {str(e["UID"]) for e in first.values()}
    assert all(int(e["SEQUENCE"]) == 0 for e in again.values())
    later = replace(planned, best=option(replace(HEAT, start=BEGIN + timedelta(hours=1)), STOP))
    moved = events(calendar.write(told, later, path))
    heat, lay = "Heat: pipes (Millrace Ground)", "Lay the quilt (Millrace Ground)"
    assert moved[heat]["UID"] == first[heat]["UID"]
    assert int(moved[heat]["SEQUENCE"]) == 1
    assert moved[heat].decoded("DTSTART") == (BEGIN + timedelta(hours=1)).replace(tzinfo=UTC)
    assert str(moved[lay]["STATUS"]) == "CANCELLED"
    assert moved[lay]["UID"] == first[lay]["UID"]
    assert int(moved[lay]["SEQUENCE"]) == 1
    back = events(calendar.write(told, planned, path))
    assert str(back[lay]["STATUS"]) == "CONFIRMED"
    assert int(back[lay]["SEQUENCE"]) == 2
    assert list(tmp_path.iterdir()) == [path]


def test_what_has_been_done_keeps_its_entry_and_the_next_of_its_kind_its_own(told: Answer, tmp_path: Path) -> None:
    """Two spells of one cover: the first is over, the second begins; then the second is dropped."""
    later = timedelta(hours=24)
    second = [replace(deed, start=deed.start + later, end=deed.end + later) for deed in (LAY, LIFT)]
    path = tmp_path / "actions.ics"

    def written(hours: float, *deeds: Any) -> dict[str, Any]:
        now = BEGIN + timedelta(hours=hours)
        calendar.write(replace(told, now=now), plan(told, *deeds), path)
        return {str(e["UID"]): e for e in icalendar.Calendar.from_ical(path.read_bytes()).walk("VEVENT")}

    first = written(0, HEAT, LAY, LIFT, *second, STOP)
    assert len(first) == 6
    running = [replace(deed, running=True, by=None, call=None, people=0) for deed in (HEAT, LAY)]
    again = written(10, *running, LIFT, *second, STOP)  # the first sheet lies, heat is on: as told, no news
    assert {uid: int(e["SEQUENCE"]) for uid, e in again.items()} == dict.fromkeys(first, 0)
    done = written(22, running[0], *second, STOP)
    assert {uid: (e.decoded("DTSTART"), int(e["SEQUENCE"]), str(e["STATUS"])) for uid, e in done.items()} == {
        uid: (e.decoded("DTSTART"), 0, "CONFIRMED") for uid, e in first.items()
    }
    dropped = written(23, running[0], STOP)
    off = sorted(str(e["SUMMARY"]).split(" (")[0] for e in dropped.values() if str(e["STATUS"]) == "CANCELLED")
    assert off == ["Lay the quilt", "Lift the quilt"]
    assert all(int(e["SEQUENCE"]) == 1 for e in dropped.values() if str(e["STATUS"]) == "CANCELLED")
    assert sum(e.decoded("DTSTART").replace(tzinfo=None) >= BEGIN + later for e in dropped.values()) >= 2


def test_a_file_that_is_no_calendar_is_refused(told: Answer, planned: Planned, tmp_path: Path) -> None:
    path = tmp_path / "actions.ics"
    path.write_text("a shopping list")
    with pytest.raises(InputError):
        calendar.write(told, planned, path)
    assert path.read_text() == "a shopping list"


def test_the_page_says_first_what_to_do_and_holds_the_plan(told: Answer) -> None:
    page = briefing.page(told)
    assert page.index('id="do"') < page.index('id="answer"') < page.index('id="plan"')
    for words in ("Who is told what", "Plans side by side", "timeline-title", "If boiler, generator or fans stop"):
        assert words in page
