"""Every page in German and French: longer words, and nothing sideways on a narrow phone with large text."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.test_pages_all import addresses
from tests.browser.test_pages_all import shop as shop
from tests.browser.test_pages_look import MakeContext
from tests.web.look_mill import LookMill
from wearlog.people.models import User


@pytest.mark.parametrize("language", ["de", "fr"])
def test_nothing_is_sideways_in_another_language(
    language: str, context_of: MakeContext, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    User.objects.update(language=language)
    page = context_of(viewport={"width": 320, "height": 740}, bypass_csp=True).new_page()
    sign_in(page, User.objects.get())
    wrong = []
    for address in addresses(shop):
        page.goto(address, wait_until="domcontentloaded")
        assert page.evaluate("document.documentElement.lang") == language, address
        page.evaluate("document.querySelectorAll('main details').forEach(fold => { fold.open = true })")
        page.add_style_tag(content="html { font-size: 225% !important }")
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > 320:
            wrong.append(f"{address}: {width} pixels wide with text at 200 %")
    assert wrong == []
