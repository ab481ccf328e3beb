"""The words of the work windows: hours in which each job is within its limits, what the limits are, pipes and hoses."""

import itertools
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from microclimate.report.tables import Table, csv_text, time_head
from microclimate.report.words import chance, clock, day, day_clock, depth, local, measure, sentence
from microclimate.report.worked import Condition, Job, Worked
from microclimate.schema import REPORT_DEPTHS
from microclimate.units import Shown

HOUR = np.timedelta64(1, "h")
NONE = "none"
SHALLOW = REPORT_DEPTHS[0]


def title(told: Worked, shown: Shown) -> str:
    """What it is, and for which hours."""
    end = told.hours[-1] + HOUR
    return f"Work on the bare field, {day_clock(told.hours[0], shown)} to {day_clock(end, shown)}"


def caption(told: Worked) -> str:
    """How an hour is counted."""
    return (
        f"Hours in which at least {100 * told.wanted:.0f} % of the forecasts are within the limits of a job, all hour "
        "and all over the zone, with nothing laid and no heat."
    )


def spans(flags: NDArray[np.bool_], hours: NDArray[np.datetime64], shown: Shown) -> list[tuple[str, str]]:
    """(day, hours) of each run of hours that hold; a run ends at local midnight."""
    found = []
    kept = [hour for hour, flag in zip(hours, flags, strict=True) if flag]
    for _, run in itertools.groupby(
        enumerate(kept), lambda pair: (pair[1] - pair[0] * HOUR, local(pair[1], shown).date())
    ):
        one = [hour for _, hour in run]
        found.append((day(one[0], shown), f"{clock(one[0], shown)} to {clock(one[-1] + HOUR, shown)}"))
    return found


def days(told: Worked, shown: Shown) -> tuple[str, ...]:
    """Local days, in order."""
    return tuple(dict.fromkeys(day(hour, shown) for hour in told.hours))


def _cell(flags: NDArray[np.bool_], told: Worked, shown: Shown, date: str) -> str:
    """One job and day, (zone, hour), in order of time: where all zones hold, and where a part of the field does."""
    count = flags.sum(axis=0) * np.array([day(hour, shown) == date for hour in told.hours])
    whole = count == len(told.zones)
    words = []
    for full, run in itertools.groupby(np.flatnonzero(count), lambda place: bool(whole[place])):
        places = np.array(list(run))
        for part in np.split(places, np.flatnonzero(np.diff(places) > 1) + 1):
            hours = f"{clock(told.hours[part[0]], shown)} to {clock(told.hours[part[-1]] + HOUR, shown)}"
            words.append(hours if full else f"{hours} (up to {count[part].max()} of {len(told.zones)} zones)")
    return "; ".join(words) or NONE


def missing(told: Worked, shown: Shown) -> list[str]:
    """Of jobs without an hour, what is missing most often while the crew is there."""
    return [
        f"No hour for {job}: met least often is {_asked(told.scarce[job], shown)}."
        for k, job in enumerate(told.jobs)
        if not told.holds[k].any()
    ]


def table(told: Worked, shown: Shown) -> Table:
    """A row for each job, a column for each day."""
    dates = days(told, shown)
    rows = [
        (sentence(job)[:-1], *(_cell(told.holds[k], told, shown, date) for date in dates))
        for k, job in enumerate(told.jobs)
    ]
    return Table(caption(told), ("Job", *dates), tuple(rows))


def lines(told: Worked, shown: Shown) -> list[str]:
    """The same as sentences, for a narrow screen."""
    dates = days(told, shown)
    found = []
    for row in table(told, shown).rows:
        told_of = [f"{date} {cell}" for date, cell in zip(dates, row[1:], strict=True) if cell != NONE]
        found.append(sentence(f"{row[0]}: {'; '.join(told_of) or 'no hour'}"))
    return [*found, *missing(told, shown)]


