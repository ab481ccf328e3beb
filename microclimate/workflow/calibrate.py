"""`microclimate calibrate`: what the field manager's own readings teach about the venue."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from microclimate.errors import refuse
from microclimate.exposure import force
from microclimate.fieldlog import bowl_readings, spots
from microclimate.fieldlog.bowl_readings import BowlReading
from microclimate.fieldlog.store import Store
from microclimate.fieldlog.traces import Stamp
from microclimate.learn import decide, fromlog, observed, replay
from microclimate.learn.calibrate import bowl_air
from microclimate.learn.from_nights import Taught, taught
from microclimate.learn.trusted import trusted
from microclimate.report.words_calibrate import calibrated, from_nights, left_out, sky_told
from microclimate.venue import calibration, load
from microclimate.venue.load import Venue
from microclimate.weather import complete, read
from microclimate.workflow import files


def calibrate(
    venue_path: Path,
    readings_path: Path,
    weather_path: Path,
    *,
    out: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> str:
    """Fit the shelter and the air of a bowl to readings and write what was learned.

    Parameters
    ----------
    venue_path, readings_path : Path
    weather_path : Path
        Weather of the days of the readings; the first member is used.
    out : Path, optional
        The file to write, else `calibration.toml` beside the venue; what else it holds is kept.
    say : callable
        Told of progress.

    Raises
    ------
    InputError
        Everything in the files that cannot be used.
    """
    out = venue_path.resolve().parent / files.CALIBRATION if out is None else out
    venue = load.venue(venue_path, out if out.exists() else None)
    site = venue.site.site
    try:
        readings = bowl_readings.table(readings_path, site.time_zone, [zone.name for zone in venue.field.zones])
    except OSError as error:
        raise refuse(str(readings_path), f"cannot be read ({error.strerror})", "a CSV of readings") from None
    except UnicodeDecodeError:
        raise refuse(readings_path.name, "is not UTF-8 text", "a CSV of readings", "save it again as UTF-8") from None
    return _bowl(venue, readings, weather_path, out, say)


def _bowl(
    venue: Venue, readings: tuple[BowlReading, ...], weather_path: Path, out: Path, say: Callable[[str], None]
) -> str:
    site = venue.site.site
    weather = complete.weather(read.weather(weather_path, site), site).isel(realization=slice(0, 1))
    say("Working out what the stands hide (kept for the next run) ...")
    learned = bowl_air(force.forcing(venue, weather), readings)
    _write(learned.calibration, out)
    facts = (learned.told, learned.flagged, learned.next_directions, learned.next_nights)
    return calibrated(venue.name, *facts, venue.shown, str(out))


def _write(learned: calibration.Calibration, out: Path) -> None:
    try:
        files.write_text(calibration.text(learned), out)
    except OSError as error:
        raise refuse(str(out), f"cannot be written ({error.strerror})", "a folder that can be written") from None


def from_log(
    venue_path: Path,
    log_path: Path,
    weather_path: Path,
    *,
    out: Path | None = None,
    timezone: str | None = None,
    stamp: Stamp = "end",
    today: str | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> str:
    """Learn from the nights of a log: a few factors where held-out nights are told better, and what is still missed.

    Readings of wind and air in the bowl that the log holds are learned from as well.

    Parameters
    ----------
    venue_path : Path
    log_path : Path
        A field log, or a CSV as `replay` takes it.
    weather_path : Path
        Observed weather of those nights.
    out : Path, optional
        The file to write, else `calibration.toml` beside the venue; what else it holds is kept.
    timezone, stamp
        Of stamps in CSV files, as for `replay`.
    today : str, optional
        ISO date, else the clock's.
    say : callable
        Told of progress.

    Raises
    ------
    InputError
        Everything in the files that cannot be used.
    """
    out = venue_path.resolve().parent / files.CALIBRATION if out is None else out
    text = ""
    if fromlog.is_log(log_path):
        with Store(log_path) as store:
            walked = spots.bowl(store)
        if walked:
            text = _bowl(load.venue(venue_path, out if out.exists() else None), walked, weather_path, out, say) + "\n"
    venue = load.venue(venue_path, out if out.exists() else None)
    say("Running the ground under the observed weather ...")
    station = replay.station(venue, weather_path, log_path, timezone=timezone, stamp=stamp)
    left: dict[tuple[str, str, str], int] = {}
    if not fromlog.is_log(log_path):  # in a log `fieldlog quality` has flagged, and its keeper has had a say
        station, left = trusted(station)
    say("Fitting (the ground is run some twenty times) ...")
    found = taught(venue, station, today or datetime.now(UTC).date().isoformat())
    formula = observed.sky_formula(weather_path, venue.site.site, timezone=timezone, stamp=stamp)
    learned = found.calibration.model_copy(update={"clear_sky": formula.formula} if formula.formula else {})
    changed = learned != venue.calibration
    if changed:
        _write(learned, out)
    text += left_out(left, venue.shown) + sky_told(formula.formula, formula.days, formula.errors)
    return text + _told(venue, found, str(out) if changed else "")


def _told(venue: Venue, found: Taught, path: str) -> str:
    fit, decision, missed = found.decision.fit, found.decision, found.residual
    factors = []
    for name, value in fit.factors().items():
        known = found.calibration.fitted.get(name)
        if decision.taken and known is not None:
            before = (known.before_low, known.before_high)
            factors.append((name, value, fit.interval(name), before, fit.told(name) >= decide.UNTOLD))
    still = None
    if missed is not None and missed.before == missed.before:
        what = "residual" if missed.residual is not None else "offset" if missed.offset else ""
        still = (what, found.surface_nights, missed.before, missed.after, missed.offset)
    zero = [(sensor, offset, count) for sensor, (offset, count) in found.zero.items()]
    gain = decision.gain if decision.taken else 0.0
    return from_nights(
        venue.name, decision.taken, decision.why, decision.nights, gain, factors, zero, still, venue.shown, path
    )
