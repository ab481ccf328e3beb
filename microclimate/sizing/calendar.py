"""Events of a season: those a file or the venue names, or a stated guess, set on the season all winters are laid on."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from microclimate.errors import InputError, Problem
from microclimate.schema import Event, Site
from microclimate.sizing.winters import Season
from microclimate.venue.events import utc

USUAL_YEAR = 2025  # the season begins in it where no event tells another year
WEEKLY = (19, 21, 30)  # Saturdays, local: from hour, to hour and minute, where no event is given; ours
FEW, SOME = 3, 10  # winters: fewer are helped by moving the calendar; ours
# days by which events are moved to be tried again: no sevens, so that weekly events do not fall on each other
SHIFTS = {1: (-10, -5, 0, 5, 10), FEW: (-5, 0, 5), SOME: (0,)}


def shifts(winters: int) -> tuple[int, ...]:
    """Moves of the calendar [d]: more where there are fewer winters."""
    return SHIFTS[max(least for least in SHIFTS if least <= winters)]


def year_of(events: Sequence[Event], season: Season, site: Site) -> int:
    """In which the season of the events begins."""
    if not events:
        return USUAL_YEAR
    first = min(_local(event.start, site) for event in events).date()
    return first.year if first >= season.begin(first.year) - timedelta(days=1) else first.year - 1


def weekly(season: Season, site: Site) -> tuple[Event, ...]:
    """A match each Saturday evening of the season, local."""
    begin = season.begin(USUAL_YEAR)
    days = [begin + timedelta(days=n) for n in range(1, season.days - 1)]
    return tuple(_evening(day, site) for day in days if day.weekday() == 5)


def _evening(day: date, site: Site) -> Event:
    start = datetime(day.year, day.month, day.day, WEEKLY[0])
    end = start.replace(hour=WEEKLY[1], minute=WEEKLY[2])
    return Event(f"{day:%d %b}", utc(start, site.time_zone), utc(end, site.time_zone))


def placed(events: Sequence[Event], season: Season, year: int, here: Site, there: Site) -> tuple[Event, ...]:
    """Events at the same local clock of the climate's place, in order of time.

    Raises
    ------
    InputError
        Events that lie outside the season, all of them.
    """
    first = season.begin(year)
    last = first + timedelta(days=season.days - 1)
    problems, found = [], []
    for event in events:
        start, end = _local(event.start, here), _local(event.end, here)
        if not first <= start.date() or not end.date() < last:
            problems.append(
                Problem(
                    f"event {event.name}",
                    f"{start:%Y-%m-%d} lies outside the season",
                    f"{first} to {last - timedelta(days=1)}",
                    "give --season FIRST/LAST, or leave the event out",
                )
            )
            continue
        found.append(Event(event.name, _utc(start, there), _utc(end, there), event.kind))
    if problems:
        raise InputError("events", problems)
    return tuple(sorted(found, key=lambda event: event.start))


def _local(moment: datetime, site: Site) -> datetime:
    return moment.replace(tzinfo=UTC).astimezone(ZoneInfo(site.time_zone)).replace(tzinfo=None)


def _utc(local: datetime, site: Site) -> datetime:
    return local.replace(tzinfo=ZoneInfo(site.time_zone)).astimezone(UTC).replace(tzinfo=None)
