"""`microclimate sizing`."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from microclimate.cli.common import DEBUG, OUT, VENUE, say, told_plainly

_CLIMATE = "a typical year (TMY3, EPW) or a long hourly record (CSV, NetCDF); repeatable"
_POLICY = "frost hold, growth hold, event-led or base heat; repeatable"


def sizing(
    venue: VENUE,
    climate: Annotated[list[Path], typer.Option("--climate", metavar="FILE", help=_CLIMATE)],
    events: Annotated[
        Path | None, typer.Option("--events", metavar="FILE", help="[[event]] tables; else those of the venue")
    ] = None,
    season: Annotated[
        str, typer.Option("--season", metavar="FIRST/LAST", help="days that count, such as 11-01/02-28")
    ] = "",
    target: Annotated[
        str, typer.Option("--target", metavar="SHARE", help="of event windows to keep within your limits: 90 %")
    ] = "",
    power: Annotated[str, typer.Option("--power", metavar="LIST", help='installed: "80, 120, 160 W/m2"')] = "",
    depth: Annotated[str, typer.Option("--depth", metavar="LIST", help='of pipe or cable: "150, 250 mm"')] = "",
    pitch: Annotated[str, typer.Option("--pitch", metavar="LIST", help='between pipes: "200, 300 mm"')] = "",
    supply: Annotated[str, typer.Option("--supply", metavar="LIST", help='of the water: "30, 40 degC"')] = "",
    lead: Annotated[str, typer.Option("--lead", metavar="LIST", help='heat before an event: "12, 24, 48 h"')] = "",
    policy: Annotated[list[str] | None, typer.Option("--policy", metavar="NAME", help=_POLICY)] = None,
    only: Annotated[
        list[str] | None, typer.Option("--only", metavar="CIRCUIT", help="vary this circuit alone; repeatable")
    ] = None,
    covers: Annotated[bool, typer.Option("--covers/--no-covers", help="try each cover of the venue too")] = True,
    rarity: Annotated[
        float, typer.Option("--rarity", metavar="YEARS", min=1.1, help="design night: once in so many years")
    ] = 10.0,
    scheduler: Annotated[
        str, typer.Option("--scheduler", metavar="ADDRESS", help="of a running dask cluster: tcp://10.0.0.5:8786")
    ] = "",
    scheduler_file: Annotated[
        Path | None, typer.Option("--scheduler-file", metavar="FILE", help="that a dask scheduler wrote")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="run however long it takes")] = False,
    out: OUT = None,
    debug: DEBUG = False,
) -> None:
    """How much heat, how early, at what cost, across many winters.

    Tries installed power, depth, pitch, supply temperature, covers and ways of running them over the winters of each
    climate; advice for planning: design belongs to licensed engineers.
    """
    from microclimate.sizing.options import Asked
    from microclimate.sizing.tasks import Where
    from microclimate.workflow.sizing import Question
    from microclimate.workflow.sizing import sizing as run

    asked = Asked(power, depth, pitch, supply, lead, tuple(policy or ()), covers, tuple(only or ()))
    with told_plainly(debug):
        question = Question(events, season, target, rarity, asked, yes, out, Where(scheduler, scheduler_file))
        typer.echo(run(venue, climate, question, say=say, progress=_bar))


def _bar(done: int, count: int, left: float) -> None:
    """A bar with the time left, on a terminal only."""
    if sys.stderr.isatty():
        filled = round(30 * done / max(count, 1))
        time = f", about {left:.0f} s left" if left >= 1.0 else ""
        end = "\n" if done == count else ""
        print(f"\r[{'=' * filled:30s}] {done} of {count} winters{time}    ", end=end, file=sys.stderr, flush=True)
