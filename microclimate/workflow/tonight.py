"""`microclimate tonight`: venue and forecast in, the manager's answer out."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from microclimate.actions import plan as plans
from microclimate.errors import InputError, Problem, refuse
from microclimate.exposure import force, patches
from microclimate.exposure.bowl import Bowl
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.fieldlog import readings as spots
from microclimate.report import briefing, calendar, message, screen, words_plan, words_work
from microclimate.report.answer import Answer, Limit, Start
from microclimate.report.worked import Worked
from microclimate.risk import missed, outlook
from microclimate.schema import Event, SurfaceState
from microclimate.simulate import run, start, start_file
from microclimate.venue import load
from microclimate.venue.load import Venue
from microclimate.weather import complete, ensemble, read
from microclimate.weather.visit import Visit
from microclimate.workflow import (
    advise,
    bowl_facts,
    files,
    forecast,
    pictures,
    reasons,
    record,
    warm,
    watering,
    windows,
)
from microclimate.workflow import members as nightly
from microclimate.workflow import work as working

MEMBERS = 31
BEFORE = timedelta(
    hours=6
)  # a night is looked back at from here, where the weather does not say when it was made; ours
STATE_FILE = "state.nc"
ACTIONS_FILE = "actions.ics"
WORK_FILE = "work.csv"


@dataclass(frozen=True)
class Done:
    """What a run printed and found."""

    text: str
    act: bool  # a zone's chance of the limit's state is above what the manager tolerates
    message: str  # for a phone; empty where no plan was asked for
    answer: Answer
    outcome: xr.Dataset


@dataclass(frozen=True)
class Run:
    """Everything that was worked out on the way to an answer."""

    venue: Venue
    weather: xr.Dataset
    whole: xr.Dataset  # the same to its end
    source: str  # name of its file, or what it was in place of one
    bowl: Bowl
    patches: xr.Dataset
    forcing: force.Forcing
    initial: xr.Dataset
    plan: xr.Dataset
    windows: tuple[Event, ...]
    outcome: xr.Dataset
    canopy: xr.Dataset
    risk: xr.Dataset
    missed: missed.Missed | None  # what was laid on the outcome before its chances were counted
    water: watering.Asked | None


def tonight(
    venue_path: Path,
    weather_path: Path | None,
    *,
    source: str | None = None,
    by_hand: forecast.Typed | None = None,
    events: Sequence[str] = (),
    listed: Path | None = None,
    night: str | None = None,
    readings: Sequence[str] = (),
    past: Path | None = None,
    out: Path | None = None,
    now: datetime | None = None,
    advice: bool = False,
    work: bool = False,
    water: str | None = None,
    visit: Visit | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> Done:
    """Chance of freezing in one night and in the events within the forecast's reach.

    Parameters
    ----------
    venue_path, weather_path : Path
    source, by_hand : optional
        In place of the file: a service, or a night typed by hand (`workflow.forecast`).
    events : sequence of str
        "START/END" in local time, beside those of the venue.
    listed : Path, optional
        A calendar file of further ones.
    night : str, optional
        Date of the evening; without it the coming night.
    readings : sequence of str
        Spot readings in one line each, or CSV files of them.
    past : Path, optional
        Weather of the last 10 to 30 days.
    out : Path, optional
        Folder for `briefing.html`, `states.nc` and `state.nc`.
    now : datetime, optional
        Naive UTC; without it the clock.
    advice : bool
        Search for a plan as well; with `out` also `actions.ics` and a line in the folder's field log.
    work : bool
        Tell the hours of work on the field in the next three days too; with `out` also `work.csv`.
    water : str, optional
        Water to try, "4 mm, 15:00": amount, local hour on the evening's date, and its temperature if known.
    visit : Visit, optional
        How services are asked.
    say : callable
        Told of progress.

    Raises
    ------
    InputError
        Everything that has to be mended in the input; WeatherTooOld when the forecast does not reach the night.
    """
    now = now or datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    ways = {"path": weather_path, "source": source, "by_hand": by_hand, "visit": visit}
    done = work_out(venue_path, ways, (events, listed), night, readings, past, out, now, say, water)
    if (
        done.windows[0].end < now
    ):  # a night that is over is told as it looked when the forecast was issued, or before it
        now = _issued(done.weather) or max(_reach(done.weather)[0], done.windows[0].start - BEFORE)
    chosen = pictures.middle(done.outcome)
    given = (done.forcing, done.initial, done.plan)
    states = pictures.states(*given, done.windows, chosen)
    answer = told(done, states, pictures.cells(*given, done.windows[0], chosen), now, chosen)
    if out is not None:
        files.folder(out)
    log = _log(venue_path, out)
    lowest = done.outcome["canopy_temperature_min"].isel(plan=0).transpose("realization", "patch", "event").values
    answer = replace(answer, record=record.lines(done.venue, answer, done.missed, lowest, log))
    if log is not None:
        kept = done.outcome.isel(plan=0)
        kept = kept if done.missed is None else missed.corrected(kept, done.missed)
        record.keep(log, kept, done.weather, done.windows, now)
    if advice:
        say("Trying out plans ...")
        log = log or (None if out is None else out / advise.LOG)
        plan = advise.planned(done.venue, done.forcing, done.initial, done.windows, now, issued=answer.issued, log=log)
        answer = replace(answer, plan=plan, advice=words_plan.advice(answer, plan))
    if work:
        say("Looking for hours of work ...")
        answer = replace(answer, work=_work(done, now))
    if done.water is not None:
        ground = done.forcing, done.initial, done.windows
        answer = replace(answer, watered=watering.tried(done.venue, *ground, done.water, chosen))
    text = screen.text(answer)
    if out is not None:
        briefing.write(answer, out / "briefing.html")
        files.write_results(states, done.outcome, done.risk, out / "states.nc")
        start_file.save(done.initial, done.weather["time"].values[0], out / STATE_FILE)
        text += f"\nBriefing: {out / 'briefing.html'}\nStates: {out / 'states.nc'}\n"
        if answer.plan is not None:
            text += f"Calendar: {calendar.write(answer, answer.plan, out / ACTIONS_FILE)}\n"
        if answer.work is not None:
            files.write_text(words_work.csv_of(answer.work, answer.shown), out / WORK_FILE)
            text += f"Work: {out / WORK_FILE}\n"
    short = "" if answer.plan is None else message.message(answer, answer.plan)
    return Done(text, _act(answer), short, answer, done.outcome)


def work_out(
    venue_path: Path,
    ways: Mapping[str, Any],
    events: tuple[Sequence[str], Path | None],
    night: str | None,
    readings: Sequence[str],
    past: Path | None,
    out: Path | None,
    now: datetime,
    say: Callable[[str], None],
    water: str | None = None,
) -> Run:
    """All stages up to the chances; `ways` as `forecast.given` takes them, `events` typed and in a calendar file.

    What cannot be tried of `water` is refused before anything runs.
    """
    venue = files.described(venue_path)
    venue = venue if events[1] is None else load.with_calendar(venue, events[1])
    site = venue.site.site
    day = windows.evening(night) if night else windows.coming_night(now, site.time_zone)
    asked = [windows.event(text, site.time_zone, number) for number, text in enumerate(events[0])]
    coming = day == windows.coming_night(now, site.time_zone)
    since = now if coming else windows.midnight(day, site.time_zone)
    uses = windows.one_at_a_time(asked, venue.events, since)
    got = forecast.given(venue.site, venue_path.parent, day, now, **ways)
    for note in got.notes:
        say(note[0].upper() + note[1:])
    dark = windows.night(site, day, "tonight" if coming else f"night of {day.day} {day:%b}")
    seed = _seed(venue, dark)
    weather = nightly.members(got.weathers, venue, MEMBERS, seed)
    asleep = nightly.Night(windows.stamp(dark.start), windows.stamp(dark.end), windows.stamp(now))
    # for the coming night a forecast cannot be made after now; a night that is named may lie at any time
    ensemble.covers(weather, asleep.start, asleep.end, now=None if night else asleep.now)
    begin, end = _reach(weather)
    for event in asked:
        ensemble.covers(weather, windows.stamp(event.start), windows.stamp(event.end))
    later = windows.in_reach(uses, begin, end, since)
    spans = (dark, *later)
    tried = None if water is None else watering.asked(water, day, site.time_zone, begin, spans)
    whole = nightly.corrected(weather, venue, files.log(venue_path, None), got.paths, asleep)
    spoken = _readings(readings, venue, min(max(begin + timedelta(hours=12), now), dark.end))

    say("Working out what the stands hide (kept for the next run) ...")
    warm.up(venue_path)
    bowl = build_bowl(venue)
    sun = patches.morning_sun(bowl, site.latitude, site.longitude, dark.end.date())
    joined = patches.patches(venue.field.zones, bowl, sun)
    whole = nightly.pulled(whole, venue, bowl, joined, spoken)
    members = _until(whole, windows.stamp(max(span.end for span in spans)))
    forcing = force.forcing(venue, members, bowl, joined)
    lived, past = None, past or got.observed
    if past is not None:
        before = complete.weather(read.weather(past, site), site).isel(realization=slice(0, 1))
        lived = forcing.again(before)
    saved = None if out is None or not (out / STATE_FILE).exists() else start_file.load(out / STATE_FILE)

    say("Running the ground through the night ...")
    count = members.sizes["realization"]
    first = forcing.again(members.isel(realization=slice(0, 1))) if spoken else None
    initial = start.states(
        venue, joined, count, np.datetime64(begin, "ns"), readings=spoken, past=lived, saved=saved, ahead=first
    )
    plan = plans.nothing(venue, windows.stamp(begin), windows.stamp(end))
    outcome, canopy = run.outcome(venue, forcing, initial, plan, spans, states="canopy")
    assert canopy is not None
    laid = record.missed(venue, members, spans)
    risk = outlook.assess(outcome, missed=laid)
    return Run(
        venue, members, whole, got.name, bowl, joined, forcing, initial, plan, spans, outcome, canopy, risk, laid, tried
    )


def _work(done: Run, now: datetime) -> Worked:
    """The hours of work of the next three days, under the forecast to its own end."""
    further = done.forcing.again(_until(done.whole, windows.stamp(now + working.AHEAD)))
    return working.worked(done.venue, further, done.initial, windows.stamp(now))


def _log(venue_path: Path, out: Path | None) -> Path | None:
    """The field log where there is one: beside the venue, else in the folder that is written to."""
    found = [files.log(venue_path, None), *([] if out is None else [out / advise.LOG])]
    return next((path for path in found if path.exists()), None)


def told(done: Run, states: xr.Dataset, cells: xr.Dataset, now: datetime, chosen: int) -> Answer:
    """The run as the reader gets it; `states` and `cells` are of its middle realization, `chosen`."""
    coldest = _coldest(done.risk)
    lowest = done.outcome["canopy_temperature_min"].isel(plan=0, event=0)
    return Answer(
        venue=done.venue.name,
        shown=done.venue.shown,
        now=now,
        issued=_issued(done.weather),
        source=done.source,
        members=done.weather.sizes["realization"],
        windows=done.windows,
        risk=done.risk,
        outlines={zone.name: zone.polygon for zone in done.venue.field.zones},
        curves=pictures.curves(done.canopy),
        sky=pictures.sky(done.weather, done.venue.site.roughness_length),
        cells=cells,
        section=pictures.section(states, coldest),
        start=_start(done.initial, lowest.min("patch").values),
        reasons=reasons.facts(done.venue, done.weather, done.windows[0], done.risk, done.initial, done.bowl, coldest)
        + bowl_facts.facts(
            done.forcing, done.outcome, done.risk, states, done.initial, done.plan, done.windows[0], coldest, chosen
        ),
        assumed=tuple(code for code in done.forcing.assumed.split("\n") if code),
        equipment=_equipment(done.venue),
        limit=Limit(SurfaceState.WHITE_FROST, done.venue.limits.tolerated_chance),
    )


def _reach(weather: xr.Dataset) -> tuple[datetime, datetime]:
    """First and last moment that can be run (the stamps of a series are points of its temperature), naive UTC."""
    first, last = weather["time"].values[[0, -1]]
    return first.astype("datetime64[us]").item(), last.astype("datetime64[us]").item()


def _until(weather: xr.Dataset, end: np.datetime64) -> xr.Dataset:
    """The weather up to and with the interval that holds `end`."""
    last = int(np.searchsorted(weather["time"].values, end)) + 1
    return weather.isel(time=slice(0, last))


def _seed(venue: Venue, dark: Event) -> int:
    """One seed for one venue and night, so that a newer forecast does not reshuffle the members."""
    return int(venue.digest("site")[:8], 16) ^ dark.start.toordinal()


def _readings(given: Sequence[str], venue: Venue, latest: datetime) -> tuple[spots.Spot, ...]:
    names = [zone.name for zone in venue.field.zones]
    before = np.datetime64(latest, "ns")
    found: list[spots.Spot] = []
    problems: list[Problem] = []
    for text in given:
        try:
            if text.lower().endswith(".csv"):
                found += spots.table(Path(text), venue.site.time_zone, before=before, zones=names)
            else:
                found.append(spots.spot(text, venue.site.time_zone, before=before, zones=names))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError("readings", problems)
    return tuple(found)


def _coldest(risk: xr.Dataset) -> str:
    lowest = risk["canopy_temperature_worst"].isel(event=0).sel(quantile=0.5).values
    if np.isnan(lowest).all():
        raise refuse("weather", "has gaps through the night in most of its members", "a series without long gaps")
    return str(risk["zone"].values[np.nanargmin(lowest)])


def _issued(weather: xr.Dataset) -> datetime | None:
    text = str(weather.attrs.get("issued", ""))
    return datetime.fromisoformat(text.removesuffix("Z")).replace(tzinfo=None) if text else None


def _start(initial: xr.Dataset, lowest: np.ndarray) -> Start:
    attrs = initial.attrs
    facts: dict[str, float | str | datetime] = {"spread": float(attrs["start_spread"])}
    for name, key in (("start_count", "count"), ("start_days", "days")):
        if name in attrs:
            facts[key] = float(attrs[name])
    if attrs.get("start_when"):
        facts["when"] = datetime.fromisoformat(str(attrs["start_when"]).removesuffix("Z"))
    return Start(attrs["start_source"], start.share(initial, lowest), facts)


def _equipment(venue: Venue) -> frozenset[str]:
    has = set()
    kinds = {cover.kind for cover in venue.equipment.covers}
    has |= {"covers"} if kinds else set()
    has |= {"insulated covers"} if "insulated" in kinds else set()
    has |= {"inflated covers"} if "raised" in kinds else set()
    for circuit in venue.equipment.circuits:
        has |= {{"hydronic": "hot water", "cable": "cables", "warm air": "warm air"}[circuit.kind]}
        has |= {"glycol"} if circuit.kind == "hydronic" else set()
    if venue.equipment.plant is not None and venue.equipment.plant.kind in ("gas", "oil"):
        has.add("fuel")
    if any(zone.base.over_air for zone in venue.field.zones):
        has.add("trays")
    if any(stand.roof is not None for stand in venue.bowl.stands) or any(m.roofed for m in venue.bowl.meshes):
        has.add("roofs")
    return frozenset(has)


def _act(answer: Answer) -> bool:
    if answer.limit is None:
        return False
    chance = answer.risk["probability_reached"].sel(state=int(answer.limit.state))
    return bool((chance > answer.limit.chance).any())
