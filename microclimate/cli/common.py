"""What the commands share: common arguments, and how an error of ours ends a command."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from microclimate.errors import InputError
from microclimate.weather.formats import FORMATS

VENUE = Annotated[Path, typer.Argument(metavar="VENUE.toml", help="the venue's description")]
FORECAST = "forecast, in any format of the table below"
TABLE = "\b\nWeather files, what each gives and lacks:\n" + "\n".join(
    f"  {name}\n    gives {gives}\n    lacks {lacks}" for name, (gives, lacks) in FORMATS.items()
)
SOURCE = "ask a service: nws (US), metno (anywhere), mosmix:ID (places of the German weather service)"
PAST = Annotated[
    Path | None,
    typer.Option("--past", metavar="FILE", help="the last 10 to 30 days of weather, for the start state"),
]
OUT = Annotated[Path | None, typer.Option("--out", metavar="DIR", help="also write files here")]
TIMEZONE = Annotated[
    str | None, typer.Option("--timezone", metavar="ZONE", help="of stamps without an offset; else the venue's")
]
EVENTS = Annotated[
    Path | None,
    typer.Option("--events", metavar="FILE", help="a calendar: TOML with [[event]] and [[floor]] tables, or iCalendar"),
]
NIGHT = Annotated[
    str | None, typer.Option("--night", metavar="DATE", help="the evening's date; without it, the coming night")
]
DEBUG = Annotated[bool, typer.Option("--debug", help="show the traceback of an error")]


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
    except (KeyboardInterrupt, typer.Abort):
        typer.echo("\nstopped; nothing half-written", err=True)
        raise typer.Exit(130) from None


def say(text: str) -> None:
    """Progress goes to the terminal's error stream, so that the answer alone can be piped on."""
    if sys.stderr.isatty() or text.endswith("!"):
        typer.echo(text, err=True)
