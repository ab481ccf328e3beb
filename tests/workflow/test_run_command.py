"""`microclimate run`: told once, told again only when the advice changes or a day has passed, over real sockets."""

import email
import email.policy
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from loopback import Kept, mail_server, web_server
from small_ground import GROUND

from microclimate.errors import InputError
from microclimate.fieldlog.store import Store
from microclimate.venue import load
from microclimate.workflow import notify, run
from microclimate.workflow.tonight import Done

DEMO = Path(__file__).parents[2] / "data_demo"
NOON = datetime(2026, 1, 27, 17)  # UTC: the demo's forecast is issued at that hour
SMALL = (
    GROUND
    + """
[[ground]]
build = "sand over gravel"
[limits]
canopy_min = -3
rootzone_min = 0
"""
)
NOTIFY = """
[notify]
email = ["crew@example.org", "plant@example.org"]
sender = "field@example.org"
server = "127.0.0.1:{mail}"
webhook = true
"""


@pytest.fixture
def mail() -> Iterator[Kept]:
    with mail_server() as kept:
        yield kept


@pytest.fixture
def web() -> Iterator[Kept]:
    with web_server() as kept:
        yield kept


def asked(folder: Path, mail: Kept | None, web: Kept | None, **changes: Any) -> run.Asked:
    venue = folder / "venue.toml"
    venue.write_text(SMALL + ("" if mail is None else NOTIFY.format(mail=mail.port)), encoding="utf-8")
    environment = {} if web is None else {notify.WEBHOOK: f"http://127.0.0.1:{web.port}/key-123"}
    given = run.Asked(venue, DEMO / "forecast.csv", folder / "out", False, {"past": DEMO / "past.csv"}, environment)
    return replace(given, **changes)


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Done:
    """One real run of the small ground, told again and again in the tests that need no second one."""
    kept: list[Done] = []
    real = run.tonight

    def once(*args: Any, **words: Any) -> Done:
        kept.append(real(*args, **words))
        return kept[0]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "tonight", once)
        run.once(asked(tmp_path_factory.mktemp("real"), None, None), NOON)
    return kept[0]


def later(monkeypatch: pytest.MonkeyPatch, done: Done, hours: float = 0.0, shift: float = 0.0) -> None:
    """From now on a run gives `done`, its actions moved by `shift` hours."""
    plan = done.answer.plan
    assert plan is not None
    by = timedelta(hours=shift)
    deeds = tuple(replace(d, start=d.start + by, end=d.end + by) for d in plan.best.deeds)
    told = replace(plan, best=replace(plan.best, deeds=deeds))
    answer = replace(done.answer, plan=told, now=NOON + timedelta(hours=hours))
    monkeypatch.setattr(run, "tonight", lambda *args, **words: replace(done, answer=answer))


def test_a_real_run_mails_and_posts_the_plan_once(tmp_path: Path, mail: Kept, web: Kept) -> None:
    order = asked(tmp_path, mail, web)
    text = run.once(order, NOON)
    assert text.startswith("Lay the quilt: start by")
    sent = ["Sent: e-mail to crew@example.org, plant@example.org.", "Sent: webhook at 127.0.0.1."]
    assert text.splitlines()[1:] == sent
    ((_, people, raw),) = mail
    assert people == ["crew@example.org", "plant@example.org"]
    letter = email.message_from_bytes(raw, policy=email.policy.default)
    assert letter["Subject"] == "Small ground: plan for the night"
    body = letter.get_body(("plain",))
    assert body is not None
    assert text.splitlines()[0] in body.get_content().replace("\r\n", "\n")
    (calendar,) = letter.iter_attachments()
    assert calendar.get_content_type() == "text/calendar"
    ((path, headers, posted),) = web
    assert path == "/key-123"
    assert headers["Content-Type"].startswith("application/json")
    document = json.loads(posted)
    assert [action["action"] for action in document["actions"]] == ["lay", "lift"]
    assert (document["why"], document["made"]) == ("first", "2026-01-27T17:00:00Z")
    # half an hour later the plan is carried on: kept in the log, and nobody is told again
    again = run.once(order, NOON + timedelta(minutes=30))
    assert "Sent" not in again
    assert (len(mail), len(web)) == (1, 1)
    with Store(tmp_path / "out" / "fieldlog.db") as store:
        assert store.count("advice") == 2


