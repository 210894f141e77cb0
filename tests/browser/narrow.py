"""A phone of 320 pixels, and what is wrong with a page on it."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page

WIDTH, HEIGHT = 320, 740


def narrow_page(context_of: Callable[..., BrowserContext]) -> Page:
    return context_of(
        viewport={"width": WIDTH, "height": HEIGHT},
        has_touch=True,
        is_mobile=True,
        reduced_motion="reduce",
    ).new_page()


def add_style(page: Page, content: str) -> None:
    """By script, which the pages' content policy lets through: so it can be in force meanwhile."""
    page.evaluate(
        """content => {
          const sheet = new CSSStyleSheet();
          sheet.replaceSync(content);
          document.adoptedStyleSheets = [...document.adoptedStyleSheets, sheet];
        }""",
        content,
    )


def open_folds(page: Page) -> None:
    page.evaluate("document.querySelectorAll('main details').forEach(fold => { fold.open = true })")


def sideways(page: Page) -> list[str]:
    """What goes sideways with text at 200 %, which the page keeps from here on."""
    add_style(page, "html { font-size: 225% !important }")
    width = page.evaluate("document.documentElement.scrollWidth")
    return [f"{width} pixels wide with text at 200 %"] if width > WIDTH else []
