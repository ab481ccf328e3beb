"""The page of `sizing` on the demo and a typical year: accessible, readable on a phone and on paper, no verdicts."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pvlib
import pytest
from forbidden_words import FORBIDDEN
from looked_at import PHONE, axe_finds
from playwright.sync_api import Browser, Page, sync_playwright

from microclimate.sizing import options as opt
from microclimate.workflow.sizing import Question, sizing

pytestmark = pytest.mark.page
DEMO = Path(__file__).parents[2] / "data_demo"
CLIMATE = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("sizing")
    grid = opt.Asked(power="60, 120", lead="24, 48 h")
    sizing(DEMO / "venue.toml", [CLIMATE], Question(season="12-01/01-31", grid=grid, out=out))
    return out / "sizing.html"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    found = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def page(browser: Browser, path: Path) -> Iterator[Page]:
    opened = browser.new_page(viewport=PHONE)
    opened.goto(path.as_uri())
    yield opened
    opened.close()


def test_axe_finds_nothing(page: Page) -> None:
    assert axe_finds(page) == {"light": [], "dark": []}


def test_a_phone_scrolls_down_only(page: Page) -> None:
    """Only the table may be wider than the screen, in its own frame, which keys reach."""
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert page.evaluate("document.querySelector('.scroll').tabIndex") == 0


def test_four_figures_each_with_words(page: Page) -> None:
    assert page.locator("figure svg[role=img]").count() == page.locator("figure svg desc").count() == 4
    text = page.inner_text("body")
    assert FORBIDDEN.search(text) is None
    assert "licensed engineers" in text


def test_paper_holds_every_option_and_cuts_no_column(page: Page, tmp_path: Path) -> None:
    page.pdf(path=tmp_path / "sizing.pdf", format="A4", margin={"left": "12mm", "right": "12mm"})
    told = subprocess.run(["pdftotext", "-raw", tmp_path / "sizing.pdf", "-"], capture_output=True, text=True)
    plain = " ".join(told.stdout.split())
    assert plain.count("W/m² installed, frost hold") >= 6  # two powers, three covers
    assert "USD a season" in plain
    assert "Take care" in plain
