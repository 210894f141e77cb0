"""What people type into a rule is understood, and what is refused is said in words of this site."""

from __future__ import annotations

from decimal import Decimal

from playwright.sync_api import Page, expect

from tests.browser.program import SignIn
from wearlog.people.models import Mill, Role, User
from wearlog.service.models import Rule


def test_a_rule_takes_a_name_two_picks_and_a_number_with_its_unit_and_a_taken_name_is_said_plainly(
    phone: Page, sign_in: SignIn, fresh_log: None
) -> None:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    sign_in(phone, User.objects.create_user("ines", name="Ines", role=Role.MAINTAINER))

    def write(hours: str, days: str) -> None:
        phone.goto("/rules/new/")
        phone.get_by_label("Name of the rule").fill("grease")
        phone.get_by_label("What is to be done").select_option("lubricate")
        phone.get_by_label("To every fitted").select_option("bearing")
        phone.get_by_label("After hours of pressing").fill(hours)
        phone.get_by_label("After days").fill(days)
        phone.get_by_role("button", name="Save").tap()

    write("150h", "8 days")
    expect(phone.get_by_role("status").get_by_text("Saved: grease.")).to_be_visible()
    rule = Rule.objects.get()
    assert (rule.every_h, rule.every_days) == (Decimal(150), Decimal(8))

    write("8 hours", "")
    expect(phone.locator(".errors")).to_be_focused()
    errors = phone.locator(".errors").inner_text()
    assert "already exists" not in errors
    assert "grease" in errors or "name" in errors.lower()
    assert phone.get_by_label("After hours of pressing").input_value() == "8 hours"
    assert Rule.objects.count() == 1
