"""What axe finds on a page, in light and in dark."""

from __future__ import annotations

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

from tests.browser.narrow import add_style

RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],  # nothing is gathered about what passed: it would take most of the time
}
RULES_ON_COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
"""All that can come out otherwise in the dark: it changes colours alone, as `test_look_style.py` sees to."""


def findings(page: Page, within: str = "html", *, rules: dict[str, object] = RULES) -> list[str]:
    """What axe finds. The ruled lines are taken away first: behind a picture it measures no contrast (the
    contrast of ink against the lines has a test of its own). The bars at the bottom lie below the page
    instead of over it, since axe counts a target that is covered at this moment as a small one."""
    add_style(
        page,
        "body { background-image: none !important } .ways-in, .savebar { position: static !important }",
    )
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE_SCRIPT)  # once for each page: half a megabyte, which the browser would compile anew
    violations = page.evaluate(
        "async ([within, options]) => (await axe.run(within, options)).violations",
        [within, {**RULES, **rules}],
    )
    return [f"{finding['id']}: {node['html'][:160]}" for finding in violations for node in finding["nodes"]]


def findings_by_day_and_night(page: Page) -> list[str]:
    """What axe finds on the light page, and what more there is on the dark one."""
    light = findings(page)
    page.emulate_media(color_scheme="dark")
    dark = findings(page, rules=RULES_ON_COLOURS)
    page.emulate_media(color_scheme="light")
    return light + [f"in the dark, {finding}" for finding in dark]
