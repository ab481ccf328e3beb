"""Fetching from a server on this machine that replays samples and misbehaves in every way a service can."""

import gzip
import json
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from microclimate.errors import InputError, WeatherTooOld
from microclimate.schema import Site
from microclimate.weather import fetch, read, visit

REFERENCE = Path(__file__).parents[1] / "reference" / "weather"
GRIDPOINT = (REFERENCE / "nws_gridpoint.json").read_bytes()
SITE = Site("coast", 30.02, -84.98, 4.0, "America/New_York")
NOW = datetime(2022, 2, 4, 5, 0, tzinfo=UTC)  # the sample was made at 03:15

Answer = Callable[[BaseHTTPRequestHandler], None]


class Service:
    """A weather service on loopback: what it answers can be set for each path, one answer after another."""

    def __init__(self) -> None:
        self.answers: dict[str, list[Answer]] = {}
        self.asked: list[tuple[str, dict[str, str]]] = []
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                path = self.path.partition("?")[0]
                service.asked.append((self.path, dict(self.headers)))
                queue = service.answers.get(path)
                if not queue:
                    self.send_error(404)
                    return
                (queue.pop(0) if len(queue) > 1 else queue[0])(self)

            def log_message(self, *_: Any) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.base = f"http://127.0.0.1:{self.server.server_port}"
        point = {
            "properties": {"forecastGridData": f"{self.base}/grid", "observationStations": f"{self.base}/stations"}
        }
        self.answers["/points/30.0200,-84.9800"] = [body(json.dumps(point).encode())]
        self.answers["/grid"] = [body(GRIDPOINT)]


def body(data: bytes, code: int = 200, **headers: str) -> Answer:
    def answer(request: BaseHTTPRequestHandler) -> None:
        request.send_response(code)
        given = {name.replace("_", "-"): value for name, value in headers.items()}
        for name, value in ({"Content-Length": str(len(data))} | given).items():
            request.send_header(name, value)
        request.end_headers()
        request.wfile.write(data)

    return answer


def cut_off(request: BaseHTTPRequestHandler) -> None:
    request.send_response(200)
    request.send_header("Content-Length", str(len(GRIDPOINT)))
    request.end_headers()
    request.wfile.write(GRIDPOINT[:5000])
    request.wfile.flush()
    request.connection.close()


def drips(request: BaseHTTPRequestHandler) -> None:
    request.send_response(200)
    request.end_headers()
    for byte in range(200):
        try:
            request.wfile.write(bytes([GRIDPOINT[byte]]))
            request.wfile.flush()
        except OSError:
            return
        time.sleep(0.05)


def silent(request: BaseHTTPRequestHandler) -> None:
    time.sleep(1.5)


def huge(request: BaseHTTPRequestHandler) -> None:
    request.send_response(200)
    request.end_headers()
    part = b"x" * 1_000_000
    for _ in range(200):
        try:
            request.wfile.write(part)
        except OSError:
            return


def redirect(where: str) -> Answer:
    def answer(request: BaseHTTPRequestHandler) -> None:
        request.send_response(301)
        request.send_header("Location", where)
        request.send_header("Content-Length", "0")
        request.end_headers()

    return answer


