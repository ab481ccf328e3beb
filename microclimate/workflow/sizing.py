"""`microclimate sizing`: venue, climates and a grid of options in, what each option brings and costs out."""

import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from microclimate.errors import InputError, Problem, refuse
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.report import words_sizing
from microclimate.schema import Event
from microclimate.sizing import calendar, tasks, winter_run, winters
from microclimate.sizing import options as opt
from microclimate.sizing.reduced import Reduced, equipped, reduced
from microclimate.venue import load
from microclimate.venue.load import Venue
from microclimate.workflow import files, sizing_told, warm

RARITY = 10.0  # years; ours
TASKS = "winters"  # folder of finished tasks


@dataclass(frozen=True)
class Question:
    """What a planner asks, beside venue and climates."""

    events: Path | None = None
    season: str = ""  # "11-01/02-28"
    target: str = ""  # "0.9" or "90 %"; the venue's tolerated chance otherwise
    rarity: float = RARITY
    grid: opt.Asked = field(default_factory=opt.Asked)
    large: bool = False  # run whatever it takes
    out: Path | None = None
    where: tasks.Where = field(default_factory=tasks.Where)


@dataclass(frozen=True)
class Case:
    """One climate, ready to run."""

    climate: winters.Climate
    site: Reduced
    events: tuple[Event, ...]
    shifts: tuple[int, ...]

    def jobs(self, venue: Venue, grid: opt.Grid) -> list[winter_run.Job]:
        """One for each winter."""
        return [
            winter_run.Job(venue, winters.of_winter(self.climate, number), grid, self.events, self.shifts)
            for number in range(len(self.climate.winters))
        ]


def sizing(
    venue_path: Path,
    climates: Sequence[Path],
    question: Question,
    *,
    say: Callable[[str], None] = lambda text: None,
    progress: tasks.Progress = lambda done, count, left: None,
) -> str:
    """What each option of the grid brings and costs over the winters of each climate.

    Raises
    ------
    InputError
        Everything that has to be mended in venue, climates, events and options.
    """
    venue, _ = equipped(files.described(venue_path))
    planned = not files.described(venue_path).equipment.circuits
    target = _target(question.target, venue)
    tasks.check(question.where)
    grid = opt.grid(question.grid, venue)
    say("Reading the climates ...")
    cases, given = _cases(venue, venue_path, climates, question, say)
    _bearable(grid, cases, question.large)
    jobs = [case.jobs(venue, grid) for case in cases]
    say("Running the winters ...")
    with _folder(question.out) as folder:
        parts = iter(tasks.run([job for some in jobs for job in some], folder, question.where, progress))
        results = [[next(parts) for _ in some] for some in jobs]
    say("Looking at the coldest spells ...")
    told = [
        sizing_told.climate(case.climate, case.site, grid, some, these, target)
        for case, some, these in zip(cases, jobs, results, strict=True)
    ]
    sized = sizing_told.sized(
        venue, [(case.site, case.events, case.shifts) for case in cases], told, grid, target, planned, given
    )
    text = words_sizing.text(sized)
    if question.out is not None:
        text += sizing_told.written(sized, question.out)
    return text


@contextmanager
def _folder(out: Path | None) -> Iterator[Path]:
    """Where finished tasks are kept: beside the report, or for the time of the run."""
    if out is not None:
        files.folder(out / TASKS)
        yield out / TASKS
        return
    with tempfile.TemporaryDirectory(prefix="microclimate-") as name:
        yield Path(name)


def _cases(
    venue: Venue, venue_path: Path, paths: Sequence[Path], question: Question, say: Callable[[str], None]
) -> tuple[list[Case], bool]:
    """Every climate with its events; all faults of all of them at once."""
    here = venue.site.site
    asked = venue.events if question.events is None else load.events(question.events, here.time_zone)
    season = _season(question.season, here.latitude)
    year = calendar.year_of(asked, season, here)
    problems: list[Problem] = []
    found: list[winters.Climate] = []
    if not paths:
        raise refuse("--climate", "no file", "a typical year (TMY3, EPW) or a long hourly record (CSV, NetCDF)")
    for path in paths:
        try:
            found.append(winters.climate(path, here, season, year, question.rarity))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError("climates", problems)
    say("Working out what the stands hide (kept for the next run) ...")
    warm.up(venue_path)
    bowl = build_bowl(venue)
    events = asked or calendar.weekly(season, here)
    cases = []
    for climate in found:
        placed = calendar.placed(events, season, year if asked else calendar.USUAL_YEAR, here, climate.site)
        site = reduced(venue, bowl, climate)
        cases.append(Case(climate, site, placed, calendar.shifts(len(climate.winters))))
    return cases, bool(asked)


def _season(text: str, latitude: float) -> winters.Season:
    """The season of "11-01/02-28"."""
    if not text.strip():
        return winters.usual(latitude)
    wanted = "first and last day, such as 11-01/02-28"
    try:
        first, last = (date.fromisoformat(f"2025-{part.strip()}") for part in text.split("/"))
    except ValueError:
        raise refuse("--season", repr(text), wanted) from None
    days = (last - first).days + 1
    if days <= 0:
        days += winters.YEAR
    if not 7 <= days <= 300:
        raise refuse("--season", f"{days} days", "7 to 300 days")
    return winters.Season((first.month, first.day), days)


def _target(text: str, venue: Venue) -> float:
    """Share of event windows to hold."""
    if not text.strip():
        return 1.0 - venue.limits.tolerated_chance
    bare = text.strip().removesuffix("%").strip()
    try:
        value = float(bare.replace(",", "."))
    except ValueError:
        raise refuse("--target", repr(text), "a share such as 90 %") from None
    share = value / 100.0 if "%" in text or value > 1.0 else value
    if not 0.05 <= share <= 0.999:
        raise refuse("--target", repr(text), "5 % to 99.9 %")
    return share


def _bearable(grid: opt.Grid, cases: Sequence[Case], large: bool) -> None:
    """Refuses what would take long, with what it would take."""
    threads = os.cpu_count() or 1
    minutes, size, count = 0.0, 0.0, 0
    for case in cases:
        steps = int(case.climate.weather.sizes["time"] * 3600 / winter_run.STEP)
        columns = case.site.patches.sizes["patch"]
        guess = opt.estimate(grid, columns, steps, len(case.climate.winters), len(case.shifts), threads)
        minutes, size = minutes + guess.minutes, max(size, guess.bytes)
        count += len(case.climate.winters)
    if minutes > opt.MOST_MINUTES and not large:
        raise refuse(
            "options",
            f"{len(grid.options)} options over {count} winters take about {minutes:.0f} min on {threads} threads and "
            f"{size / 1e9:.1f} GB for each process",
            f"at most {opt.MOST_MINUTES:.0f} min",
            "give fewer powers, depths, leads or policies, or --no-covers; or say --yes",
        )
