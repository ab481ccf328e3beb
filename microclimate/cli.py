"""The command line. Science packages are imported inside the commands, so that `--help` answers at once."""

import typer

app = typer.Typer(no_args_is_help=True, add_completion=False)


def main() -> None:
    """Entry point of `microclimate`."""
    app()
