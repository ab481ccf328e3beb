"""`microclimate run`: fetch or read, the night with its advice, log, notify; once for cron, or again and again."""

import os
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from microclimate import units
from microclimate.errors import InputError, Problem, refuse
from microclimate.report import words_notify
from microclimate.venue.load import Venue
from microclimate.workflow import files, notify
from microclimate.workflow.notify import Letter
from microclimate.workflow.tonight import ACTIONS_FILE, Done, tonight

SENT_FILE = "sent.json"
SHORTEST, LONGEST = 5 * 60.0, 24 * 3600.0  # [s] between two runs


@dataclass(frozen=True)
class Asked:
    """One standing order."""

    venue: Path
    weather: Path | None = None
    out: Path | None = None
    dry_run: bool = False
    further: Mapping[str, Any] | None = None  # of `tonight`: source, past, listed
    environment: Mapping[str, str] | None = None

    @property
    def folder(self) -> Path:
        """Where the files of each run go."""
        return self.venue.resolve().parent / "out" if self.out is None else self.out


def period(text: str) -> float:
    """Seconds between two runs.

    Raises
    ------
    InputError
        No time, or none between five minutes and a day.
    """
    try:
        seconds = units.quantity(text, "min")
    except ValueError:
        seconds = float("nan")
    if not SHORTEST <= seconds <= LONGEST:
        raise refuse(f"--every {text}", "is no such time", "5min to 24h, for example 30min")
    return seconds


def once(asked: Asked, now: datetime | None = None, say: Callable[[str], None] = lambda text: None) -> str:
    """One run: the answer in a few lines, files written, the advice kept, people told where that is due.

    Raises
    ------
    InputError
        What has to be mended, or a message that was not taken; the files are written all the same.
    """
    now = now or datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    venue = files.described(asked.venue)
    kit = venue.equipment
    advice = bool(kit.covers or kit.circuits or kit.skirts or kit.snow)
    try:
        further = asked.further or {}
        done = tonight(asked.venue, asked.weather, out=asked.folder, now=now, advice=advice, say=say, **further)
    except InputError as error:
        _tell_failure(asked, venue, error, now)
        raise
    short = words_notify.short(done.answer)
    told = _tell(asked, venue, done, short, now)
    return "\n".join([short, *told])


def every(
    asked: Asked,
    seconds: float,
    say: Callable[[str], None],
    *,
    clock: Callable[[], datetime] = lambda: datetime.now(UTC).replace(tzinfo=None, microsecond=0),
    wait: Callable[[float], None] = time.sleep,
    rounds: int | None = None,
) -> None:
    """Run after run, until it is stopped; one that comes to no answer is said and the next one tried.

    Parameters
    ----------
    asked : Asked
    seconds : float
        From the beginning of one run to that of the next.
    say : callable
        Gets what each run has to say.
    clock, wait, rounds
        Naive UTC now, how to pass the time, and after how many runs to stop.
    """
    done = 0
    while rounds is None or done < rounds:
        begun = clock()
        try:
            say(f"{begun:%Y-%m-%d %H:%M} UTC: {once(asked, begun)}")
        except InputError as error:
            say(f"{begun:%Y-%m-%d %H:%M} UTC: {error}")
        done += 1
        left = begun + timedelta(seconds=seconds) - clock()
        if rounds is None or done < rounds:
            wait(max(left.total_seconds(), 0.0))


def _tell(asked: Asked, venue: Venue, done: Done, short: str, now: datetime) -> list[str]:
    """Send what is due by each way, and say so."""
    answer = done.answer
    calendar = None if answer.plan is None else asked.folder / ACTIONS_FILE
    text = words_notify.body(answer, short)

    def letter(why: str) -> Letter:
        return Letter(words_notify.head(answer, why), text, words_notify.document(answer, short, why), calendar)

    return _deliver(asked, venue, letter, notify.signature(answer.plan, done.act), now)


def _tell_failure(asked: Asked, venue: Venue, error: InputError, now: datetime) -> None:
    """Say once that there is no answer; where that fails too the error itself is told all the same."""
    machine = {
        "venue": venue.name,
        "made": f"{now.isoformat()}Z",
        "why": "failed",
        "message": str(error),
        "actions": [],
    }
    head = f"{venue.name}: {words_notify.HEADS['failed']}"
    with suppress(InputError):
        _deliver(
            asked,
            venue,
            lambda why: Letter(head, words_notify.failed(venue.name, str(error)), machine),
            [["failed"]],
            now,
        )


def _deliver(
    asked: Asked, venue: Venue, letter: Callable[[str], Letter], new: notify.Signature, now: datetime
) -> list[str]:
    """What was sent or would be, a line for each.

    Raises
    ------
    InputError
        Each way that did not work; the others were tried, and are not tried again.
    """
    order, zone = venue.notify, venue.site.time_zone
    environment = os.environ if asked.environment is None else asked.environment
    if order is None or not notify.ways(order):
        return ["Nobody is told: the venue has no [notify]."] if asked.dry_run else []
    files.folder(asked.folder)
    path = asked.folder / SENT_FILE
    sent, said, problems = notify.read(path), list[str](), list[Problem]()
    for way in notify.ways(order):
        why = notify.why(sent.get(way), new, order, now, zone)
        if not why:
            said += [f"Nothing by {way}: the advice is as it was."] if asked.dry_run else []
        elif asked.dry_run:
            said.append(notify.rehearsed(way, order, letter(why), environment))
        else:
            try:
                said.append(f"Sent: {notify.send(way, order, letter(why), environment)}.")
                sent[way] = notify.Sent(new, notify.local_day(now, zone))
                notify.write(path, sent)
            except InputError as error:
                problems += error.problems
    if problems:
        raise InputError("notify", problems)
    return said
