"""The demo night in US units, run once for all tests of the command line."""

import pytest
from command_line import DEMO, Night, called, us_copy


@pytest.fixture(scope="session")
def us_night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    folder = tmp_path_factory.mktemp("us")
    words = (
        "--weather",
        DEMO / "forecast.csv",
        "--night",
        "2026-01-27",
        "--work",
        "--out",
        folder / "out",
        "--exit-code",
    )
    result = called("tonight", us_copy(folder), *words)
    return Night(result.exit_code, result.output, folder / "out")
