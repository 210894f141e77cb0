"""Every page that an owner can open, visited once in a real browser on a narrow phone: accessible by day and
by night, nothing sideways, controls for a glove, and nothing that the content policy forbids."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from django.urls import resolve
from playwright.sync_api import ConsoleMessage, Page, ViewportSize

from tests.browser.addresses import addresses
from tests.browser.axe import findings_by_day_and_night
from tests.browser.controls import FLOOR, GLOVE, PRESS_SIDE, controls, too_close, too_small
from tests.browser.narrow import HEIGHT, WIDTH, narrow_page, open_folds, sideways
from tests.browser.program import MakeContext, SignIn
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User

PARTS = 4
"""Of the walk, so that several workers share it."""
PHONE: ViewportSize = {"width": 360, "height": HEIGHT}
"""On which controls are measured; all else is looked at on a narrower one."""
CODE_OF_A_CAUTION = r"\b\d+-[0-9A-HJKMNP-TV-Z]{5}\b"
"""For paper and mail, where two of them are compared; noise on a screen."""
GRID_GOES_SIDEWAYS = (
    "[...document.querySelectorAll('form .frame')].some(it => it.scrollWidth > it.clientWidth)"
)


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


def name_of(address: str) -> str:
    return str(resolve(address.partition("?")[0]).url_name)


def wrong_controls(page: Page, name: str, title: str) -> Iterator[str]:
    found = controls(page)
    assert len(found) >= 5, title
    at_the_press = name in PRESS_SIDE
    for words in too_small(found, GLOVE if at_the_press else FLOOR):
        yield f"{title}: {words}"
    for words in too_close(found) if at_the_press else []:
        yield f"{title}: {words}"


def wrong_with(page: Page, address: str) -> Iterator[str]:
    """Everything that is wrong with the page that is open there. In the end its text is at 200 %."""
    name = name_of(address)
    yield from wrong_controls(page, name, address)
    open_folds(page)
    yield from wrong_controls(page, name, f"{address} with open folds")
    for code in re.findall(CODE_OF_A_CAUTION, page.locator("main").inner_text()):
        if name != "cautions":  # which says what it is for
            yield f"{address}: the code {code} of a caution stands on the screen"
    page.set_viewport_size({"width": WIDTH, "height": HEIGHT})
    for finding in findings_by_day_and_night(page):
        yield f"{address}: {finding}"
    for what in sideways(page):
        yield f"{address}: {what}"
    if page.evaluate(GRID_GOES_SIDEWAYS):
        yield f"{address}: the grid goes sideways within its frame with text at 200 %"
    page.set_viewport_size(PHONE)


def test_the_walk_comes_by_every_page_that_is_used_at_a_press(shop: LookMill) -> None:
    assert {name_of(address) for address in addresses(shop)} >= PRESS_SIDE


@pytest.mark.parametrize("part", range(PARTS))
def test_every_page_is_accessible_fits_a_narrow_phone_and_a_glove_and_keeps_its_content_policy(
    part: int, context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    page = narrow_page(context_of)
    page.set_viewport_size(PHONE)
    wrong: list[str] = []

    def note(message: ConsoleMessage) -> None:
        # The harness keeps workers out where a test is not about them, and says so on the console.
        if message.type in ("error", "warning") and "blocked by Playwright" not in message.text:
            wrong.append(f"{page.url}: {message.text}")

    page.on("console", note)
    page.on("pageerror", lambda error: wrong.append(f"{page.url}: {error}"))
    sign_in(page, User.objects.get())
    for address in list(addresses(shop))[part::PARTS]:
        answer = page.goto(address)
        assert answer is not None
        assert answer.status == 200, address
        wrong += wrong_with(page, address)
    assert not wrong, "\n".join(wrong)


BREAKS = {
    "image-alt": "document.querySelector('main').append(document.createElement('img'))",
    "in the dark, color-contrast": """{
      const sheet = new CSSStyleSheet();
      sheet.replaceSync('@media (prefers-color-scheme: dark) { main, main * { color: #23201b !important } }');
      document.adoptedStyleSheets = [sheet];
    }""",
    "pixels wide with text at 200 %": "document.querySelector('main').style.setProperty('width', '340px')",
    "BUTTON One: 18.0 pixels": """{
      const one = document.createElement('button');
      one.textContent = 'One';
      one.style.all = 'initial';
      one.style.width = '23px';
      document.querySelector('main').append(one);
    }""",
    "Content Security Policy": """{
      const one = document.createElement('script');
      one.textContent = 'window.told = 1';
      document.head.append(one);
    }""",
    "the code 0-7KQ2M of a caution": "document.querySelector('main').append('flip the die, 0-7KQ2M')",
    "broken by the test": "setTimeout(() => { throw new Error('broken by the test') })",
}
"""What is told of a page, and how it is broken so."""


@pytest.mark.parametrize("told", BREAKS)
def test_a_page_that_is_broken_on_purpose_is_told_of(
    told: str, context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    page = narrow_page(context_of)
    page.set_viewport_size(PHONE)
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    sign_in(page, User.objects.get())
    page.goto("/log/waiting/")
    page.evaluate(BREAKS[told])
    wrong += wrong_with(page, "/log/waiting/")
    assert any(told in words for words in wrong), wrong