@pytest.fixture
def service() -> Iterator[Service]:
    made = Service()
    thread = threading.Thread(target=made.server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    yield made
    made.server.shutdown()
    made.server.server_close()


@pytest.fixture
def waits() -> list[float]:
    return []


def _visit(waits: list[float], **changes: Any) -> visit.Visit:
    options = {"contact": "grounds@example.org", "time_out": 0.4, "deadline": 1.0, "tries": 3, "wait": waits.append}
    return visit.Visit(**(options | changes))


def test_a_forecast_is_fetched_and_kept_as_it_came(service: Service, tmp_path: Path, waits: list[float]) -> None:
    got = fetch.forecast("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert got.path.read_bytes() == GRIDPOINT
    assert got.path.name == "nws_20220204T0315Z.json"
    assert got.age(NOW) == timedelta(hours=1, minutes=44, seconds=19)
    assert [p.name for p in tmp_path.iterdir()] == [got.path.name]
    assert read.weather(got.path, SITE).sizes["time"] > 100
    agents = {headers["User-Agent"] for _, headers in service.asked}
    assert len(agents) == 1
    agent = agents.pop()
    assert agent.startswith("microclimate/")
    assert agent.endswith("(grounds@example.org)")
    assert waits == []


@pytest.mark.parametrize("trouble", [body(b"", 500), body(b"", 503), cut_off, silent, drips])
def test_a_passing_trouble_is_waited_out(service: Service, tmp_path: Path, waits: list[float], trouble: Answer) -> None:
    service.answers["/grid"] = [trouble, body(GRIDPOINT)]
    got = fetch.forecast("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert got.path.read_bytes() == GRIDPOINT
    assert waits == [1.0]


def test_the_service_may_say_how_long_to_wait(service: Service, tmp_path: Path, waits: list[float]) -> None:
    service.answers["/grid"] = [body(b"", 503, Retry_After="7"), body(b"", 429), body(GRIDPOINT)]
    fetch.forecast("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert waits == [7.0, 2.0]


@pytest.mark.parametrize(
    ("trouble", "words", "code"),
    [
        (body(b"", 500), "answered 500 (3 tries)", 3),
        (cut_off, "cut off", 3),
        (silent, "too slow", 3),
        (drips, "too slow", 3),
        (body(b"", 404), "does not know this place", 2),
        (body(b"", 403), "wants to know who asks", 2),
        (body(b"{}"), "kind not known here", 2),
        (body(GRIDPOINT[:20000]), "broken JSON", 2),
        (body(b""), "no forecast", 2),
        (body(b"<html>Please sign in</html>"), "sign-in page", 2),
        (huge, "at most 30 MB", 2),
        (body(b"x", Content_Length="200000000"), "at most 30 MB", 2),
        (redirect("http://localhost:9/elsewhere"), "sends on to localhost:9", 2),
        (body(gzip.compress(b"0" * 60_000_000), Content_Encoding="gzip"), "at most 30 MB", 2),
        (body(GRIDPOINT.replace(b"-84.9", b"-64.9")), "km from the venue", 2),
    ],
)
def test_a_lasting_trouble_is_told_and_nothing_is_kept(
    service: Service, tmp_path: Path, waits: list[float], trouble: Answer, words: str, code: int
) -> None:
    service.answers["/grid"] = [trouble]
    with pytest.raises(InputError) as caught:
        fetch.forecast("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert words in str(caught.value)
    assert caught.value.exit_code == code
    assert list(tmp_path.iterdir()) == []


def test_a_redirect_on_the_same_host_is_followed(service: Service, tmp_path: Path, waits: list[float]) -> None:
    service.answers["/grid"] = [redirect("/new")]
    service.answers["/new"] = [body(GRIDPOINT)]
    got = fetch.forecast("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert got.path.read_bytes() == GRIDPOINT


def test_a_reply_that_points_to_another_host_is_not_followed(
    service: Service, tmp_path: Path, waits: list[float]
) -> None:
    point = {"properties": {"forecastGridData": "http://example.org/grid"}}
    service.answers["/points/30.0200,-84.9800"] = [body(json.dumps(point).encode())]
    with pytest.raises(InputError, match=r"example\.org"):
        fetch.forecast("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))


def test_a_stale_copy_is_asked_for_again_past_the_caches(service: Service, tmp_path: Path, waits: list[float]) -> None:
    old = GRIDPOINT.replace(b"2022-02-04T03:15:41", b"2022-02-03T03:15:41")
    service.answers["/grid"] = [body(old), body(GRIDPOINT)]
    got = fetch.forecast("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert got.issued == datetime(2022, 2, 4, 3, 15, 41, tzinfo=UTC)
    assert service.asked[-1][1]["Cache-Control"] == "no-cache"
    service.answers["/grid"] = [body(old)]
    got = fetch.forecast("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert got.notes == ("the service's newest forecast is 26 h old",)
    with pytest.raises(WeatherTooOld, match="newest forecast is of 2022-02-03"):
        fetch.forecast("nws", SITE, tmp_path, NOW + timedelta(days=2), base=service.base, visit=_visit(waits))
    service.answers["/grid"] = [body(GRIDPOINT)]
    with pytest.raises(InputError, match="after now"):
        fetch.forecast("nws", SITE, tmp_path, NOW - timedelta(days=1), base=service.base, visit=_visit(waits))


def test_without_network_the_last_one_kept_serves_and_its_age_is_said(tmp_path: Path, waits: list[float]) -> None:
    nobody = "http://127.0.0.1:9"
    with pytest.raises(WeatherTooOld, match="no earlier forecast is kept") as caught:
        fetch.current("nws", SITE, tmp_path, NOW, base=nobody, visit=_visit(waits))
    assert caught.value.exit_code == 3
    (tmp_path / "nws_20220203T0315Z.json").write_bytes(GRIDPOINT)
    (tmp_path / "nws_20220204T0315Z.json").write_bytes(GRIDPOINT)
    got = fetch.current("nws", SITE, tmp_path, NOW, base=nobody, visit=_visit(waits))
    assert got.path.name == "nws_20220204T0315Z.json"
    assert "cannot be reached" in got.notes[0]
    assert got.notes[1] == "the last one kept is 2 h old"


def test_other_services_are_asked_for_the_venues_point(service: Service, tmp_path: Path, waits: list[float]) -> None:
    with pytest.raises(InputError):
        fetch.forecast("metno", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert service.asked[-1][0] == "/complete?lat=30.0200&lon=-84.9800&altitude=4"
    with pytest.raises(InputError):
        fetch.forecast("mosmix:10637", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert service.asked[-1][0] == "/10637/kml/MOSMIX_L_LATEST_10637.kmz"


@pytest.mark.parametrize("text", ["noaa", "mosmix", "mosmix:../etc", "nws:ABC", "", "metar:KABC"])
def test_a_source_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="source"):
        fetch.source(text)


def _observations() -> bytes:
    def row(hour: int) -> dict[str, Any]:
        value = {
            "station": "https://x/stations/KAAF", "timestamp": f"2022-02-04T{hour:02d}:53:00+00:00",
            "temperature": {"unitCode": "wmoUnit:degC", "value": 10.0 - hour},
            "dewpoint": {"unitCode": "wmoUnit:degC", "value": None if hour == 1 else 5.0},
            "windSpeed": {"unitCode": "wmoUnit:km_h-1", "value": 18.0},
            "windDirection": {"unitCode": "wmoUnit:degree_(angle)", "value": 270},
            "windGust": {"unitCode": "wmoUnit:km_h-1", "value": None},
            "barometricPressure": {"unitCode": "wmoUnit:Pa", "value": 101300},
            "precipitationLastHour": {"unitCode": "wmoUnit:mm", "value": 1.5 if hour == 2 else None},
            "cloudLayers": [{"base": {"value": 900}, "amount": "BKN"}] if hour else [{"amount": "CLR"}],
        }  # fmt: skip
        return {"geometry": {"type": "Point", "coordinates": [-85.03, 29.73]}, "properties": value}

    return json.dumps({"type": "FeatureCollection", "features": [row(h) for h in (3, 2, 1, 0)]}).encode()


def test_the_last_days_observations_are_fetched(service: Service, tmp_path: Path, waits: list[float]) -> None:
    station = {"features": [{"id": f"{service.base}/stations/KAAF"}]}
    service.answers["/stations"] = [body(json.dumps(station).encode())]
    service.answers["/stations/KAAF/observations"] = [body(_observations())]
    got = fetch.observed("nws", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    raw = read.weather(got.path, SITE)
    assert raw.air_temperature.values[0] - 273.15 == pytest.approx([10.0, 9.0, 8.0, 7.0])
    assert raw.wind_speed.values[0, 0] == pytest.approx(5.0)
    assert raw.cloud_area_fraction.values[0] == pytest.approx([0.0, 0.75, 0.75, 0.75])
    assert float((raw.precipitation_flux * 3600).sum()) == pytest.approx(1.5)
    assert service.asked[-1][0].endswith("start=2022-01-28T05:00:00Z")


def test_an_airports_reports_are_fetched(service: Service, tmp_path: Path, waits: list[float]) -> None:
    text = "KAAF 040353Z 27010KT 10SM CLR 07/05 A2992\nKAAF 040253Z 27010KT 10SM CLR 08/05 A2992\n"
    service.answers["/metar"] = [body(text.encode())]
    got = fetch.observed("metar:kaaf", SITE, tmp_path, NOW, base=service.base, visit=_visit(waits))
    assert str(read.weather(got.path, SITE).time.values[-1])[:16] == "2022-02-04T03:53"
