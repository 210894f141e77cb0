"""Without a mouse: what has the focus is seen, and nothing that hovers over the page covers it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.program import MakeContext
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User

SignIn = Callable[[Page, User], None]
FOCUS = """() => {
  const one = document.activeElement;
  const box = one.getBoundingClientRect();
  const bar = document.querySelector('.ways-in, .savebar');
  const over = bar && !bar.contains(one) && getComputedStyle(bar).position === 'sticky' ?
    bar.getBoundingClientRect() : {top: innerHeight, bottom: innerHeight};
  // A bar that has come to its own place in the page lets what follows it be seen.
  const last = over.bottom >= innerHeight - 1;
  const style = getComputedStyle(one);
  return {words: one.outerHTML.slice(0, 90), page: one === document.body,
    covered: box.bottom <= 0 || box.top >= innerHeight ||
      (box.top >= over.top && (last || box.bottom <= over.bottom)),
    outline: style.outlineStyle === 'none' ? 0 : parseFloat(style.outlineWidth)};
}"""


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


PAGES = [
    "/", "/due/", "/presses/{press}/", "/parts/", "/log/run/?press={press}",
    "/log/crop-change/?press={press}", "/log/work/?fitting={die}&action=flip",
]  # fmt: skip


@pytest.mark.parametrize("address", PAGES)
@pytest.mark.parametrize("key", ["Tab", "Shift+Tab"])
def test_whatever_has_the_focus_is_outlined_and_not_covered(
    key: str, address: str, context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    """WCAG 2.2: 2.4.7 and 2.4.11, on a small window, both ways through the page, scrolled at once."""
    phone = context_of(viewport={"width": 360, "height": 740}, reduced_motion="reduce").new_page()
    sign_in(phone, User.objects.get())
    phone.goto(address.format(press=shop.north.pk, die=shop.die_fitting.pk))
    wrong, stops = [], 0
    for _ in range(150):
        phone.keyboard.press(key)
        found = phone.evaluate(FOCUS)
        if found["page"]:
            break
        stops += 1
        if found["covered"] or found["outline"] < 2:
            wrong.append(found)
    assert stops > 10
    assert wrong == []


def test_escape_closes_the_index_and_a_fold_and_gives_the_focus_back(
    page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(page, User.objects.get())
    page.goto("/")
    for fold in (page.locator(".tabs details").first, page.locator(".job-more").first):
        summary = fold.locator("summary").first
        summary.focus()
        page.keyboard.press("Enter")
        expect(fold).to_have_attribute("open", "")
        page.keyboard.press("Tab")
        expect(summary).not_to_be_focused()
        page.keyboard.press("Escape")
        expect(fold).not_to_have_attribute("open", "")
        expect(summary).to_be_focused()


def test_a_caution_opens_and_closes_by_the_keyboard(page: Page, sign_in: SignIn, shop: LookMill) -> None:
    sign_in(page, User.objects.get())
    page.goto("/")
    caution = page.get_by_role("note", name="WARNING").first
    whole = caution.get_by_text("Before you open or reach into anything")
    expect(whole).to_be_hidden()
    expect(caution.get_by_text("to lock first")).to_be_visible()
    expect(caution.get_by_text("can start by itself", exact=False).first).to_be_visible()
    caution.locator("summary").focus()
    page.keyboard.press("Enter")
    expect(whole).to_be_visible()
    page.keyboard.press("Escape")
    expect(whole).to_be_hidden()


def test_nothing_moves_for_whoever_asks_for_stillness(
    context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    page = context_of(reduced_motion="reduce").new_page()
    sign_in(page, User.objects.get())
    page.goto("/")
    moving = page.evaluate(
        """() => [document.documentElement, ...document.querySelectorAll('*')].filter(one => {
          const style = getComputedStyle(one);
          return style.scrollBehavior === 'smooth' || style.animationName !== 'none' ||
            style.transitionDuration.split(',').some(time => parseFloat(time) > 0);
        }).map(one => one.outerHTML.slice(0, 60))"""
    )
    assert moving == []
