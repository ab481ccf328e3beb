"""A run's weather from a file, from a service on loopback, or typed by hand."""

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from pydantic import ValidationError
from test_fetch import GRIDPOINT, NOW, SITE, Service, _visit, body, service  # noqa: F401 - a fixture
from typer.testing import CliRunner

from microclimate.cli import app
from microclimate.errors import InputError, WeatherTooOld
from microclimate.venue.site import Site as PlaceModel
from microclimate.weather import assumed
from microclimate.weather.formats import FORMATS
from microclimate.workflow import forecast

EVENING = date(2022, 2, 4)
MOMENT: datetime = NOW.replace(tzinfo=None)
NOBODY = "http://127.0.0.1:9"
PLACE = PlaceModel(
    latitude=SITE.latitude, longitude=SITE.longitude, elevation=SITE.elevation, time_zone="America/New_York"
)
BY_HAND = forecast.Typed("26 degF", "41 degF", "3 mph", "clear")


def test_a_service_is_asked_and_the_reply_kept_beside_the_venue(
    service: Service,  # noqa: F811
    tmp_path: Path,
) -> None:
    got = forecast.given(PLACE, tmp_path, EVENING, MOMENT, source="nws", base=service.base, visit=_visit([]))
    assert got.paths[0].parent == tmp_path / "forecasts"
    assert got.weathers[0].sizes["time"] > 100
    assert "offline" not in assumed.codes(got.weathers[0])
    again = forecast.given(PLACE, tmp_path, EVENING, MOMENT, source="nws", base=NOBODY, visit=_visit([]))
    assert again.paths == got.paths
    assert "2 h old" in again.notes[1]
    assert assumed.codes(again.weathers[0])["offline"] == ["2"]


def test_the_service_the_venue_names_is_asked_and_its_observations_with_it(
    service: Service,  # noqa: F811
    tmp_path: Path,
) -> None:
    place = PLACE.model_copy(update={"forecast": "nws", "observed": "metar:KAAF"})
    text = "KAAF 040353Z 27010KT 10SM CLR 07/05 A2992\nKAAF 040253Z 27010KT 10SM CLR 08/05 A2992\n"
    service.answers["/metar"] = [body(text.encode())]
    got = forecast.given(place, tmp_path, EVENING, MOMENT, base=service.base, visit=_visit([]))
    assert got.paths[0].name == "nws_20220204T0315Z.json"
    assert got.observed is not None
    assert got.observed.read_bytes() == text.encode()
    again = forecast.given(place, tmp_path, EVENING, MOMENT, base=NOBODY, visit=_visit([]))
    assert again.observed == got.observed
    assert any("no new observations" in note for note in again.notes)


def test_one_of_several_sources_may_be_lost_but_not_all(service: Service, tmp_path: Path) -> None:  # noqa: F811
    ways = {"source": "nws + mosmix:10637", "visit": _visit([])}
    service.answers["/10637/kml/MOSMIX_L_LATEST_10637.kmz"] = [body(b"", 503)]
    got = forecast.given(PLACE, tmp_path, EVENING, MOMENT, base=service.base, **ways)  # type: ignore[arg-type]
    assert [path.name[:3] for path in got.paths] == ["nws"]
    assert assumed.codes(got.weathers[0])["source_lost"] == ["mosmix:10637"]
    with pytest.raises(WeatherTooOld) as caught:
        forecast.given(PLACE, tmp_path / "new", EVENING, MOMENT, base=NOBODY, **ways)  # type: ignore[arg-type]
    assert caught.value.exit_code == 3


def test_a_forecast_kept_too_long_ends_with_its_age(service: Service, tmp_path: Path) -> None:  # noqa: F811
    forecast.given(PLACE, tmp_path, EVENING, MOMENT, source="nws", base=service.base, visit=_visit([]))
    later = MOMENT + timedelta(hours=40)
    with pytest.raises(WeatherTooOld, match="42 h old") as caught:
        forecast.given(PLACE, tmp_path, EVENING, later, source="nws", base=NOBODY, visit=_visit([]))
    assert caught.value.exit_code == 3


@pytest.mark.parametrize(("key", "text"), [("forecast", "noaa"), ("forecast", "nws + "), ("observed", "metno")])
def test_a_venue_that_names_no_service_is_told_which_there_are(key: str, text: str) -> None:
    with pytest.raises(ValidationError, match="nws"):
        PlaceModel.model_validate(PLACE.model_dump() | {key: text})


def test_a_night_typed_by_hand_needs_no_file(tmp_path: Path) -> None:
    got = forecast.given(PLACE, tmp_path, EVENING, MOMENT, by_hand=BY_HAND)
    assert got.paths == ()
    assert got.name == "typed by hand"
    assert "typed_by_hand" in assumed.codes(got.weathers[0])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("ways", [{}, {"source": "nws", "by_hand": BY_HAND}])
def test_one_way_must_be_given(tmp_path: Path, ways: dict[str, object]) -> None:
    with pytest.raises(InputError, match="--weather FILE"):
        forecast.given(PLACE, tmp_path, EVENING, MOMENT, **ways)  # type: ignore[arg-type]


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
