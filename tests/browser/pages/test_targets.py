"""What a thumb in a glove can hit: the sizes and gaps of every control, measured in a real browser."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.controls import (
    FLOOR,
    GLOVE,
    controls,
    too_close,
    too_small,
)
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


def test_the_open_menus_are_as_large_and_as_wide_apart(
    phone: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    phone.goto("/scan/")
    counted = 0
    for menu in ("Log", "Reports", "Set-up"):
        phone.locator(".tabs summary", has_text=menu).click()
        links = [one for one in controls(phone) if not one.in_text]
        counted += len([one for one in links if one.words.startswith("A ")])
        assert too_small(links, GLOVE) == []
        box = phone.locator(".tabs details[open] .index").bounding_box()
        assert box is not None
        assert 0 <= box["x"] <= box["x"] + box["width"] <= phone.evaluate("innerWidth"), menu
    assert counted > 15


def test_a_small_or_a_near_control_would_be_found(
    phone: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    phone.goto("/log/waiting/")
    assert too_small(controls(phone), GLOVE) + too_close(controls(phone)) == []
    phone.evaluate(
        """() => document.querySelector('main').insertAdjacentHTML('beforeend',
          '<p><button id="one" class="button">One</button><button class="button">Two</button></p>')"""
    )
    assert [words[:19] for words in too_close(controls(phone))] == ["BUTTON One and BUTT"]
    phone.locator("#one").evaluate("one => { one.style.all = 'initial'; one.style.width = '23px'; }")
    assert len(too_small(controls(phone), FLOOR)) == 1
