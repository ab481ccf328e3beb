"""`microclimate calibrate`: what the field manager's own readings teach about the venue."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from microclimate.errors import refuse
from microclimate.exposure import force
from microclimate.fieldlog import bowl_readings, spots
from microclimate.fieldlog.bowl_readings import BowlReading
from microclimate.fieldlog.store import Store
from microclimate.fieldlog.traces import Stamp
from microclimate.learn import bias_fit, decide, fromlog, observed, past_nights, replay, seats
from microclimate.learn.calibrate import bowl_air
from microclimate.learn.fit import Z90
from microclimate.learn.from_nights import Taught, taught
from microclimate.learn.trusted import trusted
from microclimate.report import words_calibrate as words
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
    learned = bowl_air(force.forcing(venue, weather), readings, _today())
    changed = learned.calibration != venue.calibration
    if changed:
        _write(learned.calibration, out)
    more = (learned.next_directions, learned.more_visits, learned.more_nights, learned.declined)
    return calibrated(venue.name, learned.told, learned.flagged, *more, venue.shown, str(out) if changed else "")


def _today() -> str:
    return datetime.now(UTC).date().isoformat()


def _by_hand(venue_path: Path, log_path: Path, weather_path: Path, out: Path, say: Callable[[str], None]) -> str:
    """What a log holds besides nights: walks with an anemometer, readings of seats, forecasts and a thermometer."""
    known = out if out.exists() else None
    described, venue = load.venue(venue_path), load.venue(venue_path, known)
    text = ""
    with Store(log_path) as store:
        walked = spots.bowl(store)
        found = seats.learn(store, described)
        missed = _bias(store, venue)
    learned = seats.taught(found, venue.calibration, _today())
    if found.fits or found.strange:
        rows = [
            (name, material, (fit.value, fit.low, fit.high), fit.before, fit.why, fit.readings, fit.visits)
            for (name, material), fit in found.fits.items()
        ]
        text += words.seats(rows, found.strange, described.bowl.materials)
    if missed is not None:
        kinds = [(missed.value[k], missed.interval(k), missed.nights[k]) for k in (0, 1)]
        text += words.bias(kinds, missed.why, missed.before, missed.after, venue.shown)
        learned = _biased(learned, missed) if missed.taken else learned
    if learned != venue.calibration:
        _write(learned, out)
        text += f"Written: {out}\n\n"
    if walked:
        text += _bowl(load.venue(venue_path, out if out.exists() else None), walked, weather_path, out, say) + "\n"
    return text


def _bias(store: Store, venue: Venue) -> bias_fit.BiasFit | None:
    """What the log's forecasts miss of the thermometer outside; None where there is nothing to compare."""
    pairs = past_nights.of_log(store, venue.site.site)
    if pairs is None:
        return None
    known = venue.calibration
    current = (known.forecast_bias, known.forecast_bias_clear_calm)
    return bias_fit.fit(np.nanmean(pairs.members, axis=1), pairs.observed, pairs.clear_calm, current)


def _biased(known: calibration.Calibration, found: bias_fit.BiasFit) -> calibration.Calibration:
    names, fitted = ("forecast_bias", "forecast_bias_clear_calm"), dict(known.fitted)
    for k, name in enumerate(names):
        ends = (found.value[k], *found.interval(k), -Z90 * bias_fit.PRIOR, Z90 * bias_fit.PRIOR)
        keys = ("value", "low", "high", "before_low", "before_high")
        numbers = dict(zip(keys, (round(float(v), 2) for v in ends), strict=True))
        fitted[name] = calibration.Fitted.model_validate({**numbers, "visits": found.nights[k], "made": _today()})
    values = {name: float(np.clip(round(found.value[k], 2), -8.0, 8.0)) for k, name in enumerate(names)}
    return known.model_copy(update={**values, "fitted": fitted})


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
    text = _by_hand(venue_path, log_path, weather_path, out, say) if fromlog.is_log(log_path) else ""
    venue = load.venue(venue_path, out if out.exists() else None)
    say("Running the ground under the observed weather ...")
    station = replay.station(venue, weather_path, log_path, timezone=timezone, stamp=stamp)
    left: dict[tuple[str, str, str], int] = {}
    if not fromlog.is_log(log_path):  # in a log `fieldlog quality` has flagged, and its keeper has had a say
        station, left = trusted(station)
    say("Fitting (the ground is run some hundred times) ...")
    found = taught(venue, station, today or _today())
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
