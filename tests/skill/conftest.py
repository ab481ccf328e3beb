"""The measured stations, each read and run once a session."""

from functools import cache
from pathlib import Path

import pytest

from microclimate.learn.replay import Replay, Station, station
from microclimate.venue import load
from microclimate.venue.load import Venue

REFERENCE = Path(__file__).parent.parent / "reference"
_STEMS = {"bondville": "bondville_1998", "col_de_porte": "col_de_porte_2001"}


@cache
def venue(name: str) -> Venue:
    """A station's venue file."""
    return load.venue(REFERENCE / f"{name}.toml")


@cache
def read(name: str) -> Station:
    """A station's weather and readings, laid over its venue."""
    stem = REFERENCE / _STEMS[name]
    return station(venue(name), Path(f"{stem}_weather.csv.gz"), Path(f"{stem}_readings.csv.gz"))


@cache
def replayed(name: str) -> Replay:
    """A station's venue, untuned, under its own weather."""
    return read(name).run(venue(name))


@pytest.fixture(scope="session")
def bondville() -> Replay:
    return replayed("bondville")


@pytest.fixture(scope="session")
def col_de_porte() -> Replay:
    return replayed("col_de_porte")
