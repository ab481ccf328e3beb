"""The commands of the field log."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from microclimate.cli.common import DEBUG, told_plainly

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
    timezone: Annotated[
        str | None, typer.Option("--timezone", metavar="ZONE", help="of stamps without an offset; else the venue's")
    ] = None,
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


def _sure(question: str) -> bool:
    return typer.confirm(question)
