"""Forecasts and observations of the open services, fetched politely, checked, and kept as they came.

Sources: `nws` (US National Weather Service), `metno` (MET Norway, any place), `mosmix:ID` (German weather service, one
of its places), and for what was observed `nws` again and `metar:ID` (an airport).
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from microclimate.errors import InputError, Problem, WeatherTooOld, refuse
from microclimate.schema import Site
from microclimate.weather import read
from microclimate.weather import visit as web

STALE = timedelta(hours=12)  # a service that renews every hour or six: older is asked for again (ours)
TOO_OLD = timedelta(hours=36)  # and beyond this is no forecast for tonight (ours)
OBSERVED = timedelta(days=7)  # services keep about a week

BASES: Mapping[str, str] = {
    "nws": "https://api.weather.gov",
    "metno": "https://api.met.no/weatherapi/locationforecast/2.0",
    "mosmix": "https://opendata.dwd.de/weather/local_forecasts/mos/MOSMIX_L/single_stations",
    "metar": "https://aviationweather.gov/api/data",
}
SUFFIX = {"nws": "json", "metno": "json", "mosmix": "kmz", "metar": "txt"}


@dataclass(frozen=True)
class Fetched:
    """A file that is there now, and what to say about it."""

    path: Path
    issued: datetime | None
    notes: tuple[str, ...] = ()
    kept: bool = False  # an earlier one, in place of a new one that could not be had

    def age(self, now: datetime) -> timedelta | None:
        """How old the forecast is; None where it does not say."""
        return None if self.issued is None else now - self.issued


def source(text: str, *, observed: bool = False) -> tuple[str, str]:
    """'mosmix:10637' as its service and place; the place is '' where the service takes coordinates.

    Raises
    ------
    InputError
        No such service, a place missing, or one that could not be an identifier.
    """
    name, _, place = text.strip().partition(":")
    names = ("nws", "metar") if observed else ("nws", "metno", "mosmix")
    wanted = ", ".join(f"{n}:ID" if n in ("mosmix", "metar") else n for n in names)
    if name not in names:
        raise refuse("source", repr(text), wanted)
    if (name in ("mosmix", "metar")) != bool(re.fullmatch(r"[A-Za-z0-9]{3,6}", place)):
        raise refuse("source", repr(text), wanted, "ID is the service's own name of the place")
    return name, place.upper()


def forecast(
    text: str, site: Site, archive: Path, now: datetime, *, base: str | None = None, visit: web.Visit | None = None
) -> Fetched:
    """The newest forecast of a service for the venue's point, kept in the archive as it came.

    Parameters
    ----------
    text : str
        `nws`, `metno` or `mosmix:ID`.
    site : Site
    archive : Path
        Folder for the raw replies.
    now : datetime
        UTC, aware.
    base : str, optional
        Another address of the service (tests, a mirror).
    visit : Visit, optional
        How to behave: who asks, time-outs, tries.

    Raises
    ------
    InputError
        The service answers with something that is no forecast for this point.
    WeatherTooOld
        No answer could be had, or one older than `TOO_OLD`.
    """
    name, place = source(text)
    visit = visit or web.Visit()
    notes: list[str] = []
    for fresh in (False, True):
        data = _forecast_bytes(name, place, site, base or BASES[name], visit, fresh)
        if name != "mosmix" and data.lstrip()[:1] != b"{":
            raise refuse(name, "answers with something that is no forecast", "JSON", "is a sign-in page in the way?")
        raw = read.weather_of(data, Path(f"{name}.{SUFFIX[name]}"), site)
        issued = _time(str(raw.attrs.get("issued", "")))
        age = now - issued if issued else timedelta(0)
        if age < -timedelta(hours=1):
            raise refuse(name, f"issued {issued:%Y-%m-%d %H:%M} UTC, after now", "a forecast already made")
        if age <= STALE:
            break
        notes = [f"the service's newest forecast is {_hours(age)} h old"]
    if age > TOO_OLD:
        found = f"newest forecast is of {issued:%Y-%m-%d %H:%M} UTC"
        raise WeatherTooOld(
            name, [Problem(name, found, f"younger than {TOO_OLD.total_seconds() / 3600:.0f} h", "try again later")]
        )
    stamp = issued or now
    return Fetched(
        _kept(archive, f"{name}{place and '_' + place}_{stamp:%Y%m%dT%H%MZ}.{SUFFIX[name]}", data), issued, tuple(notes)
    )


def observed(
    text: str, site: Site, archive: Path, now: datetime, *, base: str | None = None, visit: web.Visit | None = None
) -> Fetched:
    """What was observed near the venue in the last days, for the start state; parameters as `forecast`."""
    name, place = source(text, observed=True)
    visit = visit or web.Visit()
    address = base or BASES[name]
    if name == "metar":
        hours = int(OBSERVED.total_seconds() // 3600)
        data = web.get(f"{address}/metar?ids={place}&hours={hours}&format=raw", visit)
    else:
        point = web.json(f"{address}/points/{site.latitude:.4f},{site.longitude:.4f}", visit)
        stations = web.json(_link(point, "observationStations", address), visit)
        try:
            station = str(stations["features"][0]["id"])
        except (KeyError, IndexError, TypeError) as error:
            raise refuse(name, "names no station near the venue", "observations", "use metar:ID") from error
        begin = f"{now - OBSERVED:%Y-%m-%dT%H:%M:%SZ}"
        data = web.get(f"{_beside(station, address)}/observations?start={begin}", visit)
    file = f"{_label(name, place)}_observed_{now:%Y%m%dT%H%MZ}.{SUFFIX[name]}"
    read.weather_of(data, Path(file), site)
    return Fetched(_kept(archive, file, data), None)


def current(
    text: str, site: Site, archive: Path, now: datetime, *, base: str | None = None, visit: web.Visit | None = None
) -> Fetched:
    """The newest forecast, or where none can be had the last one kept, with its age said; parameters as `forecast`.

    Raises
    ------
    WeatherTooOld
        No answer, and nothing kept that is younger than `TOO_OLD`.
    """
    try:
        return forecast(text, site, archive, now, base=base, visit=visit)
    except InputError as error:
        name, place = source(text)
        kept = last(name, place, archive)
        if kept is None:
            problems = [
                *error.problems,
                Problem(name, "and no earlier forecast is kept", "a forecast", "give one with --weather"),
            ]
            raise WeatherTooOld(name, problems) from error
        age = kept.age(now)
        if age is not None and age > TOO_OLD:
            found = f"the last forecast kept is {_hours(age)} h old"
            young = f"one younger than {_hours(TOO_OLD)} h"
            raise WeatherTooOld(
                name, [*error.problems, Problem(name, found, young, "give one with --weather")]
            ) from error
        old = f"{age.total_seconds() / 3600:.0f} h old" if age is not None else "of unknown age"
        return Fetched(
            kept.path, kept.issued, (f"no new forecast ({error.problems[0]})", f"the last one kept is {old}"), True
        )


def last_observed(text: str, archive: Path) -> Path | None:
    """The newest observations kept of a service."""
    name, place = source(text, observed=True)
    pattern = f"{_label(name, place)}_observed_????????T????Z.{SUFFIX[name]}"
    kept = sorted(archive.glob(pattern)) if archive.is_dir() else []
    return kept[-1] if kept else None


def last(name: str, place: str, archive: Path) -> Fetched | None:
    """The newest forecast kept of a service."""
    pattern = f"{_label(name, place)}_????????T????Z.{SUFFIX[name]}"
    kept = sorted(archive.glob(pattern)) if archive.is_dir() else []
    return Fetched(kept[-1], _time(kept[-1].stem.rpartition("_")[2])) if kept else None


def _forecast_bytes(name: str, place: str, site: Site, base: str, visit: web.Visit, fresh: bool) -> bytes:
    if name == "mosmix":
        return web.get(f"{base}/{place}/kml/MOSMIX_L_LATEST_{place}.kmz", visit, fresh=fresh)
    if name == "metno":
        point = f"lat={site.latitude:.4f}&lon={site.longitude:.4f}&altitude={site.elevation:.0f}"
        return web.get(f"{base}/complete?{point}", visit, fresh=fresh)
    found = web.json(f"{base}/points/{site.latitude:.4f},{site.longitude:.4f}", visit, fresh=fresh)
    return web.get(_link(found, "forecastGridData", base), visit, fresh=fresh)


def _link(document: Mapping[str, object], key: str, base: str) -> str:
    """An address that a reply names, on the service's own host."""
    properties = document.get("properties")
    link = str(properties.get(key, "")) if isinstance(properties, Mapping) else ""
    if not link:
        raise refuse("nws", f"reply names no {key}", "a point the service covers", "outside the US use metno")
    return _beside(link, base)


def _beside(link: str, base: str) -> str:
    if web.host(link) != web.host(base):
        raise refuse("nws", f"reply points to {web.host(link)}", web.host(base), "not followed: a service names itself")
    return link


def _label(name: str, place: str) -> str:
    return f"{name}_{place}" if place else name


def _hours(span: timedelta) -> str:
    return f"{span.total_seconds() / 3600:.0f}"


def _time(text: str) -> datetime | None:
    for form in ("%Y-%m-%dT%H:%M:%SZ", "%Y%m%dT%H%MZ"):
        try:
            return datetime.strptime(text, form).replace(tzinfo=UTC)
        except ValueError:
            continue
    return None


def _kept(archive: Path, name: str, data: bytes) -> Path:
    """Writes a reply under a temporary name, then renames it."""
    archive.mkdir(parents=True, exist_ok=True)
    path = archive / name
    scratch = path.with_name(f".{name}.part")
    scratch.write_bytes(data)
    scratch.replace(path)
    return path
