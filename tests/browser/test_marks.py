"""Seen, held back, given: by thumb on a phone, without script, and readable for everybody."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from tests.browser.axe import findings_by_day_and_night
from tests.browser.narrow import narrow_page, sideways
from tests.browser.program import MakeContext, SignIn
from tests.mills.look_mill import LookMill
from wearlog.people.models import Mill, User
from wearlog.reminders.models import Mark

SCREW = "Inspect screw S-01"


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    User.objects.create_user("oskar", name="Oskar", role="operator")
    return LookMill(timezone.now())


@pytest.fixture
def bare_phone(context_of: MakeContext, sign_in: SignIn, shop: LookMill) -> Page:
    """A phone of 360 pixels on which no script runs."""
    options = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "java_script_enabled": False}
    page = context_of(**options).new_page()
    sign_in(page, User.objects.get())
    return page


def more_of(page: Page) -> Locator:
    """The task about the screw, with its further buttons opened."""
    task = page.locator(".job", has_text=SCREW).first
    task.locator("summary").click()
    return task


def in_days(days: int) -> str:
    return (timezone.localdate() + timedelta(days=days)).isoformat()


def test_without_script_one_touch_marks_a_task_as_seen(bare_phone: Page) -> None:
    bare_phone.goto("/due/")
    more_of(bare_phone).get_by_role("button", name="Seen").click()
    expect(bare_phone.get_by_text("Marked as seen")).to_be_visible()
    expect(bare_phone.locator(".job", has_text=SCREW).first).to_contain_text("Seen by Oskar")
    assert Mark.objects.get().kind == "seen"


def test_without_script_a_task_is_held_back_and_stays_in_sight(bare_phone: Page) -> None:
    bare_phone.goto("/")
    more_of(bare_phone).get_by_role("link", name="Hold back, give").click()
    bare_phone.get_by_label("Not before").fill(in_days(5))
    bare_phone.get_by_role("button", name="Hold it back").click()
    expect(bare_phone.get_by_role("alert")).to_contain_text("Say why it has to wait")
    expect(bare_phone.get_by_label("Not before")).to_have_value(in_days(5))
    bare_phone.get_by_label("Why it has to wait").fill("The puller is lent out.")
    bare_phone.get_by_role("button", name="Hold it back").click()
    expect(bare_phone.locator(".messages")).to_contain_text("Held back until")
    held = bare_phone.locator(".press-frame", has_text=SCREW).first
    expect(held).to_contain_text("The puller is lent out.")
    expect(held).to_contain_text("can start by itself")


def test_a_tick_still_asks_for_the_job_card_of_its_task(bare_phone: Page) -> None:
    bare_phone.goto("/due/")
    more_of(bare_phone).get_by_text("Print with others").click()
    bare_phone.get_by_role("button", name="Job cards of what is ticked").click()
    expect(bare_phone.get_by_text(SCREW).first).to_be_visible()
    assert "/due/card/?item=" in bare_phone.url
    assert "csrf" not in bare_phone.url


def test_axe_finds_nothing_where_much_was_said_and_much_is_wrong(
    context_of: MakeContext, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    page = narrow_page(context_of)
    sign_in(page, User.objects.get())
    page.goto("/due/")
    more_of(page).get_by_role("button", name="Seen").click()
    more_of(page).get_by_role("link", name="Hold back, give").click()
    page.get_by_label("Whose it is").select_option("Oskar")
    page.get_by_role("button", name="Give it").click()
    expect(page.locator(".messages")).to_contain_text("It is Oskar's now.")
    assert findings_by_day_and_night(page) == []
    more_of(page).get_by_role("link", name="Hold back, give").click()
    page.get_by_role("button", name="Hold it back").click()
    expect(page.get_by_role("alert")).to_be_visible()
    assert findings_by_day_and_night(page) == []
    page.goto("/me/reminders/")
    page.get_by_label("From this time on").fill("22:30")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("lies in the quiet hours")
    assert findings_by_day_and_night(page) == []
    assert sideways(page) == []
