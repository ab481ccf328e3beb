"""The command line. Science packages are imported inside the commands, so that `--help` answers at once."""

import atexit
import gc
import io
import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from microclimate import __version__
from microclimate.cli import fieldlog
from microclimate.cli.common import (
    DEBUG,
    EVENTS,
    FORECAST,
    NIGHT,
    OUT,
    PAST,
    SOURCE,
    TABLE,
    TIMEZONE,
    VENUE,
    say,
    told_plainly,
)
from microclimate.cli.run import run
from microclimate.cli.sizing import sizing

app = typer.Typer(no_args_is_help=True, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
app.add_typer(fieldlog.app, name="fieldlog")


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"microclimate {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="and nothing else")
    ] = False,
) -> None:
    """Tonight's chance of freezing on a grass field inside a stadium's seating bowl, zone by zone.

    Advice for planning. Local codes, licensed trades, the referee and medical staff decide.

    Exit codes: 0 done, 1 act (only with --exit-code), 2 mend the input, 3 weather too old or too short.
    """


@app.command(epilog=TABLE)
def tonight(
    venue: VENUE,
    weather: Annotated[Path | None, typer.Option("--weather", metavar="FILE", help=FORECAST)] = None,
    source: Annotated[str | None, typer.Option("--from", metavar="SOURCE", help=SOURCE)] = None,
    low: Annotated[str | None, typer.Option("--low", metavar="TEXT", help='in place of a file: "26 degF"')] = None,
    high: Annotated[str | None, typer.Option("--high", metavar="TEXT", help='with --low: "41 degF"')] = None,
    dew: Annotated[str | None, typer.Option("--dew", metavar="TEXT", help='with --low: "20 degF"')] = None,
    wind: Annotated[str | None, typer.Option("--wind", metavar="TEXT", help='with --low: "3 mph"')] = None,
    cloud: Annotated[str | None, typer.Option("--cloud", metavar="TEXT", help='with --low: clear, or "30 %"')] = None,
    event: Annotated[
        list[str] | None,
        typer.Option("--event", metavar="START/END", help="local time, for example 2026-12-16T19:30/21:30; repeatable"),
    ] = None,
    events: EVENTS = None,
    night: NIGHT = None,
    reading: Annotated[
        list[str] | None,
        typer.Option(
            "--reading", metavar="READING", help='"ZONE, 100 mm, 41 degF, 16:30" or a CSV file of them; repeatable'
        ),
    ] = None,
    past: PAST = None,
    out: OUT = None,
    advise: Annotated[
        bool, typer.Option("--advise", help="what to do by when with the venue's covers, heating and crew")
    ] = False,
    work: Annotated[
        bool, typer.Option("--work", help="hours within your limits for mowing, marking, covers and other work, 3 days")
    ] = False,
    water: Annotated[
        str | None,
        typer.Option(
            "--water", metavar="TEXT", help='what watering would do, never advised: "4 mm, 15:00" or with ", 8 degC"'
        ),
    ] = None,
    message: Annotated[
        bool, typer.Option("--message", help="the advice alone, in at most 300 characters for a phone")
    ] = False,
    exit_code: Annotated[
        bool, typer.Option("--exit-code", help="exit with 1 when a zone is outside your limits")
    ] = False,
    debug: DEBUG = False,
) -> None:
    """Chance of freezing in the coming night and in each event, zone by zone."""
    from microclimate.workflow.forecast import by_hand
    from microclimate.workflow.tonight import tonight as run

    with told_plainly(debug):
        done = run(
            venue,
            weather,
            source=source,
            by_hand=by_hand(low=low, high=high, dew=dew, wind=wind, cloud=cloud),
            events=event or [],
            listed=events,
            night=night,
            readings=reading or [],
            past=past,
            out=out,
            advice=advise or message,
            work=work,
            water=water,
            say=say,
        )
        typer.echo(done.message if message else done.text)
        if exit_code and done.act:
            raise typer.Exit(1)


@app.command()
def fetch(
    venue: VENUE,
    source: Annotated[str, typer.Option("--from", metavar="SOURCE", help=SOURCE)],
    observed: Annotated[
        str | None,
        typer.Option("--observed", metavar="SOURCE", help="the last days too: nws, or metar:ID of an airport"),
    ] = None,
    contact: Annotated[str, typer.Option("--contact", help="an address the service may write to")] = "",
    out: OUT = None,
    debug: DEBUG = False,
) -> None:
    """Get the forecast of an open service for the venue's point, checked, kept as it came."""
    from microclimate.workflow.forecast import fetched

    with told_plainly(debug):
        typer.echo(fetched(venue, source, observed=observed, out=out, contact=contact))


@app.command()
def formats() -> None:
    """What weather can be read from, and what each gives and lacks."""
    typer.echo(TABLE.partition("\n")[2])


@app.command()
def new(
    path: Annotated[Path, typer.Argument(metavar="VENUE.toml", help="the file to write")] = Path("venue.toml"),
    blank: Annotated[bool, typer.Option("--blank", help="no questions: a file with comments, to fill in")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="replace a file that is there already")] = False,
    debug: DEBUG = False,
) -> None:
    """Write a venue file from plain questions."""
    from microclimate.workflow.new import new as run

    def ask(question: str) -> str:
        return str(typer.prompt(question, default="", show_default=False, prompt_suffix=""))

    with told_plainly(debug):
        typer.echo(run(path, blank=blank, replace=replace, ask=ask, say=typer.echo))


