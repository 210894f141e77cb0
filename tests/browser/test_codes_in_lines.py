"""The code of a part stays in one piece wherever a line ends, and a menu closes by a touch elsewhere."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.narrow import add_style, narrow_page
from tests.browser.program import MakeContext, SignIn
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.equipment.models import Part
from wearlog.people.models import User

LINES_OF_CODE = """code => {
  const range = document.createRange();
  const broken = [];
  let found = 0;
  for (const one of document.querySelectorAll('main :is(h1, h3, a, p, strong, .job-title, .what)')) {
    if (!one.checkVisibility() || !one.textContent.includes(code)) continue;
    const nodes = [];
    const walk = document.createTreeWalker(one, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) nodes.push(walk.currentNode);
    let at = one.textContent.indexOf(code), end = at + code.length;
    for (const [edge, where] of [['setStart', at], ['setEnd', end]]) {
      let left = where;
      for (const node of nodes) {
        if (left <= node.length) { range[edge](node, left); break; }
        left -= node.length;
      }
    }
    const boxes = [...range.getClientRects()].filter(box => box.width);
    const lines = new Set(boxes.map(box => Math.round(box.top)));
    found += 1;
    if (lines.size > 1) broken.push(one.textContent.trim().slice(0, 60));
  }
  return [found, broken];
}"""
"""How often a code is seen on the page, and the lines in which it is in two pieces."""


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    shop = whole_mill()
    Part.objects.filter(pk=shop.die.pk).update(code="D10-05-b")
    return shop


@pytest.mark.parametrize("script", [True, False])
def test_a_code_breaks_at_no_hyphen_at_any_width(
    script: bool, context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    page = context_of(viewport={"width": 360, "height": 740}).new_page()
    sign_in(page, User.objects.get())
    if not script:  # so that this test is known to see a broken one
        page.route("**/comfort*.js", lambda route: route.abort())
    seen, broken = 0, []
    crop_change = f"/log/crop-change/?press={shop.north.pk}"
    for path in ("/", f"/presses/{shop.north.pk}/", f"/parts/{shop.die.pk}/", "/due/", "/log/", crop_change):
        page.goto(path)
        for width in range(320, 480, 8):
            page.set_viewport_size({"width": width, "height": 740})
            found, in_two = page.evaluate(LINES_OF_CODE, "D10-05-b")
            seen += found
            broken += in_two
    assert seen > 100
    assert (broken == []) is script


def test_a_code_longer_than_its_line_goes_nowhere_sideways(
    context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    Part.objects.filter(pk=shop.die.pk).update(code="rapeseed-5-2024-05-b")
    page = narrow_page(context_of)
    sign_in(page, User.objects.get())
    for path in ("/", f"/presses/{shop.north.pk}/", f"/parts/{shop.die.pk}/"):
        page.goto(path)
        add_style(page, "html { font-size: 225% !important }")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path


def test_each_menu_closes_by_a_touch_elsewhere(page: Page, sign_in: SignIn, shop: LookMill) -> None:
    sign_in(page, User.objects.get())
    page.goto("/")
    for number in range(3):
        menu = page.locator(".tabs details").nth(number)
        menu.locator("summary").click()
        expect(menu.locator(".index")).to_be_visible()
        page.locator("main").click(position={"x": 5, "y": 600})
        expect(menu.locator(".index")).not_to_be_visible()
