"""`microclimate fieldlog quality`: what in the log should not be trusted, flagged with its reason, and a page of it."""

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from microclimate.errors import refuse
from microclimate.fieldlog import daycycle, quality
from microclimate.fieldlog.quality import Finding, Place
from microclimate.fieldlog.store import Store
from microclimate.learn import replay
from microclimate.report import flagged
from microclimate.report import words_fieldlog as words
from microclimate.schema import Site
from microclimate.units import Shown
from microclimate.venue.load import Venue
from microclimate.workflow import files

Series = Mapping[int, tuple[Place, NDArray[np.datetime64], NDArray[np.float64]]]

OFF = {"sun": 1.0, "model": 0.75}  # [h] a clock that seems off by less is let pass (ours)


def checked(
    *,
    venue_path: Path | None = None,
    weather_path: Path | None = None,
    log: Path | None = None,
    out: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> str:
    """Check every series of the log, flag what fails, and say why.

    Parameters
    ----------
    venue_path : Path, optional
        Its place on earth lets clocks be held against the sun.
    weather_path : Path, optional
        Observed weather of those days: clocks are held against the model too.
    log : Path, optional
        Else beside the venue.
    out : Path, optional
        Folder for `flagged.html`.

    Raises
    ------
    InputError
        There is no log, or the weather cannot be used.
    """
    path = files.log(venue_path, log)
    if not path.exists():
        raise refuse(str(path), "there is no field log", "one that `fieldlog add` began", "add --log or --venue")
    venue = None if venue_path is None else files.described(venue_path)
    if weather_path is not None and venue is None:
        raise refuse("--weather", "no venue to run under it", "", "add --venue")
    shown = Shown() if venue is None else venue.shown
    with Store(path) as store:
        series: Series = {
            s.number: (Place(s.name, s.quantity, s.zone, s.depth), *store.values(s.number, flagged=True))
            for s in store.sensors()
        }
        found = quality.findings(series)
        already = {f.sensor for f in found if f.reason == "swapped"}
        found += [f for f in daycycle.led(series) if f.sensor not in already]
        swapped = {f.sensor for f in found if f.reason == "swapped"}  # of these the depth is wrong, not the clock
        if venue is not None:
            found += [f for f in _against_sun(series, venue.site.site) if f.sensor not in swapped]
        if venue is not None and weather_path is not None:
            say("Running the ground under the observed weather ...")
            found += [f for f in _against_model(series, venue, weather_path, path) if f.sensor not in swapped]
        new = sum(store.flag_series(f.sensor, f.times, f.code) for f in found)
    told = [
        (
            words.place(place.zone, place.depth, place.quantity, shown) + ("" if place.zone else f" ({place.name})"),
            words.reason(f.code, shown, place.quantity),
            len(f.times),
            f.times[0],
            f.times[-1],
        )
        for f in found
        for place in [series[f.sensor][0]]
    ]
    text = words.flagged(len(series), sum(len(values) for *_, values in series.values()), told, new, shown)
    if out is not None:
        files.folder(out)
        drawn = [(told[k][0], _marked(series, f)) for k, f in enumerate(found)]
        files.write_text(flagged.page(venue.name if venue else path.name, told, drawn, shown), out / flagged.PAGE)
        text += f"\nPage: {out / flagged.PAGE}\n"
    return text


def _against_sun(series: Series, site: Site) -> list[Finding]:
    found = []
    for number, (place, times, values) in series.items():
        off = daycycle.against_sun(place, times, values, site) if times.size else np.nan
        if abs(off) >= OFF["sun"]:
            found.append(Finding(number, "clock", times, "the sun", off))
    return found


def _against_model(series: Series, venue: Venue, weather_path: Path, log: Path) -> list[Finding]:
    station = replay.station(venue, weather_path, log, flagged=True)
    told = station.modelled(venue)
    numbers = {
        str(label): int(number)
        for label, number in zip(station.log["sensor"].values, station.log["number"].values, strict=True)
    }
    found = []
    for sensor in station.sensors:
        number = numbers.get(sensor.label)
        if number is None or sensor.interval <= 0.0:
            continue
        both = told[sensor.label].dropna()
        seen = sensor.values.reindex(both.index)
        off = daycycle.against_series(both.index.to_numpy(), seen.to_numpy(), both.to_numpy())
        if abs(off) >= OFF["model"]:
            found.append(Finding(number, "clock", series[number][1], "the model", off))
    return found


def _marked(
    series: Series, finding: Finding
) -> tuple[NDArray[np.datetime64], NDArray[np.float64], NDArray[np.bool_], str]:
    """A series about its finding: times, values, which are flagged, quantity."""
    place, times, values = series[finding.sensor]
    marked = np.isin(times, finding.times)
    edge = np.timedelta64(2, "D")
    near = (times >= finding.times[0] - edge) & (times <= finding.times[-1] + edge)
    return times[near], values[near], marked[near], place.quantity
