"""What a thumb in a glove can hit: the sizes and gaps of every control, measured in a real browser."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import pytest
from django.urls import resolve
from playwright.sync_api import Page

from tests.browser.test_pages_all import addresses, whole_mill
from tests.mills.look_mill import LookMill
from wearlog.people.models import User

PRESS_SIDE = {
    "day", "forecast", "scan", "scan-code", "scan-job", "press", "press-open", "part", "waiting", "run-new",
    "run-stop", "shift-sheet", "week", "work-new", "incident-new", "crop-change-new", "note-new",
    "reading-new",
    "measurement-new", "fitting-new", "fitting-end", "fitting-swap", "due-mark", "isolation", "lock-on",
    "lock-off", "lock-verify", "lock-hand-over", "isolation-end", "my-devices",
}  # fmt: skip
GLOVE, FLOOR, GAP = 48, 24, 8
"""Pixels: ours for pages used at a press, WCAG 2.2's 2.5.8 for all others and for links within a sentence,
ours between two controls."""

MEASURE = """() => {
  const controls = 'a[href], button, summary, select, textarea, input:not([type=hidden])';
  return [...document.querySelectorAll(controls)]
    .filter(one => one.checkVisibility({visibilityProperty: true}) && !one.closest('.unseen'))
    .map(one => {
      const target = ['checkbox', 'radio'].includes(one.type) ? one.closest('label') ?? one : one;
      const box = target.getBoundingClientRect();
      const words = `${one.tagName} ${one.textContent.trim() || one.name}`.replace(/\\s+/g, ' ').slice(0, 60);
      const inText = one.matches('a') && getComputedStyle(one).display === 'inline' && !one.matches('svg a');
      return [words, inText, Boolean(one.closest('.ways-in')), Boolean(one.closest('svg')),
        box.left, box.top + scrollY, box.right, box.bottom + scrollY];
    });
}"""


class Control(NamedTuple):
    """A control as it lies on the page, in CSS pixels. `drawn`: a balloon of the press drawing, which leads
    where its line in the list below leads too (2.5.8: an equivalent control)."""

    words: str
    in_text: bool
    hovers: bool
    drawn: bool
    left: float
    top: float
    right: float
    bottom: float

    @property
    def smaller_side(self) -> float:
        return min(self.right - self.left, self.bottom - self.top)

    def gap_to(self, other: Control) -> float:
        return max(
            other.left - self.right,
            self.left - other.right,
            other.top - self.bottom,
            self.top - other.bottom,
        )


def controls(page: Page) -> list[Control]:
    return [Control(*row) for row in page.evaluate(MEASURE)]


def too_small(found: list[Control], least: float) -> list[str]:
    """Controls whose smaller side is below `least`, half a tenth of a pixel of rounding aside."""
    return [
        f"{one.words}: {one.smaller_side:.1f} pixels"
        for one in found
        if one.smaller_side < (FLOOR if one.in_text or one.drawn else least) - 0.05
    ]


def too_close(found: list[Control]) -> list[str]:
    """Pairs nearer than `GAP`; what hovers over the page, words in text and the drawing left out."""
    flow = [one for one in found if not (one.hovers or one.in_text or one.drawn)]
    return [
        f"{one.words} and {other.words}: {one.gap_to(other):.1f} pixels"
        for number, one in enumerate(flow)
        for other in flow[number + 1 :]
        if one.gap_to(other) < GAP - 0.05
    ]


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


def views(page: Page, shop: LookMill) -> Iterator[tuple[str, str]]:
    """Opens every page, first as it comes, then with all its folds open: its name and a title."""
    for address in addresses(shop):
        page.goto(address)
        name = str(resolve(address.partition("?")[0]).url_name)
        yield name, address
        page.evaluate("document.querySelectorAll('main details').forEach(fold => { fold.open = true })")
        yield name, f"{address} with open folds"


def test_every_control_is_as_large_and_as_far_from_the_next_as_a_glove_needs(
    phone: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    wrong, walked = [], set()
    for name, title in views(phone, shop):
        found = controls(phone)
        assert len(found) >= 5, title
        walked.add(name)
        at_the_press = name in PRESS_SIDE
        wrong += [f"{title}: {words}" for words in too_small(found, GLOVE if at_the_press else FLOOR)]
        if at_the_press:
            wrong += [f"{title}: {words}" for words in too_close(found)]
    assert walked >= PRESS_SIDE
    assert wrong == []


def test_the_open_index_is_as_large_and_as_wide_apart(
    phone: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    phone.goto("/scan/")
    phone.get_by_text("Index").click()
    links = [one for one in controls(phone) if not one.in_text]
    assert len([one for one in links if one.words.startswith("A ")]) > 15
    assert too_small(links, GLOVE) == []


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
