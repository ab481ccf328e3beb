"""The briefing in Chromium: accessible, readable on a phone, and on one printed sheet of either paper.

The rules are those of axe-core, as the package axe-playwright-python ships them; `CHROMIUM` names the browser where it
is not in the path.
"""

import os
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import made_plan
import made_work
import pytest
import xarray as xr
from looked_at import DESK, PHONE, axe_finds
from playwright.sync_api import Browser, Page, sync_playwright

from microclimate.report import briefing, words_cautions, words_plan
from microclimate.report.answer import EQUIPMENT, Answer, Fact
from microclimate.report.words_reasons import ASSUMED
from microclimate.schema import Event

pytestmark = pytest.mark.page
HOURS = timedelta(0), timedelta(hours=6)

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield opened
        opened.close()


def few(answer: Answer) -> Answer:
    """Four zones, one window, nothing assumed."""
    zones = list(answer.zones[:4])
    return replace(
        answer,
        risk=answer.risk.sel(zone=zones).isel(event=[0]),
        curves=answer.curves.sel(zone=zones),
        windows=answer.windows[:1],
        assumed=(),
        reasons=(),
        equipment=frozenset(),
        limit=None,
        section=answer.section.assign_attrs(zone=zones[0]),
    )


def planned(answer: Answer) -> Answer:
    """With a plan of four actions."""
    made = made_plan.plan(answer, made_plan.HEAT, made_plan.LAY, made_plan.LIFT, made_plan.STOP)
    return replace(answer, plan=made, advice=words_plan.advice(answer, made))


def busy(answer: Answer) -> Answer:
    """With six actions whose latest start cannot be told, as the demo's night has them."""
    late = {"by": ("not reachable",) * 3}
    first, second = (replace(made_plan.LAY, what="growth sheet", start=made_plan.LAY.start + h, **late) for h in HOURS)
    lifts = [replace(made_plan.LIFT, what="growth sheet", start=made_plan.LIFT.start + h) for h in HOURS]
    heats = [replace(made_plan.HEAT, what=name, **late) for name in ("south trays", "middle")]
    around = (0.3, 0.6)
    stops = [replace(made_plan.STOP, what=heat.what) for heat in heats]
    best = replace(made_plan.option(*heats, first, lifts[0], second, lifts[1], *stops), around=around)
    made = replace(made_plan.plan(answer, *best.deeds), best=best)
    return replace(answer, plan=made, advice=words_plan.advice(answer, made))


def working(answer: Answer) -> Answer:
    """With hours of work for three days."""
    return replace(answer, work=made_work.worked())


def full(answer: Answer) -> Answer:
    """Sixty zones with long names, three windows, every caution, reason and assumption that there is."""
    names = [f"Zone {k} beside the long terrace" for k in range(60)]
    pick = [k % 24 for k in range(60)]
    risk = xr.concat([answer.risk, answer.risk.isel(event=[1])], "event").isel(zone=pick).assign_coords(zone=names)
    shapes = list(answer.outlines.values())
    more = (Fact("snow coming", {}), Fact("freezing rain", {}), Fact("damp air", {"dew_point": 272.0}))
    return replace(
        answer,
        risk=risk,
        curves=answer.curves.isel(zone=pick).assign_coords(zone=names),
        outlines={name: shapes[k] for name, k in zip(names, pick, strict=True)},
        windows=(*answer.windows, Event("morning training", answer.windows[1].start, answer.windows[1].end)),
        assumed=tuple(f"{key}=some value of it" for key in ASSUMED),
        reasons=(*answer.reasons, *more),
        equipment=EQUIPMENT,
    )


@pytest.fixture(scope="module", params=["answer", "metric", "unknown", "few", "full", "planned", "busy", "working"])
def told(request: pytest.FixtureRequest, answer: Answer) -> Answer:
    """Each made-up answer, and the leanest and the fullest of them."""
    cases: dict[str, Callable[[Answer], Answer]] = {
        "few": few,
        "full": full,
        "planned": planned,
        "busy": busy,
        "working": working,
    }
    if request.param in cases:
        return cases[request.param](answer)
    found: Answer = request.getfixturevalue(request.param)
    return found


@pytest.fixture(scope="module")
def path(told: Answer, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its briefing."""
    return briefing.write(told, tmp_path_factory.mktemp("page") / "briefing.html")


@pytest.fixture
def opened(path: Path, browser: Browser) -> Iterator[Page]:
    """Its briefing in the browser, at the size of a phone."""
    page = browser.new_page(viewport=PHONE)
    page.goto(path.as_uri())
    yield page
    page.close()


def test_it_prints_on_one_sheet(opened: Page) -> None:
    for paper in ("A4", "Letter"):
        printed = opened.pdf(format=paper)
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1, paper


def test_the_sheet_holds_what_it_must(opened: Page, told: Answer) -> None:
    opened.set_viewport_size({"width": 756, "height": 990})
    opened.emulate_media(media="print")
    seen = opened.locator("main").inner_text().replace("\u00a0", " ")
    for caution in words_cautions.cautions(told):
        assert caution in seen
    assert told.coldest_first[0] in seen
    if told.plan is not None:
        for words in ("Call crew by", "People", "kWh", "Cost", "Plant: ", "Officials: ", "outside your limits"):
            assert words in seen
    zoom = float(opened.evaluate("getComputedStyle(document.body).getPropertyValue('--print-zoom')"))
    small = opened.evaluate(
        "Math.min(...[...document.querySelectorAll('td, th, li, p, caption')]"
        ".filter(e => e.offsetParent && e.textContent.trim()).map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert small * zoom / 96 * 72 >= 5.5  # [pt] ours: the size of a footnote


def test_no_finding_of_axe(opened: Page) -> None:
    assert axe_finds(opened) == {"light": [], "dark": []}


def test_no_scrolling_sideways(opened: Page) -> None:
    opened.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    for width in (360, 390, 768, 1280):
        opened.set_viewport_size({"width": width, "height": 844})
        assert opened.evaluate("document.documentElement.scrollWidth") <= width


def test_the_first_screen_of_a_phone_holds_the_answer(opened: Page, told: Answer) -> None:
    acts = (".acting li:last-child", ".effect") if told.plan is not None else ()
    for selector in (".age", *acts, ".cold", ".chances tbody tr:first-child"):
        box = opened.locator(selector).bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= PHONE["height"]


def test_letters_are_readable_on_a_phone(opened: Page) -> None:
    letters = opened.evaluate(
        "[...document.querySelectorAll('svg text')].map(t => { const s = t.ownerSVGElement;"
        " return parseFloat(getComputedStyle(t).fontSize) * s.clientWidth / s.viewBox.baseVal.width })"
    )
    assert min(letters) >= 8.5
    words = opened.evaluate(
        "[...document.querySelectorAll('p, li, td, th, caption, summary')]"
        ".map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(words) >= 13


def test_curves_stay_in_their_picture(opened: Page) -> None:
    for name in ("map", "curves", "section"):
        outside = opened.evaluate(
            f"(() => {{ const s = document.querySelector('#{name} svg').getBoundingClientRect();"
            f" return [...document.querySelectorAll('#{name} svg text')].filter(t => {{"
            " const b = t.getBoundingClientRect(); return b.left < s.left - 1 || b.right > s.right + 1 }"
            ").map(t => t.textContent) })()"
        )
        assert outside == []


def test_nothing_is_fetched(path: Path, browser: Browser) -> None:
    asked: list[str] = []
    page = browser.new_page(viewport=DESK)
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    page.close()
    assert asked == [path.as_uri()]
