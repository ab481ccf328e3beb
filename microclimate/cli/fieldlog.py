"""The commands of the field log."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from microclimate.cli.common import DEBUG, OUT, TIMEZONE, say, told_plainly

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Readings, notes and states: into the venue's log and out of it."
)

FROM = Annotated[Path | None, typer.Option("--venue", metavar="VENUE.toml", help="gives zones, units and time zone")]
LOG = Annotated[
    Path | None, typer.Option("--log", metavar="FILE", help="else fieldlog.db beside the venue, or in this folder")
]


@app.command()
def add(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="a logger's CSV, or a sheet of readings by hand")],
    venue: FROM = None,
    sensor: Annotated[
        list[str] | None,
        typer.Option("--sensor", metavar="TEXT", help='"HEADING = soil @ 25 mm @ ZONE [degF]"; repeatable'),
    ] = None,
    mapping: Annotated[
        Path | None,
        typer.Option("--mapping", metavar="FILE", help="how this logger is read: written once, then used"),
    ] = None,
    timezone: TIMEZONE = None,
    stamp: Annotated[
        Literal["start", "end", "centre"], typer.Option("--stamp", help="part of its interval that a stamp names")
    ] = "end",
    log: LOG = None,
    yes: Annotated[bool, typer.Option("--yes", help="do not ask")] = False,
    debug: DEBUG = False,
) -> None:
    """Read a file into the log: says what it assumed, shows three rows, and asks.

    Good rows are taken, others are named. The same file twice adds nothing.
    """
    from microclimate.workflow.fieldlog import add as run

    with told_plainly(debug):
        typer.echo(
            run(
                file,
                venue_path=venue,
                sensors=sensor or [],
                mapping_path=mapping,
                timezone=timezone,
                stamp=stamp,
                log=log,
                ask=None if yes else _sure,
                say=typer.echo,
            )
        )


@app.command()
def quality(
    venue: FROM = None,
    weather: Annotated[
        Path | None,
        typer.Option("--weather", metavar="OBS.csv", help="observed weather: holds clocks against the model"),
    ] = None,
    log: LOG = None,
    out: OUT = None,
    debug: DEBUG = False,
) -> None:
    """Flag what should not be trusted, with the reason; nothing is deleted."""
    from microclimate.workflow.quality import checked

    with told_plainly(debug):
        typer.echo(checked(venue_path=venue, weather_path=weather, log=log, out=out, say=say), nl=False)


@app.command()
def export(
    out: Annotated[Path, typer.Argument(metavar="OUT", help="a folder for all of it, or a file: .csv or .nc")],
    venue: FROM = None,
    log: LOG = None,
    debug: DEBUG = False,
) -> None:
    """Write the log as CSV and CF-NetCDF, flagged readings with their reasons too."""
    from microclimate.workflow.fieldlog import exported

    with told_plainly(debug):
        typer.echo(exported(out, venue_path=venue, log=log), nl=False)


@app.command("list")
def list_(venue: FROM = None, log: LOG = None, debug: DEBUG = False) -> None:
    """Show what the log holds: sensors, files, counts."""
    from microclimate.workflow.fieldlog import listed

    with told_plainly(debug):
        typer.echo(listed(venue_path=venue, log=log), nl=False)


@app.command()
def note(
    text: Annotated[str, typer.Argument(metavar="TEXT")],
    about: Annotated[str, typer.Option("--about", metavar="WHAT", help="a sensor, a zone, a file")] = "",
    time: Annotated[str | None, typer.Option("--time", metavar="TIME", help="else now")] = None,
    who: Annotated[str, typer.Option("--who", metavar="NAME")] = "",
    venue: FROM = None,
    log: LOG = None,
    debug: DEBUG = False,
) -> None:
    """Add a note: a battery changed, a probe moved, a night to remember."""
    from microclimate.workflow.fieldlog import noted

    with told_plainly(debug):
        typer.echo(noted(text, about=about, time=time, who=who, venue_path=venue, log=log), nl=False)


@app.command()
def withdraw(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="of the file, as `fieldlog list` shows it")],
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT")],
    venue: FROM = None,
    log: LOG = None,
    debug: DEBUG = False,
) -> None:
    """Take back a file that was read wrongly: its readings stay in the log, flagged, and count no more."""
    from microclimate.workflow.fieldlog import withdrawn

    with told_plainly(debug):
        typer.echo(withdrawn(number, reason, venue_path=venue, log=log), nl=False)


@app.command()
def lift(
    sensor: Annotated[str, typer.Argument(metavar="SENSOR", help="its place or name, as `fieldlog list` shows them")],
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="why these readings are right after all")],
    check: Annotated[
        str | None, typer.Option("--check", metavar="NAME", help="only this check's flags, such as stuck or step")
    ] = None,
    start: Annotated[str | None, typer.Option("--from", metavar="TIME", help="else from the first reading")] = None,
    end: Annotated[str | None, typer.Option("--to", metavar="TIME", help="else to the last reading")] = None,
    who: Annotated[str, typer.Option("--who", metavar="NAME")] = "",
    venue: FROM = None,
    log: LOG = None,
    debug: DEBUG = False,
) -> None:
    """Let flagged readings count again, with a note; the flags stay in the log beside it.

    Checks that are run again do not bring them back.
    """
    from microclimate.workflow.fieldlog import lifted

    with told_plainly(debug):
        typer.echo(
            lifted(sensor, note, check=check, start=start, end=end, who=who, venue_path=venue, log=log), nl=False
        )


def _sure(question: str) -> bool:
    return typer.confirm(question)