def test_changed_advice_is_told_and_a_day_without_change_once(
    tmp_path: Path, mail: Kept, web: Kept, done: Done, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = asked(tmp_path, mail, web)
    heads = []
    # hours after noon, hours by which the plan is moved: first, same, changed, same, next morning, next noon, again
    for hours, shift in ((0, 0), (0.4, 0), (0.5, 0.5), (1, 0.5), (20, 0.5), (24, 0.5), (24.5, 0.5)):
        later(monkeypatch, done, hours, shift)
        run.once(order, NOON + timedelta(hours=hours))
        heads.append(json.loads(web[-1][2])["why"] + str(len(mail)))
    # by 8 the next morning the quilt lies as advised, no change; it is lifted at 10:00, done by noon
    assert heads == ["first1", "first1", "changed2", "changed2", "changed2", "daily3", "daily3"]


def test_a_rehearsal_shows_all_of_it_and_sends_nothing(
    tmp_path: Path, mail: Kept, web: Kept, done: Done, monkeypatch: pytest.MonkeyPatch
) -> None:
    later(monkeypatch, done)
    text = run.once(asked(tmp_path, mail, web, dry_run=True), NOON)
    for words in (
        "To: crew@example.org, plant@example.org",
        "Subject: Small ground",
        '"why": "first"',
        "Would post to",
    ):
        assert words in text
    assert "key-123" not in text
    assert not mail
    assert not web
    assert not (tmp_path / "out" / run.SENT_FILE).exists()


def test_nothing_is_sent_without_the_table(tmp_path: Path, done: Done, monkeypatch: pytest.MonkeyPatch) -> None:
    later(monkeypatch, done)
    assert "Sent" not in run.once(asked(tmp_path, None, None), NOON)
    assert "no [notify]" in run.once(asked(tmp_path, None, None, dry_run=True), NOON)


def test_what_was_not_taken_is_said_and_sent_the_next_time(
    tmp_path: Path, mail: Kept, web: Kept, done: Done, monkeypatch: pytest.MonkeyPatch
) -> None:
    later(monkeypatch, done)
    mail.refuses = web.refuses = True
    order = asked(tmp_path, mail, web)
    with pytest.raises(InputError) as caught:
        run.once(order, NOON)
    assert "answered 451" in str(caught.value)
    assert "answered 503" in str(caught.value)
    assert "key-123" not in str(caught.value)
    mail.refuses = False
    with pytest.raises(InputError, match="answered 503"):
        run.once(order, NOON)
    web.refuses = False
    run.once(order, NOON)
    assert (len(mail), len(web)) == (1, 1)  # each once, though they were tried together three times


def test_a_run_without_an_answer_is_told_once(tmp_path: Path, mail: Kept, web: Kept) -> None:
    order = asked(tmp_path, mail, web)
    for minutes in (0, 30):
        with pytest.raises(InputError) as caught:
            run.once(order, datetime(2026, 3, 1) + timedelta(minutes=minutes))  # the demo's forecast ends in January
        assert caught.value.exit_code == 3
    assert len(mail) == 1
    assert json.loads(web[0][2])["why"] == "failed"


def test_it_keeps_going_through_a_failure_at_the_stated_pace(
    tmp_path: Path, done: Done, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = asked(tmp_path, None, None)
    moment, said, waits = NOON, list[str](), list[float]()

    def tick() -> datetime:
        nonlocal moment
        moment += timedelta(seconds=40)
        return moment

    calls = iter([True, False, True])

    def tonight(*args: Any, **words: Any) -> Done:
        if not next(calls):
            raise InputError("weather", [])
        return done

    monkeypatch.setattr(run, "tonight", tonight)
    run.every(order, 1800.0, said.append, clock=tick, wait=waits.append, rounds=3)
    assert len(said) == 3
    assert "Lay the quilt" in said[0]
    assert waits == [1760.0, 1760.0]


@pytest.mark.parametrize("text", ["soon", "1min", "2d", "-30min", "30 metres"])
def test_a_pace_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="5min to 24h"):
        run.period(text)


def test_paces() -> None:
    assert (run.period("30min"), run.period("1 h"), run.period("45")) == (1800.0, 3600.0, 2700.0)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('email = ["nobody"]', "'nobody' is no e-mail address"),
        ('email = ["a@b"]', "email needs sender"),
        ('email = ["a@b"]\nsender = "c@d"\nserver = "mail"', "email needs sender"),
        ('password = "secret"', "password is not a setting"),
        ("heartbeat = 25", "0..24"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused(table: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        load.text(f"{SMALL}\n[notify]\n{table}\n")


@pytest.mark.parametrize(
    ("address", "words"), [("", "is not set"), ("http://example.org/x", "https"), ("ftp://x", "https")]
)
def test_a_webhook_is_posted_to_encrypted_addresses_only(address: str, words: str) -> None:
    letter = notify.Letter("head", "body", {})
    order = load.text(f"{SMALL}\n[notify]\nwebhook = true\n").notify
    assert order is not None
    with pytest.raises(InputError, match=words):
        notify.send("webhook", order, letter, {notify.WEBHOOK: address})


def test_a_password_is_not_sent_in_the_clear(mail: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    order = load.text(SMALL + NOTIFY.format(mail=mail.port).replace("webhook = true", "")).notify
    assert order is not None
    monkeypatch.setattr(notify, "LOOPBACK", ())
    with pytest.raises(InputError, match="not sent in the clear"):
        notify.send("email", order, notify.Letter("head", "body", {}), {notify.USER: "me", notify.PASSWORD: "secret"})
    assert not mail


def test_what_is_over_or_under_way_is_no_change() -> None:
    lay = ["lay", "quilt", "2026-01-27T18:00:00", "2026-01-27T19:00:00"]
    heat = ["heat", "pipes", "2026-01-27T15:00:00", "2026-01-28T02:00:00"]
    at = datetime(2026, 1, 27, 20)
    assert not notify.changed([lay, heat], [heat], at)
    assert not notify.changed([heat], [["heat", "pipes", "2026-01-27T20:00:00", "2026-01-28T02:00:00"]], at)
    assert notify.changed([heat], [["heat", "pipes", "2026-01-27T15:00:00", "2026-01-28T05:00:00"]], at)
    assert notify.changed([lay], [], datetime(2026, 1, 27, 18, 30))
    assert notify.changed([["within"]], [["outside"]], at)


def test_advice_in_a_form_of_another_version_is_said_not_passed_over(tmp_path: Path) -> None:
    order = asked(tmp_path, None, None)
    run.once(order, NOON)
    with Store(order.folder / "fieldlog.db") as store:
        key = str(store.rows("advice")[0]["event"])
    (tmp_path / "other").mkdir()
    with Store(tmp_path / "other" / "fieldlog.db") as store:
        source = store.source("old", b"old", np.datetime64("2026-01-27T16:00", "s"), "")
        old = json.dumps({"spells": [["quilt", 12, 30]], "heat": []})  # as advice was kept before it had a format
        store.add_advice(
            np.datetime64("2026-01-27T16:00", "s"), np.datetime64("2026-01-27T16:00", "s"), key, old, 0.1, source
        )
    words: dict[str, Any] = {"past": DEMO / "past.csv", "out": tmp_path / "other", "now": NOON, "advice": True}
    text = " ".join(run.tonight(order.venue, DEMO / "forecast.csv", **words).text.split())
    assert "Advice was given before, in a form of another version" in text
    text = " ".join(run.tonight(order.venue, DEMO / "forecast.csv", **words).text.split())
    assert "form of another version" not in text  # from now on there is one that can be read
