"""How far somebody with a phone has to scroll, in screens of 360 x 740 pixels."""

from __future__ import annotations

from playwright.sync_api import Page

SCREEN = 740


def screens(page: Page) -> float:
    height: float = page.evaluate("document.documentElement.scrollHeight")
    return height / SCREEN
