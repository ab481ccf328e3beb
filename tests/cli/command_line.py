"""One command as a person types it, and the demo in US units."""

from dataclasses import dataclass
from pathlib import Path

from click.testing import Result
from typer.testing import CliRunner

from microclimate import cli

DEMO = Path(__file__).parents[2] / "data_demo"


def called(*words: str | Path, typed: str | None = None) -> Result:
    """One command, its output as a terminal would get it."""
    return CliRunner().invoke(cli.app, [str(word) for word in words], input=typed)


@dataclass(frozen=True)
class Night:
    """The demo's night in US units: how it ended and what it wrote."""

    code: int
    text: str
    folder: Path


def us_copy(folder: Path) -> Path:
    """The demo's venue for a reader in US units with a 12-hour clock."""
    text = (DEMO / "venue.toml").read_text(encoding="utf-8")
    changed = text.replace('units = "metric"', 'units = "US"').replace("clock = 24", "clock = 12")
    assert changed.count('units = "US"') == changed.count("clock = 12") == 1
    path = folder / "venue.toml"
    path.write_text(changed, encoding="utf-8")
    return path
