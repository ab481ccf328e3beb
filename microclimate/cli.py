"""The command line. Science packages are imported inside the commands, so that `--help` answers at once."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from microclimate import __version__
from microclimate.errors import InputError

app = typer.Typer(no_args_is_help=True, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)

VENUE = Annotated[Path, typer.Argument(metavar="VENUE.toml", help="the venue's description")]
WEATHER = Annotated[Path, typer.Option("--weather", metavar="FILE", help="forecast: CSV, CF-NetCDF, TMY3 or EPW")]
OUT = Annotated[Path | None, typer.Option("--out", metavar="DIR", help="also write files here")]
DEBUG = Annotated[bool, typer.Option("--debug", help="show the traceback of an error")]


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


@contextmanager
def told_plainly(debug: bool = False) -> Iterator[None]:
    """Our own errors become one message and their exit code; a traceback only on request."""
    try:
        yield
    except InputError as error:
        if debug:
            raise
        typer.echo(str(error), err=True)
        raise typer.Exit(error.exit_code) from None
    except KeyboardInterrupt:
        typer.echo("stopped; nothing half-written", err=True)
        raise typer.Exit(130) from None


@app.command()
def tonight(
    venue: VENUE,
    weather: WEATHER,
    event: Annotated[
        list[str] | None,
        typer.Option("--event", metavar="START/END", help="local time, for example 2026-12-16T19:30/21:30; repeatable"),
    ] = None,
    night: Annotated[
        str | None, typer.Option("--night", metavar="DATE", help="the evening's date; without it, the coming night")
    ] = None,
    reading: Annotated[
        list[str] | None,
        typer.Option(
            "--reading", metavar="READING", help='"ZONE, 100 mm, 41 degF, 16:30" or a CSV file of them; repeatable'
        ),
    ] = None,
    past: Annotated[
        Path | None,
        typer.Option("--past", metavar="FILE", help="the last 10 to 30 days of weather, for the start state"),
    ] = None,
    out: OUT = None,
    exit_code: Annotated[
        bool, typer.Option("--exit-code", help="exit with 1 when a zone is outside your limits")
    ] = False,
    debug: DEBUG = False,
) -> None:
    """Chance of freezing in the coming night and in each event, zone by zone."""
    from microclimate.workflow.tonight import tonight as run

    with told_plainly(debug):
        done = run(
            venue, weather, events=event or [], night=night, readings=reading or [], past=past, out=out, say=_say
        )
        typer.echo(done.text)
        if exit_code and done.act:
            raise typer.Exit(1)


def _say(text: str) -> None:
    """Progress goes to the terminal's error stream, so that the answer alone can be piped on."""
    if sys.stderr.isatty() or text.endswith("!"):
        typer.echo(text, err=True)


def main() -> None:
    """Entry point of `microclimate`."""
    app()
