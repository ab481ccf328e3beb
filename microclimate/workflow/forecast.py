"""Where a run's weather comes from: a file, a service, or a low and a high typed by hand; and `microclimate fetch`."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import xarray as xr

from microclimate.errors import InputError, Problem, WeatherTooOld, refuse
from microclimate.venue import load
from microclimate.venue.site import Site as Place
from microclimate.weather import assumed, complete, fetch, read, typed
from microclimate.weather.visit import Visit

ARCHIVE = "forecasts"  # folder beside the venue file
WAYS = "one of --weather FILE, --from SOURCE, or --low with --high, --wind and --cloud"


@dataclass(frozen=True)
class Typed:
    """A night typed by hand, each with its unit."""

    low: str
    high: str
    wind: str
    cloud: str
    dew: str | None = None


@dataclass(frozen=True)
class Given:
    """Weather of a run: one series for each source, the files they came from, and observations before it if any."""

    weathers: tuple[xr.Dataset, ...]
    paths: tuple[Path, ...] = ()
    notes: tuple[str, ...] = ()
    observed: Path | None = None

    @property
    def name(self) -> str:
        """What the reader is told it is."""
        return " + ".join(path.name for path in self.paths) or "typed by hand"


def by_hand(*, low: str | None, high: str | None, dew: str | None, wind: str | None, cloud: str | None) -> Typed | None:
    """What was typed, None where nothing was.

    Raises
    ------
    InputError
        Some of low, high, wind and cloud, but not all.
    """
    asked = {"low": low, "high": high, "wind": wind, "cloud": cloud}
    if dew is None and not any(asked.values()):
        return None
    missing = [
        Problem(f"--{name}", "is missing", "all of --low, --high, --wind and --cloud")
        for name in asked
        if not asked[name]
    ]
    if missing:
        raise InputError("typed forecast", missing)
    return Typed(str(low), str(high), str(wind), str(cloud), dew)


def given(
    place: Place,
    folder: Path,
    evening: date,
    now: datetime,
    *,
    path: Path | None = None,
    source: str | None = None,
    by_hand: Typed | None = None,
    visit: Visit | None = None,
    base: str | None = None,
) -> Given:
    """Completed weather for a night.

    Parameters
    ----------
    place : Place
        The venue's [site]; its services are asked where nothing else is given.
    folder : Path
        Of the venue; fetched forecasts are kept in it.
    evening : date
        On which the night begins (for a typed one).
    now : datetime
        Naive UTC.
    path, source, by_hand
        At most one of them: a file, services (`fetch.source`) joined with +, a typed night.
    visit, base : optional
        As in `fetch.forecast`.

    Raises
    ------
    InputError
        No weather or more than one of them, and whatever is wrong with it.
    """
    site = place.site
    if sum(way is not None for way in (path, source, by_hand)) > 1:
        raise refuse("weather", "weather is given twice", WAYS)
    if by_hand is not None:
        night = typed.typed(
            site,
            evening,
            low=by_hand.low,
            high=by_hand.high,
            dew=by_hand.dew,
            wind=by_hand.wind,
            cloud=by_hand.cloud,
        )
        return Given((complete.weather(night, site),))
    if path is not None:
        return Given((complete.weather(read.weather(path, site), site),), (path,))
    asked = source or place.forecast
    if not asked:
        raise refuse(
            "weather", "no weather is given", WAYS, 'or name a service in the venue: [site] forecast = "metno"'
        )
    return _asked(asked, place, folder / ARCHIVE, now.replace(tzinfo=UTC), visit, base)


def _asked(services: str, place: Place, archive: Path, now: datetime, visit: Visit | None, base: str | None) -> Given:
    """What several services say; one that cannot be had is left out while another can."""
    site = place.site
    got: list[fetch.Fetched] = []
    lost: list[str] = []
    problems: list[Problem] = []
    for service in dict.fromkeys(part.strip() for part in services.split("+")):
        try:
            got.append(fetch.current(service, site, archive, now, visit=visit, base=base))
        except WeatherTooOld as error:
            lost.append(service)
            problems += error.problems
    if not got:
        raise WeatherTooOld("weather", problems)
    weathers = []
    for one in got:
        weather = complete.weather(read.weather(one.path, site), site)
        age = one.age(now)
        codes = [f"offline={age.total_seconds() / 3600:.0f}"] if one.kept and age is not None else []
        weathers.append(assumed.note(weather, codes + [f"source_lost={name}" for name in lost]))
    notes = [note for one in got for note in one.notes]
    observed = None
    if place.observed:
        try:
            observed = fetch.observed(place.observed, site, archive, now, visit=visit, base=base).path
        except InputError as error:
            observed = fetch.last_observed(place.observed, archive)
            notes.append(f"no new observations ({error.problems[0]})")
    return Given(tuple(weathers), tuple(one.path for one in got), tuple(notes), observed)


def fetched(
    venue_path: Path,
    source: str,
    *,
    observed: str | None = None,
    out: Path | None = None,
    contact: str = "",
    now: datetime | None = None,
    base: str | None = None,
) -> str:
    """Fetches a venue's forecast, and observations where asked, and says where they are.

    Parameters
    ----------
    venue_path : Path
    source : str
        `nws`, `metno` or `mosmix:ID`.
    observed : str, optional
        `nws` or `metar:ID`: the last days' observations too.
    out : Path, optional
        Folder; without it `forecasts` beside the venue file.
    contact : str
        An address the service may write to.
    now : datetime, optional
        Naive UTC; without it the clock.
    base : str, optional
        Another address of the service.
    """
    site = load.venue(venue_path).site.site
    moment = (now or datetime.now(UTC)).replace(tzinfo=UTC)
    folder = out or venue_path.parent / ARCHIVE
    visit = Visit(contact=contact)
    got = fetch.forecast(source, site, folder, moment, base=base, visit=visit)
    age = got.age(moment)
    old = f", {age.total_seconds() / 3600:.0f} h old" if age is not None else ""
    lines = [f"Forecast: {got.path}{old}", *(note[0].upper() + note[1:] for note in got.notes)]
    if observed is not None:
        lines.append(f"Observed: {fetch.observed(observed, site, folder, moment, base=base, visit=visit).path}")
    return "\n".join(lines)
