"""`microclimate run`: for cron, or to keep going."""

from pathlib import Path
from typing import Annotated

import typer

from microclimate.cli.common import DEBUG, EVENTS, FORECAST, OUT, PAST, SOURCE, VENUE, say, told_plainly


def run(
    venue: VENUE,
    once: Annotated[bool, typer.Option("--once", help="one run, for cron")] = False,
    every: Annotated[str | None, typer.Option("--every", metavar="TIME", help="keep going: 30min, 1h")] = None,
    weather: Annotated[Path | None, typer.Option("--weather", metavar="FILE", help=f"read anew; {FORECAST}")] = None,
    source: Annotated[str | None, typer.Option("--from", metavar="SOURCE", help=SOURCE)] = None,
    events: EVENTS = None,
    past: PAST = None,
    out: OUT = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="print what would be sent, send nothing")] = False,
    debug: DEBUG = False,
) -> None:
    """Keep the answer fresh: fetch or read, advise, log, and tell people when the advice changes.

    Files go to `out` beside the venue, or to --out. E-mail and webhook are off unless the venue has [notify]; secrets
    stand in MICROCLIMATE_SMTP_USER, MICROCLIMATE_SMTP_PASSWORD and MICROCLIMATE_WEBHOOK.
    """
    from microclimate.errors import refuse
    from microclimate.workflow.run import Asked, period
    from microclimate.workflow.run import every as keep_going
    from microclimate.workflow.run import once as one

    with told_plainly(debug):
        if once == (every is not None):
            raise refuse("run", "how often is not clear", "--once, or --every with a time such as 30min")
        asked = Asked(venue, weather, out, dry_run, {"source": source, "past": past, "listed": events})
        if every is None:
            typer.echo(one(asked, say=say))
        else:
            keep_going(asked, period(every), typer.echo)
