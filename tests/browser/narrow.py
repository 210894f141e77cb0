"""A phone of 320 pixels, and what is wrong with a page on it."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page

WIDTH = 320


def narrow_page(context_of: Callable[..., BrowserContext], scheme: str = "light") -> Page:
    """Light or dark; the content policy is passed by, since axe is put into the page."""
    return context_of(
        viewport={"width": WIDTH, "height": 740},
        color_scheme=scheme,
        bypass_csp=True,
        reduced_motion="reduce",
    ).new_page()


def open_folds(page: Page) -> None:
    page.evaluate("document.querySelectorAll('main details').forEach(fold => { fold.open = true })")


def sideways(page: Page) -> list[str]:
    """What goes sideways with text at 200 %, which the page keeps from here on."""
    page.add_style_tag(content="html { font-size: 225% !important }")
    width = page.evaluate("document.documentElement.scrollWidth")
    return [f"{width} pixels wide with text at 200 %"] if width > WIDTH else []
