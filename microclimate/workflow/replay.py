"""`microclimate replay`: a venue under observed weather, held against readings."""

from collections.abc import Callable
from pathlib import Path

from microclimate.errors import refuse
from microclimate.fieldlog.traces import Stamp
from microclimate.learn import replay_files
from microclimate.learn.replay import replay as run
from microclimate.report.words_replay import FILES, replayed
from microclimate.workflow import files


def replay(
    venue_path: Path,
    weather_path: Path,
    readings_path: Path,
    *,
    out: Path | None = None,
    timezone: str | None = None,
    stamp: Stamp = "end",
    say: Callable[[str], None] = lambda text: None,
) -> str:
    """Scores of a venue under its own weather, as text; with `out` the tables and a figure too.

    Parameters
    ----------
    venue_path, weather_path, readings_path : Path
        Weather and readings may be one file; the readings may be a field log, flagged ones are left out.
    out : Path, optional
        Folder for scores.csv, nights.csv, freezes.csv, traces.csv and replay.svg.
    timezone : str, optional
        Of stamps without an offset; else the venue's.
    stamp : {"start", "end", "centre"}
        Part of its interval that a stamp names.
    say : callable
        Told of progress.

    Raises
    ------
    InputError
        Everything in the files that cannot be used.
    """
    venue = files.described(venue_path)
    say("Running the ground under the observed weather ...")
    result = run(venue, weather_path, readings_path, timezone=timezone, stamp=stamp)
    written: dict[str, str] = {}
    if out is not None:
        files.folder(out)
        try:
            paths = replay_files.write(result, out, venue.shown)
        except OSError as error:
            raise refuse(f"--out {out}", f"cannot be written to ({error.strerror})", "a writable folder") from None
        written = {str(path): FILES[path.name] for path in paths}
    scores = replay_files.scores(result.scores, venue.shown)
    return replayed(venue.name, scores, result.freezes, result.notes, venue.shown, written)
