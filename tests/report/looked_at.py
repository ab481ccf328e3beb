"""How a page of ours is looked at in a browser: the sizes, and the rules of axe-core."""

from importlib.resources import files

from playwright.sync_api import Page

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


def axe_finds(page: Page) -> dict[str, list[str]]:
    """What axe-core finds with every detail open, in the light on a phone and in the dark on a desk."""
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = {}
    for scheme, size in (("light", PHONE), ("dark", DESK)):
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=scheme)
        found[scheme] = page.evaluate(
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice']})"
            ".then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 90)).join(' | ')))"
        )
    return found
