"""Replays of the measured stations, each run once a session."""

from pathlib import Path

import pytest

from microclimate.learn.replay import Replay, replay
from microclimate.venue import load

REFERENCE = Path(__file__).parent.parent / "reference"


def station(name: str, stem: str) -> Replay:
    """A station's venue under its own weather."""
    venue = load.venue(REFERENCE / f"{name}.toml")
    return replay(venue, REFERENCE / f"{stem}_weather.csv.gz", REFERENCE / f"{stem}_readings.csv.gz")


@pytest.fixture(scope="session")
def bondville() -> Replay:
    return station("bondville", "bondville_1998")


@pytest.fixture(scope="session")
def col_de_porte() -> Replay:
    return station("col_de_porte", "col_de_porte_2001")
