"""Where a run's weather comes from: a file, a service, or a low and a high typed by hand; and `microclimate fetch`."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import xarray as xr

from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import Site
from microclimate.venue import load
from microclimate.weather import complete, fetch, read, typed
from microclimate.weather.visit import Visit

ARCHIVE = "forecasts"  # folder beside the venue file


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
    """Weather of a run, the file it came from if any, and what to say about it."""

    weather: xr.Dataset
    path: Path | None
    notes: tuple[str, ...] = ()


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
    site: Site,
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
    site : Site
    folder : Path
        Of the venue; fetched forecasts are kept in it.
    evening : date
        On which the night begins (for a typed one).
    now : datetime
        Naive UTC.
    path, source, by_hand
        One of them: a file, a service (`fetch.source`), a typed night.
    visit, base : optional
        As in `fetch.forecast`.

    Raises
    ------
    InputError
        None or more than one of them, and whatever is wrong with it.
    """
    ways = [way is not None for way in (path, source, by_hand)]
    if sum(ways) != 1:
        found = "no weather is given" if not any(ways) else "weather is given twice"
        raise refuse("weather", found, "one of --weather FILE, --from SOURCE, or --low with --high, --wind and --cloud")
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
        return Given(complete.weather(night, site), None)
    notes: tuple[str, ...] = ()
    if source is not None:
        got = fetch.current(source, site, folder / ARCHIVE, now.replace(tzinfo=UTC), visit=visit, base=base)
        path, notes = got.path, got.notes
    assert path is not None
    return Given(complete.weather(read.weather(path, site), site), path, notes)


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