@app.command()
def check(
    venue: VENUE,
    weather: Annotated[
        Path | None, typer.Option("--weather", metavar="FILE", help="without it, a stated clear calm night")
    ] = None,
    night: NIGHT = None,
    debug: DEBUG = False,
) -> None:
    """Tell a venue back, or all its faults.

    Says when the sun leaves and returns, and which three unknowns move the night's lowest canopy most.
    """
    from microclimate.workflow.check import check as run

    with told_plainly(debug):
        typer.echo(run(venue, weather_path=weather, night=night, say=say))


@app.command()
def zones(
    venue: VENUE,
    weather: Annotated[
        Path | None, typer.Option("--weather", metavar="FILE", help="without it, light under a clear sky alone")
    ] = None,
    first: Annotated[str | None, typer.Option("--from", metavar="DATE", help="first local day")] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="DATE", help="last local day, included")] = None,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="TIME", help="a picture of the shade too: 2026-01-21T10:30, local time"),
    ] = None,
    compare: Annotated[
        str | None, typer.Option("--compare", metavar="ZONE,ZONE", help="two zones side by side")
    ] = None,
    cover: Annotated[
        list[str] | None,
        typer.Option("--cover", metavar="NAME,START/END", help="what a cover that lies so costs; repeatable"),
    ] = None,
    heat_off: Annotated[
        str | None, typer.Option("--heat-off", metavar="TIME", help="how long each zone holds when heating stops then")
    ] = None,
    without_stands: Annotated[
        bool, typer.Option("--without-stands", help="and what the stands change: the same field without them")
    ] = False,
    concrete: Annotated[
        bool, typer.Option("--concrete", help="and what bare metal changes: concrete in place of aluminium")
    ] = False,
    seats_covered: Annotated[
        bool, typer.Option("--seats-covered", help="and what bare seats change: a sheet over the rows")
    ] = False,
    out: OUT = None,
    debug: DEBUG = False,
) -> None:
    """Compare zones over a day, a week or a season: light by origin, warmth, growth, frost and water."""
    from microclimate.workflow.zones import zones as run

    asked = {"without stands": without_stands, "concrete": concrete, "seats covered": seats_covered}
    variants = [key for key, wanted in asked.items() if wanted]
    with told_plainly(debug):
        text = run(
            venue,
            weather,
            first=first,
            last=last,
            at=at,
            variants=variants,
            compare=compare,
            covers=cover or [],
            heat_off=heat_off,
            out=out,
            say=say,
        )
        typer.echo(text)


@app.command()
def replay(
    venue: VENUE,
    weather: Annotated[Path, typer.Option("--weather", metavar="OBS.csv", help="observed weather")],
    against: Annotated[
        Path,
        typer.Option(
            "--against",
            metavar="READINGS",
            help='a field log (.db), or a CSV with headers such as "soil_temperature @ 0.10 m [degC]"',
        ),
    ],
    out: OUT = None,
    timezone: TIMEZONE = None,
    stamp: Annotated[
        Literal["start", "end", "centre"], typer.Option("--stamp", help="part of its interval that a stamp names")
    ] = "end",
    debug: DEBUG = False,
) -> None:
    """Hold a venue under observed weather against readings.

    Gaps of the weather up to 3 h are bridged and counted, longer ones part the run.
    """
    from microclimate.workflow.replay import replay as run

    with told_plainly(debug):
        typer.echo(run(venue, weather, against, out=out, timezone=timezone, stamp=stamp, say=say))


@app.command()
def verify(
    venue: VENUE,
    log: Annotated[Path | None, typer.Option("--log", metavar="FILE", help="else fieldlog.db beside the venue")] = None,
    out: OUT = None,
    debug: DEBUG = False,
) -> None:
    """Score past forecasts and advice against what was read and seen since."""
    from microclimate.workflow.verify import verify as run

    with told_plainly(debug):
        typer.echo(run(venue, log=log, out=out), nl=False)


@app.command()
def calibrate(
    venue: VENUE,
    weather: Annotated[Path, typer.Option("--weather", metavar="FILE", help="observed weather of the readings' days")],
    against: Annotated[
        Path | None, typer.Option("--against", metavar="LOG", help="a field log (.db), or a CSV as `replay` takes it")
    ] = None,
    readings: Annotated[
        Path | None,
        typer.Option("--bowl-air", metavar="READINGS.csv", help="wind and air read in the bowl, one row each"),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="else calibration.toml beside the venue")
    ] = None,
    timezone: TIMEZONE = None,
    debug: DEBUG = False,
) -> None:
    """Learn from readings what the site leaves uncertain; taken only where nights held out are told better."""
    from microclimate.errors import refuse
    from microclimate.workflow.calibrate import calibrate as bowl
    from microclimate.workflow.calibrate import from_log

    with told_plainly(debug):
        if against is None and readings is None:
            raise refuse("calibrate", "nothing to learn from", "--against LOG, or --bowl-air READINGS.csv")
        if readings is not None:
            typer.echo(bowl(venue, readings, weather, out=out, say=say))
        if against is not None:
            typer.echo(from_log(venue, against, weather, out=out, timezone=timezone, say=say))


@app.command()
def cache(
    clear: Annotated[bool, typer.Option("--clear", help="empty it")] = False,
    debug: DEBUG = False,
) -> None:
    """Show or empty what is kept between runs."""
    from microclimate.workflow.cache import cache as run

    with told_plainly(debug):
        typer.echo(run(clear=clear))


app.command(epilog=TABLE)(run)
app.command()(sizing)


def main() -> None:
    """Entry point of `microclimate`."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a redirected stream on Windows cannot hold a minus sign or a degree
            stream.reconfigure(encoding="utf-8", errors="replace")
    # a short run that keeps nearly all it makes: looking for garbage often, and once more over the whole heap on
    # leaving, took a fifth of its time
    gc.set_threshold(50_000, 20, 50)
    atexit.register(gc.freeze)
    app()
