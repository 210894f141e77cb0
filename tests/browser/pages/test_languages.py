"""Every page in each language beside English: nothing sideways on a narrow phone with large text."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.conf import settings
from playwright.sync_api import Page

from tests.browser.addresses import addresses
from tests.browser.narrow import narrow_page, open_folds, sideways
from tests.browser.program import MakeContext
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


@pytest.mark.parametrize("language", [code for code, _name in settings.LANGUAGES if code != "en"])
def test_nothing_is_sideways_in_another_language(
    language: str, context_of: MakeContext, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    User.objects.update(language=language)
    page = narrow_page(context_of)
    sign_in(page, User.objects.get())
    wrong = []
    for address in addresses(shop):
        page.goto(address, wait_until="domcontentloaded")
        assert page.evaluate("document.documentElement.lang") == language, address
        open_folds(page)
        wrong += [f"{address}: {what}" for what in sideways(page)]
    assert wrong == []
