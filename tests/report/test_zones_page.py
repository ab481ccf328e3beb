"""The page and words of `zones` on the demo: accessible, readable on a phone, no verdicts, one reader's units."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from forbidden_words import FORBIDDEN, NOT_METRIC, NOT_US
from looked_at import PHONE, axe_finds
from playwright.sync_api import Browser, Page, sync_playwright

from microclimate.workflow.zones import zones

DEMO = Path(__file__).parents[2] / "data_demo"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
LAMP = """
[[lamp]]
name = "rig"
zones = ["West flank 3"]
photon_flux = 700
heat = 300
hours = 8
"""


@pytest.fixture(scope="module", params=["metric", "US"])
def told(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str, Path]:
    """Units, text and page of four days with everything asked for."""
    folder = tmp_path_factory.mktemp(request.param)
    text = (DEMO / "venue.toml").read_text(encoding="utf-8").replace('units = "metric"', f'units = "{request.param}"')
    if request.param == "US":
        text = text.replace("clock = 24", "clock = 12")
    (folder / "venue.toml").write_text(text + LAMP, encoding="utf-8")
    said = zones(
        folder / "venue.toml",
        DEMO / "past.csv",
        first="2026-01-16",
        last="2026-01-19",
        at="2026-01-16T16:00",
        variants=["without stands", "seats covered"],
        compare="West flank 3, East middle 2",
        covers=["growth sheet, 2026-01-16T17:00/2026-01-17T12:00"],
        heat_off="2026-01-17T17:00",
        out=folder,
    )
    return request.param, said.partition("\nPage:")[0], folder / "zones.html"


def test_no_verdict_and_no_other_reader_s_units(told: tuple[str, str, Path]) -> None:
    units, text, path = told
    page = path.read_text(encoding="utf-8").split("</style>", 1)[1]
    for said in (text, page):
        found = FORBIDDEN.search(said)
        assert found is None, said[max(0, found.start() - 60) : found.end() + 40]
    strange = (NOT_US if units == "US" else NOT_METRIC).search(text)
    assert strange is None, text[max(0, strange.start() - 60) : strange.end() + 40]


def test_every_picture_has_words_and_every_line_fits(told: tuple[str, str, Path]) -> None:
    _, text, path = told
    page = path.read_text(encoding="utf-8")
    assert page.count("<svg") == page.count("<desc") == page.count('role="img"') >= 13
    for name in ("energy-sun", "energy-sky", "energy-stands", "longwave-sky", "longwave-stands", "sky-view-factor"):
        assert f'<figure id="{name}"' in page
    for name in ("light-integral", "sunlit-hours", "coldest", "hottest", "strips", "without-stands-light-integral"):
        assert f'<figure id="{name}"' in page
    assert max(map(len, text.splitlines())) <= 80


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def opened(told: tuple[str, str, Path], browser: Browser) -> Iterator[Page]:
    page = browser.new_page(viewport=PHONE)
    page.goto(told[2].as_uri())
    yield page
    page.close()


@pytest.mark.page
def test_no_finding_of_axe(opened: Page) -> None:
    assert axe_finds(opened) == {"light": [], "dark": []}


@pytest.mark.page
def test_no_scrolling_sideways(opened: Page) -> None:
    opened.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    for width in (360, 390, 768, 1280):
        opened.set_viewport_size({"width": width, "height": 844})
        assert opened.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.page
def test_letters_are_readable_on_a_phone(opened: Page) -> None:
    words = opened.evaluate(
        "[...document.querySelectorAll('p, li, td, th, caption, summary')]"
        ".map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(words) >= 13
