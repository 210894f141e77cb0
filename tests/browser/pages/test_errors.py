"""Forms that were filled in badly: what is wrong comes first, is focused, readable and accessible."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from django.urls import resolve
from playwright.sync_api import Page, expect

from tests.browser.addresses import addresses
from tests.browser.axe import findings_by_day_and_night
from tests.browser.narrow import narrow_page, open_folds, sideways
from tests.browser.program import MakeContext
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User

SEND_NONSENSE = """() => {
  const form = document.querySelector('main form[method=post]:not([action])') ??
    document.querySelector('main form[method=post]');
  if (!form) return false;
  for (const field of form.querySelectorAll('input, textarea')) {
    if (['hidden', 'checkbox', 'radio', 'file'].includes(field.type)) continue;
    field.value = ['date', 'time', 'datetime-local'].includes(field.type) ? '' : 'no: such <thing>';
  }
  const field = document.createElement('input');
  field.type = 'hidden';
  field.name = 'typed-badly';
  form.append(field);
  HTMLFormElement.prototype.submit.call(form);
  return true;
}"""
REFUSE_NONSENSE = {
    "run-new", "run-stop", "shift-sheet", "week", "incident-new", "reading-new", "measurement-new",
    "crop-new", "rule-new", "plan-new", "price-new", "settings", "my-settings", "lock-on", "yearly-record",
    "webhook", "my-reminders",
}  # fmt: skip
"""Some of the pages that can't take it; the walk finds more."""


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


PARTS = 3
"""Of the walk, so that several workers share it."""


def name_of(address: str) -> str:
    return str(resolve(address.partition("?")[0]).url_name)


def refused(page: Page, walk: list[str]) -> Iterator[tuple[str, str]]:
    """Opens these pages, fills their forms with nonsense, and stops where one says that it isn't saved."""
    for address in walk:
        if name_of(address) == "my-devices":
            continue  # its first form signs this very browser out
        page.goto(address)
        if page.locator("main form[method=post]").count():
            with page.expect_navigation(wait_until="load"):
                page.evaluate(SEND_NONSENSE)
            if page.locator("main .errors").count():
                yield name_of(address), address


@pytest.mark.parametrize("part", range(PARTS))
def test_what_is_wrong_is_focused_leads_to_its_field_is_accessible_and_what_was_typed_stays(
    part: int, context_of: MakeContext, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    page = narrow_page(context_of)
    sign_in(page, User.objects.get())
    walk = list(addresses(shop))[part::PARTS]
    wrong, names, leading = [], set(), 0
    for name, address in refused(page, walk):
        names.add(name)
        if not page.evaluate("document.activeElement.matches('main .errors')"):
            wrong.append(f"{address}: the focus is elsewhere")
        links = page.locator("main .errors a")
        for number in range(links.count()):
            target = links.nth(number).get_attribute("href") or ""
            assert page.locator(f"[id='{target[1:]}']").count() == 1, (address, target)
            leading += 1
        field = page.locator("main form input[type=text][aria-invalid=true]")
        if field.count():
            expect(field.first).to_have_value("no: such <thing>")
        open_folds(page)
        wrong += [f"{address}: {finding}" for finding in findings_by_day_and_night(page)]
        wrong += [f"{address}: {what}" for what in sideways(page)]
    assert names >= REFUSE_NONSENSE & {name_of(address) for address in walk}
    assert leading > 30 / PARTS
    assert wrong == []


def test_the_walk_comes_by_pages_that_refuse_nonsense(shop: LookMill) -> None:
    assert {name_of(address) for address in addresses(shop)} >= REFUSE_NONSENSE


def test_a_touch_on_a_line_of_the_summary_puts_the_cursor_into_its_field(
    phone: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    phone.goto(f"/log/reading/?press={shop.north.pk}")
    with phone.expect_navigation():
        phone.evaluate(SEND_NONSENSE)
    phone.locator("main .errors a").first.click()
    field = phone.locator("main [aria-invalid=true]").first
    expect(field).to_be_focused()
    expect(field).to_be_in_viewport()
