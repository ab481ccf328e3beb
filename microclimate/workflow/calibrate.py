"""`microclimate calibrate`: wind and air in the bowl from the field manager's own readings."""

from collections.abc import Callable
from pathlib import Path

from microclimate.errors import refuse
from microclimate.exposure import force
from microclimate.fieldlog import bowl_readings
from microclimate.learn.calibrate import bowl_air
from microclimate.report.words_calibrate import calibrated
from microclimate.venue import calibration, load
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
    weather = complete.weather(read.weather(weather_path, site), site).isel(realization=slice(0, 1))
    say("Working out what the stands hide (kept for the next run) ...")
    learned = bowl_air(force.forcing(venue, weather), readings)
    try:
        files.write_text(calibration.text(learned.calibration), out)
    except OSError as error:
        raise refuse(str(out), f"cannot be written ({error.strerror})", "a folder that can be written") from None
    facts = (learned.told, learned.flagged, learned.next_directions, learned.next_nights)
    return calibrated(venue.name, *facts, venue.shown, str(out))