def by_zone(told: Worked, shown: Shown) -> Table:
    """A row for each zone, a column for each job."""

    def cell(flags: NDArray[np.bool_]) -> str:
        return "; ".join(f"{name} {text}" for name, text in spans(flags, told.hours, shown)) or NONE

    rows = [(zone, *(cell(told.holds[k, z]) for k in range(len(told.jobs)))) for z, zone in enumerate(told.zones)]
    heads = ("Zone", *(sentence(job)[:-1] for job in told.jobs))
    return Table(f"{title(told, shown)}, zone by zone", heads, tuple(rows))


def limits(told: Worked, shown: Shown) -> list[str]:
    """What each job is held against, with the basis of each limit."""
    named: dict[Condition, list[Job]] = {}
    for job, conditions in told.jobs.items():
        for condition in conditions:
            named.setdefault(condition, []).append(job)
    found = []
    for condition, jobs in named.items():
        who = "all jobs" if len(jobs) == len(told.jobs) else ", ".join(jobs)
        basis = f" ({condition.basis})" if condition.basis else ""
        found.append(sentence(f"{who}: {_asked(condition, shown)}{basis}"))
    if "spraying" in told.jobs and not any(c.kind == "gust" for c in told.jobs["spraying"]):
        found.append("Spraying: no gust limit is set ([work] spraying_gust); the label's holds.")
    return found


def _asked(condition: Condition, shown: Shown) -> str:
    value = condition.value

    def size(kind: str) -> str:
        return "" if value is None else measure(value, kind, shown)

    root = f"root zone at {depth(SHALLOW, shown)}"
    return {
        "leaf": f"leaf above {size('temperature')}",
        "ground": f"{root} above {size('temperature')}",
        "dry": "leaf dry, without frost or snow on it",
        "air": f"air at least {size('temperature')}",
        "gust": f"gusts over the grass at most {size('speed')}",
        "vehicles": f"no wheels on a day whose {root} was at or below {size('temperature')}",
        "snow": f"at least {size('depth')} of snow lying",
        "light": "between sunrise and sunset",
        "crew": "within the crew's hours",
    }[condition.kind]


def pipes(told: Worked, shown: Shown) -> list[str]:
    """Hours below freezing in the bowl's air, and the reminder to drain what lies above ground."""
    cold = told.frost >= told.tolerated
    if not cold.any():
        return [
            "Pipes, hydrants and hoses above ground: no hour in which air in the bowl has a chance of "
            f"{chance(told.tolerated)} or more to be below freezing."
        ]
    found = []
    for first, last in _runs(cold):
        part = slice(first, last + 1)
        lowest, most = float(told.coldest[part].min()), float(told.frost[part].max())
        found.append(
            f"Air in the bowl may be below freezing {day_clock(told.hours[first], shown)} to "
            f"{day_clock(told.hours[last] + HOUR, shown)}, {last - first + 1} h; highest chance {chance(most)}, "
            f"middle forecast down to {measure(lowest, 'temperature', shown)}."
        )
    when = "now" if cold[0] else f"before {day_clock(told.hours[int(np.argmax(cold))], shown)}"
    found.append(f"Drain pipes, hydrants and hoses above ground, and keep backflow valves warm, {when}.")
    return found


def _runs(flags: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """First and last place of each run."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(int)))
    yield from ((int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True))


def csv_of(told: Worked, shown: Shown) -> str:
    """Every job, zone and hour."""
    heads = ("job", "zone", time_head("from", shown), "share of forecasts within the limits [1]", "counts")
    rows = (
        (job, zone, f"{local(hour, shown):%Y-%m-%d %H:%M%z}", f"{told.share[j, z, h]:.3f}", int(told.holds[j, z, h]))
        for j, job in enumerate(told.jobs)
        for z, zone in enumerate(told.zones)
        for h, hour in enumerate(told.hours)
    )
    return csv_text(heads, rows)
