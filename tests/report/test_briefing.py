"""The briefing as a file: whole, small, the same every time, and every word of it ours to say."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from forbidden_words import FORBIDDEN, NOT_METRIC, NOT_US

from microclimate.report import briefing
from microclimate.report.answer import Answer
from microclimate.units import Shown

LIMIT = 200_000  # [byte] of the whole page: it goes by mail
NAMES = ["answer", "metric", "unknown"]


class _Text(HTMLParser):
    """Everything a reader or a screen reader is told, and every attribute."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.hidden += tag == "style"
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag == "style"

    def handle_data(self, data: str) -> None:
        if not self.hidden and data.strip():
            self.words.append(data.strip())


def read(page: str) -> _Text:
    """The page, parsed."""
    parser = _Text()
    parser.feed(page)
    return parser


@pytest.fixture(scope="module", params=NAMES)
def told(request: pytest.FixtureRequest) -> Answer:
    """Each of the made-up answers."""
    found: Answer = request.getfixturevalue(request.param)
    return found


@pytest.fixture(scope="module")
def page(told: Answer) -> str:
    """Its briefing."""
    return briefing.page(told)


def test_it_is_written_whole_and_small_and_the_same_each_time(told: Answer, page: str, tmp_path: Path) -> None:
    path = briefing.write(told, tmp_path / "briefing.html")
    assert [file.name for file in tmp_path.iterdir()] == ["briefing.html"]
    assert path.read_text(encoding="utf-8") == page
    assert 30_000 < path.stat().st_size < LIMIT


def test_no_script_and_nothing_from_outside(page: str) -> None:
    assert "<script" not in page
    for tag, name, value in read(page).attributes:
        assert not name.startswith("on")
        if name in {"src", "href", "xlink:href"}:
            assert value.startswith("#"), (tag, name, value)
    without_names = re.sub(r'xmlns(:\w+)?="[^"]*"', "", page)
    assert "http" not in without_names
    assert "@import" not in page


def test_every_word_is_ours_to_say(told: Answer, page: str) -> None:
    text = " ".join(read(page).words).replace("\u00a0", " ")
    assert not FORBIDDEN.search(text), FORBIDDEN.search(text)
    assert not re.search(r"(?<![\d.])(0|100) %(?! (of|ice))", re.sub(r"Share below freezing.*?Canopy of", "", text))
    wrong = NOT_US if told.shown.system == "US" else NOT_METRIC
    assert not wrong.search(text), wrong.search(text)
    assert bool(re.search(r"\d (am|pm)\b", text)) is (told.shown.clock == 12)
    for zone in told.zones:
        assert zone in text


def test_the_pictures_are_well_formed_and_told_in_words(page: str) -> None:
    pictures = re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL)
    assert len(pictures) == 3
    for text in pictures:
        root = ET.fromstring(text)
        space = "{http://www.w3.org/2000/svg}"
        labels = {child.get("id") for child in root if child.tag in {f"{space}title", f"{space}desc"}}
        assert root.get("role") == "img"
        assert set((root.get("aria-labelledby") or "").split()) == labels
        assert all(child.text for child in root if child.get("id") in labels)
        assert len(list(root.iter(f"{space}text"))) > 3  # letters stay letters
        assert "date" not in text.lower().replace("update", "")
    assert page.count("<details>") >= 3
    identifiers = re.findall(r'\bid="([^"]+)"', page)
    assert len(identifiers) == len(set(identifiers))
    assert set(re.findall(r"url\(#([^)]+)\)", page)) <= set(identifiers)


def test_curves_are_drawn(answer: Answer) -> None:
    """24 pale curves, three named ones, the air and the line at freezing."""
    curves = re.search(r'aria-labelledby="curves-title.*?</svg>', briefing.page(answer), flags=re.DOTALL)
    assert curves is not None
    lines = re.findall(r'id="curves-line2d_\d+"', curves[0])
    assert len(lines) >= len(answer.zones) + 3 + 1 + 1


def test_names_are_letters_not_markup(answer: Answer) -> None:
    cruel = '<b>"North" & co</b>'
    rename = {answer.zones[20]: cruel}
    risk = answer.risk.assign_coords(zone=[rename.get(z, z) for z in answer.zones])
    curves = answer.curves.assign_coords(zone=risk["zone"].values)
    outlines = {rename.get(z, z): corners for z, corners in answer.outlines.items()}
    page = briefing.page(replace(answer, venue=cruel, risk=risk, curves=curves, outlines=outlines))
    assert cruel not in page
    assert page.count("&lt;b&gt;") > 5
    for text in re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL):
        ET.fromstring(text)


def test_differences_are_converted_as_differences(unknown: Answer) -> None:
    """A spread of 2 K is 4 degF (3.6), not 36 degF."""
    assert "give or take 4\u00a0°F" in briefing.page(unknown)
    metric = replace(unknown, shown=Shown("metric", 24, "Europe/Oslo"))
    assert "give or take 2.0\u00a0K" in briefing.page(metric)


def test_advice_says_start_by(metric: Answer) -> None:
    text = " ".join(read(briefing.page(metric)).words).replace("\u00a0", " ")
    assert "Lay the frost cover (Roof side C): start by Tue 22:45; before the canopy cools." in text
