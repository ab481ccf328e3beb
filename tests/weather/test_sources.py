"""A run's weather from a file, from a service on loopback, or typed by hand."""

from datetime import date, datetime
from pathlib import Path

import pytest
from test_fetch import GRIDPOINT, NOW, SITE, Service, _visit, body, service  # noqa: F401 - a fixture
from typer.testing import CliRunner

from microclimate.cli import app
from microclimate.errors import InputError
from microclimate.weather import assumed
from microclimate.weather.formats import FORMATS
from microclimate.workflow import forecast

EVENING = date(2022, 2, 4)
MOMENT: datetime = NOW.replace(tzinfo=None)
BY_HAND = forecast.Typed("26 degF", "41 degF", "3 mph", "clear")


def test_a_service_is_asked_and_the_reply_kept_beside_the_venue(
    service: Service,  # noqa: F811
    tmp_path: Path,
) -> None:
    got = forecast.given(SITE, tmp_path, EVENING, MOMENT, source="nws", base=service.base, visit=_visit([]))
    assert got.path is not None
    assert got.path.parent == tmp_path / "forecasts"
    assert got.weather.sizes["time"] > 100
    again = forecast.given(SITE, tmp_path, EVENING, MOMENT, source="nws", base="http://127.0.0.1:9", visit=_visit([]))
    assert again.path == got.path
    assert "2 h old" in again.notes[1]


def test_a_night_typed_by_hand_needs_no_file(tmp_path: Path) -> None:
    got = forecast.given(SITE, tmp_path, EVENING, MOMENT, by_hand=BY_HAND)
    assert got.path is None
    assert "typed_by_hand" in assumed.codes(got.weather)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("ways", [{}, {"source": "nws", "by_hand": BY_HAND}])
def test_one_way_must_be_given(tmp_path: Path, ways: dict[str, object]) -> None:
    with pytest.raises(InputError, match="--weather FILE"):
        forecast.given(SITE, tmp_path, EVENING, MOMENT, **ways)  # type: ignore[arg-type]


def test_fetch_says_where_the_files_are(service: Service, tmp_path: Path) -> None:  # noqa: F811
    demo = Path(__file__).parents[2] / "data_demo" / "venue.toml"
    moved = GRIDPOINT.replace(b"-84.9", b"-79.9").replace(b"30.0", b"36.1")
    links = f'{{"properties": {{"forecastGridData": "{service.base}/grid"}}}}'
    service.answers["/grid"] = [body(moved)]
    service.answers["/points/36.1000,-79.9500"] = [body(links.encode())]
    text = forecast.fetched(demo, "nws", out=tmp_path / "kept", now=MOMENT, base=service.base)
    assert text == f"Forecast: {tmp_path / 'kept' / 'nws_20220204T0315Z.json'}, 2 h old"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "no weather is given"),
        (["--low", "26 degF"], "--high: is missing"),
        (["--from", "nowhere"], "wanted nws, metno, mosmix:ID"),
        (["--from", "nws", "--weather", "x.csv"], "given twice"),
    ],
)
def test_the_command_line_says_what_is_missing(arguments: list[str], words: str) -> None:
    demo = str(Path(__file__).parents[2] / "data_demo" / "venue.toml")
    done = CliRunner().invoke(app, ["tonight", demo, *arguments])
    assert done.exit_code == 2
    assert words in done.output


def test_the_command_line_lists_the_formats() -> None:
    done = CliRunner().invoke(app, ["formats"])
    assert done.exit_code == 0
    for name in FORMATS:
        assert name in done.output


def test_fetch_on_the_command_line_refuses_what_is_no_source() -> None:
    demo = str(Path(__file__).parents[2] / "data_demo" / "venue.toml")
    done = CliRunner().invoke(app, ["fetch", demo, "--from", "somewhere"])
    assert done.exit_code == 2
    assert "wanted nws, metno, mosmix:ID" in done.output
