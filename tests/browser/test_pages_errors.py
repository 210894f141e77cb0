"""Forms that were filled in badly: what is wrong comes first, is focused, readable and accessible."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from django.urls import resolve
from playwright.sync_api import Page, expect

from tests.browser.narrow import narrow_page, open_folds, sideways
from tests.browser.test_pages_all import addresses, whole_mill
from tests.browser.test_pages_look import MakeContext, findings
from tests.mills.look_mill import LookMill
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


def refused(page: Page, shop: LookMill) -> Iterator[tuple[str, str]]:
    """Opens every page, fills its form with nonsense, and stops where the page says that it isn't saved."""
    for address in list(addresses(shop)):
        if resolve(address.partition("?")[0]).url_name == "my-devices":
            continue  # its first form signs this very browser out
        page.goto(address)
        if page.locator("main form[method=post]").count():
            with page.expect_navigation(wait_until="load"):
                page.evaluate(SEND_NONSENSE)
            if page.locator("main .errors").count():
                yield str(resolve(address.partition("?")[0]).url_name), address


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_is_wrong_is_focused_accessible_and_nothing_is_sideways(
    scheme: str, context_of: MakeContext, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    page = narrow_page(context_of, scheme)
    sign_in(page, User.objects.get())
    wrong, names = [], set()
    for name, address in refused(page, shop):
        names.add(name)
        if not page.evaluate("document.activeElement.matches('main .errors')"):
            wrong.append(f"{address}: the focus is elsewhere")
        open_folds(page)
        wrong += [f"{address}: {finding}" for finding in findings(page)]
        wrong += [f"{address}: {what}" for what in sideways(page)]
    assert names >= REFUSE_NONSENSE
    assert wrong == []


def test_each_line_of_the_summary_leads_to_its_field_and_what_was_typed_stays(
    phone: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    leading = 0
    for _name, address in refused(phone, shop):
        links = phone.locator("main .errors a")
        for number in range(links.count()):
            target = links.nth(number).get_attribute("href") or ""
            assert phone.locator(f"[id='{target[1:]}']").count() == 1, (address, target)
            leading += 1
        field = phone.locator("main form input[type=text][aria-invalid=true]")
        if field.count():
            expect(field.first).to_have_value("no: such <thing>")
    assert leading > 30


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
